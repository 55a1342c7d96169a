//! What sounds all the while under a pipe chanter: the power of each drone harmonic.
//!
//! The drones lie at a half and a quarter of the chanter's low A (Encyclopaedia Britannica, 11th
//! ed., "Bag-pipe"), so every harmonic of theirs is a multiple of the quarter. What stands at such a
//! place nearly always, whatever the chanter plays, is a drone's. It knows no notes.

use super::intake::RATE;
use microfft::real::rfft_1024;
use std::collections::VecDeque;

/// Harmonics of a quarter of low A that are watched: up to 2.9 kHz.
pub(super) const LINES: usize = 24;
/// Samples in a frame: 128 ms.
const FRAME: usize = 1024;
/// Frames kept: 8 s, in which the chanter has left every line at least for a while.
const FRAMES: usize = 125;
/// Frames before anything is said: 2 s.
const ENOUGH: usize = 32;
/// Share of the frames that a line is weaker in than what is taken for its power.
const QUANTILE: f32 = 0.25;
/// What the quantile of two beating tenors falls short of their mean power.
const BEATING: f32 = 1.5;
/// Least share of the power that makes drones, and a line worth a place.
const LEAST: f32 = 0.02;
const LEAST_LINE: f32 = 0.004;

/// Watches the lines.
pub(super) struct Watch {
    window: Vec<f32>,
    bins: [f32; LINES],
    pending: Vec<f32>,
    /// Mean power of the frame in hand before it was made level, and blocks in it.
    level: (f32, usize),
    frames: VecDeque<([f32; LINES], f32)>,
}

/// Drones as they were found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    /// The power of each line against the whole, 0 for a line not worth a place.
    pub shares: [f32; LINES],
    /// The power of chanter and drones together, most of the time.
    pub usual: f32,
}

impl Watch {
    /// A watch for drones of a pipe chanter's low A, hertz.
    pub(super) fn new(low_a: f64) -> Self {
        let turn = std::f32::consts::TAU / FRAME as f32;
        Self {
            window: (0..FRAME)
                .map(|i| 0.5 - 0.5 * (turn * i as f32).cos())
                .collect(),
            bins: std::array::from_fn(|line| {
                let hertz = low_a / 4.0 * (line + 1) as f64;
                (hertz * FRAME as f64 / f64::from(RATE)) as f32
            }),
            pending: Vec::new(),
            level: (0.0, 0),
            frames: VecDeque::new(),
        }
    }

    /// Takes levelled samples, and the power they had before.
    pub(super) fn push(&mut self, samples: &[f32], level: f32) {
        self.level = (self.level.0 + level, self.level.1 + 1);
        self.pending.extend_from_slice(samples);
        if self.pending.len() < FRAME {
            return;
        }
        let mut input = [0.0; FRAME];
        for (place, (sample, weight)) in input.iter_mut().zip(self.pending.iter().zip(&self.window))
        {
            *place = sample * weight;
        }
        self.pending.drain(..FRAME / 2);
        let output = rfft_1024(&mut input);
        // the highest bin comes packed beside the lowest; neither is used
        output[0].im = 0.0;
        // the power of a sine, from the four bins of a Hann window's main lobe around it
        let scale = 16.0 / (3.0 * (FRAME * FRAME) as f32);
        let frame = self.bins.map(|bin| {
            let low = (bin as usize).max(1) - 1;
            let lobe = output.get(low..low + 4).unwrap_or_default();
            scale
                * lobe
                    .iter()
                    .map(pulp::num_complex::Complex::norm_sqr)
                    .sum::<f32>()
        });
        if self.frames.len() == FRAMES {
            self.frames.pop_front();
        }
        let level = self.level.0 / self.level.1.max(1) as f32;
        self.level = (0.0, 0);
        self.frames.push_back((frame, level));
    }

    /// The drones, where there are any. Lines that low A has too are no sign of them alone.
    pub(super) fn found(&self) -> Option<Found> {
        let count = self.frames.len();
        if count < ENOUGH {
            return None;
        }
        let mut powers: Vec<f32> = Vec::with_capacity(count);
        let shares: [f32; LINES] = std::array::from_fn(|line| {
            powers.clear();
            powers.extend(self.frames.iter().map(|(frame, _)| frame[line]));
            powers.sort_by(f32::total_cmp);
            let share = BEATING * powers[(QUANTILE * count as f32) as usize];
            if share < LEAST_LINE { 0.0 } else { share }
        });
        let own: f32 = (0..LINES)
            .filter(|line| (line + 1) % 4 != 0)
            .map(|line| shares[line])
            .sum();
        powers.clear();
        powers.extend(self.frames.iter().map(|(_, level)| *level));
        powers.sort_by(f32::total_cmp);
        let usual = powers[count * 2 / 3];
        (own > LEAST).then_some(Found { shares, usual })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f32::consts::TAU;

    fn watched(hertz: &[(f32, f32)], seconds: f32) -> Watch {
        let mut watch = Watch::new(480.0);
        for start in 0..(seconds * 1000.0) as usize {
            let samples: Vec<f32> = (0..8)
                .map(|i| {
                    let time = (start * 8 + i) as f32 / RATE as f32;
                    hertz
                        .iter()
                        .map(|(hertz, power)| (2.0 * power).sqrt() * (TAU * hertz * time).sin())
                        .sum()
                })
                .collect();
            watch.push(&samples, 1.0);
        }
        watch
    }

    /// Without it the model of the drones would be of another power than they are.
    #[test]
    fn a_steady_line_has_its_power() {
        let shares = watched(&[(360.0, 0.2), (721.0, 0.1)], 4.0).found();
        let shares = shares.expect("drones sound").shares;
        assert!((shares[2] / BEATING - 0.2).abs() < 0.01, "{shares:?}");
        assert!((shares[5] / BEATING - 0.1).abs() < 0.01, "{shares:?}");
        let others = shares.iter().filter(|share| **share > 0.0).count();
        assert_eq!(others, 2, "{shares:?}");
    }

    /// Without it a held low A would be taken for drones and explained away.
    #[test]
    fn low_a_alone_is_no_drone() {
        let chanter: Vec<(f32, f32)> = (1..6u8).map(|k| (480.0 * f32::from(k), 0.2)).collect();
        assert_eq!(watched(&chanter, 4.0).found(), None);
        assert_eq!(watched(&[(360.0, 0.5)], 1.0).found(), None);
    }
}
