//! Puts one fault of a given size into a timeline. Every onset outside the movement stays.

use super::figure::{Figure, figures, is_tone, sounded};
use crate::chanter::{Note, crossing};
use crate::movement::{Movement, Role};
use crate::practice::Difference;
use crate::score::{NoteId, Score};
use crate::timeline::{EventKind, SoundPart, Sounded, Timeline, TimelineEvent};
use crate::units::{Beats, Bpm, Fraction, Millis, Milliseconds};

/// The smallest fault: two sounds closer than 2 ms are heard as one (Hirsh, JASA 31, 1959).
pub const SMALLEST: Milliseconds = Milliseconds(2.0);
/// The largest share of a note that a fault may take from it, so that the note is not swallowed.
/// Chosen: the same as for crowded movements.
const MOST_OF_A_NOTE: f64 = 0.6;
/// The least share of a tone's length that is left. Chosen.
const LEFT_OF_A_TONE: f64 = 0.2;
/// The longest blip, and the most that a gracenote is lengthened, in milliseconds. Chosen: a longer
/// sound would be heard as a note.
const LONGEST_MS: f64 = 80.0;
/// The most that a movement begins early, in milliseconds. Chosen: more would change the rhythm.
const EARLIEST_MS: f64 = 150.0;
/// A place whose widest fault is smaller than this, in milliseconds, is not used, because it leaves
/// no range to search in. Chosen.
const TOO_LITTLE_MS: f64 = 10.0;

/// A place in a timeline where a kind of fault can be put.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// The kind of fault.
    pub difference: Difference,
    /// The melody note of the figure that gets the fault.
    pub note: NoteId,
    /// The largest possible fault.
    pub widest: Milliseconds,
    /// What to listen for, with the notes: `one low G longer than the other`.
    pub what: String,
    /// The indices of the figure's sounds that the fault changes, in order.
    touched: Vec<usize>,
    /// The index of the sound that is on the written beat.
    on_the_beat: usize,
    /// The note that a blip sounds; none for other faults.
    blip: Option<Note>,
    /// The length of the first changed sound without a fault, in milliseconds.
    clean_ms: f64,
    /// The name of the changed sounds: `low G`, `tone`.
    name: String,
    /// The notes before and after a blip.
    between: (Note, Note),
}

/// A place for each kind of fault that is possible in a repetition, in the order of
/// [`Difference::ALL`]. It is in the wanted movement where that allows the fault, or else in the
/// movement with the most gracenotes that does.
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

/// The place for a kind of fault in a figure; none where it is not possible.
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
            // the commoner fault is tried first: one hand moves before the other (common practice,
            // no source)
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

/// For the fault in which all tones of a movement are too short: the tones, the largest fault in
/// milliseconds, and their name.
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

/// For the fault in which two equal sounds become unequal: the sounds, the largest fault in
/// milliseconds, and their name. Taps are preferred to tones.
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
    // the taps of a birl are what is heard of it (common practice, no source)
    let pair = pair_of(taps).or_else(|| pair_of(tones))?;
    let widest = length(&gracenotes[pair[0]].1) * 2.0 * (1.0 - LEFT_OF_A_TONE);
    Some((pair, widest))
}

/// The words that say what to listen for.
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

/// The note that the fingers move to from the note before, past gracenotes that are lifted off it.
fn crossed_to(figure: &Figure) -> Note {
    let tone = figure.sounds.iter().find(|(_, sounded)| is_tone(sounded));
    tone.map_or(figure.melody().note, |(_, sounded)| sounded.note)
}

impl Spot {
    /// The sentence about what was played: that it was clean, or how large the fault was.
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

    /// The meaning of a threshold, as the end of a sentence that begins "you hear …".
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

/// The timeline with a fault at the spot. The size is limited to the spot's widest fault. The sound
/// on the beat stays there, except where a whole movement begins early. The sound before the
/// movement and the melody note give or take the time, and nothing else moves.
pub fn plant(timeline: &Timeline, spot: &Spot, size: Milliseconds) -> Timeline {
    let size_ms = size.0.clamp(0.0, spot.widest.0);
    // rounded to a microsecond, which is finer than the frames of any device
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
    // a click stays before a sound of the same moment
    events.sort_by_key(|event| (event.beat, matches!(event.kind, EventKind::Sound(_))));
}

fn relay(event: &mut TimelineEvent, from: Beats, until: Beats) {
    event.beat = from;
    if let EventKind::Sound(sounded) = &mut event.kind {
        sounded.length = until - from;
    }
}

/// The beats at which the figure's sounds begin with the fault.
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
