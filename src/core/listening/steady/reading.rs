//! The amplitude of each of the drones' lines, frame by frame.
//!
//! It knows frequencies and nothing of what goes on.

use super::super::intake::RATE;
use super::super::spectrum::{FRAME, Spectrum};
use super::{Amplitude, HOP, MOST, turned};
use microfft::Complex32;
use pulp::num_complex::Complex;

/// The lowest line that the intake lets through.
const LOWEST: usize = 2;

/// The transform of a frame's Hann window, bins from its middle; its phase is that of its start.
fn main_lobe(bins: f64) -> Amplitude {
    let rectangle = |bins: f64| -> Amplitude {
        let turns = bins / FRAME as f64;
        if turns.abs() < 1e-9 {
            return Complex::new(FRAME as f64, 0.0);
        }
        (1.0 - turned(bins)) / (1.0 - turned(turns))
    };
    0.5 * rectangle(bins) - 0.25 * (rectangle(bins + 1.0) + rectangle(bins - 1.0))
}

/// How a line is read from a frame's spectrum.
pub(super) struct Line {
    /// Its number: the multiple of a quarter of low A.
    pub number: usize,
    /// Turns a sample.
    pub step: f64,
    /// The first of the four bins of its main lobe, and their weights.
    first: usize,
    weights: [Amplitude; 4],
}

impl Line {
    fn new(number: usize, hertz: f64) -> Self {
        let step = hertz / f64::from(RATE);
        let bin = step * FRAME as f64;
        let first = (bin as usize).max(1) - 1;
        let lobe: [Amplitude; 4] = std::array::from_fn(|at| main_lobe(bin - (first + at) as f64));
        let whole: f64 = lobe.iter().map(Complex::norm_sqr).sum();
        Self {
            number,
            step,
            first,
            weights: lobe.map(|value| value.conj() / whole),
        }
    }

    /// The lines of drones up to a number and under a frequency, hertz.
    pub(super) fn all(quarter: f64, last: usize, highest: f64) -> Vec<Self> {
        (LOWEST..=last)
            .take_while(|number| quarter * (*number as f64) < highest)
            .map(|number| Self::new(number, quarter * number as f64))
            .collect()
    }

    /// The amplitude in a frame whose first sample has a number, turned back to sample 0.
    fn read(&self, bins: &[Complex32], start: usize) -> Amplitude {
        let lobe = bins[self.first..].iter().zip(&self.weights);
        let sum: Amplitude = lobe
            .map(|(bin, weight)| Complex::new(f64::from(bin.re), f64::from(bin.im)) * weight)
            .sum();
        sum * turned(-self.step * start as f64)
    }

    /// What [`Self::read`] makes of a sine of amplitude 1, so many turns a sample aside.
    pub(super) fn response(&self, aside: f64) -> Amplitude {
        let bin = (self.step + aside) * FRAME as f64;
        let lobe = (self.first..).map(|at| main_lobe(bin - at as f64));
        lobe.zip(&self.weights)
            .map(|(value, weight)| value * weight)
            .sum()
    }
}

/// The amplitudes of lines in all frames.
pub(super) fn read(sound: &[f32], lines: &[Line]) -> Vec<Vec<Amplitude>> {
    let mut spectrum = Spectrum::new();
    let mut amplitudes = vec![Vec::new(); lines.len()];
    for (number, frame) in sound.windows(FRAME).step_by(HOP).take(MOST).enumerate() {
        let bins = spectrum.of(frame);
        for (line, amplitudes) in lines.iter().zip(&mut amplitudes) {
            amplitudes.push(line.read(bins, number * HOP));
        }
    }
    amplitudes
}
