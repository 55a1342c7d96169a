//! How well a stretch of sound is explained by one steady note: the evidence of a harmonic model.
//!
//! It knows nothing of what came before or after, and nothing of levels: the intake has made the
//! power of a steady chanter 1.
//!
//! A note of pitch f is a sum of harmonics kf below [`TOP`] whose sines and cosines have
//! independent Gaussian amplitudes (variance falling by 12 dB an octave above 1.5 kHz), in white
//! noise of variance ρ (linear-Gaussian evidence: Bishop, Pattern Recognition and Machine
//! Learning, 2006, eq. 3.86). A harmonic that the model expects and that is not there costs
//! evidence, which is what tells low A from high A. With the origin in the middle of the stretch sines and cosines do not mix, so the
//! quadratic form falls into two of half the size.

#![expect(
    clippy::inline_always,
    reason = "pulp compiles for the machine's vectors only what is inlined into its dispatch"
)]

use super::drones::LINES;
use super::intake::{BLOCK, RATE};
use std::f64::consts::{PI, TAU};

/// Highest harmonic used, hertz. 3, 5 and 7.5 kHz named short notes equally well; the lowest is
/// the cheapest, and it leaves an 8 kHz recording whole.
pub(super) const TOP: f64 = 3000.0;
/// Lengths of stretches that are tried, in blocks of 1 ms. The shortest is the shortest tone that
/// pipes make nameable; the longest keeps a drifting or mistuned pitch coherent.
pub(super) const LENGTHS: [usize; 16] = [5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 16, 18, 20, 24, 32, 40];
/// The longest of [`LENGTHS`].
pub(super) const LONGEST: usize = 40;
const RING: usize = 64;
/// Most harmonics of any note: 3000 Hz over the lowest low G, padded to whole vectors.
const MOST: usize = 24;
/// Factors are padded to whole vectors of this many values.
const LANE: usize = 8;

/// Variance of what a note leaves unexplained, against power 1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Noise(pub f32);

/// One stretch length's factor for one note, or for a note and the tail of another.
#[derive(Debug, Clone)]
struct Factor {
    /// Harmonics in all.
    size: usize,
    /// The same, up to whole vectors.
    padded: usize,
    /// Inverse Cholesky factor for the cosines, column-major, `harmonics` rows each.
    cosines: Vec<f32>,
    /// The same for the sines.
    sines: Vec<f32>,
    /// Log-determinant and constants: the cost of the model itself.
    own: f32,
}

/// One note: its running sums and factors.
#[derive(Debug, Clone)]
pub(super) struct NoteModel {
    harmonics: usize,
    /// Cosines and sines of −ωk i for the samples of a block, [i][k], rows of whole vectors.
    within: (Vec<f32>, Vec<f32>),
    /// e^{jω(4h − ½)} from a block's start to its middle and its end, h 1 and 2.
    onward: [(f64, f64); 2],
    /// Phase of the fundamental at the next block's start, turns.
    phase: f64,
    step: f64,
    /// Running sums at block ends, ring of [`RING`] × harmonics.
    sums: Vec<(f32, f32)>,
    running: Vec<(f64, f64)>,
    /// e^{+jω(4h − ½)} at half blocks, ring of 2·[`RING`] × harmonics.
    centres: Vec<(f32, f32)>,
}

impl NoteModel {
    /// A model at a pitch in hertz.
    fn new(pitch: f64) -> Self {
        let harmonics = ((TOP / pitch) as usize).clamp(1, MOST);
        let step = pitch / f64::from(RATE);
        let mut within = (Vec::new(), Vec::new());
        for i in 0..BLOCK {
            for k in 1..=harmonics.next_multiple_of(LANE) {
                let angle = -TAU * step * (k * i) as f64;
                within.0.push(angle.cos() as f32);
                within.1.push(angle.sin() as f32);
            }
        }
        Self {
            harmonics,
            within,
            onward: [1.0, 2.0].map(|h| unit(step * (0.5 * BLOCK as f64 * h - 0.5))),
            phase: 0.0,
            step,
            sums: vec![(0.0, 0.0); RING * harmonics],
            running: vec![(0.0, 0.0); harmonics],
            centres: vec![(0.0, 0.0); 2 * RING * harmonics],
        }
    }

