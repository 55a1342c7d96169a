mod figures;

use super::*;
use crate::planning::Said;
use crate::practice::{Mark, PlannedStage, RecordId, Route};
use crate::units::{Beats, Milliseconds};
use jiff::civil::date;

fn stretch(day: Date, minutes: i64) -> Played {
    let days = date(1970, 1, 1).until(day).expect("a span").get_days();
    let from_us = i64::from(days) * 86_400_000_000;
    Played {
        from_us,
        to_us: from_us + minutes * 60_000_000,
        offset_s: 0,
        drill: "ours".to_owned(),
    }
}

/// Sixty minutes a week for four weeks, then ninety: half as much again.
#[test]
fn a_week_is_held_against_the_four_before() {
    let today = date(2024, 3, 3);
    let mut played: Vec<Played> = [8, 15, 22, 29]
        .map(|ago| {
            stretch(
                today
                    .checked_sub(jiff::Span::new().days(ago))
                    .expect("a day"),
                60,
            )
        })
        .to_vec();
    played.push(stretch(date(2024, 2, 29), 90));
    assert!((rise(&played, today).expect("enough") - 50.0).abs() < 1e-9);
    assert_eq!(
        rise(&played[4..], today),
        None,
        "nothing to hold it against"
    );
}

/// A player at 60 was once told that forty slower cells had gone stale, which no plan asks for.
#[test]
fn a_cell_stands_for_the_slower_ones() {
    let session = uuid::Uuid::from_u128(1);
    let entries: Vec<Entry> = ["50", "55", "60"]
        .into_iter()
        .zip(0_u64..)
        .map(|(tempo, number)| Entry {
            journal: session,
            seq: number + 1,
            record: crate::practice::Record {
                id: crate::practice::RecordId { session, number },
                utc_us: 1_000_000 * i64::try_from(number).expect("small"),
                offset_s: 0,
                kind: Kind::Mark {
                    repetition: number,
                    mark: crate::practice::Mark::Clean,
                    needed: 1,
                    free: false,
                },
                drill: "ours".to_owned(),
                cell: Some(crate::practice::CellKey {
                    stage: crate::practice::StagePrint(1),
                    rung: Rung::parse(tempo).expect("a tempo"),
                }),
                by: None,
                thresholds: None,
                measures: None,
                version: "test".to_owned(),
            },
        })
        .collect();
    let drill = Known {
        name: "ours".to_owned(),
        title: "Ours".to_owned(),
        stages: vec![PlannedStage {
            print: crate::practice::StagePrint(1),
            rungs: Vec::new(),
            real_time: true,
        }],
        stage_names: vec!["full beats".to_owned()],
        beats: vec![Beats::whole(8)],
        clean: 1,
        route: Route::Across,
    };
    let digest = Digest::of(entries.iter().filter_map(crate::planning::Said::of));
    let drills = [drill];
    let found = progress(&digest, &[], &[], &drills, &[], None, &Rule::default());
    let due: Vec<Option<Date>> = found.cells.iter().map(|cell| cell.due).collect();
    assert_eq!(due, [None, None, Some(date(1970, 1, 2))]);
}

/// Clear and held are two things, and progress counts both.
#[test]
fn held_cells_are_counted_apart() {
    let session = uuid::Uuid::from_u128(1);
    let cell = |tempo: &str| crate::practice::CellKey {
        stage: crate::practice::StagePrint(1),
        rung: Rung::parse(tempo).expect("a rung"),
    };
    let mark = |number: u64, tempo: &str, day: Date| Said::Mark {
        id: crate::practice::RecordId { session, number },
        repetition: number,
        cell: cell(tempo),
        day,
        mark: crate::practice::Mark::Clean,
        assumed: false,
        needed: 1,
    };
    let (one, two) = (date(2027, 1, 1), date(2027, 1, 2));
    let said = [
        mark(0, "50", one),
        mark(1, "53", one),
        mark(2, "55", one),
        mark(3, "55", two),
        Said::Tried {
            session,
            repetition: 3,
            cell: cell("55"),
            day: two,
            alone: true,
        },
    ];
    let drill = Known {
        name: "ours".to_owned(),
        title: "Ours".to_owned(),
        stages: vec![PlannedStage {
            print: crate::practice::StagePrint(1),
            rungs: ["50", "51", "52", "53", "54", "55"]
                .map(|tempo| Rung::parse(tempo).expect("a rung"))
                .to_vec(),
            real_time: true,
        }],
        stage_names: vec!["real time".to_owned()],
        beats: vec![Beats::whole(8)],
        clean: 1,
        route: Route::Across,
    };
    let found = progress(
        &Digest::of(said),
        &[],
        &[],
        &[drill],
        &[],
        None,
        &Rule::default(),
    );
    assert_eq!(
        found.held,
        HeldCells {
            held: 1,
            assumed: 0,
            of: 2
        }
    );
    let held: Vec<Option<Date>> = found.cells.iter().map(|cell| cell.held).collect();
    assert_eq!(held, [None, None, Some(two)]);
}

