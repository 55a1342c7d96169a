//! What figures come to: held cells, music of earlier, what was heard, what too little is known of.

use super::*;

/// A drill of one stage with its tempi.
fn known(name: &str, stage: u128, tempi: &[&str]) -> Known {
    let rung = |tempo: &&str| Rung::parse(tempo).expect("a rung");
    Known {
        name: name.to_owned(),
        title: name.to_owned(),
        stages: vec![PlannedStage {
            print: StagePrint(stage),
            rungs: tempi.iter().map(rung).collect(),
            real_time: true,
        }],
        stage_names: vec!["real time".to_owned()],
        beats: vec![Beats::whole(8)],
        clean: 1,
        route: Route::Across,
    }
}

/// Marks of one cell on a day, `c` clean, `a` assumed to be and `n` not; one clean one clears it.
fn marks(stage: u128, tempo: &str, day: Date, signs: &str) -> Vec<Said> {
    let cell = CellKey {
        stage: StagePrint(stage),
        rung: Rung::parse(tempo).expect("a rung"),
    };
    let session = uuid::Uuid::from_u128(stage * 100_000 + day_number(day));
    let said = |(number, sign): (u64, char)| Said::Mark {
        id: RecordId { session, number },
        repetition: number,
        cell,
        day,
        mark: if sign == 'n' {
            Mark::NotClean
        } else {
            Mark::Clean
        },
        assumed: sign == 'a',
        needed: 1,
    };
    (0..).zip(signs.chars()).map(said).collect()
}

fn day_number(day: Date) -> u128 {
    u128::try_from(crate::planning::day_of(day)).expect("after 1970")
}

fn told(digest: &Digest, drills: &[Known], earlier: &[Earlier]) -> Progress {
    progress(digest, &[], &[], drills, earlier, None, &Rule::default())
}

/// A try that was only assumed to be clean holds a cell too, and is told apart.
#[test]
fn what_an_assumed_try_holds_is_told_apart() {
    let (one, two) = (date(2027, 1, 1), date(2027, 1, 2));
    let mut said = marks(1, "60", one, "c");
    said.extend(marks(1, "60", two, "a"));
    let Some(Said::Mark { id, cell, .. }) = said.last().copied() else {
        panic!("a mark");
    };
    said.push(Said::Tried {
        session: id.session,
        repetition: 0,
        cell,
        day: two,
        alone: true,
    });
    let found = told(&Digest::of(said), &[known("ours", 1, &["60"])], &[]);
    let held = HeldCells {
        held: 1,
        assumed: 1,
        of: 1,
    };
    assert_eq!(found.held, held);
}

/// Music that a drill had earlier is history of that drill and of no other: it is shown, and nothing of
/// it is due.
#[test]
fn what_a_drill_had_earlier_is_its_own_history() {
    let day = date(2027, 1, 1);
    let said = [
        marks(1, "60", day, "c"),
        marks(2, "60", day, "cn"),
        marks(9, "60", day, "ccn"),
    ];
    let digest = Digest::of(said.concat());
    let drills = [known("ours", 1, &["60"]), known("theirs", 2, &["60"])];
    let earlier = [Earlier {
        drill: "theirs".to_owned(),
        stage: StagePrint(9),
    }];
    let found = told(&digest, &drills, &earlier);
    let lines: Vec<(&str, &str, u32, u32, bool)> = found
        .cells
        .iter()
        .map(|cell| {
            let Chance { clean, of, .. } = cell.chance;
            (&*cell.drill, &*cell.stage, clean, of, cell.due.is_some())
        })
        .collect();
    assert_eq!(
        lines,
        [
            ("ours", "real time", 1, 1, true),
            ("theirs", "real time", 1, 2, true),
            ("theirs", EARLIER, 2, 3, false)
        ]
    );
}

/// A note that was measured: gracenotes by their length, closing notes by how far they are off.
fn measured(gracenotes: &[f64], landings: &[(f64, bool)]) -> Measurement {
    let note =
        |part: NoteKind, length: f64, offset: f64, on_click: bool| crate::practice::NoteMeasure {
            id: 0,
            bar: 1,
            part,
            written: crate::chanter::Note::LowA,
            heard: Some(crate::chanter::Note::LowA),
            length_ms: Some(Milliseconds(length)),
            expected_ms: Milliseconds(40.0),
            offset_ms: Some(Milliseconds(offset)),
            place_ms: None,
            on_click,
            begun_by: 0,
            tap: false,
            movement: None,
            pair: None,
            cents: None,
        };
    let short = gracenotes
        .iter()
        .map(|length| note(NoteKind::Gracenote, *length, 0.0, false));
    let long = landings
        .iter()
        .map(|(offset, on_click)| note(NoteKind::Melody, 700.0, *offset, *on_click));
    Measurement {
        playing: true,
        notes: short.chain(long).collect(),
        ..Measurement::nothing(Milliseconds(1000.0))
    }
}

