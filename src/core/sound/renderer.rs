//! The only player of timelines, for a device, for no device and for files.
//!
//! It computes on a grid of its own, so that the same commands at the same frames give the same
//! samples whatever the size of the blocks it is asked for. Knows no device, no clock and no lock.

use super::mix::{Mix, Sound};
use super::orders::{Command, Entry, Load, Report, Timed, When};
use super::transport::{Moment, Playing};
use super::voices::{CHUNK, Weight};
use crate::chanter::Note;
use crate::rhythm::{ClickPlan, ClickWeight, ReferencePlan};
use crate::timeline::{Event, EventKind, Timeline};
use crate::units::{Beats, Fraction, Frames, SampleRate};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;

/// Commands that may wait: a key held down sends some 30 a second.
const COMMANDS: usize = 256;
/// Reports that may wait: bars at 300 beats a minute for a minute and a half of a busy reader.
const REPORTS: usize = 1024;
/// Timelines on their way back to be freed.
const RETIRED: usize = 16;

/// The other ends of the player's rings, for one thread that is not the audio thread.
pub struct Controls {
    /// Commands to the player. When it is full the push gives the command back: send it later.
    pub commands: Producer<Timed>,
    /// What the player does. When it was full the next report is [`Report::Missed`].
    pub reports: Consumer<Report>,
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
    /// The first cycle that is not played any more; where everything fades before it, and where
    /// it would begin.
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
    reports: Producer<Report>,
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

