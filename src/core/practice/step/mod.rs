//! One step: a state and an event give the next state and the records to store.

mod listening;
mod marking;
mod moving;
mod repeating;

pub use marking::Meant;

use super::board::{Board, CellStatus};
use super::cell::CellKey;
use super::entry::{By, Entry, Kind, Moment, Record, RecordId};
use super::event::{Event, News};
use super::history::Order;
use super::session::Phase;
use super::state::State;

/// The same press within this time, in milliseconds, is a held pedal. Chosen: longer than a
/// keyboard waits before it repeats.
pub const HELD_MS: i64 = 600;

/// After this many assumed repetitions without a sign of the player, play pauses. Chosen.
pub const ASSUMED_IN_A_ROW: u32 = 6;

/// Applies an event. The returned records must be stored together before the new state is shown;
/// they come back as [`Event::Stored`]. Pure: the same state and event give the same result.
pub fn step(state: &State, event: &Event) -> (State, Vec<Record>) {
    let mut state = state.clone();
    state.news.clear();
    let mut records = Vec::new();
    state.apply(event, &mut records);
    (state, records)
}

/// The parts of a record that differ from record to record.
struct Said {
    kind: Kind,
    cell: Option<CellKey>,
    by: Option<By>,
    thresholds: Option<String>,
    measures: Option<String>,
}

impl Said {
    fn new(kind: Kind, cell: Option<CellKey>, by: Option<By>) -> Self {
        Self {
            kind,
            cell,
            by,
            thresholds: None,
            measures: None,
        }
    }
}

impl State {
    fn apply(&mut self, event: &Event, records: &mut Vec<Record>) {
        match event {
            Event::Stored { foreign, own } => self.stored(foreign, own),
            Event::Started { at, session, place } => self.start(*at, *session, *place, records),
            // Without a session all other events are ignored.
            _ if self.session.is_none() => {}
            Event::RepetitionBegan {
                at,
                id,
                cell,
                reference,
            } => self.begin(*at, *id, *cell, *reference, records),
            Event::BarHeard { at } => self.bar(*at, records),
            Event::ClosingNoteHeard {
                at,
                repetition,
                by_heart,
            } => self.close(*at, *repetition, *by_heart, records),
            Event::RepetitionEnded { at, repetition } => self.end(*at, *repetition, records),
            Event::Press {
                at,
                mark,
                by,
                repetition,
            } => self.press(*at, *mark, *by, *repetition, records),
            Event::Listened {
                at,
                repetition,
                measured,
                lost: false,
            } => self.listen(*at, *repetition, measured, records),
            Event::Listened { repetition, .. } => self.lose_what_was_heard(*repetition),
            Event::PlayingHeard | Event::Touched => self.someone_is_there(),
            Event::Undo { at } => self.undo(*at, records),
            Event::Cut => self.cut(),
            Event::SoundLost => self.lose_sound(),
            Event::Paused { at } => self.halt(*at, Phase::Paused, records),
            Event::Stopped { at } => self.halt(*at, Phase::Still, records),
            Event::Resumed { at } => self.go_on(*at, records),
            Event::Ended { at } => {
                self.cut();
                let cell = self.upcoming();
                let mut said = Said::new(Kind::Ended, cell, None);
                said.measures = self.heard_until(*at);
                self.write(*at, said, records);
                self.session = None;
            }
            Event::CellChosen { at, cell } => self.choose(*at, *cell, records),
            Event::TempoStep { at, up } => self.step_tempo(*at, *up, records),
            Event::Advance { at } => {
                self.someone_is_there();
                if self.suggestion().is_some() {
                    self.take_step_back(*at, records);
                } else {
                    self.take_next();
                }
                self.move_when_still();
                self.write_place(*at, records);
            }
            Event::PlanChanged { at, plan } => {
                self.change_plan(plan);
                self.move_when_still();
                self.write_place(*at, records);
            }
            Event::Word { at, about, text } => {
                self.someone_is_there();
                let kind = Kind::Word {
                    about: *about,
                    text: text.clone(),
                };
                let cell = self.cell();
                self.write(*at, Said::new(kind, cell, Some(By::Key)), records);
            }
        }
    }

    /// Makes a record and folds it at once; the news has its effect on its cell.
    fn write(&mut self, at: Moment, said: Said, records: &mut Vec<Record>) {
        let Some(session) = &mut self.session else {
            return;
        };
        self.last_utc_us = self.last_utc_us.max(at.utc_us);
        let record = Record {
            id: RecordId {
                session: session.id,
                number: session.records,
            },
            utc_us: self.last_utc_us,
            offset_s: at.offset_s,
            kind: said.kind,
            drill: self.plan.drill.clone(),
            cell: said.cell,
            by: said.by,
            thresholds: said.thresholds,
            measures: said.measures,
            version: env!("CARGO_PKG_VERSION").to_owned(),
        };
        session.records += 1;
        if matches!(
            record.kind,
            Kind::Mark { .. } | Kind::Undo { .. } | Kind::Tried { .. } | Kind::ByHeart { .. }
        ) {
            let was_complete = self.board.is_complete();
            let before = record.cell.map(|cell| self.status(cell));
            self.history.add(Order::Waiting(record.id), &record);
            self.board = Board::of(&self.plan, &self.history);
            if let (Some(cell), Some(before)) = (record.cell, before) {
                let now = self.status(cell);
                if before != CellStatus::Clear && now == CellStatus::Clear {
                    self.news.push(News::Cleared(cell));
                } else if before == CellStatus::Clear && now != CellStatus::Clear {
                    self.news.push(News::Uncleared { cell, now });
                }
            }
            if !was_complete && self.board.is_complete() {
                self.news.push(News::Complete);
            }
        }
        records.push(record);
    }

    /// Records the place of play when it has changed, so that the next session begins there.
    fn write_place(&mut self, at: Moment, records: &mut Vec<Record>) {
        let upcoming = self.upcoming();
        let Some(session) = &mut self.session else {
            return;
        };
        if upcoming.is_some() && session.written_place != upcoming {
            session.written_place = upcoming;
            if let Some(cell) = upcoming {
                self.news.push(News::MovesTo(cell));
            }
            self.write(at, Said::new(Kind::Place, upcoming, None), records);
        }
    }

    fn someone_is_there(&mut self) {
        if let Some(session) = &mut self.session {
            session.assumed_in_a_row = 0;
        }
    }

    fn stored(&mut self, foreign: &[Entry], own: &[Entry]) {
        for entry in foreign.iter().chain(own) {
            self.last_utc_us = self.last_utc_us.max(entry.record.utc_us);
            self.history.add(Order::of(entry), &entry.record);
        }
        if !foreign.is_empty() {
            self.board = Board::of(&self.plan, &self.history);
            self.news.push(News::OthersWrote(foreign.len()));
        }
    }
}
