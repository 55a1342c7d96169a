//! A metronome's clicks in the sound: found by their returning, learned, and taken off.
//!
//! A click is the same sound again and again at one steady period; whatever a player does at the
//! same places is never twice the same to a fraction of a wave. So the mean of the sound at the
//! clicks' places is the click, and what is left without it is the player. It knows no notes. The
//! period is looked for, the likeliest by the returning of onsets (autocorrelation of the spectral
//! flux: Dixon, Onset Detection Revisited, DAFx 2006), and held exactly by the returning of the wave
//! itself; where a beat is known, clicks that go with it come before others.

mod finding;
mod learning;

use finding::{Returning, find};
use learning::learn;

/// Samples that are compared: 20 ms.
const COMPARED: usize = 160;
/// What of a click's shape lies before its onset: 6 ms.
const LEAD: usize = 48;
/// Fewest clicks that make a train.
const FEWEST: usize = 4;
/// Trains in one window: beats, accents, subdivisions.
const TRAINS: usize = 3;
/// Taps of the interpolation between samples.
const TAPS: usize = 12;

/// Takes a metronome's clicks off a stretch of sound, likelier ones on a beat that is known, samples.
pub(super) fn take_off(sound: &mut [f32], beat: Option<f64>) {
    for _ in 0..TRAINS {
        let Some(train) = find(sound, beat) else {
            break;
        };
        train.take_off(sound);
        // where they are is known, so there may be few of them
        let accents = train.accents().and_then(|accents| learn(sound, &accents));
        if let Some((_, accents)) = accents {
            accents.take_off(sound);
        }
    }
}

/// Clicks at a steady period.
#[derive(Debug, Clone)]
struct Train {
    /// Samples from click to click.
    period: f64,
    /// Where the first click's shape begins; may lie before the sound.
    first: f64,
    shape: Vec<f32>,
    /// One of so many is another sound, and which, by its number from the first on.
    accent: Option<(usize, usize)>,
}

impl Train {
    /// Clicks at known places whose shape is not known.
    fn at(places: &Returning) -> Self {
        Self {
            period: places.period,
            first: places.first,
            shape: Vec::new(),
            accent: None,
        }
    }

    /// Where those that are another sound return.
    fn accents(&self) -> Option<Returning> {
        self.accent.map(|(bar, which)| Returning {
            period: self.period * bar as f64,
            first: self.first + self.period * which as f64,
        })
    }

    /// Whether the click of a number is another sound.
    fn leaves_out(&self, number: usize) -> bool {
        self.accent
            .is_some_and(|(bar, which)| number % bar == which)
    }

    fn places(&self, samples: usize) -> impl Iterator<Item = f64> {
        let count = (samples as f64 - self.first) / self.period;
        (0..count.max(0.0).ceil() as usize)
            .filter(|number| !self.leaves_out(*number))
            .map(|number| self.first + self.period * number as f64)
    }

    /// Takes the clicks off where they are; a click that is not there is left.
    fn take_off(&self, sound: &mut [f32]) {
        for place in self.places(sound.len()) {
            let start = place.floor();
            // the shape, moved on by the fraction
            let moved = between(&self.shape, start - place, self.shape.len() + TAPS);
            let start = start as i64;
            let inside = |at: usize| usize::try_from(start + at as i64).ok();
            let (mut both, mut own) = (0.0f64, 0.0f64);
            for (at, value) in moved.iter().enumerate() {
                if let Some(sample) = inside(at).and_then(|at| sound.get(at)) {
                    both += f64::from(value * sample);
                    own += f64::from(value * value);
                }
            }
            let gain = both / own.max(1e-12);
            if gain < 0.4 {
                continue;
            }
            // the chanter under it makes the gain unsure by more than clicks differ
            let gain = gain.clamp(0.8, 1.25) as f32;
            for (at, value) in moved.iter().enumerate() {
                if let Some(sample) = inside(at).and_then(|at| sound.get_mut(at)) {
                    *sample -= gain * value;
                }
            }
        }
    }
}

