//! Practice as it stands: the board, and the session that runs.

use super::board::{Board, CellStatus};
use super::cell::CellKey;
use super::cold::{Candidate, ColdTries, next_cold};
use super::entry::{Entry, Mark, Moment, RecordId, local_day};
use super::event::News;
use super::history::{History, Order, Tally};
use super::plan::{Advance, Plan, StepBack};
use super::session::{Phase, Reason, Session, Visit};
use std::cmp::Reverse;

/// How many not-clean repetitions in a row suggest a step back.
pub const NOT_CLEAN_IN_A_ROW: u32 = 3;

/// Anything played within this time before a repetition is a run-up to it, also over midnight,
/// milliseconds. Three hours, chosen: fingers are cold again after a night and not after a pause.
const RUN_UP_MS: i64 = 3 * 3600 * 1000;

/// Practice as it stands. Changed only by [`step`](super::step); built from a journal by
/// [`replay`].
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    pub(super) plan: Plan,
    pub(super) history: History,
    pub(super) board: Board,
    pub(super) session: Option<Session>,
    pub(super) last_utc_us: i64,
    pub(super) news: Vec<News>,
}

/// The state that a journal's entries come to, in whatever order they are given: the board is
/// the fold of the marks that were not taken back. No session runs.
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

/// As [`replay`], but it consumes the entries: their memory is freed while they are folded, so that
/// entries and history never take their whole room at one time.
pub fn replay_all(plan: Plan, mut entries: Vec<Entry>) -> State {
    const GIVEN_BACK: usize = 4096;
    // sorted backwards, so that the next entry is taken off the end
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
    /// Nothing was marked yet.
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

/// The places, from 0, of stages that were edited or are new: the journal knows the drill and not
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

    /// What the last step has to say.
    pub fn news(&self) -> &[News] {
        &self.news
    }

    /// Whether sound runs; still without a session.
    pub fn phase(&self) -> Phase {
        self.session
            .as_ref()
            .map_or(Phase::Still, |session| session.phase)
    }

    /// The session, when one runs.
    pub fn session(&self) -> Option<uuid::Uuid> {
        self.session.as_ref().map(|session| session.id)
    }

    /// The cell that is played now.
    pub fn cell(&self) -> Option<CellKey> {
        self.visit().map(|visit| visit.cell)
    }

    /// The cell now played is closed and was chosen freely.
    pub fn is_free_play(&self) -> bool {
        self.visit()
            .is_some_and(|visit| visit.freely && self.status(visit.cell) == CellStatus::Closed)
    }

    /// The status of any cell, also between rungs; closed for a stage the plan does not have.
    pub fn status(&self, cell: CellKey) -> CellStatus {
        self.board.status(&self.plan, cell)
    }

    /// The counts of any cell's marks.
    pub fn tally(&self, cell: CellKey) -> Tally {
        self.history.tally(cell)
    }

    /// Clean repetitions in a row in the cell now played; where the cell was clear already, only
    /// those of this stay.
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

    /// The last mark of this session that was not taken back.
    pub fn last_mark(&self) -> Option<RecordId> {
        let session = self.session.as_ref()?;
        let plan = &self.plan;
        let known = |cell: CellKey| plan.stage_of(cell).is_some();
        let (_, mark) = self.history.last_standing(session.id, known)?;
        (mark.session == session.id).then_some(mark)
    }

    /// The number a repetition that begins now must have at least.
    pub fn next_repetition(&self) -> u64 {
        self.session
            .as_ref()
            .map_or(0, |session| session.next_repetition)
    }

    /// True where a press would mark a repetition that was heard and that nobody has marked yet.
    pub fn awaits_a_mark(&self) -> bool {
        let Some(session) = &self.session else {
            return false;
        };
        let last = session.closed_by(i64::MAX);
        last.is_some_and(|one| !one.late && self.mark_in(one.cell, one.id).is_none())
    }

    /// The mark that counts of a repetition of this session.
    pub fn mark_in(&self, cell: CellKey, repetition: u64) -> Option<Mark> {
        let session = self.session.as_ref()?;
        let told = self.history.mark_of(cell, session.id, repetition);
        told.map(|line| line.mark)
    }

    /// True for a repetition of this session that was played by heart.
    pub fn was_by_heart(&self, cell: CellKey, repetition: u64) -> bool {
        self.session
            .as_ref()
            .is_some_and(|session| self.history.was_by_heart(cell, session.id, repetition))
    }

    /// The last repetition that came to its closing note, its cell, and the mark that counts.
    pub fn last_repetition(&self) -> Option<(u64, CellKey, Option<Mark>)> {
        let session = self.session.as_ref()?;
        let last = session.closed.last()?;
        Some((last.id, last.cell, self.mark_in(last.cell, last.id)))
    }

    pub(super) fn visit(&self) -> Option<&Visit> {
        self.session.as_ref()?.visit.as_ref()
    }

    /// The cell that is suggested after three in a row that were not clean, in this stay.
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

    /// The easier cell that is offered where play has stopped after three not clean in a row;
    /// nothing in the first cell.
    pub fn easier(&self) -> Option<CellKey> {
        self.plan.step_back_from(self.visit()?.cell)
    }

    /// True when play is to stop at the next bar line: three in a row were not clean since it last
    /// stopped, and nothing leads away from the cell.
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

    /// The player's own calendar day, by the records' time, which never goes back.
    fn day(&self, at: Moment) -> i64 {
        local_day(self.last_utc_us.max(at.utc_us), at.offset_s)
    }

    /// True before the first repetition of the drill on a day has come to its closing note.
    pub(super) fn is_first(&self, at: Moment) -> bool {
        !self.history.was_tried_on(self.day(at), &self.plan.prints())
    }

    /// True when something of the drill was played on this day or just before.
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

    /// The cell of the cold try that sounds or that the next repetition is: it was cleared on an
    /// earlier day, and nothing of the drill has been played today.
    pub fn cold_try(&self, at: Moment) -> Option<CellKey> {
        let session = self.session.as_ref()?;
        match session.sounding {
            Some(sounding) => sounding.cold.then_some(sounding.cell),
            None => self.upcoming().filter(|cell| self.would_be_cold(*cell, at)),
        }
    }

    /// The cell to try cold on a day before anything else of the drill is played.
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

    /// What was said of the cold try of this stay.
    fn cold_said(&self) -> Option<Mark> {
        let session = self.session.as_ref()?;
        let (repetition, cell) = session.cold?;
        let visit = session.visit.filter(|visit| visit.cell == cell)?;
        let told = self.history.mark_of(cell, session.id, repetition);
        told.filter(|_| repetition >= visit.first)
            .map(|line| line.mark)
    }

    /// The next cell of the route, once the cell now played is cleared; nothing before that and
    /// when the board is complete. In a cell that was clear already, after a cold try or so many
    /// clean in a row as clear one.
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

    /// The cell behind this one on the route when it is open, else the first open cell of the
    /// route: what was left out below comes before what lies further on.
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

    /// The cell that play is in from the next boundary of a repetition on: what the player
    /// chose, else a step back that was taken, else the cell that was un-cleared, else the next
    /// of the route, else the one it is in.
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
        // a cell is tried cold once and then play moves on, but after a try that was not clean the
        // player may want to stay
        let stays = self.cold_said() == Some(Mark::NotClean) && self.streak() < self.plan.needed();
        if ((self.plan.advance == Advance::ByItself && !stays) || session.advance_asked)
            && let Some(next) = self.named()
        {
            return Some((next, Some(Reason::Route)));
        }
        Some((visit.cell, None))
    }
}
