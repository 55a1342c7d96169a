//! The parts of a movement.

use crate::chanter::Note;

/// What a part is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Role {
    /// A tone that is meant to be heard. It becomes a written note when the movement is taken
    /// apart.
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
    /// True when the movement holds this tone long, as the cadences of pibroch do. It then has a
    /// written length instead of a gracenote's milliseconds.
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
