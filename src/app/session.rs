//! A session: the things of a day one after the other, each going over to the next by its result or
//! by its minutes, with a pause between them in which the next thing is shown. Two pedals are enough.

use super::effect::Effect;
use super::model::{Model, Page};
use super::notice::Notice;
use super::playing::play;
use super::practising::Practising;
use super::update::leave_drill;
use crate::planning::{Item, SessionPart, Why};
use crate::practice::{CellKey, CellStatus, Mark, Moment, News};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// The pause between two things, milliseconds: to breathe, read what comes and put the hands back.
/// Chosen.
const BREATH_MS: i64 = 8_000;

/// What came of a part.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Came {
    /// It holds, said with the day it comes again.
    Held(String),
    /// It did not hold, said with the day it comes again.
    NotHeld(String),
    /// It was due and is clean still, said with the day it comes again.
    StillClean(String),
    /// Cells came clear, by name.
    Climbed(Vec<String>),
    /// The goal of a homework file was reached.
    Reached(String),
    /// It was worked on: clean ones, and all that were marked.
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
    pub parts: Vec<SessionPart>,
    /// The part that runs or comes next, from 0.
    pub at: usize,
    /// Where it stands.
    pub stands: Stands,
    /// Since when its page is shown as it is.
    shown_ms: i64,
    /// What came of the parts that are over.
    pub outcomes: Vec<Outcome>,
    /// Minutes that it is to fill.
    pub minutes: u32,
    /// How long it has run, milliseconds; without rests.
    pub used_ms: i64,
    /// How long the present part has sounded, milliseconds.
    spent_ms: i64,
    last_ms: i64,
    present: Present,
}

/// What the present cell has come to.
#[derive(Debug, Clone, Default, PartialEq)]
struct Present {
    /// Repetitions that were marked; what the marks are stands on the board.
    marked: BTreeSet<(CellKey, u64)>,
    /// Cells that came clear, in order; whether they still are stands on the board.
    climbed: Vec<CellKey>,
    came: Option<Came>,
    /// The repetition that sounded when its minutes were over.
    last: Option<u64>,
}

