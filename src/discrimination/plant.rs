//! One fault planted in a timeline, as large as asked; every onset outside the movement stays.

use super::figure::{Figure, figures, is_tone, sounded};
use crate::chanter::{Note, crossing};
use crate::movement::{Movement, Role};
use crate::practice::Difference;
use crate::score::{NoteId, Score};
use crate::timeline::{EventKind, SoundPart, Sounded, Timeline, TimelineEvent};
use crate::units::{Beats, Bpm, Fraction, Millis, Milliseconds};

/// The smallest fault that is planted: two sounds closer than 2 ms are heard as one
/// (Hirsh, JASA 31, 1959).
pub const SMALLEST: Milliseconds = Milliseconds(2.0);
/// A fault takes at most this part of the note that gives its time, so that it is not swallowed.
/// Chosen: as crowding does.
const MOST_OF_A_NOTE: f64 = 0.6;
/// At least this part of a tone's length is left. Chosen.
const LEFT_OF_A_TONE: f64 = 0.2;
/// The longest blip and the longest excess of a gracenote, milliseconds. Chosen: a longer one is
/// heard as a note.
const LONGEST_MS: f64 = 80.0;
/// How early a movement begins at most, milliseconds. Chosen: earlier it is another rhythm.
const EARLIEST_MS: f64 = 150.0;
/// A place whose widest fault is smaller than this, in milliseconds, leaves no range to search in.
/// Chosen.
const TOO_LITTLE_MS: f64 = 10.0;

/// A place in a timeline where a kind of fault can be planted.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// The kind.
    pub difference: Difference,
    /// The melody note whose figure has it.
    pub note: NoteId,
    /// The widest fault.
    pub widest: Milliseconds,
    /// What is listened for, with its notes: `one low G longer than the other`.
    pub what: String,
    /// Which sounds of the figure it touches, in order.
    touched: Vec<usize>,
    /// Which of the sounds stands on the written place.
    on_the_beat: usize,
    /// The note that a blip sounds; none for other faults.
    blip: Option<Note>,
    /// The length of the first touched sound where it is clean, milliseconds.
    clean_ms: f64,
    /// The name of the touched sound or sounds: `low G`, `tone`.
    name: String,
    /// The notes before and after a blip.
    between: (Note, Note),
}

/// The places for each kind of fault that a repetition has any for, in the order of
/// [`Difference::ALL`]: in the movement that is asked for where it can have the fault, else in the
/// longest that can.
pub fn spots(score: &Score, timeline: &Timeline, wanted: Option<Movement>) -> Vec<Spot> {
    let figures = figures(score, timeline);
    let find = |difference: Difference| {
        let mut ranked: Vec<&Figure> = figures.iter().collect();
        ranked.sort_by_key(|figure| figure.rank(wanted, difference));
        ranked
            .into_iter()
            .filter_map(|figure| spot(figure, difference, timeline.tempo))
            .find(|spot| spot.widest.0 >= TOO_LITTLE_MS)
    };
    Difference::ALL.into_iter().filter_map(find).collect()
}

fn milliseconds(beats: Beats, tempo: Bpm) -> f64 {
    beats.to_f64() * tempo.beat().to_f64()
}

/// A figure's place for a kind of fault.
fn spot(figure: &Figure, difference: Difference, tempo: Bpm) -> Option<Spot> {
    let length = |sounded: &Sounded| milliseconds(sounded.length, tempo);
    let giving = |sounded: &Sounded| length(sounded) * MOST_OF_A_NOTE;
    let gracenotes = figure.gracenotes();
    let tones: Vec<usize> = (0..gracenotes.len())
        .filter(|at| is_tone(&gracenotes[*at].1) && !figure.held[*at])
        .collect();
    let note = |at: usize| figure.sounds[at].1.note;
    let taps: Vec<usize> = (0..gracenotes.len())
        .filter(|at| !is_tone(&gracenotes[*at].1) && note(*at) < figure.melody().note)
        .collect();
    let named = |at: usize| {
        let tap = if taps.contains(&at) { " tap" } else { "" };
        format!("{}{tap}", note(at).spoken())
    };
    let mut blip = None;
    let between = (figure.before.note, crossed_to(figure));
    let (touched, widest_ms, name) = match difference {
        Difference::Crushed => crushed(figure, tones, tempo)?,
        Difference::Unlike => {
            let (pair, widest) = unlike(figure, &tones, &taps, tempo)?;
            let name = named(pair[0]);
            (pair, widest, name)
        }
        Difference::Long => {
            let at = (0..gracenotes.len()).find(|at| !is_tone(&gracenotes[*at].1))?;
            let giver = if at < figure.on_the_beat {
                figure.before
            } else {
                figure.melody()
            };
            let name = if taps.contains(&at) {
                named(at)
            } else {
                format!("{} gracenote", named(at))
            };
            (vec![at], giving(&giver).min(LONGEST_MS), name)
        }
        Difference::Early => {
            let name = match figure.movement {
                Some(movement) => format!("the {}", movement.spoken()),
                None if gracenotes.is_empty() => return None,
                None => "the movement".to_owned(),
            };
            let all = (0..figure.sounds.len()).collect();
            (all, giving(&figure.before).min(EARLIEST_MS), name)
        }
        Difference::Blip => {
            let way = crossing(between.0, between.1);
            let next = note(0);
            let sounds = |blip: &Note| *blip != next && *blip != between.0;
            // The commoner fault first: one hand before the other (common practice, no source).
            let found = way.hand_first_note.filter(sounds);
            let found = found.or(way.falling_first_note.filter(sounds))?;
            blip = Some(found);
            let name = found.spoken().to_owned();
            (Vec::new(), giving(&figure.before).min(LONGEST_MS), name)
        }
    };
    let clean_ms = touched
        .first()
        .map_or(0.0, |at| length(&figure.sounds[*at].1));
    let what = what_is_listened_for(difference, &name, between);
    Some(Spot {
        difference,
        note: figure.id,
        widest: Milliseconds(widest_ms),
        what,
        touched,
        on_the_beat: figure.on_the_beat,
        blip,
        clean_ms,
        name,
        between,
    })
}

