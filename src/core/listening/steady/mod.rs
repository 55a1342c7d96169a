//! Drones that hold their pitch, taken off: what goes on through a whole stretch of sound at the
//! same frequencies.
//!
//! It knows that drones are multiples of a quarter of low A, as [`super::drones`] says, and that no
//! note of the chanter goes on through a stretch. Each multiple, a line, is a sum of up to three
//! sines: two tenors and a bass that are nearly in tune beat. They are fitted by weighted least
//! squares to the line's amplitude in frames, with weights that follow what is left (Cauchy's:
//! Holland & Welsch, Robust regression using iteratively reweighted least-squares, 1977), so that
//! frames in which a note of the chanter lies on the line do not count. Drones that wander are left
//! in, and [`super::drones`] reckons with them.

mod fitting;
mod reading;

use super::drones::COVERED;
use super::harmonics::TOP;
use super::spectrum::FRAME;
use fitting::Steady;
use pulp::num_complex::Complex;
use reading::{Line, read};
use std::f64::consts::TAU;

/// Samples from frame to frame.
const HOP: usize = 256;
/// Frames at most: 32 s.
const MOST: usize = 1024;
/// Fewest frames that tell a line: 3 s.
const FEWEST: usize = 96;
/// How far drones may lie off a quarter of low A, as a part of it: 20 cents, of which their mean is
/// found first and then each by itself, 7 cents around it.
const FAR: f64 = 0.0116;
const ASIDE: f64 = 0.004;
/// The lines that tell the mean: high enough to tell, low enough not to be taken for a neighbour.
const TELLING: usize = 10;
/// Fewest lines of drones that no one note has too, and what a line needs to count, as a share of
/// the sound's power.
const LINES: usize = 3;
const COUNTS: f64 = 5e-4;

type Amplitude = Complex<f64>;

fn turned(turns: f64) -> Amplitude {
    Complex::cis(TAU * turns.fract())
}

/// Finds what goes on in each line, as a part of its pitch aside at most.
fn find(lines: &[Line], amplitudes: &[Vec<Amplitude>], aside: f64) -> Vec<Option<Steady>> {
    lines
        .iter()
        .zip(amplitudes)
        .map(|(line, amplitudes)| Steady::find(amplitudes, aside * line.step * HOP as f64))
        .collect()
}

/// How far the drones lie off on the whole, as a part of their pitch; none where no two lines go on.
fn off(sound: &[f32], quarter: f64) -> Option<f64> {
    let lines = Line::all(quarter, TELLING, TOP);
    let found = find(&lines, &read(sound, &lines), FAR);
    if found.iter().flatten().count() < 2 {
        return None;
    }
    let (mut sum, mut whole) = (0.0, 0.0);
    for (line, steady) in lines.iter().zip(&found) {
        for sine in steady.iter().flat_map(|steady| &steady.sines) {
            let weight = sine.amplitude.norm_sqr();
            sum += weight * sine.aside / HOP as f64 / line.step;
            whole += weight;
        }
    }
    (whole > 0.0).then_some(sum / whole)
}

/// The lines under notes that sound most of the time, by those that were found.
fn find_under_notes(
    lines: &[Line],
    amplitudes: &[Vec<Amplitude>],
    found: &[Option<Steady>],
) -> Vec<(usize, Steady)> {
    let missing: Vec<usize> = (0..lines.len()).filter(|at| found[*at].is_none()).collect();
    missing
        .iter()
        .filter_map(|at| {
            // a bass has every line, tenors every other
            let mut above = (at + 2..lines.len()).step_by(2);
            let mut below = (0..*at).rev().skip(1).step_by(2);
            let is_found = |at: &usize| found[*at].is_some();
            let other = above.find(is_found).or_else(|| below.find(is_found))?;
            let number = lines[*at].number;
            let times = number as f64 / lines[other].number as f64;
            let together = |of: &usize| -> Vec<&Vec<Amplitude>> {
                missing
                    .iter()
                    .filter(|line| lines[**line].number.is_multiple_of(*of))
                    .map(|line| &amplitudes[*line])
                    .collect()
            };
            let covered = COVERED
                .iter()
                .filter(|of| number.is_multiple_of(**of))
                .map(together)
                .max_by_key(Vec::len)?;
            let sounds: Vec<f64> = (0..amplitudes[*at].len())
                .map(|frame| {
                    let powers = covered.iter().map(|line| line[frame].norm_sqr());
                    powers.map(|power| power.max(1e-20).ln()).sum()
                })
                .collect();
            let other = found[other].as_ref()?;
            Some((
                *at,
                other.find_under_a_note(&amplitudes[*at], times, &sounds)?,
            ))
        })
        .collect()
}

