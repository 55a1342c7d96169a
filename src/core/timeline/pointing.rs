//! When the notes of a pair sound: how far the second one's onset moves from its written place.
//!
//! Only the onset inside a pair moves. Beats, bars and clicks stay where they are written, and so do
//! the lengths of gracenotes.

use crate::movement::Lengths;
use crate::rhythm::Pointing;
use crate::score::{NoteId, Score, ScoreNote};
use crate::units::{Beats, Bpm, Fraction, Millis};
use std::collections::BTreeSet;

/// A cut note lasts at least so long with its gracenote, milliseconds, where the pair has the time:
/// from experience, 55 to 65 % sure, never cited as fact.
const CUT_SHORTEST: i128 = 90;

/// A melody note with an onset of its own, when it sounds.
pub(super) struct Onset<'a> {
    pub(super) note: &'a ScoreNote,
    /// From the start of the repetition.
    pub(super) start: Beats,
    /// Up to the next onset's start.
    pub(super) length: Beats,
    /// The written length, ties included.
    pub(super) written: Beats,
}

/// A pair, a long note and a short one, that is pointed or never judged, so that its written places
/// do not say what is right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PointedPair {
    /// The name of its second note.
    pub second: NoteId,
    /// True for a dot and its cut; false for a snap, whose short note comes first.
    pub long_first: bool,
    /// Where the second note belongs, beats from the start of the repetition.
    pub onset: Beats,
    /// The ratio of long to short as it is laid out.
    pub ratio: Fraction,
    /// The least and the greatest ratio that are as good, roundest and sharpest; none where the
    /// pair is never judged. A ratio that [`PointedPair::ratio`] could not reach at this tempo is
    /// not asked for.
    pub range: Option<(Fraction, Fraction)>,
}

/// The melody notes of a repetition when they sound, and the pairs among them.
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
        // where the cut has too little time for the movement behind it, the movement takes its time
        // from the dot: it is not shrunk, and the cut is still heard
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

/// The movements that keep some pairs of a score from being as long to short as its other pairs at
/// a tempo, because they take their time from them: by name, each once.
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

/// The time that a note's movement takes from the note before it.
fn time_before(onset: &Onset, tempo: Bpm, lengths: Lengths) -> Beats {
    let group = &onset.note.group;
    let before = group.parts.iter().take(group.before_beat);
    before
        .map(|part| part.held.unwrap_or_else(|| lengths.of(part.role, tempo)))
        .sum()
}

/// A note between the beats that is at most half as long as the one before it, or twice as long: in
/// an air it has no place of its own.
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
