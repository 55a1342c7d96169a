//! Lays a score out in time: events at beats, ready to be played.

use super::clicks::{Grid, clicks_by_bar, count_in_length};
use super::crowding::{fit, fit_together};
use super::event::{EventKind, SoundPart, Sounded, Timeline, TimelineEvent};
use super::pointing::{Onset, onsets};
use crate::movement::Lengths;
use crate::rhythm::Subdivision;
use crate::score::{NoteId, Score, ScoreGroup};
use crate::units::{Beats, Bpm, Millis, SampleRate};

/// How a score is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout {
    /// Beats a minute.
    pub tempo: Bpm,
    /// Frames a second.
    pub rate: SampleRate,
    /// Lengths of the parts of movements.
    pub lengths: Lengths,
    /// Clicks between the beats.
    pub subdivision: Subdivision,
    /// True when the music begins with a count-in of about one bar.
    pub count_in: bool,
}

impl Layout {
    /// The usual layout at a tempo and a rate: default lengths, plain clicks, a count-in.
    pub fn at(tempo: Bpm, rate: SampleRate) -> Self {
        Self {
            tempo,
            rate,
            lengths: Lengths::default(),
            subdivision: Subdivision::default(),
            count_in: true,
        }
    }
}

/// Lays a score out in time.
pub fn lay(score: &Score, layout: &Layout) -> Timeline {
    let mut crowded = Vec::new();
    let (onsets, pairs) = onsets(score, layout.tempo, layout.lengths);
    let first = sounds(score, layout, &onsets, true, &mut crowded);
    let again = sounds(score, layout, &onsets, false, &mut crowded);
    crowded.sort_unstable();
    crowded.dedup();
    let cycle = score.length + score.breath;
    let lead_in_length = if layout.count_in {
        count_in_length(score)
    } else {
        Beats::ZERO
    };
    let clicks = if score.changes_metre() || score.metre.is_free() {
        clicks_by_bar(score, layout.subdivision, cycle)
    } else {
        Grid::of(score).clicks(layout.subdivision, Beats::ZERO, cycle)
    };
    let with_clicks = |own: &[TimelineEvent]| {
        let mut events: Vec<TimelineEvent> = clicks.clone();
        events.extend(own.iter().filter(|event| event.beat >= Beats::ZERO));
        events.extend(
            again
                .iter()
                .filter(|event| event.beat < Beats::ZERO)
                .map(|event| TimelineEvent {
                    beat: event.beat + cycle,
                    ahead: true,
                    ..*event
                }),
        );
        if score.breath > Beats::ZERO {
            events.push(TimelineEvent {
                beat: score.length,
                kind: EventKind::Hush,
                ahead: false,
            });
        }
        sorted(events)
    };
    let bar = score.metre.bar_of_time();
    let mut bar_lines = score.bar_lines();
    let mut line = score.length;
    while line < cycle {
        bar_lines.push(line);
        line = line + bar;
    }
    Timeline {
        rate: layout.rate,
        tempo: layout.tempo,
        metre: score.metre,
        changes_metre: score.changes_metre(),
        lead_in: lead_in(score, layout, &first, lead_in_length),
        lead_in_length,
        cycle,
        repetition: score.length,
        bars_in_a_cycle: u32::try_from((cycle.0 / bar.0).ceil().to_integer()).unwrap_or(u32::MAX),
        closing: onsets.last().map_or(Beats::ZERO, |onset| onset.start),
        first: with_clicks(&first),
        again: with_clicks(&again),
        bar_lines,
        crowded,
        pairs,
    }
}

/// The events before the first cycle: the clicks of the count-in, and the gracenotes before the
/// first note when they fit.
fn lead_in(
    score: &Score,
    layout: &Layout,
    first: &[TimelineEvent],
    length: Beats,
) -> Vec<TimelineEvent> {
    let mut events = if layout.count_in && !score.metre.is_free() {
        let clicks = Grid::of(score).clicks(layout.subdivision, -length, Beats::ZERO);
        let shifted = |event: TimelineEvent| TimelineEvent {
            beat: event.beat + length,
            ..event
        };
        clicks.into_iter().map(shifted).collect()
    } else {
        Vec::new()
    };
    events.extend(
        first
            .iter()
            .filter(|event| event.beat < Beats::ZERO && -event.beat <= length)
            .map(|event| TimelineEvent {
                beat: event.beat + length,
                ahead: true,
                ..*event
            }),
    );
    sorted(events)
}

fn sorted(mut events: Vec<TimelineEvent>) -> Vec<TimelineEvent> {
    let order = |event: &TimelineEvent| match event.kind {
        EventKind::Click(_) => 0,
        EventKind::Hush => 1,
        EventKind::Sound(_) => 2,
    };
    events.sort_by_key(|event| (event.beat, order(event)));
    events
}

