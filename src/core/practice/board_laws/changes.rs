//! Tests of what is kept when the drill, the cell or the clock changes.

use super::*;

#[test]
fn a_rung_or_stage_put_in_between_loses_nothing() {
    let mut practice = Practice::with(plan());
    practice.clean(9);
    practice.clean(3);
    let mut wider = plan();
    wider.stages.insert(1, planned(7, &[50, 54, 58]));
    between(&mut wider);
    let state = replay(wider, &practice.journal);
    for key in [cell(0, 50), cell(1, 50), cell(2, 50), cell(0, 54)] {
        assert_eq!(state.status(key), Clear);
    }
    assert_eq!(state.status(cell(7, 50)), Passed);
    assert_eq!(state.status(cell(0, 52)), Passed);
    assert_eq!(state.status(cell(7, 52)), Open);
}

/// A rung is added, played, cleared and removed again; the other cells are as before.
#[test]
fn taking_back_marks_of_a_rung_put_in_later_closes_nothing_older() {
    let mut practice = Practice::with(plan());
    practice.clean(9);
    practice.clean(3);
    let mut wider = plan();
    between(&mut wider);
    let mut practice = Practice::resumed(
        wider,
        practice.journal,
        Uuid::from_u128(2),
        Some(cell(0, 52)),
    );
    practice.now_ms += 86_400_000;
    practice.clean(3);
    assert_eq!(practice.status(0, 52), Clear);
    practice.undo();
    assert_eq!(practice.status(0, 52), Passed);
    assert_eq!(practice.status(0, 54), Clear);
}

#[test]
fn edited_music_starts_anew_and_is_told() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    let played: Vec<StagePrint> = (0..3).map(StagePrint).collect();
    let mut changed = plan();
    changed.stages[0].print = StagePrint::of("other music");
    let state = replay(changed.clone(), &practice.journal);
    assert_eq!(state.board().cell(0, 0).map(|cell| cell.status), Some(Open));
    assert_eq!(edited(&changed, &played), [0]);
    assert_eq!(edited(&plan(), &played), [0_usize; 0]);
    let mut longer = plan();
    longer.stages.push(planned(7, &[50]));
    assert_eq!(
        edited(&longer, &played),
        [0_usize; 0],
        "nothing that was played is gone"
    );
    assert_eq!(
        edited(&plan(), &[]),
        [0_usize; 0],
        "a new drill is not an edited one"
    );
}

/// When the program is killed in the breath bar, the journal already has the next cell.
#[test]
fn the_place_is_written_together_with_the_mark_that_moves_it() {
    let mut practice = Practice::with(plan());
    practice.clean(2);
    practice.play();
    practice.later(700);
    let at = practice.at();
    let (_, records) = step(
        &practice.state,
        &Event::Press {
            at,
            mark: Mark::Clean,
            by: Hand::Key,
            repetition: None,
        },
    );
    let last = records.last().expect("records");
    assert_eq!(records.len(), 2);
    assert_eq!((&last.kind, last.cell), (&Kind::Place, Some(cell(1, 50))));
}

#[test]
fn a_session_begins_where_it_is_told_to_or_at_the_first_open_cell() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    let journal = practice.journal;
    let second = Uuid::from_u128(2);
    let told = Practice::resumed(plan(), journal.clone(), second, Some(cell(2, 58)));
    assert_eq!(told.state.cell(), Some(cell(2, 58)));
    assert!(told.state.is_free_play());
    let untold = Practice::resumed(plan(), journal.clone(), second, None);
    assert_eq!(untold.state.cell(), Some(cell(1, 50)));
    let gone = Practice::resumed(plan(), journal, second, Some(cell(9, 50)));
    assert_eq!(gone.state.cell(), Some(cell(1, 50)));
}

/// In a cell that was already clear when play began there, N more clean repetitions in a row lead
/// on. Otherwise play would stay there.
#[test]
fn a_session_begun_in_a_clear_cell_leads_on_after_n_clean() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    let second = Uuid::from_u128(2);
    let mut again = Practice::resumed(plan(), practice.journal, second, Some(cell(0, 50)));
    again.now_ms += 86_400_000;
    again.clean(2);
    assert_eq!(again.state.upcoming(), Some(cell(0, 50)));
    again.clean(1);
    assert_eq!(again.state.upcoming(), Some(cell(1, 50)));
}

