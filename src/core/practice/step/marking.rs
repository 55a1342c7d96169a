//! Marks by hand and assumed marks: how a repetition is marked, corrected and unmarked.

use super::super::cell::CellKey;
use super::super::entry::{By, Kind, Mark, Moment, Record};
use super::super::event::{Hand, News};
use super::super::measurement::Measurement;
use super::super::plan::{Advance, StepBack};
use super::super::session::{Phase, Repetition};
use super::super::state::State;
use super::{ASSUMED_IN_A_ROW, HELD_MS, Said};

/// What a press of clean or of not clean means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meant {
    /// It marks the repetition.
    Marks,
    /// The repetition already has this mark; the suggested step back is taken.
    StepsBack(CellKey),
    /// The repetition already has this mark; the named cell comes next.
    GoesOn(CellKey),
    /// The repetition already has this mark, and nothing follows.
    Again,
}

impl State {
    pub(super) fn end(&mut self, at: Moment, repetition: u64, records: &mut Vec<Record>) {
        let Some(session) = &self.session else {
            return;
        };
        let Some(closed) = session.closed(repetition) else {
            return;
        };
        let told = self.history.was_told(closed.cell, session.id, repetition);
        if !self.plan.hands_free || told || closed.late || self.phase() != Phase::Playing {
            return;
        }
        self.mark(at, closed, Mark::Clean, By::Assumed, None, records);
        if let Some(session) = &mut self.session {
            session.assumed_in_a_row += 1;
            if session.assumed_in_a_row >= ASSUMED_IN_A_ROW {
                self.news.push(News::NobodyThere);
                self.halt(at, Phase::NobodyThere, records);
            }
        }
    }

    pub(super) fn press(
        &mut self,
        at: Moment,
        mark: Mark,
        by: Hand,
        repetition: Option<u64>,
        records: &mut Vec<Record>,
    ) {
        self.someone_is_there();
        let Some(session) = &mut self.session else {
            return;
        };
        // The time counts from the last press, not from the first, so that a pedal held down for
        // seconds stays one press.
        let held = session.last_press.is_some_and(|(last, when)| {
            last == mark && at.heard_ms.saturating_sub(when) <= HELD_MS
        });
        session.last_press = Some((mark, at.heard_ms));
        if held {
            self.news.push(News::HeldDown);
            return;
        }
        if session.phase == Phase::Offering {
            self.news.push(News::Chosen(mark));
            return;
        }
        let Some(target) = session.pressed(repetition, at.heard_ms) else {
            self.news.push(News::NothingToMark);
            return;
        };
        if target.late {
            self.news.push(News::NotCounted(target.id));
            return;
        }
        match self.meant_by(mark, target) {
            Meant::Marks => self.mark(at, target, mark, by.into(), None, records),
            Meant::StepsBack(_) => self.take_step_back(at, records),
            Meant::GoesOn(next) => {
                self.take_next();
                self.news.push(News::MovesTo(next));
                self.move_when_still();
                self.write_place(at, records);
            }
            Meant::Again => self.news.push(News::AlreadyMarked(mark)),
        }
    }

    /// What a press means for the repetition that it names: a mark or, when that repetition already
    /// has this mark, the move that the mark suggests.
    fn meant_by(&self, mark: Mark, target: Repetition) -> Meant {
        let told = self.session.as_ref().and_then(|session| {
            let line = self.history.mark_of(target.cell, session.id, target.id)?;
            Some((line.mark, line.by))
        });
        let Some((said, by)) = told.filter(|(said, _)| *said == mark) else {
            return Meant::Marks;
        };
        let here = self.cell() == Some(target.cell);
        match said {
            Mark::NotClean if here && let Some(back) = self.suggestion() => Meant::StepsBack(back),
            Mark::Clean
                if here
                    && by.is_hand()
                    && self.plan.advance == Advance::WhenAsked
                    && let Some(next) = self.named() =>
            {
                Meant::GoesOn(next)
            }
            _ if by.is_hand() => Meant::Again,
            _ => Meant::Marks,
        }
    }

    /// What a press would mean once everything that was played is heard; none when there is nothing
    /// to mark.
    pub fn press_means(&self, mark: Mark) -> Option<Meant> {
        let target = self.session.as_ref()?.pressed(None, i64::MAX)?;
        (!target.late).then(|| self.meant_by(mark, target))
    }

    /// Makes the named cell the next one.
    pub(super) fn take_next(&mut self) {
        if self.named().is_some()
            && let Some(session) = &mut self.session
        {
            session.advance_asked = true;
        }
    }

    pub(super) fn take_step_back(&mut self, at: Moment, records: &mut Vec<Record>) {
        if let Some(back) = self.suggestion()
            && let Some(session) = &mut self.session
            && !session.step_back_taken
        {
            session.step_back_taken = true;
            self.news.push(News::StepBackTaken(back));
            self.move_when_still();
            self.write_place(at, records);
        }
    }

    pub(super) fn mark(
        &mut self,
        at: Moment,
        target: Repetition,
        mark: Mark,
        by: By,
        measured: Option<&Measurement>,
        records: &mut Vec<Record>,
    ) {
        let suggested = self.suggestion();
        let stopped = self.stops_soon();
        let kind = Kind::Mark {
            repetition: target.id,
            mark,
            needed: self.plan.needed(),
            free: target.free,
        };
        self.news.push(News::Marked {
            cell: target.cell,
            repetition: target.id,
            mark,
            by,
        });
        let mut said = Said::new(kind, Some(target.cell), Some(by));
        if let Some(measured) = measured {
            said.thresholds = self.plan.thresholds_of(target.cell).to_json();
            said.measures = measured.to_json();
        }
        self.write(at, said, records);
        if let Some(session) = &self.session
            && session.cold == Some((target.id, target.cell))
        {
            let cell = target.cell;
            self.news.push(News::ColdTry { cell, mark });
        }
        self.suggest(suggested);
        if self.stops_soon() && !stopped {
            self.news.push(News::StopsSoon);
        }
        self.move_when_still();
        self.write_place(at, records);
    }

    /// Reports a suggestion that is new, and forgets one that no longer stands.
    pub(super) fn suggest(&mut self, before: Option<CellKey>) {
        match self.suggestion() {
            None => {
                if let Some(session) = &mut self.session {
                    session.step_back_taken = false;
                }
            }
            Some(_) if self.stops_soon() => {}
            Some(back) if before != Some(back) => self.news.push(match self.plan.step_back {
                StepBack::WhenAsked => News::StepBackSuggested(back),
                StepBack::ByItself => News::StepBackTaken(back),
            }),
            Some(_) => {}
        }
    }

    pub(super) fn undo(&mut self, at: Moment, records: &mut Vec<Record>) {
        self.someone_is_there();
        let Some(session) = &self.session else {
            return;
        };
        let plan = &self.plan;
        let found = self
            .history
            .last_standing(session.id, |cell| plan.stage_of(cell).is_some());
        let Some((cell, mark)) = found else {
            self.news.push(News::NothingToUndo);
            return;
        };
        let suggested = self.suggestion();
        self.news.push(News::Undone { cell, mark });
        let said = Said::new(Kind::Undo { mark }, Some(cell), Some(By::Key));
        self.write(at, said, records);
        self.suggest(suggested);
        self.leave_offers();
        self.move_when_still();
        self.write_place(at, records);
    }
}
