//! Judges when notes came: landings on the click, movements that began early or late, evenness.
//!
//! Only the note that moved is blamed. A landing pushed by a long gracenote or a dragged tone is
//! not a second fault. A changing tempo is reported as one fault, not as many early notes.

use super::melody::{Melody, melody};
use super::pointing::{self, Pair, PointingHeard};
use super::words::{bar_words, spoken};
use super::{Fault, FaultKind, Thresholds, weight};
use crate::practice::measurement::{Measurement, NoteKind};

/// The faults of places, and how pairs with a range of their own were pointed.
pub(super) fn judge(
    measured: &Measurement,
    limits: &Thresholds,
    lengths: &[Fault],
) -> (Vec<Fault>, Vec<PointingHeard>) {
    let limit = limits.offset_limit(measured.beat_ms).0;
    let running = if measured.drift_percent.abs() > limits.drift_percent {
        measured.drift_percent
    } else {
        0.0
    };
    let melody = melody(measured, running);
    let mut pairs: Vec<Pair> = Vec::new();
    let mut off_their_places: Vec<Fault> = Vec::new();
    for (number, own) in melody.iter().enumerate() {
        let Some(offset) = own.offset else { continue };
        let off = own.note.heard == Some(own.note.written)
            && offset.abs() > limit
            && !pushed(measured, own, lengths, limit);
        match Pair::at(measured, &melody, number, limit) {
            Some(Err(())) => {}
            // For a pair with a range, the range says more than the place of the note inside it.
            Some(Ok(pair)) if pair.has_range() => pairs.push(pair),
            Some(Ok(pair)) if off && pair.is_round(limit) => pairs.push(pair),
            _ if off => off_their_places.push(off_its_place(measured, &melody, number, limit)),
            _ => {}
        }
    }
    let mut faults = pointing::faults(measured, &melody, &pairs, limit);
    faults.extend(off_their_places);
    (faults, pointing::heard(&melody, &pairs))
}

/// True for a tone that is dragged only because the note after it came late; the fault is then the
/// landing.
pub(super) fn waits_for_its_landing(
    measured: &Measurement,
    fault: &Fault,
    places: &[Fault],
) -> bool {
    let notes = &measured.notes;
    let waiting = notes.iter().position(|note| Some(note.id) == fault.id);
    let Some((note, landing)) = waiting.and_then(|at| Some((notes.get(at)?, notes.get(at + 1)?)))
    else {
        return false;
    };
    let late = places
        .iter()
        .find(|place| place.id == Some(landing.id))
        .and_then(|place| match place.kind {
            FaultKind::Pointing => landing.offset_ms.map(|offset| offset.0),
            _ => place.measured,
        })
        .unwrap_or(0.0);
    let rest = note.own_length().unwrap_or_default().0 - late;
    fault.kind == FaultKind::Dragged
        && landing.part == NoteKind::Melody
        && fault.limit.is_some_and(|limit| rest <= limit)
}

/// True when long notes of its own movement, which are faults themselves, made it late. The tone
/// just before it does not count, because it may only have waited.
fn pushed(measured: &Measurement, own: &Melody, lengths: &[Fault], limit: f64) -> bool {
    let first = own.at - own.note.begun_by.min(own.at);
    let late = own.offset.unwrap_or(0.0);
    let by: f64 = measured.notes[..first]
        .iter()
        .rev()
        .take_while(|note| note.part != NoteKind::Melody)
        .enumerate()
        .filter(|(before, note)| {
            lengths.iter().any(|fault| {
                let dragged = fault.kind == FaultKind::Dragged && *before > 0;
                fault.id == Some(note.id) && (dragged || fault.kind == FaultKind::TooLong)
            })
        })
        .filter_map(|(_, note)| Some((note.own_length()? - note.expected_ms).0))
        .sum();
    late > 0.0 && late - by <= limit
}

fn off_its_place(measured: &Measurement, melody: &[Melody], number: usize, limit: f64) -> Fault {
    let own = &melody[number];
    let offset = own.offset.unwrap_or(0.0);
    let (late, by) = (offset > 0.0, offset.abs());
    // With several gracenotes on its place, it is the movement that began early. The note itself
    // may be on the click.
    let movement = own
        .note
        .movement
        .filter(|_| own.note.begun_by > 1)
        .map(|movement| {
            let bar = bar_words(&measured.notes, own.note.bar);
            let note = own.note.written.spoken();
            let name = movement.spoken();
            let on = if name.ends_with(note) {
                String::new()
            } else {
                format!(" on {note}")
            };
            format!("the {name}{on}{bar}")
        });
    let begun = movement.is_some();
    let name = movement.unwrap_or_else(|| spoken(measured, own.at));
    let verb = match (begun, own.note.on_click) {
        (true, _) => "began",
        (false, true) => "landed",
        (false, false) => "came",
    };
    let (kind, words) = if own.note.on_click {
        let side = if late { "after" } else { "before" };
        let kind = if late {
            FaultKind::Late
        } else {
            FaultKind::Early
        };
        (kind, format!("{name} {verb} {by:.0} ms {side} the click"))
    } else {
        let side = if late { "late" } else { "early" };
        let words = format!("{name} {verb} {by:.0} ms {side}; keep the beat even");
        (FaultKind::Uneven, words)
    };
    let first = own.at
        - if begun {
            own.note.begun_by.min(own.at)
        } else {
            0
        };
    Fault {
        kind,
        id: Some(measured.notes[first].id),
        measured: Some(offset),
        limit: Some(limit),
        weight: weight(by, limit),
        words,
    }
}
