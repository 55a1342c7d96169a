//! The laws of the board, each a test: state before, what happens, state after.

use super::*;
use crate::units::{Bpm, Millis};
use proptest::prelude::*;
use uuid::Uuid;

const JOURNAL: Uuid = Uuid::from_u128(0xa);
const OTHER_JOURNAL: Uuid = Uuid::from_u128(0xb);
const SESSION: Uuid = Uuid::from_u128(1);

pub(super) fn bpm(tempo: i128) -> Bpm {
    Bpm::whole(tempo).expect("a tempo")
}

pub(super) fn cell(stage: u128, tempo: i128) -> CellKey {
    CellKey {
        stage: StagePrint(stage),
        rung: Rung::Tempo(bpm(tempo)),
    }
}

/// A stage on some tempi.
fn planned(stage: u128, tempi: &[i128]) -> PlannedStage {
    PlannedStage {
        print: StagePrint(stage),
        rungs: tempi.iter().map(|tempo| cell(stage, *tempo).rung).collect(),
        real_time: false,
    }
}

/// Three stages (0, 1, 2) and three rungs (50, 54, 58), three clean in a row.
pub(super) fn plan() -> Plan {
    let stages = (0..3).map(|stage| planned(stage, &[50, 54, 58])).collect();
    let mut plan = Plan::new("a drill of our own", stages);
    plan.clean = 3;
    plan
}

/// A rung at 52 put into every stage.
fn between(plan: &mut Plan) {
    for stage in &mut plan.stages {
        stage.rungs.insert(1, Rung::Tempo(bpm(52)));
    }
}

/// A cell of stage 2 opened at 54.
fn opened(tone: i128) -> CellKey {
    CellKey {
        stage: StagePrint(2),
        rung: Rung::Opened {
            tone: Millis::whole(tone),
            tempo: bpm(54),
        },
    }
}

/// Two stages that end at 54, one that opens the movement at 54, and the same music in real time
/// from there to 62. Three clean in a row.
fn opening_plan() -> Plan {
    let closing_up = PlannedStage {
        print: StagePrint(2),
        rungs: [300, 210, 150].map(|tone| opened(tone).rung).to_vec(),
        real_time: false,
    };
    let stages = vec![
        planned(0, &[50, 54]),
        planned(1, &[50, 54]),
        closing_up,
        planned(2, &[54, 58, 62]),
    ];
    let mut plan = Plan::new("a drill with an opening", stages);
    plan.clean = 3;
    plan
}

/// Someone at practice, with a journal that stores everything at once.
pub(super) struct Practice {
    pub(super) state: State,
    pub(super) journal: Vec<Entry>,
    pub(super) now_ms: i64,
}

impl Practice {
    pub(super) fn with(plan: Plan) -> Self {
        Self::resumed(plan, Vec::new(), SESSION, None)
    }

    pub(super) fn resumed(
        plan: Plan,
        journal: Vec<Entry>,
        session: Uuid,
        place: Option<CellKey>,
    ) -> Self {
        let mut practice = Self {
            state: replay(plan, &journal),
            journal,
            now_ms: 10_000_000,
        };
        let at = practice.at();
        practice.tell(Event::Started { at, session, place });
        practice
    }

    pub(super) fn at(&self) -> Moment {
        Moment {
            utc_us: self.now_ms * 1000,
            offset_s: 3600,
            heard_ms: self.now_ms,
        }
    }

    pub(super) fn tell(&mut self, event: Event) -> Vec<News> {
        let (state, records) = step(&self.state, &event);
        let news = state.news().to_vec();
        let own: Vec<Entry> = records
            .into_iter()
            .zip(self.journal.len() as u64 + 1..)
            .map(|(record, seq)| Entry {
                journal: JOURNAL,
                seq,
                record,
            })
            .collect();
        self.journal.extend(own.iter().cloned());
        let stored = Event::Stored {
            foreign: Vec::new(),
            own,
        };
        self.state = step(&state, &stored).0;
        news
    }

    pub(super) fn later(&mut self, milliseconds: i64) {
        self.now_ms += milliseconds;
    }

    pub(super) fn begin(&mut self) -> u64 {
        self.begin_with(false)
    }

    pub(super) fn begin_with(&mut self, reference: bool) -> u64 {
        self.later(1000);
        let id = self.state.next_repetition();
        let at = self.at();
        let cell = self.state.upcoming().expect("a cell");
        self.tell(Event::RepetitionBegan {
            at,
            id,
            cell,
            reference,
        });
        id
    }

