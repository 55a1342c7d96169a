//! The place in the music that is audible now, and what sounds there.

use crate::practice::Rung;
use crate::rhythm::ClickWeight;
use crate::score::Score;
use crate::timeline::{EventKind, SoundPart, Sounded, Timeline, TimelineEvent};
use crate::units::Beats;
use std::sync::Arc;

/// The place in the music that is audible now.
#[derive(Debug, Clone)]
pub struct HeardPlace {
    /// The timeline's serial.
    pub serial: u64,
    /// The stage that the timeline plays, from 0.
    pub stage: usize,
    /// The rung that the timeline plays.
    pub rung: Rung,
    /// The timeline.
    pub timeline: Arc<Timeline>,
    /// True during the count-in.
    pub counting_in: bool,
    /// The cycle that sounds, or the one that the count-in leads to.
    pub cycle: u64,
    /// Beats since the start of the count-in or of the cycle.
    pub beat: f64,
}

/// The melody note that an event begins, where the event lies after the beat `at`.
fn melody_after(event: &TimelineEvent, at: f64) -> Option<Sounded> {
    match event.kind {
        EventKind::Sound(sounded)
            if matches!(sounded.part, SoundPart::Melody { .. }) && event.beat.to_f64() > at =>
        {
            Some(sounded)
        }
        _ => None,
    }
}

/// What is shown before anything is audible: no note sounds, and the first note comes next.
pub(super) fn first_sound(score: &Score) -> Sounding {
    let next = score.notes.first().map(|note| Sounded {
        id: note.id,
        note: note.note,
        part: SoundPart::Melody {
            place: note.place,
            written: note.written,
        },
        length: note.written,
    });
    Sounding { now: None, next }
}

/// What sounds at a place, and what comes next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sounding {
    /// The note that sounds; none during a breath.
    pub now: Option<Sounded>,
    /// The note that sounds next.
    pub next: Option<Sounded>,
}

impl HeardPlace {
    /// Beats since the first beat of the repetition; negative during the count-in.
    pub fn in_repetition(&self) -> f64 {
        if self.counting_in {
            self.beat - self.timeline.lead_in_length.to_f64()
        } else {
            self.beat
        }
    }

    /// True during the breath, in which the reference plays no notes and the player may mark.
    pub fn is_breath(&self) -> bool {
        !self.counting_in && self.beat >= self.timeline.repetition.to_f64()
    }

    /// The count within the bar, from 0. A count is a beat or a group of beats.
    pub fn count_of_bar(&self) -> u32 {
        if self.timeline.changes_metre && !self.counting_in {
            return self.count_by_click();
        }
        let beats = f64::from(self.timeline.metre.beats_in_a_bar());
        let pickup = if self.timeline.bar_lines.len() > 1 {
            let second = self.timeline.bar_lines[1].to_f64();
            if second < beats { second } else { 0.0 }
        } else {
            0.0
        };
        let pace = Beats(self.timeline.metre.pace()).to_f64();
        let place = ((self.in_repetition() - pickup) / pace).rem_euclid(beats);
        self.timeline.metre.count_of(place.floor() as u32)
    }

    /// The count within the bar where the metre changes: the count of the last click.
    fn count_by_click(&self) -> u32 {
        let at = self.in_repetition();
        let clicks = self.timeline.events_of(self.cycle).iter();
        let last = clicks
            .filter(|event| event.beat.to_f64() <= at)
            .filter_map(|event| match event.kind {
                EventKind::Click(click) if click.weight != ClickWeight::Part => Some(click),
                _ => None,
            })
            .next_back();
        last.map_or(0, |click| u32::from(click.beat))
    }

    /// The note that sounds and the note that comes next.
    pub fn sounding(&self) -> Sounding {
        let at = self.in_repetition();
        let events = self.timeline.events_of(self.cycle);
        let mut now = None;
        let mut next = None;
        for TimelineEvent { beat, kind, ahead } in events {
            let beat = beat.to_f64();
            match kind {
                EventKind::Sound(sounded) if beat <= at && !ahead => now = Some(*sounded),
                EventKind::Hush if beat <= at => now = None,
                EventKind::Sound(sounded) if beat > at && next.is_none() => next = Some(*sounded),
                _ => {}
            }
        }
        if now.is_none() {
            // while nothing sounds the hand prepares the coming melody note, and not its gracenote
            next = events.iter().find_map(|event| melody_after(event, at));
        }
        if next.is_none() {
            next = self
                .timeline
                .events_of(self.cycle + 1)
                .iter()
                .find_map(|event| match event.kind {
                    EventKind::Sound(sounded) if now.is_some() && !event.ahead => Some(sounded),
                    _ => melody_after(event, f64::NEG_INFINITY),
                });
        }
        Sounding { now, next }
    }
}
