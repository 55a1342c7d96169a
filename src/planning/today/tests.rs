//! What a day asks for.

mod once;
mod year;

use super::*;
use crate::planning::Said;
use crate::practice::{CellKey, Mark, RecordId, Route, StagePrint};
use crate::units::{Beats, Bpm};
use jiff::civil::date;
use uuid::Uuid;

fn planned<const COUNT: usize>(stages: [u128; COUNT], tempi: &[i128]) -> Vec<PlannedStage> {
    let rung = |tempo: &i128| Rung::Tempo(Bpm::whole(*tempo).expect("a tempo"));
    stages
        .map(|stage| PlannedStage {
            print: StagePrint(stage),
            rungs: tempi.iter().map(rung).collect(),
            real_time: stages.last() == Some(&stage),
        })
        .to_vec()
}

fn drill(name: &str, stage: u128) -> Known {
    Known {
        name: name.to_owned(),
        title: name.to_owned(),
        stages: planned([stage, stage + 1], &[60, 62]),
        stage_names: vec!["full beats".to_owned(), "real time".to_owned()],
        beats: vec![Beats::whole(8); 2],
        clean: 2,
        route: Route::Across,
    }
}

/// Marks of one cell: a day and signs, `c` clean and `n` not.
fn marks(stage: u128, tempo: &str, days: &[(Date, &str)]) -> Vec<Said> {
    let mut all = Vec::new();
    for (session, (day, signs)) in days.iter().enumerate() {
        for (number, sign) in signs.chars().enumerate() {
            let number = number as u64;
            all.push(Said::Mark {
                id: RecordId {
                    session: Uuid::from_u128(stage * 1000 + session as u128),
                    number,
                },
                repetition: number,
                cell: CellKey {
                    stage: StagePrint(stage),
                    rung: Rung::parse(tempo).expect("a rung"),
                },
                day: *day,
                mark: if sign == 'c' {
                    Mark::Clean
                } else {
                    Mark::NotClean
                },
                assumed: false,
                needed: 2,
            });
        }
    }
    all
}

fn due(days: &[(Date, &str)]) -> Option<(Date, i32, bool)> {
    let digest = Digest::of(marks(1, "60", days));
    let (_, days) = digest.cells().next()?;
    due_again(days, &Rule::default())
}

/// Without growing gaps a cell cleared in October would be asked for every day till May.
#[test]
fn a_cell_that_holds_waits_twice_as_long_each_time() {
    let (a, b, c) = (date(2024, 2, 27), date(2024, 2, 28), date(2024, 3, 1));
    assert_eq!(due(&[(a, "c")]), None, "never clear");
    assert_eq!(due(&[(a, "cc")]), Some((b, 1, false)));
    // Over the leap day: two days from the 28th is the 1st of March.
    assert_eq!(due(&[(a, "cc"), (b, "cc")]), Some((c, 2, false)));
    assert_eq!(
        due(&[(a, "cc"), (b, "cc"), (c, "ncc")]),
        Some((date(2024, 3, 5), 4, false))
    );
}

#[test]
fn a_cell_that_fails_comes_back_the_next_day_and_begins_again() {
    let (a, b, c) = (date(2027, 1, 1), date(2027, 1, 2), date(2027, 1, 4));
    assert_eq!(
        due(&[(a, "cc"), (b, "cc"), (c, "nn")]),
        Some((date(2027, 1, 5), 1, true))
    );
    let early = date(2027, 1, 3);
    assert_eq!(
        due(&[(a, "cc"), (b, "cc"), (early, "cc")]),
        Some((date(2027, 1, 5), 2, false))
    );
}

