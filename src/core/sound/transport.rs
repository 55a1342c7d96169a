//! The place in a timeline: the next event and its frame.
//!
//! Places are exact: a beat, and the exact frame of beat 0; never a sum of rounded frames. Knows no
//! voices.

use super::orders::Load;
use crate::timeline::{Timeline, TimelineEvent};
use crate::units::{Beats, Fraction, Frames, SampleRate};
use std::sync::Arc;

/// A timeline that is being played, and its present place.
pub(super) struct Playing {
    pub(super) timeline: Arc<Timeline>,
    pub(super) serial: u64,
    /// The exact frame of beat 0, the first click of the count-in before cycle 0.
    pub(super) origin: Fraction,
    /// The cycle that plays, or that the count-in leads to.
    pub(super) cycle: u64,
    pub(super) counting_in: bool,
    /// Indices of the next event and the next bar line in this section, and whether the closing
    /// note is past.
    event: usize,
    line: usize,
    pub(super) closed: bool,
    /// True when this repetition did not begin in this timeline or was interrupted, so that it does
    /// not count.
    pub(super) void: bool,
    rate: SampleRate,
    next: (u64, What),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum What {
    Line,
    Closing,
    Event,
}

/// What happens at a frame.
#[derive(Debug, Clone, Copy)]
pub(super) enum Moment {
    /// A bar of the cycle begins; the value is its number from 0.
    Line(u32),
    /// The place of the closing note.
    Closing,
    /// A click, a note or a hush.
    Event(TimelineEvent),
}

/// The largest denominator of an exact origin. Origins stay exact over tempo changes, but after
/// very many changes the denominator could exceed 128 bits. An origin with a larger denominator is
/// rounded to 2^-20 of a frame.
const FINEST: i128 = 1_000_000_000_000;

fn settled(origin: Fraction) -> Fraction {
    if *origin.denom() <= FINEST {
        return origin;
    }
    let whole = origin.floor();
    let part = (origin - whole) * Fraction::from_integer(1 << 20);
    whole + Fraction::new(part.round().to_integer(), 1 << 20)
}

impl Playing {
    /// Places a timeline so that a section begins at the exact frame `at`. The section is the
    /// count-in before `cycle`, or the cycle itself. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn at_section(
        load: Load,
        at: Fraction,
        cycle: u64,
        counting_in: bool,
        rate: SampleRate,
    ) -> Self {
        let mut playing = Self::nowhere(load, cycle, counting_in, rate);
        let start = playing.section_start();
        playing.anchor(at, start);
        playing.look();
        playing
    }

