//! The only player of timelines, for a device, for no device and for files.
//!
//! It computes on a grid of its own, so that the same commands at the same frames give the same
//! samples whatever the size of the blocks it is asked for. Knows no device, no clock and no lock.

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

/// How many commands may wait: a key held down sends some 30 a second.
const COMMANDS: usize = 256;
/// How many reports may wait: those of bars at 300 beats a minute while the reader is busy for a
/// minute and a half.
const REPORTS: usize = 1024;
/// How many timelines may be on their way back to be freed.
const RETIRED: usize = 16;

/// The other ends of the player's rings, for one thread that is not the audio thread.
pub struct Controls {
    /// Commands to the player. When it is full the push gives the command back: send it later.
    pub commands: Producer<Timed>,
    /// What the player does. When it was full the next report is [`RendererReport::Missed`].
    pub reports: Consumer<RendererReport>,
    /// Timelines no longer played: take them out to free them. While it is full the player leaves
    /// further loads waiting.
    pub retired: Consumer<Arc<Timeline>>,
}

/// The player: timelines and commands in, samples and reports out.
pub struct Renderer {
    rate: SampleRate,
    mix: Mix,
    reference: ReferencePlan,
    clicks: ClickPlan,
    playing: Option<Playing>,
    running: bool,
    pending: Option<Load>,
    /// The note of the chanter line, also while the plan keeps it silent, and its repetition.
    line: Option<(Note, u64)>,
    /// `last` is the first cycle that is not played any more; `end` has the frame at which the fade
    /// before it begins and the frame at which that cycle would begin.
    last: Option<u64>,
    end: Option<(u64, u64)>,
    fading: bool,
    /// The next frame to be computed, and the frame the grid is counted from.
    frame: u64,
    grid: u64,
    /// Computed frames and how many of them were handed out.
    chunk: [f32; CHUNK],
    computed: usize,
    handed: usize,
    commands: Consumer<Timed>,
    reports: Producer<RendererReport>,
    retired: Producer<Arc<Timeline>>,
    missed: u32,
}

impl Renderer {
    /// Builds the voices and rings for a rate, a few milliseconds. Thread: any but audio.
    /// Allocates: yes. Blocks: no.
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

    /// The rate it renders for. Thread: any. Allocates: no. Blocks: no.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Frames handed out so far: the number of the next one. Thread: audio. Allocates: no.
    /// Blocks: no.
    pub fn frame(&self) -> Frames {
        Frames(self.frame - (self.computed - self.handed) as u64)
    }

    /// Declares the repetition now playing void, because what was heard of it was broken: its
    /// closing note is not reported. Thread: any. Allocates: no. Blocks: no.
    pub fn void_repetition(&mut self) {
        if !self.running {
            return;
        }
        self.report_cut(Fraction::from_integer(i128::from(self.frame)));
        if let Some(playing) = &mut self.playing {
            playing.void = !playing.counting_in;
        }
    }

    /// The same player at another rate: every place in musical time stays, frame numbers are
    /// scaled. Thread: any but audio. Allocates: yes. Blocks: no.
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

    /// Writes the next frames, one channel. Thread: audio. Allocates: no. Blocks: no.
    pub fn fill(&mut self, out: &mut [f32]) {
        // fundsp's feedback nodes set this on the thread that builds them; it is set here too, so
        // that live and offline sound alike
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

    /// Computes frames up to the next point of the grid, the next moment or the next command.
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

    /// Sounds and reports the moments whose frame has come.
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

    /// Lets a waiting timeline take over if it waits for the bar line that has come.
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

    /// True when the repetition follows without a change of stage: gracenotes before its first
    /// note would otherwise lead nowhere.
    fn goes_on(&self, repetition: u64) -> bool {
        let leaves = self.pending.as_ref().is_some_and(|load| {
            load.entry != Entrance::SamePlace
                && (load.when == When::CycleEnd
                    || self.playing.as_ref().is_some_and(Playing::in_last_bar))
        });
        !leaves && self.last != Some(repetition)
    }

    /// Reports the origin that the timeline has from this frame on, and finds where playing ends.
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

    /// Reports that the repetition now playing is void, where it has begun and not reached its
    /// closing note.
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
            // Never: a load begins with room for two and sends back at most one while it makes
            // the other wait, so one place is free as long as a timeline waits; nothing else
            // fills this ring. Should it ever be full, the timeline is kept for ever rather than
            // freed on the audio thread.
            std::mem::forget(timeline);
        }
    }
}

#[cfg(test)]
mod tests;
