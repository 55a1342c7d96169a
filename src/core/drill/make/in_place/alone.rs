//! Takes a movement of a tune apart by itself, between its own two notes, when the bar has no room
//! for its tones.

use super::{giver, stage};
use crate::chanter::Note;
use crate::drill::document::StageDocument;
use crate::drill::make::plan::{self, short};
use crate::drill::stages;
use crate::drill::written::{Bar, Group};
use crate::movement::{Context, Resolved, Role, Schools, place_group};
use crate::rhythm::Metre;
use crate::units::{Beats, Fraction};

/// The stages of the movement at a place before real time, as in the movement's own drill, each in
/// full bars of the metre. With them comes a sentence that says why.
///
/// # Errors
/// The movement cannot be taken apart there; a sentence says why.
pub(super) fn alone(
    metre: Metre,
    bars: &[Bar],
    (bar, note): (usize, usize),
    schools: &Schools,
) -> Result<(Vec<StageDocument>, String), String> {
    let nothing = || "No gracenotes stand there, so that nothing is taken apart.".to_owned();
    let written = bars
        .get(bar)
        .and_then(|bar| bar.notes.get(note))
        .ok_or_else(nothing)?;
    let before = giver(bars, (bar, note)).map(|(bar, note)| bars[bar].notes[note].note);
    let context = Context {
        before,
        after: written.note,
    };
    let resolved = resolved(&written.group, context, schools);
    let resolved = match resolved {
        Some(resolved) => resolved,
        None if written.group.is_empty() => return Err(nothing()),
        None => {
            return Err(
                "These gracenotes are no movement that is known, and its notes leave no room to \
                 write them out: they are played as written."
                    .to_owned(),
            );
        }
    };
    let name = resolved.movement.spoken();
    if resolved
        .parts
        .iter()
        .all(|part| part.role != Role::Sounding)
    {
        return Err(format!(
            "The {name} has no tone of its own that could be written out: it is played as written."
        ));
    }
    let Some(from) = before else {
        return Err(format!(
            "The {name} begins the music, so that no note before gives it time: it is played as \
             written."
        ));
    };
    let mut tone = Beats::ONE;
    let mut found = Vec::new();
    for next in [
        short(metre),
        short(metre) * Fraction::new(1, 2),
        Beats::ZERO,
    ] {
        let length = stages::usual_before(metre, &resolved, tone);
        if let Ok(taken) = stages::apart(metre, from, &resolved, length, tone) {
            let name = format!("{}, by itself", plan::apart(metre, &resolved, tone).name);
            found.push(stage(metre, &name, &taken.bars));
        }
        tone = next;
    }
    let short = if resolved.before_beat == 0 {
        "its own note is"
    } else {
        "the note before it is"
    };
    Ok((
        found,
        format!(
            "The {name} is taken apart by itself first, from {} to {}, because {short} too short in \
             the tune to be shared with tones as long as that.",
            from.spoken(),
            written.note.spoken()
        ),
    ))
}

/// The movement that a group is, with exactly its gracenotes; none when the catalogue has no name
/// for it.
fn resolved(group: &Group, context: Context, schools: &Schools) -> Option<Resolved> {
    match group {
        Group::None | Group::Opening => None,
        Group::Movement(resolved) => Some(resolved.clone()),
        Group::Spelled(gracenotes) => {
            let notes: Vec<Note> = gracenotes.iter().map(|gracenote| gracenote.note).collect();
            let placed = place_group(&notes, context, schools);
            Some(Resolved {
                movement: placed.movement?,
                context,
                parts: placed.parts,
                before_beat: placed.before_beat,
                replaced: None,
                school: placed.school,
            })
        }
    }
}