/// The sound from a place between two samples on: a windowed sinc (Hann). Nothing lies outside.
fn between(samples: &[f32], place: f64, length: usize) -> Vec<f32> {
    let whole = place.floor();
    let weights: [f32; TAPS] = std::array::from_fn(|tap| {
        let off = tap as f64 - (TAPS / 2 - 1) as f64 - (place - whole);
        if off.abs() < 1e-9 {
            return 1.0;
        }
        let turn = std::f64::consts::PI * off;
        (turn.sin() / turn * (0.5 + 0.5 * (2.0 * turn / TAPS as f64).cos())) as f32
    });
    let first = whole as i64 - (TAPS as i64 / 2 - 1);
    let sum = |around: &[f32]| around.iter().zip(&weights).map(|(a, b)| a * b).sum();
    if let Some(inside) = usize::try_from(first)
        .ok()
        .and_then(|first| samples.get(first..first + length + TAPS - 1))
    {
        return inside.windows(TAPS).map(sum).collect();
    }
    (0..length as i64)
        .map(|at| {
            let around: [f32; TAPS] = std::array::from_fn(|tap| {
                usize::try_from(first + at + tap as i64)
                    .ok()
                    .and_then(|place| samples.get(place).copied())
                    .unwrap_or(0.0)
            });
            sum(&around)
        })
        .collect()
}

fn energy(samples: &[f32]) -> f64 {
    samples.iter().map(|s| f64::from(s * s)).sum()
}

/// Where the parabola through three values a step apart has its top, steps from the middle one.
pub(super) fn summit(before: f64, here: f64, after: f64) -> f64 {
    (0.5 * (before - after) / (before - 2.0 * here + after).min(-1e-9)).clamp(-0.5, 0.5)
}

#[cfg(test)]
mod tests {
    use super::super::cleaning::Cleaning;
    use super::super::intake::RATE;
    use super::finding::find;
    use fastrand::Rng;
    use std::f32::consts::TAU;

    /// A chanter by formula: notes of chance and of any length and phase, five harmonics, power 1.
    fn chanter(seed: u64, seconds: usize) -> Vec<f32> {
        let mut rng = Rng::with_seed(seed);
        let mut sound = Vec::new();
        let mut turns = 0.0f32;
        while sound.len() < seconds * RATE as usize {
            let hertz = [207.0, 236.0, 265.5, 295.0, 314.7, 354.0, 413.0, 472.0][rng.usize(..8)];
            for _ in 0..rng.usize(300..6000) {
                turns = (turns + hertz / RATE as f32).fract();
                let wave: f32 = (1..6u8).map(|k| (TAU * turns * f32::from(k)).sin()).sum();
                sound.push(wave * (0.4f32).sqrt());
            }
        }
        sound.truncate(seconds * RATE as usize);
        sound
    }

    /// A tone that dies away, added every `period` samples from `first` on.
    fn add_clicks(sound: &mut [f32], hertz: f32, first: f64, period: f64, gain: f32) {
        let mut place = first;
        while place < sound.len() as f64 {
            let from = place.ceil() as usize;
            for (at, sample) in sound.iter_mut().enumerate().skip(from).take(300) {
                let time = ((at as f64 - place) / f64::from(RATE)) as f32;
                *sample += gain * (-time / 0.012).exp() * (TAU * hertz * time).sin();
            }
            place += period;
        }
    }

    fn cleaned(sound: &[f32], piece: usize) -> Vec<f32> {
        let mut cleaning = Cleaning::default();
        let mut out = Vec::new();
        for piece in sound.chunks(piece) {
            cleaning.push(piece);
            out.extend(cleaning.take());
        }
        cleaning.finish();
        out.extend(cleaning.take());
        out
    }

    /// What is left of clicks in 20 s, against the chanter's power, as if it all lay in the 30 ms
    /// after each.
    fn left(clean: &[f32], without: &[f32], period: f64) -> f64 {
        let differences = without
            .iter()
            .zip(clean)
            .map(|(a, b)| f64::from(a - b).powi(2));
        differences.sum::<f64>() / (clean.len() as f64 / period * 240.0)
    }

