//! When notes came: landings on the click, movements begun early or late, pointing, evenness.
//!
//! Only the note that moved is blamed. A landing that a long gracenote or a dragged tone before it
//! pushed is that fault and no second one, and a tempo that runs is told as that and not as one
//! early note after the other.

use super::words::{bar_words, spoken, the};
use super::{Fault, FaultKind, Thresholds, weight};
use crate::practice::measurement::{Measurement, NoteMeasure, Part};

/// A note written at least so many times as long as the one beside it is a dot beside a cut: 2 to 1
/// is the roundest pointing that is written, with room for rounding. Chosen.
const POINTED: f64 = 1.9;

/// A melody note with its place in the row of notes.
#[derive(Clone, Copy)]
struct Melody<'a> {
    at: usize,
    note: &'a NoteMeasure,
    /// How far it came from its place, the tempo's own running taken off; positive is late.
    offset: Option<f64>,
}

pub(super) fn judge(measured: &Measurement, limits: &Thresholds, lengths: &[Fault]) -> Vec<Fault> {
    let limit = limits.offset_limit(measured.beat_ms);
    let running = if measured.drift_percent.abs() > limits.drift_percent {
        measured.drift_percent
    } else {
        0.0
    };
    let melody = melody(measured, running);
    (0..melody.len())
        .filter_map(|number| {
            let own = &melody[number];
            let offset = own.offset?;
            let blameless = own.note.heard != Some(own.note.written)
                || offset.abs() <= limit
                || pushed(measured, own, lengths, limit);
            if blameless {
                return None;
            }
            Some(
                pointing(measured, &melody, number, limit)
                    .unwrap_or_else(|| off_its_place(measured, &melody, number, limit)),
            )
        })
        .collect()
}

/// The melody notes, their offsets measured from a line where the tempo ran.
fn melody(measured: &Measurement, drift_percent: f64) -> Vec<Melody<'_>> {
    let slope = -drift_percent / 100.0;
    let mut notes: Vec<Melody> = measured
        .notes
        .iter()
        .enumerate()
        .filter(|(_, note)| note.part == Part::Melody)
        .map(|(at, note)| Melody {
            at,
            note,
            offset: note
                .offset_ms
                .map(|offset| offset - slope * note.place_ms.unwrap_or(0.0)),
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

/// True for a tone that is dragged only because the note after it came late: the landing is the fault.
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
        .and_then(|place| place.measured)
        .unwrap_or(0.0);
    let rest = note.own_length_ms().unwrap_or(0.0) - late;
    fault.kind == FaultKind::Dragged
        && landing.part == Part::Melody
        && late > 0.0
        && fault.limit.is_some_and(|limit| rest <= limit)
}

/// True when notes of its own movement that lasted too long, and are told as that, made it late. The
/// tone just before it does not count: it may only have waited.
fn pushed(measured: &Measurement, own: &Melody, lengths: &[Fault], limit: f64) -> bool {
    let first = own.at - own.note.begun_by.min(own.at);
    let late = own.offset.unwrap_or(0.0);
    let by: f64 = measured.notes[..first]
        .iter()
        .rev()
        .take_while(|note| note.part != Part::Melody)
        .enumerate()
        .filter(|(before, note)| {
            lengths.iter().any(|fault| {
                let dragged = fault.kind == FaultKind::Dragged && *before > 0;
                fault.id == Some(note.id) && (dragged || fault.kind == FaultKind::TooLong)
            })
        })
        .filter_map(|(_, note)| Some(note.own_length_ms()? - note.expected_ms))
        .sum();
    by > 0.0 && late > 0.0 && late - by <= limit
}

/// A dot and a cut played round: the cut came early after the dot, or in a snap the dot late after
/// the cut, while the dot (in a snap the cut) stood on its place.
fn pointing(measured: &Measurement, melody: &[Melody], number: usize, limit: f64) -> Option<Fault> {
    let own = &melody[number];
    let before = &melody[number.checked_sub(1)?];
    let next = melody.get(number + 1);
    let (from, here) = (before.note.place_ms?, own.note.place_ms?);
    let end = next
        .and_then(|next| next.note.place_ms)
        .unwrap_or(here + own.note.expected_ms);
    let (first, second) = (here - from, end - here);
    let by = own.offset? - before.offset.unwrap_or(0.0);
    if own.note.on_click || by.abs() <= limit || first <= 0.0 || second <= 0.0 {
        return None;
    }
    let dot_first = first >= POINTED * second && by < 0.0;
    let cut_first = second >= POINTED * first && by > 0.0;
    // where the notes that follow moved with it, the pointing is as written
    let next_off = next.and_then(|next| next.offset).unwrap_or(0.0);
    let together = (next_off - own.offset?).abs() <= limit && next.is_some();
    if together || !(dot_first || cut_first) {
        return None;
    }
    let (earlier, later) = (
        the(&measured.notes, before.at),
        the(&measured.notes, own.at),
    );
    let bar = bar_words(&measured.notes, own.note.bar);
    // a grip or taorluath before the cut takes its time from the dot
    let taken = measured.notes[before.at + 1..own.at - own.note.begun_by.min(own.at)]
        .iter()
        .any(|note| note.part == Part::Tone);
    let advice = match (dot_first, taken) {
        (true, false) => format!("hold {earlier}{bar}, cut {later} shorter"),
        (true, true) => format!("cut {later}{bar} shorter"),
        (false, _) => format!("cut {earlier}{bar} shorter, hold {later}"),
    };
    let played = (first + by) / (second - by + next_off - before.offset.unwrap_or(0.0)).max(1.0);
    let ratio = |played: f64| {
        if dot_first {
            format!("{played:.1} to 1")
        } else {
            format!("1 to {:.1}", 1.0 / played.max(0.01))
        }
    };
    Some(Fault {
        kind: FaultKind::Pointing,
        id: Some(own.note.id),
        measured: own.offset,
        limit: Some(limit),
        weight: weight(by.abs(), limit),
        words: format!(
            "{advice}: played {}, written {}",
            ratio(played),
            ratio(first / second)
        ),
    })
}

fn off_its_place(measured: &Measurement, melody: &[Melody], number: usize, limit: f64) -> Fault {
    let own = &melody[number];
    let offset = own.offset.unwrap_or(0.0);
    let (late, by) = (offset > 0.0, offset.abs());
    // several gracenotes on its place: what began early is the movement, and the note itself may
    // well stand on the click
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