/// Five clean and then nothing but slips once counted as held, and the gap doubled.
#[test]
fn a_day_counts_by_how_it_ended() {
    let (a, b) = (date(2027, 1, 1), date(2027, 1, 2));
    let tomorrow = date(2027, 1, 3);
    // Two slips after it was held are two slips; three are what a step back is suggested for.
    assert_eq!(
        due(&[(a, "cc"), (b, "ccnn")]),
        Some((date(2027, 1, 4), 2, false))
    );
    assert_eq!(due(&[(a, "cc"), (b, "ccnnn")]), Some((tomorrow, 1, true)));
    assert_eq!(
        due(&[(a, "cc"), (b, "ccnnncc")]),
        Some((date(2027, 1, 4), 2, false))
    );
    // On the day it was cleared.
    assert_eq!(due(&[(a, "ccnnn")]), Some((b, 1, true)));
    assert_eq!(due(&[(a, "nnncc")]), Some((b, 1, false)));
    // One clean at its end is fewer than the two asked for.
    assert_eq!(due(&[(a, "cc"), (b, "nc")]), Some((tomorrow, 1, true)));
    // Slips of two days are no row.
    assert_eq!(
        due(&[(a, "ccnn"), (b, "ncc")]),
        Some((date(2027, 1, 4), 2, false))
    );
}

/// What fell apart before it was ever clear is how it was learned, and no reason to ask sooner.
#[test]
fn slips_before_it_was_cleared_are_no_failing() {
    let (a, b) = (date(2027, 1, 1), date(2027, 1, 2));
    assert_eq!(
        due(&[(a, "nnn"), (b, "cc")]),
        Some((date(2027, 1, 3), 1, false))
    );
}

/// A day late after a gap of one is later than two days after a gap of four.
#[test]
fn what_is_late_for_its_gap_comes_first() {
    let day = |day: i8| date(2027, 1, day);
    // due on the 8th after a gap of four days
    let mut said = marks(1, "60", &[(day(1), "cc"), (day(2), "cc"), (day(4), "cc")]);
    // due on the 9th after a gap of one
    said.extend(marks(10, "60", &[(day(8), "cc")]));
    let rule = Rule {
        minutes: 60,
        ..Rule::default()
    };
    let drills = [drill("birl", 1), drill("grip", 10)];
    let names = |date: Date| -> Vec<String> {
        let items = again_items(&Digest::of(said.clone()), &drills[0], date, &rule)
            .into_iter()
            .chain(again_items(
                &Digest::of(said.clone()),
                &drills[1],
                date,
                &rule,
            ));
        let mut items: Vec<(f64, Item)> = items.collect();
        items.sort_by(|one, other| other.0.total_cmp(&one.0));
        items.into_iter().map(|(_, item)| item.title).collect()
    };
    assert_eq!(names(day(9)), ["grip", "birl"]);
    assert_eq!(names(day(8)), ["birl"]);
    assert_eq!(names(day(7)), [""; 0]);
}

#[test]
fn each_item_says_why_in_one_sentence() {
    let mut said = marks(1, "60", &[(date(2027, 1, 1), "cc")]);
    said.extend(marks(2, "60", &[(date(2027, 1, 1), "cncn")]));
    let digest = Digest::of(said);
    let drills = [drill("birl", 1), drill("grip", 10)];
    let rule = Rule {
        minutes: 60,
        ..Rule::default()
    };
    let items = today(&digest, &drills, &[], date(2027, 1, 5), &rule);
    let why: Vec<&str> = items.iter().map(|item| item.why.as_str()).collect();
    assert_eq!(
        why,
        [
            "birl, full beats at 60: clean 4 days ago, due again",
            "birl, real time at 60: clean 2 of the last 4 times, 4 days ago; not cleared yet",
            "grip, full beats at 60: new to you",
        ]
    );
}

/// A first try on a day of a cell: alone, and what was said.
fn tried(stage: u128, tempo: &str, day: Date, sign: &str) -> Vec<Said> {
    let mut said = marks(stage, tempo, &[(day, sign)]);
    for one in &mut said {
        if let Said::Mark { id, .. } = one {
            id.session = Uuid::from_u128(stage * 1_000_000 + super::day_of(day) as u128);
        }
    }
    let Some(Said::Mark {
        id,
        repetition,
        cell,
        ..
    }) = said.first().copied()
    else {
        panic!("a mark");
    };
    said.push(Said::Tried {
        session: id.session,
        repetition,
        cell,
        day,
        alone: true,
    });
    said
}

