//! The state of practice: the board, and the running session.

use super::board::{Board, CellStatus};
use super::cell::CellKey;
use super::cold::{Candidate, ColdTries, next_cold};
use super::entry::{Entry, Mark, Moment, RecordId, local_day};
use super::event::News;
use super::history::{History, Order, Tally};
use super::plan::{Advance, Plan, StepBack};
use super::session::{Phase, Reason, Session, Visit};
use std::cmp::Reverse;

/// How many repetitions in a row that are not clean suggest a step back.
pub const NOT_CLEAN_IN_A_ROW: u32 = 3;

/// Playing within this time before a repetition counts as its run-up, even across midnight, in
/// milliseconds. Three hours (chosen): fingers are cold again after a night, but not after a break.
const RUN_UP_MS: i64 = 3 * 3600 * 1000;

/// The state of practice. Only [`step`](super::step) changes it; [`replay`] builds it from a
/// journal.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    pub(super) plan: Plan,
    pub(super) history: History,
    pub(super) board: Board,
    pub(super) session: Option<Session>,
    pub(super) last_utc_us: i64,
    pub(super) news: Vec<News>,
}

/// The state that results from a journal's entries, given in any order. The board is the fold of
/// the marks that were not undone. No session runs in it.
pub fn replay<'a>(plan: Plan, entries: impl IntoIterator<Item = &'a Entry>) -> State {
    let mut entries: Vec<&Entry> = entries.into_iter().collect();
    entries.sort_by_key(|entry| entry.order());
    let mut state = State::before(plan);
    for entry in entries {
        state.fold(entry);
    }
    state.board = Board::of(&state.plan, &state.history);
    state
}

/// Does the same as [`replay`], but consumes the entries. Their memory is freed during the fold, so
/// that all entries and the whole history are never in memory together.
pub fn replay_all(plan: Plan, mut entries: Vec<Entry>) -> State {
    const GIVEN_BACK: usize = 4096;
    // The entries are sorted backwards, so that the next entry is taken from the end.
    entries.sort_unstable_by_key(|entry| Reverse(entry.order()));
    let mut state = State::before(plan);
    while let Some(entry) = entries.pop() {
        state.fold(&entry);
        if entries.capacity() - entries.len() >= GIVEN_BACK {
            entries.shrink_to_fit();
        }
    }
    state.board = Board::of(&state.plan, &state.history);
    state
}

impl State {
    /// The state before any mark.
    fn before(plan: Plan) -> Self {
        Self {
            plan,
            history: History::default(),
            board: Board::default(),
            session: None,
            last_utc_us: i64::MIN,
            news: Vec::new(),
        }
    }

    fn fold(&mut self, entry: &Entry) {
        self.history.add(Order::of(entry), &entry.record);
        self.last_utc_us = self.last_utc_us.max(entry.record.utc_us);
    }
}

/// The indices (from 0) of stages that were edited or are new: the journal knows the drill but not
/// their music. Empty for a drill that was never played.
pub fn edited(plan: &Plan, played: &[super::StagePrint]) -> Vec<usize> {
    let gone = played.iter().any(|print| !plan.has_print(*print));
    plan.stages
        .iter()
        .enumerate()
        .filter(|(_, stage)| gone && !played.contains(&stage.print))
        .map(|(index, _)| index)
        .collect()
}

impl State {
    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The board.
    pub fn board(&self) -> &Board {
        &self.board
    }

    /// What the last step reports.
    pub fn news(&self) -> &[News] {
        &self.news
    }

    /// Whether sound is running; [`Phase::Still`] without a session.
    pub fn phase(&self) -> Phase {
        self.session
            .as_ref()
            .map_or(Phase::Still, |session| session.phase)
    }

    /// The identity of the running session; none when no session runs.
    pub fn session(&self) -> Option<uuid::Uuid> {
        self.session.as_ref().map(|session| session.id)
    }

    /// The cell that is played now; none without a session.
    pub fn cell(&self) -> Option<CellKey> {
        self.visit().map(|visit| visit.cell)
    }

    /// True when the present cell is closed and was chosen freely.
    pub fn is_free_play(&self) -> bool {
        self.visit()
            .is_some_and(|visit| visit.freely && self.status(visit.cell) == CellStatus::Closed)
    }

    /// The status of any cell, including cells between rungs. A cell of a stage that the plan does
    /// not have is closed.
    pub fn status(&self, cell: CellKey) -> CellStatus {
        self.board.status(&self.plan, cell)
    }

    /// The counts of any cell's marks.
    pub fn tally(&self, cell: CellKey) -> Tally {
        self.history.tally(cell)
    }