/// Weeks of listening: by the music and not by the drill's name, from a day on, and what was
/// not heard at all has no threshold.
#[test]
fn what_was_heard_apart_is_told_by_its_music() {
    let stage = crate::practice::StagePrint(7);
    let entry = |number: u64, day: i64, threshold_ms: f64| Entry {
        journal: uuid::Uuid::from_u128(1),
        seq: number + 1,
        record: crate::practice::Record {
            id: crate::practice::RecordId {
                session: uuid::Uuid::from_u128(number.into()),
                number: 0,
            },
            utc_us: day * 86_400_000_000,
            offset_s: 0,
            kind: Kind::Discriminated,
            drill: "its old name".to_owned(),
            cell: Some(crate::practice::CellKey {
                stage,
                rung: Rung::Tempo(crate::units::Bpm::EIGHTY),
            }),
            by: None,
            thresholds: None,
            measures: Some(
                Discrimination {
                    difference: Difference::Unlike,
                    what: "one low G longer than the other".to_owned(),
                    threshold: Milliseconds(threshold_ms),
                    low: Milliseconds(10.0),
                    high: Milliseconds(40.0),
                    widest: Milliseconds(88.0),
                    trials: Vec::new(),
                }
                .to_json(),
            ),
            version: "test".to_owned(),
        },
    };
    let entries = [entry(0, 0, 120.0), entry(1, 7, 30.0), entry(2, 14, 18.0)];
    let drill = |prints: Vec<crate::practice::StagePrint>| Known {
        name: "ours".to_owned(),
        title: "Ours".to_owned(),
        stages: prints
            .into_iter()
            .map(|print| PlannedStage {
                print,
                rungs: Vec::new(),
                real_time: true,
            })
            .collect(),
        stage_names: Vec::new(),
        beats: Vec::new(),
        clean: 1,
        route: Route::Across,
    };
    let found = heard_apart(&entries, &[drill(vec![stage])], None);
    let heard: Vec<Option<f64>> = found
        .iter()
        .map(|line| line.threshold.map(|one| one.0))
        .collect();
    assert_eq!(heard, [None, Some(30.0), Some(18.0)]);
    assert!(found.iter().all(|line| line.drill == "ours"));
    let late = heard_apart(&entries, &[drill(vec![stage])], Some(date(1970, 1, 8)));
    assert_eq!(late.len(), 2);
    assert_eq!(heard_apart(&entries, &[drill(Vec::new())], None), []);
}

/// Stretches and marks of a day are added up, and a climb is a rung above all that were cleared before.
#[test]
fn a_day_has_all_its_minutes_and_marks_and_a_climb_goes_up() {
    let (first, second, third) = (date(2027, 1, 1), date(2027, 1, 2), date(2027, 1, 3));
    let mark = |number: u64, tempo: &str, day: Date, mark: Mark| Said::Mark {
        id: RecordId {
            session: uuid::Uuid::from_u128(u128::from(number)),
            number,
        },
        repetition: number,
        cell: CellKey {
            stage: StagePrint(1),
            rung: Rung::parse(tempo).expect("a rung"),
        },
        day,
        mark,
        assumed: false,
        needed: 1,
    };
    let digest = Digest::of(vec![
        mark(0, "60", first, Mark::Clean),
        mark(1, "60", first, Mark::Clean),
        mark(2, "60", first, Mark::Clean),
        mark(3, "62", first, Mark::NotClean),
        mark(4, "58", second, Mark::Clean),
        mark(5, "62", third, Mark::Clean),
    ]);
    let tempi = ["58", "60", "62"].map(|tempo| Rung::parse(tempo).expect("a rung"));
    let known = Known {
        name: "ours".to_owned(),
        title: "Ours".to_owned(),
        stages: vec![PlannedStage {
            print: StagePrint(1),
            rungs: tempi.to_vec(),
            real_time: true,
        }],
        stage_names: vec!["real time".to_owned()],
        beats: vec![Beats::whole(8)],
        clean: 1,
        route: Route::Across,
    };
    let played = [stretch(first, 5), stretch(first, 10), stretch(third, 7)];
    let rule = Rule::default();
    let found = progress(&digest, &[], &played, &[known], &[], None, &rule);
    let days: Vec<(Date, f64, u32, u32)> = found
        .days
        .iter()
        .map(|day| (day.day, day.minutes, day.clean, day.not_clean))
        .collect();
    assert_eq!(
        days,
        [(first, 15.0, 3, 1), (second, 0.0, 1, 0), (third, 7.0, 1, 0)]
    );
    let climbed: Vec<(Date, Rung)> = found
        .climbed
        .iter()
        .map(|climbed| (climbed.day, climbed.rung))
        .collect();
    assert_eq!(climbed, [(first, tempi[1]), (third, tempi[2])]);
    let early = "too early for a curve";
    assert!(!found.too_little.iter().any(|said| said.contains(early)));
}

#[test]
fn a_clock_set_back_and_an_empty_journal_are_no_trouble() {
    let mut back = stretch(date(2027, 1, 1), 5);
    back.to_us = back.from_us - 1;
    let digest = Digest::default();
    let found = progress(&digest, &[], &[back], &[], &[], None, &Rule::default());
    assert_eq!(found.days.len(), 1);
    assert_eq!(found.days[0].minutes, 0.0);
    assert_eq!(found.too_little.len(), 2);
    assert_eq!(median(vec![3.0, 1.0, 2.0, 10.0]), Some(2.5));
}
