//! The chanter line: one continuous tone that moves from note to note.

use super::ramp::Ramp;
use super::reed::{self, Timbre};
use super::{CHUNK, peak};
use crate::chanter::{Instrument, NOTES, Note, Tuning};
use crate::units::SampleRate;
use fundsp::audionode::AudioNode;
use fundsp::buffer::BufferArray;
use fundsp::typenum::U1;
use fundsp::wavetable::WaveSynth;

/// The time of a note change in seconds: from the event's frame on, the new note fades in over the
/// old one. It is long enough to avoid a click and short beside the shortest gracenote (chosen: 2
/// ms, the span within which two sounds are heard as one, Hirsh 1959). A glide of the pitch instead
/// makes a measured noise 18 times as strong, because it runs through all the tables between the
/// two notes.
const CHANGE: f64 = 0.002;
/// The time in seconds in which the tone fades out at a breath; at most 10 ms are allowed.
const FADE: f64 = 0.010;
/// The time in seconds in which the tone begins from silence (chosen: no pop, and still on its
/// beat).
const ATTACK: f64 = 0.003;
/// The time in seconds in which one chanter changes to the other.
const EXCHANGE: f64 = 0.020;
/// The tables have a peak of 1 at their points. Between the points the interpolation exceeds the
/// peak by less than this factor (a test measures it).
const OVERSHOOT: f32 = 1.02;

/// Both chanters, indexed by [`row`].
const INSTRUMENTS: [Instrument; 2] = [Instrument::PracticeChanter, Instrument::PipeChanter];

/// The index of a chanter in [`INSTRUMENTS`].
fn row(instrument: Instrument) -> usize {
    usize::from(instrument == Instrument::PipeChanter)
}

/// The chanter voice: two tone sources that crossfade, each with every note of both chanters.
pub(in crate::sound) struct Chanter {
    mouths: [Mouth; 2],
    /// Index of the source that sounds or fades in.
    now: usize,
    /// How many frames of the change are done, and how many it takes.
    done: u32,
    change: u32,
    /// A change requested while another one is in progress; it begins right after.
    waiting: Option<(Note, u32)>,
    tuning: Tuning,
    note: Note,
    envelope: Ramp,
    rate: SampleRate,
    waves: BufferArray<U1>,
}

/// A source of one tone at a time: an oscillator for each note of each chanter, one of which
/// sounds.
struct Mouth {
    reeds: [[WaveSynth<U1>; 9]; 2],
    /// The gains of the notes of each chanter; the loudest has 1.
    gains: [[f32; 9]; 2],
    instrument: Instrument,
    note: Note,
    pitches: BufferArray<U1>,
}

impl Mouth {
    fn take(&mut self, tuning: &Tuning, note: Note) {
        self.instrument = tuning.instrument;
        self.note = note;
        let pitch = tuning.hertz(note).0 as f32;
        for n in 0..CHUNK {
            self.pitches.set_f32(0, n, pitch);
        }
    }

    /// Renders the next frames and returns the note's gain.
    fn render(&mut self, size: usize, waves: &mut BufferArray<U1>) -> f32 {
        let (chanter, note) = (row(self.instrument), self.note as usize);
        self.reeds[chanter][note].process(
            size,
            &self.pitches.buffer_ref(),
            &mut waves.buffer_mut(),
        );
        self.gains[chanter][note]
    }
}

fn frames(seconds: f64, rate: SampleRate) -> u32 {
    ((seconds * f64::from(rate.0)) as u32).max(1)
}

impl Chanter {
    /// Builds the tables of both chanters, which takes some milliseconds. Thread: any but audio.
    /// Allocates: yes. Blocks: no.
    pub(in crate::sound) fn new(rate: SampleRate, tuning: Tuning) -> Self {
        let tables = INSTRUMENTS.map(|instrument| {
            NOTES.map(|note| reed::tables(Timbre::Chanter(instrument, note), rate))
        });
        let gains = INSTRUMENTS.map(|instrument| reed::gains(instrument, &tables[row(instrument)]));
        // Each oscillator starts at a phase of its own.
        let mouth = |which: u64| {
            let mut mouth = Mouth {
                reeds: INSTRUMENTS.map(|instrument| {
                    NOTES.map(|note| {
                        let hash = 100 * which + 10 * row(instrument) as u64 + note as u64;
                        reed::oscillator(&tables[row(instrument)][note as usize], rate, hash)
                    })
                }),
                gains,
                instrument: tuning.instrument,
                note: Note::LowA,
                pitches: BufferArray::new(),
            };
            mouth.take(&tuning, Note::LowA);
            mouth
        };
        Self {
            mouths: [mouth(1), mouth(2)],
            now: 0,
            done: 1,
            change: 1,
            waiting: None,
            tuning,
            note: Note::LowA,
            envelope: Ramp::at(0.0),
            rate,
            waves: BufferArray::new(),
        }
    }

