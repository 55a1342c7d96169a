//! The sum of the voices, with their levels and mutes.
//!
//! Knows no beats: the caller says what begins at the next frame.

use super::voices::{CHUNK, Chanter, ClickSound, Clicks, Cue, Cues, Drones, Ramp, Weight};
use crate::chanter::{Note, Tuning};
use crate::units::{Gain, SampleRate};
use serde::{Deserialize, Serialize};

/// One or more voices with a common level.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Bus {
    /// The chanter line.
    Reference,
    /// The drones.
    Drones,
    /// The click.
    Click,
    /// The cues.
    Cue,
}

impl Bus {
    /// All buses, in the order in which they are shown.
    pub const ALL: [Self; 4] = [Self::Reference, Self::Drones, Self::Click, Self::Cue];
}

/// Levels and mutes of all buses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levels {
    /// Level of each bus, 0 to 1, as in [`Bus::ALL`].
    pub gains: [Gain; 4],
    /// Muted buses, as in [`Bus::ALL`].
    pub muted: [bool; 4],
}

impl Default for Levels {
    /// Modest levels, for headphones. The mix peaks at about −8 dB of full scale, mostly in clicks,
    /// and the player turns up the voices that should be louder.
    fn default() -> Self {
        Self {
            gains: [Gain(0.35), Gain(0.35), Gain(0.45), Gain(0.5)],
            muted: [false; 4],
        }
    }
}

impl Levels {
    /// Every level at its highest: for files, whose loudness is set when they are played back.
    pub const FULL: Self = Self {
        gains: [Gain(1.0); 4],
        muted: [false; 4],
    };

    /// The level of a bus. Thread: any. Allocates: no. Blocks: no.
    pub fn of(&self, bus: Bus) -> Gain {
        self.gains[bus as usize]
    }

    /// Sets the level of a bus, limited to 0 to 1. Thread: any. Allocates: no. Blocks: no.
    pub fn set(&mut self, bus: Bus, gain: Gain) {
        self.gains[bus as usize] = held(gain);
    }

    /// Mutes or unmutes a bus. Thread: any. Allocates: no. Blocks: no.
    pub fn mute(&mut self, bus: Bus, muted: bool) {
        self.muted[bus as usize] = muted;
    }

    fn heard(&self, bus: Bus) -> f32 {
        if self.muted[bus as usize] {
            0.0
        } else {
            held(self.gains[bus as usize]).0
        }
    }
}

/// Limits a level to 0 to 1, so that the mix cannot clip. A level that is not a number becomes 0.
fn held(gain: Gain) -> Gain {
    Gain(if gain.0.is_nan() {
        0.0
    } else {
        gain.0.clamp(0.0, 1.0)
    })
}

/// What is set before the first frame. Commands change it later.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sound {
    /// Pitch, table and chanter.
    pub tuning: Tuning,
    /// True when the drones sound.
    pub drones: bool,
    /// Levels and mutes.
    pub levels: Levels,
    /// What the click sounds like.
    pub click: ClickSound,
}

impl Default for Sound {
    /// A practice chanter, no drones, modest levels.
    fn default() -> Self {
        Self {
            tuning: Tuning::default(),
            drones: false,
            levels: Levels::default(),
            click: ClickSound::default(),
        }
    }
}

/// The voices and their levels.
pub(super) struct Mix {
    pub(super) sound: Sound,
    chanter: Chanter,
    drones: Drones,
    clicks: Clicks,
    cues: Cues,
    levels: [Ramp; 4],
    /// The reference plan's factor on the chanter line: 1, or less in a fading repetition.
    share: Ramp,
    /// How many frames a level takes to reach its new value: 20 ms.
    ramp: u32,
}

impl Mix {
    /// Builds every voice, which takes a few milliseconds. Thread: any but audio. Allocates: yes.
    /// Blocks: no.
    pub(super) fn new(rate: SampleRate, sound: Sound) -> Self {
        let level = |bus| Ramp::at(sound.levels.heard(bus));
        Self {
            sound,
            chanter: Chanter::new(rate, sound.tuning),
            drones: Drones::new(rate, &sound.tuning),
            clicks: Clicks::new(rate),
            cues: Cues::new(rate),
            levels: Bus::ALL.map(level),
            share: Ramp::at(1.0),
            ramp: rate.0 / 50,
        }
    }

