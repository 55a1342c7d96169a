//! Tests of what a press marks, and when.

use super::*;

/// Board 2: a press counts by when it was made relative to what was heard, not by when it arrives.
#[test]
fn a_press_marks_by_heard_time_until_the_next_closing_note() {
    let mut practice = Practice::with(plan());
    let first = practice.play();
    let second = practice.begin();
    practice.press(Mark::NotClean);
    assert_eq!(practice.marks(), [(first, Mark::NotClean, By::Key)]);
    practice.close(second);
    practice.press(Mark::Clean);
    assert_eq!(practice.marks()[1], (second, Mark::Clean, By::Key));

    // The press is one millisecond before the third closing note and arrives after it.
    let third = practice.play();
    let mut at = practice.at();
    at.heard_ms -= 1;
    practice.tell(Event::Press {
        at,
        mark: Mark::NotClean,
        by: Hand::Key,
        repetition: None,
    });
    assert_eq!(practice.marks()[2], (second, Mark::NotClean, By::Key));
    assert!(practice.marks().iter().all(|(id, ..)| *id != third));

    // A press at the moment of the closing note counts as after it.
    let fourth = practice.play();
    let at = practice.at();
    practice.tell(Event::Press {
        at,
        mark: Mark::Clean,
        by: Hand::Key,
        repetition: None,
    });
    assert_eq!(practice.marks()[3], (fourth, Mark::Clean, By::Key));
}

/// Once another cell sounds, an early press means the repetition that sounds, which cannot be
/// judged yet. So it does not mark the repetition of the cell before.
#[test]
fn a_press_into_another_cell_marks_nothing_of_the_one_before() {
    let mut practice = Practice::with(plan());
    let first = practice.play();
    practice.press(Mark::Clean);
    let there = practice.state.upcoming().expect("a cell");
    let other = practice.state.plan().above(there).expect("a rung above it");
    practice.choose(other);
    // Until the other cell sounds, the press means the repetition before.
    practice.press(Mark::NotClean);
    assert_eq!(
        practice.marks(),
        [
            (first, Mark::Clean, By::Key),
            (first, Mark::NotClean, By::Key)
        ]
    );
    let second = practice.begin();
    assert_eq!(practice.press(Mark::Clean), [News::NothingToMark]);
    assert_eq!(practice.marks().len(), 2);
    practice.close(second);
    practice.press(Mark::Clean);
    assert_eq!(practice.marks()[2], (second, Mark::Clean, By::Key));
}

/// A repetition that was left without a mark is not marked by a foot that comes down in the next
/// count-in. While play rests it still takes its mark.
#[test]
fn a_press_once_play_began_anew_marks_nothing_of_before() {
    let mut practice = Practice::with(plan());
    let first = practice.play();
    let at = practice.at();
    practice.tell(Event::Paused { at });
    assert!(practice.state.awaits_a_mark());
    let at = practice.at();
    practice.tell(Event::Resumed { at });
    assert!(!practice.state.awaits_a_mark());
    assert_eq!(practice.state.press_means(Mark::Clean), None);
    assert_eq!(practice.press(Mark::Clean), [News::NothingToMark]);
    let at = practice.at();
    practice.tell(Event::Paused { at });
    assert!(!practice.state.awaits_a_mark(), "a pedal plays again");
    let at = practice.at();
    practice.tell(Event::Resumed { at });
    let second = practice.play();
    practice.press(Mark::NotClean);
    assert_eq!(practice.marks(), [(second, Mark::NotClean, By::Key)]);
    assert_ne!(first, second);
    // paused, the one that waits is marked
    let third = practice.play();
    let at = practice.at();
    practice.tell(Event::Paused { at });
    practice.press(Mark::Clean);
    assert_eq!(practice.marks()[1], (third, Mark::Clean, By::Key));
}

#[test]
fn a_press_before_any_closing_note_marks_nothing() {
    let mut practice = Practice::with(plan());
    assert_eq!(practice.press(Mark::Clean), [News::NothingToMark]);
    practice.begin();
    assert_eq!(practice.press(Mark::Clean), [News::NothingToMark]);
    assert!(practice.marks().is_empty());
}