    pub(super) fn close(&mut self, repetition: u64) {
        self.later(4000);
        let at = self.at();
        self.tell(Event::ClosingNoteHeard { at, repetition });
    }

    /// Plays a repetition in the upcoming cell, up to and with its closing note.
    pub(super) fn play(&mut self) -> u64 {
        let id = self.begin();
        self.close(id);
        id
    }

    pub(super) fn end(&mut self, repetition: u64) -> Vec<News> {
        self.later(1000);
        let at = self.at();
        self.tell(Event::RepetitionEnded { at, repetition })
    }

    pub(super) fn press(&mut self, mark: Mark) -> Vec<News> {
        self.press_by(mark, Hand::Key)
    }

    pub(super) fn press_by(&mut self, mark: Mark, by: Hand) -> Vec<News> {
        self.later(700);
        let at = self.at();
        self.tell(Event::Press {
            at,
            mark,
            by,
            repetition: None,
        })
    }

    pub(super) fn clean(&mut self, times: u32) {
        for _ in 0..times {
            self.play();
            self.press(Mark::Clean);
        }
    }

    pub(super) fn not_clean(&mut self, times: u32) {
        for _ in 0..times {
            self.play();
            self.press(Mark::NotClean);
        }
    }

    pub(super) fn undo(&mut self) -> Vec<News> {
        self.later(100);
        let at = self.at();
        self.tell(Event::Undo { at })
    }

    pub(super) fn choose(&mut self, cell: CellKey) -> Vec<News> {
        let at = self.at();
        self.tell(Event::CellChosen { at, cell })
    }

    pub(super) fn hear(&mut self, repetition: u64, playing: bool, gracenote_ms: f64) -> Vec<News> {
        self.later(300);
        let at = self.at();
        let measured = heard(playing, gracenote_ms);
        self.tell(Event::Listened {
            at,
            repetition,
            measured,
            lost: false,
        })
    }

    pub(super) fn status(&self, stage: u128, tempo: i128) -> CellStatus {
        self.state.status(cell(stage, tempo))
    }

    pub(super) fn tally(&self, stage: u128, tempo: i128) -> Tally {
        self.state.tally(cell(stage, tempo))
    }

    pub(super) fn marks(&self) -> Vec<(u64, Mark, By)> {
        self.journal
            .iter()
            .filter_map(|entry| match entry.record.kind {
                Kind::Mark {
                    repetition, mark, ..
                } => Some((repetition, mark, entry.record.by?)),
                _ => None,
            })
            .collect()
    }
}

pub(super) fn heard(playing: bool, gracenote_ms: f64) -> Measurement {
    Measurement {
        playing,
        beat_ms: 1200.0,
        notes: vec![NoteMeasure {
            id: 0,
            bar: 1,
            part: Part::Gracenote,
            written: crate::chanter::Note::HighG,
            heard: Some(crate::chanter::Note::HighG),
            length_ms: Some(gracenote_ms),
            expected_ms: 35.0,
            offset_ms: None,
            on_click: false,
            place_ms: None,
            begun_by: 0,
            tap: false,
            movement: None,
            cents: None,
        }],
        extra: Vec::new(),
        lead_ms: 0.0,
        drift_percent: 0.0,
        confidence: None,
    }
}

use CellStatus::{Clear, Closed, Open, Passed};

// What opens and what clears.

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

/// With one neighbour clear only, the stage before and the rung below are not both climbed.
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

/// Board 3: a cleared cell played badly for fun would otherwise close half the board.
#[test]
fn a_later_not_clean_never_unclears() {
    let mut practice = Practice::with(plan());
    practice.clean(3);
    practice.choose(cell(0, 50));
    practice.not_clean(3);
    assert_eq!(practice.status(0, 50), Clear);
    assert_eq!(practice.status(1, 50), Open);
}

/// Board 3: N is written beside the mark, so a drill edited from 3 to 5 keeps what was reached.
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

// Repetitions.

/// Board 1: the closing note comes after the choice of another cell, and still marks the old one.
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

/// Board 1: a void repetition is none, by no way of marking: a press that names none belongs to the
/// one before it, hands-free assumes nothing of it, it is no first try of the day, and the
/// repetitions that come after it count as if it had not been.
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
    // neither by its name, nor by what was heard of it, nor by an assumption
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

