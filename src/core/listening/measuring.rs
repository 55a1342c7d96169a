//! The figures of a repetition, note by note, once it is known which note is which.
//!
//! It knows the alignment and nothing of how it was found; it judges nothing.

use super::heard::HeardNote;
use super::piece::ExpectedStage;
use crate::practice::{ExtraNote, Measurement, NoteKind, NoteMeasure};
use crate::units::{Milliseconds, Seconds, median};

/// A blip no longer than so many seconds does not end a note: no finger lifts and falls so quickly.
/// Chosen.
const JOINED: f64 = 0.01;
/// A noise that begins at most so many seconds before the first note belongs to the repetition: as
/// long as a gracenote. Chosen.
const BLIP: f64 = 0.06;

pub(super) fn measure(
    piece: &ExpectedStage,
    heard: &[HeardNote],
    start_s: f64,
    pairs: &[Option<usize>],
    extra: &[usize],
) -> Measurement {
    let (ends, besides) = joined(heard, pairs, extra);
    let notes = (0..piece.notes.len())
        .map(|at| note_measure(piece, heard, start_s, pairs, (at, ends[at])))
        .collect();
    let first = pairs.iter().flatten().next().copied();
    let belongs = |at: &&usize| is_of_the_repetition(piece, heard, start_s, first, **at);
    let extra = besides
        .iter()
        .filter(belongs)
        .map(|at| extra_note(piece, heard, pairs, *at))
        .collect();
    Measurement {
        playing: true,
        beat_ms: piece.beat.milliseconds(),
        drift_percent: drift(piece, &offsets(piece, heard, start_s, pairs)),
        notes,
        extra,
        lead_ms: Milliseconds(0.0),
        confidence: confidence(heard, start_s, start_s + piece.length.0),
    }
}

/// The note of the piece that was heard last before a place in the row of notes heard.
fn last_before(pairs: &[Option<usize>], at: usize) -> Option<usize> {
    (0..pairs.len())
        .rev()
        .find(|place| pairs[*place].is_some_and(|heard| heard < at))
}

/// Where each note of the piece ended, seconds, and which extra notes are none of its notes: a note
/// that a blip cut in two goes on after it.
fn joined(
    heard: &[HeardNote],
    pairs: &[Option<usize>],
    extra: &[usize],
) -> (Vec<Option<f64>>, Vec<usize>) {
    let mut ends: Vec<Option<f64>> = pairs
        .iter()
        .map(|at| at.map(|at| heard[at].end_s))
        .collect();
    let mut besides: Vec<usize> = Vec::new();
    for at in extra {
        let note = &heard[*at];
        let before = last_before(pairs, *at);
        // a note that is silent for a moment and sounds on is one note: no finger moved
        let like = |other: Option<usize>| {
            other
                .and_then(|other| heard.get(other))
                .is_some_and(|other| other.note == note.note)
        };
        if like(at.checked_sub(1)) {
            if let Some(place) = pairs.iter().position(|pair| *pair == at.checked_sub(1)) {
                ends[place] = Some(note.end_s);
            }
            continue;
        }
        if like(Some(at + 1)) {
            continue;
        }
        match before {
            Some(place)
                if pairs[place].is_some_and(|p| heard[p].note == note.note)
                    && besides.last() == Some(&(at - 1))
                    && note.start_s - heard[at - 1].end_s <= JOINED =>
            {
                ends[place] = Some(note.end_s);
            }
            _ => besides.push(*at),
        }
    }
    (ends, besides)
}

/// The figures of one note of the piece, by its place and where it ended.
fn note_measure(
    piece: &ExpectedStage,
    heard: &[HeardNote],
    start_s: f64,
    pairs: &[Option<usize>],
    (at, end): (usize, Option<f64>),
) -> NoteMeasure {
    let expected = &piece.notes[at];
    let note = pairs[at].map(|place| &heard[place]);
    let sounded = note
        .map(|note| note.note)
        .or_else(|| ran_on(piece, heard, start_s, pairs, at).then_some(expected.note));
    let offset_s = if expected.part == NoteKind::Melody {
        offset(piece, heard, start_s, pairs, at).filter(|_| expected.placed)
    } else {
        note.map(|note| note.start_s - start_s - expected.start_s)
    };
    NoteMeasure {
        id: number(at),
        bar: u32::from(expected.id.bar),
        part: expected.part,
        written: expected.note,
        heard: sounded,
        length_ms: note
            .zip(end)
            .map(|(note, end)| Seconds(end - note.start_s).milliseconds()),
        expected_ms: Seconds(expected.length_s).milliseconds(),
        offset_ms: offset_s.map(|offset| Seconds(offset).milliseconds()),
        on_click: expected.on_click && expected.placed,
        place_ms: (expected.part == NoteKind::Melody && expected.placed)
            .then_some(Seconds(expected.place_s).milliseconds()),
        begun_by: expected.begun_by,
        tap: expected.tap,
        pair: expected.pair.filter(|_| expected.placed),
        movement: expected.movement,
        cents: note
            .filter(|_| expected.part == NoteKind::Melody)
            .and_then(|note| note.cents),
    }
}

