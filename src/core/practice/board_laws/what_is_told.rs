//! What others ask of a running practice, and what news it gives once.

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

/// From its closing note until somebody said how it was; one that sound was lost in takes no mark.
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

/// Nine cells of three clean ones: with the last of the 27 the board is complete, and it is so once.
#[test]
fn that_the_board_is_complete_is_told_once() {
    let mut practice = Practice::with(plan());
    let mut told = Vec::new();
    for number in 1..=33 {
        practice.play();
        if practice.press(Mark::Clean).contains(&News::Complete) {
            told.push(number);
        }
    }
    assert_eq!(told, [27]);
}

/// The audio thread may have begun a repetition before it heard of the move: the cell that sounds
/// counts, and the move still comes.
#[test]
fn a_repetition_that_still_sounds_in_the_cleared_cell_does_not_end_the_climb() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
    practice.later(1000);
    let at = practice.at();
    let id = practice.state.next_repetition();
    practice.tell(Event::RepetitionBegan {
        at,
        id,
        cell: cell(0, 50),
        reference: false,
    });
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
    practice.close(id);
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(0, 50).clean, 4);
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
}

/// Another cell sounds than the one that was to come: it was chosen, so that play stays there.
#[test]
fn another_cell_that_sounds_is_played_freely() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.later(1000);
    let at = practice.at();
    let id = practice.state.next_repetition();
    practice.tell(Event::RepetitionBegan {
        at,
        id,
        cell: cell(2, 54),
        reference: false,
    });
    assert!(practice.state.is_free_play());
    assert_eq!(practice.state.upcoming(), Some(cell(2, 54)));
}

/// A slow database: a mark waits to be stored while another program's later one arrives. Once it is
/// stored it stands before that one, as it will after a restart.
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

/// The player's own limits, a longer gracenote in the lowest third, and the length on a rung that
/// opens the movement; a mark by ear keeps them beside it.
#[test]
fn a_cell_is_judged_by_the_players_limits_at_its_place() {
    let mut plan = opening_plan();
    plan.thresholds.offset = Milliseconds(17.0);
    plan.by_ear = true;
    let at = |key| plan.thresholds_of(key);
    // the ladder goes from 50 to 62: its lowest third ends at 54
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

/// A plan has the stages of its drill in their order, each on its own rungs; what is taken apart or
/// opened is no real time.
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
    let board = |plan| Practice::with(plan).state.board().stages();
    assert_eq!(board(plan()), 3);
    assert_eq!(board(opening_plan()), 4);
    assert_eq!(board(Plan::new("no stages", Vec::new())), 0);
}

/// From column to column the rung stays as near as the other's ladder lets it.
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
