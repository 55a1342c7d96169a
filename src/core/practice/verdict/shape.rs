//! The shape of a movement: the length of each tone beside its length in the timeline.

use super::words::{bar_words, short_name};
use super::{Fault, FaultKind};
use crate::practice::measurement::{Measurement, NoteKind};
use crate::units::Milliseconds;
use serde::{Deserialize, Serialize};

/// How long one note inside a movement lasted, beside its length in the timeline. Lengths are in
/// milliseconds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ToneShape {
    /// The score's id of the note.
    pub id: u32,
    /// The name of the note: `second low G`, `B gracenote`, `first low G tap`.
    pub name: String,
    /// The bar in words: ` in bar 2`; empty when there is only one bar.
    pub bar: String,
    /// How long it lasted, in milliseconds; 0 when it was not heard.
    pub length_ms: Milliseconds,
    /// Its length in the timeline, in milliseconds.
    pub model_ms: Milliseconds,
    /// True when its length is a fault.
    pub faulty: bool,
}

impl ToneShape {
    /// The two lengths as text: `25 of 73 ms`.
    pub fn figures(&self) -> String {
        format!("{:.0} of {:.0} ms", self.length_ms, self.model_ms)
    }
}

/// The lengths of a repetition: faulty ones first in the order of the faults, then by their
/// distance from the timeline's length.
pub(super) fn shape(measured: &Measurement, faults: &[Fault]) -> Vec<ToneShape> {
    let rank = |id: u32| {
        faults.iter().position(|fault| {
            let of_length = matches!(
                fault.kind,
                FaultKind::Missing
                    | FaultKind::Swallowed
                    | FaultKind::Crushed
                    | FaultKind::Dragged
                    | FaultKind::Unlike
                    | FaultKind::TooLong
            );
            of_length && fault.id == Some(id)
        })
    };
    let mut all: Vec<(usize, f64, ToneShape)> = Vec::new();
    for (at, note) in measured.notes.iter().enumerate() {
        let rank = rank(note.id);
        let shown = note.part == NoteKind::Tone || note.tap;
        let long = note.part == NoteKind::Gracenote && rank.is_some() && note.length_ms.is_some();
        let other = note.heard.is_some_and(|heard| heard != note.written);
        if !(shown || long) || other {
            continue;
        }
        // A note that ran on into an equal note has no length of its own.
        if note.heard.is_some() && note.length_ms.is_none() {
            continue;
        }
        let length_ms = note.length_ms.unwrap_or_default();
        let away = (length_ms.0.max(1.0) / note.expected_ms.0.max(1.0))
            .ln()
            .abs();
        all.push((
            rank.unwrap_or(usize::MAX),
            away,
            ToneShape {
                id: note.id,
                name: short_name(measured, at),
                bar: bar_words(&measured.notes, note.bar),
                length_ms,
                model_ms: note.expected_ms,
                faulty: rank.is_some(),
            },
        ));
    }
    all.sort_by(|one, other| one.0.cmp(&other.0).then(other.1.total_cmp(&one.1)));
    all.into_iter().map(|(.., shape)| shape).collect()
}