/// True for an extra sound that belongs to the repetition: what sounded in the breath is no part of
/// it.
fn is_of_the_repetition(
    piece: &ExpectedStage,
    heard: &[HeardNote],
    start_s: f64,
    first: Option<usize>,
    at: usize,
) -> bool {
    let note = &heard[at];
    match first {
        Some(first) if at < first => {
            heard[first].start_s - note.start_s <= BLIP
                && at > 0
                && note.start_s - heard[at - 1].end_s <= JOINED
        }
        _ => note.start_s < start_s + piece.length.0 - JOINED,
    }
}

fn extra_note(
    piece: &ExpectedStage,
    heard: &[HeardNote],
    pairs: &[Option<usize>],
    at: usize,
) -> ExtraNote {
    let before = last_before(pairs, at);
    ExtraNote {
        bar: before.map_or(1, |place| u32::from(piece.notes[place].id.bar)),
        after: before.map(number),
        note: heard[at].note,
        length_ms: heard[at].length().milliseconds(),
    }
}

/// Mean confidence of the notes that sound between two moments; none where none does.
fn confidence(heard: &[HeardNote], from_s: f64, to_s: f64) -> Option<f64> {
    let first = heard.partition_point(|note| note.end_s <= from_s);
    let inside = heard[first..].iter().take_while(|note| note.start_s < to_s);
    let (count, sum) = inside.fold((0.0, 0.0), |(count, sum), note| {
        (count + 1.0, sum + note.confidence)
    });
    (count > 0.0).then(|| sum / count)
}

/// True when a note has no beginning of its own because the gracenotes between it and its like are
/// missing: one long note sounds where two should.
fn ran_on(
    piece: &ExpectedStage,
    heard: &[HeardNote],
    start_s: f64,
    pairs: &[Option<usize>],
    at: usize,
) -> bool {
    let expected = &piece.notes[at];
    let like = |other: usize| {
        let place = pairs[other]?;
        let same = piece.notes[other].note == expected.note && heard[place].note == expected.note;
        same.then(|| &heard[place])
    };
    let before = (0..at).rev().find(|other| pairs[*other].is_some());
    let after = (at + 1..pairs.len()).find(|other| pairs[*other].is_some());
    let middle = start_s + expected.start_s + 0.5 * expected.length_s.min(0.06);
    // the last note of the repetition before, held through the breath
    let held = || {
        let through = |note: &&HeardNote| note.start_s < middle && note.end_s > middle;
        before.is_none()
            && heard
                .iter()
                .find(through)
                .is_some_and(|note| note.note == expected.note)
    };
    (before.is_some_and(|before| before + 1 < at)
        && before
            .and_then(like)
            .is_some_and(|note| note.end_s > middle))
        || (after.is_some_and(|after| after > at + 1)
            && after
                .and_then(like)
                .is_some_and(|note| note.start_s < middle))
        || (at > 0 && held())
}

/// How far each melody note lies off its written place: its index in the piece, and its offset in
/// seconds.
pub(super) fn offsets(
    piece: &ExpectedStage,
    heard: &[HeardNote],
    start_s: f64,
    pairs: &[Option<usize>],
) -> Vec<(usize, f64)> {
    (0..piece.notes.len())
        .filter(|at| piece.notes[*at].part == NoteKind::Melody)
        .filter_map(|at| offset(piece, heard, start_s, pairs, at).map(|offset| (at, offset)))
        .collect()
}

fn offset(
    piece: &ExpectedStage,
    heard: &[HeardNote],
    start_s: f64,
    pairs: &[Option<usize>],
    at: usize,
) -> Option<f64> {
    // the first gracenote belongs on the place; where it was not heard, the next one that was
    // counts
    let first = at - piece.notes[at].begun_by.min(at);
    let place = pairs[first..=at].iter().flatten().next()?;
    Some(heard[*place].start_s - start_s - piece.notes[first].start_s)
}

/// The number a note of the piece goes by in a [`Measurement`]: its place in the row, from 0.
pub fn number(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX)
}

/// Change of tempo in per cent, quicker positive: the median of the slopes between all pairs of
/// melody notes (Theil 1950), so that one note off its place is no change of tempo. Nothing is said
/// of fewer than five notes.
fn drift(piece: &ExpectedStage, offsets: &[(usize, f64)]) -> f64 {
    let offsets: Vec<(usize, f64)> = offsets
        .iter()
        .filter(|(at, _)| piece.notes[*at].placed)
        .copied()
        .collect();
    if offsets.len() < 5 {
        return 0.0;
    }
    let mut slopes = Vec::new();
    for (place, (a, early)) in offsets.iter().enumerate() {
        for (b, late) in &offsets[place + 1..] {
            let apart = piece.notes[*b].start_s - piece.notes[*a].start_s;
            if apart > 0.5 * piece.beat.0 {
                slopes.push((late - early) / apart);
            }
        }
    }
    median(&mut slopes).map_or(0.0, |slope| -100.0 * slope)
}

#[cfg(test)]
mod tests;
