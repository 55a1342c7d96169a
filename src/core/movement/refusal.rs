//! Why a movement is not played in a context, in sentences without a full stop.
//!
//! Knows the catalogue and the chart of fingers; what is played instead is not its matter.

use super::catalogue::{Family, Movement};
use super::context::Context;
use super::parts::{Part, Role};
use super::pattern::strikes;
use super::resolve::separates;
use crate::chanter::{NOTES, Note, gracenote_finger, gracenote_sounds};
use crate::wording;

/// Why no form of the movement stands in this context.
pub(super) fn no_form(movement: Movement, context: Context) -> String {
    let closes = movement.closes_on();
    if closes.contains(&context.after) {
        not_from_here(movement, context)
    } else {
        not_to_here(movement, context.after, &closes)
    }
}

/// Why it does not come from the note before, when it closes on the note after.
fn not_from_here(movement: Movement, context: Context) -> String {
    let spoken = movement.spoken();
    let after = context.after.spoken();
    if movement.family() == Family::Figure {
        return match context.before {
            None => format!("the {spoken} is two notes, and nothing sounds before the {after}"),
            Some(Note::D) => finger_is_off(Note::D),
            Some(before) => format!(
                "the {spoken} goes down, from a short note to a lower one, and not from {} to \
                 {after}",
                before.spoken()
            ),
        };
    }
    if context.before == Some(context.after) && context.after == Note::LowG {
        return format!(
            "low G sounds already and stays, so no low G of the {spoken} could be heard"
        );
    }
    if movement.family() == Family::Strike {
        let opened = if context.after == Note::HighA {
            ""
        } else {
            ", opened by a gracenote"
        };
        return format!(
            "from below there is nothing to tap: the {after} must sound first{opened}, and then it \
             is struck"
        );
    }
    let befores: Vec<&str> = NOTES
        .into_iter()
        .filter(|before| {
            movement.forms().iter().any(|form| {
                form.school.is_none()
                    && form.from.holds(Some(*before))
                    && form.to.holds(Some(context.after))
            })
        })
        .map(Note::spoken)
        .collect();
    let why = match movement.name() {
        "crunluath-fosgailte" => "it stands on the theme note before it, so ",
        "taorluath-fosgailte" => "it begins from a low G that sounds already, so ",
        _ => "",
    };
    format!(
        "{why}the {spoken} to {after} comes from {} only",
        wording::list(&befores)
    )
}

/// Why it does not close on this note.
fn not_to_here(movement: Movement, after: Note, closes: &[Note]) -> String {
    let spoken = movement.spoken();
    let names: Vec<&str> = closes.iter().map(|note| note.spoken()).collect();
    let only = wording::list(&names);
    let here = after.spoken();
    let lasts: Vec<Part> = closes
        .iter()
        .filter_map(|closing| {
            let form = movement
                .forms()
                .iter()
                .find(|form| form.school.is_none() && form.to.holds(Some(*closing)))?;
            form.pattern.on(*closing)?.0.last().copied()
        })
        .collect();
    let lifted = |part: &Part| {
        part.role == Role::Separating && closes.iter().all(|on| gracenote_sounds(part.note, *on))
    };
    let tapped = |part: &Part| part.role == Role::Separating && !lifted(part);
    // the one gracenote it ends with wherever it closes, lifted off the closing note
    let last = lasts
        .first()
        .filter(|first| lasts.iter().all(|last| last == *first) && lifted(first));
    match last {
        Some(part) if movement.family() == Family::Gracenote => {
            let name = part.note.spoken();
            if strikes(after).contains(&part.note) {
                format!(
                    "on {here}, {name} is tapped, not lifted: the {spoken} stands on {only} only"
                )
            } else {
                format!("{here} cannot sound the {spoken}, which stands on {only} only")
            }
        }
        Some(part) if strikes(after).contains(&part.note) => format!(
            "the {spoken} ends with the {} gracenote, which on {here} is tapped, not lifted: it \
             closes on {only} only",
            part.note.spoken()
        ),
        Some(part) if !gracenote_sounds(part.note, after) => format!(
            "the {spoken} ends with the {} gracenote, which {here} cannot sound: it closes on \
             {only} only",
            part.note.spoken()
        ),
        _ if after == Note::LowG && !lasts.is_empty() && lasts.iter().all(tapped) => {
            format!("low G has no lower note to tap to: the {spoken} closes on {only} only")
        }
        _ => {
            let why = against(movement, after).map_or(String::new(), |why| format!("{why}; "));
            format!("{why}the {spoken} closes on {only} only")
        }
    }
}

/// What keeps the usual form from closing on this note, where the chart or the music says so.
fn against(movement: Movement, after: Note) -> Option<String> {
    let here = after.spoken();
    let usual = movement.forms().iter().find(|form| form.school.is_none())?;
    let name = movement.name();
    match after {
        Note::LowA if name.ends_with("double-strike") => {
            return Some("on low A two taps to low G are the birl".to_owned());
        }
        Note::HighA if name.starts_with("thumb-") => {
            return Some("on high A the thumb is already off and cannot open the note".to_owned());
        }
        Note::HighA if movement.family() == Family::Shake || name == "double-echo" => {
            return Some("high A has no gracenote above it to part two of it".to_owned());
        }
        _ => {}
    }
    let (parts, _) = usual.pattern.on(after)?;
    let line: Vec<Note> = parts.iter().map(|part| part.note).chain([after]).collect();
    for (part, next) in parts.iter().zip(&line[1..]) {
        let gracenote = part.note.spoken();
        let on_it = *next == after && part.role == Role::Separating;
        if on_it && strikes(after).first() == Some(&part.note) && part.note > Note::F {
            return Some(format!("on {here}, {gracenote} is tapped, not lifted"));
        }
        if on_it && !separates(part.note, None, after) {
            return Some(format!("{here} cannot sound the {gracenote} gracenote"));
        }
    }
    // what separates never repeats, so two equal notes in a row are two tones
    let repeats = line
        .windows(2)
        .any(|pair| pair[0] == pair[1] && pair[0] == after);
    repeats.then(|| format!("{here} beside the {here} of the movement would be heard as one"))
}

/// Why a note's own gracenote does not open the next one.
pub(super) fn finger_is_off(note: Note) -> String {
    let name = note.spoken();
    match gracenote_finger(note) {
        Some(finger) => format!(
            "from {name} {} is already off, so no {name} gracenote can be heard",
            finger.spoken()
        ),
        None => already_sounding(note),
    }
}

pub(super) fn already_sounding(note: Note) -> String {
    format!(
        "{} is already sounding, and the same note twice is heard as one",
        note.spoken()
    )
}
