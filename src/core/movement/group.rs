//! A gracenote group that is written out: which parts are tones, and where the beat falls.

use super::catalogue::Movement;
use super::context::Context;
use super::parts::{Part, Role};
use super::pattern::strikes;
use super::recognise::matches;
use super::resolve::{Resolved, resolve};
use super::school::Schools;
use crate::chanter::{Note, gracenote_sounds};

/// A written-out group in its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Group {
    /// The movement it is, when it is one.
    pub movement: Option<Movement>,
    /// Between which notes.
    pub context: Context,
    /// Its parts, exactly the written gracenotes.
    pub parts: Vec<Part>,
    /// How many parts, from the first, sound before the beat.
    pub before_beat: usize,
    /// The school under which the movement has these gracenotes.
    pub school: Option<&'static str>,
}

/// Places a written-out group. A known movement is placed as its row has it, by the chosen schools;
/// of an unknown one every note that is lifted or tapped and put back separates, and it falls
/// before the beat when it runs through a tone, on the beat otherwise.
pub fn place_group(gracenotes: &[Note], context: Context, schools: &Schools) -> Group {
    if let Some(known) = known(gracenotes, context, schools) {
        return Group {
            movement: Some(known.movement),
            context,
            parts: known.parts,
            before_beat: known.before_beat,
            school: known.school,
        };
    }
    let parts = roles(gracenotes, context);
    let runs = parts
        .first()
        .is_some_and(|part| part.role == Role::Sounding && part.note != context.after);
    Group {
        movement: None,
        context,
        before_beat: if runs { parts.len() } else { 0 },
        parts,
        school: None,
    }
}

/// The likeliest movement, timed by the chosen schools where they leave its gracenotes alone.
fn known(gracenotes: &[Note], context: Context, schools: &Schools) -> Option<Resolved> {
    let found = matches(gracenotes, context);
    let chosen = |found: &Resolved| {
        resolve(found.movement, context, schools)
            .played()
            .filter(|resolved| resolved.gracenotes() == gracenotes)
            .cloned()
    };
    found
        .iter()
        .find_map(chosen)
        .or_else(|| found.first().cloned())
}

/// Tones and separating gracenotes of a group without a name, left to right: a note separates when
/// the note before it does not and it is a lift above both its neighbours, or a tap between two
/// equal notes.
fn roles(gracenotes: &[Note], context: Context) -> Vec<Part> {
    let mut parts: Vec<Part> = Vec::with_capacity(gracenotes.len());
    for (place, note) in gracenotes.iter().copied().enumerate() {
        let before = if place == 0 {
            context.before
        } else {
            Some(gracenotes[place - 1])
        };
        let after = gracenotes.get(place + 1).copied().unwrap_or(context.after);
        let follows_a_tone = parts.last().is_none_or(|part| part.role == Role::Sounding);
        let lifted = note > after && before.is_none_or(|before| note > before);
        let tapped = note < after && before == Some(after);
        let lone = gracenotes.len() == 1;
        let sounds = gracenote_sounds(note, after) || strikes(after).contains(&note);
        parts.push(
            if lone || (follows_a_tone && sounds && (lifted || tapped)) {
                Part::separating(note)
            } else {
                Part::tone(note)
            },
        );
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::Note::*;
    use crate::movement::pattern::write_parts;

    #[test]
    fn a_known_group_is_placed_by_its_row() {
        let grip = place_group(
            &[LowG, D, LowG],
            Context::between(C, LowA),
            &Schools::none(),
        );
        assert_eq!(write_parts(&grip.parts), "LG (D) LG");
        assert_eq!(grip.before_beat, 3);
        let on_beat = Schools::none().with("grip-on-the-beat").expect("a school");
        let grip = place_group(&[LowG, D, LowG], Context::between(C, LowA), &on_beat);
        assert_eq!(grip.before_beat, 0);
    }

    #[test]
    fn an_unknown_group_keeps_its_notes_and_gets_a_sensible_place() {
        let group = place_group(
            &[LowG, D, LowG, D],
            Context::between(C, LowA),
            &Schools::none(),
        );
        assert_eq!(group.movement, None);
        assert_eq!(write_parts(&group.parts), "LG (D) LG (D)");
        assert_eq!(group.before_beat, 4);
        let lone = place_group(&[D], Context::between(B, D), &Schools::none());
        assert_eq!(lone.parts.len(), 1);
        assert_eq!(lone.before_beat, 0);
    }
}
