//! The notes of one repetition paired with the notes heard, by the cheapest edits.
//!
//! It knows where the repetition is thought to begin and nothing of how that was found.

use super::heard::HeardNote;
use super::piece::{Expected, ExpectedStage};
use crate::practice::NoteKind;

/// The least share of a piece's melody notes that makes a repetition of it: one that is half wrong is
/// still a try at it. Chosen.
pub(super) const ENOUGH: f64 = 0.5;

/// What the time between a note heard and its expected place costs. The other edits: a note missing
/// or extra costs 1, a short extra one less, another note in a note's place less than one missing
/// and one extra.
fn away(piece: &ExpectedStage, expected: &Expected, note: &HeardNote, start_s: f64) -> f64 {
    let apart = (note.start_s - start_s - expected.start_s).abs();
    0.8 * (apart / (0.5 * piece.beat.0).min(0.3)).powi(2).min(2.0)
}

/// For each note of the piece its index among the notes heard, and the notes that are left over.
type Pairs = (Vec<Option<usize>>, Vec<usize>);

/// Pairs the notes of a repetition that begins at `start_s`; none where too few of its melody notes
/// were heard.
pub(super) fn pair(piece: &ExpectedStage, heard: &[HeardNote], start_s: f64) -> Option<Pairs> {
    let expected = &piece.notes;
    let from = start_s + expected.first()?.start_s - 0.35 * piece.beat.0;
    let to = start_s + expected.last()?.start_s + 0.5 * piece.beat.0;
    let low = heard.partition_point(|note| note.start_s < from);
    let high = heard.partition_point(|note| note.start_s < to);
    let window = &heard[low..high];
    let (rows, columns) = (expected.len() + 1, window.len() + 1);
    let mut costs = vec![f64::INFINITY; rows * columns];
    costs[0] = 0.0;
    for row in 0..rows {
        for column in 0..columns {
            let mut best = costs[row * columns + column];
            if row > 0 {
                best = best.min(costs[(row - 1) * columns + column] + 1.0);
            }
            if column > 0 {
                best =
                    best.min(costs[row * columns + column - 1] + extra_cost(&window[column - 1]));
            }
            if row > 0 && column > 0 {
                let before = costs[(row - 1) * columns + column - 1];
                let cost = edit(piece, &expected[row - 1], &window[column - 1], start_s);
                best = best.min(before + cost);
            }
            costs[row * columns + column] = best;
        }
    }
    let mut pairs = vec![None; expected.len()];
    let mut extra = Vec::new();
    let (mut row, mut column) = (rows - 1, columns - 1);
    while row > 0 || column > 0 {
        let here = costs[row * columns + column];
        if row > 0 && column > 0 {
            let before = costs[(row - 1) * columns + column - 1];
            let cost = edit(piece, &expected[row - 1], &window[column - 1], start_s);
            if (before + cost - here).abs() < 1e-9 {
                pairs[row - 1] = Some(low + column - 1);
                row -= 1;
                column -= 1;
                continue;
            }
        }
        if row > 0 && (costs[(row - 1) * columns + column] + 1.0 - here).abs() < 1e-9 {
            row -= 1;
        } else {
            column -= 1;
            extra.push(low + column);
        }
    }
    extra.reverse();
    let melody = expected
        .iter()
        .zip(&pairs)
        .filter(|(e, _)| e.part == NoteKind::Melody);
    let right = melody
        .clone()
        .filter(|(e, pair)| pair.is_some_and(|at| heard[at].note == e.note))
        .count();
    (right as f64 >= ENOUGH * melody.count() as f64).then_some((pairs, extra))
}

fn extra_cost(note: &HeardNote) -> f64 {
    if note.length().0 < 0.025 { 0.5 } else { 1.0 }
}

fn edit(piece: &ExpectedStage, expected: &Expected, note: &HeardNote, start_s: f64) -> f64 {
    let other = if expected.note == note.note { 0.0 } else { 1.1 };
    // a blip in a melody note's place is no melody note
    let short =
        expected.part == NoteKind::Melody && note.length().0 < 0.3 * expected.length_s.min(0.2);
    other + f64::from(u8::from(short)) * 0.7 + away(piece, expected, note, start_s)
}
