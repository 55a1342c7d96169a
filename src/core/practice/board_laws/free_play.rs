//! Tests of cells that are played before they are open.

use super::*;

#[test]
fn any_cell_can_be_played_freely_and_opens_nothing_before_n_clean() {
    let mut practice = Practice::with(plan());
    practice.choose(cell(2, 54));
    practice.clean(2);
    assert!(practice.state.is_free_play());
    assert_eq!(practice.status(2, 54), Closed);
    assert_eq!(practice.tally(2, 54).streak, 2, "marks are kept");
    assert_eq!(practice.status(0, 50), Open);
    assert_eq!(practice.status(2, 58), Closed);
}

#[test]
fn n_clean_in_free_play_place_the_player_and_what_lies_before_is_passed() {
    let mut practice = Practice::with(plan());
    practice.choose(cell(1, 54));
    practice.clean(3);
    assert_eq!(practice.status(1, 54), Clear);
    for (stage, tempo) in [(0, 50), (1, 50), (0, 54)] {
        assert_eq!(
            practice.status(stage, tempo),
            Passed,
            "stage {stage} at {tempo}"
        );
    }
    assert_eq!(practice.status(2, 50), Open);
    assert_eq!(practice.status(0, 58), Open);
    assert_eq!(practice.status(2, 54), Closed);
    assert_eq!(practice.state.upcoming(), Some(cell(2, 50)));
    practice.undo();
    assert_eq!(practice.status(1, 54), Closed);
    assert_eq!(practice.status(0, 50), Open);
    assert_eq!(practice.status(2, 50), Closed);
}

#[test]
fn a_passed_cell_can_be_cleared_like_any_other() {
    let mut practice = Practice::with(plan());
    practice.choose(cell(1, 54));
    practice.clean(3);
    practice.choose(cell(0, 50));
    practice.clean(3);
    assert_eq!(practice.status(0, 50), Clear);
    assert_eq!(practice.status(1, 50), Passed);
}

/// Marks made while climbing do not clear a cell that has closed since.
#[test]
fn marks_made_while_a_cell_was_open_do_not_place_the_player() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.clean(2);
    let at = practice.at();
    practice.tell(Event::Paused { at });
    assert_eq!(practice.state.cell(), Some(cell(1, 50)));
    let unclear = |practice: &mut Practice| {
        practice.later(700);
        let at = practice.at();
        practice.tell(Event::Press {
            at,
            mark: Mark::NotClean,
            by: Hand::Key,
            repetition: Some(0),
        });
    };
    unclear(&mut practice);
    assert_eq!(
        practice.state.cell(),
        Some(cell(0, 50)),
        "nothing sounds: it moves at once"
    );
    assert_eq!(practice.status(1, 50), Closed);
    assert_eq!(practice.tally(1, 50).streak, 2);
}

#[test]
fn a_tempo_between_rungs_can_be_played_and_places_up_to_the_rung_below() {
    let mut practice = Practice::with(plan());
    practice.choose(cell(1, 56));
    practice.clean(3);
    assert_eq!(practice.status(1, 56), Clear);
    assert_eq!(practice.status(1, 54), Passed);
    assert_eq!(practice.status(1, 58), Closed);
    assert_eq!(practice.status(0, 58), Open);
}

/// A tempo between rungs opens no rung, so undoing its marks closes none.
#[test]
fn a_tempo_between_rungs_that_was_uncleared_closes_no_rung_above() {
    let mut practice = Practice::with(plan());
    practice.choose(cell(0, 52));
    practice.clean(3);
    practice.undo();
    assert_eq!(practice.status(0, 50), Open);
    practice.choose(cell(0, 50));
    practice.clean(3);
    practice.choose(cell(0, 54));
    practice.clean(3);
    assert_eq!(practice.status(0, 54), Clear);
}

#[test]
fn a_stage_the_plan_does_not_have_cannot_be_chosen() {
    let mut practice = Practice::with(plan());
    assert_eq!(
        practice.choose(cell(9, 50)),
        [News::UnknownStage(cell(9, 50))]
    );
    assert_eq!(practice.state.upcoming(), Some(cell(0, 50)));
}

/// A player who chose a closed cell stays there as long as wanted. A cell that the route led to was
/// not chosen, so when the marks that led there are undone, play returns to the chosen cell.
#[test]
fn what_the_route_led_to_was_not_chosen() {
    let mut practice = Practice::with(plan());
    practice.choose(cell(1, 54));
    practice.clean(3);
    practice.clean(1);
    assert_eq!(practice.state.cell(), Some(cell(2, 50)));
    for _ in 0..2 {
        practice.undo();
    }
    assert_eq!(practice.status(2, 50), Closed);
    assert!(!practice.state.is_free_play());
    assert_eq!(practice.state.upcoming(), Some(cell(1, 54)));
}
