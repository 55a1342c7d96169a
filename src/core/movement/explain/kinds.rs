//! Kinds of movements that both teaching and timing distinguish.

use crate::chanter::Note;
use crate::movement::catalogue::{Pace, When};
use crate::movement::{Family, Movement, Resolved, Role};

/// The short first note of a figure, which is a melody note; none for other movements.
pub(super) fn figure_note(resolved: &Resolved) -> Option<Note> {
    resolved
        .context
        .before
        .filter(|_| resolved.movement.family() == Family::Figure)
}

/// True for a movement of a pibroch's ground, which has no pulse (common practice, no source).
pub(super) fn is_of_a_ground(movement: Movement) -> bool {
    movement.teaching().pace == Pace::Ground
}

/// True for a movement so long that it takes its own time, none of it from the note before (common
/// practice, no source).
pub(super) fn is_a_long_variation(movement: Movement) -> bool {
    movement.teaching().pace == Pace::LongVariation
}

/// True for a movement of pibroch in whose variations the theme note has the beat (common practice,
/// no source). The taorluath belongs to light music too.
pub(super) fn gives_the_theme_note_the_beat(movement: Movement) -> bool {
    movement.teaching().pace != Pace::Light
}

/// True when a row's condition holds for its movement in this context.
pub(super) fn holds(when: When, resolved: &Resolved) -> bool {
    match when {
        When::Always => true,
        When::ClosesOn(note) => resolved.context.after == note,
        When::NothingBefore => resolved.context.before.is_none(),
        When::FallsOnLowG => falls_on_low_g(resolved),
        When::LowGBeforeTheLast => {
            matches!(resolved.parts[..], [.., before, _] if before.note == Note::LowG)
        }
        When::OneLowG => low_gs(resolved) < 2,
    }
}

/// The first entry of a row whose condition holds here.
pub(super) fn first_that_holds<T: Copy>(
    said: &'static [(When, T)],
    resolved: &Resolved,
) -> Option<T> {
    let holding = |(when, _): &&(When, T)| holds(*when, resolved);
    said.iter().find(holding).map(|(_, what)| *what)
}

/// True when the first low G of a birl is not a tap, because the hand comes to it from another
/// note.
pub(super) fn falls_on_low_g(resolved: &Resolved) -> bool {
    resolved.movement.family() == Family::Birl
        && resolved.context.before != Some(resolved.context.after)
        && resolved.parts[0].note == Note::LowG
}

/// How many low Gs sound in a movement and the notes around it.
fn low_gs(resolved: &Resolved) -> usize {
    let inside = resolved
        .parts
        .iter()
        .filter(|part| part.role == Role::Sounding)
        .map(|part| part.note);
    resolved
        .context
        .before
        .into_iter()
        .chain(inside)
        .chain([resolved.context.after])
        .filter(|note| *note == Note::LowG)
        .count()
}
