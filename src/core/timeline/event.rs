//! The values a timeline is made of.

use super::pointing::PointedPair;
use crate::chanter::Note;
use crate::movement::Role;
use crate::rhythm::{Click, Metre};
use crate::score::NoteId;
use crate::units::{Beats, Bpm, Fraction, Frames, SampleRate};

/// A score at a tempo and a sample rate: a count-in, then cycles without end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Timeline {
    /// Frames a second.
    pub rate: SampleRate,
    /// Beats a minute.
    pub tempo: Bpm,
    /// The metre.
    pub metre: Metre,
    /// True where the metre changes within the repetition, so that only the clicks say which beat
    /// of the bar it is.
    pub changes_metre: bool,
    /// Clicks of the count-in, in beats from its first click, sorted. Gracenotes that sound before
    /// the first note's beat are here too.
    pub lead_in: Vec<TimelineEvent>,
    /// Length of the count-in in beats: one bar less the pickup. It may be 0.
    pub lead_in_length: Beats,
    /// Length of a cycle in beats: a repetition and its breath.
    pub cycle: Beats,
    /// Length of the repetition alone, in beats.
    pub repetition: Beats,
    /// Bars in a cycle. The two part bars around a pickup count as one.
    pub bars_in_a_cycle: u32,
    /// Place of the closing note, in beats from the start of the cycle.
    pub closing: Beats,
    /// Events of the first cycle, in beats from its start, sorted.
    pub first: Vec<TimelineEvent>,
    /// Events of every later cycle, in beats from its start, sorted.
    pub again: Vec<TimelineEvent>,
    /// The written starts of the bars of a cycle, breath included, in beats from the start of the
    /// cycle.
    pub bar_lines: Vec<Beats>,
    /// Melody notes whose gracenotes had to shrink because the note has too little time for them.
    pub crowded: Vec<NoteId>,
    /// The pairs of a repetition whose onsets differ from the written ones or that are never
    /// judged, in order.
    pub pairs: Vec<PointedPair>,
}

/// Something that happens at an exact moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimelineEvent {
    /// The place of the event, in beats from the start of the count-in or of the cycle.
    pub beat: Beats,
    /// The kind of event.
    pub kind: EventKind,
    /// True for gracenotes that lead into the first note of the next repetition. They are left out
    /// when no repetition follows.
    pub ahead: bool,
}

/// The kinds of events.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EventKind {
    /// A click.
    Click(Click),
    /// The chanter line moves to a note.
    Sound(Sounded),
    /// A breath begins, so the reference fades out.
    Hush,
}

/// A note or gracenote that begins to sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sounded {
    /// Its name in the score.
    pub id: NoteId,
    /// The note.
    pub note: Note,
    /// Melody note or gracenote.
    pub part: SoundPart,
    /// How long it sounds.
    pub length: Beats,
}

/// The kind of a sounding note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SoundPart {
    /// A melody note.
    Melody {
        /// Written place in its bar, in beats from 0.
        place: Beats,
        /// Written length in beats, ties included.
        written: Beats,
    },
    /// A gracenote.
    Gracenote(Role),
}

/// An event at its frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placed {
    /// The frame, counted from the first click of the count-in.
    pub frame: Frames,
    /// The exact moment, in beats from the first click of the count-in.
    pub beat: Beats,
    /// The repetition, from 0; none in the count-in.
    pub repetition: Option<u64>,
    /// The event.
    pub event: TimelineEvent,
}

impl Timeline {
    /// The events of a cycle counted from 0.
    ///
    /// Thread: any. Allocates: no. Blocks: no.
    pub fn events_of(&self, cycle: u64) -> &[TimelineEvent] {
        if cycle == 0 { &self.first } else { &self.again }
    }

    /// Where a cycle begins, beats from the first click of the count-in.
    ///
    /// Thread: any. Allocates: no. Blocks: no.
    pub fn cycle_start(&self, cycle: u64) -> Beats {
        self.lead_in_length + Beats(self.cycle.0 * Fraction::from_integer(i128::from(cycle)))
    }

    /// The frame of a moment, with the first click of the count-in at the exact frame `origin`.
    ///
    /// Thread: any. Allocates: no. Blocks: no.
    pub fn frame(&self, origin: Fraction, beat: Beats) -> Frames {
        Frames::of(origin, beat, self.rate, self.tempo)
    }

    /// The length of the count-in and of `repetitions` cycles, in frames.
    pub fn length(&self, repetitions: u64) -> Frames {
        self.frame(Fraction::from_integer(0), self.cycle_start(repetitions))
    }

    /// The events of the count-in and of `repetitions` cycles, breath included, in order of time.
    pub fn played(&self, repetitions: u64) -> Vec<Placed> {
        let origin = Fraction::from_integer(0);
        let place = |event: &TimelineEvent, start: Beats, repetition: Option<u64>| Placed {
            frame: self.frame(origin, start + event.beat),
            beat: start + event.beat,
            repetition,
            event: *event,
        };
        let mut all: Vec<Placed> = self
            .lead_in
            .iter()
            .filter(|event| !event.ahead || repetitions > 0)
            .map(|event| place(event, Beats::ZERO, event.ahead.then_some(0)))
            .collect();
        for cycle in 0..repetitions {
            let last = cycle + 1 == repetitions;
            all.extend(
                self.events_of(cycle)
                    .iter()
                    .filter(|event| !(event.ahead && last))
                    .map(|event| {
                        let repetition = if event.ahead { cycle + 1 } else { cycle };
                        place(event, self.cycle_start(cycle), Some(repetition))
                    }),
            );
        }
        all
    }
}