/// A day's gracenotes and landings in medians: a landing is as far off early as late, and a note between
/// the clicks is no landing. What was not played, or is told by no mark, says nothing.
#[test]
fn a_day_tells_its_gracenotes_and_landings_in_medians() {
    let (one, two) = (date(2027, 1, 1), date(2027, 1, 2));
    let entry = |day: Date, kind: Kind, measured: &Measurement| Entry {
        journal: uuid::Uuid::from_u128(1),
        seq: 1,
        record: crate::practice::Record {
            id: RecordId {
                session: uuid::Uuid::from_u128(1),
                number: 0,
            },
            utc_us: crate::planning::day_of(day) * 86_400_000_000,
            offset_s: 0,
            kind,
            drill: "ours".to_owned(),
            cell: None,
            by: None,
            thresholds: None,
            measures: measured.to_json(),
            version: "test".to_owned(),
        },
    };
    let mark = Kind::Mark {
        repetition: 0,
        mark: Mark::Clean,
        needed: 5,
        free: false,
    };
    let unmarked = Kind::Measured { repetition: 1 };
    let silent = Measurement {
        playing: false,
        ..measured(&[900.0], &[(900.0, true)])
    };
    let entries = [
        entry(
            one,
            mark.clone(),
            &measured(&[30.0, 90.0], &[(-20.0, true)]),
        ),
        entry(
            one,
            unmarked,
            &measured(&[50.0], &[(10.0, true), (300.0, false)]),
        ),
        entry(one, mark.clone(), &silent),
        entry(one, Kind::Ended, &measured(&[900.0], &[(900.0, true)])),
        entry(two, mark, &measured(&[40.0], &[])),
    ];
    let heard = |since: Option<Date>| {
        let found = progress(
            &Digest::default(),
            &entries,
            &[],
            &[],
            &[],
            since,
            &Rule::default(),
        );
        let said = "no lengths and landings";
        assert!(!found.too_little.iter().any(|one| one.starts_with(said)));
        let of = |day: &HeardOnDay| {
            let length = day.gracenote.map(|length| length.0);
            (
                day.day,
                day.gracenotes,
                length,
                day.landing.map(|off| off.0),
            )
        };
        found.heard.iter().map(of).collect::<Vec<_>>()
    };
    let second = (two, 1, Some(40.0), None);
    assert_eq!(heard(None), [(one, 3, Some(50.0), Some(15.0)), second]);
    assert_eq!(heard(Some(two)), [second]);
}

/// What too little is known of is said, and no more than that: two days make a curve, and ten marks of
/// any cell say something of a chance.
#[test]
fn too_little_is_said_where_it_is_too_little() {
    let (one, two) = (date(2027, 1, 1), date(2027, 1, 2));
    let drills = [known("ours", 1, &["60", "62"])];
    let said = |parts: &[Vec<Said>]| {
        let found = told(&Digest::of(parts.concat()), &drills, &[]);
        let says = |text: &str| found.too_little.iter().any(|one| one.starts_with(text));
        (says("too early for a curve"), says("no cell has 10 marks"))
    };
    let (nine, ten) = ("cccccccnn", "ccccccccnn");
    assert_eq!(said(&[]), (true, false));
    assert_eq!(said(&[marks(1, "60", one, nine)]), (true, true));
    assert_eq!(said(&[marks(1, "60", one, ten)]), (true, false));
    let both = |signs: &str| [marks(1, "60", one, nine), marks(1, "62", two, signs)];
    assert_eq!(said(&both(nine)), (false, true));
    assert_eq!(said(&both(ten)), (false, false));
}

/// Less than half an hour a week says nothing of a rise.
#[test]
fn a_rise_needs_half_an_hour_a_week() {
    let today = date(2027, 3, 1);
    let ago = |days: i32| {
        let span = jiff::Span::new().days(days);
        today.checked_sub(span).expect("a day")
    };
    let weeks = |minutes: i64| -> Vec<Played> {
        let before = [8, 15, 22, 29].map(|days| stretch(ago(days), minutes));
        before.into_iter().chain([stretch(ago(1), 45)]).collect()
    };
    assert_eq!(rise(&weeks(29), today), None);
    assert_eq!(rise(&weeks(30), today), Some(50.0));
}
