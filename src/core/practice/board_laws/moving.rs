//! Tests of how play moves on and steps back.

use super::*;

#[test]
fn across_goes_through_all_stages_at_a_tempo_and_then_up() {
    let mut practice = Practice::with(plan());
    let mut way = Vec::new();
    for _ in 0..9 {
        way.push(practice.state.upcoming().expect("a cell"));
        practice.clean(3);
    }
    let across: Vec<CellKey> = [50, 54, 58]
        .into_iter()
        .flat_map(|tempo| (0..3).map(move |stage| cell(stage, tempo)))
        .collect();
    assert_eq!(way, across);
    assert!(practice.state.board().is_complete());
    assert_eq!(practice.state.named(), None);
}

#[test]
fn up_takes_a_stage_to_the_top_and_then_the_next() {
    let mut plan = plan();
    plan.route = Route::Up;
    let mut practice = Practice::with(plan);
    let mut way = Vec::new();
    for _ in 0..9 {
        way.push(practice.state.upcoming().expect("a cell"));
        practice.clean(3);
    }
    let up: Vec<CellKey> = (0..3)
        .flat_map(|stage| [50, 54, 58].map(|tempo| cell(stage, tempo)))
        .collect();
    assert_eq!(way, up);
}

#[test]
fn after_clearing_the_next_cell_is_named_and_play_moves_there_by_itself() {
    let mut practice = Practice::with(plan());
    practice.clean(2);
    assert_eq!(practice.state.named(), None);
    practice.play();
    let news = practice.press(Mark::Clean);
    assert_eq!(practice.state.named(), Some(cell(1, 50)));
    assert!(news.contains(&News::MovesTo(cell(1, 50))));
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(1, 50)));
}

#[test]
fn when_asked_the_next_cell_is_named_but_play_stays() {
    let mut plan = plan();
    plan.advance = Advance::WhenAsked;
    let mut practice = Practice::with(plan);
    let at = practice.at();
    practice.tell(Event::Advance { at });
    practice.clean(3);
    assert_eq!(practice.state.named(), Some(cell(1, 50)));
    practice.play();
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
    let at = practice.at();
    practice.tell(Event::Advance { at });
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(1, 50)));
    practice.clean(3);
    assert_eq!(practice.state.named(), Some(cell(2, 50)));
    assert_eq!(
        practice.state.upcoming(),
        Some(cell(1, 50)),
        "asked once, moved once"
    );
}

/// A player with pedals only moves on with them: clean pressed again on a clear cell goes on.
#[test]
fn pressing_clean_once_more_goes_on_where_that_is_asked_for() {
    let mut plan = plan();
    plan.advance = Advance::WhenAsked;
    let mut practice = Practice::with(plan);
    practice.clean(2);
    practice.press_by(Mark::Clean, Hand::Pedal);
    assert_eq!(practice.state.named(), None, "it is not clear yet");
    practice.clean(1);
    let marks = practice.marks().len();
    assert_eq!(practice.state.upcoming(), Some(cell(0, 50)));
    let news = practice.press_by(Mark::Clean, Hand::Pedal);
    assert!(news.contains(&News::MovesTo(cell(1, 50))), "{news:?}");
    assert_eq!(practice.marks().len(), marks);
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(1, 50)));
}

#[test]
fn three_not_clean_in_a_row_suggest_a_step_back_and_never_force_it() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.not_clean(2);
    assert_eq!(practice.state.suggestion(), None);
    practice.play();
    let news = practice.press(Mark::NotClean);
    assert!(news.contains(&News::StepBackSuggested(cell(0, 50))));
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
    practice.play();
    assert_eq!(practice.state.cell(), Some(cell(1, 50)));
    practice.press(Mark::Clean);
    assert_eq!(practice.state.suggestion(), None);
}

