//! Notes as a file gives them.

use crate::chanter::Note;

/// A note that was played.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Played {
    /// Units of [`UNITS`] to a semibreve from the first unit of the file, not rounded.
    pub(super) start: f64,
    /// Milliseconds.
    pub(super) at: f64,
    /// Milliseconds to the next note, or to its own end.
    pub(super) lasts: f64,
    /// Milliseconds a unit at its tempo.
    pub(super) unit: f64,
    pub(super) note: Note,
}