    /// Without it beeps on the beat would be heard as crossing noises and long gracenotes: of
    /// clicks as loud as the chanter and 8 dB louder, at tempi from 40 to 220, less is left than the
    /// hearing takes for noise.
    #[test]
    fn clicks_are_taken_off() {
        let clean = chanter(1, 20);
        for (period, gain) in [(12_000.3, 1.4), (6123.7, 3.5), (4000.0, 2.0), (2181.8, 1.4)] {
            let mut with = clean.clone();
            add_clicks(&mut with, 900.0, 1234.5, period, gain);
            let left = left(&clean, &cleaned(&with, 4096), period);
            assert!(left < 0.2, "{left:.2} left at {period}");
        }
    }

    /// Without it an accent of another pitch would stay in, or half of it be left on every beat: bars
    /// of two, three and four beats.
    #[test]
    fn accents_are_taken_off_too() {
        let clean = chanter(2, 20);
        for bar in [2, 3, 4] {
            let mut with = clean.clone();
            for beat in 0..bar {
                let hertz = if beat == 0 { 1430.0 } else { 900.0 };
                let first = 1234.5 + 5000.4 * f64::from(beat);
                add_clicks(&mut with, hertz, first, 5000.4 * f64::from(bar), 2.5);
            }
            let left = left(&clean, &cleaned(&with, 4096), 5000.4);
            assert!(left < 0.12, "{left:.2} left in bars of {bar}");
        }
    }

    /// Without it a louder metronome in the next room would be taken for the drill's, and a wave of
    /// its clicks for its beat: of two, the one on the beat that is known comes first.
    #[test]
    fn clicks_on_a_known_beat_come_first() {
        let mut sound = chanter(10, 20);
        add_clicks(&mut sound, 900.0, 1234.5, 6000.4, 1.6);
        add_clicks(&mut sound, 1250.0, 2345.6, 7100.3, 3.5);
        let period = |beat| find(&sound, beat).map(|train| train.period);
        let near = |found: Option<f64>, expected: f64| {
            assert!(
                found.is_some_and(|found| (found - expected).abs() < 0.2),
                "{found:?}"
            );
        };
        near(period(None), 7100.3);
        near(period(Some(6000.0)), 6000.4);
        near(period(Some(3000.0)), 6000.4);
        near(period(Some(5000.0)), 7100.3);
    }

    /// Without it clicks that the chanter drowns would stay in although the drill tells when they
    /// come: where they are just not found by their returning alone they are on a known beat.
    #[test]
    fn faint_clicks_are_found_on_a_known_beat() {
        let mut sound = chanter(11, 20);
        add_clicks(&mut sound, 900.0, 1234.5, 6000.4, 0.9);
        assert!(find(&sound, None).is_none());
        let found = find(&sound, Some(6000.0)).map(|train| train.period);
        assert!(
            found.is_some_and(|found| (found - 6000.4).abs() < 0.2),
            "{found:?}"
        );
    }

    /// Without it the player's own notes would be taken for clicks: where there are none, not one
    /// sample is changed, and none is lost, however the sound comes in.
    #[test]
    fn without_clicks_nothing_is_touched() {
        for seed in 3..9 {
            let clean = chanter(seed, 43);
            assert!(cleaned(&clean, 1000 + seed as usize) == clean, "{seed}");
        }
        for short in [0, 1, 900, 30_000] {
            let clean = &chanter(9, 20)[..short];
            assert_eq!(cleaned(clean, 512), clean);
        }
        let silence = vec![0.0; 170_000];
        assert!(cleaned(&silence, 8192) == silence);
    }

    /// Without it a reference played by a machine, whose gracenotes return to the sample, would lose
    /// them: low A held at 236 Hz, with a high G gracenote on every beat at 60.
    #[test]
    fn gracenotes_that_return_exactly_are_kept() {
        let mut sound = Vec::new();
        for at in 0..20 * RATE as usize {
            let (beat, time) = (at % RATE as usize, at as f32 / RATE as f32);
            let hertz = if beat < 320 { 413.0 } else { 236.0 };
            let wave: f32 = (1..6u8)
                .map(|k| (TAU * (hertz * time * f32::from(k)).fract()).sin())
                .sum();
            sound.push(wave * (0.4f32).sqrt());
        }
        assert!(cleaned(&sound, 4096) == sound);
    }
}
