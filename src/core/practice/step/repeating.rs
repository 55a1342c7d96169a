//! A repetition from its beginning to its closing note.

use super::super::board::CellStatus;
use super::super::cell::CellKey;
use super::super::entry::{Kind, Moment, Record};
use super::super::event::News;
use super::super::session::{Phase, Reason, Repetition};
use super::super::state::State;
use super::Said;

impl State {
    pub(super) fn begin(
        &mut self,
        at: Moment,
        id: u64,
        cell: CellKey,
        reference: bool,
        records: &mut Vec<Record>,
    ) {
        let too_early = id < self.next_repetition();
        let halted = matches!(
            self.phase(),
            Phase::Paused | Phase::NobodyThere | Phase::Offering
        );
        if too_early || halted || self.plan.stage_of(cell).is_none() {
            return;
        }
        self.cut();
        match self.move_to_come() {
            Some((upcoming, Some(reason))) if upcoming == cell => self.enter(cell, reason),
            _ if self.cell() == Some(cell) => {}
            // A cell other than the next one sounds, and the one that sounds counts.
            _ => self.enter(cell, Reason::Chosen),
        }
        let closed_cell = self.status(cell) == CellStatus::Closed;
        let run_up = self.has_run_up(at);
        let cold = !reference && self.would_be_cold(cell, at);
        let Some(session) = &mut self.session else {
            return;
        };
        session.next_repetition = id.saturating_add(1);
        let freely = session.visit.is_some_and(|visit| visit.freely);
        if cold {
            session.cold = Some((id, cell));
        }
        session.sounding = Some(Repetition {
            id,
            cell,
            free: freely && closed_cell,
            reference,
            run_up,
            cold,
            late: false,
            closed_ms: None,
        });
        if session.phase != Phase::Playing {
            session.phase = Phase::Playing;
            session.sounds_since = Some(at.heard_ms);
            self.write(at, Said::new(Kind::Playing, Some(cell), None), records);
        }
        self.write_place(at, records);
    }

    /// Makes the sounding repetition void, unless its closing note was heard.
    pub(super) fn cut(&mut self) {
        if let Some(session) = &mut self.session
            && let Some(sounding) = session.sounding.take()
        {
            self.news.push(News::Void(sounding.id));
        }
    }

    /// The sounding repetition continues but takes no mark, because sound was lost: the player's or
    /// the program's.
    pub(super) fn lose_sound(&mut self) {
        if let Some(sounding) = self.session.as_mut().and_then(|one| one.sounding.as_mut())
            && !std::mem::replace(&mut sounding.late, true)
        {
            self.news.push(News::NotCounted(sounding.id));
        }
    }

    pub(super) fn close(
        &mut self,
        at: Moment,
        repetition: u64,
        by_heart: bool,
        records: &mut Vec<Record>,
    ) {
        let Some(session) = &mut self.session else {
            return;
        };
        let Some(sounding) = session.sounding.take_if(|one| one.id == repetition) else {
            return;
        };
        session.close(Repetition {
            closed_ms: Some(at.heard_ms),
            ..sounding
        });
        if self.is_first(at) && !sounding.late {
            let kind = Kind::Tried {
                repetition,
                alone: !sounding.reference && !sounding.run_up,
            };
            self.write(at, Said::new(kind, Some(sounding.cell), None), records);
        }
        // With the reference sounding, the player need not know the tune by heart.
        if by_heart && !sounding.reference && !sounding.late {
            let kind = Kind::ByHeart { repetition };
            self.write(at, Said::new(kind, Some(sounding.cell), None), records);
        }
    }
}
