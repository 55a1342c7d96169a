//! Tests of the board: the state before, the event, the state after.

mod by_ear;
mod changes;
mod free_play;
mod moving;
mod opened;
mod opening;
mod presses;
mod repetitions;
mod undo;
mod what_is_told;
mod whatever_happens;
mod who_marked;

use super::*;
use crate::units::{Bpm, Millis, Milliseconds};
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

/// A stage with these tempi as rungs.
fn planned(stage: u128, tempi: &[i128]) -> PlannedStage {
    PlannedStage {
        print: StagePrint(stage),
        rungs: tempi.iter().map(|tempo| cell(stage, *tempo).rung).collect(),
        real_time: false,
    }
}

/// Three stages (0, 1, 2), each with the rungs 50, 54 and 58. Three clean repetitions in a row
/// clear a cell.
pub(super) fn plan() -> Plan {
    let stages = (0..3).map(|stage| planned(stage, &[50, 54, 58])).collect();
    let mut plan = Plan::new("a drill of our own", stages);
    plan.clean = 3;
    plan
}

/// Adds a rung at 52 to every stage.
fn between(plan: &mut Plan) {
    for stage in &mut plan.stages {
        stage.rungs.insert(1, Rung::Tempo(bpm(52)));
    }
}

/// A cell of stage 2 with tones of `tone` milliseconds at tempo 54.
fn opened(tone: i128) -> CellKey {
    CellKey {
        stage: StagePrint(2),
        rung: Rung::Opened {
            tone: Millis::whole(tone),
            tempo: bpm(54),
        },
    }
}

/// Two stages end at 54, a third opens the movement at 54, and the same music in real time goes
/// from there to 62. Three clean repetitions in a row clear a cell.
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

/// A player at practice, with a journal that stores every record at once.
pub(super) struct Practice {
    pub(super) state: State,
    pub(super) journal: Vec<Entry>,
    /// True when its repetitions are played by heart.
    by_heart: bool,
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
            by_heart: false,
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
        let cell = self.state.upcoming().expect("a cell");
        self.begin_in(cell, reference)
    }

    /// Begins a repetition of a given cell, even if another one was next.
    pub(super) fn begin_in(&mut self, cell: CellKey, reference: bool) -> u64 {
        self.later(1000);
        let id = self.state.next_repetition();
        let at = self.at();
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
        self.tell(Event::ClosingNoteHeard {
            at,
            repetition,
            by_heart: self.by_heart,
        });
    }

    /// Plays a repetition in the upcoming cell, up to and including its closing note.
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
        beat_ms: Milliseconds(1200.0),
        notes: vec![NoteMeasure {
            id: 0,
            bar: 1,
            part: NoteKind::Gracenote,
            written: crate::chanter::Note::HighG,
            heard: Some(crate::chanter::Note::HighG),
            length_ms: Some(Milliseconds(gracenote_ms)),
            expected_ms: Milliseconds(35.0),
            offset_ms: None,
            on_click: false,
            place_ms: None,
            begun_by: 0,
            tap: false,
            movement: None,
            pair: None,
            cents: None,
        }],
        extra: Vec::new(),
        lead_ms: Milliseconds(0.0),
        drift_percent: 0.0,
        confidence: None,
    }
}

use CellStatus::{Clear, Closed, Open, Passed};
