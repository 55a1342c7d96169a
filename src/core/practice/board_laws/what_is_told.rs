//! Tests of the queries to a running practice, and of news that is given once.

use super::*;
use crate::drill::{BUILT_IN, StageKind, read};
use crate::practice::{By, ladder};

#[test]
fn a_session_is_told_while_it_runs() {
    let mut practice = Practice::with(plan());
    assert_eq!(practice.state.session(), Some(SESSION));
    let at = practice.at();
    practice.tell(Event::Ended { at });
    assert_eq!(practice.state.session(), None);
    assert_eq!(replay(plan(), &practice.journal).session(), None);
}

/// A repetition awaits its mark from its closing note until somebody marks it. A repetition with
/// lost sound takes no mark.
#[test]
fn a_repetition_awaits_its_mark_from_its_closing_note_on() {
    let mut practice = Practice::with(plan());
    assert!(!practice.state.awaits_a_mark());
    let id = practice.begin();
    assert!(!practice.state.awaits_a_mark());
    practice.close(id);
    assert!(practice.state.awaits_a_mark());
    assert_eq!(
        practice.state.last_repetition(),
        Some((id, cell(0, 50), None))
    );
    practice.press(Mark::NotClean);
    assert!(!practice.state.awaits_a_mark());
    assert_eq!(
        practice.state.last_repetition(),
        Some((id, cell(0, 50), Some(Mark::NotClean)))
    );
    practice.undo();
    assert!(practice.state.awaits_a_mark());
    let late = practice.begin();
    practice.tell(Event::SoundLost);
    practice.close(late);
    assert!(!practice.state.awaits_a_mark());
}

#[test]
fn what_was_played_by_heart_is_told_by_its_cell_and_number() {
    let mut practice = Practice::with(plan());
    practice.by_heart = true;
    let known = practice.play();
    practice.by_heart = false;
    let read = practice.play();
    assert!(practice.state.was_by_heart(cell(0, 50), known));
    assert!(!practice.state.was_by_heart(cell(0, 50), read));
    assert!(!practice.state.was_by_heart(cell(1, 50), known));
}

/// Nine cells need three clean repetitions each. The last of the 27 completes the board, which is
/// news once.
#[test]
fn that_the_board_is_complete_is_told_once() {
    let mut practice = Practice::with(plan());
    let (mut complete, mut cleared) = (Vec::new(), Vec::new());
    for number in 1..=33 {
        practice.play();
        for news in practice.press(Mark::Clean) {
            match news {
                News::Complete => complete.push(number),
                News::Cleared(_) => cleared.push(number),
                News::Uncleared { .. } => panic!("nothing was taken back"),
                _ => {}
            }
        }
    }
    assert_eq!(complete, [27]);
    assert_eq!(cleared, [3, 6, 9, 12, 15, 18, 21, 24, 27]);
    let mut practice = Practice::with(plan());
    practice.clean(3);
    let now = Open;
    let cell = cell(0, 50);
    assert!(practice.undo().contains(&News::Uncleared { cell, now }));
}

/// A step back is news when its suggestion begins to stand, and not again.
#[test]
fn a_step_back_is_suggested_once() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    let mut suggested = Vec::new();
    for number in 1..=5 {
        practice.play();
        let back = News::StepBackSuggested(cell(0, 50));
        if practice.press(Mark::NotClean).contains(&back) {
            suggested.push(number);
        }
    }
    assert_eq!(suggested, [3]);
}

#[test]
fn the_last_mark_is_one_of_this_session_that_stands() {
    let mut practice = Practice::with(plan());
    assert_eq!(practice.state.last_mark(), None);
    practice.clean(2);
    let marks: Vec<RecordId> = practice
        .journal
        .iter()
        .filter(|entry| matches!(entry.record.kind, Kind::Mark { .. }))
        .map(|entry| entry.record.id)
        .collect();
    assert_eq!(practice.state.last_mark(), Some(marks[1]));
    practice.undo();
    assert_eq!(practice.state.last_mark(), Some(marks[0]));
    let next = Practice::resumed(plan(), practice.journal, Uuid::from_u128(2), None);
    assert_eq!(next.state.last_mark(), None);
}

#[test]
fn free_play_is_play_in_a_closed_cell_that_was_chosen() {
    let mut practice = Practice::with(plan());
    assert!(!practice.state.is_free_play());
    practice.choose(cell(2, 54));
    assert!(practice.state.is_free_play());
    practice.clean(3);
    assert_eq!(practice.state.cell(), Some(cell(2, 54)));
    assert!(!practice.state.is_free_play(), "it is clear now");
}

