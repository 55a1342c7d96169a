//! Measures by how much a microphone hears what a device plays later than the two devices say: a
//! matched filter looks for sweeps in the microphone's stream.
//!
//! Knows samples only: the places where a sweep should be are given.

use crate::units::{Milliseconds, median};

/// Length of a sweep, seconds.
pub const SWEEP_S: f64 = 0.04;
/// Its frequencies, hertz: what small loudspeakers play and every microphone hears.
const FROM_HZ: f64 = 600.0;
const TO_HZ: f64 = 3600.0;
/// A sweep is looked for from so many seconds before the place where the devices say it is.
pub const EARLY_S: f64 = 0.1;
/// A sweep is looked for until so many seconds after that place: no delay is longer.
pub const LATE_S: f64 = 0.5;
/// The best place must be so many times as like a sweep as the median place. Noise alone reaches
/// about 6.5 times over 30,000 places (the largest of so many Gaussian values against their
/// median).
const STANDS_OUT: f64 = 11.0;
/// A mean square below this is silence: −90 dB.
const NOTHING: f64 = 1e-9;
/// The direct sound may be weaker than its echoes, so the first place that is at least this share
/// as like a sweep as the best one is taken …
const FIRST: f64 = 0.6;
/// … within this time before it, seconds.
const ROOM_S: f64 = 0.02;

/// A sweep from low to high under a Hann window, full scale.
pub fn sweep(rate: u32) -> Vec<f32> {
    let rate = f64::from(rate);
    let count = (SWEEP_S * rate).round() as usize;
    (0..count)
        .map(|at| {
            let time = at as f64 / rate;
            let pitch = FROM_HZ * time + (TO_HZ - FROM_HZ) * time * time / (2.0 * SWEEP_S);
            let window = 0.5 - 0.5 * (std::f64::consts::TAU * time / SWEEP_S).cos();
            (window * (std::f64::consts::TAU * pitch).sin()) as f32
        })
        .collect()
}

/// Where a sweep begins in `sound`, samples; none where it does not stand out of the rest.
pub fn find_sweep(sound: &[f32], sweep: &[f32], rate: u32) -> Option<usize> {
    let places = sound.len().checked_sub(sweep.len())? + 1;
    let power: f64 = sound.iter().map(|one| f64::from(*one).powi(2)).sum();
    if !power.is_finite() || power / (sound.len() as f64) < NOTHING {
        return None;
    }
    let likeness: Vec<f32> = (0..places)
        .map(|at| {
            let here = &sound[at..at + sweep.len()];
            here.iter()
                .zip(sweep)
                .map(|(a, b)| a * b)
                .sum::<f32>()
                .abs()
        })
        .collect();
    let (best, most) = likeness
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(b.1))
        .map(|(at, most)| (at, f64::from(*most)))?;
    let mut sorted = likeness.clone();
    let (_, usual, _) = sorted.select_nth_unstable_by(places / 2, f32::total_cmp);
    if most < STANDS_OUT * f64::from(*usual) {
        return None;
    }
    let room = (ROOM_S * f64::from(rate)) as usize;
    let from = best.saturating_sub(room);
    let first = (from..=best).find(|at| f64::from(likeness[*at]) >= FIRST * most)?;
    // likeness rises over about a millisecond before the exact place, so the top of that first hill
    // is taken
    (first..=best.min(first + rate as usize / 1000))
        .max_by(|a, b| likeness[*a].total_cmp(&likeness[*b]))
}

/// The median and the spread of several measurements.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// The middle one.
    pub median: Milliseconds,
    /// From the second smallest to the second largest: one stray at each end is forgiven.
    pub spread: Milliseconds,
}

/// Median and spread of at least three measurements.
pub fn spread(measured: &[Milliseconds]) -> Option<Spread> {
    let mut sorted: Vec<f64> = measured.iter().map(|one| one.0).collect();
    sorted.sort_by(f64::total_cmp);
    let [_, inner @ .., _] = sorted.as_slice() else {
        return None;
    };
    let (first, last) = (inner.first()?, inner.last()?);
    Some(Spread {
        median: Milliseconds(median(&mut inner.to_vec())?),
        spread: Milliseconds(last - first),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 48_000;

    fn noise(count: usize, gain: f32) -> Vec<f32> {
        let mut state = 1u32;
        (0..count)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                gain * ((state >> 8) as f32 / 8_388_608.0 - 1.0)
            })
            .collect()
    }

    /// A delay that is off by a few samples would be a constant lead of every player. The sweep is
    /// found to the sample, 6 dB under noise, and in a room whose echo is louder than itself.
    #[test]
    fn a_sweep_is_found_to_the_sample() {
        let sweep = sweep(RATE);
        let place = 7301;
        for (gain, echo) in [(0.0, 0.0), (0.2, 0.0), (0.01, 1.3)] {
            let mut sound = noise(30_000, gain);
            for (at, sample) in sweep.iter().enumerate() {
                sound[place + at] += 0.1 * sample;
                sound[place + 400 + at] += 0.1 * echo * sample;
            }
            assert_eq!(
                find_sweep(&sound, &sweep, RATE),
                Some(place),
                "{gain} {echo}"
            );
        }
    }

    /// A place found in noise, silence or a chanter would be stored as a delay.
    #[test]
    fn where_there_is_no_sweep_none_is_found() {
        let sweep = sweep(RATE);
        assert_eq!(find_sweep(&noise(30_000, 0.3), &sweep, RATE), None);
        assert_eq!(find_sweep(&vec![0.0; 30_000], &sweep, RATE), None);
        assert_eq!(find_sweep(&vec![f32::NAN; 30_000], &sweep, RATE), None);
        assert_eq!(find_sweep(&[0.0; 10], &sweep, RATE), None);
        let reed: Vec<f32> = (0..30_000)
            .map(|at| {
                let phase = std::f64::consts::TAU * 355.0 * f64::from(at) / f64::from(RATE);
                let sum: f64 = (1..9).map(|k| (phase * f64::from(k)).cos()).sum();
                (0.05 * sum) as f32
            })
            .collect();
        assert_eq!(find_sweep(&reed, &sweep, RATE), None);
    }

    #[test]
    fn one_stray_does_not_move_the_median() {
        let found = spread(&[20.1, 20.0, 93.0, 20.2, 20.1].map(Milliseconds)).expect("enough");
        assert_eq!(found.median, Milliseconds(20.1));
        assert!((found.spread.0 - 0.1).abs() < 1e-9);
        assert_eq!(spread(&[1.0, 2.0].map(Milliseconds)), None);
    }
}