/// Board 1: whatever cuts it short, nothing marks it and the streak stands.
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

// Presses.

/// Board 2: what counts is when the press was made against what was heard, not when it arrives.
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

    // Pressed one millisecond before the third closing note, told after it.
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

    // From the closing note on: its very moment counts as after it.
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

#[test]
fn a_press_before_any_closing_note_marks_nothing() {
    let mut practice = Practice::with(plan());
    assert_eq!(practice.press(Mark::Clean), [News::NothingToMark]);
    practice.begin();
    assert_eq!(practice.press(Mark::Clean), [News::NothingToMark]);
    assert!(practice.marks().is_empty());
}

/// Board 2: a pedal held down repeats every few dozen milliseconds, also over a closing note.
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

/// Board 2: an ear's mark comes when the next repetition already sounds in the next cell.
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

/// Board 2: a mark in mid-bar must not pull the music away from under the fingers.
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
    let news = practice.press(Mark::NotClean);
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

/// Board 4 and 2: what was climbed over a cell that is un-cleared closes, and comes back as it
/// was when that cell is cleared again.
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

/// Placed beyond it since, nothing depends on the cell that was un-cleared any more.
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

/// With another cell open further down the route, "the old cell" is still the one left last.
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

/// The shell may have begun the next repetition before the correction came: its mark is kept,
/// and N clean there are no placement, because nobody chose the closed cell.
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

// Undo.

/// Board 4: nothing is erased from a journal, so undo is an entry naming a mark.
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

/// Two computers' clocks differ: the undo may carry an earlier time than the mark it names.
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

// Moving on and stepping back.

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

/// A player who marked the next repetition too has nothing left to press twice.
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
    // Not clean after all: suggested anew, and not taken for the press before the correction.
    practice.press(Mark::NotClean);
    assert_eq!(practice.state.suggestion(), Some(cell(0, 50)));
    assert_eq!(practice.state.upcoming(), Some(cell(1, 50)));
}

/// Without this a step back into a clear cell would be the end of the climb.
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

// Free play.

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

/// Marks made while climbing place nobody when their cell has closed under them.
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

/// A tempo between rungs opens no rung, so taking its marks back closes none.
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

// Who marked.

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

/// Board 7: an empty chair must not climb the whole board.
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

    // Stopped and begun again, the row is a new one.
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

// By ear.

#[test]
fn by_ear_only_repetitions_with_the_reference_silent_are_marked() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan.clone());
    let id = practice.begin_with(true);
    practice.close(id);
    let news = practice.hear(id, true, 35.0);
    assert!(news.contains(&News::NotByEar {
        repetition: id,
        why: NotByEar::ReferenceSounded
    }));
    assert!(practice.marks().is_empty());
    let id = practice.play();
    practice.hear(id, true, 35.0);
    assert_eq!(practice.marks(), [(id, Mark::Clean, By::Ear)]);

    plan.headphones = true;
    let mut practice = Practice::with(plan);
    let id = practice.begin_with(true);
    practice.close(id);
    practice.hear(id, true, 95.0);
    assert_eq!(practice.marks(), [(id, Mark::NotClean, By::Ear)]);
}

#[test]
fn a_silent_player_in_front_of_a_loudspeaker_earns_nothing() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan);
    let id = practice.play();
    let news = practice.hear(id, false, 35.0);
    assert!(news.contains(&News::NotByEar {
        repetition: id,
        why: NotByEar::SilentPlayer
    }));
    assert!(practice.marks().is_empty());
}

/// Our own reference in the microphone is no player, whatever was declared: nobody is so exact.
#[test]
fn the_reference_itself_earns_nothing() {
    let mut plan = plan();
    plan.by_ear = true;
    plan.headphones = true;
    let mut practice = Practice::with(plan);
    let id = practice.begin_with(true);
    practice.close(id);
    let why = NotByEar::ReferenceSounded;
    let news = practice.hear(id, true, 35.5);
    let not_by_ear = News::NotByEar {
        repetition: id,
        why,
    };
    assert!(news.contains(&not_by_ear));
    assert!(practice.marks().is_empty());
    // where it was silent, somebody played as exactly as that
    let id = practice.play();
    practice.hear(id, true, 35.5);
    assert_eq!(practice.marks(), [(id, Mark::Clean, By::Ear)]);
}

