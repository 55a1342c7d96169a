//! The cells of a staff on a terminal, each one character with its meaning, and the options for
//! drawing it.

use crate::score::NoteId;

/// The options for drawing a staff.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StaffSettings {
    /// The number of columns.
    pub columns: usize,
    /// The set of characters to draw with.
    pub signs: Signs,
    /// True for a row of movement names above the staff, and names of separating gracenotes above
    /// their flags.
    pub names: bool,
    /// True for a row of count numbers below the staff.
    pub beat_numbers: bool,
    /// True for a row of note names below the staff.
    pub note_names: bool,
}

impl StaffSettings {
    /// All rows, in Unicode.
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

/// The set of characters that a staff is drawn with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signs {
    /// Box-drawing characters and bullets, each one column wide.
    Unicode,
    /// ASCII characters only.
    Ascii,
}

/// The meaning of a cell.
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

/// One cell of the staff.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StaffCell {
    /// The character, one column wide.
    pub symbol: char,
    /// The cell's meaning.
    pub style: Style,
    /// The note that the cell belongs to, by the note's id the first time through. To compare it
    /// with a note that sounds, set that note's `pass` to 1.
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
    /// False where the bars need more columns than there are. The right end is cut off then, and
    /// the caller should ask for fewer bars.
    pub fits: bool,
}
