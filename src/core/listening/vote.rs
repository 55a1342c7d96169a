//! Where a repetition begins within a cycle, by the vote of all notes heard.
//!
//! It knows the notes of a piece and the notes heard, and nothing of repetitions.

use super::heard::HeardNote;
use super::piece::{Expected, ExpectedStage};
use crate::practice::NoteKind;

/// Two votes no farther apart than this are for the same place, seconds. Chosen.
const ALIKE_S: f64 = 0.08;
/// What a gracenote's vote for a repetition's place is worth beside a melody note's: its own beginning
/// moves with the movement.
const GRACENOTE: f64 = 0.5;

/// Where in the cycle a repetition begins, in seconds modulo the cycle's length: the place that most
/// heard notes agree on. None when no heard note can be one of the piece. Where a note is written
/// twice, as in a strike, only its gracenotes tell which is which.
pub(super) fn vote(piece: &ExpectedStage, heard: &[HeardNote]) -> Option<f64> {
    let long = 0.125 * piece.beat.0;
    let mut votes: Vec<(f64, f64)> = heard
        .iter()
        .flat_map(|note| {
            let held = note.length().0 > long;
            let could_be = move |expected: &&Expected| {
                let melody = expected.part == NoteKind::Melody;
                expected.note == note.note && (held || !melody)
            };
            piece.notes.iter().filter(could_be).map(|expected| {
                let melody = expected.part == NoteKind::Melody;
                let at = (note.start_s - expected.start_s).rem_euclid(piece.cycle.0);
                (at, if melody { 1.0 } else { GRACENOTE })
            })
        })
        .collect();
    // A tune has tens of thousands of votes: they are put in order once, so that the weight around a
    // place is the difference of two sums.
    votes.sort_by(|one, other| one.0.total_cmp(&other.0));
    let near = |at: f64| {
        votes.iter().filter(move |(vote, _)| {
            let away = (vote - at).rem_euclid(piece.cycle.0);
            away.min(piece.cycle.0 - away) <= ALIKE_S
        })
    };
    let mut sums = vec![0.0];
    sums.extend(votes.iter().scan(0.0, |sum, (_, weight)| {
        *sum += weight;
        Some(*sum)
    }));
    let before = |at: f64| sums[votes.partition_point(|(vote, _)| *vote < at)];
    let all = sums[votes.len()];
    let weight = |at: f64| {
        let (from, to) = (at - ALIKE_S, at + ALIKE_S);
        let wraps_down = if from < 0.0 {
            all - before(from + piece.cycle.0)
        } else {
            0.0
        };
        let wraps_up = if to > piece.cycle.0 {
            before(to - piece.cycle.0)
        } else {
            0.0
        };
        before(to) - before(from) + wraps_down + wraps_up
    };
    let best = votes
        .iter()
        .map(|(vote, _)| *vote)
        .max_by(|one, other| weight(*one).total_cmp(&weight(*other)))?;
    let sum: f64 = near(best)
        .map(|(vote, weight)| {
            weight * (vote - best + piece.cycle.0 / 2.0).rem_euclid(piece.cycle.0)
        })
        .sum();
    let weights: f64 = near(best).map(|(_, weight)| weight).sum();
    Some(best + sum / weights - piece.cycle.0 / 2.0)
}

#[cfg(test)]
mod tests {
    use super::super::by_hand::written;
    use super::*;
    use crate::chanter::Note;
    use crate::practice::NoteKind::{Gracenote, Melody};
    use crate::units::Seconds;

    /// A cycle of two seconds at 120: a low A at its beginning, and an F gracenote at its end.
    fn piece() -> ExpectedStage {
        ExpectedStage {
            notes: vec![
                written(Melody, Note::LowA, 1, 0.0, 0.5),
                written(Gracenote, Note::F, 1, 1.0, 0.05),
            ],
            beat: Seconds(0.5),
            cycle: Seconds(2.0),
            length: Seconds(1.5),
        }
    }

    fn tone(note: Note, from: f64, lasts: f64) -> HeardNote {
        HeardNote::known(note, Seconds(from), Seconds(from + lasts))
    }

    /// Low As of a beat, each a vote for its own beginning, and F gracenotes, each half a vote for a
    /// second before.
    fn place(low_a: &[f64], gracenotes: &[f64]) -> Option<f64> {
        let long = low_a.iter().map(|at| tone(Note::LowA, *at, 0.5));
        let short = gracenotes.iter().map(|at| tone(Note::F, *at, 0.05));
        let heard: Vec<HeardNote> = long.chain(short).collect();
        vote(&piece(), &heard)
    }

    /// The place counts within the cycle of two seconds.
    #[track_caller]
    fn check(found: Option<f64>, expected: f64) {
        let found = found.expect("there are votes");
        let off = (found - expected + 1.0).rem_euclid(2.0) - 1.0;
        assert!(off.abs() < 1e-9, "{found} for {expected}");
    }

    /// The mean of those that agree, and not of all.
    #[test]
    fn most_notes_say_where_it_begins() {
        check(place(&[0.5], &[]), 0.5);
        check(place(&[0.5, 2.52, 4.54, 1.2], &[]), 0.52);
        check(place(&[1.2, 0.5, 2.52, 4.54], &[]), 0.52);
        assert_eq!(place(&[], &[]), None);
    }

    /// A crowd that lies across the end of the cycle is one: in each of these one place alone sees all
    /// three of it, and what else agrees weighs two and a half.
    #[test]
    fn a_crowd_across_the_end_of_the_cycle_is_one_crowd() {
        // the two low As and the gracenote at 1.9 are for 0.9
        let other = [0.9, 2.9];
        let with = |crowd: [f64; 3]| place(&[&crowd[..], &other].concat(), &[1.9]);
        // 1.99 has 1.93 and 2.05 within 0.08
        check(with([1.93, 1.99, 4.05]), 1.99);
        // 0.01 has -0.05 and 0.07
        check(with([1.95, 2.01, 4.07]), 0.01);
        // and where nothing wraps
        check(with([0.34, 0.4, 2.46]), 0.4);
        // two of it weigh less, and so do two right behind the beginning
        check(place(&[1.99, 4.05, 0.9, 2.9], &[1.9]), 0.9);
        check(place(&[0.03, 2.05, 0.9, 2.9], &[1.9]), 0.9);
    }

    /// A gracenote's vote is half a melody note's, and what is shorter than an eighth of a beat, 62 ms, is
    /// no melody note. Another note than one that is written has no vote.
    #[test]
    fn each_note_has_its_weight() {
        check(place(&[0.5, 2.5], &[1.9, 3.9, 5.9]), 0.5);
        check(place(&[0.5], &[1.9, 3.9, 5.9]), 0.9);
        let with = |note: Note, lasts: f64| {
            let others = (0..3).map(|cycle| tone(note, 0.8 + 2.0 * f64::from(cycle), lasts));
            let heard: Vec<HeardNote> = others.chain([tone(Note::LowA, 0.2, 0.1)]).collect();
            vote(&piece(), &heard)
        };
        check(with(Note::LowA, 0.1), 0.8);
        check(with(Note::LowA, 0.05), 0.2);
        check(with(Note::C, 0.1), 0.2);
        // a long F is a gracenote that was held too long, and still only half a vote
        let held = [tone(Note::F, 1.8, 0.5), tone(Note::LowA, 0.2, 0.5)];
        check(vote(&piece(), &held), 0.2);
    }
}
