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
    while column > 0 {
        let here = costs[row * columns + column];
        if row > 0 {
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

#[cfg(test)]
mod tests {
    use super::super::by_hand::written;
    use super::*;
    use crate::chanter::Note;
    use crate::practice::NoteKind::{Gracenote, Melody};
    use crate::units::Seconds;

    /// Four crotchets at 120, each of the last three with a gracenote; the grip before the first begins
    /// a tenth of a second early.
    fn piece() -> ExpectedStage {
        ExpectedStage {
            notes: vec![
                written(Gracenote, Note::D, 1, -0.1, 0.1),
                written(Melody, Note::LowA, 1, 0.0, 0.5),
                written(Gracenote, Note::HighG, 1, 0.5, 0.05),
                written(Melody, Note::B, 1, 0.55, 0.45),
                written(Gracenote, Note::HighG, 1, 1.0, 0.05),
                written(Melody, Note::C, 1, 1.05, 0.45),
                written(Gracenote, Note::HighG, 1, 1.5, 0.05),
                written(Melody, Note::E, 1, 1.55, 0.45),
            ],
            beat: Seconds(0.5),
            cycle: Seconds(4.0),
            length: Seconds(2.0),
        }
    }

    /// Where the repetition begins in the sound.
    const START: f64 = 8.0;

    fn tone(note: Note, from: f64, lasts: f64) -> HeardNote {
        let from = START + from;
        HeardNote::known(note, Seconds(from), Seconds(from + lasts))
    }

    fn exactly() -> Vec<HeardNote> {
        let piece = piece();
        let notes = piece.notes.iter();
        notes
            .map(|note| tone(note.note, note.start_s, note.length_s))
            .collect()
    }

    fn pairs(heard: &[HeardNote]) -> Option<Pairs> {
        pair(&piece(), heard, START)
    }

    /// A repetition is looked for from a third of a beat before its first note, which may be a gracenote
    /// ahead of it, to half a beat after the beginning of its last: at 120 from 175 ms before to 250 ms
    /// after.
    #[test]
    fn the_first_and_the_last_note_may_lie_a_little_outside() {
        let with = |at: usize, by: f64| {
            let mut heard = exactly();
            let begins = heard[at].start_s + by - START;
            heard[at] = tone(heard[at].note, begins, 0.3);
            pairs(&heard).expect("most of it is right").0[at]
        };
        assert_eq!(with(0, -0.15), Some(0));
        assert_eq!(with(0, -0.2), None);
        assert_eq!(with(7, 0.23), Some(7));
        assert_eq!(with(7, 0.27), None);
    }

    /// The stretch that is looked through has its beginning and not its end. Of a beat of 20 s it begins 7 s
    /// before the first note and ends 10 s after the last.
    #[test]
    fn the_stretch_has_its_beginning_and_not_its_end() {
        let piece = ExpectedStage {
            notes: vec![
                written(Melody, Note::LowA, 1, 0.0, 20.0),
                written(Melody, Note::B, 1, 20.0, 20.0),
            ],
            beat: Seconds(20.0),
            cycle: Seconds(80.0),
            length: Seconds(40.0),
        };
        let window = |from: f64, to: f64| {
            let heard = [
                tone(Note::F, from, 1.0),
                tone(Note::LowA, 0.0, 20.0),
                tone(Note::B, 20.0, 9.0),
                tone(Note::F, to, 1.0),
            ];
            pair(&piece, &heard, START).expect("all of it is there").1
        };
        assert_eq!(window(-7.0, 29.75), [0, 3]);
        assert_eq!(window(-7.25, 30.0), [0; 0]);
    }

    /// A sound of 25 ms may be a gracenote [M], and one of 0.3 of a melody note, 60 ms at most, may be that
    /// note: what is as long as the limit is within it.
    #[test]
    fn a_sound_as_long_as_its_limit_is_a_note() {
        let piece = ExpectedStage {
            notes: vec![
                written(Melody, Note::LowA, 1, 0.0, 1.0),
                written(Melody, Note::B, 1, 1.0, 1.0),
            ],
            beat: Seconds(1.0),
            cycle: Seconds(4.0),
            length: Seconds(2.0),
        };
        let first = |from: f64, to: f64, start_s: f64| {
            let b = HeardNote::known(Note::B, Seconds(start_s + 1.0), Seconds(start_s + 2.0));
            let other = HeardNote::known(Note::F, Seconds(from), Seconds(to));
            pair(&piece, &[other, b], start_s)
                .expect("half of it is right")
                .0[0]
        };
        // another note in its place: one of 25 ms costs as much to leave out as any other
        assert_eq!(first(0.0, 0.025, 0.0), Some(0));
        assert_eq!(first(0.0, 0.024, 0.0), None);
        // a quarter of a second late: one of 60 ms is taken for it
        assert_eq!(first(0.0, 0.06, -0.25), Some(0));
        assert_eq!(first(0.0, 0.059, -0.25), None);
    }

    /// What sounds before the first note and after the last, and is none of them, is extra.
    #[test]
    fn noises_around_the_repetition_are_extra() {
        let mut heard = exactly();
        heard.insert(0, tone(Note::F, -0.16, 0.02));
        heard.insert(0, tone(Note::F, -0.12, 0.02));
        heard.sort_by(|one, other| one.start_s.total_cmp(&other.start_s));
        heard.push(tone(Note::LowG, 1.7, 0.02));
        let (pairs, extra) = pairs(&heard).expect("all of it is right");
        assert_eq!(pairs, (2..10).map(Some).collect::<Vec<_>>());
        assert_eq!(extra, [0, 1, 10]);
    }

    /// A try at the piece has half of its melody notes right. Gracenotes make none, and need not be there.
    #[test]
    fn half_of_the_melody_makes_a_try() {
        let with = |wrong: &[usize]| {
            let mut heard = exactly();
            for at in wrong {
                heard[*at].note = Note::F;
            }
            pairs(&heard).is_some()
        };
        assert!(with(&[]) && with(&[1]) && with(&[1, 3]));
        assert!(!with(&[1, 3, 5]) && !with(&[1, 3, 5, 7]));
        assert!(with(&[0, 2, 4, 6]));
    }
}