/// A first try cannot be had later in the day, so it stands before everything else, and once it
/// was clean the cell waits as one that held.
#[test]
fn a_cell_that_was_cleared_is_tried_cold_first() {
    let day = |day| date(2027, 1, day);
    let drills = [drill("birl", 1), drill("grip", 10)];
    let homework = Due {
        title: "week".to_owned(),
        open: "week.yaml".to_owned(),
        task: None,
        by: Some(day(3)),
        drill: drills[1].clone(),
        goal: (1, drills[1].stages[1].rungs[1]),
    };
    let top = marks(2, "62", &[(day(1), "cc")]);
    let kinds = |said: &[Said], on: Date| -> Vec<(Why, String)> {
        let digest = Digest::of(said.iter().copied());
        let due = std::slice::from_ref(&homework);
        today(&digest, &drills, due, on, &Rule::default())
            .into_iter()
            .map(|item| (item.kind, item.why))
            .collect()
    };
    assert_eq!(kinds(&top, day(1))[0].0, Why::Homework, "cleared today");
    let next = kinds(&top, day(2));
    assert_eq!(
        next[0],
        (
            Why::Cold,
            "birl, real time at 62: cleared yesterday, not held yet; try it cold: once, first \
             thing, without reference"
                .to_owned()
        )
    );
    assert_eq!(next[1].0, Why::Homework);
    let again = |items: &[(Why, String)]| items.iter().any(|(kind, _)| *kind == Why::Again);
    assert!(!again(&next), "not asked twice");

    let mut held = top.clone();
    held.extend(tried(2, "62", day(2), "c"));
    assert!(
        kinds(&held, day(3))
            .iter()
            .all(|(kind, _)| *kind != Why::Cold)
    );
    assert!(!again(&kinds(&held, day(3))), "it waits two days");
    assert!(again(&kinds(&held, day(4))));

    let mut failed = top.clone();
    failed.extend(tried(2, "62", day(2), "n"));
    assert!(
        kinds(&failed, day(2))
            .iter()
            .all(|(kind, _)| *kind != Why::Cold)
    );
    let (kind, why) = kinds(&failed, day(3)).remove(0);
    assert_eq!(kind, Why::Cold);
    assert!(why.contains("last tried cold yesterday"), "{why}");
}

/// Who comes back after weeks still climbs: cold tries take a quarter of the time at most.
#[test]
fn cold_tries_leave_time_for_the_rest() {
    let drills: Vec<Known> = (0..30)
        .map(|at| drill(&format!("drill {at}"), at * 10 + 1))
        .collect();
    let said: Vec<Said> = (0..30)
        .flat_map(|at| marks(at * 10 + 1, "62", &[(date(2027, 1, 1), "cc")]))
        .collect();
    let digest = Digest::of(said);
    let cold = |minutes: u32| {
        let rule = Rule {
            minutes,
            ..Rule::default()
        };
        today(&digest, &drills, &[], date(2027, 2, 1), &rule)
            .iter()
            .take_while(|item| item.kind == Why::Cold)
            .count()
    };
    assert_eq!([cold(1), cold(20), cold(60)], [1, 5, 15]);
}

/// `0 of the last 1` is no way to speak, and four marks are no chance.
#[test]
fn how_often_it_was_clean_is_said_as_people_say_it() {
    assert_eq!(times(0, 1), "played once, not clean");
    assert_eq!(times(0, 3), "played 3 times, never clean");
    assert_eq!(times(3, 3), "clean all 3 times");
    let why = |signs: &str| {
        let digest = Digest::of(marks(1, "60", &[(date(2027, 1, 1), signs)]));
        let drills = [drill("birl", 1)];
        let items = today(&digest, &drills, &[], date(2027, 1, 2), &Rule::default());
        items[0].why.clone()
    };
    assert_eq!(
        why("n"),
        "birl, full beats at 60: played once, not clean, yesterday; not cleared yet"
    );
    // Beta(6, 6) of scipy.stats 1.17.1: 0.234 to 0.766.
    assert_eq!(
        why("cncncncncn"),
        "birl, full beats at 60: clean 5 of the last 10 times, yesterday; not cleared yet; \
         the chance that the next is clean: 23 to 77 %"
    );
}

