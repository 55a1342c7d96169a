//! The sines that a line is the sum of, and whether they go on through all frames.
//!
//! It knows amplitudes in frames and nothing of what they are of.

use super::super::clicks::summit;
use super::{Amplitude, MOST, turned};
use microfft::Complex32;
use microfft::complex::cfft_1024;
use pulp::num_complex::Complex;
use std::f64::consts::TAU;

/// Sines in a line at most.
const SINES: usize = 3;
/// Frames that are the drones' alone, as a share of all.
const ALONE: f64 = 0.35;
/// The same where one note sounds most of the time.
const HARDLY_ALONE: [f64; 4] = [0.25, 0.125, 0.06, 0.03];
/// What is left of a line's power in those frames, at most; from where on nothing is to be mended.
const LEFT: f64 = 0.15;
const LEFT_UNDER_A_NOTE: f64 = 0.1;
const NOTHING_LEFT: f64 = 1e-5;
/// Power of a line that is none, against full scale.
const NOTHING: f64 = 1e-12;
/// Share of the frames that lack the line, at most: a note that is held for a while does.
const LACKING: f64 = 0.08;

/// The value that a share of the values lies under.
fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    let rank = (values.len() as f64 * share) as usize;
    *sorted.select_nth_unstable_by(rank, f64::total_cmp).1
}

/// A sine in a line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sine {
    /// How far it lies beside the line, turns from frame to frame.
    pub aside: f64,
    /// As the line reads it.
    pub amplitude: Amplitude,
}

/// The sum of sines, frame by frame.
fn sum(sines: &[Sine]) -> impl Iterator<Item = Amplitude> {
    let mut parts: Vec<(Amplitude, Amplitude)> = sines
        .iter()
        .map(|sine| (sine.amplitude, turned(sine.aside)))
        .collect();
    std::iter::repeat_with(move || {
        let mut sum = Complex::ZERO;
        for (part, step) in &mut parts {
            sum += *part;
            *part *= *step;
        }
        sum
    })
}

/// The power that sines leave in each frame.
fn left(sines: &[Sine], amplitudes: &[Amplitude]) -> Vec<f64> {
    let both = amplitudes.iter().zip(sum(sines));
    both.map(|(own, sum)| (own - sum).norm_sqr()).collect()
}

/// Weights of frames by what is left in them, where a share of them has nothing else.
fn weights(left: &[f64], alone: f64) -> Vec<f64> {
    let scale = 4.0 * quantile(left, alone).max(1e-30);
    left.iter().map(|left| 1.0 / (1.0 + left / scale)).collect()
}

/// Finds the sines' amplitudes by weighted least squares, and with `bend` mends their frequencies
/// too (Gauss-Newton).
fn fit(sines: &mut [Sine], amplitudes: &[Amplitude], weights: &[f64], bend: bool) {
    const WIDTH: usize = 2 * SINES + 1;
    let each = if bend { 2 } else { 1 };
    let count = each * sines.len();
    let middle = amplitudes.len() as f64 / 2.0;
    let mut turns = [Complex::ZERO; SINES];
    let mut steps = [Complex::ZERO; SINES];
    for ((turn, step), sine) in turns.iter_mut().zip(&mut steps).zip(&*sines) {
        (*turn, *step) = (Complex::ONE, turned(sine.aside));
    }
    let mut rows = [[Complex::ZERO; WIDTH]; WIDTH - 1];
    for (frame, (amplitude, weight)) in amplitudes.iter().zip(weights).enumerate() {
        let along = frame as f64 / middle - 1.0;
        let mut columns = [Complex::ZERO; WIDTH];
        for at in 0..sines.len() {
            columns[each * at] = turns[at];
            if bend {
                columns[each * at + 1] = turns[at] * along;
            }
            turns[at] *= steps[at];
        }
        columns[count] = *amplitude;
        for (row, own) in rows[..count].iter_mut().zip(&columns) {
            let own = own.conj() * *weight;
            for (place, other) in row[..=count].iter_mut().zip(&columns) {
                *place += own * other;
            }
        }
    }
    let solution = solved(&mut rows, count);
    for (at, sine) in sines.iter_mut().enumerate() {
        sine.amplitude = solution[each * at];
        if bend && sine.amplitude.norm_sqr() > 0.0 {
            // a sine that turns faster by a little grows sideways on; its middle stays
            let limit = 0.25 / middle;
            let faster = (solution[2 * at + 1] / sine.amplitude).im / TAU / middle;
            let faster = faster.clamp(-limit, limit);
            sine.aside += faster;
            sine.amplitude *= turned(-faster * middle);
        }
    }
}

/// The solution of `count` equations, right sides after the last column (Gauss & Jordan). A little is
/// added to the diagonal: two sines can be nearly one.
fn solved<const WIDTH: usize, const ROWS: usize>(
    rows: &mut [[Amplitude; WIDTH]; ROWS],
    count: usize,
) -> [Amplitude; ROWS] {
    for (at, row) in rows[..count].iter_mut().enumerate() {
        row[at] *= 1.0 + 1e-6;
    }
    for at in 0..count {
        let pivot = rows[at];
        for (number, row) in rows[..count].iter_mut().enumerate() {
            if number == at || pivot[at].norm_sqr() == 0.0 {
                continue;
            }
            let factor = row[at] / pivot[at];
            for (place, above) in row.iter_mut().zip(&pivot) {
                *place -= factor * above;
            }
        }
    }
    std::array::from_fn(|at| {
        if at < count && rows[at][at].norm_sqr() > 0.0 {
            rows[at][count] / rows[at][at]
        } else {
            Complex::ZERO
        }
    })
}