/// Without it talk beside the player would cost him his row.
#[test]
fn what_is_not_heard_surely_is_not_marked() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan);
    let id = practice.play();
    let at = practice.at();
    let before = practice.journal.len();
    let mut measured = heard(true, 95.0);
    measured.confidence = Some(0.9);
    let listened = Event::Listened {
        at,
        repetition: id,
        measured,
        lost: false,
    };
    let why = NotByEar::Unsure;
    let not_by_ear = News::NotByEar {
        repetition: id,
        why,
    };
    assert!(practice.tell(listened).contains(&not_by_ear));
    assert_eq!(practice.journal.len(), before, "nothing of it is kept");
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(0, 50).clean, 1, "the hand still marks it");
}

/// Without it a hole in the microphone's sound would read as silence of the player; what his hand
/// said stands, and it may still say it.
#[test]
fn lost_sound_of_the_microphone_is_no_silence_of_the_player() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan);
    let id = practice.play();
    let at = practice.at();
    let lost = |repetition| Event::Listened {
        at,
        repetition,
        measured: Measurement::nothing(1000.0),
        lost: true,
    };
    let why = NotByEar::SoundLost;
    let not_by_ear = |repetition| News::NotByEar { repetition, why };
    let before = practice.journal.len();
    assert_eq!(practice.tell(lost(id)), [not_by_ear(id)]);
    assert_eq!(practice.journal.len(), before, "nothing of it is kept");
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(0, 50).clean, 1, "the hand still marks it");
    assert_eq!(practice.tell(lost(id)), [], "it has its mark");
    let plays = practice.begin();
    assert_eq!(practice.tell(lost(plays)), [not_by_ear(plays)]);
}

/// Without it a hole in the click would be the player's fault.
#[test]
fn a_repetition_with_lost_sound_takes_no_mark_from_anybody() {
    let mut plan = plan();
    plan.by_ear = true;
    plan.hands_free = true;
    let mut practice = Practice::with(plan);
    let id = practice.begin();
    let news = practice.tell(Event::SoundLost);
    assert_eq!(news, [News::NotCounted(id)]);
    assert_eq!(practice.tell(Event::SoundLost), [], "told once");
    practice.close(id);
    let why = NotByEar::SoundLost;
    let not_by_ear = News::NotByEar {
        repetition: id,
        why,
    };
    assert!(practice.hear(id, true, 35.0).contains(&not_by_ear));
    assert_eq!(practice.press(Mark::Clean), [News::NotCounted(id)]);
    practice.end(id);
    assert!(practice.marks().is_empty());
    let tried = |entry: &Entry| matches!(entry.record.kind, Kind::Tried { .. });
    assert!(!practice.journal.iter().any(tried), "it was no try either");
    let id = practice.play();
    practice.press(Mark::Clean);
    assert_eq!(practice.marks(), [(id, Mark::Clean, By::Key)]);
}

#[test]
fn key_and_pedal_overrule_the_ear_and_never_the_other_way_round() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan);
    let id = practice.play();
    practice.hear(id, true, 95.0);
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(0, 50).clean, 1);
    let id = practice.play();
    practice.press(Mark::Clean);
    practice.hear(id, true, 95.0);
    assert_eq!(practice.tally(0, 50).clean, 2);
}

#[test]
fn the_journal_keeps_the_raw_measures_and_the_thresholds() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan.clone());
    let id = practice.play();
    practice.hear(id, true, 95.0);
    plan.by_ear = false;
    let at = practice.at();
    practice.tell(Event::PlanChanged { at, plan });
    let id = practice.play();
    practice.hear(id, true, 41.5);
    let kept: Vec<f64> = practice
        .journal
        .iter()
        .filter(|entry| entry.record.thresholds.is_some())
        .filter_map(|entry| Measurement::from_json(entry.record.measures.as_deref()?))
        .filter_map(|measured| measured.notes[0].length_ms)
        .collect();
    assert_eq!(kept, [95.0, 41.5]);
    assert_eq!(
        practice.marks().len(),
        1,
        "without marking by ear it is only kept"
    );
}

// What is kept through changes of drill and place.

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

/// The rung put in is played, cleared and taken back: what stood before it was there stays.
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
    assert_eq!(
        edited(&plan(), &[]),
        [0_usize; 0],
        "a new drill is not an edited one"
    );
}

/// After kill -9 in the breath bar the journal already says where play was going.
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

/// Begun in a clear cell, N more in a row lead on, or nobody would come away from there.
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