    /// Begins to play: resets the voices that are silent. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn begin(&mut self) {
        if self.chanter.is_silent() {
            self.chanter.reset();
        }
        if self.drones.are_silent() {
            self.drones.reset();
        }
        self.drones.switch(self.sound.drones, self.ramp);
    }

    /// The chanter line moves to a note at the factor `share` of its level. Thread: audio.
    /// Allocates: no. Blocks: no.
    pub(super) fn reference(&mut self, note: Note, share: f32) {
        if share <= 0.0 {
            self.chanter.hush();
            return;
        }
        if self.chanter.is_silent() {
            self.share = Ramp::at(share);
        } else {
            self.share.go(share, self.ramp);
        }
        self.chanter.sound(note);
    }

    /// The reference fades within 10 ms. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn hush(&mut self) {
        self.chanter.hush();
    }

    /// Everything but a cue fades within 10 ms. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn fall_silent(&mut self) {
        self.chanter.hush();
        self.drones.switch(false, self.ramp / 2);
        self.clicks.cut_off();
    }

    /// Strikes a click. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn click(&mut self, weight: Weight) {
        self.clicks.strike(self.sound.click, weight);
    }

    /// Begins a cue. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn cue(&mut self, cue: Cue) {
        self.cues.sound(cue);
    }

    /// Switches the drones; they sound only while something plays. Thread: audio. Allocates: no.
    /// Blocks: no.
    pub(super) fn switch_drones(&mut self, on: bool, playing: bool) {
        self.sound.drones = on;
        self.drones.switch(on && playing, self.ramp);
    }

    /// Sets the tuning. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn tune(&mut self, tuning: Tuning) {
        self.sound.tuning = tuning;
        self.chanter.tune(tuning);
        self.drones.tune(&tuning);
    }

    /// Moves the levels to new values within 20 ms. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn set_levels(&mut self, levels: Levels) {
        self.sound.levels = levels;
        for (bus, ramp) in Bus::ALL.into_iter().zip(&mut self.levels) {
            ramp.go(levels.heard(bus), self.ramp);
        }
    }

    /// Renders the next frames, at most 64. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn render(&mut self, out: &mut [f32]) {
        out.fill(0.0);
        let size = out.len().min(CHUNK);
        let mut own = [0.0_f32; CHUNK];
        let [reference, drones, click, cue] = &mut self.levels;
        let mut add = |own: &mut [f32], level: &mut Ramp| {
            level.apply(own);
            for (sample, voice) in out.iter_mut().zip(own.iter_mut()) {
                *sample += *voice;
                *voice = 0.0;
            }
        };
        let own = &mut own[..size];
        self.chanter.render(own);
        self.share.apply(own);
        add(own, reference);
        self.drones.render(own);
        add(own, drones);
        self.clicks.render(own);
        add(own, click);
        self.cues.render(own);
        add(own, cue);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::{Instrument, NOTES};

    /// A clipped mix distorts and hurts. With every bus at its highest level, every chanter and
    /// click, drones on, and cues and clicks at the worst moments, the mix stays within full scale.
    #[test]
    fn the_full_mix_never_clips() {
        for instrument in [Instrument::PracticeChanter, Instrument::PipeChanter] {
            let levels = Levels {
                gains: [Gain(f32::INFINITY), Gain(1.0), Gain(7.0), Gain(1.0)],
                muted: [false; 4],
            };
            let mut mix = Mix::new(
                SampleRate(48_000),
                Sound {
                    tuning: Tuning::of(instrument),
                    drones: true,
                    levels,
                    click: ClickSound::Tick,
                },
            );
            mix.begin();
            let mut peak = 0.0_f32;
            for (n, note) in NOTES.into_iter().cycle().take(360).enumerate() {
                mix.reference(note, 1.0);
                mix.sound.click = ClickSound::ALL[n % 4];
                if n % 3 == 0 {
                    mix.click(Weight::Bar);
                }
                if n % 11 == 0 {
                    mix.cue(if n % 2 == 0 {
                        Cue::CellClear
                    } else {
                        Cue::StepBack
                    });
                }
                for _ in 0..(n % 17 + 4) {
                    let mut chunk = [0.0; CHUNK];
                    mix.render(&mut chunk);
                    peak = chunk.iter().fold(peak, |a, b| a.max(b.abs()));
                }
            }
            assert!(peak < 1.0, "{instrument:?}: {peak}");
            assert!(peak > 0.6, "{instrument:?}: the test is too mild: {peak}");
        }
    }

    /// A player who starts with headphones on must not hear the highest levels.
    #[test]
    fn the_levels_at_the_start_are_modest() {
        let levels = Levels::default();
        for bus in Bus::ALL {
            assert!(levels.of(bus).0 <= 0.5);
        }
    }

    /// A mute acts at once and without a pop: after 20 ms the bus is silent.
    #[test]
    fn a_mute_is_silent_after_twenty_milliseconds_without_a_step() {
        let mut mix = Mix::new(SampleRate(48_000), Sound::default());
        mix.begin();
        mix.reference(Note::D, 1.0);
        let mut samples = vec![0.0; 4800];
        for chunk in samples.chunks_mut(CHUNK) {
            mix.render(chunk);
        }
        let held = samples[2400..]
            .windows(2)
            .map(|pair| (pair[1] - pair[0]).abs())
            .fold(0.0, f32::max);
        let mut levels = Levels::default();
        levels.mute(Bus::Reference, true);
        mix.set_levels(levels);
        let mut fading = vec![0.0; 1920];
        for chunk in fading.chunks_mut(CHUNK) {
            mix.render(chunk);
        }
        assert!(fading[..900].iter().any(|sample| sample.abs() > 0.005));
        assert!(fading[960..].iter().all(|sample| *sample == 0.0));
        assert!(
            fading
                .windows(2)
                .all(|pair| (pair[1] - pair[0]).abs() <= 1.05 * held)
        );
    }
}
