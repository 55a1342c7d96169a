//! The place of something in the file, and its text for a message.

use crate::drill::Place;

/// The beginning of a line.
pub(super) fn at(line: usize) -> Place {
    Place {
        line: line.max(1),
        column: 1,
        width: 1,
    }
}

/// Text of the file in a sentence: control characters written out, and no more than a line.
pub(super) fn shown(text: &str) -> String {
    text.escape_debug().take(40).collect()
}