/// A drill edited while it is played: no way back and no wish may lead to music that is gone.
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

/// A clock set back by an hour must not put today's marks before yesterday's.
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

/// Two programs on one drill: what the other one cleared is seen, in its place and once.
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

// Opened movements.

/// The lengths are climbed one after the other before the movement is played in real time, and no
/// mark of theirs counts there although the music and the tempo are the same.
#[test]
fn an_opened_movement_closes_up_before_real_time_and_shares_no_mark_with_it() {
    let mut practice = Practice::with(opening_plan());
    practice.clean(12);
    assert_eq!(
        practice.state.upcoming(),
        Some(opened(300)),
        "after the written-out stages"
    );
    assert_eq!(practice.status(2, 54), Closed);
    let mut played = Vec::new();
    for _ in 0..3 {
        played.extend(practice.state.upcoming());
        practice.clean(3);
    }
    assert_eq!(played, [300, 210, 150].map(opened));
    assert_eq!(practice.state.upcoming(), Some(cell(2, 54)));
    assert_eq!(practice.status(2, 54), Open);
    assert_eq!(practice.tally(2, 54), Tally::default());
    assert_eq!(practice.state.tally(opened(150)).clean, 3);
    practice.clean(9);
    assert!(
        practice.state.board().is_complete(),
        "written out to 54, real time to 62"
    );
}

/// A mark in real time is none on an opened rung, and one on an opened rung none in real time; also
/// after a restart from the journal.
#[test]
fn lengths_and_tempi_never_mix() {
    let mut practice = Practice::with(opening_plan());
    practice.choose(cell(2, 54));
    practice.clean(2);
    practice.choose(opened(150));
    practice.clean(1);
    let again = replay(opening_plan(), &practice.journal);
    for state in [&practice.state, &again] {
        assert_eq!(state.tally(cell(2, 54)).clean, 2);
        assert_eq!(state.tally(opened(150)).clean, 1);
        assert_eq!(state.status(cell(2, 54)), Closed);
    }
}

/// Real time cleared in free play stands for the opening, as for every stage before it.
#[test]
fn real_time_cleared_in_free_play_passes_the_opening() {
    let mut practice = Practice::with(opening_plan());
    practice.choose(cell(2, 58));
    practice.clean(3);
    for tone in [300, 210, 150] {
        assert_eq!(practice.state.status(opened(tone)), Passed);
    }
    assert_eq!(practice.status(0, 54), Passed);
}

#[test]
fn plus_and_minus_go_along_the_lengths_and_end_there() {
    let mut practice = Practice::with(opening_plan());
    let step_tempo = |practice: &mut Practice, up| {
        let at = practice.at();
        let news = practice.tell(Event::TempoStep { at, up });
        (practice.state.upcoming(), news.contains(&News::LadderEnds))
    };
    practice.choose(opened(300));
    assert_eq!(step_tempo(&mut practice, true), (Some(opened(210)), false));
    assert_eq!(step_tempo(&mut practice, true), (Some(opened(150)), false));
    assert_eq!(step_tempo(&mut practice, true), (Some(opened(150)), true));
    practice.choose(opened(300));
    assert_eq!(step_tempo(&mut practice, false), (Some(opened(300)), true));
}

/// From a length the longer one; from the first length the last stage written out, where it ends;
/// from real time the last length that is easier than it, and higher up a rung down.
#[test]
fn the_step_back_of_an_opened_movement_is_a_longer_length() {
    let back = |cell| opening_plan().step_back_from(cell);
    assert_eq!(back(opened(150)), Some(opened(210)));
    assert_eq!(back(opened(300)), Some(cell(1, 54)));
    assert_eq!(back(cell(2, 54)), Some(opened(210)));
    assert_eq!(back(cell(2, 58)), Some(cell(2, 54)));
    let mut up = opening_plan();
    up.route = Route::Up;
    assert_eq!(up.step_back_from(opened(300)), Some(cell(1, 54)));
    assert_eq!(up.step_back_from(cell(2, 54)), Some(opened(210)));
}

/// A stage may end before the ladder does; the board asks nothing of it beyond.
#[test]
fn a_stage_that_ends_early_holds_nobody_up() {
    let mut plan = plan();
    plan.stages[0] = planned(0, &[50]);
    let mut practice = Practice::with(plan);
    practice.clean(9);
    assert_eq!(practice.state.upcoming(), Some(cell(1, 54)));
    assert_eq!(practice.status(1, 54), Open);
    let below = practice.state.plan().in_stage(0, cell(1, 58).rung);
    assert_eq!(below, Some(cell(0, 50)));
}

