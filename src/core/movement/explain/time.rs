//! When a movement sounds, and where it takes its time from.

use super::kinds::{
    figure_note, gives_the_theme_note_the_beat, is_a_long_variation, is_of_a_ground,
};
use crate::chanter::Note;
use crate::movement::{Resolved, Role, opening_gracenote};
use crate::units::Bpm;
use crate::wording;
use serde::Serialize;

/// Where a movement takes its time from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Time {
    /// The tempo at which the milliseconds are computed, in beats a minute.
    pub tempo: Bpm,
    /// How many gracenotes, from the first, sound before the beat.
    pub before_beat: usize,
    /// The note that falls on the beat: a gracenote, or the closing note.
    pub on_the_beat: Note,
    /// Milliseconds taken from the note before.
    pub from_the_note_before: u32,
    /// Milliseconds taken from the closing note.
    pub from_the_closing_note: u32,
    /// The same facts in a sentence.
    pub sentence: String,
}

pub(super) fn time(resolved: &Resolved, tempo: Bpm, before: u32, after: u32, whole: u32) -> Time {
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
        sentence: time_in_words(resolved, before, after, whole),
    }
}

/// Says in a sentence or two where the time comes from. `before` and `after` are the milliseconds
/// on the two sides of the beat, `whole` is both together.
fn time_in_words(resolved: &Resolved, before: u32, after: u32, whole: u32) -> String {
    let closing = resolved.context.after.spoken();
    let giver = resolved.context.before.map(Note::spoken);
    if let Some(own) = own_time(resolved, whole) {
        return own;
    }
    if let Some(first) = figure_note(resolved) {
        let first_note = first.spoken();
        // All gracenotes of a figure have the same length.
        let opened = opening_gracenote(None, first).map_or(String::new(), |gracenote| {
            format!(
                " with its {} gracenote, which lasts {after} ms as set, taken from that {first_note}",
                gracenote.spoken()
            )
        });
        return format!(
            "The short {first_note} is on the beat{opened}; the {closing} comes just after it. The {} \
             gracenote before the {closing} lasts {after} ms as set, taken from the {closing}.",
            resolved.parts[0].note.spoken()
        );
    }
    let begins = "on the beat";
    match (before, after, giver) {
        (_, 0, Some(giver)) => format!(
            "It falls before the beat: it lasts {before} ms as set, taken from the end of the \
             {giver} before it, and {}.",
            lands(resolved)
        ),
        (_, 0, None) => format!(
            "It falls before the beat: it begins {before} ms ahead of it as set, in the silence, \
             and {}.",
            lands(resolved)
        ),
        (0, _, Some(giver)) => format!(
            "It begins {begins}: the {giver} before it keeps its full length. It lasts {after} ms \
             as set, taken from the {closing} it closes on."
        ),
        (0, _, None) => format!(
            "It begins {begins} and lasts {after} ms as set, taken from the {closing} it closes on."
        ),
        (_, _, giver) => {
            let part = resolved.parts[resolved.before_beat];
            let kind = if part.role == Role::Separating {
                "gracenote"
            } else {
                "inside"
            };
            let from = giver.map_or("sound ahead of the beat".to_owned(), |giver| {
                format!("are taken from the end of the {giver} before it")
            });
            format!(
                "The beat falls inside it, on the {} {kind}. It lasts {whole} ms as set: {before} \
                 {from}, and the rest is taken from the {closing} it closes on.",
                part.note.spoken()
            )
        }
    }
}

/// What is said of a movement that takes its own time and none from its neighbours; none for other
/// movements. These are movements of a ground, which has no pulse, and the long variations (common
/// practice, no source).
fn own_time(resolved: &Resolved, whole: u32) -> Option<String> {
    let closing = resolved.context.after.spoken();
    let begins_on_it = resolved.before_beat == 0;
    let held = resolved.parts.iter().find(|part| part.held);
    if !is_of_a_ground(resolved.movement) {
        return is_a_long_variation(resolved.movement).then(|| {
            format!(
                "It has its own time, {whole} ms as set, and comes before the {closing} it closes on."
            )
        });
    }
    let Some(held) = held else {
        return Some(format!(
            "It comes before the {closing} it closes on, and lasts {whole} ms as set."
        ));
    };
    if begins_on_it {
        let keeps = resolved.context.before.map_or(String::new(), |giver| {
            format!(": the {} before it keeps its full length", giver.spoken())
        });
        return Some(format!(
            "It begins where it is written{keeps}. Its first tone is the theme note, held; the rest \
             follows it."
        ));
    }
    let quick: Vec<String> = resolved
        .parts
        .iter()
        .filter(|part| !part.held)
        .map(|part| match part.role {
            Role::Separating => format!("the {} gracenote", part.note.spoken()),
            Role::Sounding => format!("the short {}", part.note.spoken()),
        })
        .collect();
    let quick: Vec<&str> = quick.iter().map(String::as_str).collect();
    let only = match quick.len() {
        0 => String::new(),
        1 => format!("; only {} is quick", quick[0]),
        _ => format!("; only {} are quick", wording::list(&quick)),
    };
    Some(format!(
        "It comes before the {closing} it closes on. The {} has its own time{only}.",
        held.note.spoken()
    ))
}

/// Says where the closing note lands after a movement before the beat. In a variation of pibroch
/// the theme note has the beat (common practice, no source), unless no note sounds before.
fn lands(resolved: &Resolved) -> String {
    let closing = resolved.context.after.spoken();
    let movement = resolved.movement;
    let theme = if resolved.context.before.is_some() {
        "in a variation of pibroch the theme note before it has the beat"
    } else {
        ""
    };
    if gives_the_theme_note_the_beat(movement) {
        let theme = if theme.is_empty() {
            String::new()
        } else {
            format!("; {theme}")
        };
        format!("the {closing} lands where it is written{theme}")
    } else if movement.name() == "taorluath" && !theme.is_empty() {
        format!(
            "the {closing} lands where it is written: in light music on the beat, while {theme}"
        )
    } else {
        format!("the {closing} lands on the beat, where it is written")
    }
}
