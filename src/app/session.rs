//! A session: the parts of a day's practice in order. Each part ends by its result or with its
//! minutes, and a pause before the next part shows what comes. Two pedals are enough for all of it.

use crate::planning::{Item, SessionPart};
use crate::practice::{CellKey, Moment};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// The pause between two parts, in milliseconds: time to breathe, read what comes next and put the
/// hands back. Chosen.
const BREATH_MS: i64 = 8_000;

/// The result of a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Came {
    /// A cell that was due again passed its cold try. The words name the day on which it comes
    /// again.
    Held(String),
    /// A cell that was due again failed its cold try. The words name the day on which it comes
    /// again.
    NotHeld(String),
    /// A cell that was due again is still clean, by its first try of the day or by as many clean
    /// repetitions in a row as clear it. The words name the day on which it comes again.
    StillClean(String),
    /// These cells became clear; their names, in order.
    Climbed(Vec<String>),
    /// The goal of a homework file was reached.
    Reached(String),
    /// The cell was worked on without becoming clear.
    Worked {
        /// The number of clean repetitions.
        clean: u32,
        /// The number of marked repetitions.
        of: u32,
    },
    /// The part ran to its end.
    Done,
    /// The part was left out.
    LeftOut,
}

/// A part with its result.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outcome {
    /// The part, in a few words.
    pub part: String,
    /// The result of the part.
    pub came: Came,
    /// The cell that a climb reached beyond the part's own cell without clearing it, in a few
    /// words, with the result there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beyond: Option<(String, Came)>,
}

/// The state of a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// The pause before the next part.
    Between {
        /// When the pause began, in milliseconds of the monotonic clock.
        since_ms: i64,
    },
    /// A part runs.
    Going,
    /// Every part is over.
    Over,
}

/// A session, with its parts and their results.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// The session's parts, in order.
    pub(super) parts: Vec<SessionPart>,
    /// The part that runs or comes next, from 0.
    pub(super) at: usize,
    /// The session's state.
    pub(super) stands: Stands,
    /// When the session's page began to show what it shows now, in milliseconds.
    pub(super) shown_ms: i64,
    /// The results of the parts that are over, in order.
    pub(super) outcomes: Vec<Outcome>,
    /// The minutes that the session is to fill.
    pub(super) minutes: u32,
    /// How long the session has run, in milliseconds, without its rests.
    pub(super) used_ms: i64,
    /// How long the present part has sounded, in milliseconds.
    pub(super) spent_ms: i64,
    pub(super) last_ms: i64,
    pub(super) present: Present,
}

/// The results of the present part so far.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Present {
    /// The repetitions that were marked. The board knows each mark as it is now.
    pub(super) marked: BTreeSet<(CellKey, u64)>,
    /// The cells that became clear, in order. The board knows whether each still is.
    pub(super) climbed: Vec<CellKey>,
    pub(super) came: Option<Came>,
    /// The repetition that sounded when the part's minutes were over. The part ends after it.
    pub(super) last: Option<u64>,
}

/// A session as it begins or goes on.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SessionPlan {
    /// The session's parts, in order.
    pub parts: Vec<SessionPart>,
    /// The part to continue with, from 0.
    pub at: usize,
    /// The results of the parts before the one to continue with.
    pub outcomes: Vec<Outcome>,
    /// The minutes that the session is to fill.
    pub minutes: u32,
    /// How long the session has run already, in milliseconds.
    pub used_ms: i64,
    /// How long the part it goes on with has sounded already, milliseconds.
    pub spent_ms: i64,
    /// True where a session of this day was played to its end before.
    pub another: bool,
}

impl SessionPlan {
    /// True where it was begun and left.
    pub fn goes_on(&self) -> bool {
        self.at > 0 || self.used_ms > 0
    }

    /// Minutes planned for what has not run yet.
    pub fn minutes_ahead(&self) -> u32 {
        minutes_ahead(&self.parts, self.at, self.spent_ms)
    }
}

/// Minutes of the parts from one on, of which the first has sounded for some milliseconds already;
/// what is left of it counts as whole minutes.
fn minutes_ahead(parts: &[SessionPart], at: usize, spent_ms: i64) -> u32 {
    let ahead = parts.get(at..).unwrap_or_default();
    let spent = u32::try_from(spent_ms / 60_000).unwrap_or(0);
    let first = ahead.first().map_or(0, SessionPart::minutes);
    let all: u32 = ahead.iter().map(SessionPart::minutes).sum();
    all - spent.min(first)
}