#[test]
fn without_a_session_nothing_happens() {
    let mut practice = Practice::with(plan());
    practice.clean(1);
    let state = replay(plan(), &practice.journal);
    let at = practice.at();
    for event in [
        Event::PlanChanged {
            at,
            plan: opening_plan(),
        },
        Event::CellChosen {
            at,
            cell: cell(9, 50),
        },
        Event::Undo { at },
        Event::Advance { at },
        Event::TempoStep { at, up: true },
        Event::Press {
            at,
            mark: Mark::Clean,
            by: Hand::Key,
            repetition: None,
        },
        Event::Ended { at },
    ] {
        let (after, records) = step(&state, &event);
        assert_eq!(after, state, "{event:?}");
        assert_eq!(records, [], "{event:?}");
    }
}

/// Sound time runs from the first sound to the pause, by the clock that never jumps. Pausing again
/// adds nothing.
#[test]
fn how_long_sound_ran_is_written_down_where_it_stops() {
    let mut practice = Practice::with(plan());
    practice.play();
    practice.later(2000);
    for _ in 0..2 {
        let at = practice.at();
        practice.tell(Event::Paused { at });
        practice.later(1000);
    }
    let at = practice.at();
    practice.tell(Event::Ended { at });
    let heard: Vec<(&Kind, Option<&str>)> = practice
        .journal
        .iter()
        .filter(|entry| matches!(entry.record.kind, Kind::Paused | Kind::Ended))
        .map(|entry| (&entry.record.kind, entry.record.measures.as_deref()))
        .collect();
    assert_eq!(
        heard,
        [
            (&Kind::Paused, Some("{\"heard_ms\":6000}")),
            (&Kind::Ended, None)
        ]
    );
}

/// A hand may repeat the mark of the ear, and the mark then counts as given by hand. A second press
/// adds nothing.
#[test]
fn a_hand_may_say_the_same_as_the_ear() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan);
    let id = practice.play();
    practice.hear(id, true, 35.0);
    practice.press(Mark::Clean);
    let news = practice.press(Mark::Clean);
    assert!(news.contains(&News::AlreadyMarked(Mark::Clean)));
    assert_eq!(
        practice.marks(),
        [(id, Mark::Clean, By::Ear), (id, Mark::Clean, By::Key)]
    );
}

/// Events with a moment return it, so that a change of the clock can be found; other events return
/// none.
#[test]
fn an_event_tells_its_moment_where_it_has_one() {
    let at = Practice::with(plan()).at();
    assert_eq!(Event::BarHeard { at }.at(), Some(at));
    let chosen = Event::CellChosen {
        at,
        cell: cell(0, 50),
    };
    assert_eq!(chosen.at(), Some(at));
    assert_eq!(Event::Cut.at(), None);
}

/// The audio thread may begin a repetition before it learns of the move. The cell that sounds
/// counts, and the move still comes afterwards.
#[test]
fn a_repetition_that_still_sounds_in_the_cleared_cell_does_not_end_the_climb() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
    let id = practice.begin_in(cell(0, 50), false);
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
    practice.close(id);
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(0, 50).clean, 4);
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
}

/// A cell sounds that was not the next one. So it counts as chosen, and play stays there.
#[test]
fn another_cell_that_sounds_is_played_freely() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.begin_in(cell(2, 54), false);
    assert!(practice.state.is_free_play());
    assert_eq!(practice.state.upcoming(), Some(cell(2, 54)));
}

/// With a slow database a mark may wait to be stored while a later mark of another program arrives.
/// Once it is stored it is ordered before the later one, as after a restart.
#[test]
fn a_mark_that_is_stored_late_takes_its_place_in_time() {
    let mut practice = Practice::with(plan());
    practice.play();
    let ours = practice.at();
    let press = Event::Press {
        at: ours,
        mark: Mark::Clean,
        by: Hand::Key,
        repetition: None,
    };
    let (state, records) = step(&practice.state, &press);
    let own: Vec<Entry> = records
        .into_iter()
        .zip(100..)
        .map(|(record, seq)| Entry {
            journal: JOURNAL,
            seq,
            record,
        })
        .collect();
    let mut theirs = own[0].clone();
    theirs.journal = OTHER_JOURNAL;
    theirs.record.id.session = Uuid::from_u128(9);
    theirs.record.utc_us += 60_000_000;
    theirs.record.kind = Kind::Mark {
        repetition: 0,
        mark: Mark::NotClean,
        needed: 3,
        free: false,
    };
    let arrived = Event::Stored {
        foreign: vec![theirs.clone()],
        own: Vec::new(),
    };
    let state = step(&state, &arrived).0;
    assert_eq!(
        state.tally(cell(0, 50)).streak,
        1,
        "ours waits behind theirs"
    );
    let stored = Event::Stored {
        foreign: Vec::new(),
        own: own.clone(),
    };
    let state = step(&state, &stored).0;
    assert_eq!(
        state.tally(cell(0, 50)).streak,
        0,
        "theirs came a minute later"
    );
    let all: Vec<&Entry> = practice
        .journal
        .iter()
        .chain(&own)
        .chain([&theirs])
        .collect();
    let again = replay(plan(), all);
    assert_eq!(again.tally(cell(0, 50)), state.tally(cell(0, 50)));
}