    /// Takes block number `block` (from 0, in order).
    #[inline(always)]
    fn push(&mut self, block: usize, samples: &[f32; BLOCK]) {
        let count = self.harmonics;
        let padded = count.next_multiple_of(LANE);
        let start = unit(-self.phase);
        let mut turn = start;
        let mut sums = ([0.0f32; MOST], [0.0f32; MOST]);
        for (i, sample) in samples.iter().enumerate() {
            let row = i * padded..(i + 1) * padded;
            for (sums, cosines) in sums
                .0
                .chunks_exact_mut(LANE)
                .zip(self.within.0[row.clone()].chunks_exact(LANE))
            {
                add(sums, cosines, *sample);
            }
            for (sums, sines) in sums
                .1
                .chunks_exact_mut(LANE)
                .zip(self.within.1[row].chunks_exact(LANE))
            {
                add(sums, sines, *sample);
            }
        }
        for k in 0..count {
            let (re, im) = (f64::from(sums.0[k]), f64::from(sums.1[k]));
            self.running[k].0 += re * turn.0 - im * turn.1;
            self.running[k].1 += re * turn.1 + im * turn.0;
            turn = multiply(turn, start);
        }
        let slot = ((block + 1) % RING) * count;
        for (sum, running) in self.sums[slot..slot + count].iter_mut().zip(&self.running) {
            *sum = (running.0 as f32, running.1 as f32);
        }
        for (step, onward) in (1..).zip(self.onward) {
            let at = 2 * block + step;
            let first = multiply((start.0, -start.1), onward);
            let mut turn = first;
            let slot = (at % (2 * RING)) * count;
            for centre in &mut self.centres[slot..slot + count] {
                *centre = (turn.0 as f32, turn.1 as f32);
                turn = multiply(turn, first);
            }
        }
        self.phase = (self.phase + self.step * BLOCK as f64).fract();
    }

    /// How far the pitch lies off, cents: the phase advance of the harmonics between the two halves
    /// of the 40 blocks before `end`, weighted by their power. Within ±45 cents.
    fn deviation(&self, end: usize) -> f32 {
        let count = self.harmonics;
        let at = |block: usize| &self.sums[(block % RING) * count..(block % RING + 1) * count];
        let (a, b, c) = (at(end - 40), at(end - 20), at(end));
        let (mut above, mut below) = (0.0f32, 0.0f32);
        for k in 0..count {
            let order = (k + 1) as f32;
            // a harmonic higher than this could have turned more than half a turn
            if k > 0 && f64::from(order) * self.step * f64::from(RATE) > 1000.0 {
                break;
            }
            let (re, im) = (b[k].0 - a[k].0, b[k].1 - a[k].1);
            let (re_after, im_after) = (c[k].0 - b[k].0, c[k].1 - b[k].1);
            let real = re_after * re + im_after * im;
            let imaginary = im_after * re - re_after * im;
            let weight = real.hypot(imaginary);
            above += weight * order * imaginary.atan2(real);
            below += weight * order * order;
        }
        let seconds = (20 * BLOCK) as f32 / RATE as f32;
        let hertz = above / below.max(1e-9) / (std::f32::consts::TAU * seconds);
        let pitch = (self.step * f64::from(RATE)) as f32;
        1200.0 * (1.0 + hertz / pitch).max(0.5).log2()
    }

    /// Sums against cosines and sines from the middle of the `length` blocks before `end`.
    #[inline(always)]
    fn project(&self, end: usize, length: usize, cosines: &mut [f32], sines: &mut [f32]) {
        let count = self.harmonics;
        let from = ((end - length) % RING) * count;
        let to = (end % RING) * count;
        let middle = ((2 * end - length) % (2 * RING)) * count;
        let before = &self.sums[from..from + count];
        let after = &self.sums[to..to + count];
        let turns = &self.centres[middle..middle + count];
        for k in 0..count {
            let (re, im) = (after[k].0 - before[k].0, after[k].1 - before[k].1);
            cosines[k] = re * turns[k].0 - im * turns[k].1;
            sines[k] = re * turns[k].1 + im * turns[k].0;
        }
    }
}

