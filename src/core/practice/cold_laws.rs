//! Tests of the cold try: the state before, the event, the state after.

use super::board_laws::{Practice, cell, plan};
use super::*;
use uuid::Uuid;

const DAY_MS: i64 = 86_400_000;

/// The last of the three stages is in real time. With three rungs only the top rungs need a cold
/// try.
fn asked() -> Plan {
    let mut plan = plan();
    plan.stages[2].real_time = true;
    plan
}

/// The top of the first stage was cleared a day ago, and a new session begins.
fn a_day_later() -> Practice {
    let mut practice = Practice::with(asked());
    practice.choose(cell(0, 58));
    practice.clean(3);
    assert_eq!(practice.status(0, 58), CellStatus::Clear);
    let mut next = Practice::resumed(asked(), practice.journal, Uuid::from_u128(2), None);
    next.now_ms = practice.now_ms + DAY_MS;
    next
}

fn begin(practice: &mut Practice, at_cell: CellKey) {
    practice.choose(at_cell);
}

fn held(practice: &Practice, stage: usize, rung: usize) -> Held {
    let board = practice.state.board();
    board.cell(stage, rung).expect("on the grid").held
}

fn cold(practice: &Practice) -> Option<CellKey> {
    practice.state.cold_try(practice.at())
}

fn tried(journal: &[Entry]) -> Vec<(u64, bool)> {
    journal
        .iter()
        .filter_map(|entry| match entry.record.kind {
            Kind::Tried { repetition, alone } => Some((repetition, alone)),
            _ => None,
        })
        .collect()
}

/// Five clean repetitions after twenty other tries clear a cell but do not hold it.
#[test]
fn the_first_try_of_another_day_holds_a_cell() {
    let mut practice = a_day_later();
    assert_eq!(practice.state.due_cold(practice.at()), Some(cell(0, 58)));
    begin(&mut practice, cell(0, 58));
    assert_eq!(cold(&practice), Some(cell(0, 58)));
    assert_eq!(held(&practice, 0, 2), Held::No);
    practice.play();
    assert_eq!(cold(&practice), None, "one try");
    let news = practice.press(Mark::Clean);
    assert!(news.contains(&News::ColdTry {
        cell: cell(0, 58),
        mark: Mark::Clean
    }));
    assert_eq!(held(&practice, 0, 2), Held::Said);
    assert_eq!(practice.status(0, 58), CellStatus::Clear);
    assert_eq!(practice.state.due_cold(practice.at()), None);
    assert_eq!(tried(&practice.journal), [(0, true), (0, true)]);
}

/// The day on which a cell was cleared is not another day, however long the session lasts.
#[test]
fn a_cell_is_not_tried_cold_on_the_day_it_was_cleared() {
    let mut practice = Practice::with(asked());
    practice.choose(cell(0, 58));
    practice.clean(3);
    practice.later(4 * 3600 * 1000);
    assert_eq!(practice.state.due_cold(practice.at()), None);
    assert_eq!(cold(&practice), None);
    practice.clean(1);
    assert_eq!(held(&practice, 0, 2), Held::No);
}

#[test]
fn with_the_reference_it_is_no_cold_try() {
    let mut practice = a_day_later();
    begin(&mut practice, cell(0, 58));
    let id = practice.begin_with(true);
    practice.close(id);
    practice.press(Mark::Clean);
    assert_eq!(held(&practice, 0, 2), Held::No);
    assert_eq!(tried(&practice.journal).last(), Some(&(0, false)));
}

#[test]
fn after_a_repetition_of_another_cell_of_the_drill_it_is_none() {
    let mut practice = a_day_later();
    begin(&mut practice, cell(0, 54));
    practice.play();
    practice.choose(cell(0, 58));
    assert_eq!(cold(&practice), None);
    assert_eq!(practice.state.due_cold(practice.at()), None);
    practice.clean(1);
    assert_eq!(held(&practice, 0, 2), Held::No);
    // The next morning the cell needs a cold try again.
    practice.later(DAY_MS);
    assert_eq!(practice.state.due_cold(practice.at()), Some(cell(0, 58)));
}

/// Warming up without marks is recorded too, so the next session knows of the run-up.
#[test]
fn an_unmarked_repetition_of_an_earlier_session_is_a_run_up_too() {
    let mut practice = a_day_later();
    begin(&mut practice, cell(0, 58));
    practice.play();
    let now_ms = practice.now_ms + 1000;
    let mut again = Practice::resumed(
        asked(),
        practice.journal,
        Uuid::from_u128(3),
        Some(cell(0, 58)),
    );
    again.now_ms = now_ms;
    assert_eq!(cold(&again), None);
    again.clean(1);
    assert_eq!(held(&again, 0, 2), Held::No);
}

/// A session begins two minutes before midnight. Its first repetition after midnight is not cold.
#[test]
fn what_was_played_just_before_midnight_is_a_run_up() {
    let mut practice = a_day_later();
    // The clock of these tests is an hour ahead of universal time.
    let to_midnight = DAY_MS - (practice.now_ms + 3_600_000).rem_euclid(DAY_MS);
    practice.later(to_midnight - 60_000);
    begin(&mut practice, cell(0, 54));
    practice.play();
    practice.later(60_000);
    practice.choose(cell(0, 58));
    assert_eq!(cold(&practice), None);
    practice.clean(1);
    assert_eq!(held(&practice, 0, 2), Held::No);
    assert_eq!(tried(&practice.journal).last(), Some(&(1, false)));
}

/// A repetition that is interrupted before its closing note is not a try; the next one is the first
/// try.
#[test]
fn a_repetition_cut_short_is_no_try() {
    let mut practice = a_day_later();
    begin(&mut practice, cell(0, 58));
    practice.begin();
    practice.tell(Event::Cut);
    assert_eq!(cold(&practice), Some(cell(0, 58)));
    practice.clean(1);
    assert_eq!(held(&practice, 0, 2), Held::Said);
}