/// A session as it begins or goes on.
#[derive(Debug, Clone, PartialEq)]
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
            spent_ms: 0,
            last_ms: now.heard_ms,
            present: Present::default(),
        }
    }

    /// The part that runs or comes next.
    pub fn part(&self) -> Option<&SessionPart> {
        self.parts.get(self.at)
    }

    /// The cell that is practised or comes next.
    fn item(&self) -> Option<&Item> {
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
    fn left_ms(&self) -> i64 {
        let planned = self.part().map_or(0, SessionPart::minutes);
        (i64::from(planned) * 60_000 - self.spent_ms).max(0)
    }

    /// The same in whole minutes, rounded up.
    pub fn minutes_left(&self) -> i64 {
        (self.left_ms() + 59_999) / 60_000
    }

    /// Whole minutes that it is still to fill.
    fn minutes_unused(&self) -> u32 {
        let left = i64::from(self.minutes) * 60_000 - self.used_ms;
        u32::try_from(left.max(0) / 60_000).unwrap_or(0)
    }

    /// Minutes planned for what has not run yet.
    pub fn minutes_ahead(&self) -> u32 {
        let ahead = self.parts.get(self.at..).unwrap_or_default();
        ahead.iter().map(SessionPart::minutes).sum()
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

/// Begins the part that comes next.
pub(super) fn begin(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    let Some(session) = &mut model.session else {
        return;
    };
    let Some(part) = session.part().cloned() else {
        return;
    };
    session.stands = Stands::Going;
    session.spent_ms = 0;
    session.last_ms = at.heard_ms;
    session.present = Present::default();
    model.notice = None;
    match part {
        SessionPart::WarmUp(minutes) => effects.push(Effect::WarmUp(minutes)),
        SessionPart::Hear { open, .. } => effects.push(Effect::Hear(open)),
        SessionPart::Cell(item) => effects.push(Effect::OpenAt {
            name: item.open,
            task: item.task,
            stage: item.stage_number.saturating_sub(1),
            rung: item.rung,
        }),
        SessionPart::Rest(_) => go_on(model, at, Came::Done, effects),
    }
}

/// A drill of the session was opened: it plays by itself.
pub(super) fn opened(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    if is_going(model) {
        let due = model
            .session
            .as_ref()
            .and_then(Session::item)
            .is_some_and(|item| item.kind == Why::Again);
        if let Some(practising) = &mut model.practising {
            practising.due = due;
        }
        let said = model.notice.take();
        play(model, at, effects);
        model.notice = said;
    }
}

/// A part that cannot be opened is left out, and said so.
pub(super) fn not_opened(model: &mut Model, at: Moment, why: String, effects: &mut Vec<Effect>) {
    if is_going(model) {
        go_on(model, at, Came::LeftOut, effects);
        model.notice = Some(Notice::urgent(why));
    }
}

/// What ran beside practice is over: the warm-up, or hearing a movement.
pub(super) fn aside_over(
    model: &mut Model,
    at: Moment,
    trouble: Option<String>,
    effects: &mut Vec<Effect>,
) {
    let Some(session) = model
        .session
        .as_mut()
        .filter(|session| session.stands == Stands::Going)
    else {
        return;
    };
    // nobody told how the time went by meanwhile
    let planned = session.part().map_or(0, SessionPart::minutes);
    let passed = at.heard_ms.saturating_sub(session.last_ms).max(0);
    session.used_ms += passed.min(i64::from(planned) * 60_000);
    session.last_ms = at.heard_ms;
    let came = if trouble.is_some() {
        Came::LeftOut
    } else {
        Came::Done
    };
    go_on(model, at, came, effects);
    model.notice = trouble.map(Notice::urgent);
}

fn is_going(model: &Model) -> bool {
    model
        .session
        .as_ref()
        .is_some_and(|session| session.stands == Stands::Going)
}

/// The player leaves the part out, before it or in it.
pub(super) fn leave_out(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    let Some(session) = &model.session else {
        return;
    };
    match session.stands {
        Stands::Going => {
            let came = result(session, model.practising.as_ref());
            go_on(model, at, came, effects);
        }
        Stands::Between { .. } => go_on(model, at, Came::LeftOut, effects),
        Stands::Over => {}
    }
}

/// What the present cell has come to by what stands on the board now: a mark that was taken back is
/// none.
fn result(session: &Session, practising: Option<&Practising>) -> Came {
    let present = &session.present;
    if let Some(came) = &present.came {
        return came.clone();
    }
    let Some(practising) = practising else {
        return Came::LeftOut;
    };
    let climbed = climbed(present, practising);
    if !climbed.is_empty() {
        return Came::Climbed(climbed);
    }
    let standing =
        |(cell, repetition): &(CellKey, u64)| practising.state.mark_in(*cell, *repetition);
    let marks: Vec<Mark> = present.marked.iter().filter_map(standing).collect();
    let clean = marks.iter().filter(|mark| **mark == Mark::Clean).count();
    Came::Worked {
        clean: clean as u32,
        of: marks.len() as u32,
    }
}

/// The names of the cells that came clear and still are.
fn climbed(present: &Present, practising: &Practising) -> Vec<String> {
    let board = practising.state.board();
    let is_clear = |key: &&CellKey| {
        board
            .cells()
            .any(|cell| cell.key == **key && cell.status == CellStatus::Clear)
    };
    let clear = present.climbed.iter().filter(is_clear);
    clear.map(|key| practising.cell_name(*key)).collect()
}

/// The present part is over: the pause before the next, or the end.
fn go_on(model: &mut Model, at: Moment, came: Came, effects: &mut Vec<Effect>) {
    let said = model.notice.take();
    drop_what_is_clear(model);
    leave_drill(model, at, effects);
    let Some(session) = &mut model.session else {
        return;
    };
    if let Some(part) = session.parts.get(session.at) {
        session.outcomes.push(Outcome {
            part: part_words(part),
            came,
        });
    }
    session.at += 1;
    session.shown_ms = at.heard_ms;
    session.last_ms = at.heard_ms;
    session.stands = if session.at < session.parts.len() {
        Stands::Between {
            since_ms: at.heard_ms,
        }
    } else {
        Stands::Over
    };
    let unused = session.minutes_unused();
    if session.stands == Stands::Over && unused >= LEAST_MORE {
        effects.push(Effect::MoreOfToday(unused));
    }
    effects.push(Effect::KeepSession(Box::new(session.clone())));
    model.page = Page::Session;
    model.notice = said;
}

/// Fewer minutes that are left over are not filled any more. Chosen.
const LEAST_MORE: u32 = 2;

/// What else the day has for the minutes that are left, because parts were answered before theirs
/// were over. What was answered or left out does not come twice.
pub(super) fn more(
    model: &mut Model,
    at: Moment,
    parts: Vec<SessionPart>,
    effects: &mut Vec<Effect>,
) {
    let Some(session) = &mut model.session else {
        return;
    };
    let same = |one: &Item, other: &Item| {
        (&one.open, &one.task, one.stage_number, one.rung)
            == (&other.open, &other.task, other.stage_number, other.rung)
    };
    // what was worked on and is not there yet may come again
    let begun = |at: usize| {
        let came = session.outcomes.get(at).map(|outcome| &outcome.came);
        matches!(came, Some(Came::Worked { of: 1.., .. }))
    };
    let known = |part: &SessionPart| {
        session
            .parts
            .iter()
            .enumerate()
            .any(|(at, before)| match (part, before) {
                (SessionPart::Cell(one), SessionPart::Cell(other)) => {
                    same(one, other) && !begun(at)
                }
                (one, other) => one == other,
            })
    };
    let fresh: Vec<SessionPart> = parts.into_iter().filter(|part| !known(part)).collect();
    if fresh
        .iter()
        .all(|part| !matches!(part, SessionPart::Cell(_)))
    {
        return;
    }
    session.parts.extend(fresh);
    session.shown_ms = at.heard_ms;
    session.stands = Stands::Between {
        since_ms: at.heard_ms,
    };
    effects.push(Effect::KeepSession(Box::new(session.clone())));
}

/// A climb goes on beyond the cell it began in: what is to come of the same drill and became clear
/// meanwhile is not played again.
fn drop_what_is_clear(model: &mut Model) {
    let (Some(session), Some(practising)) = (&mut model.session, &model.practising) else {
        return;
    };
    let Some(open) = session.item().map(|item| item.open.clone()) else {
        return;
    };
    let stages = &practising.state.plan().stages;
    let is_clear = |item: &Item| {
        let stage = stages.get(item.stage_number.saturating_sub(1));
        stage.is_some_and(|stage| {
            let cell = CellKey {
                stage: stage.print,
                rung: item.rung,
            };
            practising.state.status(cell) == CellStatus::Clear
        })
    };
    let climbs = |item: &Item| matches!(item.kind, Why::New | Why::Climbing);
    let done = |part: &SessionPart| matches!(part, SessionPart::Cell(item) if item.open == open && climbs(item) && is_clear(item));
    let mut number = 0;
    let present = session.at;
    session.parts.retain(|part| {
        let stays = number <= present || !done(part);
        number += 1;
        stays
    });
}

/// News of the board, right after they came: what they mean for the present part.
pub(super) fn noted(model: &mut Model, at: Moment) {
    if !is_going(model) {
        return;
    }
    let (Some(session), Some(practising)) = (&mut model.session, &mut model.practising) else {
        return;
    };
    let Some(item) = session.item().cloned() else {
        return;
    };
    let first = session.present.marked.is_empty();
    let marked = |news: &News| matches!(news, News::Marked { .. });
    practising.due &= !practising.state.news().iter().any(marked);
    let needed = practising.state.plan().needed();
    for news in practising.state.news() {
        match news {
            News::Marked {
                mark,
                cell,
                repetition,
                ..
            } => {
                session.present.marked.insert((*cell, *repetition));
                // What is due again is answered by its first try, else by as many as clear it.
                let answers = first || practising.state.streak() >= needed;
                if item.kind == Why::Again && *mark == Mark::Clean && answers {
                    let words = practising.comes_again_words(*cell, *mark, at, &model.options.rule);
                    session.present.came = Some(Came::StillClean(words));
                } else if item.kind == Why::Again && first {
                    model.notice = Some(Notice::plain(format!(
                        "not clean: {needed} in a row hold it, else it {}",
                        practising.comes_again_words(*cell, *mark, at, &model.options.rule)
                    )));
                }
            }
            News::ColdTry { mark, cell } => {
                let words = practising.comes_again_words(*cell, *mark, at, &model.options.rule);
                session.present.came = Some(match mark {
                    Mark::Clean => Came::Held(words),
                    Mark::NotClean => Came::NotHeld(words),
                });
            }
            News::Cleared(cell) => {
                session.present.climbed.push(*cell);
                if let Some(file) = practising.goal_cleared() {
                    session.present.came = Some(Came::Reached(file));
                }
            }
            News::Complete => {
                let climbed = climbed(&session.present, practising);
                session.present.came.get_or_insert(Came::Climbed(climbed));
            }
            _ => {}
        }
    }
}

/// What homework asks was reached in the part that runs.
pub(super) fn reached(model: &mut Model, file: &str) {
    if let Some(session) = &mut model.session {
        session.present.came = Some(Came::Reached(file.to_owned()));
    }
}

/// After each message: time that sounds goes by, and a part that is answered or whose minutes are
/// over goes over to the next. A repetition that is still to be marked is not cut.
pub(super) fn follow(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    let sounding = model.is_sounding();
    let playing = model.is_moving();
    let by_ear = model.options.by_ear;
    let Some(session) = &mut model.session else {
        return;
    };
    let passed = at.heard_ms.saturating_sub(session.last_ms).max(0);
    session.last_ms = session.last_ms.max(at.heard_ms);
    let rests = matches!(session.part(), Some(SessionPart::Rest(_)));
    if session.stands != Stands::Over && !rests {
        session.used_ms += passed.min(LONGEST_STEP_MS);
    }
    match session.stands {
        Stands::Over => {}
        Stands::Between { .. } => {
            if session.seconds_to_begin(at.heard_ms) == Some(0) && model.over.is_none() {
                begin(model, at, effects);
            }
        }
        Stands::Going => {
            let Some(practising) = &model.practising else {
                return;
            };
            if sounding {
                session.spent_ms += passed.min(LONGEST_STEP_MS);
            }
            if let Some(came) = session.present.came.clone() {
                go_on(model, at, came, effects);
                return;
            }
            if session.left_ms() > 0 {
                return;
            }
            let coming = practising.state.next_repetition();
            let last = *session.present.last.get_or_insert(coming);
            // The ear says what it heard a moment after the end, when the next one sounds already.
            let last_mark = practising
                .state
                .last_repetition()
                .and_then(|(_, _, mark)| mark);
            let waits = by_ear && last_mark.is_none() && coming == last + 1;
            if !playing || (coming > last && !waits) {
                let came = result(session, Some(practising));
                go_on(model, at, came, effects);
            }
        }
    }
}

/// Between two messages of something that sounds lie fractions of a second: a longer gap is a lid
/// that was closed, and not practice.
const LONGEST_STEP_MS: i64 = 2_000;
