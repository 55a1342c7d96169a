//! Tests of the stop after three repetitions in a row that are not clean, so that errors are not
//! practised.

use super::board_laws::{Practice, cell, plan};
use super::*;

fn stopping() -> Plan {
    Plan {
        stop_rule: true,
        ..plan()
    }
}

/// Play is in the second stage, so that there is an easier cell.
fn practice() -> Practice {
    let mut practice = Practice::with(stopping());
    practice.clean(3);
    practice
}

fn bar(practice: &mut Practice) -> Vec<News> {
    let at = practice.at();
    practice.tell(Event::BarHeard { at })
}

fn go_on(practice: &mut Practice) {
    let at = practice.at();
    practice.tell(Event::Resumed { at });
}

#[test]
fn three_not_clean_in_a_row_stop_play_at_the_next_bar_line() {
    let mut practice = practice();
    practice.not_clean(2);
    assert!(bar(&mut practice).is_empty());
    practice.play();
    let news = practice.press(Mark::NotClean);
    assert!(news.contains(&News::StopsSoon), "{news:?}");
    assert!(
        !news
            .iter()
            .any(|one| matches!(one, News::StepBackSuggested(_)))
    );
    assert_eq!(practice.state.phase(), Phase::Playing, "not in mid-bar");
    assert_eq!(bar(&mut practice), [News::Offers]);
    assert_eq!(practice.state.phase(), Phase::Offering);
    assert_eq!(practice.state.easier(), Some(cell(0, 50)));
    assert_eq!(practice.state.cell(), Some(cell(1, 50)), "it only offers");
}

/// A setting turns the stop off; then the step back is only suggested.
#[test]
fn without_the_rule_play_goes_on() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.not_clean(3);
    assert!(bar(&mut practice).is_empty());
    assert_eq!(practice.state.phase(), Phase::Playing);
    assert_eq!(practice.state.suggestion(), Some(cell(0, 50)));
}

/// While ways on are offered, a press chooses one and marks nothing. A press that is still held
/// down does neither.
#[test]
fn what_is_pressed_while_it_offers_marks_nothing() {
    let mut practice = practice();
    practice.not_clean(3);
    bar(&mut practice);
    let marks = practice.marks().len();
    practice.later(-400);
    assert_eq!(
        practice.press_by(Mark::NotClean, Hand::Pedal),
        [News::HeldDown]
    );
    let news = practice.press_by(Mark::Clean, Hand::Pedal);
    assert_eq!(news, [News::Chosen(Mark::Clean)]);
    assert_eq!(
        practice.press(Mark::NotClean),
        [News::Chosen(Mark::NotClean)]
    );
    assert_eq!(practice.marks().len(), marks);
}

#[test]
fn the_easier_cell_is_entered_when_asked_for() {
    let mut practice = practice();
    practice.not_clean(3);
    bar(&mut practice);
    let at = practice.at();
    practice.tell(Event::Advance { at });
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
    assert_eq!(practice.state.phase(), Phase::Paused);
}

/// When the player continues in the same cell, play stops again after three more.
#[test]
fn gone_on_with_it_stops_after_three_more() {
    let mut practice = practice();
    practice.not_clean(3);
    bar(&mut practice);
    go_on(&mut practice);
    practice.not_clean(2);
    assert!(bar(&mut practice).is_empty());
    practice.not_clean(1);
    assert_eq!(bar(&mut practice), [News::Offers]);
}

#[test]
fn a_third_that_was_taken_back_or_corrected_stops_nothing() {
    let mut practice = practice();
    practice.not_clean(3);
    practice.press(Mark::Clean);
    assert!(bar(&mut practice).is_empty());
    practice.not_clean(3);
    bar(&mut practice);
    assert_eq!(practice.state.phase(), Phase::Offering);
    practice.undo();
    assert_eq!(practice.state.phase(), Phase::Paused, "nothing is offered");
}

/// Play stops for marks by ear and assumed marks as for marks by hand.
#[test]
fn it_stops_whoever_marks() {
    let mut plan = stopping();
    plan.by_ear = true;
    plan.hands_free = true;
    let mut practice = Practice::with(plan);
    for _ in 0..3 {
        let id = practice.play();
        practice.hear(id, true, 95.0);
        practice.end(id);
    }
    assert_eq!(bar(&mut practice), [News::Offers]);
    assert_eq!(
        practice.state.easier(),
        None,
        "the first cell has nothing easier"
    );
}

/// A drill that steps back automatically steps back instead of stopping.
#[test]
fn where_it_steps_back_by_itself_it_does_not_stop() {
    let mut plan = stopping();
    plan.step_back = StepBack::ByItself;
    let mut practice = Practice::with(plan);
    practice.clean(3);
    practice.not_clean(3);
    assert!(bar(&mut practice).is_empty());
    assert_eq!(practice.state.upcoming(), Some(cell(0, 50)));
}

/// When the player has chosen another cell meanwhile, play does not stop.
#[test]
fn a_cell_that_was_chosen_is_not_stopped_before() {
    let mut practice = practice();
    practice.not_clean(3);
    practice.choose(cell(0, 50));
    assert!(bar(&mut practice).is_empty());
}

/// The news that play will stop comes with the third repetition, not before and not again.
#[test]
fn that_play_stops_soon_is_told_once() {
    let mut practice = practice();
    let mut told = Vec::new();
    for number in 1..=4 {
        practice.play();
        if practice.press(Mark::NotClean).contains(&News::StopsSoon) {
            told.push(number);
        }
    }
    assert_eq!(told, [3]);
}