/// When a drill is edited during play, neither a way back nor a wish leads to music that is gone.
#[test]
fn a_stage_taken_out_of_the_plan_is_nowhere_to_go() {
    let mut one_clean = plan();
    one_clean.clean = 1;
    let without = |gone: u128| {
        let mut plan = one_clean.clone();
        plan.stages.retain(|stage| stage.print != StagePrint(gone));
        plan
    };
    let change = |practice: &mut Practice, gone| {
        let at = practice.at();
        practice.tell(Event::PlanChanged {
            at,
            plan: without(gone),
        })
    };
    let mut practice = Practice::with(one_clean.clone());
    practice.begin();
    practice.choose(cell(2, 50));
    change(&mut practice, 2);
    assert_eq!(practice.state.upcoming(), Some(cell(0, 50)));

    let mut practice = Practice::with(one_clean.clone());
    practice.clean(1);
    practice.begin();
    change(&mut practice, 0);
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));

    let mut practice = Practice::with(one_clean.clone());
    let sounding = practice.begin();
    assert!(change(&mut practice, 0).contains(&News::Void(sounding)));
    assert_eq!(practice.state.cell(), Some(cell(1, 50)));
}

/// A clock that is set back by an hour must not order today's marks before yesterday's.
#[test]
fn time_never_goes_below_the_last() {
    let mut practice = Practice::with(plan());
    practice.clean(1);
    practice.play();
    practice.later(700);
    let mut at = practice.at();
    at.utc_us -= 3_600_000_000;
    practice.tell(Event::Press {
        at,
        mark: Mark::Clean,
        by: Hand::Key,
        repetition: None,
    });
    let times: Vec<i64> = practice
        .journal
        .iter()
        .map(|entry| entry.record.utc_us)
        .collect();
    assert!(times.is_sorted(), "{times:?}");
}

/// With two programs on one drill, the cells that the other one cleared are counted once and in
/// their place.
#[test]
fn other_programs_marks_are_seen_once_and_in_their_place() {
    let mut other = Practice::with(plan());
    other.clean(3);
    let foreign: Vec<Entry> = other
        .journal
        .iter()
        .cloned()
        .map(|mut entry| {
            entry.journal = OTHER_JOURNAL;
            entry.record.id.session = Uuid::from_u128(9);
            entry
        })
        .collect();
    let mut practice = Practice::with(plan());
    practice.now_ms += 60_000;
    practice.not_clean(1);
    for _ in 0..2 {
        practice.state = step(
            &practice.state,
            &Event::Stored {
                foreign: foreign.clone(),
                own: Vec::new(),
            },
        )
        .0;
    }
    assert_eq!(practice.status(0, 50), Clear);
    assert_eq!(practice.tally(0, 50).clean, 3);
    assert_eq!(practice.state.streak(), 0, "ours came after theirs");
    practice.undo();
    assert_eq!(
        practice.status(0, 50),
        Clear,
        "undo takes our own back first"
    );
    assert_eq!(practice.tally(0, 50).not_clean, 0);
}

#[test]
fn a_plan_without_stages_or_rungs_is_an_empty_board() {
    for plan in [
        Plan::new("no stages", Vec::new()),
        Plan::new("no rungs", vec![planned(0, &[])]),
    ] {
        let mut practice = Practice::with(plan);
        assert_eq!(practice.state.cell(), None);
        assert!(!practice.state.board().is_complete());
        assert_eq!(practice.press(Mark::Clean), [News::NothingToMark]);
    }
}

/// A rung that was tried once, removed and added again was never cleared, so it closes nothing.
#[test]
fn a_rung_that_was_only_tried_closes_nothing_that_was_climbed_without_it() {
    let mut wider = plan();
    between(&mut wider);
    let mut practice = Practice::with(wider.clone());
    practice.choose(cell(0, 52));
    practice.not_clean(1);
    let mut practice = Practice::resumed(plan(), practice.journal, Uuid::from_u128(2), None);
    practice.now_ms += 86_400_000;
    practice.clean(3);
    practice.choose(cell(0, 54));
    practice.clean(3);
    let state = replay(wider, &practice.journal);
    assert_eq!(state.status(cell(0, 54)), Clear);
    assert_eq!(state.status(cell(0, 52)), Passed);
}
