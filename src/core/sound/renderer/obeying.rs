//! How the renderer carries out commands.

use super::super::orders::{Command, Entrance, Load, RendererReport, When};
use super::super::transport::Playing;
use super::Renderer;
use crate::units::{Beats, Fraction, Frames};

impl Renderer {
    /// Carries out the commands whose frame is reached.
    pub(super) fn obey(&mut self) {
        while let Ok(timed) = self.commands.peek() {
            // A load may send two timelines back: the playing one and a waiting one.
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
        // A cycle of length 0 would repeat endlessly within one frame.
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

    /// Replaces the playing timeline by the loaded one at an exact frame.
    pub(super) fn take_over(&mut self, load: Load, at: Fraction) {
        let entry = load.entry;
        let new = match (&self.playing, entry) {
            (Some(old), Entrance::SamePlace) if self.running => Playing::at_place_of(load, old, at),
            (Some(old), Entrance::SamePlace) => {
                Playing::at_section(load, at, old.next_whole(), true, self.rate)
            }
            _ => Playing::at_section(load, at, 0, entry != Entrance::FirstCycle, self.rate),
        };
        if self.running {
            self.report_cut(at);
            if entry != Entrance::SamePlace {
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
            entry: Entrance::CountIn,
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

    /// Falls silent; when `home` is true, playing also returns to the first cycle.
    pub(super) fn halt(&mut self, home: bool) {
        let frame = Frames(self.frame);
        if self.running {
            self.report_cut(Fraction::from_integer(i128::from(self.frame)));
            self.mix.fall_silent();
        }
        self.running = false;
        self.line = None;
        if let Some(load) = self.pending.take() {
            // Nothing plays now, so the waiting timeline takes over at once.
            self.take_over(load, Fraction::from_integer(i128::from(self.frame)));
        }
        if home && let Some(playing) = &mut self.playing {
            playing.cycle = 0;
            playing.closed = false;
        }
        self.report(if home {
            RendererReport::Stopped(frame)
        } else {
            RendererReport::Paused(frame)
        });
    }
}
