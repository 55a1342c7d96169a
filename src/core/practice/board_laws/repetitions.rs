//! Tests of which cell a repetition belongs to, and which repetition is void.

use super::*;

/// Board 1: a closing note after another cell was chosen still belongs to the old cell.
#[test]
fn a_repetition_belongs_to_the_cell_it_began_in() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    let id = practice.begin();
    practice.choose(cell(0, 54));
    practice.close(id);
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(1, 50).clean, 1);
    assert_eq!(practice.tally(0, 54).clean, 0);
    practice.begin();
    assert_eq!(practice.state.cell(), Some(cell(0, 54)));
}

/// Board 1: a void repetition is counted nowhere, however it is marked. A press without a number
/// belongs to the repetition before it. Hands-free practice assumes no mark for it, it is not the
/// first try of the day, and later repetitions count as if it had not been played.
#[test]
fn a_void_repetition_is_counted_nowhere() {
    let mut practice = Practice::with(plan());
    let first = practice.play();
    practice.press(Mark::Clean);
    let void = practice.begin();
    practice.later(900);
    practice.tell(Event::Cut);
    practice.press(Mark::NotClean);
    let marks = practice.marks();
    assert!(marks.iter().all(|(id, ..)| *id == first), "{marks:?}");
    assert_eq!(
        practice.tally(0, 50).not_clean + practice.tally(0, 50).clean,
        1
    );
    // It takes no mark by its number, by ear or by assumption.
    let at = practice.at();
    for event in [
        Event::Press {
            at,
            mark: Mark::Clean,
            by: Hand::Pedal,
            repetition: Some(void),
        },
        Event::ClosingNoteHeard {
            at,
            repetition: void,
            by_heart: false,
        },
        Event::Listened {
            at,
            repetition: void,
            measured: heard(true, 35.0),
            lost: false,
        },
    ] {
        practice.tell(event);
        assert_eq!(practice.marks(), marks);
    }
    let mut practice = Practice::with(plan());
    practice.begin();
    practice.tell(Event::Cut);
    practice.clean(2);
    assert_eq!(practice.tally(0, 50).streak, 2);
    practice.begin();
    practice.tell(Event::Cut);
    assert_ne!(
        practice.status(0, 50),
        CellStatus::Clear,
        "two and a void one are not three"
    );
    practice.clean(1);
    assert_eq!(practice.status(0, 50), CellStatus::Clear);
    let tried = |practice: &Practice| -> Vec<u64> {
        let kinds = practice.journal.iter().map(|entry| &entry.record.kind);
        kinds
            .filter_map(|kind| match kind {
                Kind::Tried { repetition, .. } => Some(*repetition),
                _ => None,
            })
            .collect()
    };
    let voids = practice.marks();
    assert!(
        tried(&practice)
            .iter()
            .all(|id| voids.iter().any(|(mark, ..)| mark == id))
    );
}

/// Board 1: an interrupted repetition takes no mark, whatever the interruption, and the streak
/// stays.
#[test]
fn a_repetition_cut_short_is_void_takes_no_mark_and_the_streak_stands() {
    let cuts: [fn(&mut Practice) -> Vec<News>; 5] = [
        |practice| practice.tell(Event::Cut),
        |practice| {
            let at = practice.at();
            practice.tell(Event::Paused { at })
        },
        |practice| {
            let at = practice.at();
            practice.tell(Event::Stopped { at })
        },
        |practice| {
            let at = practice.at();
            let id = practice.state.next_repetition();
            practice.tell(Event::RepetitionBegan {
                at,
                id,
                cell: cell(0, 54),
                reference: false,
            })
        },
        |practice| {
            let at = practice.at();
            practice.tell(Event::Ended { at })
        },
    ];
    for (which, cut) in cuts.into_iter().enumerate() {
        let mut practice = Practice::with(plan());
        practice.clean(2);
        let marked = practice.marks();
        let id = practice.begin();
        let news = cut(&mut practice);
        assert!(news.contains(&News::Void(id)), "cut {which}");
        practice.close(id);
        practice.later(700);
        let at = practice.at();
        practice.tell(Event::Press {
            at,
            mark: Mark::Clean,
            by: Hand::Key,
            repetition: Some(id),
        });
        practice.hear(id, true, 35.0);
        assert_eq!(practice.marks(), marked, "cut {which}");
        assert_eq!(practice.tally(0, 50).streak, 2, "cut {which}");
    }
}

#[test]
fn a_pause_after_the_closing_note_cuts_nothing_short() {
    let mut practice = Practice::with(plan());
    practice.play();
    let at = practice.at();
    practice.tell(Event::Paused { at });
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(0, 50).clean, 1);
}

/// Clean repetitions by heart are counted separately: only marks that the player gave, and only
/// while they stand.
#[test]
fn clean_by_heart_is_counted_beside_the_row() {
    let mut practice = Practice::with(plan());
    practice.clean(1);
    practice.by_heart = true;
    practice.clean(1);
    let counts = |practice: &Practice| {
        let tally = practice.tally(0, 50);
        (tally.clean, tally.by_heart, tally.streak)
    };
    assert_eq!(counts(&practice), (2, 1, 2));
    practice.undo();
    assert_eq!(counts(&practice), (1, 0, 1));
    practice.press(Mark::Clean);
    assert_eq!(counts(&practice), (2, 1, 2));
    practice.not_clean(1);
    assert_eq!(counts(&practice), (2, 1, 0));
    let id = practice.begin_with(true);
    practice.close(id);
    practice.press(Mark::Clean);
    assert_eq!(counts(&practice), (3, 1, 1), "the reference told the tune");
}
