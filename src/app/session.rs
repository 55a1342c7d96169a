//! A session: the things of a day one after the other, each going over to the next by its result or
//! by its minutes, with a pause between them in which the next thing is shown. Two pedals are enough.

use crate::planning::{Item, SessionPart};
use crate::practice::{CellKey, Moment};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// The pause between two things, milliseconds: to breathe, read what comes and put the hands back.
/// Chosen.
const BREATH_MS: i64 = 8_000;

/// What came of a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Came {
    /// A cell that was due is held; the words name the day it comes again.
    Held(String),
    /// A cell that was due is not held; the words name the day it comes again.
    NotHeld(String),
    /// A cell that was due is still clean; the words name the day it comes again.
    StillClean(String),
    /// Cells came clear, by name.
    Climbed(Vec<String>),
    /// The goal of a homework file was reached.
    Reached(String),
    /// It was worked on; how many repetitions were clean, of how many that were marked.
    Worked {
        /// Clean.
        clean: u32,
        /// Marked.
        of: u32,
    },
    /// It ran to its end.
    Done,
    /// It was left out.
    LeftOut,
}

/// A part and what came of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Outcome {
    /// The part, in a few words.
    pub part: String,
    /// What came of it.
    pub came: Came,
    /// Where a climb went on to and did not get through: the cell in a few words, and what came of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beyond: Option<(String, Came)>,
}

/// Where a session stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// Before the next part, since a moment on the clock that never goes back.
    Between {
        /// Milliseconds.
        since_ms: i64,
    },
    /// The part runs.
    Going,
    /// Every part has run.
    Over,
}

/// A session as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// Its parts.
    pub(super) parts: Vec<SessionPart>,
    /// The part that runs or comes next, from 0.
    pub(super) at: usize,
    /// Where it stands.
    pub(super) stands: Stands,
    /// Since when its page is shown as it is.
    pub(super) shown_ms: i64,
    /// What came of the parts that are over.
    pub(super) outcomes: Vec<Outcome>,
    /// Minutes that it is to fill.
    pub(super) minutes: u32,
    /// How long it has run, milliseconds; without rests.
    pub(super) used_ms: i64,
    /// How long the present part has sounded, milliseconds.
    pub(super) spent_ms: i64,
    pub(super) last_ms: i64,
    pub(super) present: Present,
}

/// What has come of the present cell so far.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Present {
    /// Repetitions that were marked; what the marks are stands on the board.
    pub(super) marked: BTreeSet<(CellKey, u64)>,
    /// Cells that came clear, in order; whether they still are stands on the board.
    pub(super) climbed: Vec<CellKey>,
    pub(super) came: Option<Came>,
    /// The repetition that sounded when its minutes were over.
    pub(super) last: Option<u64>,
}

/// A session as it begins or goes on.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SessionPlan {
    /// Its parts.
    pub parts: Vec<SessionPart>,
    /// The part it goes on with, from 0.
    pub at: usize,
    /// What came of those before.
    pub outcomes: Vec<Outcome>,
    /// Minutes that it is to fill.
    pub minutes: u32,
    /// How long it has run already, milliseconds.
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

/// The fields, to be read; only this room changes them.
impl Session {
    /// Its parts.
    pub fn parts(&self) -> &[SessionPart] {
        &self.parts
    }

    /// The part that runs or comes next, from 0.
    pub fn at(&self) -> usize {
        self.at
    }

    /// Where it stands.
    pub fn stands(&self) -> Stands {
        self.stands
    }

    /// What came of the parts that are over.
    pub fn outcomes(&self) -> &[Outcome] {
        &self.outcomes
    }

    /// Minutes that it is to fill.
    pub fn minutes(&self) -> u32 {
        self.minutes
    }

    /// How long it has run, milliseconds; without rests.
    pub fn used_ms(&self) -> i64 {
        self.used_ms
    }

    /// How long the present part has sounded, milliseconds.
    pub fn spent_ms(&self) -> i64 {
        self.spent_ms
    }
}

impl Session {
    /// A session that begins with one of its parts, those before it over.
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

    /// The cell that is practised or comes next.
    pub(super) fn item(&self) -> Option<&Item> {
        match self.part()? {
            SessionPart::Cell(item) => Some(item),
            _ => None,
        }
    }

    /// Seconds until the next part begins by itself; none while one runs.
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

    /// Since when its page is shown as it is, milliseconds.
    pub(super) fn shown_ms(&self) -> i64 {
        self.shown_ms
    }

    /// The moment that was told last, milliseconds.
    pub fn now_ms(&self) -> i64 {
        self.last_ms
    }

    /// Milliseconds that the present part has left, at least 0.
    pub(super) fn left_ms(&self) -> i64 {
        let planned = self.part().map_or(0, SessionPart::minutes);
        (i64::from(planned) * 60_000 - self.spent_ms).max(0)
    }

    /// What the present part has left, in whole minutes, rounded up.
    pub fn minutes_left(&self) -> i64 {
        (self.left_ms() + 59_999) / 60_000
    }

    /// Whole minutes that it is still to fill.
    pub(super) fn minutes_unused(&self) -> u32 {
        let left = i64::from(self.minutes) * 60_000 - self.used_ms;
        u32::try_from(left.max(0) / 60_000).unwrap_or(0)
    }

    /// Minutes planned for what has not run yet.
    pub fn minutes_ahead(&self) -> u32 {
        minutes_ahead(&self.parts, self.at, self.spent_ms)
    }
}

/// A part in a few words: `Grip from D, half beats at 52`.
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
