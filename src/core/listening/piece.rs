//! What is listened for: the notes of one repetition of a stage at a tempo.
//!
//! It knows the score and nothing of sound.

use crate::chanter::Note;
use crate::movement::{Context, Family, Movement, Role, recognise};
use crate::practice::{NoteKind, PairWanted};
use crate::rhythm::ClickWeight;
use crate::score::{NoteId, Score};
use crate::timeline::{EventKind, PointedPair, SoundPart, Timeline, TimelineEvent};
use crate::units::{Beats, Fraction, Seconds};
use std::collections::BTreeSet;

/// A note of the score at the tempo. Its times are seconds from the start of the repetition.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// Its name in the score.
    pub id: NoteId,
    /// What it is for.
    pub part: NoteKind,
    /// The note.
    pub note: Note,
    /// Where it begins.
    pub start_s: f64,
    /// How long it sounds.
    pub length_s: f64,
    /// True where its written place is on a beat.
    pub on_click: bool,
    /// True where it stands in a bar with a metre: without a metre no place is right or wrong.
    pub placed: bool,
    /// Where it is to begin, seconds: a melody note at its written place, or where its pair's
    /// pointing moves it; any other note where it begins in the timeline.
    pub place_s: f64,
    /// How many of the notes before it begin on its written place: gracenotes that take their
    /// time from it. The first of them is what belongs on the click.
    pub begun_by: usize,
    /// The movement of two notes or more that leads to a melody note, where it is a known one.
    pub movement: Option<Movement>,
    /// How the pair whose second note it is should be pointed.
    pub pair: Option<PairWanted>,
    /// True for a tap of a birl.
    pub tap: bool,
}

/// A stage at a tempo, ready to be compared.
#[derive(Debug, Clone, PartialEq)]
pub struct ExpectedStage {
    /// The notes of one repetition in order of time; gracenotes of the first may begin before 0.
    pub notes: Vec<Expected>,
    /// The length of a beat.
    pub beat: Seconds,
    /// From one repetition to the next, breath included.
    pub cycle: Seconds,
    /// The repetition alone.
    pub length: Seconds,
}

impl ExpectedStage {
    /// The notes of a later repetition, as the timeline plays them.
    pub fn of(score: &Score, timeline: &Timeline) -> Self {
        let beat_s = 60.0 / timeline.tempo.to_f64();
        let seconds = |beats: Beats| beats.to_f64() * beat_s;
        let cycle = timeline.cycle;
        let mut notes: Vec<Expected> = Vec::new();
        let clicked = clicked(score, timeline);
        for event in &timeline.again {
            let EventKind::Sound(sound) = event.kind else {
                continue;
            };
            let begins = if event.ahead {
                event.beat - cycle
            } else {
                event.beat
            };
            let belongs = score
                .notes
                .iter()
                .position(|note| note.id == sound.id.melody());
            let pair = timeline
                .pairs
                .iter()
                .find(|pair| pair.second == sound.id.melody());
            let written = match pair {
                Some(pair) => pair.onset,
                None => belongs.map_or(begins, |at| score.notes[at].start),
            };
            let place = belongs.map_or(Beats::ZERO, |at| score.notes[at].place);
            let movement = belongs.and_then(|at| movement(score, at));
            let (part, on_click) = match sound.part {
                SoundPart::Melody { .. } => {
                    (NoteKind::Melody, place.floor() == place && clicked(written))
                }
                SoundPart::Gracenote(Role::Sounding) => (NoteKind::Tone, false),
                SoundPart::Gracenote(_) => (NoteKind::Gracenote, false),
            };
            let begun_by = if part == NoteKind::Melody {
                notes
                    .iter()
                    .rev()
                    .take_while(|before| {
                        before.part != NoteKind::Melody && before.start_s >= seconds(written) - 1e-6
                    })
                    .count()
            } else {
                0
            };
            notes.push(Expected {
                id: sound.id,
                part,
                note: sound.note,
                start_s: seconds(begins),
                length_s: seconds(sound.length),
                on_click,
                placed: belongs.is_none_or(|at| {
                    let bar = score.bars.get(score.notes[at].bar);
                    bar.is_none_or(|bar| !bar.metre.is_free())
                }),
                place_s: seconds(if part == NoteKind::Melody {
                    written
                } else {
                    begins
                }),
                begun_by,
                movement: movement.filter(|_| part == NoteKind::Melody),
                pair: pair.filter(|_| part == NoteKind::Melody).map(wanted),
                tap: part == NoteKind::Gracenote
                    && sound.note == Note::LowG
                    && movement.is_some_and(taps),
            });
            notes.sort_by(|one, other| one.start_s.total_cmp(&other.start_s));
        }
        Self {
            notes,
            beat: Seconds(beat_s),
            cycle: Seconds(seconds(cycle)),
            length: Seconds(seconds(timeline.repetition)),
        }
    }
}

fn wanted(pair: &PointedPair) -> PairWanted {
    let float = |ratio: Fraction| *ratio.numer() as f64 / *ratio.denom() as f64;
    PairWanted {
        long_first: pair.long_first,
        ratio: float(pair.ratio),
        range: pair.range.map(|(least, most)| (float(least), float(most))),
    }
}

/// The movement that leads to a melody note; none where only one gracenote does.
fn movement(score: &Score, at: usize) -> Option<Movement> {
    let note = &score.notes[at];
    if note.group.parts.len() < 2 {
        return None;
    }
    note.group.movement.or_else(|| {
        let context = Context {
            before: at.checked_sub(1).map(|before| score.notes[before].note),
            after: note.note,
        };
        let gracenotes: Vec<Note> = note.group.parts.iter().map(|part| part.note).collect();
        recognise(&gracenotes, context).names.first().copied()
    })
}

/// Tells where a beat has a click: everywhere, but where beats are counted in groups.
fn clicked(score: &Score, timeline: &Timeline) -> impl Fn(Beats) -> bool + use<> {
    let grouped = score.bars.iter().any(|bar| bar.metre.is_grouped());
    let click = |event: &TimelineEvent| match event.kind {
        EventKind::Click(click) if click.weight != ClickWeight::Part => Some(event.beat),
        _ => None,
    };
    let clicks: BTreeSet<Beats> = timeline.again.iter().filter_map(click).collect();
    move |at: Beats| !grouped || clicks.contains(&at)
}

/// True for a movement whose low Gs are tapped: a birl, and the hiharin that has its taps.
fn taps(movement: Movement) -> bool {
    movement.family() == Family::Birl || movement.name() == "hiharin"
}

#[cfg(test)]
mod tests;