/// Board 2: a pedal that is held down repeats every few dozen milliseconds, even across a closing
/// note.
#[test]
fn the_same_press_within_600_ms_is_a_held_pedal_and_ignored() {
    let mut practice = Practice::with(plan());
    practice.play();
    practice.press_by(Mark::NotClean, Hand::Pedal);
    for _ in 0..40 {
        practice.later(33);
        let at = practice.at();
        let news = practice.tell(Event::Press {
            at,
            mark: Mark::NotClean,
            by: Hand::Pedal,
            repetition: None,
        });
        assert_eq!(news, [News::HeldDown]);
    }
    assert_eq!(practice.marks().len(), 1);

    let next = practice.begin();
    let at = practice.at();
    practice.tell(Event::Press {
        at,
        mark: Mark::Clean,
        by: Hand::Pedal,
        repetition: None,
    });
    practice.tell(Event::ClosingNoteHeard {
        at,
        repetition: next,
        by_heart: false,
    });
    practice.later(HELD_MS);
    let at = practice.at();
    practice.tell(Event::Press {
        at,
        mark: Mark::Clean,
        by: Hand::Pedal,
        repetition: None,
    });
    assert!(practice.marks().iter().all(|(id, ..)| *id != next));
}

#[test]
fn the_other_mark_corrects_at_once() {
    let mut practice = Practice::with(plan());
    let id = practice.play();
    practice.press(Mark::Clean);
    practice.later(50);
    let at = practice.at();
    practice.tell(Event::Press {
        at,
        mark: Mark::NotClean,
        by: Hand::Key,
        repetition: None,
    });
    let tally = practice.tally(0, 50);
    assert_eq!((tally.clean, tally.not_clean), (0, 1));
    assert_eq!(
        practice.marks(),
        [(id, Mark::Clean, By::Key), (id, Mark::NotClean, By::Key)]
    );
}

#[test]
fn the_same_mark_again_says_nothing_new() {
    let mut practice = Practice::with(plan());
    practice.play();
    practice.press(Mark::Clean);
    practice.press(Mark::Clean);
    assert_eq!(practice.marks().len(), 1);
    assert_eq!(practice.tally(0, 50).streak, 1);
}

/// Board 2: a mark by ear may come when the next repetition already sounds in the next cell.
#[test]
fn a_late_mark_finds_its_own_repetition_and_its_place_in_the_row() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan);
    let first = practice.play();
    let second = practice.play();
    practice.press(Mark::Clean);
    practice.play();
    practice.press(Mark::Clean);
    assert_eq!(practice.state.streak(), 2);
    practice.hear(first, true, 35.0);
    assert_eq!(
        practice.status(0, 50),
        Clear,
        "the first closes the row of three"
    );
    let mut practice = Practice::with(practice.state.plan().clone());
    let first = practice.play();
    practice.play();
    practice.press(Mark::Clean);
    practice.hear(first, true, 95.0);
    assert_eq!(
        practice.state.streak(),
        1,
        "not clean before clean ends no row"
    );
    assert_eq!(second, first + 1);
}

/// Board 2: a mark in mid-bar must not change the music at once, while the player plays it.
#[test]
fn the_cell_changes_only_at_a_boundary() {
    let mut practice = Practice::with(plan());
    practice.clean(2);
    practice.play();
    let next = practice.begin();
    practice.press(Mark::Clean);
    assert_eq!(practice.status(0, 50), Clear);
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
    practice.close(next);
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(1, 50)));
}

#[test]
fn a_correction_that_unclears_returns_to_the_old_cell_at_the_next_boundary() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(1, 50)));
    practice.later(700);
    let at = practice.at();
    let news = practice.tell(Event::Press {
        at,
        mark: Mark::NotClean,
        by: Hand::Key,
        repetition: Some(2),
    });
    assert!(news.contains(&News::Uncleared {
        cell: cell(0, 50),
        now: Open
    }));
    assert_eq!(practice.status(1, 50), Closed);
    assert_eq!(practice.state.cell(), Some(cell(1, 50)));
    assert_eq!(practice.state.upcoming(), Some(cell(0, 50)));
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
}

