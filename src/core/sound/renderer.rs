//! The only renderer of timelines: for a device, without a device, and for files.
//!
//! It computes samples in chunks on a grid of its own. So the same commands at the same frames give
//! the same samples for any size of block. Knows no device, no clock and no lock.

mod obeying;

use super::mix::{Mix, Sound};
use super::orders::{Entrance, Load, RendererReport, Timed, When};
use super::transport::{Moment, Playing};
use super::voices::{CHUNK, Weight};
use crate::chanter::Note;
use crate::rhythm::{ClickPlan, ClickWeight, ReferencePlan};
use crate::timeline::{EventKind, Timeline, TimelineEvent};
use crate::units::{Fraction, Frames, SampleRate};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;

/// The capacity of the command ring: a key that is held down sends about 30 commands a second.
const COMMANDS: usize = 256;
/// The capacity of the report ring: the bars of a minute and a half at 300 beats a minute, during
/// which the reader may be busy.
const REPORTS: usize = 1024;
/// The capacity of the ring on which timelines go back to be freed.
const RETIRED: usize = 16;

/// The other ends of the renderer's rings, for one thread that is not the audio thread.
pub struct Controls {
    /// Commands to the renderer. When the ring is full, the push returns the command, to be sent
    /// later.
    pub commands: Producer<Timed>,
    /// Reports from the renderer. After the ring was full, the next report is
    /// [`RendererReport::Missed`].
    pub reports: Consumer<RendererReport>,
    /// Timelines that are no longer played; take them out to free them. While this ring is full,
    /// the renderer does not accept new timelines.
    pub retired: Consumer<Arc<Timeline>>,
}

/// The renderer: takes timelines and commands, gives samples and reports.
pub struct Renderer {
    rate: SampleRate,
    mix: Mix,
    reference: ReferencePlan,
    clicks: ClickPlan,
    playing: Option<Playing>,
    running: bool,
    pending: Option<Load>,
    /// The note of the chanter line and its repetition. It is kept even while the plan silences the
    /// line.
    line: Option<(Note, u64)>,
    /// `last` is the first cycle that is no longer played. `end` holds two frames: the frame at
    /// which the fade before that cycle begins, and the frame at which that cycle would begin.
    last: Option<u64>,
    end: Option<(u64, u64)>,
    fading: bool,
    /// The next frame to compute, and the frame from which the grid is counted.
    frame: u64,
    grid: u64,
    /// The computed frames, how many there are, and how many of them were handed out.
    chunk: [f32; CHUNK],
    computed: usize,
    handed: usize,
    commands: Consumer<Timed>,
    reports: Producer<RendererReport>,
    retired: Producer<Arc<Timeline>>,
    missed: u32,
}

impl Renderer {
    /// Builds the voices and rings for a sample rate, which takes a few milliseconds. Thread: any
    /// but audio. Allocates: yes. Blocks: no.
    pub fn new(rate: SampleRate, sound: Sound) -> (Self, Controls) {
        let (commands, to_player) = RingBuffer::new(COMMANDS);
        let (from_player, reports) = RingBuffer::new(REPORTS);
        let (back, retired) = RingBuffer::new(RETIRED);
        let renderer = Self {
            rate,
            mix: Mix::new(rate, sound),
            reference: ReferencePlan::default(),
            clicks: ClickPlan::default(),
            playing: None,
            running: false,
            pending: None,
            line: None,
            last: None,
            end: None,
            fading: false,
            frame: 0,
            grid: 0,
            chunk: [0.0; CHUNK],
            computed: 0,
            handed: 0,
            commands: to_player,
            reports: from_player,
            retired: back,
            missed: 0,
        };
        let controls = Controls {
            commands,
            reports,
            retired,
        };
        (renderer, controls)
    }

    /// The sample rate it renders for. Thread: any. Allocates: no. Blocks: no.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// The number of frames handed out so far, which is the number of the next frame. Thread:
    /// audio. Allocates: no. Blocks: no.
    pub fn frame(&self) -> Frames {
        Frames(self.frame - (self.computed - self.handed) as u64)
    }

