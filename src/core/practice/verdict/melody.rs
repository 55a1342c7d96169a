//! The melody notes of a repetition, each with its offset from its place.

use crate::practice::measurement::{Measurement, NoteKind, NoteMeasure};

/// A melody note with its index among the notes.
#[derive(Clone, Copy)]
pub(super) struct Melody<'a> {
    pub(super) at: usize,
    pub(super) note: &'a NoteMeasure,
    /// How late it was in milliseconds after the tempo's change is subtracted; negative is early.
    /// None when it was not heard.
    pub(super) offset: Option<f64>,
}

/// The melody notes. When the tempo changed, offsets are measured from its line.
pub(super) fn melody(measured: &Measurement, drift_percent: f64) -> Vec<Melody<'_>> {
    let slope = -drift_percent / 100.0;
    let mut notes: Vec<Melody> = measured
        .notes
        .iter()
        .enumerate()
        .filter(|(_, note)| note.part == NoteKind::Melody)
        .map(|(at, note)| Melody {
            at,
            note,
            offset: note
                .offset_ms
                .map(|offset| offset.0 - slope * note.place_ms.unwrap_or_default().0),
        })
        .collect();
    if drift_percent != 0.0 {
        let mut all: Vec<f64> = notes.iter().filter_map(|note| note.offset).collect();
        all.sort_by(f64::total_cmp);
        let middle = all.get(all.len() / 2).copied().unwrap_or(0.0);
        for note in &mut notes {
            note.offset = note.offset.map(|offset| offset - middle);
        }
    }
    notes
}