/// Whether lines are too many for a note that is held all the while.
fn are_drones(sound: &[f32], lines: &[Line], found: &[Option<Steady>]) -> bool {
    let power = sound.iter().map(|s| f64::from(s * s)).sum::<f64>() / sound.len() as f64;
    let both = lines.iter().zip(found);
    let numbers: Vec<usize> = both
        // half of a sine's power is read at its frequency's negative
        .filter(|(_, steady)| {
            steady
                .as_ref()
                .is_some_and(|own| 2.0 * own.power > COUNTS * power)
        })
        .map(|(line, _)| line.number)
        .collect();
    COVERED.iter().all(|of| {
        let others = numbers.iter().filter(|number| !number.is_multiple_of(*of));
        others.count() >= LINES
    })
}

/// Takes drones off a stretch of sound; `quarter` is a quarter of low A, hertz. Whether there were
/// any.
pub(super) fn take_off(sound: &mut [f32], quarter: f64) -> bool {
    if sound.len() < FRAME + FEWEST * HOP {
        return false;
    }
    let Some(off) = off(sound, quarter) else {
        return false;
    };
    // the intake lets a little more through than the notes' harmonics
    let lines = Line::all(quarter * (1.0 + off), usize::MAX, 1.1 * TOP);
    let amplitudes = read(sound, &lines);
    let mut found = find(&lines, &amplitudes, ASIDE);
    if !are_drones(sound, &lines, &found) {
        return false;
    }
    for (at, steady) in find_under_notes(&lines, &amplitudes, &found) {
        found[at] = Some(steady);
    }
    let mut tones = Vec::new();
    for (line, steady) in lines.iter().zip(&found) {
        for sine in steady.iter().flat_map(|steady| &steady.sines) {
            let aside = sine.aside / HOP as f64;
            // a real sound has half of it at the frequency's negative
            tones.push((
                2.0 * sine.amplitude / line.response(aside),
                line.step + aside,
            ));
        }
    }
    subtract(sound, &tones);
    true
}

