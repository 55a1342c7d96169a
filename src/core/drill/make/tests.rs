//! Makes every movement in every context, metre and school, and compares the drills that are
//! taught.

use super::*;
use crate::chanter::{Finger, NOTES};
use crate::movement::find;

fn read_back(document: &DrillDocument) -> Drill {
    let text = write(document).expect("it writes");
    let (drill, problems) = read(text.as_bytes());
    assert!(problems.is_empty(), "{problems:?}\n{text}");
    drill.expect("it reads")
}

fn request(movement: Movement, from: Note, to: Note) -> Request {
    Request {
        movement,
        from: vec![from],
        to: vec![to],
        schools: Schools::none(),
        build: Build::AsFits,
        bridge: true,
        chain: true,
        transfer: false,
        metre: Metre::FOUR_FOUR,
    }
}

/// Every movement in every context in which it can be played, built up in every way.
#[test]
fn every_made_drill_reads_back_and_its_bars_add_up() {
    let builds = [
        Build::AsFits,
        Build::Whole,
        Build::ToneByTone,
        Build::LastPartFirst,
        Build::Groups,
    ];
    let (mut made, mut refused) = (0, 0);
    for movement in Movement::all() {
        for from in NOTES {
            for to in NOTES {
                for build in builds {
                    let request = Request {
                        build,
                        ..request(movement, from, to)
                    };
                    match make(&request) {
                        Err(CannotMake(why)) => {
                            refused += 1;
                            assert!(why.contains("to drill"), "{why}");
                        }
                        Ok(document) => {
                            made += 1;
                            for stage in read_back(&document).stages {
                                for bar in &stage.music.bars {
                                    assert_eq!(bar.length(), Metre::FOUR_FOUR.bar());
                                }
                            }
                        }
                    }
                }
            }
        }
    }
    assert!(
        made >= 9_000 && refused >= 1_000,
        "{made} made, {refused} refused"
    );
}

#[test]
fn every_movement_can_be_made_in_every_metre_and_by_every_school() {
    for movement in Movement::all() {
        let context = crate::movement::typical_context(movement);
        let from = context.before.expect("a note before");
        for metre in Metre::USUAL {
            let request = Request {
                metre,
                ..request(movement, from, context.after)
            };
            read_back(&make(&request).expect("it is played here"));
        }
        for school in movement.schools() {
            let request = Request {
                schools: Schools::none().and(*school),
                ..request(movement, from, context.after)
            };
            read_back(&make(&request).expect("it is played here"));
        }
    }
}

#[test]
fn crossings_and_one_finger_read_back() {
    let crossings = read_back(&make_crossings());
    assert_eq!(crossings.stages.len(), 36);
    assert_eq!(crossings.stages[0].name, "D and high G");
    for finger in Finger::ALL {
        let drill = read_back(&make_finger(finger));
        assert_eq!(drill.stages[0].name, "in silence");
        assert!(drill.stages.len() > 5, "{}", drill.title);
    }
}

/// The expected tables of the grip from D and the taorluath from low G (common practice, no
/// source).
#[test]
fn the_taught_drills_come_out_as_taught() {
    let stages = |name, from, to| {
        let request = Request {
            chain: false,
            transfer: false,
            bridge: false,
            ..request(find(name).expect("a movement"), from, to)
        };
        let document = make(&request).expect("it is played here");
        document
            .stages
            .expect("stages")
            .into_iter()
            .map(|stage| {
                let text = |exact: Option<Exact>| exact.map(|exact| exact.text());
                (stage.name, text(stage.before), text(stage.tone))
            })
            .collect::<Vec<_>>()
    };
    let row = |name: &str, before: &str, tone: &str| {
        (
            name.to_owned(),
            Some(before.to_owned()),
            Some(tone.to_owned()),
        )
    };
    let named = |name: &str| (name.to_owned(), None, None);
    let [opening, real] = ["closing up", "real time"].map(named);
    assert_eq!(
        stages("grip", Note::D, Note::LowA),
        [
            row("full beats", "1", "1"),
            row("half beats", "1", "1/2"),
            row("dotted and sixteenths", "1 1/2", "1/4"),
            opening.clone(),
            real.clone(),
        ]
    );
    assert_eq!(
        stages("taorluath", Note::LowG, Note::LowA),
        [
            row("full beats", "1", "1"),
            row("half beat", "1 1/2", "1/2"),
            row("double-dotted and sixteenth", "1 3/4", "1/4"),
            opening,
            real,
        ]
    );
}

#[test]
fn what_cannot_be_played_is_refused_with_what_can() {
    let taorluath = find("taorluath").expect("a movement");
    let error = make(&request(taorluath, Note::B, Note::E)).expect_err("no taorluath on E");
    assert!(error.0.contains("make `grip` instead"), "{error}");
}
