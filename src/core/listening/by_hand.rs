//! Notes of a piece made by hand, for tests that work out what is to come of them.

use super::piece::Expected;
use crate::chanter::Note;
use crate::practice::NoteKind;
use crate::score::NoteId;

/// A note of the piece, with its bar, where it begins, and how long it is.
pub(super) fn written(
    part: NoteKind,
    note: Note,
    bar: u16,
    start_s: f64,
    length_s: f64,
) -> Expected {
    Expected {
        id: NoteId {
            bar,
            note: 1,
            grace: 0,
            pass: 1,
        },
        part,
        note,
        start_s,
        length_s,
        on_click: part == NoteKind::Melody,
        placed: true,
        place_s: start_s,
        begun_by: 0,
        movement: None,
        pair: None,
        tap: false,
    }
}
