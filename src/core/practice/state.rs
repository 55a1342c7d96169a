//! Practice as it stands: the board, and the session that runs.

use super::board::{Board, CellStatus};
use super::entry::{Entry, Mark, RecordId};
use super::event::News;
use super::history::{History, Order, Tally};
use super::plan::{Advance, CellKey, Plan, Route, StepBack};
use super::session::{Phase, Reason, Session, Visit};

/// How many not-clean repetitions in a row suggest a step back.
pub const NOT_CLEAN_IN_A_ROW: u32 = 3;

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
    let mut state = State {
        plan,
        history: History::default(),
        board: Board::default(),
        session: None,
        last_utc_us: i64::MIN,
        news: Vec::new(),
    };
    for entry in entries {
        state.history.add(Order::of(entry), &entry.record);
        state.last_utc_us = state.last_utc_us.max(entry.record.utc_us);
    }
    state.board = Board::of(&state.plan, &state.history);
    state
}

/// What of a plan's music the journal does not know although it knows the drill: the places of
/// the stages, from 0, that were edited or are new. Empty for a drill that was never played.
pub fn edited(plan: &Plan, played: &[super::StagePrint]) -> Vec<usize> {
    let gone = played.iter().any(|print| !plan.stages.contains(print));
    plan.stages
        .iter()
        .enumerate()
        .filter(|(_, print)| gone && !played.contains(print))
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

    /// What any cell's marks come to.
    pub fn tally(&self, cell: CellKey) -> Tally {
        self.history.tally(cell)
    }

    /// Clean ones in a row in the cell now played.
    pub fn streak(&self) -> u32 {
        self.cell().map_or(0, |cell| self.tally(cell).streak)
    }

    /// The last mark of this session that was not taken back.
    pub fn last_mark(&self) -> Option<RecordId> {
        let session = self.session.as_ref()?;
        let plan = &self.plan;
        let known = |cell: CellKey| plan.stage_index(cell.stage).is_some();
        let (_, mark) = self.history.last_standing(session.id, known)?;
        (mark.session == session.id).then_some(mark)
    }

    /// The number a repetition that begins now must have at least.
    pub fn next_repetition(&self) -> u64 {
        self.session
            .as_ref()
            .map_or(0, |session| session.next_repetition)
    }

    /// The last repetition that came to its closing note, its cell, and the mark that counts.
    pub fn last_repetition(&self) -> Option<(u64, CellKey, Option<Mark>)> {
        let session = self.session.as_ref()?;
        let last = session.closed.last()?;
        let told = self.history.mark_of(last.cell, session.id, last.id);
        let mark = told.map(|line| line.mark);
        Some((last.id, last.cell, mark))
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

    /// The next cell of the route, once the cell now played is cleared; nothing before that and
    /// when the board is complete.
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
        if visit.was_clear && !again {
            return None;
        }
        self.next_open_after(visit.cell)
    }

    /// The cell behind this one on the route when it is open, else the first open cell of the
    /// route: what was left out below comes before what lies further on.
    fn next_open_after(&self, cell: CellKey) -> Option<CellKey> {
        let route = self.plan.in_route_order();
        let place = |key: &CellKey| {
            let stage = self.plan.stage_index(key.stage);
            match self.plan.route {
                Route::Across => (Some(key.tempo), stage, None),
                Route::Up => (None, stage, Some(key.tempo)),
            }
        };
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
        if (self.plan.advance == Advance::ByItself || session.advance_asked)
            && let Some(next) = self.named()
        {
            return Some((next, Some(Reason::Route)));
        }
        Some((visit.cell, None))
    }
}