// Whatever happens.

/// Something that may happen at any time, sensible or not.
#[derive(Debug, Clone)]
enum Happening {
    Play {
        reference: bool,
    },
    Begin(CellKey, u64),
    Close(u64),
    End(u64),
    Press(Mark, Option<u64>),
    Hear(u64, bool, bool),
    Undo,
    Cut,
    Pause,
    Stop,
    Resume,
    Choose(CellKey),
    Tempo(bool),
    Advance,
    Change {
        clean: u32,
        hands_free: bool,
        up: bool,
    },
    Restart,
    Wait(i64),
}

fn any_cell() -> impl Strategy<Value = CellKey> {
    // One stage, two tempi and a length that are not on the board.
    prop_oneof![
        3 => (0_u128..4, prop::sample::select(vec![48, 50, 52, 54, 58]))
            .prop_map(|(stage, tempo)| cell(stage, tempo)),
        1 => prop::sample::select(vec![300, 250, 210, 150]).prop_map(opened),
    ]
}

/// Both kinds of boards.
fn any_plan() -> impl Strategy<Value = Plan> {
    any::<bool>().prop_map(|opens| if opens { opening_plan() } else { plan() })
}

fn happening() -> impl Strategy<Value = Happening> {
    let mark = prop_oneof![4 => Just(Mark::Clean), 1 => Just(Mark::NotClean)];
    prop_oneof![
        8 => any::<bool>().prop_map(|reference| Happening::Play { reference }),
        1 => (any_cell(), 0_u64..40).prop_map(|(cell, id)| Happening::Begin(cell, id)),
        1 => (0_u64..40).prop_map(Happening::Close),
        3 => (0_u64..40).prop_map(Happening::End),
        10 => (mark, prop::option::weighted(0.2, 0_u64..20)).prop_map(|(mark, id)| Happening::Press(mark, id)),
        2 => (0_u64..40, any::<bool>(), any::<bool>()).prop_map(|(id, playing, clean)| Happening::Hear(id, playing, clean)),
        3 => Just(Happening::Undo),
        1 => Just(Happening::Cut),
        1 => Just(Happening::Pause),
        1 => Just(Happening::Stop),
        1 => Just(Happening::Resume),
        2 => any_cell().prop_map(Happening::Choose),
        1 => any::<bool>().prop_map(Happening::Tempo),
        1 => Just(Happening::Advance),
        1 => (0_u32..4, any::<bool>(), any::<bool>()).prop_map(|(clean, hands_free, up)| Happening::Change { clean, hands_free, up }),
        1 => Just(Happening::Restart),
        2 => (-3000_i64..3000).prop_map(Happening::Wait),
    ]
}

impl Practice {
    fn happen(&mut self, happening: Happening) {
        let at = self.at();
        match happening {
            Happening::Play { reference } => {
                if self.state.upcoming().is_some() {
                    let id = self.begin_with(reference);
                    self.close(id);
                }
            }
            Happening::Begin(cell, id) => {
                self.tell(Event::RepetitionBegan {
                    at,
                    id,
                    cell,
                    reference: false,
                });
            }
            Happening::Close(repetition) => {
                self.tell(Event::ClosingNoteHeard { at, repetition });
            }
            Happening::End(repetition) => {
                self.tell(Event::RepetitionEnded { at, repetition });
            }
            Happening::Press(mark, repetition) => {
                self.later(500);
                let at = self.at();
                self.tell(Event::Press {
                    at,
                    mark,
                    by: Hand::Key,
                    repetition,
                });
            }
            Happening::Hear(repetition, playing, clean) => {
                self.hear(repetition, playing, if clean { 35.0 } else { 95.0 });
            }
            Happening::Undo => {
                self.undo();
            }
            Happening::Cut => {
                self.tell(Event::Cut);
            }
            Happening::Pause => {
                self.tell(Event::Paused { at });
            }
            Happening::Stop => {
                self.tell(Event::Stopped { at });
            }
            Happening::Resume => {
                self.tell(Event::Resumed { at });
            }
            Happening::Choose(cell) => {
                self.choose(cell);
            }
            Happening::Tempo(up) => {
                self.tell(Event::TempoStep { at, up });
            }
            Happening::Advance => {
                self.tell(Event::Advance { at });
            }
            Happening::Change {
                clean,
                hands_free,
                up,
            } => {
                let mut plan = self.state.plan().clone();
                plan.clean = clean;
                plan.hands_free = hands_free;
                plan.by_ear = up;
                plan.route = if up { Route::Up } else { Route::Across };
                self.tell(Event::PlanChanged { at, plan });
            }
            Happening::Restart => {
                let session = Uuid::from_u128(100 + self.journal.len() as u128);
                let place = self.state.upcoming();
                self.tell(Event::Started { at, session, place });
            }
            Happening::Wait(milliseconds) => self.later(milliseconds),
        }
    }
}