/// Drones under the notes: steady lines whose power is known.
struct Drones {
    model: NoteModel,
    /// The lines that are worth a place.
    kept: Vec<usize>,
    /// [note]
    under: Vec<Vec<Factor>>,
    /// The drones alone, [`ALONE`] blocks of them.
    alone: Factor,
}

/// Blocks by which it is judged whether drones sound alone.
const ALONE: usize = 16;

/// The nine notes, alone, over each other's tails, and over drones.
pub(super) struct Bank {
    models: Vec<NoteModel>,
    drones: Option<Drones>,
    alone: Vec<Vec<Factor>>,
    /// [note × 9 + tail]
    over: Vec<Vec<Factor>>,
    noise: f32,
    tail: f64,
}

impl Bank {
    /// Models at pitches in hertz; `tail` is the power of a note's tail in the room after it.
    pub(super) fn new(pitches: &[f64], noise: Noise, tail: f64) -> Self {
        let models: Vec<NoteModel> = pitches.iter().map(|pitch| NoteModel::new(*pitch)).collect();
        let mut bank = Self {
            drones: None,
            alone: Vec::new(),
            over: Vec::new(),
            models,
            noise: noise.0,
            tail,
        };
        bank.alone = (0..bank.models.len())
            .map(|note| bank.factors(&[(note, 1.0)]))
            .collect();
        bank
    }

    /// Makes ready for tails.
    pub(super) fn expect_tails(&mut self) {
        if self.over.is_empty() {
            let count = self.models.len();
            self.over = (0..count * count)
                .map(|pair| self.factors(&[(pair / count, 1.0), (pair % count, self.tail)]))
                .collect();
        }
    }

    fn factors(&self, parts: &[(usize, f64)]) -> Vec<Factor> {
        self.factors_of(&self.lines(parts))
    }

    fn lines(&self, parts: &[(usize, f64)]) -> Vec<(f64, f64)> {
        parts
            .iter()
            .flat_map(|(note, power)| {
                let model = &self.models[*note];
                variances(model.step, model.harmonics)
                    .into_iter()
                    .enumerate()
                    .map(|(k, variance)| (model.step * (k + 1) as f64, variance * power))
                    .collect::<Vec<_>>()
            })
            .collect()
    }

    fn factors_of(&self, lines: &[(f64, f64)]) -> Vec<Factor> {
        LENGTHS
            .iter()
            .map(|length| factor(lines, length * BLOCK, f64::from(self.noise)))
            .collect()
    }

    /// Reckons with drones from now on, or with other ones: `quarter` is their lowest line, hertz,
    /// and `shares` the power of its multiples.
    pub(super) fn expect_drones(&mut self, quarter: f64, shares: &[f32; LINES]) {
        let kept: Vec<usize> = (0..LINES).filter(|line| shares[*line] > 0.0).collect();
        let step = quarter / f64::from(RATE);
        let own: Vec<(f64, f64)> = kept
            .iter()
            .map(|line| (step * (line + 1) as f64, f64::from(shares[*line])))
            .collect();
        let whole: f64 = own.iter().map(|(_, share)| share).sum();
        // the chanter has what the drones leave, and never less than a tenth
        let rest = (1.0 - whole).max(0.1);
        let under = (0..self.models.len())
            .map(|note| {
                let mut lines = self.lines(&[(note, rest)]);
                lines.extend(&own);
                self.factors_of(&lines)
            })
            .collect();
        let by = 1.0 / whole.max(1e-3);
        let louder: Vec<(f64, f64)> = own
            .iter()
            .map(|(turns, share)| (*turns, share * by))
            .collect();
        let alone = factor(&louder, ALONE * BLOCK, f64::from(self.noise));
        let model = match self.drones.take() {
            Some(drones) => drones.model,
            None => NoteModel::new(quarter),
        };
        self.drones = Some(Drones {
            model,
            kept,
            under,
            alone,
        });
    }