/// Takes tones off: amplitude at sample 0, turns a sample.
fn subtract(sound: &mut [f32], tones: &[(Amplitude, f64)]) {
    /// Samples over which single precision turns exactly enough.
    const PIECE: usize = 128;
    /// Tones in a vector.
    const LANE: usize = 8;
    let lanes = tones.len().div_ceil(LANE);
    let mut steps = vec![[[0.0f32; LANE]; 2]; lanes];
    for (at, (_, step)) in tones.iter().enumerate() {
        let step = turned(*step);
        steps[at / LANE][0][at % LANE] = step.re as f32;
        steps[at / LANE][1][at % LANE] = step.im as f32;
    }
    let mut values = vec![[[0.0f32; LANE]; 2]; lanes];
    for (number, piece) in sound.chunks_mut(PIECE).enumerate() {
        for (at, (amplitude, step)) in tones.iter().enumerate() {
            let here = amplitude * turned(step * (number * PIECE) as f64);
            values[at / LANE][0][at % LANE] = here.re as f32;
            values[at / LANE][1][at % LANE] = here.im as f32;
        }
        for sample in piece {
            let mut sums = [0.0f32; LANE];
            for ([real, imaginary], [cosine, sine]) in values.iter_mut().zip(&steps) {
                for lane in 0..LANE {
                    let (re, im) = (real[lane], imaginary[lane]);
                    sums[lane] += re;
                    real[lane] = re * cosine[lane] - im * sine[lane];
                    imaginary[lane] = re * sine[lane] + im * cosine[lane];
                }
            }
            *sample -= sums.iter().sum::<f32>();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::intake::RATE;
    use super::*;
    use fastrand::Rng;

    const SECONDS: usize = 20;

    /// Two tenors and a bass that are not quite in tune, `wander` hertz at the most aside: how far
    /// they lie off low A 480 as a part of it.
    fn drones(off: f64, wander: f64) -> Vec<f32> {
        let rate = f64::from(RATE);
        let mut sound = vec![0.0f32; SECONDS * RATE as usize];
        for (number, hertz) in [(1, 240.0), (2, 240.3), (3, 120.0)] {
            let mut turns = 0.1 * f64::from(number);
            for (at, sample) in sound.iter_mut().enumerate() {
                let slow = (TAU * at as f64 / rate / 2.3).sin();
                turns += (hertz * (1.0 + off) + wander * slow) / rate;
                // the intake lets no bass through under its first octave
                let wave: f64 = (1 + u32::from(hertz < 200.0)..=26)
                    .take_while(|k| hertz * f64::from(*k) < 3300.0)
                    .map(|k| {
                        (TAU * (turns * f64::from(k) + 0.3 * f64::from(k * k))).sin() / f64::from(k)
                    })
                    .sum();
                *sample += (0.2 * wave) as f32;
            }
        }
        sound
    }

    /// Notes of chance, each up to a second long.
    fn chanter(seed: u64, notes: &[f64]) -> Vec<f32> {
        let mut rng = Rng::with_seed(seed);
        let mut sound = Vec::new();
        while sound.len() < SECONDS * RATE as usize {
            let hertz = notes[rng.usize(..notes.len())] * (1.0 + 0.008 * (rng.f64() - 0.5));
            let phase = rng.f64();
            for at in 0..rng.usize(300..8000) {
                let turns = phase + hertz * at as f64 / f64::from(RATE);
                let wave: f64 = (1..6).map(|k| (TAU * turns * f64::from(k)).sin()).sum();
                sound.push((0.4 * wave) as f32);
            }
        }
        sound.truncate(SECONDS * RATE as usize);
        sound
    }

    const NOTES: [f64; 8] = [420.0, 480.0, 540.0, 600.0, 640.0, 720.0, 800.0, 840.0];

    fn energy(sound: impl Iterator<Item = f32>) -> f32 {
        sound.map(|sample| sample * sample).sum()
    }

    /// What is left of drones beside a chanter, as a share of them.
    #[track_caller]
    fn left_of(drones: &[f32], chanter: &[f32]) -> f32 {
        let mut sound: Vec<f32> = drones.iter().zip(chanter).map(|(a, b)| a + b).collect();
        assert!(take_off(&mut sound, 120.0), "drones were not found");
        let left = sound.iter().zip(chanter).map(|(a, b)| a - b);
        energy(left) / energy(drones.iter().copied())
    }

    /// Without it held notes would drown in drones that beat: of tenors 0.3 Hz apart and a bass next
    /// to nothing is left, in tune with low A or 15 cents off it.
    #[test]
    fn drones_are_taken_off() {
        for (seed, off) in [(1, 0.0), (2, 0.0087), (3, -0.0087)] {
            let left = left_of(&drones(off, 0.0), &chanter(seed, &NOTES));
            assert!(left < 0.02, "{left:.3} left of drones {off} off");
        }
    }

    /// Without it the lines of a drill's one long note would stay in, the loudest of all: low A
    /// sounds nine times out of ten.
    #[test]
    fn drones_under_one_note_are_taken_off() {
        let notes = [
            480.0, 480.0, 480.0, 480.0, 480.0, 480.0, 480.0, 480.0, 720.0, 420.0,
        ];
        let left = left_of(&drones(0.001, 0.0), &chanter(4, &notes));
        assert!(left < 0.1, "{left:.3} left");
    }

    /// Without it the chanter itself would be taken for drones: notes of chance, one held note,
    /// silence and too little of anything are left as they are.
    #[test]
    fn without_drones_nothing_is_touched() {
        let held = |hertz: f64| -> Vec<f32> {
            let turns = (0..160_000).map(|at| hertz * f64::from(at) / f64::from(RATE));
            let wave =
                |turns: f64| -> f64 { (1..6).map(|k| (TAU * turns * f64::from(k)).sin()).sum() };
            turns.map(|turns| wave(turns) as f32).collect()
        };
        let mut sounds = vec![vec![0.0; 160_000], Vec::new(), vec![0.5; 5000]];
        sounds.extend((5..9).map(|seed| chanter(seed, &NOTES)));
        sounds.extend([480.0, 600.0, 720.0].map(held));
        for sound in sounds {
            let mut after = sound.clone();
            assert!(!take_off(&mut after, 120.0));
            assert!(after == sound);
        }
    }

    /// Without it drones that wander would be doubled by their own likeness: what is taken off makes
    /// the sound no louder.
    #[test]
    fn drones_that_wander_are_no_louder_afterwards() {
        let drones = drones(0.0, 0.4);
        let notes = chanter(10, &NOTES);
        let sound: Vec<f32> = drones.iter().zip(&notes).map(|(a, b)| a + b).collect();
        let mut after = sound.clone();
        take_off(&mut after, 120.0);
        let left = after.iter().zip(&notes).map(|(a, b)| a - b);
        assert!(energy(left) < 1.05 * energy(drones.iter().copied()));
    }
}
