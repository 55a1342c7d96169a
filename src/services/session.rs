//! Makes a session of the day's plan, and stores where it was interrupted.

use super::{Failure, files, folders, homework, open, output, plan, settings};
use crate::app::{Message, Outcome as PartOutcome, Session, SessionPlan};
use crate::planning::{
    Digest, Due, Item, Known, Rule, SessionPart, is_newcomer, session, today, warm_minutes,
};
use crate::settings::{Settings, keys};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::path::PathBuf;

/// The values from which a session is composed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Asked {
    /// The rule by which the day is planned.
    pub(crate) rule: Rule,
    /// The length of the session in minutes.
    pub(crate) minutes: u32,
    /// True where the player named them: a session of others does not go on then.
    named: bool,
    /// Minutes of practice before a rest; 0 for no rests.
    pub(crate) rest_after: u32,
}

impl Asked {
    /// The values of the settings, with the number of minutes that was asked for.
    pub(crate) fn new(own: &Settings, minutes: Option<u32>) -> Self {
        let rule = settings::rule(own);
        let rests = own.switch(keys::CARE_REST);
        Self {
            minutes: minutes.unwrap_or(rule.minutes),
            named: minutes.is_some(),
            rule,
            rest_after: if rests {
                own.number(keys::CARE_REST_AFTER) as u32
            } else {
                0
            },
        }
    }
}

/// The state of a session as it is stored in its file.
#[derive(Debug, Serialize, Deserialize)]
struct Kept {
    date: Date,
    minutes: u32,
    parts: Vec<SessionPart>,
    at: usize,
    outcomes: Vec<PartOutcome>,
    #[serde(default)]
    used_ms: i64,
    #[serde(default)]
    spent_ms: i64,
}

fn file() -> Result<PathBuf, Failure> {
    folders::data().map(|folder| folder.join("session.json"))
}

/// The session that was played or left last, where it is of this day.
fn of_today() -> Option<Kept> {
    let bytes = files::read_bytes(&file().ok()?, LARGEST).ok()?;
    let kept: Kept = serde_json::from_slice(&bytes).ok()?;
    (kept.date == plan::date()).then_some(kept)
}

/// The largest session file that is read, in bytes. No session has as many as a hundred parts.
const LARGEST: usize = 256 * 1024;

/// Keeps where a session stands. A disk that takes nothing costs the place and not the session.
pub(crate) fn keep(session: &Session) {
    let kept = Kept {
        date: plan::date(),
        minutes: session.minutes(),
        parts: session.parts().to_vec(),
        at: session.at(),
        outcomes: session.outcomes().to_vec(),
        used_ms: session.used_ms(),
        spent_ms: session.spent_ms(),
    };
    if let (Ok(file), Ok(text)) = (file(), serde_json::to_string(&kept)) {
        let _ = output::write_bytes(&file, true, text.as_bytes());
    }
}

/// Today's session: the interrupted one, or else one composed from the known drills.
pub(crate) fn begin(digest: &Digest, known: &[Known], due: &[Due], asked: &Asked) -> SessionPlan {
    let kept = of_today();
    let another = kept
        .as_ref()
        .is_some_and(|kept| kept.at >= kept.parts.len());
    if let Some(kept) = kept {
        let plan = SessionPlan {
            parts: kept.parts,
            at: kept.at,
            outcomes: kept.outcomes,
            minutes: kept.minutes,
            used_ms: kept.used_ms,
            spent_ms: kept.spent_ms,
            another: false,
        };
        let wanted = !asked.named || plan.minutes == asked.minutes;
        if !another && plan.goes_on() && wanted {
            return plan;
        }
    }
    SessionPlan {
        parts: compose(digest, known, due, asked),
        minutes: asked.minutes,
        another,
        ..SessionPlan::default()
    }
}

/// All other parts of the day, for the remaining minutes of a session. The session takes the parts
/// that it has not had and that fit. New cells are included only for a player who has never cleared
/// a cell, because any other session has had its new cells already.
pub(crate) fn more(digest: &Digest, asked: &Asked) -> Message {
    let rule = Rule {
        minutes: WHOLE_DAY,
        new: if is_newcomer(digest) {
            asked.rule.new
        } else {
            0
        },
        ..asked.rule
    };
    let due = homework::open_tasks(digest);
    let items = today(digest, &plan::all_known(), &due, plan::date(), &rule);
    Message::MoreOfToday(session(items, 0, 0, |_| false))
}

/// The most minutes that can be asked for.
const WHOLE_DAY: u32 = 600;

/// The parts of today's session. Where there is nothing to practise there is no warm-up either.
fn compose(digest: &Digest, known: &[Known], due: &[Due], asked: &Asked) -> Vec<SessionPart> {
    let rule = Rule {
        minutes: asked
            .minutes
            .saturating_sub(warm_minutes(asked.minutes))
            .max(1),
        ..asked.rule
    };
    let items = today(digest, known, due, plan::date(), &rule);
    if items.is_empty() {
        return Vec::new();
    }
    session(items, asked.minutes, asked.rest_after, is_heard_first)
}

/// True where a part is a movement that is new to the player. It is heard clean and with a fault
/// before it is played.
pub(crate) fn is_heard_first(item: &Item) -> bool {
    let has_movement = || open::open(&item.open).is_ok_and(|one| one.drill.movement.is_some());
    item.kind == crate::planning::Why::New && has_movement()
}