/// After a clean cold try play moves on to where the climb stands. After one that was not clean the
/// player may stay.
#[test]
fn after_a_clean_cold_try_play_goes_on_by_itself() {
    let mut practice = a_day_later();
    begin(&mut practice, cell(0, 58));
    practice.clean(1);
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
    let mut practice = a_day_later();
    begin(&mut practice, cell(0, 58));
    practice.not_clean(1);
    assert_eq!(practice.state.upcoming(), Some(cell(0, 58)));
    assert_eq!(practice.state.named(), Some(cell(1, 50)));
    let at = practice.at();
    practice.tell(Event::Advance { at });
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
}

/// An undone mark shows nothing; a corrected one shows what it was corrected to.
#[test]
fn undo_and_correction_reach_the_cold_try() {
    let mut practice = a_day_later();
    begin(&mut practice, cell(0, 58));
    practice.clean(1);
    practice.press(Mark::NotClean);
    assert_eq!(held(&practice, 0, 2), Held::No);
    practice.undo();
    assert_eq!(held(&practice, 0, 2), Held::Said);
    practice.undo();
    assert_eq!(held(&practice, 0, 2), Held::No);
    let again = replay(asked(), &practice.journal);
    assert_eq!(again.board(), practice.state.board());
}

#[test]
fn an_assumed_cold_try_holds_and_looks_different() {
    let mut practice = a_day_later();
    let at = practice.at();
    let hands_free = Plan {
        hands_free: true,
        ..asked()
    };
    practice.tell(Event::PlanChanged {
        at,
        plan: hands_free,
    });
    begin(&mut practice, cell(0, 58));
    let id = practice.play();
    practice.end(id);
    assert_eq!(held(&practice, 0, 2), Held::Assumed);
}

/// The last cold try decides: a cell held in spring may be lost in autumn.
#[test]
fn a_later_cold_try_that_is_not_clean_lets_go_and_the_cell_stays_clear() {
    let mut practice = a_day_later();
    begin(&mut practice, cell(0, 58));
    practice.clean(1);
    practice.later(DAY_MS);
    practice.choose(cell(0, 58));
    assert_eq!(cold(&practice), Some(cell(0, 58)));
    practice.not_clean(1);
    assert_eq!(held(&practice, 0, 2), Held::No);
    assert_eq!(practice.status(0, 58), CellStatus::Clear);
}

/// On one computer the drill was played at nine, on another it was tried at ten. When the journals
/// are merged, in any order, the try at ten has a run-up.
#[test]
fn a_run_up_on_another_computer_counts_when_it_comes_in() {
    let before = a_day_later();
    let mut other = Practice::resumed(
        asked(),
        before.journal.clone(),
        Uuid::from_u128(8),
        Some(cell(0, 50)),
    );
    other.now_ms = before.now_ms;
    other.play();
    let known = before.journal.len();
    let foreign: Vec<Entry> = other.journal[known..]
        .iter()
        .map(|entry| Entry {
            journal: Uuid::from_u128(0xb),
            ..entry.clone()
        })
        .collect();
    let mut practice = before;
    practice.later(3_600_000);
    begin(&mut practice, cell(0, 58));
    practice.clean(1);
    assert_eq!(held(&practice, 0, 2), Held::Said);
    practice.tell(Event::Stored {
        foreign: foreign.clone(),
        own: Vec::new(),
    });
    assert_eq!(held(&practice, 0, 2), Held::No);
    let mut all = practice.journal.clone();
    all.extend(foreign);
    all.reverse();
    assert_eq!(replay(asked(), &all).board(), practice.state.board());
}

/// Journals from before cold tries existed hold no cell and lose no mark.
#[test]
fn a_journal_without_tries_holds_nothing() {
    let mut practice = Practice::with(asked());
    practice.choose(cell(0, 58));
    practice.clean(3);
    let old: Vec<Entry> = practice
        .journal
        .into_iter()
        .filter(|entry| !matches!(entry.record.kind, Kind::Tried { .. }))
        .collect();
    let state = replay(asked(), &old);
    assert_eq!(state.status(cell(0, 58)), CellStatus::Clear);
    assert!(state.board().cells().all(|cell| !cell.held.is_held()));
}

/// After a cold try that was not clean, play stays in the cell until the needed clean repetitions
/// in a row are reached, and then moves on.
#[test]
fn after_a_cold_try_that_is_not_clean_a_full_row_leads_on() {
    let mut practice = a_day_later();
    begin(&mut practice, cell(0, 58));
    practice.not_clean(1);
    practice.clean(2);
    assert_eq!(practice.state.upcoming(), Some(cell(0, 58)));
    practice.clean(1);
    assert_ne!(practice.state.upcoming(), Some(cell(0, 58)));
}

/// Below the top rung of a stage that is taken apart no cell needs a cold try, and a clean one
/// there holds nothing.
#[test]
fn a_cell_that_asks_for_no_cold_try_is_not_held_by_one() {
    let mut practice = Practice::with(asked());
    practice.clean(3);
    let second = Uuid::from_u128(2);
    let place = Some(cell(0, 50));
    let mut next = Practice::resumed(asked(), practice.journal, second, place);
    next.now_ms = practice.now_ms + DAY_MS;
    next.clean(1);
    let shown = next.state.board().cell(0, 0).expect("on the grid");
    assert_eq!(shown.status, CellStatus::Clear);
    assert!(!shown.asked_cold);
    assert_eq!((shown.held, shown.last_cold), (Held::No, None));
    assert_eq!(tried(&next.journal).len(), 2, "one first try a day");
}
