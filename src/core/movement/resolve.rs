//! Finds the gracenotes that are played for a movement in a context.
//!
//! Whatever the catalogue says, the result can always be played on a chanter. No two equal notes
//! stand side by side, and every gracenote can be sounded from its held shape.

use super::catalogue::{Family, Movement, ReadForm, Timing, named};
use super::context::Context;
use super::parts::{Part, Role};
use super::pattern::{separates, strikes};
use super::refusal::{already_sounding, half_from_its_own_note, no_form, very_note};
use super::school::Schools;
use crate::chanter::{Note, gracenote_sounds};

/// What is played for a movement in a context.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Resolution {
    /// It can be played.
    Played(Resolved),
    /// It cannot be played.
    NotPlayable {
        /// Why not, in a sentence without a full stop.
        why: String,
        /// What is played instead.
        instead: Option<Resolved>,
    },
}

impl Resolution {
    /// What sounds: the movement, or what is played instead of it.
    pub fn sounds(&self) -> Option<&Resolved> {
        match self {
            Self::Played(resolved) => Some(resolved),
            Self::NotPlayable { instead, .. } => instead.as_ref(),
        }
    }

    /// The movement itself, when it can be played.
    pub fn played(&self) -> Option<&Resolved> {
        match self {
            Self::Played(resolved) => Some(resolved),
            Self::NotPlayable { .. } => None,
        }
    }
}

/// A movement with the parts that are played in its context.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resolved {
    /// Which movement.
    pub movement: Movement,
    /// The notes before and after it.
    pub context: Context,
    /// Its parts in order.
    pub parts: Vec<Part>,
    /// How many parts, from the first, sound before the beat and take their time from the note
    /// before. The others begin on the beat and take their time from the closing note.
    pub before_beat: usize,
    /// Why this context changes the form, in a sentence without a full stop; none for the usual
    /// form.
    pub replaced: Option<String>,
    /// The school that decided the gracenotes, or otherwise where the time falls; none for the
    /// usual way.
    pub school: Option<&'static str>,
}

impl Resolved {
    /// True when the movement has a tone that can be opened. Such a tone is heard as a note and is
    /// not already held long.
    pub fn can_be_opened(&self) -> bool {
        let open = |part: &Part| part.role == Role::Sounding && !part.held;
        self.parts.iter().any(open)
    }

    /// The notes of the parts.
    pub fn gracenotes(&self) -> Vec<Note> {
        self.parts.iter().map(|part| part.note).collect()
    }
}

/// What is played for a movement in a context under the chosen schools.
pub fn resolve(movement: Movement, context: Context, schools: &Schools) -> Resolution {
    match own(movement, context, schools) {
        Ok(resolved) => Resolution::Played(resolved),
        Err(why) => Resolution::NotPlayable {
            why,
            instead: instead(movement, context, schools),
        },
    }
}

/// The movement itself, or why it cannot be played.
pub(super) fn own(
    movement: Movement,
    context: Context,
    schools: &Schools,
) -> Result<Resolved, String> {
    own_or_fault(movement, context, schools).map_err(|first_fault| {
        let half = movement.name().starts_with("half-") && context.before == Some(context.after);
        match first_fault {
            Some(_) if half => half_from_its_own_note(movement, context.after),
            Some(fault) => fault,
            None => no_form(movement, context, schools),
        }
    })
}

