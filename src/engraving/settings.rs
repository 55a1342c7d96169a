//! The options of a layout: what is drawn, and how far apart notes are placed.

/// The options of a layout.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LayoutSettings {
    /// The width of a system, in staff spaces.
    pub width: f64,
    /// How far apart notes are placed.
    pub spacing: Spacing,
    /// The most full bars in a system; there are fewer where they do not fit. None means
    /// eight.
    pub bars_in_a_system: Option<usize>,
    /// True where each part of a tune begins a new system, as players print it (common practice, no
    /// source).
    pub parts_apart: bool,
    /// True where each system begins with a clef.
    pub clef: bool,
    /// True where the first system shows the metre.
    pub metre: bool,
    /// True where each system but the first shows the number of its first bar.
    pub bar_numbers: bool,
    /// True where names of movements are written above, each once a system.
    pub movement_names: bool,
    /// True where a movement is named every time it occurs, not only the first time. A picture
    /// without room for all names needs this to choose among them.
    pub names_again: bool,
    /// True where separating gracenotes inside a bar are named above the staff.
    pub grace_names: bool,
    /// True where count numbers are written below the staff.
    pub beat_numbers: bool,
    /// True where the names of the melody notes are written below the staff.
    pub note_names: bool,
}

impl LayoutSettings {
    /// The options for paper: clef, metre, bar numbers and names.
    pub fn paper(width: f64) -> Self {
        Self {
            width,
            spacing: Spacing::default(),
            bars_in_a_system: None,
            parts_apart: true,
            clef: true,
            metre: true,
            bar_numbers: true,
            movement_names: true,
            names_again: false,
            grace_names: true,
            beat_numbers: false,
            note_names: false,
        }
    }
}

/// The natural widths of notes, in staff spaces from head to head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spacing {
    /// The natural width of a quaver.
    pub quaver: f64,
    /// The width that each doubling of a note's length adds.
    pub doubling: f64,
    /// The least width, which is that of the shortest notes.
    pub least: f64,
    /// The width that gracenotes before the next note add, as a share of their own width.
    pub gracenotes: f64,
    /// The extra gap before a group of gracenotes.
    pub air: f64,
}

impl Default for Spacing {
    /// Spacing as in printed music (chosen by eye beside LilyPond's pages).
    fn default() -> Self {
        Self {
            quaver: 3.1,
            doubling: 1.35,
            least: 2.0,
            gracenotes: 0.5,
            air: 0.6,
        }
    }
}