#[test]
fn the_minutes_are_kept_and_one_thing_always_comes() {
    let drills: Vec<Known> = (0..9)
        .map(|at| drill(&format!("drill {at}"), at * 10 + 1))
        .collect();
    let said: Vec<Said> = (0..9)
        .flat_map(|at| marks(at * 10 + 1, "60", &[(date(2027, 1, 1), "cc")]))
        .collect();
    let digest = Digest::of(said);
    for minutes in [1, 3, 10, 60] {
        let rule = Rule {
            minutes,
            ..Rule::default()
        };
        let items = today(&digest, &drills, &[], date(2027, 3, 1), &rule);
        assert!(!items.is_empty());
        assert!(items.iter().map(|item| item.minutes).sum::<u32>() <= minutes);
    }
    let mixed = Rule {
        order: Order::Mix,
        minutes: 60,
        ..Rule::default()
    };
    let blocked = Rule {
        minutes: 60,
        ..Rule::default()
    };
    let names = |rule: &Rule| {
        let items = today(&digest, &drills, &[], date(2027, 3, 1), rule);
        items.into_iter().map(|item| item.open).collect::<Vec<_>>()
    };
    let block = names(&blocked);
    assert!(block.windows(2).any(|pair| pair[0] == pair[1]));
    let mix = names(&mixed);
    assert_ne!(mix[0], mix[1]);
}

/// Somebody who asked for fifteen minutes on the first day once got four. Each of these cells takes
/// a minute, and a newcomer's are ten: the first drill's two and one of each other.
#[test]
fn a_newcomers_minutes_are_filled() {
    let drills: Vec<Known> = (0..9)
        .map(|at| drill(&format!("drill {at}"), at * 10 + 1))
        .collect();
    let plan = |digest: &Digest, minutes, new| {
        let rule = Rule {
            minutes,
            new,
            ..Rule::default()
        };
        today(digest, &drills, &[], date(2027, 1, 5), &rule)
    };
    let sum = |items: &[Item]| items.iter().map(|item| item.minutes).sum::<u32>();
    let empty = Digest::default();
    for minutes in [1, 5, 10] {
        let items = plan(&empty, minutes, 1);
        assert_eq!(sum(&items), minutes);
        for (at, item) in items.iter().enumerate() {
            let same =
                |other: &&Item| other.open == item.open && other.stage_number == item.stage_number;
            assert_eq!(items.iter().filter(same).count(), 1, "{at}: {items:?}");
        }
    }
    // what was played before and not cleared is not told as new
    let days = [(date(2027, 1, 3), "nn"), (date(2027, 1, 4), "cn")];
    for (stage, said) in [
        (1, "a stage that you have not played yet"),
        (2, "clean 1 of the last 4 times; not cleared yet"),
    ] {
        let played = Digest::of(marks(stage, "60", &days));
        let items = plan(&played, 30, 1);
        let of = |item: &&Item| (item.open.as_str(), item.stage_number) == ("drill 0", 2);
        let item = items.iter().find(of).expect("it is asked for");
        assert!(item.why.ends_with(said), "{}", item.why);
        assert!(items.iter().any(|item| item.why.ends_with("new to you")));
    }
    // first the first drill, stage by stage
    let items = plan(&empty, 10, 1);
    let named = |item: &Item| (item.open.clone(), item.stage_number);
    let named: Vec<_> = items.iter().take(3).map(named).collect();
    assert_eq!(
        named,
        [("drill 0", 1), ("drill 0", 2), ("drill 1", 1)].map(|(a, b)| (a.to_owned(), b))
    );
    // begun and not cleared: still new to it all, and what was begun is asked for once
    let begun = Digest::of(marks(1, "60", &[(date(2027, 1, 4), "cn")]));
    assert_eq!(sum(&plan(&begun, 8, 1)), 8);
    // who wants nothing new gets nothing new
    assert_eq!(plan(&empty, 10, 0), []);
    // and with something cleared the plan is the usual one
    let cleared = Digest::of(marks(1, "60", &[(date(2027, 1, 4), "cc")]));
    let new = |item: &&Item| item.kind == Why::New;
    assert_eq!(plan(&cleared, 60, 1).iter().filter(new).count(), 1);
}

