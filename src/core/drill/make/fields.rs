//! Writes the fields of a generated drill as they are in its file.

use crate::chanter::Note;
use crate::drill::document::{Exact, LadderDocument, OneOrMany};
use crate::movement::Schools;
use crate::units::Bpm;

pub(super) fn one_or_many(notes: &[Note]) -> OneOrMany {
    match notes {
        [only] => OneOrMany::One(only.name().to_owned()),
        several => OneOrMany::Many(several.iter().map(|note| note.name().to_owned()).collect()),
    }
}

pub(super) fn school(schools: &Schools) -> Option<OneOrMany> {
    match schools.names() {
        [] => None,
        [only] => Some(OneOrMany::One((*only).to_owned())),
        several => Some(OneOrMany::Many(
            several.iter().map(|name| (*name).to_owned()).collect(),
        )),
    }
}

pub(super) fn ladder(from: Bpm, to: Bpm, step: Exact) -> LadderDocument {
    LadderDocument {
        from: Exact::of(&from.value()),
        to: Exact::of(&to.value()),
        step,
    }
}

/// A tempo that the program itself chose, in whole beats a minute.
pub(super) fn bpm(value: i128) -> Bpm {
    Bpm::whole(value).unwrap_or(Bpm::FIFTY)
}

pub(super) fn exact_percent(percent: u32) -> Exact {
    Exact::Text(format!("{percent}%"))
}