    /// Minus the log evidence of the drones alone in the [`ALONE`] blocks that end before `end`, a
    /// block; `power(blocks)` is the square sum of as many.
    #[inline(always)]
    pub(super) fn drones_alone(&self, end: usize, power: impl Fn(usize) -> f32) -> Option<f32> {
        let drones = self.drones.as_ref().filter(|_| end >= ALONE)?;
        let mut cosines = [0.0f32; 2 * MOST];
        let mut sines = [0.0f32; 2 * MOST];
        drones.project(end, ALONE, 0, &mut cosines, &mut sines);
        let left = power(ALONE) - drones.alone.explained(&cosines, &sines);
        Some(0.5 * (left / self.noise + drones.alone.own) / ALONE as f32)
    }

    /// Takes block number `block` (from 0, in order).
    #[inline(always)]
    pub(super) fn push(&mut self, block: usize, samples: &[f32; BLOCK]) {
        for model in &mut self.models {
            model.push(block, samples);
        }
        if let Some(drones) = &mut self.drones {
            drones.model.push(block, samples);
        }
    }

    /// How far a note's pitch lies off over the 40 blocks before `end`, cents.
    pub(super) fn deviation(&self, note: usize, end: usize) -> f32 {
        if end < 40 {
            0.0
        } else {
            self.models[note].deviation(end)
        }
    }

    fn factor(&self, note: usize, tail: Option<usize>, which: usize) -> &Factor {
        match (tail, &self.drones) {
            (_, Some(drones)) => &drones.under[note][which],
            (Some(tail), _) => &self.over[note * self.models.len() + tail][which],
            (None, _) => &self.alone[note][which],
        }
    }

    /// The least that [`Self::cost`] can be, whatever the sound.
    #[inline(always)]
    pub(super) fn least_cost(&self, note: usize, tail: Option<usize>, which: usize) -> f32 {
        0.5 * self.factor(note, tail, which).own
    }

    /// Minus the log evidence of a note, over the tail of another, in the `LENGTHS[which]` blocks
    /// that end before block `end`, whose samples have the square sum `power`.
    #[inline(always)]
    pub(super) fn cost(
        &self,
        note: usize,
        tail: Option<usize>,
        end: usize,
        which: usize,
        power: f32,
    ) -> f32 {
        let length = LENGTHS[which];
        let mut cosines = [0.0f32; 2 * MOST];
        let mut sines = [0.0f32; 2 * MOST];
        self.models[note].project(end, length, &mut cosines, &mut sines);
        if let Some(drones) = &self.drones {
            let from = self.models[note].harmonics;
            drones.project(end, length, from, &mut cosines, &mut sines);
        } else if let Some(tail) = tail {
            let from = self.models[note].harmonics;
            self.models[tail].project(end, length, &mut cosines[from..], &mut sines[from..]);
        }
        let factor = self.factor(note, tail, which);
        0.5 * ((power - factor.explained(&cosines, &sines)) / self.noise + factor.own)
    }
}

impl Drones {
    /// The kept lines, from place `from` on.
    #[inline(always)]
    fn project(
        &self,
        end: usize,
        length: usize,
        from: usize,
        cosines: &mut [f32; 2 * MOST],
        sines: &mut [f32; 2 * MOST],
    ) {
        let mut all = ([0.0f32; MOST], [0.0f32; MOST]);
        self.model.project(end, length, &mut all.0, &mut all.1);
        for (place, line) in self.kept.iter().enumerate() {
            cosines[from + place] = all.0[*line];
            sines[from + place] = all.1[*line];
        }
    }
}

impl Factor {
    #[inline(always)]
    fn explained(&self, cosines: &[f32], sines: &[f32]) -> f32 {
        let mut lanes = [0.0f32; LANE];
        for first in (0..self.padded).step_by(LANE) {
            // sums stay in registers; the factor is lower triangular: nothing lies right of these
            let (mut even, mut odd) = ([0.0f32; LANE], [0.0f32; LANE]);
            for k in 0..self.size.min(first + LANE) {
                let column = k * self.padded + first..k * self.padded + first + LANE;
                add(&mut even, &self.cosines[column.clone()], cosines[k]);
                add(&mut odd, &self.sines[column], sines[k]);
            }
            for (lane, (even, odd)) in lanes.iter_mut().zip(even.iter().zip(&odd)) {
                *lane += even * even + odd * odd;
            }
        }
        lanes.iter().sum()
    }
}

