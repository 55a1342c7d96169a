//! Tests of undone marks.

use super::*;

/// Board 4: nothing is erased from a journal, so an undo is an entry that names a mark.
#[test]
fn undo_is_an_entry_naming_a_mark() {
    let mut practice = Practice::with(plan());
    practice.clean(1);
    let before = practice.journal.len();
    let mark = practice
        .journal
        .iter()
        .find(|entry| matches!(entry.record.kind, Kind::Mark { .. }))
        .map(|entry| entry.record.id)
        .expect("a mark");
    practice.undo();
    assert_eq!(practice.journal.len(), before + 1);
    let last = &practice.journal[before].record;
    assert_eq!(last.kind, Kind::Undo { mark });
    assert_eq!(last.cell, Some(cell(0, 50)));
    assert_eq!(practice.tally(0, 50), Tally::default());
}

#[test]
fn undo_unclears_closes_what_was_opened_and_keeps_the_marks_there() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.clean(2);
    assert_eq!(practice.tally(1, 50).streak, 2);
    for _ in 0..2 {
        practice.undo();
    }
    assert_eq!(practice.status(0, 50), Clear);
    practice.undo();
    assert_eq!(practice.status(0, 50), Open);
    assert_eq!(practice.status(1, 50), Closed);
    assert_eq!(practice.state.upcoming(), Some(cell(0, 50)));
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(0, 50)));

    // Marks in a cell that closes count again when it reopens.
    let mut practice = Practice::with(plan());
    let first = practice.play();
    practice.press(Mark::Clean);
    practice.clean(2);
    practice.clean(2);
    practice.later(700);
    let at = practice.at();
    practice.tell(Event::Press {
        at,
        mark: Mark::NotClean,
        by: Hand::Key,
        repetition: Some(first),
    });
    assert_eq!(practice.status(1, 50), Closed);
    assert_eq!(practice.tally(1, 50).streak, 2);
    practice.clean(1);
    assert_eq!(practice.status(1, 50), Open);
    practice.clean(1);
    assert_eq!(practice.status(1, 50), Clear, "two kept and one more");
}

#[test]
fn undo_again_goes_further_back_and_then_says_that_there_is_nothing() {
    let mut practice = Practice::with(plan());
    practice.clean(1);
    practice.not_clean(1);
    practice.undo();
    assert_eq!(practice.tally(0, 50).not_clean, 0);
    assert_eq!(practice.state.streak(), 1);
    practice.undo();
    assert_eq!(practice.state.streak(), 0);
    assert_eq!(practice.undo(), [News::NothingToUndo]);
}

#[test]
fn undo_goes_on_into_earlier_sessions() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    let mut tomorrow = Practice::resumed(
        plan(),
        practice.journal,
        Uuid::from_u128(2),
        Some(cell(1, 50)),
    );
    tomorrow.now_ms += 86_400_000;
    tomorrow.clean(1);
    tomorrow.undo();
    assert_eq!(tomorrow.status(0, 50), Clear);
    tomorrow.undo();
    assert_eq!(tomorrow.status(0, 50), Open);
    assert_eq!(tomorrow.state.upcoming(), Some(cell(0, 50)));
}

#[test]
fn undoing_a_correction_brings_the_first_mark_back() {
    let mut practice = Practice::with(plan());
    practice.play();
    practice.press(Mark::Clean);
    practice.press(Mark::NotClean);
    practice.undo();
    let tally = practice.tally(0, 50);
    assert_eq!((tally.clean, tally.not_clean), (1, 0));
}

/// The clocks of two computers differ, so an undo may have an earlier time than the mark it names.
#[test]
fn an_undo_counts_even_when_its_time_is_before_the_marks() {
    let mut practice = Practice::with(plan());
    practice.clean(2);
    practice.undo();
    let mut journal = practice.journal;
    for entry in &mut journal {
        if matches!(entry.record.kind, Kind::Undo { .. }) {
            entry.record.utc_us = 1;
            entry.journal = OTHER_JOURNAL;
        }
    }
    assert_eq!(replay(plan(), &journal).tally(cell(0, 50)).streak, 1);
}

#[test]
fn undo_takes_our_own_mark_back_before_another_programs_later_one() {
    let mut practice = Practice::with(plan());
    practice.clean(1);
    let mut foreign: Vec<Entry> = practice.journal.clone();
    for entry in &mut foreign {
        entry.journal = OTHER_JOURNAL;
        entry.record.id.session = Uuid::from_u128(9);
        entry.record.utc_us += 60_000_000;
    }
    let own = Vec::new();
    practice.state = step(&practice.state, &Event::Stored { foreign, own }).0;
    assert_eq!(practice.state.streak(), 2);
    let news = practice.undo();
    assert!(
        news.iter()
            .any(|news| matches!(news, News::Undone { mark, .. } if mark.session == SESSION))
    );
}