/// All tones of a movement too short: which, by how much at most, and their name.
fn crushed(figure: &Figure, tones: Vec<usize>, tempo: Bpm) -> Option<(Vec<usize>, f64, String)> {
    let gracenotes = figure.gracenotes();
    let length = |sounded: &Sounded| milliseconds(sounded.length, tempo);
    let note = |at: usize| figure.sounds[at].1.note;
    let shortest = tones.iter().map(|at| length(&gracenotes[*at].1));
    let shortest = shortest.reduce(f64::min)?;
    let alike = tones.iter().all(|at| note(*at) == note(tones[0]));
    let name = match (alike, tones.len()) {
        (true, 1) => format!("{} inside", note(tones[0]).spoken()),
        (true, _) => format!("{}s", note(tones[0]).spoken()),
        (false, _) => "tones inside".to_owned(),
    };
    Some((tones, shortest * (1.0 - LEFT_OF_A_TONE), name))
}

/// Two sounds that are alike and may be made unlike: taps before tones, and by how much at most.
fn unlike(
    figure: &Figure,
    tones: &[usize],
    taps: &[usize],
    tempo: Bpm,
) -> Option<(Vec<usize>, f64)> {
    let gracenotes = figure.gracenotes();
    let length = |sounded: &Sounded| milliseconds(sounded.length, tempo);
    let note = |at: usize| figure.sounds[at].1.note;
    let alike = |one: usize, other: usize| {
        note(one) == note(other) && gracenotes[one].1.length == gracenotes[other].1.length
    };
    let pair_of = |among: &[usize]| {
        among.iter().enumerate().find_map(|(place, one)| {
            let mut others = among[place + 1..].iter();
            let other = others.find(|other| alike(*one, **other))?;
            Some(vec![*one, *other])
        })
    };
    // The taps of a birl are what is heard of it (common practice, no source).
    let pair = pair_of(taps).or_else(|| pair_of(tones))?;
    let widest = length(&gracenotes[pair[0]].1) * 2.0 * (1.0 - LEFT_OF_A_TONE);
    Some((pair, widest))
}

/// The sentence of what is listened for.
fn what_is_listened_for(difference: Difference, name: &str, between: (Note, Note)) -> String {
    match difference {
        Difference::Crushed => format!("the {name} too short"),
        Difference::Unlike => format!("one {name} longer than the other"),
        Difference::Long => format!("the {name} too long"),
        Difference::Early => format!("{name} begun early"),
        Difference::Blip => format!(
            "{name} between {} and {}",
            between.0.spoken(),
            between.1.spoken()
        ),
    }
}

/// The note that the fingers go to from the note before: past gracenotes that are lifted off it.
fn crossed_to(figure: &Figure) -> Note {
    let tone = figure.sounds.iter().find(|(_, sounded)| is_tone(sounded));
    tone.map_or(figure.melody().note, |(_, sounded)| sounded.note)
}

impl Spot {
    /// What was played, for a sentence that begins with "it was clean" or says the fault's size.
    pub fn told(&self, size: Option<Milliseconds>) -> String {
        let Some(Milliseconds(size)) = size else {
            return "it was clean".to_owned();
        };
        let (name, clean) = (&self.name, self.clean_ms);
        match self.difference {
            Difference::Crushed => {
                format!("its {name} lasted {:.0} of {clean:.0} ms", clean - size)
            }
            Difference::Unlike => {
                let (one, other) = (clean + size / 2.0, clean - size / 2.0);
                format!("its {name}s lasted {one:.0} and {other:.0} ms")
            }
            Difference::Long => format!(
                "its {name} lasted {:.0} ms, {clean:.0} are meant",
                clean + size
            ),
            Difference::Early => format!("it began {size:.0} ms early"),
            Difference::Blip => format!(
                "{name} sounded for {size:.0} ms between {} and {}",
                self.between.0.spoken(),
                self.between.1.spoken()
            ),
        }
    }

