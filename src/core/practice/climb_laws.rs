//! Tests of what a drill requires: at most a given number of repetitions, and opened stages between
//! the written-out ones and real time.

use super::Rung;
use super::ladder::climbs;
use crate::drill::{
    BUILT_IN, Build, Drill, DrillDocument, InPlace, Request, StageKind, Tune, make, make_in_place,
    read, write,
};
use crate::movement::{Movement, Schools, typical_context};
use crate::rhythm::Metre;

/// How many clean repetitions clear all cells of a drill.
fn repetitions(drill: &Drill) -> usize {
    let cells: usize = climbs(drill).iter().map(Vec::len).sum();
    cells * drill.clean as usize
}

fn read_back(document: &DrillDocument) -> Drill {
    let text = write(document).expect("it writes");
    let (drill, problems) = read(text.as_bytes());
    assert!(problems.is_empty(), "{problems:?}\n{text}");
    drill.expect("it reads")
}

/// Checks that an opening comes right before the stage that it leads to. No written-out stage may
/// end below its tempo, and real time begins there.
fn opens_before_real_time(drill: &Drill) -> bool {
    let kind = |kind: fn(&StageKind) -> bool| drill.stages.iter().position(|one| kind(&one.kind));
    let opening = kind(|kind| matches!(kind, StageKind::Opening { .. }));
    let Some(opening) = opening else {
        return false;
    };
    let whole = kind(|kind| matches!(kind, StageKind::RealTime { .. }));
    assert_eq!(whole, Some(opening + 1), "{}", drill.title);
    let climbs = climbs(drill);
    let at = climbs[opening][0].tempo();
    assert_eq!(
        climbs[opening + 1].first().map(|rung| rung.tempo()),
        Some(at),
        "{}",
        drill.title
    );
    for written in &climbs[..opening] {
        assert!(
            written.iter().all(|rung| rung.tempo() <= at),
            "{}",
            drill.title
        );
    }
    assert!(climbs[opening].iter().all(|rung| rung.is_opened()));
    true
}

/// A movement must not need 260 clean repetitions, because nobody plays so many.
#[test]
fn a_built_in_drill_of_a_movement_is_cleared_by_120_clean_repetitions() {
    let mut drills = 0;
    for built in BUILT_IN {
        let drill = read(built.text.as_bytes()).0.expect("it reads");
        if drill.movement.is_none() && built.name != "strike-on-c" {
            continue;
        }
        let count = repetitions(&drill);
        assert!(count <= 120, "{}: {count}", built.name);
        assert!(count >= 80, "{}: {count} leaves much undone", built.name);
        assert_eq!(
            opens_before_real_time(&drill),
            drill.movement.is_some(),
            "{}",
            built.name
        );
        drills += 1;
    }
    assert!(drills >= 12, "{drills}");
}

/// Every movement, built up in every way, with all optional stages.
#[test]
fn a_made_drill_is_cleared_by_120_clean_repetitions() {
    let builds = [
        Build::AsFits,
        Build::Whole,
        Build::ToneByTone,
        Build::LastPartFirst,
        Build::Groups,
    ];
    let (mut made, mut opened) = (0, 0);
    for movement in Movement::all() {
        let context = typical_context(movement);
        for (number, build) in builds.into_iter().enumerate() {
            for more in [false, true] {
                let request = Request {
                    movement,
                    from: context.before.into_iter().collect(),
                    to: vec![context.after],
                    schools: Schools::none(),
                    build,
                    bridge: more,
                    chain: more,
                    transfer: true,
                    metre: Metre::USUAL[number % Metre::USUAL.len()],
                };
                let drill = read_back(&make(&request).expect("it is played there"));
                let count = repetitions(&drill);
                assert!(
                    count <= 120,
                    "{} {build:?} {more}: {count}",
                    movement.name()
                );
                made += 1;
                opened += usize::from(opens_before_real_time(&drill));
            }
        }
    }
    assert!(
        made >= 400 && opened >= 200 && opened < made,
        "{opened} of {made}"
    );
}

#[test]
fn a_bar_of_a_tune_is_cleared_by_120_clean_repetitions() {
    let text = "title: x\nmusic: |\n  {g}A4 {g}c4 | {g}d4 {GBG}A4 | {g}B8 | {g}c8 |\n\
                ladder: {from: 50, to: 80, step: 4%}\n";
    let tune = read(text.as_bytes()).0.expect("it reads");
    for note in [Some(1), None] {
        let stage = &tune.stages[0];
        let place = InPlace {
            tune: Tune {
                drill: &tune,
                stage,
            },
            bar: 1,
            note,
        };
        let drill = read_back(&make_in_place(&place).expect("it can be looped"));
        let count = repetitions(&drill);
        assert!(count <= 120, "{count}");
        let last = climbs(&drill)
            .last()
            .and_then(|rungs| rungs.last().copied());
        assert_eq!(
            last,
            Some(Rung::parse("80").expect("a rung")),
            "as written goes to the top"
        );
    }
}
