//! The chanter line: one continuous tone that moves from note to note.

use super::ramp::Ramp;
use super::reed::{self, Timbre};
use super::{CHUNK, peak};
use crate::chanter::{Instrument, Note, Tuning};
use crate::units::SampleRate;
use fundsp::audionode::AudioNode;
use fundsp::buffer::BufferArray;
use fundsp::typenum::U1;
use fundsp::wavetable::WaveSynth;

/// Seconds a note change takes: the pitch glides from the frame of the event on. Long enough that
/// the wave has no kink and the tables pass into each other, short beside the shortest gracenote
/// (chosen: 2 ms, the span within which two sounds are heard as one, Hirsh 1959).
const GLIDE: f64 = 0.002;
/// Seconds in which the tone fades at a breath; the rule is at most 10 ms.
const FADE: f64 = 0.010;
/// Seconds in which the tone begins out of silence (chosen: no pop, still square on its beat).
const ATTACK: f64 = 0.003;
/// Seconds in which one chanter gives way to the other.
const EXCHANGE: f64 = 0.020;
/// The tables are scaled to a peak of 1 at their points; between points the interpolation passes
/// it by less than this factor (a test measures it).
const OVERSHOOT: f32 = 1.02;

/// The chanter voice: two reeds of which one sounds.
pub(in crate::sound) struct Chanter {
    reeds: [(Instrument, WaveSynth<U1>, Ramp); 2],
    tuning: Tuning,
    note: Note,
    /// Pitch now and where it glides to, hertz.
    pitch: f32,
    target: f32,
    step: f32,
    left: u32,
    envelope: Ramp,
    rate: SampleRate,
    pitches: BufferArray<U1>,
    settled: bool,
    waves: BufferArray<U1>,
}

fn frames(seconds: f64, rate: SampleRate) -> u32 {
    ((seconds * f64::from(rate.0)) as u32).max(1)
}

impl Chanter {
    /// Builds the tables of both chanters. Thread: any but audio. Allocates: yes. Blocks: no.
    pub(in crate::sound) fn new(rate: SampleRate, tuning: Tuning) -> Self {
        let reed = |instrument, timbre, hash| {
            let tables = reed::tables(timbre, rate);
            let level = if instrument == tuning.instrument {
                1.0
            } else {
                0.0
            };
            (
                instrument,
                reed::oscillator(&tables, rate, hash),
                Ramp::at(level),
            )
        };
        let pitch = tuning.hertz(Note::LowA).0 as f32;
        Self {
            reeds: [
                reed(Instrument::PracticeChanter, Timbre::PracticeChanter, 1),
                reed(Instrument::PipeChanter, Timbre::PipeChanter, 2),
            ],
            tuning,
            note: Note::LowA,
            pitch,
            target: pitch,
            step: 0.0,
            left: 0,
            envelope: Ramp::at(0.0),
            rate,
            pitches: BufferArray::new(),
            settled: false,
            waves: BufferArray::new(),
        }
    }

