//! The parts of a movement.

use crate::chanter::Note;

/// What a part is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Role {
    /// A tone that is to be heard; it becomes a written note when the movement is taken apart.
    Sounding,
    /// A short gracenote that separates two tones; it stays a gracenote in every stage.
    Separating,
}

/// One gracenote of a movement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Part {
    /// The note it is written and sounded as.
    pub note: Note,
    /// Tone or separating gracenote.
    pub role: Role,
    /// True where the movement holds this tone long (pibroch cadences): it lasts a written
    /// length, not a gracenote's milliseconds.
    pub held: bool,
}

impl Part {
    /// A tone of the movement.
    pub const fn tone(note: Note) -> Self {
        Self {
            note,
            role: Role::Sounding,
            held: false,
        }
    }

    /// A separating gracenote.
    pub const fn separating(note: Note) -> Self {
        Self {
            note,
            role: Role::Separating,
            held: false,
        }
    }

    /// A tone held long.
    pub const fn held(note: Note) -> Self {
        Self {
            note,
            role: Role::Sounding,
            held: true,
        }
    }
}