    /// Continues with a timeline at the same musical place that `other` has at the exact frame
    /// `at`. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn at_place_of(load: Load, other: &Self, at: Fraction) -> Self {
        let rate = other.rate;
        let counting_in = other.counting_in && load.timeline.lead_in_length > Beats::ZERO;
        let mut playing = Self::nowhere(load, other.cycle, counting_in, rate);
        let mut beat = other.beat_at(at) - other.section_start();
        if other.counting_in && !counting_in {
            beat = Beats::ZERO;
        }
        if !counting_in && beat >= playing.timeline.cycle {
            // The new music is shorter and does not have this place, so its next cycle begins.
            playing.cycle += 1;
            beat = Beats::ZERO;
        }
        let start = playing.section_start();
        playing.anchor(at, start + beat);
        playing.event = playing.events().partition_point(|event| event.beat < beat);
        if !counting_in {
            playing.line = playing
                .timeline
                .bar_lines
                .partition_point(|line| *line < beat);
            playing.closed = playing.timeline.closing < beat;
            playing.void = beat > Beats::ZERO;
        }
        playing.look();
        playing
    }

    fn nowhere(load: Load, cycle: u64, counting_in: bool, rate: SampleRate) -> Self {
        let counting_in = counting_in && load.timeline.lead_in_length > Beats::ZERO;
        Self {
            timeline: load.timeline,
            serial: load.serial,
            origin: Fraction::from_integer(0),
            cycle,
            counting_in,
            event: 0,
            line: 0,
            closed: false,
            void: false,
            rate,
            next: (0, What::Line),
        }
    }

    /// Places the timeline so that `beat` is at the exact frame `at`.
    fn anchor(&mut self, at: Fraction, beat: Beats) {
        self.origin = settled(at - beat.0 * self.frames_per_beat());
    }

    /// The same musical place at another sample rate, with all frames scaled. Thread: any.
    /// Allocates: no. Blocks: no.
    pub(super) fn rescale(&mut self, rate: SampleRate) {
        let factor = Fraction::new(i128::from(rate.0), i128::from(self.rate.0));
        self.origin = settled(self.origin * factor);
        self.rate = rate;
        self.look();
    }

    fn frames_per_beat(&self) -> Fraction {
        self.rate.frames_per_beat(self.timeline.tempo)
    }

    fn events(&self) -> &[TimelineEvent] {
        if self.counting_in {
            &self.timeline.lead_in
        } else {
            self.timeline.events_of(self.cycle)
        }
    }

    /// Beats from beat 0 to the start of the present section, which is the count-in or the cycle.
    fn section_start(&self) -> Beats {
        let start = self.timeline.cycle_start(self.cycle);
        if self.counting_in {
            start - self.timeline.lead_in_length
        } else {
            start
        }
    }

    /// The exact beat, counted from beat 0, at an exact frame.
    fn beat_at(&self, at: Fraction) -> Beats {
        Beats((at - self.origin) / self.frames_per_beat())
    }

    /// The exact frame of the next bar line. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn exact_line(&self) -> Fraction {
        let line = self.timeline.bar_lines.get(self.line).copied();
        let beat = self.section_start() + line.unwrap_or(Beats::ZERO);
        self.origin + beat.0 * self.frames_per_beat()
    }

    /// The frame at which a cycle begins. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn frame_of_cycle(&self, cycle: u64) -> u64 {
        self.frame_of(self.timeline.cycle_start(cycle))
    }

    fn frame_of(&self, beat: Beats) -> u64 {
        Frames::of(self.origin, beat, self.rate, self.timeline.tempo).0
    }

    /// The cycle to begin with after an interruption. An interrupted repetition begins again; one
    /// whose closing note was reached is complete. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn next_whole(&self) -> u64 {
        self.cycle + u64::from(self.closed && !self.void)
    }

    /// The frame of the next event. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn due(&self) -> u64 {
        self.next.0
    }

    /// True when the next event is the bar line that begins a cycle. Thread: audio. Allocates: no.
    /// Blocks: no.
    pub(super) fn at_cycle_start(&self) -> bool {
        self.line == 0
    }

    /// True when the next bar line begins the next cycle. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn in_last_bar(&self) -> bool {
        self.counting_in || self.line >= self.timeline.bar_lines.len()
    }

    /// The number of bars of this cycle that have begun. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn bars_begun(&self) -> u64 {
        self.line as u64
    }

    /// True when a bar line is next; it is not taken. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn is_line_next(&self) -> bool {
        self.next.1 == What::Line
    }

    /// Returns the next event and moves past it. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn take(&mut self) -> Option<Moment> {
        let moment = match self.next.1 {
            What::Line => {
                self.line += 1;
                Some(Moment::Line(self.line as u32 - 1))
            }
            What::Closing => {
                self.closed = true;
                Some(Moment::Closing)
            }
            What::Event => {
                let event = self.events().get(self.event).copied();
                self.event += 1;
                event.map(Moment::Event)
            }
        };
        self.look();
        moment
    }

    /// Finds the next event, the one with the smallest beat. At equal beats the bar line comes
    /// first, then the closing note's place, then the events in their order. After the last one it
    /// continues with the next cycle.
    fn look(&mut self) {
        loop {
            let event = self.events().get(self.event).map(|event| event.beat);
            let (line, closing) = if self.counting_in {
                (None, None)
            } else {
                (
                    self.timeline.bar_lines.get(self.line).copied(),
                    (!self.closed).then_some(self.timeline.closing),
                )
            };
            let first = [
                line.map(|beat| (beat, What::Line)),
                closing.map(|beat| (beat, What::Closing)),
                event.map(|beat| (beat, What::Event)),
            ]
            .into_iter()
            .flatten()
            .min();
            if let Some((beat, what)) = first {
                self.next = (self.frame_of(self.section_start() + beat), what);
                return;
            }
            if self.counting_in {
                self.counting_in = false;
            } else {
                self.cycle += 1;
            }
            self.event = 0;
            self.line = 0;
            self.closed = false;
            self.void = false;
        }
    }
}
