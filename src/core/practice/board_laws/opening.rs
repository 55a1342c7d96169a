//! Tests of what opens a cell and what clears it.

use super::*;

#[test]
fn the_first_cell_is_open_and_no_other() {
    let practice = Practice::with(plan());
    let open: Vec<CellKey> = practice
        .state
        .board()
        .cells()
        .filter(|cell| cell.status != Closed)
        .map(|cell| cell.key)
        .collect();
    assert_eq!(open, [cell(0, 50)]);
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
}

#[test]
fn a_cell_is_clear_after_n_clean_in_a_row_and_opens_its_neighbours() {
    let mut practice = Practice::with(plan());
    practice.clean(2);
    assert_eq!(practice.status(0, 50), Open);
    assert_eq!(practice.state.streak(), 2);
    practice.play();
    let news = practice.press(Mark::Clean);
    assert!(news.contains(&News::Cleared(cell(0, 50))));
    assert_eq!(practice.status(0, 50), Clear);
    assert_eq!(practice.status(1, 50), Open);
    assert_eq!(practice.status(0, 54), Open);
    assert_eq!(practice.status(1, 54), Closed);
}

/// One clear neighbour is not enough: both the stage before and the rung below must be climbed.
#[test]
fn a_cell_opens_only_when_both_the_stage_before_and_the_rung_below_are_clear() {
    let mut practice = Practice::with(plan());
    practice.clean(6);
    assert_eq!(practice.status(1, 50), Clear);
    assert_eq!(practice.status(1, 54), Closed);
    practice.choose(cell(0, 54));
    practice.clean(3);
    assert_eq!(practice.status(1, 54), Open);
}

#[test]
fn a_not_clean_repetition_ends_the_streak() {
    let mut practice = Practice::with(plan());
    practice.clean(2);
    practice.not_clean(1);
    practice.clean(2);
    assert_eq!(practice.status(0, 50), Open);
    assert_eq!(practice.state.streak(), 2);
    practice.clean(1);
    assert_eq!(practice.status(0, 50), Clear);
}

#[test]
fn an_unmarked_repetition_counts_as_nothing() {
    let mut practice = Practice::with(plan());
    practice.clean(2);
    practice.play();
    practice.clean(1);
    assert_eq!(practice.status(0, 50), Clear);
    assert_eq!(practice.tally(0, 50).clean, 3);
}

/// Board 3: playing a clear cell badly for fun must not close half the board.
#[test]
fn a_later_not_clean_never_unclears() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.choose(cell(0, 50));
    practice.not_clean(3);
    assert_eq!(practice.status(0, 50), Clear);
    assert_eq!(practice.status(1, 50), Open);
}

/// Board 3: N is stored with the mark, so a drill edited from N = 3 to 5 keeps what was reached.
#[test]
fn n_as_it_was_at_the_mark_is_recorded_and_editing_rewrites_nothing() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.clean(2);
    let mut harder = plan();
    harder.clean = 5;
    let state = replay(harder.clone(), &practice.journal);
    assert_eq!(state.status(cell(0, 50)), Clear);
    let mut easier = plan();
    easier.clean = 2;
    let state = replay(easier, &practice.journal);
    assert_eq!(
        state.status(cell(1, 50)),
        Open,
        "two clean were not enough then"
    );
    let at = practice.at();
    practice.tell(Event::PlanChanged { at, plan: harder });
    practice.clean(1);
    assert_eq!(practice.status(1, 50), Open, "five are needed now");
    practice.clean(2);
    assert_eq!(practice.status(1, 50), Clear);
}