    /// Marks the repetition now playing as void because its sound was interrupted: its closing note
    /// is not reported. Thread: any. Allocates: no. Blocks: no.
    pub fn void_repetition(&mut self) {
        if !self.running {
            return;
        }
        self.report_cut(Fraction::from_integer(i128::from(self.frame)));
        if let Some(playing) = &mut self.playing {
            playing.void = !playing.counting_in;
        }
    }

    /// The same renderer at another sample rate. Every place in musical time stays the same, and
    /// frame numbers are scaled. Thread: any but audio. Allocates: yes. Blocks: no.
    #[must_use]
    pub fn at_rate(mut self, rate: SampleRate) -> Self {
        if rate == self.rate {
            return self;
        }
        let exact = u128::from(self.frame().0) * u128::from(rate.0);
        let half = u128::from(self.rate.0 / 2);
        self.frame = u64::try_from((exact + half) / u128::from(self.rate.0)).unwrap_or(u64::MAX);
        self.grid = self.frame;
        self.computed = 0;
        self.handed = 0;
        self.rate = rate;
        self.mix = Mix::new(rate, self.mix.sound);
        if let Some(playing) = &mut self.playing {
            playing.rescale(rate);
        }
        if self.running {
            self.mix.begin();
            if let Some((note, repetition)) = self.line {
                self.mix.reference(note, self.reference.factor(repetition));
            }
            self.report_taken();
        }
        self
    }

    /// Fills `out` with the next frames of one channel. Thread: audio. Allocates: no. Blocks: no.
    pub fn fill(&mut self, out: &mut [f32]) {
        // fundsp's feedback nodes set this flag on the thread that builds them. Setting it here too
        // makes live and offline rendering give the same samples.
        fundsp::denormal::prevent_denormals();
        let mut rest = out;
        while !rest.is_empty() {
            if self.handed == self.computed {
                self.compute();
            }
            let count = rest.len().min(self.computed - self.handed);
            let (now, later) = rest.split_at_mut(count);
            now.copy_from_slice(&self.chunk[self.handed..self.handed + count]);
            self.handed += count;
            rest = later;
        }
    }

    /// Computes frames up to the next grid point, the next event or the next command.
    fn compute(&mut self) {
        self.obey();
        self.live();
        let mut count = CHUNK - ((self.frame - self.grid) % CHUNK as u64) as usize;
        let mut until = |frame: u64| {
            let ahead = frame.saturating_sub(self.frame).max(1);
            count = count.min(usize::try_from(ahead).unwrap_or(CHUNK));
        };
        if let Ok(timed) = self.commands.peek()
            && timed.at.0 > self.frame
        {
            until(timed.at.0);
        }
        if self.running
            && let Some(playing) = &self.playing
        {
            until(playing.due());
            if let Some((fade, end)) = self.end {
                until(if self.fading { end } else { fade });
            }
        }
        self.mix.render(&mut self.chunk[..count]);
        self.frame += count as u64;
        self.computed = count;
        self.handed = 0;
    }

    /// Plays and reports the events whose frame is reached.
    fn live(&mut self) {
        while self.running {
            if let Some((fade, end)) = self.end {
                if self.frame >= end {
                    self.halt(true);
                    return;
                }
                if self.frame >= fade && !self.fading {
                    self.fading = true;
                    self.mix.fall_silent();
                }
            }
            let Some(playing) = &mut self.playing else {
                return;
            };
            if playing.due() > self.frame {
                return;
            }
            if playing.is_line_next() && self.swap_at_line() {
                continue;
            }
            let Some(playing) = &mut self.playing else {
                return;
            };
            let (counting_in, cycle) = (playing.counting_in, playing.cycle);
            let (serial, void) = (playing.serial, playing.void);
            let bars = cycle * u64::from(playing.timeline.bars_in_a_cycle);
            let bar = bars + playing.bars_begun().saturating_sub(1);
            let frame = Frames(self.frame);
            match playing.take() {
                Some(Moment::Line(bar)) => self.report(RendererReport::Bar {
                    serial,
                    cycle,
                    bar,
                    frame,
                }),
                Some(Moment::Closing) if void => {}
                Some(Moment::Closing) => self.report(RendererReport::Closing {
                    serial,
                    cycle,
                    frame,
                }),
                Some(Moment::Event(event)) => self.sound(event, cycle, counting_in, bar),
                None => {}
            }
        }
    }