    /// What a threshold means, as the end of "you hear …".
    pub fn heard_from(&self, size: Milliseconds) -> String {
        let (what, clean, size) = (&self.what, self.clean_ms, size.0);
        match self.difference {
            Difference::Crushed => {
                format!("{what} by {size:.0} ms: {:.0} of {clean:.0}", clean - size)
            }
            Difference::Unlike => format!(
                "an unlike pair from {size:.0} ms: {}s of {:.0} and {:.0}",
                self.name,
                clean + size / 2.0,
                clean - size / 2.0
            ),
            Difference::Long => format!(
                "{what} by {size:.0} ms: {:.0} where {clean:.0} are meant",
                clean + size
            ),
            Difference::Early | Difference::Blip => format!("{what} from {size:.0} ms"),
        }
    }
}

/// The timeline with the fault, of a size that is held to the spot's widest. What
/// stands on the beat stays there, but for a movement that begins early as a whole; the sound before
/// and the melody note give and take the time; nothing else moves.
pub fn plant(timeline: &Timeline, spot: &Spot, size: Milliseconds) -> Timeline {
    let size_ms = size.0.clamp(0.0, spot.widest.0);
    // Rounded to a microsecond, which is finer than the frames of any device.
    let size = Millis(Fraction::new((size_ms * 1000.0).round() as i128, 1000));
    let size = size.to_beats(timeline.tempo);
    let mut planted = timeline.clone();
    for events in [&mut planted.first, &mut planted.again] {
        plant_in(events, spot, size);
    }
    planted
}

fn plant_in(events: &mut Vec<TimelineEvent>, spot: &Spot, size: Beats) {
    let sounding: Vec<usize> = (0..events.len())
        .filter(|at| sounded(&events[*at]).is_some())
        .collect();
    let own = |at: &usize| {
        sounded(&events[*at]).is_some_and(|(_, sounded)| sounded.id.melody() == spot.note)
    };
    let Some(first) = sounding.iter().position(own).filter(|first| *first > 0) else {
        return;
    };
    let before = sounding[first - 1];
    let figure: Vec<usize> = sounding[first..].iter().copied().take_while(own).collect();
    let sounds: Vec<(Beats, Sounded)> = figure
        .iter()
        .filter_map(|at| sounded(&events[*at]))
        .collect();
    let Some((last, melody)) = sounds.last().copied() else {
        return;
    };
    let end = last + melody.length;
    let onsets = onsets(&sounds, spot, size);
    for (place, at) in figure.iter().enumerate() {
        let until = onsets.get(place + 1).copied().unwrap_or(end);
        relay(&mut events[*at], onsets[place], until);
    }
    let begins = events[before].beat;
    let mut until = onsets[0];
    if let Some(note) = spot.blip {
        until = until - size;
        let blip = Sounded {
            id: melody.id.grace(sounds.len()),
            note,
            part: SoundPart::Gracenote(Role::Separating),
            length: size,
        };
        if !size.is_zero() {
            events.push(TimelineEvent {
                beat: until,
                kind: EventKind::Sound(blip),
                ahead: false,
            });
        }
    }
    relay(&mut events[before], begins, until);
    // Clicks keep their place before what sounds at the same moment.
    events.sort_by_key(|event| (event.beat, matches!(event.kind, EventKind::Sound(_))));
}

fn relay(event: &mut TimelineEvent, from: Beats, until: Beats) {
    event.beat = from;
    if let EventKind::Sound(sounded) = &mut event.kind {
        sounded.length = until - from;
    }
}

/// Where the figure's sounds begin with the fault.
fn onsets(sounds: &[(Beats, Sounded)], spot: &Spot, size: Beats) -> Vec<Beats> {
    let mut onsets: Vec<Beats> = sounds.iter().map(|(beat, _)| *beat).collect();
    let mut lengths: Vec<Beats> = sounds.iter().map(|(_, sounded)| sounded.length).collect();
    let half = size * Fraction::new(1, 2);
    match spot.difference {
        Difference::Blip => return onsets,
        Difference::Early => return onsets.into_iter().map(|beat| beat - size).collect(),
        Difference::Crushed => {
            for at in &spot.touched {
                lengths[*at] = lengths[*at] - size;
            }
        }
        Difference::Long => {
            for at in &spot.touched {
                lengths[*at] = lengths[*at] + size;
            }
        }
        Difference::Unlike => {
            if let [one, other] = spot.touched[..] {
                lengths[one] = lengths[one] + half;
                lengths[other] = lengths[other] - half;
            }
        }
    }
    for at in (0..spot.on_the_beat).rev() {
        onsets[at] = onsets[at + 1] - lengths[at];
    }
    for at in spot.on_the_beat + 1..onsets.len() {
        onsets[at] = onsets[at - 1] + lengths[at - 1];
    }
    onsets
}

#[cfg(test)]
mod tests;