/// The board holds together: what is done reaches everything before it, and what is open has all
/// that lies before it done: the longer or slower rungs of its stage, and of every stage before it
/// the cells at no higher tempo.
fn holds_together(board: &Board) -> Result<(), TestCaseError> {
    let done = |cell: &Cell| matches!(cell.status, Clear | Passed);
    for stage in 0..board.stages() {
        for (place, cell) in board.stage(stage).iter().enumerate() {
            let no_quicker = |before: &&Cell| before.key.rung.tempo() <= cell.key.rung.tempo();
            let mut before =
                (0..stage).flat_map(|stage| board.stage(stage).iter().filter(no_quicker));
            let before_done = before.all(done) && board.stage(stage)[..place].iter().all(done);
            match cell.status {
                Closed => prop_assert!(!before_done),
                Open | Passed | Clear => prop_assert!(before_done, "{:?}", cell.key),
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// A crash, a lost mark, or a board that a restart would show differently.
    #[test]
    fn whatever_happens_the_board_is_the_fold_of_the_journal(
        plan in any_plan(),
        happenings in prop::collection::vec(happening(), 0..120)
    ) {
        let mut practice = Practice::with(plan);
        for happening in happenings {
            practice.happen(happening);
            holds_together(practice.state.board())?;
            if let Some(upcoming) = practice.state.upcoming() {
                prop_assert!(practice.state.plan().stage_of(upcoming).is_some());
            }
        }
        let again = replay(practice.state.plan().clone(), &practice.journal);
        prop_assert_eq!(again.board(), practice.state.board());
        prop_assert_eq!(&again.history, &practice.state.history);
    }

    /// Merging two computers' journals in any order must give the same board.
    #[test]
    fn the_fold_does_not_depend_on_the_order_of_arrival(
        plan in any_plan(),
        happenings in prop::collection::vec(happening(), 0..80),
        seed in prop::collection::vec(any::<u64>(), 400)
    ) {
        let mut practice = Practice::with(plan);
        for happening in happenings {
            practice.happen(happening);
        }
        let mut mixed: Vec<(u64, Entry)> = seed.into_iter().cycle().zip(practice.journal.clone()).collect();
        mixed.sort_by_key(|(place, entry)| (*place, entry.seq));
        let mut state = replay(practice.state.plan().clone(), &[]);
        for (_, entry) in &mixed {
            state = step(&state, &Event::Stored { foreign: vec![entry.clone()], own: Vec::new() }).0;
        }
        let all = replay(practice.state.plan().clone(), &practice.journal);
        prop_assert_eq!(state.board(), all.board());
        prop_assert_eq!(state.history, all.history);
    }

    /// Undo right after a mark must leave no trace of it on the board.
    #[test]
    fn undoing_the_last_mark_restores_the_board(
        plan in any_plan(),
        happenings in prop::collection::vec(happening(), 0..80),
        mark in prop_oneof![Just(Mark::Clean), Just(Mark::NotClean)]
    ) {
        let mut practice = Practice::with(plan);
        for happening in happenings {
            practice.happen(happening);
        }
        if practice.state.phase() != Phase::Playing {
            let at = practice.at();
            practice.tell(Event::Resumed { at });
        }
        practice.play();
        let before = practice.state.board().clone();
        let marks = practice.marks().len();
        practice.press(mark);
        if practice.marks().len() > marks {
            practice.undo();
            let after: Vec<(CellStatus, Tally)> =
                practice.state.board().cells().map(|cell| (cell.status, cell.tally)).collect();
            let before: Vec<(CellStatus, Tally)> =
                before.cells().map(|cell| (cell.status, cell.tally)).collect();
            prop_assert_eq!(after, before);
        }
    }
}