/// Read access to the fields. Only this room changes them.
impl Session {
    /// The session's parts, in order.
    pub fn parts(&self) -> &[SessionPart] {
        &self.parts
    }

    /// The part that runs or comes next, from 0.
    pub fn at(&self) -> usize {
        self.at
    }

    /// The session's state.
    pub fn stands(&self) -> Stands {
        self.stands
    }

    /// The results of the parts that are over, in order.
    pub fn outcomes(&self) -> &[Outcome] {
        &self.outcomes
    }

    /// The minutes that the session is to fill.
    pub fn minutes(&self) -> u32 {
        self.minutes
    }

    /// How long the session has run, in milliseconds, without its rests.
    pub fn used_ms(&self) -> i64 {
        self.used_ms
    }

    /// How long the present part has sounded, milliseconds.
    pub fn spent_ms(&self) -> i64 {
        self.spent_ms
    }
}

impl Session {
    /// A session at the beginning of the part that the plan names; the parts before it are over.
    pub fn new(plan: SessionPlan, now: Moment) -> Self {
        let over = plan.at >= plan.parts.len();
        Self {
            parts: plan.parts,
            at: plan.at,
            stands: if over {
                Stands::Over
            } else {
                Stands::Between {
                    since_ms: now.heard_ms,
                }
            },
            shown_ms: now.heard_ms,
            outcomes: plan.outcomes,
            minutes: plan.minutes,
            used_ms: plan.used_ms,
            spent_ms: plan.spent_ms,
            last_ms: now.heard_ms,
            present: Present::default(),
        }
    }

    /// The part that runs or comes next.
    pub fn part(&self) -> Option<&SessionPart> {
        self.parts.get(self.at)
    }

    /// The cell of the present part; none where the part is no cell.
    pub(super) fn item(&self) -> Option<&Item> {
        match self.part()? {
            SessionPart::Cell(item) => Some(item),
            _ => None,
        }
    }

    /// Seconds until the next part begins by itself; none while a part runs.
    pub fn seconds_to_begin(&self, now_ms: i64) -> Option<i64> {
        let Stands::Between { since_ms } = self.stands else {
            return None;
        };
        let pause = match self.part() {
            Some(SessionPart::Rest(minutes)) => i64::from(*minutes) * 60_000,
            _ => BREATH_MS,
        };
        Some(((since_ms + pause - now_ms).max(0) + 999) / 1000)
    }

    /// When the session's page began to show what it shows now, in milliseconds.
    pub(super) fn shown_ms(&self) -> i64 {
        self.shown_ms
    }

    /// The moment of the last message, in milliseconds of the monotonic clock.
    pub fn now_ms(&self) -> i64 {
        self.last_ms
    }

    /// Milliseconds that the present part still has, at least 0.
    pub(super) fn left_ms(&self) -> i64 {
        let planned = self.part().map_or(0, SessionPart::minutes);
        (i64::from(planned) * 60_000 - self.spent_ms).max(0)
    }

    /// Minutes that the present part still has, rounded up to whole minutes.
    pub fn minutes_left(&self) -> i64 {
        (self.left_ms() + 59_999) / 60_000
    }

    /// Whole minutes that the session is still to fill.
    pub(super) fn minutes_unused(&self) -> u32 {
        let left = i64::from(self.minutes) * 60_000 - self.used_ms;
        u32::try_from(left.max(0) / 60_000).unwrap_or(0)
    }

    /// Planned minutes of the present part and all later parts.
    pub fn minutes_ahead(&self) -> u32 {
        minutes_ahead(&self.parts, self.at, self.spent_ms)
    }
}

/// A part in a few words, such as `Grip from D, half beats at 52`.
pub fn part_words(part: &SessionPart) -> String {
    match part {
        SessionPart::WarmUp(_) => "warm up the hands".to_owned(),
        SessionPart::Hear { title, .. } => format!("hear {title}: clean, or with a fault?"),
        SessionPart::Cell(item) => {
            format!("{}, {} at {}", item.title, item.stage, item.rung.spoken())
        }
        SessionPart::Rest(_) => "rest the hands".to_owned(),
    }
}