    /// Lets a waiting timeline take over when it waits for the bar line that is reached now.
    fn swap_at_line(&mut self) -> bool {
        let Some(playing) = &self.playing else {
            return false;
        };
        let here = self
            .pending
            .as_ref()
            .is_some_and(|load| load.when == When::BarLine || playing.at_cycle_start());
        if !here {
            return false;
        }
        let at = playing.exact_line();
        match self.pending.take() {
            Some(load) => {
                self.take_over(load, at);
                true
            }
            None => false,
        }
    }

    fn sound(&mut self, event: TimelineEvent, cycle: u64, counting_in: bool, bar: u64) {
        match event.kind {
            EventKind::Click(click) => {
                if !self.fading && (counting_in || self.clicks.sounds(click, bar)) {
                    self.mix.click(match click.weight {
                        ClickWeight::Bar => Weight::Bar,
                        ClickWeight::Beat => Weight::Beat,
                        ClickWeight::Part => Weight::Part,
                    });
                }
            }
            EventKind::Sound(sounded) => {
                let ahead = event.ahead && !counting_in;
                let repetition = cycle + u64::from(ahead);
                if self.fading || (ahead && !self.goes_on(repetition)) {
                    return;
                }
                self.line = Some((sounded.note, repetition));
                self.mix
                    .reference(sounded.note, self.reference.factor(repetition));
            }
            EventKind::Hush => {
                self.line = None;
                self.mix.hush();
            }
        }
    }

    /// True when the next repetition follows without a change of stage. Otherwise the gracenotes
    /// before its first note are left out.
    fn goes_on(&self, repetition: u64) -> bool {
        let leaves = self.pending.as_ref().is_some_and(|load| {
            load.entry != Entrance::SamePlace
                && (load.when == When::CycleEnd
                    || self.playing.as_ref().is_some_and(Playing::in_last_bar))
        });
        !leaves && self.last != Some(repetition)
    }

    /// Reports where the timeline's beat 0 is from this frame on, and computes the frame at which
    /// playing ends.
    fn report_taken(&mut self) {
        if let Some(playing) = &self.playing {
            self.end = self.last.map(|last| {
                let end = playing.frame_of_cycle(last);
                (end.saturating_sub(u64::from(self.rate.0 / 100)), end)
            });
            let report = RendererReport::Took {
                serial: playing.serial,
                frame: Frames(self.frame),
                origin: playing.origin,
                cycle: playing.cycle,
                counting_in: playing.counting_in,
            };
            self.report(report);
        }
    }

    /// Reports the repetition now playing as interrupted, when it has begun and its closing note is
    /// not yet reached.
    fn report_cut(&mut self, at: Fraction) {
        if let Some(playing) = &self.playing
            && !playing.counting_in
            && !playing.closed
            && !playing.void
            && at > Fraction::from_integer(i128::from(playing.frame_of_cycle(playing.cycle)))
        {
            let report = RendererReport::Cut {
                serial: playing.serial,
                cycle: playing.cycle,
                frame: Frames(self.frame),
            };
            self.report(report);
        }
    }

    fn report(&mut self, report: RendererReport) {
        if self.missed > 0
            && self
                .reports
                .push(RendererReport::Missed(self.missed))
                .is_ok()
        {
            self.missed = 0;
        }
        if self.missed > 0 || self.reports.push(report).is_err() {
            self.missed = self.missed.saturating_add(1);
        }
    }

    fn retire(&mut self, timeline: Arc<Timeline>) {
        if let Err(rtrb::PushError::Full(timeline)) = self.retired.push(timeline) {
            // This cannot happen. A load is taken only with room for two, and it sends back at most
            // one timeline while it makes the other wait. So one place stays free as long as a
            // timeline waits, and nothing else uses this ring. If the ring were full, leaking the
            // timeline is better than freeing it on the audio thread.
            std::mem::forget(timeline);
        }
    }
}

#[cfg(test)]
mod tests;