    /// Clean repetitions in a row in the present cell. When the cell was already clear, only those
    /// of this visit count.
    pub fn streak(&self) -> u32 {
        let Some((session, visit)) = self.session.as_ref().zip(self.visit()) else {
            return 0;
        };
        if visit.was_clear {
            self.history
                .run(visit.cell, session.id, visit.first, Mark::Clean)
        } else {
            self.tally(visit.cell).streak
        }
    }

    /// The last mark of this session that was not undone; none without one.
    pub fn last_mark(&self) -> Option<RecordId> {
        let session = self.session.as_ref()?;
        let plan = &self.plan;
        let known = |cell: CellKey| plan.stage_of(cell).is_some();
        let (_, mark) = self.history.last_standing(session.id, known)?;
        (mark.session == session.id).then_some(mark)
    }

    /// The smallest number that a repetition beginning now may have.
    pub fn next_repetition(&self) -> u64 {
        self.session
            .as_ref()
            .map_or(0, |session| session.next_repetition)
    }

    /// True when a press would mark a repetition that was heard and is not yet marked.
    pub fn awaits_a_mark(&self) -> bool {
        let Some(session) = &self.session else {
            return false;
        };
        let last = session.pressed(None, i64::MAX);
        last.is_some_and(|one| !one.late && self.mark_in(one.cell, one.id).is_none())
    }

    /// The mark that counts of a repetition of this session; none without one.
    pub fn mark_in(&self, cell: CellKey, repetition: u64) -> Option<Mark> {
        let session = self.session.as_ref()?;
        let told = self.history.mark_of(cell, session.id, repetition);
        told.map(|line| line.mark)
    }

    /// True when a repetition of this session was played by heart.
    pub fn was_by_heart(&self, cell: CellKey, repetition: u64) -> bool {
        self.session
            .as_ref()
            .is_some_and(|session| self.history.was_by_heart(cell, session.id, repetition))
    }

    /// The last repetition that reached its closing note, with its cell and the mark that counts.
    pub fn last_repetition(&self) -> Option<(u64, CellKey, Option<Mark>)> {
        let session = self.session.as_ref()?;
        let last = session.closed.last()?;
        Some((last.id, last.cell, self.mark_in(last.cell, last.id)))
    }

    pub(super) fn visit(&self) -> Option<&Visit> {
        self.session.as_ref()?.visit.as_ref()
    }

    /// The cell of the suggested step back, after three repetitions in a row in this visit that
    /// were not clean; none otherwise.
    pub fn suggestion(&self) -> Option<CellKey> {
        let session = self.session.as_ref()?;
        let visit = session.visit?;
        let run = self
            .history
            .run(visit.cell, session.id, visit.first, Mark::NotClean);
        (run >= NOT_CLEAN_IN_A_ROW)
            .then(|| self.plan.step_back_from(visit.cell))
            .flatten()
    }

    /// The easier cell that is offered when play has stopped after three repetitions that were not
    /// clean. None in the first cell.
    pub fn easier(&self) -> Option<CellKey> {
        self.plan.step_back_from(self.visit()?.cell)
    }

    /// True when play will stop at the next bar line: three repetitions in a row were not clean
    /// since it last stopped, and play is not about to leave the cell.
    pub fn stops_soon(&self) -> bool {
        let Some((session, visit)) = self.session.as_ref().zip(self.visit()) else {
            return false;
        };
        let from = visit.first.max(session.slips_from);
        let stays = session.wish.is_none() && !session.step_back_taken;
        let run = || {
            self.history
                .run(visit.cell, session.id, from, Mark::NotClean)
        };
        self.plan.stop_rule
            && self.plan.step_back == StepBack::WhenAsked
            && session.phase == Phase::Playing
            && stays
            && run() >= NOT_CLEAN_IN_A_ROW
    }

    /// The player's local calendar day by the time of the records, which never goes back.
    fn day(&self, at: Moment) -> i64 {
        local_day(self.last_utc_us.max(at.utc_us), at.offset_s)
    }

    /// True until the first repetition of the drill on a day has reached its closing note.
    pub(super) fn is_first(&self, at: Moment) -> bool {
        !self.history.was_tried_on(self.day(at), &self.plan.prints())
    }

    /// True when something of the drill was played on this day or shortly before.
    pub(super) fn has_run_up(&self, at: Moment) -> bool {
        let just_before = self.session.as_ref().is_some_and(|session| {
            let last = session.closed.last().and_then(|last| last.closed_ms);
            last.is_some_and(|last| at.heard_ms.saturating_sub(last) < RUN_UP_MS)
        });
        just_before || !self.is_first(at)
    }

    pub(super) fn would_be_cold(&self, cell: CellKey, at: Moment) -> bool {
        let cleared = self.tally(cell).reached_on;
        self.plan.asks_cold(cell)
            && self.status(cell) == CellStatus::Clear
            && cleared.is_some_and(|day| day < self.day(at))
            && !self.has_run_up(at)
    }