    /// Returns to the initial state but keeps the present tuning. Thread: audio. Allocates: no.
    /// Blocks: no.
    pub(in crate::sound) fn reset(&mut self) {
        for mouth in &mut self.mouths {
            for reed in mouth.reeds.as_flattened_mut() {
                reed.reset();
            }
        }
        self.now = 0;
        self.envelope = Ramp::at(0.0);
        self.jump(Note::LowA);
    }

    /// Begins a note from silence, without a crossfade.
    fn jump(&mut self, note: Note) {
        self.note = note;
        self.waiting = None;
        self.done = self.change;
        self.mouths[self.now].take(&self.tuning, note);
    }

    /// Begins a crossfade to the other source, which takes `over` frames.
    fn exchange(&mut self, note: Note, over: u32) {
        self.note = note;
        if self.done < self.change {
            self.waiting = Some((note, over));
            return;
        }
        self.now = 1 - self.now;
        self.done = 0;
        self.change = over;
        self.mouths[self.now].take(&self.tuning, note);
    }

    /// Moves to a note from the next frame on. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn sound(&mut self, note: Note) {
        if self.envelope.is_silent() {
            self.jump(note);
        } else if note != self.note {
            self.exchange(note, frames(CHANGE, self.rate));
        }
        self.envelope.go(1.0, frames(ATTACK, self.rate));
    }

    /// True when the voice neither sounds nor fades. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn is_silent(&self) -> bool {
        self.envelope.is_silent()
    }

    /// Fades out within 10 ms. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn hush(&mut self) {
        self.envelope.go(0.0, frames(FADE, self.rate));
    }

    /// Sets another tuning; a sounding note moves to its new pitch. Thread: audio. Allocates: no.
    /// Blocks: no.
    pub(in crate::sound) fn tune(&mut self, tuning: Tuning) {
        self.tuning = tuning;
        if self.envelope.is_silent() {
            self.jump(self.note);
        } else {
            self.exchange(self.note, frames(EXCHANGE, self.rate));
        }
    }

    /// Adds the next frames, at most 64, to `out`. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn render(&mut self, out: &mut [f32]) {
        if self.envelope.is_silent() {
            return;
        }
        let mut rest = &mut out[..];
        while !rest.is_empty() {
            // A part ends where a change ends, because one source is enough from there on.
            let size = match self.change - self.done {
                0 => rest.len(),
                left => rest.len().min(left as usize),
            }
            .min(CHUNK);
            let (part, later) = rest.split_at_mut(size);
            self.render_part(part);
            if self.done == self.change
                && let Some((note, over)) = self.waiting.take()
            {
                self.exchange(note, over);
            }
            rest = later;
        }
    }

    fn render_part(&mut self, out: &mut [f32]) {
        let size = out.len();
        let mut tone = [0.0_f32; CHUNK];
        let tone = &mut tone[..size];
        let gain = self.mouths[self.now].render(size, &mut self.waves);
        let wave = self.waves.buffer_ref();
        for (tone, wave) in tone.iter_mut().zip(wave.channel_f32(0)) {
            *tone = gain * wave;
        }
        if self.done < self.change {
            let gain = self.mouths[1 - self.now].render(size, &mut self.waves);
            let old = self.waves.buffer_ref();
            for (n, (new, old)) in tone.iter_mut().zip(old.channel_f32(0)).enumerate() {
                // The crossfade 3t² − 2t³ has a slope of 0 at both ends, so it has no kink.
                let t = (self.done + n as u32 + 1) as f32 / self.change as f32;
                let share = t * t * (3.0 - 2.0 * t);
                *new = share * *new + (1.0 - share) * gain * old;
            }
            self.done += size as u32;
        }
        for (sample, tone) in out.iter_mut().zip(tone) {
            *sample += *tone * (self.envelope.next() * (peak::CHANTER / OVERSHOOT));
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

    /// The mean frequency in hertz. It is measured from the phase of the fundamental, by
    /// correlation with a complex exponential in two windows.
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

    /// A drill that is out of tune teaches the wrong pitch. Each note is within a tenth of a cent
    /// of its ratio, in both tables and on both chanters.
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

    /// The power of the fourth difference: a high-pass of 24 dB an octave, in which a kink or a
    /// step stands out from the tone.
    fn splash(samples: &[f32]) -> f64 {
        samples
            .windows(5)
            .map(|w| f64::from(w[0] - 4.0 * w[1] + 6.0 * w[2] - 4.0 * w[3] + w[4]).powi(2))
            .fold(0.0, f64::max)
            .sqrt()
    }

    /// A step or a kink in the wave is heard as a click. Around all 72 note changes nothing stands
    /// out from the tones on both sides, whereas a change within one frame does.
    #[test]
    fn a_note_change_makes_no_click() {
        for instrument in [Instrument::PracticeChanter, Instrument::PipeChanter] {
            let mut chanter = Chanter::new(RATE, Tuning::of(instrument));
            let mut worst = 0.0_f64;
            for from in NOTES {
                for to in NOTES.into_iter().filter(|to| *to != from) {
                    chanter.sound(from);
                    render(&mut chanter, 960);
                    let held = render(&mut chanter, 960);
                    chanter.sound(to);
                    let mut changing = held[940..].to_vec();
                    changing.extend(render(&mut chanter, 192));
                    let after = render(&mut chanter, 960);
                    worst = worst.max(splash(&changing) / splash(&held).max(splash(&after)));
                }
            }
            assert!(worst < 1.5, "{instrument:?}: {worst}");
        }
    }

    /// The breath bar is silent: nothing sounds 10 ms after the hush.
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

    /// The root mean square in decibels of full scale.
    fn level(samples: &[f32]) -> f64 {
        let power: f64 = samples.iter().map(|s| f64::from(*s).powi(2)).sum();
        10.0 * (power / samples.len() as f64).log10()
    }

    /// The power above a frequency relative to the whole power, in decibels: a measure of how reedy
    /// the tone is. It is computed by a discrete Fourier transform of a Hann window of 4096 frames.
    fn above(samples: &[f32], hertz: f64) -> f64 {
        let count = 4096;
        let step = std::f64::consts::TAU / count as f64;
        let power = |bin: usize| {
            let (mut re, mut im) = (0.0, 0.0);
            for (n, sample) in samples[..count].iter().enumerate() {
                let value = f64::from(*sample) * (0.5 - 0.5 * (step * n as f64).cos());
                let turn = step * ((n * bin) % count) as f64;
                re += value * turn.cos();
                im -= value * turn.sin();
            }
            re * re + im * im
        };
        let first = (hertz * count as f64 / f64::from(RATE.0)) as usize;
        let (low, high): (f64, f64) = (
            (1..first).map(power).sum(),
            (first..first + 600).map(power).sum(),
        );
        10.0 * (high / (low + high)).log10()
    }

    /// Nine notes of equal level sound like an organ, not like a chanter. So each note has its own
    /// level, with high notes softer than low ones (Carruthers: see `reed`), all within 5 dB, which
    /// a listener can still follow (chosen). Both chanters must sound reedy: at least a sixteenth
    /// of the practice chanter's power lies above 2 kHz (chosen).
    #[test]
    fn each_note_has_its_level_and_a_reed_is_heard() {
        for (instrument, softest) in [
            (Instrument::PracticeChanter, -3.0),
            (Instrument::PipeChanter, -5.0),
        ] {
            let mut chanter = Chanter::new(RATE, Tuning::of(instrument));
            let mut levels = Vec::new();
            for note in NOTES {
                chanter.sound(note);
                render(&mut chanter, 1024);
                let samples = render(&mut chanter, 9600);
                levels.push(level(&samples));
                let reed = above(&samples, 2000.0);
                assert!(reed > -12.0, "{instrument:?} {note}: {reed} dB above 2 kHz");
            }
            for (at, one) in levels.iter().enumerate() {
                assert!(*one <= levels[0] + 0.05, "{instrument:?}: {levels:?}");
                assert!(*one >= levels[0] + softest, "{instrument:?}: {levels:?}");
                for other in &levels[..at] {
                    assert!((one - other).abs() > 0.1, "{instrument:?}: {levels:?}");
                }
            }
            let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
            assert!(mean(&levels[6..]) < mean(&levels[..3]) - 1.0, "{levels:?}");
        }
    }

    /// The reserve for the interpolation's overshoot is enough at every pitch that can be set.
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