#[test]
fn pressing_not_clean_once_more_takes_the_step_back_and_marks_nothing() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.not_clean(3);
    let marks = practice.marks().len();
    practice.later(HELD_MS);
    let at = practice.at();
    let too_soon = practice.tell(Event::Press {
        at,
        mark: Mark::NotClean,
        by: Hand::Pedal,
        repetition: None,
    });
    assert_eq!(too_soon, [News::HeldDown]);
    let news = practice.press_by(Mark::NotClean, Hand::Pedal);
    assert!(news.contains(&News::StepBackTaken(cell(0, 50))));
    assert_eq!(practice.marks().len(), marks);
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
}

/// The step back can be taken even after the next repetition was marked, while the suggestion
/// stands.
#[test]
fn a_suggested_step_back_can_be_asked_for_at_any_time_while_it_stands() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.not_clean(4);
    assert_eq!(practice.state.suggestion(), Some(cell(0, 50)));
    let marks = practice.marks().len();
    let at = practice.at();
    let news = practice.tell(Event::Advance { at });
    assert!(news.contains(&News::StepBackTaken(cell(0, 50))));
    assert_eq!(practice.marks().len(), marks);
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
}

#[test]
fn a_step_back_goes_by_itself_when_set_so() {
    let mut plan = plan();
    plan.step_back = StepBack::ByItself;
    let mut practice = Practice::with(plan);
    practice.clean(3);
    practice.not_clean(3);
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
}

#[test]
fn a_step_back_is_the_stage_before_or_a_rung_down_and_the_first_cell_has_none() {
    let mut up = plan();
    up.route = Route::Up;
    assert_eq!(plan().step_back_from(cell(1, 54)), Some(cell(0, 54)));
    assert_eq!(plan().step_back_from(cell(0, 54)), Some(cell(0, 50)));
    assert_eq!(up.step_back_from(cell(1, 54)), Some(cell(1, 50)));
    assert_eq!(up.step_back_from(cell(1, 50)), Some(cell(0, 50)));
    let mut practice = Practice::with(plan());
    practice.not_clean(4);
    assert_eq!(practice.state.suggestion(), None);
}

#[test]
fn a_corrected_third_takes_the_suggestion_back() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.not_clean(3);
    practice.press(Mark::NotClean);
    assert_eq!(practice.state.upcoming(), Some(cell(0, 50)));
    practice.press(Mark::Clean);
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
    // A corrected mark suggests the step back anew, and the press that corrects does not accept it.
    practice.press(Mark::NotClean);
    assert_eq!(practice.state.suggestion(), Some(cell(0, 50)));
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
}

/// Without this a step back into a clear cell would end the climb.
#[test]
fn after_a_step_back_n_clean_in_a_row_lead_on_again() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.not_clean(3);
    practice.press(Mark::NotClean);
    practice.clean(2);
    assert_eq!(practice.state.upcoming(), Some(cell(0, 50)));
    practice.clean(1);
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
    practice.not_clean(1);
    assert_eq!(practice.state.suggestion(), None, "the row begins anew");
}

#[test]
fn once_more_for_a_repetition_of_another_cell_takes_no_step_back() {
    let mut practice = Practice::with(plan());
    practice.not_clean(1);
    practice.clean(3);
    practice.not_clean(3);
    assert!(practice.state.suggestion().is_some());
    practice.later(700);
    let at = practice.at();
    practice.tell(Event::Press {
        at,
        mark: Mark::NotClean,
        by: Hand::Key,
        repetition: Some(0),
    });
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
}

#[test]
fn a_step_back_within_free_play_stays_free() {
    let mut practice = Practice::with(plan());
    practice.choose(cell(2, 54));
    practice.not_clean(3);
    practice.press(Mark::NotClean);
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(1, 54)));
    assert!(practice.state.is_free_play());
    assert_eq!(practice.state.upcoming(), Some(cell(1, 54)));
}

#[test]
fn tempo_steps_along_the_ladder_at_the_next_boundary() {
    let mut practice = Practice::with(plan());
    practice.play();
    for _ in 0..2 {
        let at = practice.at();
        practice.tell(Event::TempoStep { at, up: true });
    }
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
    assert_eq!(practice.state.upcoming(), Some(cell(0, 58)));
    let at = practice.at();
    assert_eq!(
        practice.tell(Event::TempoStep { at, up: true }),
        [News::LadderEnds]
    );
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(0, 58)));
}
