//! One step: a state and an event give the next state and what is to be written down.

use super::board::{Board, CellStatus};
use super::entry::{By, Kind, Mark, Moment, Record, RecordId};
use super::event::{Event, Hand, News, NotByEar};
use super::history::Order;
use super::measurement::Measurement;
use super::plan::{CellKey, Plan, StepBack};
use super::session::{Phase, Reason, Repetition, Session, Visit};
use super::state::State;
use super::verdict::judge;
use uuid::Uuid;

/// The same press again within this time is a held pedal, milliseconds. Chosen: longer than a
/// keyboard waits before it repeats.
pub const HELD_MS: i64 = 600;

/// After this many assumed repetitions with no sign of the player it pauses. Chosen.
pub const ASSUMED_IN_A_ROW: u32 = 6;

/// Applies an event. The records are to be stored together before the new state is shown; what
/// was stored comes back as [`Event::Stored`]. Pure: the same state and event give the same.
pub fn step(state: &State, event: &Event) -> (State, Vec<Record>) {
    let mut state = state.clone();
    state.news.clear();
    let mut records = Vec::new();
    state.apply(event, &mut records);
    (state, records)
}

/// The parts of a record that are not the same for every record.
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
            // Without a session nothing else has a place.
            _ if self.session.is_none() => {}
            Event::RepetitionBegan {
                at,
                id,
                cell,
                reference,
            } => self.begin(*at, *id, *cell, *reference, records),
            Event::BarHeard { at } => self.bar(*at, records),
            Event::ClosingNoteHeard { at, repetition } => self.close(*at, *repetition, records),
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
                } else if self.named().is_some()
                    && let Some(session) = &mut self.session
                {
                    session.advance_asked = true;
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

    /// Makes a record and folds it at once; news tells what it did to its cell.
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
            Kind::Mark { .. } | Kind::Undo { .. } | Kind::Tried { .. }
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

    /// Writes the place down when it has changed, so that the next start is where this one ends.
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

    fn start(&mut self, at: Moment, id: Uuid, place: Option<CellKey>, records: &mut Vec<Record>) {
        self.session = Some(Session::new(id));
        let known = place.filter(|cell| self.plan.stage_of(*cell).is_some());
        if let Some(cell) = known.or_else(|| self.first_open()) {
            // A cell that is clear already leads on after N more, so that nobody is stuck there.
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

    fn enter(&mut self, cell: CellKey, reason: Reason) {
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

    /// What was offered is no longer: the cell is another, or the slips were taken back.
    fn leave_offers(&mut self) {
        if let Some(session) = &mut self.session
            && session.phase == Phase::Offering
        {
            session.phase = Phase::Paused;
        }
    }

    /// At a bar line play stops where the last three were not clean: errors are not drilled.
    fn bar(&mut self, at: Moment, records: &mut Vec<Record>) {
        if !self.stops_soon() {
            return;
        }
        self.halt(at, Phase::Offering, records);
        if let Some(session) = &mut self.session {
            session.slips_from = session.next_repetition;
        }
        self.news.push(News::Offers);
    }

    /// With nothing sounding there is no boundary to wait for.
    fn move_when_still(&mut self) {
        if self.phase() != Phase::Playing
            && let Some((cell, Some(reason))) = self.move_to_come()
        {
            self.enter(cell, reason);
        }
    }

    fn begin(
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
            // Something else sounds than was to come: what sounds is true.
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

    /// What sounds is void, unless its closing note was heard.
    fn cut(&mut self) {
        if let Some(session) = &mut self.session
            && let Some(sounding) = session.sounding.take()
        {
            self.news.push(News::Void(sounding.id));
        }
    }

    /// What sounds goes on and takes no mark: what the player was to follow, or what was heard of
    /// him, has a hole.
    fn lose_sound(&mut self) {
        if let Some(sounding) = self.session.as_mut().and_then(|one| one.sounding.as_mut())
            && !std::mem::replace(&mut sounding.late, true)
        {
            self.news.push(News::NotCounted(sounding.id));
        }
    }

    fn close(&mut self, at: Moment, repetition: u64, records: &mut Vec<Record>) {
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
    }

    fn end(&mut self, at: Moment, repetition: u64, records: &mut Vec<Record>) {
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

    fn someone_is_there(&mut self) {
        if let Some(session) = &mut self.session {
            session.assumed_in_a_row = 0;
        }
    }

    fn halt(&mut self, at: Moment, phase: Phase, records: &mut Vec<Record>) {
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

    /// How long sound ran, by the clock that never jumps: between two moments of the other a lid may
    /// have been closed, or the clock been set.
    fn heard_until(&mut self, at: Moment) -> Option<String> {
        let since = self.session.as_mut()?.sounds_since.take()?;
        let heard_ms = at.heard_ms.saturating_sub(since).max(0);
        Some(format!("{{\"heard_ms\":{heard_ms}}}"))
    }

    fn go_on(&mut self, at: Moment, records: &mut Vec<Record>) {
        self.someone_is_there();
        let cell = self.cell();
        if let Some(session) = &mut self.session
            && session.phase != Phase::Playing
        {
            session.phase = Phase::Playing;
            session.sounds_since = Some(at.heard_ms);
            self.write(at, Said::new(Kind::Playing, cell, None), records);
        }
    }

    fn choose(&mut self, at: Moment, cell: CellKey, records: &mut Vec<Record>) {
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

    fn step_tempo(&mut self, at: Moment, up: bool, records: &mut Vec<Record>) {
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

    fn change_plan(&mut self, plan: &Plan) {
        self.plan = plan.clone();
        self.board = Board::of(&self.plan, &self.history);
        let known = |cell: &CellKey| plan.stage_of(*cell).is_some();
        let Some(session) = &mut self.session else {
            return;
        };
        session.path.retain(known);
        session.wish = session.wish.filter(known);
        if !session.visit.is_some_and(|visit| known(&visit.cell)) {
            // Its music is gone, so what sounds is no repetition of the plan any more.
            session.visit = None;
            self.cut();
            if let Some(cell) = self.first_open() {
                self.enter(cell, Reason::Return);
            }
        }
    }

    fn press(
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
        // Counted from the last press and not from the first, so that a pedal held for seconds
        // stays one press.
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
        let target = match repetition {
            Some(id) => session.closed(id),
            None => session.closed_by(at.heard_ms),
        };
        let Some(target) = target else {
            self.news.push(News::NothingToMark);
            return;
        };
        if target.late {
            self.news.push(News::NotCounted(target.id));
            return;
        }
        let told = self
            .history
            .mark_of(target.cell, session.id, target.id)
            .map(|line| (line.mark, line.by));
        match told {
            Some((Mark::NotClean, _))
                if mark == Mark::NotClean
                    && self.cell() == Some(target.cell)
                    && self.suggestion().is_some() =>
            {
                self.take_step_back(at, records);
            }
            Some((said, before)) if said == mark && before.is_hand() => {
                self.news.push(News::AlreadyMarked(mark));
            }
            _ => self.mark(at, target, mark, by.into(), None, records),
        }
    }

    fn take_step_back(&mut self, at: Moment, records: &mut Vec<Record>) {
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

    fn mark(
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

    /// Tells of a suggestion that was not there before; forgets one that no longer stands.
    fn suggest(&mut self, before: Option<CellKey>) {
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

    fn listen(
        &mut self,
        at: Moment,
        repetition: u64,
        measured: &Measurement,
        records: &mut Vec<Record>,
    ) {
        let Some(session) = &self.session else {
            return;
        };
        let closed = session.closed(repetition);
        let hand = self.is_marked_by_hand(repetition);
        if measured.playing {
            self.someone_is_there();
        }
        if closed.is_some_and(|closed| closed.late) {
            let why = NotByEar::SoundLost;
            self.news.push(News::NotByEar { repetition, why });
            return;
        }
        let limits = closed.map_or(self.plan.thresholds, |closed| {
            self.plan.thresholds_of(closed.cell)
        });
        let verdict = judge(measured, &limits);
        let mark = verdict.mark;
        self.news.push(News::Judged {
            repetition,
            verdict,
        });
        let Some(closed) = closed else {
            let why = NotByEar::NoSuchRepetition;
            self.news.push(News::NotByEar { repetition, why });
            return;
        };
        let why = match mark {
            None if measured.playing => NotByEar::Unsure,
            None => NotByEar::SilentPlayer,
            _ if !self.plan.by_ear => NotByEar::Off,
            _ if closed.reference && (!self.plan.headphones || measured.is_our_own()) => {
                NotByEar::ReferenceSounded
            }
            _ if hand => NotByEar::MarkedByHand,
            Some(mark) => {
                self.mark(at, closed, mark, By::Ear, Some(measured), records);
                return;
            }
        };
        self.news.push(News::NotByEar { repetition, why });
        if matches!(why, NotByEar::Off | NotByEar::MarkedByHand) {
            let kind = Kind::Measured { repetition };
            let mut said = Said::new(kind, Some(closed.cell), Some(By::Ear));
            said.thresholds = limits.to_json();
            said.measures = measured.to_json();
            self.write(at, said, records);
        }
    }

    /// Lost sound says nothing of the player; where his hand has marked, nothing is missed.
    fn lose_what_was_heard(&mut self, repetition: u64) {
        if !self.is_marked_by_hand(repetition) {
            let why = NotByEar::SoundLost;
            self.news.push(News::NotByEar { repetition, why });
        }
    }

    fn is_marked_by_hand(&self, repetition: u64) -> bool {
        let Some(session) = &self.session else {
            return false;
        };
        session
            .closed(repetition)
            .and_then(|closed| self.history.mark_of(closed.cell, session.id, repetition))
            .is_some_and(|line| line.by.is_hand())
    }

    fn undo(&mut self, at: Moment, records: &mut Vec<Record>) {
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

    fn stored(&mut self, foreign: &[super::Entry], own: &[super::Entry]) {
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
