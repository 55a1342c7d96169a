//! Tests of marks by key and by pedal, and of assumed marks.

use super::*;

#[test]
fn marks_record_who_gave_them() {
    let mut plan = plan();
    plan.by_ear = true;
    plan.hands_free = true;
    let mut practice = Practice::with(plan);
    practice.play();
    practice.press_by(Mark::Clean, Hand::Key);
    practice.play();
    practice.press_by(Mark::NotClean, Hand::Pedal);
    let id = practice.play();
    practice.hear(id, true, 35.0);
    let id = practice.play();
    practice.end(id);
    let by: Vec<By> = practice.marks().into_iter().map(|(.., by)| by).collect();
    assert_eq!(by, [By::Key, By::Pedal, By::Ear, By::Assumed]);
}

#[test]
fn assumed_marks_may_complete_a_streak_look_different_and_count_apart() {
    let mut plan = plan();
    plan.hands_free = true;
    let mut practice = Practice::with(plan);
    practice.clean(1);
    for _ in 0..2 {
        let id = practice.play();
        practice.end(id);
    }
    let shown = *practice.state.board().cell(0, 0).expect("the first cell");
    assert_eq!(shown.status, Clear);
    assert!(shown.assumed);
    assert_eq!((shown.tally.clean, shown.tally.assumed), (1, 2));
    practice.choose(cell(0, 50));
    practice.clean(2);
    let shown = practice.state.board().cell(0, 0).expect("the first cell");
    assert!(
        shown.assumed,
        "one, assumed ones, two are not three in a row"
    );
    practice.clean(1);
    let shown = practice.state.board().cell(0, 0).expect("the first cell");
    assert!(!shown.assumed, "now it was said");
}

#[test]
fn hands_free_assumes_nothing_that_a_key_or_pedal_said_or_took_back() {
    let mut plan = plan();
    plan.hands_free = true;
    let mut practice = Practice::with(plan);
    let id = practice.play();
    practice.press(Mark::NotClean);
    practice.end(id);
    let id = practice.play();
    practice.press(Mark::Clean);
    practice.undo();
    practice.end(id);
    assert_eq!(practice.tally(0, 50).assumed, 0);
    let id = practice.play();
    practice.end(id);
    assert_eq!(practice.tally(0, 50).assumed, 1);
    practice.press(Mark::NotClean);
    let tally = practice.tally(0, 50);
    assert_eq!((tally.assumed, tally.not_clean), (0, 2), "overruled");
}

#[test]
fn without_hands_free_nothing_is_assumed() {
    let mut practice = Practice::with(plan());
    let id = practice.play();
    practice.end(id);
    assert!(practice.marks().is_empty());
}

/// Board 7: an empty chair must not climb the board.
#[test]
fn after_six_assumed_repetitions_with_nobody_there_it_pauses_and_says_so() {
    let mut plan = plan();
    plan.hands_free = true;
    let mut practice = Practice::with(plan.clone());
    for _ in 0..5 {
        let id = practice.play();
        assert!(!practice.end(id).contains(&News::NobodyThere));
    }
    let id = practice.play();
    assert!(practice.end(id).contains(&News::NobodyThere));
    assert_eq!(practice.state.phase(), Phase::NobodyThere);
    let id = practice.play();
    practice.end(id);
    assert_eq!(practice.marks().len(), 6, "nothing more is assumed");
    let at = practice.at();
    practice.tell(Event::Resumed { at });
    let id = practice.play();
    practice.end(id);
    assert_eq!(practice.marks().len(), 7);

    // After a stop the count of assumed marks begins again at 0.
    let mut stopped = Practice::with(plan.clone());
    for number in 0..8 {
        let id = stopped.play();
        stopped.end(id);
        if number == 3 {
            let at = stopped.at();
            stopped.tell(Event::Stopped { at });
        }
    }
    assert_eq!(stopped.state.phase(), Phase::Playing);

    let signs: [fn(&mut Practice) -> Vec<News>; 4] = [
        |practice| practice.tell(Event::Touched),
        |practice| practice.tell(Event::PlayingHeard),
        |practice| practice.press_by(Mark::NotClean, Hand::Pedal),
        |practice| practice.hear(0, true, 35.0),
    ];
    for (which, sign) in signs.into_iter().enumerate() {
        let mut practice = Practice::with(plan.clone());
        for number in 0..8 {
            let id = practice.play();
            practice.end(id);
            if number == 3 {
                sign(&mut practice);
            }
        }
        assert_eq!(practice.state.phase(), Phase::Playing, "sign {which}");
    }
}
