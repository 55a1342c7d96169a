//! When the notes of a pair sound: how far the onset of the second note moves from its written
//! place.
//!
//! Only the onset inside a pair moves. Beats, bars, clicks and the lengths of gracenotes stay as
//! written.

use crate::movement::Lengths;
use crate::rhythm::Pointing;
use crate::score::{NoteId, Score, ScoreNote};
use crate::units::{Beats, Bpm, Fraction, Millis};
use std::collections::BTreeSet;

/// The least length of a cut note with its gracenote, in milliseconds, when the pair has that much
/// time. The value comes from experience (55 to 65 % sure) and is never cited as fact.
const CUT_SHORTEST: i128 = 90;

/// A melody note that has an onset, with its sounding times in beats. Tied continuations have none.
pub(super) struct Onset<'a> {
    pub(super) note: &'a ScoreNote,
    /// The time at which it sounds, in beats from the start of the repetition.
    pub(super) start: Beats,
    /// The time to the next onset.
    pub(super) length: Beats,
    /// The written length in beats, ties included.
    pub(super) written: Beats,
}

/// A pair of a long and a short note that is pointed or never judged. Its written places do not say
/// which onset is right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PointedPair {
    /// Id of its second note.
    pub second: NoteId,
    /// True for a dot and its cut; false for a snap, whose short note comes first.
    pub long_first: bool,
    /// Where the onset of the second note belongs, in beats from the start of the repetition.
    pub onset: Beats,
    /// The ratio of long to short as it is laid out.
    pub ratio: Fraction,
    /// The smallest and the largest ratio that are equally good; none when the pair is never
    /// judged. The range ends at a ratio that the layout can reach at this tempo.
    pub range: Option<(Fraction, Fraction)>,
}

/// The melody notes of a repetition with the times at which they sound, and the pairs among them.
pub(super) fn onsets(
    score: &Score,
    tempo: Bpm,
    lengths: Lengths,
) -> (Vec<Onset<'_>>, Vec<PointedPair>) {
    let mut onsets: Vec<Onset> = Vec::with_capacity(score.notes.len());
    for (index, note) in score.notes.iter().enumerate() {
        if !note.continues {
            let written = score.sounding_length(index);
            onsets.push(Onset {
                note,
                start: note.start,
                length: written,
                written,
            });
        }
    }
    let mut pairs = Vec::new();
    if score.pointing == Pointing::default() {
        return (onsets, pairs);
    }
    let shortest = Millis::whole(CUT_SHORTEST).to_beats(tempo);
    for place in 1..onsets.len() {
        let [first, second] = [&onsets[place - 1], &onsets[place]];
        let (long_first, whole) = (
            first.written > second.written,
            first.written + second.written,
        );
        if !score.pointing.judged {
            pairs.extend(unjudged(second, first.written));
            continue;
        }
        let pointed = score.pointing.of_pair(long_first);
        let Some(pointed) = pointed
            .filter(|_| score.is_pair((first.note, first.written), (second.note, second.written)))
        else {
            continue;
        };
        let one = Fraction::from_integer(1);
        let asked = whole * (one / (pointed.ratio + one));
        // When the cut has too little time for the movement behind it, the movement takes its time
        // from the dot. Then the movement is not shrunk, and the cut is still heard.
        let behind = if long_first {
            onsets.get(place + 1)
        } else {
            Some(second)
        };
        let taken = behind.map_or(Beats::ZERO, |onset| time_before(onset, tempo, lengths));
        let needed = (shortest + taken).max(taken * (one / Lengths::MOST_OF_A_NOTE));
        let short = asked.max(needed.min(whole * Fraction::new(1, 2)));
        let long = whole - short;
        let start = first.start;
        let lengths = if long_first {
            [long, short]
        } else {
            [short, long]
        };
        let ratio = long.0 / short.0;
        onsets[place - 1].length = lengths[0];
        onsets[place].start = start + lengths[0];
        onsets[place].length = lengths[1];
        pairs.push(PointedPair {
            second: onsets[place].note.id,
            long_first,
            onset: onsets[place].start,
            ratio,
            range: Some((pointed.least.min(ratio), pointed.most.max(ratio))),
        });
    }
    (onsets, pairs)
}

/// The names, without repeats, of the movements that keep some pairs of a score rounder than its
/// other pairs at a tempo, because they take time from those pairs.
pub fn kept_round(
    held: &Score,
    usual: &Score,
    tempo: Bpm,
    lengths: Lengths,
) -> BTreeSet<&'static str> {
    let (places, pairs) = onsets(held, tempo, lengths);
    let (_, others) = onsets(usual, tempo, lengths);
    let same = pairs.iter().zip(&others);
    let same =
        same.filter(|(pair, other)| pair.second == other.second && pair.ratio <= other.ratio);
    same.filter_map(|(pair, _)| {
        let second = places.iter().position(|at| at.note.id == pair.second)?;
        let taker = places.get(second + usize::from(pair.long_first))?;
        let movement = taker.note.group.movement?;
        Some(movement.spoken())
    })
    .collect()
}

/// The time in beats that a note's movement takes from the note before it.
fn time_before(onset: &Onset, tempo: Bpm, lengths: Lengths) -> Beats {
    let group = &onset.note.group;
    let before = group.parts.iter().take(group.before_beat);
    before
        .map(|part| part.held.unwrap_or_else(|| lengths.of(part.role, tempo)))
        .sum()
}

/// A pair that is never judged: the second note stands between the beats and is at most half or at
/// least twice as long as the one before. In an air such a note has no exact place.
fn unjudged(second: &Onset, before: Beats) -> Option<PointedPair> {
    let (long_first, own) = (before > second.written, second.written);
    let (long, short) = (before.max(own), before.min(own));
    let between = second.note.place.floor() != second.note.place;
    (between && long >= short + short).then(|| PointedPair {
        second: second.note.id,
        long_first,
        onset: second.start,
        ratio: long.0 / short.0,
        range: None,
    })
}
