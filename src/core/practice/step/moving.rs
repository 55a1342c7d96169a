//! The place of play: how it begins, moves to another cell and stops.

use super::super::board::{Board, CellStatus};
use super::super::cell::CellKey;
use super::super::entry::{Kind, Moment, Record};
use super::super::event::News;
use super::super::plan::Plan;
use super::super::session::{Phase, Reason, Session, Visit};
use super::super::state::State;
use super::Said;
use uuid::Uuid;

impl State {
    pub(super) fn start(
        &mut self,
        at: Moment,
        id: Uuid,
        place: Option<CellKey>,
        records: &mut Vec<Record>,
    ) {
        self.session = Some(Session::new(id));
        let known = place.filter(|cell| self.plan.stage_of(*cell).is_some());
        if let Some(cell) = known.or_else(|| self.first_open()) {
            // A cell that is already clear leads on after the needed clean repetitions in a row, so
            // that nobody is stuck there.
            self.enter(cell, Reason::Chosen);
            if let Some(visit) = self
                .session
                .as_mut()
                .and_then(|session| session.visit.as_mut())
            {
                visit.leads_on = true;
            }
        }
        let cell = self.upcoming();
        if let Some(session) = &mut self.session {
            session.written_place = cell;
        }
        self.write(at, Said::new(Kind::Began, cell, None), records);
    }

    pub(super) fn enter(&mut self, cell: CellKey, reason: Reason) {
        let status = self.status(cell);
        let Some(session) = &mut self.session else {
            return;
        };
        let from = session.visit;
        match reason {
            Reason::Route => session.path.extend(from.map(|visit| visit.cell)),
            Reason::Return => {
                let back = session.path.iter().position(|known| *known == cell);
                session.path.truncate(back.unwrap_or(0));
            }
            Reason::Chosen | Reason::Back => session.path.clear(),
        }
        let stays_free = reason == Reason::Back && from.is_some_and(|visit| visit.freely);
        session.visit = Some(Visit {
            cell,
            freely: stays_free || (reason == Reason::Chosen && status == CellStatus::Closed),
            was_clear: status == CellStatus::Clear,
            leads_on: reason == Reason::Back,
            first: session.next_repetition,
        });
        session.wish = None;
        session.step_back_taken = false;
        session.advance_asked = false;
        self.leave_offers();
    }

    /// Withdraws the offers, because the cell changed or the marks were undone.
    pub(super) fn leave_offers(&mut self) {
        if let Some(session) = &mut self.session
            && session.phase == Phase::Offering
        {
            session.phase = Phase::Paused;
        }
    }

    /// Stops play at a bar line when the last three repetitions were not clean, so that errors are
    /// not practised.
    pub(super) fn bar(&mut self, at: Moment, records: &mut Vec<Record>) {
        if !self.stops_soon() {
            return;
        }
        self.halt(at, Phase::Offering, records);
        if let Some(session) = &mut self.session {
            session.slips_from = session.next_repetition;
        }
        self.news.push(News::Offers);
    }

    /// Moves at once when nothing sounds, because there is no boundary to wait for.
    pub(super) fn move_when_still(&mut self) {
        if self.phase() != Phase::Playing
            && let Some((cell, Some(reason))) = self.move_to_come()
        {
            self.enter(cell, reason);
        }
    }

    pub(super) fn halt(&mut self, at: Moment, phase: Phase, records: &mut Vec<Record>) {
        self.cut();
        let Some(session) = &mut self.session else {
            return;
        };
        let sounded = session.phase == Phase::Playing;
        session.phase = phase;
        session.assumed_in_a_row = 0;
        if sounded {
            let cell = self.cell();
            let mut said = Said::new(Kind::Paused, cell, None);
            said.measures = self.heard_until(at);
            self.write(at, said, records);
        }
        self.move_when_still();
        self.write_place(at, records);
    }

    /// How long sound ran, as JSON, by the clock that never jumps. The other clock would be wrong
    /// if the computer slept or the clock was set.
    pub(super) fn heard_until(&mut self, at: Moment) -> Option<String> {
        let since = self.session.as_mut()?.sounds_since.take()?;
        let heard_ms = at.heard_ms.saturating_sub(since).max(0);
        Some(format!("{{\"heard_ms\":{heard_ms}}}"))
    }

    pub(super) fn go_on(&mut self, at: Moment, records: &mut Vec<Record>) {
        self.someone_is_there();
        let cell = self.cell();
        if let Some(session) = &mut self.session
            && session.phase != Phase::Playing
        {
            session.phase = Phase::Playing;
            session.sounds_since = Some(at.heard_ms);
            session.presses_from = session.next_repetition;
            self.write(at, Said::new(Kind::Playing, cell, None), records);
        }
    }

    pub(super) fn choose(&mut self, at: Moment, cell: CellKey, records: &mut Vec<Record>) {
        self.someone_is_there();
        if self.plan.stage_of(cell).is_none() {
            self.news.push(News::UnknownStage(cell));
            return;
        }
        if let Some(session) = &mut self.session {
            session.wish = Some(cell);
        }
        self.move_when_still();
        self.write_place(at, records);
    }

    pub(super) fn step_tempo(&mut self, at: Moment, up: bool, records: &mut Vec<Record>) {
        self.someone_is_there();
        let Some(from) = self.upcoming() else {
            return;
        };
        let rung = if up {
            self.plan.above(from)
        } else {
            self.plan.below(from)
        };
        match rung {
            Some(cell) => self.choose(at, cell, records),
            None => self.news.push(News::LadderEnds),
        }
    }

    pub(super) fn change_plan(&mut self, plan: &Plan) {
        self.plan = plan.clone();
        self.board = Board::of(&self.plan, &self.history);
        let known = |cell: &CellKey| plan.stage_of(*cell).is_some();
        let Some(session) = &mut self.session else {
            return;
        };
        session.path.retain(known);
        session.wish = session.wish.filter(known);
        if !session.visit.is_some_and(|visit| known(&visit.cell)) {
            // The stage's music is gone, so what sounds is no longer a repetition of the plan.
            session.visit = None;
            self.cut();
            if let Some(cell) = self.first_open() {
                self.enter(cell, Reason::Return);
            }
        }
    }
}