    /// True while a timeline runs. Thread: audio. Allocates: no. Blocks: no.
    pub fn is_running(&self) -> bool {
        self.running
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
        // fundsp's feedback nodes set this on whichever thread builds them; set here too, live
        // and offline sound alike.
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

    /// Obeys the commands whose frame has come.
    fn obey(&mut self) {
        while let Ok(timed) = self.commands.peek() {
            // A load may send two timelines back: the one playing and one still waiting.
            let load = matches!(timed.command, Command::Load(_));
            if timed.at.0 > self.frame || (load && self.retired.slots() < 2) {
                break;
            }
            if let Ok(timed) = self.commands.pop() {
                self.execute(timed.command);
            }
        }
    }

    fn execute(&mut self, command: Command) {
        match command {
            Command::Load(load) => self.load(load),
            Command::Play { repetitions } => self.play(repetitions),
            Command::Pause => self.halt(false),
            Command::Stop => self.halt(true),
            Command::Level(bus, gain) => {
                let mut levels = self.mix.sound.levels;
                levels.set(bus, gain);
                self.mix.set_levels(levels);
            }
            Command::Mute(bus, muted) => {
                let mut levels = self.mix.sound.levels;
                levels.mute(bus, muted);
                self.mix.set_levels(levels);
            }
            Command::Levels(levels) => self.mix.set_levels(levels),
            Command::Tune(tuning) => self.mix.tune(tuning),
            Command::Drones(on) => self.mix.switch_drones(on, self.running),
            Command::Cue(cue) => self.mix.cue(cue),
            Command::ClickSound(click) => self.mix.sound.click = click,
            Command::Clicks(plan) => self.clicks = plan,
            Command::Reference(plan) => {
                self.reference = plan;
                if self.running
                    && let Some((note, repetition)) = self.line
                {
                    self.mix.reference(note, plan.factor(repetition));
                }
            }
        }
    }

    fn load(&mut self, load: Load) {
        // A cycle without length would never end within a frame.
        if load.timeline.cycle <= Beats::ZERO {
            self.retire(load.timeline);
            return;
        }
        if let Some(waiting) = self.pending.take() {
            self.retire(waiting.timeline);
        }
        if self.running && load.when != When::Now {
            self.pending = Some(load);
        } else {
            self.take_over(load, Fraction::from_integer(i128::from(self.frame)));
        }
    }

    /// The loaded timeline takes the place of the one before, at an exact frame.
    fn take_over(&mut self, load: Load, at: Fraction) {
        let entry = load.entry;
        let new = match (&self.playing, entry) {
            (Some(old), Entry::SamePlace) if self.running => Playing::at_place_of(load, old, at),
            (Some(old), Entry::SamePlace) => {
                Playing::at_section(load, at, old.next_whole(), true, self.rate)
            }
            _ => Playing::at_section(load, at, 0, entry != Entry::FirstCycle, self.rate),
        };
        if self.running {
            self.report_cut(at);
            if entry != Entry::SamePlace {
                self.line = None;
                self.mix.hush();
            }
        }
        if let Some(old) = self.playing.replace(new) {
            self.retire(old.timeline);
        }
        if self.running {
            self.report_taken();
        }
    }

    fn play(&mut self, repetitions: Option<u64>) {
        let Some(playing) = self.playing.take() else {
            return;
        };
        if self.running {
            self.playing = Some(playing);
            return;
        }
        let cycle = playing.next_whole();
        let load = Load {
            timeline: playing.timeline,
            serial: playing.serial,
            when: When::Now,
            entry: Entry::CountIn,
        };
        let at = Fraction::from_integer(i128::from(self.frame));
        self.playing = Some(Playing::at_section(load, at, cycle, true, self.rate));
        self.last = repetitions.map(|count| cycle.saturating_add(count));
        self.running = true;
        self.fading = false;
        self.line = None;
        self.grid = self.frame;
        self.mix.begin();
        self.report_taken();
    }

    /// Falls silent; `home` goes back to the first cycle.
    fn halt(&mut self, home: bool) {
        let frame = Frames(self.frame);
        if self.running {
            self.report_cut(Fraction::from_integer(i128::from(self.frame)));
            self.mix.fall_silent();
        }
        self.running = false;
        self.line = None;
        if let Some(load) = self.pending.take() {
            // Nothing plays now, so what was to come later comes now.
            self.take_over(load, Fraction::from_integer(i128::from(self.frame)));
        }
        if home && let Some(playing) = &mut self.playing {
            playing.cycle = 0;
            playing.closed = false;
        }
        self.report(if home {
            Report::Stopped(frame)
        } else {
            Report::Paused(frame)
        });
    }

    /// Lives through the moments whose frame has come.
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
                Some(Moment::Line(bar)) => self.report(Report::Bar {
                    serial,
                    cycle,
                    bar,
                    frame,
                }),
                Some(Moment::Closing) if void => {}
                Some(Moment::Closing) => self.report(Report::Closing {
                    serial,
                    cycle,
                    frame,
                }),
                Some(Moment::Event(event)) => self.sound(event, cycle, counting_in, bar),
                None => {}
            }
        }
    }

    /// A waiting timeline takes over at the bar line that has come, when it waits for this one.
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

    fn sound(&mut self, event: Event, cycle: u64, counting_in: bool, bar: u64) {
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
            load.entry != Entry::SamePlace
                && (load.when == When::CycleEnd
                    || self.playing.as_ref().is_some_and(Playing::in_last_bar))
        });
        !leaves && self.last != Some(repetition)
    }

    /// Says from where on the timeline stands as it does, and finds where playing ends.
    fn report_taken(&mut self) {
        if let Some(playing) = &self.playing {
            self.end = self.last.map(|last| {
                let end = playing.frame_of_cycle(last);
                (end.saturating_sub(u64::from(self.rate.0 / 100)), end)
            });
            let report = Report::Took {
                serial: playing.serial,
                frame: Frames(self.frame),
                origin: playing.origin,
                cycle: playing.cycle,
                counting_in: playing.counting_in,
            };
            self.report(report);
        }
    }

    /// Says that the repetition now playing is void: it has begun and not reached its closing note.
    fn report_cut(&mut self, at: Fraction) {
        if let Some(playing) = &self.playing
            && !playing.counting_in
            && !playing.closed
            && !playing.void
            && at > Fraction::from_integer(i128::from(playing.frame_of_cycle(playing.cycle)))
        {
            let report = Report::Cut {
                serial: playing.serial,
                cycle: playing.cycle,
                frame: Frames(self.frame),
            };
            self.report(report);
        }
    }

    fn report(&mut self, report: Report) {
        if self.missed > 0 && self.reports.push(Report::Missed(self.missed)).is_ok() {
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
mod tests {
    use super::super::fixture::drill;
    use super::super::{Bus, Levels};
    use super::*;
    use crate::units::Gain;

    const RATE: SampleRate = SampleRate(48_000);

    fn only(bus: Bus) -> Sound {
        let mut levels = Levels {
            gains: [Gain(1.0); 4],
            muted: [true; 4],
        };
        levels.mute(bus, false);
        Sound {
            levels,
            ..Sound::default()
        }
    }

    fn send(controls: &mut Controls, at: u64, command: Command) {
        let timed = Timed {
            at: Frames(at),
            command,
        };
        controls.commands.push(timed).expect("room for a command");
    }

    fn load(timeline: &Arc<Timeline>, serial: u64, when: When, entry: Entry) -> Command {
        Command::Load(Load {
            timeline: Arc::clone(timeline),
            serial,
            when,
            entry,
        })
    }

    fn reports(controls: &mut Controls) -> Vec<Report> {
        std::iter::from_fn(|| controls.reports.pop().ok()).collect()
    }

    /// Frames where sound begins after at least `silence` frames without any.
    fn onsets(samples: &[f32], silence: usize) -> Vec<usize> {
        let mut quiet = silence;
        let mut found = Vec::new();
        for (frame, sample) in samples.iter().enumerate() {
            if *sample == 0.0 {
                quiet += 1;
            } else {
                if quiet >= silence {
                    found.push(frame);
                }
                quiet = 0;
            }
        }
        found
    }

    fn started(sound: Sound, timeline: Timeline) -> (Renderer, Controls) {
        let (renderer, mut controls) = Renderer::new(RATE, sound);
        send(
            &mut controls,
            0,
            load(&Arc::new(timeline), 1, When::Now, Entry::CountIn),
        );
        send(&mut controls, 0, Command::Play { repetitions: None });
        (renderer, controls)
    }

    /// 97 a minute at 48000: a beat is 29690.72… frames, so clicks stand at rounded multiples and
    /// intervals alternate; summing a rounded beat would drift.
    #[test]
    fn every_click_stands_at_its_rounded_exact_frame() {
        let (mut renderer, _controls) = started(only(Bus::Click), drill("97", 1));
        let mut samples = vec![0.0; 40 * 29_691];
        renderer.fill(&mut samples);
        let expected: Vec<usize> = (0..41_u64)
            .map(|beat| ((beat * 60 * 48_000 * 2 + 97) / (2 * 97)) as usize)
            .filter(|frame| *frame < samples.len())
            .collect();
        assert_eq!(onsets(&samples, 64), expected);
    }

    /// The line begins on the beat after the count-in and is silent 10 ms after the breath began.
    #[test]
    fn the_reference_begins_on_its_frame_and_holds_no_note_in_the_breath() {
        let (mut renderer, _controls) = started(only(Bus::Reference), drill("60", 1));
        let mut samples = vec![0.0; 48_000 * 13];
        renderer.fill(&mut samples);
        assert_eq!(onsets(&samples, 480), [4 * 48_000, 12 * 48_000]);
        assert!(
            samples[8 * 48_000 + 480..12 * 48_000]
                .iter()
                .all(|sample| *sample == 0.0)
        );
        assert!(
            samples[8 * 48_000 - 100..8 * 48_000]
                .iter()
                .any(|sample| *sample != 0.0)
        );
    }

    #[test]
    fn it_reports_bars_and_closing_notes_at_their_frames() {
        let (mut renderer, mut controls) = started(Sound::default(), drill("60", 1));
        renderer.fill(&mut vec![0.0; 48_000 * 13]);
        let bar = |cycle, bar, beat: u64| Report::Bar {
            serial: 1,
            cycle,
            bar,
            frame: Frames(beat * 48_000),
        };
        assert_eq!(
            reports(&mut controls),
            [
                Report::Took {
                    serial: 1,
                    frame: Frames(0),
                    origin: Fraction::from_integer(0),
                    cycle: 0,
                    counting_in: true,
                },
                bar(0, 0, 4),
                Report::Closing {
                    serial: 1,
                    cycle: 0,
                    frame: Frames(6 * 48_000),
                },
                bar(0, 1, 8),
                bar(1, 0, 12),
            ]
        );
    }

    /// A change of tempo in mid-bar would leave the player behind; it waits for the bar line and
    /// goes on at the same beat, without a gap: beats at 60 until the line, at 120 from it on.
    #[test]
    fn a_change_of_tempo_waits_for_the_bar_line_and_keeps_the_place() {
        let (mut renderer, mut controls) = started(only(Bus::Click), drill("60", 1));
        let quicker = Arc::new(drill("120", 1));
        send(
            &mut controls,
            5 * 48_000,
            load(&quicker, 2, When::BarLine, Entry::SamePlace),
        );
        let mut samples = vec![0.0; 48_000 * 12];
        renderer.fill(&mut samples);
        let seconds: Vec<f64> = onsets(&samples, 64)
            .iter()
            .map(|frame| *frame as f64 / 48_000.0)
            .collect();
        assert_eq!(
            seconds,
            [
                0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 8.5, 9.0, 9.5, 10.0, 10.5, 11.0, 11.5
            ]
        );
        let heard = reports(&mut controls);
        assert!(heard.contains(&Report::Took {
            serial: 2,
            frame: Frames(8 * 48_000),
            origin: Fraction::from_integer(4 * 48_000),
            cycle: 0,
            counting_in: false,
        }));
        // The closing note was heard before the change: nothing is void.
        assert!(
            !heard
                .iter()
                .any(|report| matches!(report, Report::Cut { .. }))
        );
        assert_eq!(Arc::strong_count(&quicker), 2);
        assert!(controls.retired.pop().is_ok(), "the old one travels back");
    }

    /// Bar lines of 97, 101 and 103 a minute fall between frames: the origins of what follows are
    /// exact sums, so that nothing is lost however often the tempo changes.
    #[test]
    fn changes_of_tempo_add_no_rounding() {
        let (mut renderer, mut controls) = started(only(Bus::Click), drill("97", 1));
        let beats = |count: i128, tempo: i128| Fraction::new(count * 60 * 48_000, tempo);
        let mut expected = vec![Fraction::from_integer(0)];
        for (serial, line, old, new) in [(2, 8, 97, 101), (3, 12, 101, 103), (4, 16, 103, 107)] {
            let origin = expected[expected.len() - 1];
            let within = (origin + beats(line - 3, old)).to_integer();
            let quicker = Arc::new(drill(&new.to_string(), 1));
            send(
                &mut controls,
                u64::try_from(within).expect("a frame"),
                load(&quicker, serial, When::BarLine, Entry::SamePlace),
            );
            expected.push(origin + beats(line, old) - beats(line, new));
        }
        renderer.fill(&mut vec![0.0; 48_000 * 12]);
        let origins: Vec<Fraction> = reports(&mut controls)
            .into_iter()
            .filter_map(|report| match report {
                Report::Took { origin, .. } => Some(origin),
                _ => None,
            })
            .collect();
        assert_eq!(origins, expected);
    }

    /// A new stage gets its counted bar, at the bar line, and the repetition left is void.
    #[test]
    fn another_stage_is_counted_in_and_what_was_cut_is_void() {
        let (mut renderer, mut controls) = started(only(Bus::Reference), drill("60", 0));
        let other = Arc::new(drill("60", 0));
        send(
            &mut controls,
            5 * 48_000,
            load(&other, 2, When::Now, Entry::CountIn),
        );
        let mut samples = vec![0.0; 48_000 * 10];
        renderer.fill(&mut samples);
        assert!(
            samples[5 * 48_000 + 480..9 * 48_000]
                .iter()
                .all(|sample| *sample == 0.0)
        );
        assert!(samples[9 * 48_000] != 0.0);
        assert!(reports(&mut controls).contains(&Report::Cut {
            serial: 1,
            cycle: 0,
            frame: Frames(5 * 48_000),
        }));
    }

    /// A repetition that changed its tempo on the way, or broke with its device, must not take a
    /// mark: it is told as cut, and its closing note is not told at all.
    #[test]
    fn a_broken_repetition_has_no_closing_note() {
        let (mut renderer, mut controls) = started(Sound::default(), drill("60", 0));
        let quicker = Arc::new(drill("120", 0));
        send(
            &mut controls,
            5 * 48_000,
            load(&quicker, 2, When::Now, Entry::SamePlace),
        );
        // The second repetition begins at 6.5 s, its closing note stands at 7.5 s.
        renderer.fill(&mut vec![0.0; 48_000 * 7]);
        renderer.void_repetition();
        renderer.fill(&mut vec![0.0; 48_000 * 3]);
        let mut told = reports(&mut controls);
        told.retain(|report| matches!(report, Report::Cut { .. } | Report::Closing { .. }));
        let frame = |seconds: f64| Frames((seconds * 48_000.0) as u64);
        let voided = |report: &Report| match *report {
            Report::Cut { frame, .. } => frame.0.abs_diff(7 * 48_000) < 64,
            _ => false,
        };
        assert_eq!(
            told[0],
            Report::Cut {
                serial: 1,
                cycle: 0,
                frame: frame(5.0)
            }
        );
        assert!(voided(&told[1]), "{told:?}");
        assert_eq!(
            told[2],
            Report::Closing {
                serial: 2,
                cycle: 2,
                frame: frame(9.5)
            }
        );
        assert_eq!(told.len(), 3);
    }

    /// Gracenotes ahead of a repetition that does not come would lead nowhere.
    #[test]
    fn gracenotes_ahead_are_left_out_where_no_repetition_follows() {
        let (renderer, mut controls) = Renderer::new(RATE, Sound::default());
        let mut renderer = renderer;
        let timeline = Arc::new(drill("60", 0));
        send(
            &mut controls,
            0,
            load(&timeline, 1, When::Now, Entry::CountIn),
        );
        send(
            &mut controls,
            0,
            Command::Play {
                repetitions: Some(2),
            },
        );
        let mut lines = Vec::new();
        let mut tenth = vec![0.0; 4800];
        for _ in 0..13 * 10 {
            renderer.fill(&mut tenth);
            lines.push(renderer.line);
        }
        // Tenths of a second: the grace sounds at 3.9 beats of the first repetition only.
        assert_eq!(lines[79], Some((Note::HighG, 1)));
        assert_eq!(lines[119], Some((Note::LowA, 1)));
        assert_eq!(lines[120], None);
        assert!(!renderer.is_running());
        assert!(reports(&mut controls).contains(&Report::Stopped(Frames(12 * 48_000))));
    }

    /// After a pause the repetition that was cut short begins again, counted in.
    #[test]
    fn after_a_pause_the_broken_repetition_begins_again() {
        let (mut renderer, mut controls) = started(Sound::default(), drill("60", 0));
        send(&mut controls, 9 * 48_000, Command::Pause);
        send(
            &mut controls,
            10 * 48_000,
            Command::Play { repetitions: None },
        );
        renderer.fill(&mut vec![0.0; 48_000 * 15]);
        let heard = reports(&mut controls);
        let at = |second: u64| Frames(second * 48_000);
        assert!(heard.contains(&Report::Cut {
            serial: 1,
            cycle: 1,
            frame: at(9)
        }));
        assert!(heard.contains(&Report::Paused(at(9))));
        assert!(heard.contains(&Report::Bar {
            serial: 1,
            cycle: 1,
            bar: 0,
            frame: at(14)
        }));
    }

    /// "You alone" means silence, and silence in the right repetitions.
    #[test]
    fn the_reference_alternates_and_fades_by_repetition() {
        let loudest = |plan| {
            let (mut renderer, mut controls) = started(only(Bus::Reference), drill("60", 1));
            send(&mut controls, 0, Command::Reference(plan));
            let mut samples = vec![0.0; 48_000 * 36];
            renderer.fill(&mut samples);
            [0, 1, 2, 3].map(|cycle| {
                let from = (4 + 8 * cycle) * 48_000;
                samples[from..from + 4 * 48_000]
                    .iter()
                    .fold(0.0_f32, |peak, sample| peak.max(sample.abs()))
            })
        };
        let [full, alone, again, alone_again] = loudest(ReferencePlan::Alternate);
        assert!(full > 0.2 && (full - again).abs() < 0.02);
        assert_eq!((alone, alone_again), (0.0, 0.0));
        let [first, second, third, fourth] = loudest(ReferencePlan::Fading(3));
        assert!(first > 1.3 * second && second > 1.5 * third && third > 0.0);
        assert_eq!(fourth, 0.0);
    }

    /// The count-in is always whole; afterwards clicks thin out as asked.
    #[test]
    fn clicks_thin_out_after_the_count_in() {
        let by_bar = |plan| {
            let (mut renderer, mut controls) = started(only(Bus::Click), drill("60", 0));
            send(&mut controls, 0, Command::Clicks(plan));
            let mut samples = vec![0.0; 48_000 * 28];
            renderer.fill(&mut samples);
            let bars: Vec<usize> = onsets(&samples, 64)
                .iter()
                .map(|frame| frame / (4 * 48_000))
                .collect();
            [0, 1, 2, 3, 4, 5, 6].map(|bar| bars.iter().filter(|b| **b == bar).count())
        };
        assert_eq!(
            by_bar(ClickPlan::SilentBars { play: 2, rest: 1 }),
            [4, 4, 4, 0, 4, 4, 0]
        );
        assert_eq!(by_bar(ClickPlan::OnePerBar), [4, 1, 1, 1, 1, 1, 1]);
    }

    /// A reader that sleeps must learn that it missed something, and go on right.
    #[test]
    fn a_full_ring_of_reports_says_how_many_are_missing() {
        let (mut renderer, mut controls) = started(Sound::default(), drill("300", 0));
        // 0.8 s a bar, two reports a bar: ten minutes are 1500 reports.
        let mut block = vec![0.0; 48_000];
        for _ in 0..600 {
            renderer.fill(&mut block);
        }
        assert_eq!(reports(&mut controls).len(), REPORTS);
        renderer.fill(&mut block);
        let later = reports(&mut controls);
        assert!(
            matches!(later[0], Report::Missed(missing) if missing > 400),
            "{later:?}"
        );
        assert!(matches!(
            later[1],
            Report::Bar { .. } | Report::Closing { .. }
        ));
    }

    /// A device that comes back at another rate must not move the music: the next bar comes at the
    /// same second.
    #[test]
    fn another_rate_keeps_the_place_in_musical_time() {
        let (mut renderer, mut controls) = started(only(Bus::Click), drill("97", 1));
        renderer.fill(&mut vec![0.0; 100_000]);
        reports(&mut controls);
        let mut renderer = renderer.at_rate(SampleRate(44_100));
        assert_eq!(renderer.frame(), Frames(91_875));
        renderer.fill(&mut vec![0.0; 44_100 * 4]);
        // Beat 4 of 97 a minute at 44100: 109113.4 frames.
        assert!(reports(&mut controls).contains(&Report::Bar {
            serial: 1,
            cycle: 0,
            bar: 0,
            frame: Frames(109_113),
        }));
    }

    /// Timelines are freed by their owner: with nobody taking them back loads wait, none is lost.
    #[test]
    fn loads_wait_while_no_timeline_is_taken_back() {
        let (mut renderer, mut controls) = started(Sound::default(), drill("60", 0));
        let timelines: Vec<Arc<Timeline>> = (0..40).map(|_| Arc::new(drill("60", 0))).collect();
        for (serial, timeline) in timelines.iter().enumerate() {
            let command = load(timeline, serial as u64 + 2, When::Now, Entry::SamePlace);
            send(&mut controls, 0, command);
        }
        renderer.fill(&mut [0.0; 640]);
        let mut back = 0;
        while back < 40 {
            let before = back;
            while controls.retired.pop().is_ok() {
                back += 1;
            }
            assert!(back > before, "loads go on once there is room");
            renderer.fill(&mut [0.0; 640]);
        }
        assert_eq!(Arc::strong_count(&timelines[39]), 2);
        assert_eq!(Arc::strong_count(&timelines[38]), 1);
    }
}