    /// As new, with the tuning it has now. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn reset(&mut self) {
        for (instrument, reed, level) in &mut self.reeds {
            reed.reset();
            let on = *instrument == self.tuning.instrument;
            *level = Ramp::at(if on { 1.0 } else { 0.0 });
        }
        self.note = Note::LowA;
        self.envelope = Ramp::at(0.0);
        self.jump(self.tuning.hertz(Note::LowA).0 as f32);
    }

    fn jump(&mut self, pitch: f32) {
        self.pitch = pitch;
        self.target = pitch;
        self.left = 0;
        self.settled = false;
    }

    fn glide(&mut self, pitch: f32, over: u32) {
        self.target = pitch;
        self.left = over;
        self.step = (pitch - self.pitch) / over as f32;
        self.settled = false;
    }

    /// Moves to a note from the next frame on. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn sound(&mut self, note: Note) {
        self.note = note;
        let pitch = self.tuning.hertz(note).0 as f32;
        if self.envelope.is_silent() {
            self.jump(pitch);
        } else if pitch != self.target {
            self.glide(pitch, frames(GLIDE, self.rate));
        }
        self.envelope.go(1.0, frames(ATTACK, self.rate));
    }

    /// True when it neither sounds nor fades. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn is_silent(&self) -> bool {
        self.envelope.is_silent()
    }

    /// Fades within 10 ms. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn hush(&mut self) {
        self.envelope.go(0.0, frames(FADE, self.rate));
    }

    /// Takes another tuning; a note that sounds moves to it. Thread: audio. Allocates: no.
    /// Blocks: no.
    pub(in crate::sound) fn tune(&mut self, tuning: Tuning) {
        self.tuning = tuning;
        let over = frames(EXCHANGE, self.rate);
        for (instrument, reed, level) in &mut self.reeds {
            let on = *instrument == tuning.instrument;
            if on && level.is_silent() {
                reed.reset();
            }
            level.go(if on { 1.0 } else { 0.0 }, over);
        }
        self.glide(tuning.hertz(self.note).0 as f32, over);
    }

    /// Adds the next frames, at most 64. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn render(&mut self, out: &mut [f32]) {
        if self.envelope.is_silent() {
            return;
        }
        let size = out.len().min(CHUNK);
        self.fill_pitches(size);
        let mut levels = [0.0_f32; CHUNK];
        for level in &mut levels[..size] {
            *level = self.envelope.next() * (peak::CHANTER / OVERSHOOT);
        }
        for (_, reed, share) in &mut self.reeds {
            if share.is_silent() {
                continue;
            }
            reed.process(
                size,
                &self.pitches.buffer_ref(),
                &mut self.waves.buffer_mut(),
            );
            let wave = self.waves.buffer_ref();
            for ((sample, wave), level) in out.iter_mut().zip(wave.channel_f32(0)).zip(levels) {
                *sample += wave * level * share.next();
            }
        }
    }

    /// Pitches of the next frames; while nothing glides the buffer stays as it is.
    fn fill_pitches(&mut self, size: usize) {
        if self.left == 0 && self.settled {
            return;
        }
        self.settled = self.left == 0;
        for n in 0..CHUNK {
            if n < size && self.left > 0 {
                self.left -= 1;
                self.pitch = if self.left == 0 {
                    self.target
                } else {
                    self.pitch + self.step
                };
            }
            self.pitches.set_f32(0, n, self.pitch);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::{NOTES, TuningTable};
    use crate::units::Hertz;

    const RATE: SampleRate = SampleRate(48_000);

    fn render(chanter: &mut Chanter, frames: usize) -> Vec<f32> {
        let mut samples = vec![0.0; frames];
        for chunk in samples.chunks_mut(CHUNK) {
            chanter.render(chunk);
        }
        samples
    }

    /// Mean frequency from the first and last upward crossing of a partial-free measure: the
    /// phase of the fundamental by correlation with a complex exponential in two windows.
    fn pitch(samples: &[f32], near: f64) -> f64 {
        let window = samples.len() / 2;
        let phase = |from: usize| {
            let (mut re, mut im) = (0.0, 0.0);
            for n in 0..window {
                let hann = 0.5 - 0.5 * (std::f64::consts::TAU * n as f64 / window as f64).cos();
                let turn = std::f64::consts::TAU * near * (from + n) as f64 / f64::from(RATE.0);
                re += hann * f64::from(samples[from + n]) * turn.cos();
                im -= hann * f64::from(samples[from + n]) * turn.sin();
            }
            im.atan2(re)
        };
        let tau = std::f64::consts::TAU;
        let mut turned = phase(window) - phase(0);
        turned -= tau * (turned / tau).round();
        near + turned / tau * f64::from(RATE.0) / window as f64
    }

    /// A drill that is out of tune teaches the wrong pitch: each note within a tenth of a cent of
    /// its ratio, in both tables and on both chanters.
    #[test]
    fn every_note_stands_at_its_ratio() {
        for (low_a, table) in [
            (236.0, TuningTable::Modern),
            (480.0, TuningTable::MidCentury),
        ] {
            let tuning = Tuning::with_low_a(Hertz(low_a), table);
            let mut chanter = Chanter::new(RATE, tuning);
            for note in NOTES {
                chanter.sound(note);
                render(&mut chanter, 1024);
                let expected = tuning.hertz(note).0;
                let found = pitch(&render(&mut chanter, 24_000), expected);
                let cents = 1200.0 * (found / expected).log2();
                assert!(cents.abs() < 0.1, "{note} at {low_a}: {cents} cents");
            }
        }
    }

    /// A step in the wave is heard as a click at every note: the largest step between two frames
    /// around all 72 note changes is no larger than within held notes.
    #[test]
    fn a_note_change_makes_no_step() {
        let step = |samples: &[f32]| {
            samples
                .windows(2)
                .map(|pair| (pair[1] - pair[0]).abs())
                .fold(0.0_f32, f32::max)
        };
        for instrument in [Instrument::PracticeChanter, Instrument::PipeChanter] {
            let mut chanter = Chanter::new(RATE, Tuning::of(instrument));
            for from in NOTES {
                for to in NOTES.into_iter().filter(|to| *to != from) {
                    chanter.sound(from);
                    render(&mut chanter, 960);
                    let held = step(&render(&mut chanter, 960));
                    chanter.sound(to);
                    let changing = step(&render(&mut chanter, 192));
                    let after = step(&render(&mut chanter, 960));
                    assert!(
                        changing <= 1.25 * held.max(after),
                        "{instrument:?} {from} to {to}: {changing} beside {held} and {after}"
                    );
                }
            }
        }
    }

    /// The breath bar is silent: nothing is left 10 ms after the hush.
    #[test]
    fn a_hush_is_silent_after_ten_milliseconds() {
        let mut chanter = Chanter::new(RATE, Tuning::default());
        chanter.sound(Note::E);
        render(&mut chanter, 4800);
        chanter.hush();
        let faded = render(&mut chanter, 960);
        assert!(faded[..400].iter().any(|sample| sample.abs() > 0.01));
        assert!(faded[480..].iter().all(|sample| *sample == 0.0));
    }

    /// The reserve for the interpolation's overshoot holds at every pitch that can be set.
    #[test]
    fn the_chanter_keeps_within_its_peak() {
        for low_a in [200.0, 236.0, 339.0, 341.0, 480.0, 520.0] {
            let tuning = Tuning::with_low_a(Hertz(low_a), TuningTable::MidCentury);
            let mut chanter = Chanter::new(RATE, tuning);
            let mut highest = 0.0_f32;
            for note in NOTES {
                chanter.sound(note);
                for sample in render(&mut chanter, 4800) {
                    highest = highest.max(sample.abs());
                }
            }
            assert!(highest <= peak::CHANTER, "{low_a}: {highest}");
            assert!(highest > 0.5 * peak::CHANTER, "{low_a}: {highest}");
        }
    }

    #[test]
    fn after_a_reset_the_same_frames_come_again() {
        let mut chanter = Chanter::new(RATE, Tuning::default());
        chanter.sound(Note::D);
        let first = render(&mut chanter, 1000);
        chanter.reset();
        chanter.sound(Note::D);
        assert_eq!(first, render(&mut chanter, 1000));
    }
}
