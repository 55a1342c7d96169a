//! Cuts a short piece out of a timeline for listening: from the click before the movement to a beat
//! after it, followed by silence while the listener thinks.

use super::figure::sounded;
use super::plant::Spot;
use crate::timeline::{EventKind, Timeline, TimelineEvent};
use crate::units::{Beats, Fraction, Seconds};

/// The least time that a note sounds before the movement begins, in beats. Chosen.
const BEFORE: Beats = Beats(Fraction::new_raw(1, 2));
/// The silence after the piece in beats: an hour and a half at the highest tempo.
const SILENCE: i128 = 30_000;

/// A piece to listen to.
#[derive(Debug, Clone, PartialEq)]
pub struct Excerpt {
    /// The timeline of the piece: no count-in, and one cycle that ends in a long silence.
    pub timeline: Timeline,
    /// The length of the piece in seconds, without the silence.
    pub length: Seconds,
    /// The time in seconds from which on the piece can be judged, because the melody note after the
    /// movement has begun.
    pub judged_from: Seconds,
}

/// Cuts the piece around a spot out of the first cycle. `clean` is the timeline without a fault; a
/// timeline with a fault at the spot is cut at the same places.
pub fn excerpt(timeline: &Timeline, clean: &Timeline, spot: &Spot) -> Excerpt {
    let of_figure = |event: &&TimelineEvent| {
        sounded(event).is_some_and(|(_, sounded)| sounded.id.melody() == spot.note)
    };
    let figure: Vec<&TimelineEvent> = clean.first.iter().filter(of_figure).collect();
    let (begins, lands) = match (figure.first(), figure.last()) {
        (Some(first), Some(last)) => (first.beat, last.beat),
        _ => (Beats::ZERO, Beats::ZERO),
    };
    let clicks = || {
        let click = |event: &&TimelineEvent| matches!(event.kind, EventKind::Click(_));
        clean.first.iter().filter(click).map(|event| event.beat)
    };
    let from = clicks().filter(|beat| *beat + BEFORE <= begins).max();
    let from = from.unwrap_or(Beats::ZERO);
    let on = clicks()
        .filter(|beat| *beat <= lands)
        .max()
        .unwrap_or(lands);
    let until = (on + Beats::ONE).max(lands + BEFORE).min(clean.repetition);
    let mut events: Vec<TimelineEvent> = Vec::new();
    for event in timeline.first.iter().filter(|event| !event.ahead) {
        let ends = match event.kind {
            EventKind::Sound(sounded) => event.beat + sounded.length,
            _ => event.beat,
        };
        // a note that already sounds when the piece begins is cut to begin with it
        let beat = event.beat.max(from);
        let inside = match event.kind {
            EventKind::Sound(_) => ends > from && event.beat < until,
            EventKind::Click(_) => event.beat >= from && event.beat < until,
            EventKind::Hush => false,
        };
        if !inside {
            continue;
        }
        let mut event = *event;
        event.beat = beat - from;
        if let EventKind::Sound(sounded) = &mut event.kind {
            sounded.length = ends.min(until) - beat;
        }
        events.push(event);
    }
    let length = until - from;
    events.push(TimelineEvent {
        beat: length,
        kind: EventKind::Hush,
        ahead: false,
    });
    let seconds = |beats: Beats| Seconds(beats.to_f64() * clean.tempo.beat().to_f64() / 1000.0);
    Excerpt {
        length: seconds(length),
        judged_from: seconds(lands - from),
        timeline: Timeline {
            lead_in: Vec::new(),
            lead_in_length: Beats::ZERO,
            cycle: length + Beats::whole(SILENCE),
            repetition: length,
            bars_in_a_cycle: 1,
            closing: (lands - from).min(length),
            first: events.clone(),
            again: events,
            bar_lines: vec![Beats::ZERO],
            crowded: Vec::new(),
            pairs: Vec::new(),
            ..timeline.clone()
        },
    }
}
