//! The course of a session from part to part. A part ends by its result, when its minutes are over,
//! or by a pedal.

use super::effect::Effect;
use super::leaving::{cell_of, leave, tell_begun};
use super::model::{Model, Page};
use super::notice::Notice;
use super::noting::{climbed, is_going};
use super::playing::play;
use super::practising::Practising;
use super::session::{Came, Outcome, Present, Session, Stands, part_words};
use super::stepping::leave_drill;
use crate::planning::{Item, SessionPart, Why};
use crate::practice::{CellKey, CellStatus, Mark, Moment};

/// Starts the part that is next in the session.
pub(super) fn begin(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    let Some(session) = &mut model.session else {
        return;
    };
    let Some(part) = session.part().cloned() else {
        return;
    };
    session.stands = Stands::Going;
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

/// A drill of the running session was opened, so it starts to play by itself.
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

/// A part whose drill cannot be opened is left out, and the player is told why.
pub(super) fn not_opened(model: &mut Model, at: Moment, why: String, effects: &mut Vec<Effect>) {
    if is_going(model) {
        go_on(model, at, Came::LeftOut, effects);
        model.notice = Some(Notice::urgent(why));
    }
}

/// Ends a part that ran on its own page beside practice: a warm-up, or listening to a movement.
pub(super) fn aside_over(
    model: &mut Model,
    at: Moment,
    left: bool,
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
    // no messages came during that page, so its time counts, up to the planned minutes
    let planned = session.part().map_or(0, SessionPart::minutes);
    let passed = at.heard_ms.saturating_sub(session.last_ms).max(0);
    session.used_ms += passed.min(i64::from(planned) * 60_000);
    session.last_ms = at.heard_ms;
    if left {
        // it goes on with the part that was left
        leave(model, at, effects);
        return;
    }
    let came = match trouble {
        Some(_) => Came::LeftOut,
        None => Came::Done,
    };
    go_on(model, at, came, effects);
    model.notice = trouble.map(Notice::urgent);
}

/// Leaves a part out at the player's wish, before it has begun or while it runs.
pub(super) fn leave_out(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    let Some(session) = &mut model.session else {
        return;
    };
    // a session becomes shorter by what its player leaves out: its minutes are not filled anew
    session.used_ms += session.left_ms();
    match session.stands {
        Stands::Going => {
            let came = result(session, model.practising.as_ref());
            go_on(model, at, came, effects);
        }
        Stands::Between { .. } => go_on(model, at, Came::LeftOut, effects),
        Stands::Over => {}
    }
}

/// The result of the present part. It reads the board as it is now, so that a mark that was taken
/// back does not count.
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
    worked(present, practising, |_| true)
}

/// Counts the marked repetitions of the cells for which `counts` is true, and how many of them were
/// clean.
fn worked(present: &Present, practising: &Practising, counts: impl Fn(CellKey) -> bool) -> Came {
    let marks: Vec<Mark> = present
        .marked
        .iter()
        .filter(|(cell, _)| counts(*cell))
        .filter_map(|(cell, repetition)| practising.state.mark_in(*cell, *repetition))
        .collect();
    let clean = marks.iter().filter(|mark| **mark == Mark::Clean).count();
    Came::Worked {
        clean: clean as u32,
        of: marks.len() as u32,
    }
}

/// The cell that the present part's climb has reached beyond its own cell, with the result there.
/// None where that cell has no mark yet or is clear already.
fn beyond(session: &Session, practising: &Practising) -> Option<(String, Came)> {
    let item = session.item()?;
    let cell = practising.cell()?;
    let own = practising.stage_of(cell) == Some(item.stage_number.saturating_sub(1))
        && cell.rung == item.rung;
    if own || practising.state.status(cell) == CellStatus::Clear {
        return None;
    }
    let came = worked(&session.present, practising, |other| other == cell);
    let words = format!("{}, {}", item.title, practising.cell_name(cell));
    (!matches!(came, Came::Worked { of: 0, .. })).then_some((words, came))
}

/// Ends the present part. The pause before the next part begins, or the session is over.
fn go_on(model: &mut Model, at: Moment, came: Came, effects: &mut Vec<Effect>) {
    let said = model.notice.take();
    drop_what_is_clear(model);
    let both = model.session.as_ref().zip(model.practising.as_ref());
    let beyond = both.and_then(|(session, practising)| beyond(session, practising));
    leave_drill(model, at, effects);
    let Some(session) = &mut model.session else {
        return;
    };
    if let Some(part) = session.parts.get(session.at) {
        session.outcomes.push(Outcome {
            part: part_words(part),
            came,
            beyond,
        });
    }
    session.at += 1;
    session.spent_ms = 0;
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
        effects.push(Effect::MoreOfToday);
    }
    effects.push(Effect::KeepSession(Box::new(session.clone())));
    model.page = Page::Session;
    model.notice = said;
}

/// Fewer remaining minutes than this are not filled with another part. Chosen.
const LEAST_MORE: u32 = 2;

/// Adds those parts of the day's plan that fit the minutes left over, because parts were over early.
/// Parts that were played or left out do not come twice.
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
    // a part that was worked on without reaching its goal may come again
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
    let mut left = session.minutes_unused();
    let mut fresh = Vec::new();
    for mut part in parts.into_iter().filter(|part| !known(part)) {
        if left == 0 {
            break;
        }
        if let SessionPart::Cell(item) = &mut part {
            item.minutes = item.minutes.min(left);
        }
        left = left.saturating_sub(part.minutes());
        fresh.push(part);
    }
    if fresh.is_empty() {
        return;
    }
    session.parts.extend(fresh);
    session.shown_ms = at.heard_ms;
    session.stands = Stands::Between {
        since_ms: at.heard_ms,
    };
    effects.push(Effect::KeepSession(Box::new(session.clone())));
}

/// Leaves out later parts of the same drill whose cells the climb has cleared already, because a
/// climb may go on beyond its first cell. A cell that the climb has begun is no longer called new.
fn drop_what_is_clear(model: &mut Model) {
    let (Some(session), Some(practising)) = (&mut model.session, &model.practising) else {
        return;
    };
    let Some(open) = session.item().map(|item| item.open.clone()) else {
        return;
    };
    let state = &practising.state;
    let is_clear = |item: &Item| {
        cell_of(practising, item).is_some_and(|cell| state.status(cell) == CellStatus::Clear)
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
    tell_begun(session, practising, present + 1);
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
            // the microphone's mark comes a moment after the end of a repetition, when the next one
            // already sounds
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

/// The longest time between two messages that counts as practice, in milliseconds. While something
/// sounds, messages come several times a second, so a longer gap means that the computer slept.
const LONGEST_STEP_MS: i64 = 2_000;