/// A cell is judged by the player's own limits. In the lowest third of the ladder a gracenote may
/// be longer, and on a rung that opens the movement the tones have the rung's length. A mark by ear
/// stores these limits.
#[test]
fn a_cell_is_judged_by_the_players_limits_at_its_place() {
    let mut plan = opening_plan();
    plan.thresholds.offset = Milliseconds(17.0);
    plan.by_ear = true;
    let at = |key| plan.thresholds_of(key);
    // The ladder goes from 50 to 62, so its lowest third ends at 54.
    for (key, longest, opened_to) in [
        (cell(0, 50), 80.0, None),
        (cell(0, 54), 60.0, None),
        (cell(2, 62), 60.0, None),
        (opened(210), 60.0, Some(Milliseconds(210.0))),
    ] {
        assert_eq!(at(key).offset, Milliseconds(17.0));
        assert_eq!(at(key).gracenote_longest, Milliseconds(longest));
        assert_eq!(at(key).opened_to, opened_to);
    }
    let mut practice = Practice::with(plan.clone());
    let id = practice.play();
    practice.hear(id, true, 70.0);
    let mark = practice.journal.iter().find_map(|entry| {
        matches!(entry.record.kind, Kind::Mark { .. }).then_some(entry.record.clone())
    });
    let mark = mark.expect("the ear marked it");
    assert_eq!(mark.by, Some(By::Ear));
    let kept = mark.thresholds.as_deref().and_then(Thresholds::from_json);
    assert_eq!(kept, Some(plan.thresholds_of(cell(0, 50))));
}

/// A plan has the stages of its drill in their order, each with its own rungs. A stage that is
/// taken apart or opened is not in real time.
#[test]
fn a_plan_is_made_of_the_stages_of_its_drill() {
    for built in BUILT_IN {
        let drill = read(built.text.as_bytes()).0.expect("it reads");
        let prints: Vec<StagePrint> = (0..drill.stages.len() as u128).map(StagePrint).collect();
        let planned = PlannedStage::all(&drill, prints.clone());
        let found: Vec<StagePrint> = planned.iter().map(|stage| stage.print).collect();
        assert_eq!(found, prints, "{}", built.name);
        let climbs = ladder::climbs(&drill);
        for ((stage, planned), rungs) in drill.stages.iter().zip(&planned).zip(climbs) {
            let slow = matches!(
                stage.kind,
                StageKind::Apart { .. } | StageKind::Opening { .. }
            );
            assert_eq!(planned.real_time, !slow, "{} {}", built.name, stage.name);
            assert_eq!(planned.rungs, rungs, "{} {}", built.name, stage.name);
        }
    }
    assert_eq!(plan().key(0, 1), Some(cell(0, 54)));
    assert_eq!(plan().key(2, 2), Some(cell(2, 58)));
    assert_eq!((plan().key(0, 3), plan().key(3, 0)), (None, None));
    let board = |plan| Practice::with(plan).state.board().stages();
    assert_eq!(board(plan()), 3);
    assert_eq!(board(opening_plan()), 4);
    assert_eq!(board(Plan::new("no stages", Vec::new())), 0);
}

/// Moving to another stage selects the rung that is nearest to the present one.
#[test]
fn another_stage_is_entered_on_the_nearest_rung() {
    let plan = opening_plan();
    let near = |stage, key: CellKey| plan.in_stage(stage, key.rung);
    assert_eq!(near(1, cell(0, 54)), Some(cell(1, 54)));
    assert_eq!(near(0, cell(2, 62)), Some(cell(0, 54)));
    assert_eq!(near(3, cell(0, 50)), Some(cell(2, 54)));
    assert_eq!(near(0, opened(150)), Some(cell(0, 54)));
    assert_eq!(near(2, cell(2, 62)), Some(opened(300)));
    assert_eq!(near(2, opened(210)), Some(opened(210)));
    assert_eq!(near(2, opened(250)), Some(opened(300)));
    assert_eq!(near(4, cell(0, 50)), None);
}