/// Board 4 and 2: cells that were climbed over a cell close when it is un-cleared. They come back
/// as they were when it is cleared again.
#[test]
fn what_an_uncleared_cell_opened_closes_even_when_clear_and_keeps_its_marks() {
    let mut plan = plan();
    plan.clean = 1;
    let mut practice = Practice::with(plan);
    let first = practice.play();
    practice.press(Mark::Clean);
    practice.clean(1);
    assert_eq!(practice.status(1, 50), Clear);
    practice.later(700);
    let at = practice.at();
    practice.tell(Event::Press {
        at,
        mark: Mark::NotClean,
        by: Hand::Key,
        repetition: Some(first),
    });
    assert_eq!(practice.status(0, 50), Open);
    assert_eq!(practice.status(1, 50), Closed);
    assert_eq!(practice.tally(1, 50).clean, 1);
    assert_eq!(practice.state.upcoming(), Some(cell(0, 50)));
    practice.clean(1);
    assert_eq!(practice.status(0, 50), Clear);
    assert_eq!(practice.status(1, 50), Clear);
}

/// The player has cleared a later cell in free play since, so nothing depends on the un-cleared
/// cell any more.
#[test]
fn a_cell_closed_by_an_uncleared_one_comes_back_when_the_player_is_placed_beyond() {
    let mut plan = plan();
    plan.clean = 1;
    let mut practice = Practice::with(plan);
    practice.clean(2);
    practice.later(700);
    let at = practice.at();
    practice.tell(Event::Press {
        at,
        mark: Mark::NotClean,
        by: Hand::Key,
        repetition: Some(0),
    });
    assert_eq!(practice.status(1, 50), Closed);
    practice.choose(cell(2, 54));
    practice.clean(1);
    assert_eq!(practice.status(0, 50), Passed);
    assert_eq!(practice.status(1, 50), Clear);
}

/// When another cell further down the route is open, play still returns to the un-cleared cell.
#[test]
fn play_returns_to_the_very_cell_that_was_uncleared_step_by_step() {
    let mut plan = plan();
    plan.clean = 1;
    let mut practice = Practice::with(plan);
    practice.choose(cell(1, 54));
    practice.clean(1);
    practice.choose(cell(0, 58));
    practice.clean(2);
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(2, 50)));
    practice.undo();
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(1, 58)));
    practice.undo();
    assert_eq!(practice.status(2, 50), Open);
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(0, 58)));
}

/// The next repetition may have begun before the correction arrived. Its mark is kept, but N clean
/// repetitions there do not count as free play, because nobody chose the closed cell.
#[test]
fn a_repetition_already_begun_in_a_closed_cell_places_nobody() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.clean(2);
    practice.later(700);
    let at = practice.at();
    practice.tell(Event::Press {
        at,
        mark: Mark::NotClean,
        by: Hand::Key,
        repetition: Some(0),
    });
    let at = practice.at();
    let id = practice.state.next_repetition();
    practice.tell(Event::RepetitionBegan {
        at,
        id,
        cell: cell(1, 50),
        reference: false,
    });
    practice.close(id);
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(1, 50).streak, 3);
    assert_eq!(practice.status(1, 50), Closed);
    assert_eq!(practice.status(0, 50), Open);
}

#[test]
fn a_repetition_number_that_does_not_rise_is_not_taken() {
    let mut practice = Practice::with(plan());
    practice.clean(1);
    let sounding = practice.begin();
    let at = practice.at();
    let news = practice.tell(Event::RepetitionBegan {
        at,
        id: sounding,
        cell: cell(2, 58),
        reference: false,
    });
    assert!(news.is_empty());
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));
    practice.close(sounding);
    practice.press(Mark::Clean);
    assert_eq!(practice.state.streak(), 2);
}