    /// The cell of the cold try that is sounding or comes next: it was cleared on an earlier day,
    /// and nothing of the drill has been played today.
    pub fn cold_try(&self, at: Moment) -> Option<CellKey> {
        let session = self.session.as_ref()?;
        match session.sounding {
            Some(sounding) => sounding.cold.then_some(sounding.cell),
            None => self.upcoming().filter(|cell| self.would_be_cold(*cell, at)),
        }
    }

    /// The cell to try cold on a day before anything else of the drill is played; none when none is
    /// due.
    pub fn due_cold(&self, at: Moment) -> Option<CellKey> {
        let candidates: Vec<Candidate> = self
            .board
            .cells()
            .filter(|cell| self.would_be_cold(cell.key, at))
            .filter_map(|cell| {
                Some(Candidate {
                    stage: self.plan.stage_of(cell.key)?,
                    rung: cell.key.rung,
                    tries: ColdTries {
                        held: cell.held,
                        last: cell.last_cold,
                    },
                })
            })
            .collect();
        let next = next_cold(&candidates)?;
        Some(CellKey {
            stage: self.plan.stages.get(next.stage)?.print,
            rung: next.rung,
        })
    }

    /// The mark of this visit's cold try; none without one.
    fn cold_said(&self) -> Option<Mark> {
        let session = self.session.as_ref()?;
        let (repetition, cell) = session.cold?;
        let visit = session.visit.filter(|visit| visit.cell == cell)?;
        let told = self.history.mark_of(cell, session.id, repetition);
        told.filter(|_| repetition >= visit.first)
            .map(|line| line.mark)
    }

    /// The cell to go to next on the route, once the present cell is clear. None before that and
    /// when the board is complete. When the present cell was already clear as this visit began, the
    /// next one is named only once a cold try is marked, or, where the visit leads on, once there
    /// are as many clean repetitions in a row as clear a cell.
    pub fn named(&self) -> Option<CellKey> {
        let session = self.session.as_ref()?;
        let visit = session.visit?;
        if !self.board.is_clear(&self.plan, visit.cell) {
            return None;
        }
        let again = visit.leads_on
            && self
                .history
                .run(visit.cell, session.id, visit.first, Mark::Clean)
                >= self.plan.needed();
        if visit.was_clear && !again && self.cold_said().is_none() {
            return None;
        }
        self.next_open_after(visit.cell)
    }

    /// The cell after this one on the route when it is open, or otherwise the first open cell of
    /// the route. So cells that were left out come before later cells.
    fn next_open_after(&self, cell: CellKey) -> Option<CellKey> {
        let route = self.plan.in_route_order();
        let place = |key: &CellKey| self.plan.on_route(*key);
        let open = |key: &&CellKey| self.status(**key) == CellStatus::Open;
        route
            .iter()
            .find(|key| place(key) > place(&cell))
            .filter(open)
            .or_else(|| route.iter().find(open))
            .copied()
    }

    pub(super) fn first_open(&self) -> Option<CellKey> {
        let route = self.plan.in_route_order();
        let open = route
            .iter()
            .find(|key| self.status(**key) == CellStatus::Open);
        open.or(route.first()).copied()
    }

    /// The cell that play is in from the next boundary of a repetition on. The first of these that
    /// exists is taken: the player's choice, an accepted step back, the un-cleared cell, the next
    /// cell of the route, the present cell.
    pub fn upcoming(&self) -> Option<CellKey> {
        self.move_to_come().map(|(cell, _)| cell)
    }

    pub(super) fn move_to_come(&self) -> Option<(CellKey, Option<Reason>)> {
        let session = self.session.as_ref()?;
        if let Some(wish) = session.wish {
            return Some((wish, Some(Reason::Chosen)));
        }
        let visit = session.visit?;
        if (session.step_back_taken || self.plan.step_back == StepBack::ByItself)
            && let Some(back) = self.suggestion()
        {
            return Some((back, Some(Reason::Back)));
        }
        let done =
            |cell: CellKey| matches!(self.status(cell), CellStatus::Clear | CellStatus::Passed);
        if let Some(uncleared) = session.path.iter().find(|cell| !done(**cell)) {
            return Some((*uncleared, Some(Reason::Return)));
        }
        if !visit.freely
            && self.status(visit.cell) == CellStatus::Closed
            && let Some(open) = self.first_open()
        {
            return Some((open, Some(Reason::Return)));
        }
        // A cell is tried cold once and then play moves on. After a try that was not clean the
        // player may want to stay.
        let stays = self.cold_said() == Some(Mark::NotClean) && self.streak() < self.plan.needed();
        if ((self.plan.advance == Advance::ByItself && !stays) || session.advance_asked)
            && let Some(next) = self.named()
        {
            return Some((next, Some(Reason::Route)));
        }
        Some((visit.cell, None))
    }
}