/// The movement itself, or the fault of its first form in this context; none when no form stands
/// here. The fault is not put into words, because a caller that tries all movements needs no
/// reasons.
pub(super) fn own_or_fault(
    movement: Movement,
    context: Context,
    schools: &Schools,
) -> Result<Resolved, Option<String>> {
    let fits =
        |form: &&ReadForm| form.from.holds(context.before) && form.to.holds(Some(context.after));
    let chosen = movement
        .forms()
        .iter()
        .filter(fits)
        .filter(|form| form.school.is_some_and(|school| schools.chooses(school)));
    let usual = movement
        .forms()
        .iter()
        .filter(fits)
        .filter(|form| form.school.is_none());
    let mut first_fault = None;
    for form in chosen.chain(usual) {
        let Some((parts, beat)) = form.pattern.on(context.after) else {
            continue;
        };
        if let Some(fault) = fault(&parts, context) {
            first_fault.get_or_insert(fault);
            continue;
        }
        let (timing, timed_by) = movement
            .row()
            .timings
            .iter()
            .find(|(school, _)| schools.chooses(school.name))
            .map_or((movement.row().timing, None), |(school, timing)| {
                (*timing, Some(school.name))
            });
        return Ok(Resolved {
            movement,
            context,
            before_beat: beat.unwrap_or_else(|| parts_before_beat(&parts, timing)),
            parts,
            replaced: form.replaced.map(str::to_owned),
            school: form.school.or(timed_by),
        });
    }
    Err(first_fault)
}

fn parts_before_beat(parts: &[Part], timing: Timing) -> usize {
    match timing {
        Timing::From => 0,
        Timing::Until => parts.len(),
        Timing::AtFirstSeparating => parts
            .iter()
            .position(|part| part.role == Role::Separating)
            .unwrap_or(0),
    }
}

/// The fault of a row of parts between two notes, in words: two equal notes side by side, or a
/// gracenote that cannot sound.
pub(super) fn fault(parts: &[Part], context: Context) -> Option<String> {
    if parts.is_empty() {
        return Some("there is nothing to play".to_owned());
    }
    for (place, part) in parts.iter().enumerate() {
        let before = if place == 0 {
            context.before
        } else {
            Some(parts[place - 1].note)
        };
        let after = parts.get(place + 1).map_or(context.after, |next| next.note);
        if before == Some(part.note) {
            let lifted = part.role == Role::Separating && gracenote_sounds(part.note, after);
            return Some(if place == 0 && lifted {
                very_note(part.note)
            } else if place == 0 {
                already_sounding(part.note)
            } else {
                format!(
                    "{} would stand beside {}, and the same note twice is heard as one",
                    part.note.spoken(),
                    part.note.spoken()
                )
            });
        }
        if part.role == Role::Separating && !separates(part.note, before, after) {
            return Some(format!(
                "the {} gracenote cannot sound on {}",
                part.note.spoken(),
                after.spoken()
            ));
        }
    }
    let last = parts.last()?.note;
    (last == context.after).then(|| {
        format!(
            "{} would stand beside the closing {}, and the same note twice is heard as one",
            last.spoken(),
            last.spoken()
        )
    })
}

fn instead(movement: Movement, context: Context, schools: &Schools) -> Option<Resolved> {
    let gracenote = movement.family() == Family::Gracenote;
    // A gracenote that cannot be lifted on this note may still be a strike on it.
    let tapped = movement
        .forms()
        .first()
        .and_then(|form| form.pattern.on(Note::LowG))
        .filter(|(parts, _)| gracenote && strikes(context.after).contains(&parts[0].note))
        .map(|_| "strike");
    tapped
        .into_iter()
        .chain(movement.row().instead.iter().copied())
        // A doubling can be played in every context, so it is the last choice.
        .chain(["doubling"])
        .filter_map(named)
        .find_map(|other| own(other, context, schools).ok())
}

/// The gracenote that opens a bar's first note. It is high G; it is the thumb's high A when high G
/// sounds before or is the note itself. There is none after or on high A, with one exception:
/// between two high As, which nothing else would separate, it is the thumb's tap to high G (502 of
/// 504 times in 277 counted tunes). It never equals the note before, and the note can always sound
/// it.
pub fn opening_gracenote(before: Option<Note>, on: Note) -> Option<Note> {
    if before == Some(Note::HighA) && on == Note::HighA {
        return Some(Note::HighG);
    }
    if before == Some(Note::HighA) || on == Note::HighA {
        return None;
    }
    if before == Some(Note::HighG) || on == Note::HighG {
        return Some(Note::HighA);
    }
    Some(Note::HighG)
}

#[cfg(test)]
mod tests;
