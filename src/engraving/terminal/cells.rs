//! A drawn staff, made of cells: a character each, with what it stands for. And the settings that
//! it is drawn with.

use crate::score::NoteId;

/// How the staff is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StaffSettings {
    /// How many columns there are.
    pub columns: usize,
    /// Characters to draw with.
    pub signs: Signs,
    /// A row of names of movements above, and separating gracenotes named above their flags.
    pub names: bool,
    /// A row of click numbers below.
    pub beat_numbers: bool,
    /// A row of note names below.
    pub note_names: bool,
}

impl StaffSettings {
    /// Everything, in Unicode.
    pub fn wide(columns: usize) -> Self {
        Self {
            columns,
            signs: Signs::Unicode,
            names: true,
            beat_numbers: true,
            note_names: true,
        }
    }
}

/// Which characters the staff is drawn with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signs {
    /// Box-drawing characters and bullets, each one column wide.
    Unicode,
    /// ASCII alone.
    Ascii,
}

/// What a cell stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[allow(missing_docs, reason = "each is what its name says")]
pub enum Style {
    #[default]
    Blank,
    Staff,
    Metre,
    BarLine,
    Head,
    /// Stem, beam or flag of a melody note.
    Stem,
    Dot,
    Tie,
    Tuplet,
    GraceHead,
    /// Stem, beam or flag of gracenotes.
    GraceStem,
    MovementName,
    GraceName,
    BeatNumber,
    NoteName,
}

/// One character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StaffCell {
    /// The character, one column wide.
    pub symbol: char,
    /// What it stands for.
    pub style: Style,
    /// The note it belongs to, by its id the first time through. To compare it with a note that
    /// sounds, set that note's `pass` to 1.
    pub note: Option<NoteId>,
}

pub(super) const BLANK: StaffCell = StaffCell {
    symbol: ' ',
    style: Style::Blank,
    note: None,
};

/// A drawn staff.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grid {
    /// Rows from top to bottom, all equally long.
    pub rows: Vec<Vec<StaffCell>>,
    /// False where the bars need more columns than there are; the right end is cut off then, and
    /// fewer bars should be asked for.
    pub fits: bool,
}