/// The time, in beats, that the gracenotes before a melody note take.
struct Claim {
    /// Lengths of the parts that sound before this note's place, in beats.
    before: Vec<Beats>,
    /// Lengths of the parts that sound from its place on, in beats.
    after: Vec<Beats>,
}

/// The chanter line of one repetition, in beats from its start. Gracenotes before the first note
/// have negative beats. Each sound lasts until the next one begins.
fn sounds(
    score: &Score,
    layout: &Layout,
    onsets: &[Onset],
    first: bool,
    crowded: &mut Vec<NoteId>,
) -> Vec<TimelineEvent> {
    let groups: Vec<&ScoreGroup> = onsets
        .iter()
        .map(|onset| match &onset.note.first_group {
            Some(group) if first => group,
            _ => &onset.note.group,
        })
        .collect();
    let wraps = score.breath.is_zero();
    let claims = claims(layout, onsets, &groups, wraps, crowded);
    let mut events = Vec::new();
    for (onset, (group, claim)) in onsets.iter().zip(groups.iter().zip(&claims)) {
        let note = onset.note;
        let before: Beats = claim.before.iter().copied().sum();
        let mut moment = onset.start - before;
        for (part, length) in group
            .parts
            .iter()
            .zip(claim.before.iter().chain(&claim.after))
        {
            events.push(sound(
                moment,
                Sounded {
                    id: part.id,
                    note: part.note,
                    part: SoundPart::Gracenote(part.role),
                    length: *length,
                },
            ));
            moment = moment + *length;
        }
        events.push(sound(
            moment,
            Sounded {
                id: note.id,
                note: note.note,
                part: SoundPart::Melody {
                    place: note.place,
                    written: onset.written,
                },
                length: Beats::ZERO,
            },
        ));
    }
    set_lengths(&mut events, score, wraps);
    events
}

fn sound(beat: Beats, sounded: Sounded) -> TimelineEvent {
    TimelineEvent {
        beat,
        kind: EventKind::Sound(sounded),
        ahead: false,
    }
}

/// Sets the length of each melody note: until the next sound begins. The last note lasts to the end
/// of the repetition, or to the gracenotes that begin the next repetition.
fn set_lengths(events: &mut [TimelineEvent], score: &Score, wraps: bool) {
    let lead = events.first().map_or(Beats::ZERO, |event| event.beat);
    let end = if wraps && lead < Beats::ZERO {
        score.length + lead
    } else {
        score.length
    };
    for index in 0..events.len() {
        let next = events.get(index + 1).map_or(end, |event| event.beat);
        let beat = events[index].beat;
        if let EventKind::Sound(sounded) = &mut events[index].kind
            && matches!(sounded.part, SoundPart::Melody { .. })
        {
            sounded.length = next - beat;
        }
    }
}

fn claims(
    layout: &Layout,
    onsets: &[Onset],
    groups: &[&ScoreGroup],
    wraps: bool,
    crowded: &mut Vec<NoteId>,
) -> Vec<Claim> {
    let least = Millis::whole(Lengths::SHORTEST).to_beats(layout.tempo);
    let length = |place: usize| onsets[place].length;
    let giver = |place: usize| match place.checked_sub(1) {
        Some(before) => Some(before),
        None if wraps => Some(onsets.len() - 1),
        None => None,
    };
    let mut claims: Vec<Claim> = Vec::with_capacity(onsets.len());
    for (place, group) in groups.iter().enumerate() {
        let lengths: Vec<Beats> = group
            .parts
            .iter()
            .map(|part| {
                part.held
                    .unwrap_or_else(|| layout.lengths.of(part.role, layout.tempo))
            })
            .collect();
        let (before, after) = lengths.split_at(group.before_beat.min(lengths.len()));
        let mut shrunk = false;
        let before = match giver(place) {
            Some(from) => {
                let fitted = fit(before, length(from), least);
                shrunk |= fitted.crowded;
                fitted.parts
            }
            None => before.to_vec(),
        };
        let after = fit(after, length(place), least);
        shrunk |= after.crowded;
        if shrunk {
            crowded.push(onsets[place].note.id);
        }
        claims.push(Claim {
            before,
            after: after.parts,
        });
    }
    for place in 0..claims.len() {
        let Some(from) = giver(place) else { continue };
        let mut before = std::mem::take(&mut claims[place].before);
        let mut after = std::mem::take(&mut claims[from].after);
        if fit_together(&mut after, &mut before, length(from)) {
            crowded.push(onsets[place].note.id);
            crowded.push(onsets[from].note.id);
        }
        claims[place].before = before;
        claims[from].after = after;
    }
    claims
}

#[cfg(test)]
mod tests;
