//! How a score is laid out: what is drawn, and how far apart notes stand.

/// How a score is laid out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LayoutSettings {
    /// Width of a system, staff spaces.
    pub width: f64,
    /// How far apart notes stand.
    pub spacing: Spacing,
    /// Full bars in a system at most; fewer where they do not fit.
    pub bars_in_a_system: Option<usize>,
    /// True where each part of a tune begins a system, as players print it (common practice, no
    /// source).
    pub parts_apart: bool,
    /// The clef at the head of each system.
    pub clef: bool,
    /// The metre at the head of the first.
    pub metre: bool,
    /// The number of the first bar above each system but the first.
    pub bar_numbers: bool,
    /// Names of movements above, each once a system.
    pub movement_names: bool,
    /// A movement is named each time it stands and not only the first time: for a picture that has
    /// no room for all names and chooses among them.
    pub names_again: bool,
    /// Names of separating gracenotes inside a bar, above them.
    pub grace_names: bool,
    /// Numbers of the clicks below.
    pub beat_numbers: bool,
    /// Names of the melody notes below.
    pub note_names: bool,
}

impl LayoutSettings {
    /// For paper: clef, metre, bar numbers, names.
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

/// The widths that suit notes, staff spaces from head to head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spacing {
    /// The width that suits a quaver.
    pub quaver: f64,
    /// What each doubling of the length adds.
    pub doubling: f64,
    /// The least width, that of the shortest notes.
    pub least: f64,
    /// What gracenotes before the next note add, as a part of their own width.
    pub gracenotes: f64,
    /// White before a group of gracenotes beyond the least.
    pub air: f64,
}

impl Default for Spacing {
    /// As printed music stands (chosen by eye beside LilyPond's pages).
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