#[inline(always)]
fn add(sums: &mut [f32], weights: &[f32], by: f32) {
    for (sum, weight) in sums.iter_mut().zip(weights) {
        *sum += by * weight;
    }
}

fn unit(turns: f64) -> (f64, f64) {
    let (sine, cosine) = (TAU * turns.fract()).sin_cos();
    (cosine, sine)
}

fn multiply(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    (a.0 * b.0 - a.1 * b.1, a.0 * b.1 + a.1 * b.0)
}

/// The variance of each harmonic's sine and cosine, so that a note's power is 1.
pub(super) fn variances(step: f64, harmonics: usize) -> Vec<f64> {
    let mut all: Vec<f64> = (1..=harmonics)
        .map(|k| {
            let hertz = step * k as f64 * f64::from(RATE);
            (1500.0 / hertz).min(1.0).powi(2)
        })
        .collect();
    let sum: f64 = all.iter().sum();
    for variance in &mut all {
        *variance /= sum;
    }
    all
}

/// `lines` are (turns a sample, variance).
fn factor(lines: &[(f64, f64)], samples: usize, noise: f64) -> Factor {
    let size = lines.len();
    // Σ cos(θ(i − m)) over the stretch, m its middle, is the Dirichlet kernel sin(Nθ/2)/sin(θ/2);
    // sums and differences of angles from each line's own sines
    let parts: Vec<[f64; 4]> = lines
        .iter()
        .map(|(turns, _)| {
            let (one, whole) = (PI * turns, PI * turns * samples as f64);
            [one.sin(), one.cos(), whole.sin(), whole.cos()]
        })
        .collect();
    let kernel = |p: &[f64; 4], q: &[f64; 4], sign: f64| {
        let below = p[0] * q[1] + sign * p[1] * q[0];
        if below.abs() < 1e-9 {
            samples as f64
        } else {
            (p[2] * q[3] + sign * p[3] * q[2]) / below
        }
    };
    let mut even = vec![0.0; size * size];
    let mut odd = even.clone();
    for (a, p) in parts.iter().enumerate() {
        for (b, q) in parts.iter().enumerate() {
            let (difference, sum) = (kernel(p, q, -1.0), kernel(p, q, 1.0));
            even[a * size + b] = 0.5 * (difference + sum);
            odd[a * size + b] = 0.5 * (difference - sum);
        }
        even[a * size + a] += noise / lines[a].1;
        odd[a * size + a] += noise / lines[a].1;
    }
    let (cosines, log_cosines) = inverse_factor(even, size);
    let (sines, log_sines) = inverse_factor(odd, size);
    let priors: f64 = lines.iter().map(|(_, v)| (v / noise).ln()).sum::<f64>() * 2.0;
    Factor {
        size,
        padded: size.next_multiple_of(LANE),
        cosines,
        sines,
        own: (log_cosines + log_sines + priors + samples as f64 * noise.ln()) as f32,
    }
}

/// Inverse of the Cholesky factor, stored by columns, and the log-determinant of the matrix.
fn inverse_factor(mut m: Vec<f64>, n: usize) -> (Vec<f32>, f64) {
    let mut log = 0.0;
    for j in 0..n {
        for k in 0..j {
            m[j * n + j] -= m[j * n + k] * m[j * n + k];
        }
        let pivot = m[j * n + j].max(1e-12).sqrt();
        m[j * n + j] = pivot;
        log += 2.0 * pivot.ln();
        for i in j + 1..n {
            for k in 0..j {
                m[i * n + j] -= m[i * n + k] * m[j * n + k];
            }
            m[i * n + j] /= pivot;
        }
    }
    let mut inverse = vec![0.0f64; n * n];
    for j in 0..n {
        inverse[j * n + j] = 1.0 / m[j * n + j];
        for i in j + 1..n {
            let mut sum = 0.0;
            for k in j..i {
                sum -= m[i * n + k] * inverse[j * n + k];
            }
            inverse[j * n + i] = sum / m[i * n + i];
        }
    }
    let padded = n.next_multiple_of(LANE);
    let mut columns = vec![0.0f32; n * padded];
    for j in 0..n {
        for i in 0..n {
            columns[j * padded + i] = inverse[j * n + i] as f32;
        }
    }
    (columns, log)
}