/// A line's sines where it goes on through all frames.
pub(super) struct Steady {
    pub sines: Vec<Sine>,
    /// Mean power, as the line reads it.
    pub power: f64,
    /// Share of its power that is left in the frames that are its own.
    left: f64,
}

impl Steady {
    /// Mends sines until what is left changes no more; none where they do not go on through all
    /// frames.
    fn settled(
        mut sines: Vec<Sine>,
        amplitudes: &[Amplitude],
        mut weights_now: Vec<f64>,
        alone: f64,
        bend: bool,
    ) -> Option<Self> {
        const ROUNDS: usize = 6;
        let mut rest = Vec::new();
        let mut power = 0.0;
        for _ in 0..ROUNDS {
            if bend {
                fit(&mut sines, amplitudes, &weights_now, true);
            }
            fit(&mut sines, amplitudes, &weights_now, false);
            rest = left(&sines, amplitudes);
            let whole: f64 = sum(&sines)
                .take(amplitudes.len())
                .map(|sum| sum.norm_sqr())
                .sum();
            power = whole / amplitudes.len() as f64;
            if quantile(&rest, alone) < NOTHING_LEFT * power {
                break;
            }
            weights_now = weights(&rest, alone);
        }
        let lacking = amplitudes
            .iter()
            .zip(sum(&sines))
            .filter(|(here, sum)| {
                let sum = sum.norm_sqr();
                sum > 0.5 * power && here.norm_sqr() < 0.1 * sum
            })
            .count();
        let left = quantile(&rest, alone) / power.max(NOTHING);
        let whole = lacking as f64 <= LACKING * amplitudes.len() as f64;
        (whole && power > NOTHING && left < LEFT).then_some(Self { sines, power, left })
    }

    /// Finds a line's sines within turns a frame beside it.
    pub(super) fn find(amplitudes: &[Amplitude], widest: f64) -> Option<Self> {
        let powers: Vec<f64> = amplitudes.iter().map(Complex::norm_sqr).collect();
        let by = weights(&powers, ALONE);
        let usual = quantile(&powers, ALONE);
        let mut sines: Vec<Sine> = Vec::new();
        while sines.len() < SINES {
            let aside = strongest(&sines, amplitudes, &by, widest);
            sines.push(Sine {
                aside,
                amplitude: Complex::ZERO,
            });
            for bend in [false, true, false] {
                fit(&mut sines, amplitudes, &by, bend);
            }
            if quantile(&left(&sines, amplitudes), ALONE) < NOTHING_LEFT * usual {
                break;
            }
        }
        let by = weights(&left(&sines, amplitudes), ALONE);
        Self::settled(sines, amplitudes, by, ALONE, true)
    }

    /// The same for a line that a note covers most of the time: the sines lie as those of another
    /// line of the same drones do, `times` as far aside, and are heard where the note sounds least.
    pub(super) fn find_under_a_note(
        &self,
        amplitudes: &[Amplitude],
        times: f64,
        sounds: &[f64],
    ) -> Option<Self> {
        let sines = || -> Vec<Sine> {
            let moved = |sine: &Sine| Sine {
                aside: sine.aside * times,
                ..*sine
            };
            self.sines.iter().map(moved).collect()
        };
        HARDLY_ALONE
            .into_iter()
            .filter_map(|alone| {
                let most = quantile(sounds, 2.0 * alone);
                let by = sounds
                    .iter()
                    .map(|sounds| f64::from(u8::from(*sounds <= most)));
                Self::settled(sines(), amplitudes, by.collect(), alone, false)
            })
            .min_by(|a, b| a.left.total_cmp(&b.left))
            .filter(|best| best.left < LEFT_UNDER_A_NOTE)
    }
}

/// Where the strongest sine lies in what others leave, turns a frame.
fn strongest(sines: &[Sine], amplitudes: &[Amplitude], weights: &[f64], widest: f64) -> f64 {
    let mut input = [Complex32::default(); MOST];
    let values = amplitudes.iter().zip(sum(sines)).zip(weights);
    for (place, ((own, sum), weight)) in input.iter_mut().zip(values) {
        let rest = (own - sum) * *weight;
        (place.re, place.im) = (rest.re as f32, rest.im as f32);
    }
    let spectrum = cfft_1024(&mut input);
    let most = MOST as i32;
    let size = |bin: i32| f64::from(spectrum[bin.rem_euclid(most) as usize].norm_sqr()).sqrt();
    let range = ((widest * MOST as f64) as i32).clamp(2, most / 2 - 2);
    let top = (-range..=range)
        .max_by(|a, b| size(*a).total_cmp(&size(*b)))
        .unwrap_or(0);
    let off = summit(size(top - 1), size(top), size(top + 1));
    (f64::from(top) + off) / MOST as f64
}
