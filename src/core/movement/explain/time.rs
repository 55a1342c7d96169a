//! When a movement sounds, and whose time it takes.

use super::teaching;
use crate::chanter::Note;
use crate::movement::{Family, Resolved, Role};
use crate::units::Bpm;
use serde::Serialize;

/// Where the time comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Time {
    /// The tempo of the milliseconds, beats a minute.
    pub tempo: Bpm,
    /// How many gracenotes, from the first, sound before the beat.
    pub before_beat: usize,
    /// What falls on the beat: a gracenote, or the closing note.
    pub on_the_beat: Note,
    /// Milliseconds taken from the note before.
    pub from_the_note_before: u32,
    /// Milliseconds taken from the closing note.
    pub from_the_closing_note: u32,
    /// The same in a sentence.
    pub sentence: String,
}

/// The short first note of a figure, which is the melody's.
pub(super) fn figure_note(resolved: &Resolved) -> Option<Note> {
    resolved
        .context
        .before
        .filter(|_| resolved.movement.family() == Family::Figure)
}

pub(super) fn time(resolved: &Resolved, tempo: Bpm, before: u32, after: u32) -> Time {
    let closing = resolved.context.after;
    let on_the_beat = figure_note(resolved).unwrap_or_else(|| {
        resolved
            .parts
            .get(resolved.before_beat)
            .map_or(closing, |part| part.note)
    });
    Time {
        tempo,
        before_beat: resolved.before_beat,
        on_the_beat,
        from_the_note_before: before,
        from_the_closing_note: after,
        sentence: time_in_words(resolved, before, after),
    }
}

/// Where the time comes from, in a sentence or two.
fn time_in_words(resolved: &Resolved, before: u32, after: u32) -> String {
    let closing = resolved.context.after.spoken();
    let giver = resolved.context.before.map(Note::spoken);
    if let Some(first) = figure_note(resolved) {
        return format!(
            "The short {} is on the beat; the {closing} comes just after it, and the {after} ms of \
             its gracenote come from the {closing}.",
            first.spoken()
        );
    }
    let begins = if teaching::is_of_a_ground(resolved.movement) {
        "where it is written, in a ground that has no pulse to count"
    } else {
        "on the beat"
    };
    match (before, after, giver) {
        (_, 0, Some(giver)) => format!(
            "It falls before the beat: it takes {before} ms from the end of the {giver} before it, \
             and {}.",
            lands(resolved)
        ),
        (_, 0, None) => format!(
            "It falls before the beat: it begins {before} ms ahead of it, in the silence, and {}.",
            lands(resolved)
        ),
        (0, _, Some(giver)) => format!(
            "It begins {begins}: the {giver} before it keeps its full length, and the {after} \
             ms come from the {closing} it closes on."
        ),
        (0, _, None) => {
            format!("It begins {begins}, and the {after} ms come from the {closing} it closes on.")
        }
        (_, _, giver) => {
            let part = resolved.parts[resolved.before_beat];
            let kind = if part.role == Role::Separating {
                "gracenote"
            } else {
                "inside"
            };
            let from = giver.map_or("sound ahead of it".to_owned(), |giver| {
                format!("come from the end of the {giver} before it")
            });
            format!(
                "The beat falls inside it, on the {} {kind}: {before} ms {from}, {after} ms from \
                 the {closing} it closes on.",
                part.note.spoken()
            )
        }
    }
}

/// Where the closing note of a movement before the beat lands. In pibroch a ground has no pulse,
/// and in a variation the theme note has the beat (common practice, no source).
fn lands(resolved: &Resolved) -> String {
    let closing = resolved.context.after.spoken();
    let movement = resolved.movement;
    if teaching::is_of_a_ground(movement) {
        format!("the {closing} comes where it is written; a ground has no pulse to count")
    } else if movement.family() == Family::Pibroch {
        format!(
            "the {closing} lands where it is written; in a variation of pibroch the theme note \
             before it has the beat"
        )
    } else if ["taorluath", "crunluath"].contains(&movement.name()) {
        format!(
            "the {closing} lands where it is written: in light music on the beat, while in a \
             variation of pibroch the theme note before it has the beat"
        )
    } else {
        format!("the {closing} lands on the beat, where it is written")
    }
}
