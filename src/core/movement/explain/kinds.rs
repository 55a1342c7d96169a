//! Kinds of movements that teaching and timing both tell apart.

use crate::chanter::Note;
use crate::movement::{Family, Movement, Resolved};

/// The short first note of a figure, which is the melody's.
pub(super) fn figure_note(resolved: &Resolved) -> Option<Note> {
    resolved
        .context
        .before
        .filter(|_| resolved.movement.family() == Family::Figure)
}

/// Movements of a pibroch's ground, which has no pulse (common practice, no source).
pub(super) fn is_of_a_ground(movement: Movement) -> bool {
    [
        "cadence",
        "short-cadence",
        "hiharin",
        "double-echo",
        "bubbly-note",
        "embari",
        "chedari",
    ]
    .contains(&movement.name())
}

/// Movements so long that they take their own time and not the note before's (common practice, no
/// source).
pub(super) fn is_a_long_variation(movement: Movement) -> bool {
    ["long-variation-to-d", "long-variation-to-c", "barluath"].contains(&movement.name())
}

/// Movements of pibroch variations, in which the theme note has the beat (common practice, no
/// source). The taorluath is of light music too.
pub(super) fn gives_the_theme_note_the_beat(movement: Movement) -> bool {
    movement.family() == Family::Pibroch || movement.name() == "crunluath"
}
