//! The context of a movement: the notes around it.

use crate::chanter::Note;

/// The notes around a movement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Context {
    /// The note that sounds before it; none at the very start of the music.
    pub before: Option<Note>,
    /// The note it closes on.
    pub after: Note,
}

impl Context {
    /// The context from one note to another.
    pub const fn between(before: Note, after: Note) -> Self {
        Self {
            before: Some(before),
            after,
        }
    }
}
