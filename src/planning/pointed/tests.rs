//! Weeks of a march whose dots become sharper.

use super::*;
use crate::chanter::Note;
use crate::practice::{
    CellKey, Mark, NoteKind, NoteMeasure, PairWanted, PlannedStage, Record, RecordId, Rung,
    StagePrint,
};
use crate::units::Milliseconds;
use jiff::civil::date;

/// A dot and its cut, four times, in a beat of a second: the cut comes where the ratio puts it.
fn played(ratios: [f64; 4]) -> Measurement {
    let note = |id: usize, place: f64, offset: f64, cut: bool| NoteMeasure {
        id: u32::try_from(id).expect("small"),
        bar: 1,
        part: NoteKind::Melody,
        written: Note::LowA,
        heard: Some(Note::LowA),
        length_ms: Some(Milliseconds(500.0)),
        expected_ms: Milliseconds(500.0),
        offset_ms: Some(Milliseconds(offset)),
        place_ms: Some(Milliseconds(place)),
        on_click: !cut,
        begun_by: 0,
        tap: false,
        movement: None,
        pair: cut.then_some(PairWanted {
            long_first: true,
            ratio: 4.0,
            range: Some((3.0, 6.0)),
        }),
        cents: None,
    };
    let mut notes = Vec::new();
    for (beat, ratio) in ratios.into_iter().enumerate() {
        let begins = beat as f64 * 1000.0;
        // wanted at 800 ms of 1000; a ratio r lies at 1000 r / (r + 1)
        let off = 1000.0 * ratio / (ratio + 1.0) - 800.0;
        notes.push(note(2 * beat + 1, begins, 0.0, false));
        notes.push(note(2 * beat + 2, begins + 800.0, off, true));
    }
    notes.push(note(9, 4000.0, 0.0, false));
    Measurement {
        playing: true,
        notes,
        confidence: Some(1.0),
        ..Measurement::nothing(Milliseconds(1000.0))
    }
}

fn entry(day: Date, number: u64, stage: u128, measured: &Measurement) -> Entry {
    let session = uuid::Uuid::from_u128(1);
    let days = date(1970, 1, 1).until(day).expect("a span").get_days();
    Entry {
        journal: session,
        seq: number + 1,
        record: Record {
            id: RecordId { session, number },
            utc_us: i64::from(days) * 86_400_000_000 + 43_200_000_000,
            offset_s: 0,
            kind: Kind::Mark {
                repetition: number,
                mark: Mark::Clean,
                needed: 5,
                free: false,
            },
            drill: "march".to_owned(),
            cell: Some(CellKey {
                stage: StagePrint(stage),
                rung: Rung::parse("60").expect("a tempo"),
            }),
            by: None,
            thresholds: None,
            measures: measured.to_json(),
            version: "test".to_owned(),
        },
    }
}

fn known(prints: &[u128]) -> Known {
    Known {
        name: "march".to_owned(),
        title: "A march".to_owned(),
        stages: prints
            .iter()
            .map(|print| PlannedStage {
                print: StagePrint(*print),
                rungs: Vec::new(),
                real_time: true,
            })
            .collect(),
        stage_names: prints
            .iter()
            .map(|print| format!("stage {print}"))
            .collect(),
        beats: Vec::new(),
        clean: 5,
        route: crate::practice::Route::default(),
    }
}

#[test]
fn each_week_has_one_figure_a_tune_with_its_ranges() {
    let entries = [
        // a Sunday and the Monday after it are two weeks
        entry(date(2027, 1, 3), 0, 7, &played([2.0, 2.0, 2.0, 2.0])),
        entry(date(2027, 1, 4), 1, 7, &played([3.0, 3.0, 3.5, 3.5])),
        entry(date(2027, 1, 10), 2, 7, &played([4.0, 4.0, 4.5, 4.5])),
        // of another drill, and without a word of what was heard
        entry(date(2027, 1, 5), 3, 8, &played([9.0, 9.0, 9.0, 9.0])),
    ];
    let weeks = pointed_weeks(&entries, &[known(&[7])], Date::MIN);
    let near = |one: f64, other: f64| (one - other).abs() < 1e-6;
    assert_eq!(weeks.len(), 2);
    let [first, second] = &weeks[..] else {
        panic!("{weeks:?}")
    };
    assert_eq!(
        (first.week, first.last),
        (date(2026, 12, 28), date(2027, 1, 3))
    );
    assert_eq!(
        (second.week, second.last),
        (date(2027, 1, 4), date(2027, 1, 10))
    );
    assert_eq!((first.pairs, second.pairs), (4, 8));
    assert_eq!((first.stage.as_deref(), first.what()), (None, "dots"));
    assert!(
        near(first.ratio, 2.0) && near(second.ratio, 3.75),
        "{weeks:?}"
    );
    assert!(
        second.low > 2.99 && second.low < 3.51 && second.high > 3.99 && second.high < 4.51,
        "{weeks:?}"
    );
    assert_eq!(second.wanted, (3.0, 6.0));
    assert_eq!(second.spoken(), "3.8 : 1");
    assert_eq!(second.wanted_words(), "3 to 6");
    let since = pointed_weeks(&entries, &[known(&[7])], date(2027, 1, 4));
    assert_eq!(since.len(), 1);
}

/// A stage whose dots are held longer is another thing than the tune, and has figures of its own.
#[test]
fn a_stage_that_exaggerates_is_told_apart() {
    let entries = [
        entry(date(2027, 1, 4), 0, 7, &played([6.0, 6.0, 6.0, 6.0])),
        entry(date(2027, 1, 5), 1, 8, &played([4.0, 4.0, 4.0, 4.0])),
    ];
    let weeks = pointed_weeks(&entries, &[known(&[7, 8])], Date::MIN);
    let told: Vec<(Option<&str>, String)> = weeks
        .iter()
        .map(|week| (week.stage.as_deref(), week.spoken()))
        .collect();
    assert_eq!(
        told,
        [
            (Some("stage 7"), "6.0 : 1".to_owned()),
            (Some("stage 8"), "4.0 : 1".to_owned())
        ]
    );
}

/// Weeks of one tune are shown beneath each other: what another drill, another stage or a snap says is no
/// other week of it.
#[test]
fn weeks_of_the_same_music_belong_together() {
    let week = |day: Date, stage: u128| entry(day, 0, stage, &played([4.0; 4]));
    let of =
        |one: Entry, known: &Known| pointed_weeks(&[one], std::slice::from_ref(known), Date::MIN);
    let march = known(&[7, 8]);
    let one = of(week(date(2027, 1, 4), 7), &march).remove(0);
    let next = of(week(date(2027, 1, 11), 7), &march).remove(0);
    assert!(one.is_of_the_music_of(&next));
    assert!(!one.is_of_the_music_of(&of(week(date(2027, 1, 4), 8), &march)[0]));
    let another = PointedWeek {
        drill: "reel".to_owned(),
        ..next.clone()
    };
    assert!(!one.is_of_the_music_of(&another));
    let snaps = PointedWeek {
        dots: false,
        ..next
    };
    assert!(!one.is_of_the_music_of(&snaps));
}