/// A mark taken back or corrected once counted in the plan although the board had dropped it.
#[test]
fn what_was_taken_back_counts_nowhere() {
    let mut said = marks(1, "60", &[(date(2027, 1, 1), "cc")]);
    let Said::Mark { id, .. } = said[1] else {
        panic!("a mark");
    };
    said.push(Said::Undo(id));
    let digest = Digest::of(said);
    let (_, days) = digest.cells().next().expect("a cell");
    assert_eq!(days.cleared, None);
    assert_eq!(days.lately(9), (1, 1));
}

/// Minutes are repetitions times the length of one. Clean ones in a row with an even chance are heads
/// of a coin: three take 14 tosses on average (Feller, XIII.7), and 14 of 16 beats at 60 are 3.7
/// minutes; two of them take 6, and 6 of 16 beats at 120 are 0.8. One that was never clean takes no
/// more than eight minutes, and one of which nothing is known is taken for seven in ten: five in a row
/// need 16.5, of 8 beats at 60 2.2 minutes.
#[test]
fn minutes_are_those_that_the_row_takes_on_average() {
    let minutes = |signs: &str, clean: u32, beats: i128, tempo: i128| {
        let known = Known {
            stages: planned([1, 2], &[tempo]),
            beats: vec![Beats::whole(beats); 2],
            clean,
            ..drill("grip", 1)
        };
        let digest = Digest::of(marks(1, &tempo.to_string(), &[(date(2027, 1, 1), signs)]));
        let items = today(&digest, &[known], &[], date(2027, 1, 2), &Rule::default());
        items[0].minutes
    };
    // as many clean as not, and never two in a row
    assert_eq!(minutes("ncncncncnc", 3, 16, 60), 4);
    assert_eq!(minutes("ncncncncnc", 2, 16, 120), 1);
    assert_eq!(minutes("nnnnnnnnnn", 5, 16, 60), 8);
    assert_eq!(minutes("", 5, 8, 60), 3);
}

/// A stage is known by its music, also between its rungs.
#[test]
fn a_cell_belongs_to_the_stage_of_its_music() {
    let drill = drill("birl", 1);
    let cell = |stage: u128| CellKey {
        stage: StagePrint(stage),
        rung: Rung::parse("61").expect("a rung"),
    };
    let found = [1, 2, 3].map(|stage| drill.stage_of(cell(stage)));
    assert_eq!(found, [Some(0), Some(1), None]);
}

/// Who flies west has a day that comes before the last one. Nothing but clean repetitions never makes a
/// cell fail, whatever the clock said.
#[test]
fn clean_repetitions_under_a_clock_set_back_are_no_failing() {
    let day = |day| date(2027, 1, day);
    let mut said = marks(1, "60", &[(day(1), "c"), (day(3), "c"), (day(2), "cc")]);
    for (number, one) in said.iter_mut().enumerate() {
        if let Said::Mark { needed, .. } = one {
            // cleared when one was asked for, and five are asked for since
            *needed = if number == 0 { 1 } else { 5 };
        }
    }
    let digest = Digest::of(said);
    let (_, days) = digest.cells().next().expect("a cell");
    let (_, gap, failed) = due_again(days, &Rule::default()).expect("it was cleared");
    assert_eq!((gap, failed), (1, false));
}
