//! Finds low A where nobody gave it: the pitch whose nine notes fit the sound best.
//!
//! First a coarse search by spectra: for each low A on a grid, how strong the harmonics of the best
//! of the nine notes are in each frame, against what lies half way between them. Then, once notes
//! were heard at such a low A, it is moved by the mean of their deviations ([`refined`]). Each note
//! counts once, however long it was played, because each note of a chanter is mistuned in its own
//! way.

use super::heard::HeardNote;
use super::intake::{Intake, RateError};
use super::spectrum::{FRAME, Spectrum};
use crate::chanter::{NOTES, Note, Tuning, TuningTable};
use crate::units::median;
use crate::units::{Cents, Hertz, SampleRate};

/// Samples a second of the sound that is searched: harmonics up to 3 kHz count.
const RATE: u32 = 8000;
/// Seconds of sound that are searched: a repetition of most drills. Chosen.
pub(super) const LOOKED_AT: f64 = 30.0;
/// Step of the grid, cents: the pitches of the notes refine it later.
const STEP: f64 = 5.0;
/// The low As that are expected, hertz: the middle of what is in use for the two chanters (230 to
/// 242 and 466 to 484).
const EXPECTED: [f64; 2] = [236.5, 474.5];
/// How far from the expected low As one must be better by 0.02, cents.
const SPREAD: f64 = 90.0;
/// How far the grid reaches to both sides of each expected low A, cents: two semitones and a
/// little.
const REACH: f64 = 220.0;

/// A line of the spectrum of which at least this share never changes is held all the while. Chosen.
const STANDING: f32 = 0.45;
/// A low A that sounds all the while, as drones do, must be better by so much: its note is heard
/// surely whoever plays. In the one case with drones it was surer by 0.04.
const DRONE: f64 = 0.2;
/// How many candidates are heard.
const CANDIDATES: usize = 4;
/// Two candidates lie at least so many cents apart: a pitch is looked for within half a semitone of
/// its note, so nearer ones are heard alike.
const APART: f64 = 60.0;

/// By how much a low A far from those in use must be better than one in use, in the unit it is
/// judged by: 0 at either of the expected ones, 0.02 at [`SPREAD`] from it.
fn unusual(low_a: Hertz) -> f64 {
    let far = |expected: f64| 0.02 * (Cents::between(Hertz(expected), low_a).0 / SPREAD).powi(2);
    EXPECTED.map(far).into_iter().fold(f64::INFINITY, f64::min)
}

/// The pitches that low A could have in some sound, the likeliest first; none where nothing sounds
/// like a chanter. Only `notes` are looked for. Each comes with the amount by which it must be
/// better than another, in the unit of how surely notes are heard at it.
///
/// # Errors
/// A sample rate that cannot be resampled.
pub(super) fn find_low_a(
    rate: SampleRate,
    samples: &[f32],
    table: TuningTable,
    notes: &[Note],
) -> Result<Vec<(Hertz, f64)>, RateError> {
    let count = samples.len().min((LOOKED_AT * f64::from(rate.0)) as usize);
    let mut intake = Intake::new(rate, f64::from(RATE))?;
    let mut resampled = Vec::new();
    let mut keep = |piece: &[f32]| resampled.extend_from_slice(piece);
    intake.push(&samples[..count], &mut keep);
    intake.finish(keep);
    let (frames, stands) = spectra(&resampled);
    if frames.is_empty() {
        return Ok(Vec::new());
    }
    let mut all: Vec<(f64, Hertz)> = Vec::new();
    for expected in EXPECTED {
        let steps = (2.0 * REACH / STEP) as i32;
        for step in 0..=steps {
            let off = f64::from(step) * STEP - REACH;
            let low_a = Hertz(expected).shifted(Cents(off));
            let tuning = Tuning::with_low_a(low_a, table);
            let sum: f64 = frames
                .iter()
                .map(|frame| {
                    notes
                        .iter()
                        .map(|note| strength(frame, tuning.hertz(*note).0))
                        .fold(f64::NEG_INFINITY, f64::max)
                })
                .sum();
            let mean = sum / frames.len() as f64 - unusual(low_a);
            all.push((mean, low_a));
        }
    }
    all.retain(|(mean, _)| *mean > 0.05);
    // a sound that lasts all the while at low A is a drone or hum and no practice chanter
    let held = |low_a: &Hertz| {
        let bin = (low_a.0 * FRAME as f64 / f64::from(RATE)).round() as usize;
        stands.get(bin).copied().unwrap_or(0.0) > STANDING
    };
    let stands = |low_a: &Hertz| low_a.0 < Tuning::CHANTERS_PART.0 && held(low_a);
    for (mean, low_a) in &mut all {
        if stands(low_a) {
            *mean *= 0.5;
        }
    }
    all.sort_by(|one, other| other.0.total_cmp(&one.0));
    let mut found: Vec<(Hertz, f64)> = Vec::new();
    for (_, low_a) in all {
        let near = |other: &Hertz| Cents::between(*other, low_a).0.abs() < APART;
        if found.len() < CANDIDATES && !found.iter().any(|(other, _)| near(other)) {
            let unlikely = unusual(low_a) + if stands(&low_a) { DRONE } else { 0.0 };
            found.push((low_a, unlikely));
        }
    }
    Ok(found)
}

/// Amplitude spectra of frames that overlap by half, each with the sum 1; and for each bin the
/// share of it that never changes, or 0 where the whole sound may be one held note.
fn spectra(samples: &[f32]) -> (Vec<Vec<f32>>, Vec<f32>) {
    let mut spectrum = Spectrum::new();
    let mut frames: Vec<Vec<f32>> = samples
        .windows(FRAME)
        .step_by(FRAME / 2)
        .map(|frame| spectrum.of(frame).iter().map(|bin| bin.norm()).collect())
        .collect();
    let whole: f32 = frames.iter().flatten().sum();
    let standing = standing(&frames);
    let mut stands = vec![0.0; standing.len()];
    let without = standing.iter().sum::<f32>() * frames.len() as f32;
    // where nearly all of it never changes, one note is held and nothing else sounds
    if whole - without > 0.2 * whole {
        for (bin, share) in stands.iter_mut().enumerate() {
            let mean = frames.iter().map(|frame| frame[bin]).sum::<f32>() / frames.len() as f32;
            *share = standing[bin] / mean.max(1e-9);
        }
        for frame in &mut frames {
            for (amplitude, standing) in frame.iter_mut().zip(&standing) {
                *amplitude = (*amplitude - standing).max(0.0);
            }
        }
    }
    frames.retain_mut(|frame| {
        let sum: f32 = frame.iter().sum();
        for amplitude in frame.iter_mut() {
            *amplitude /= sum.max(1e-9);
        }
        sum > 1e-3
    });
    (frames, stands)
}

/// The spectrum of what sounds nearly always, drones and hum: the amplitude that each bin exceeds
/// in 4 of 5 frames.
fn standing(frames: &[Vec<f32>]) -> Vec<f32> {
    let bins = frames.first().map_or(0, Vec::len);
    (0..bins)
        .map(|bin| {
            let mut over: Vec<f32> = frames.iter().map(|frame| frame[bin]).collect();
            over.sort_by(f32::total_cmp);
            1.2 * over[over.len() / 5]
        })
        .collect()
}

/// How strong a pitch's harmonics are against what lies half way between them.
fn strength(frame: &[f32], pitch: f64) -> f64 {
    let at = |hertz: f64| {
        let bin = hertz * FRAME as f64 / f64::from(RATE);
        let (low, share) = (bin as usize, bin.fract() as f32);
        let a = frame.get(low).copied().unwrap_or(0.0);
        let b = frame.get(low + 1).copied().unwrap_or(0.0);
        f64::from(a + (b - a) * share)
    };
    let part = |first: usize| -> f64 {
        (first..=(3000.0 / pitch) as usize)
            .step_by(2)
            .map(|k| at(pitch * k as f64) - at(pitch * (k as f64 - 0.5)))
            .sum()
    };
    // where only the even harmonics sound, the note is an octave higher
    let (odd, even) = (part(1), part(2));
    odd + even.min(3.0 * odd)
}

/// Low A moved by the mean deviation of the notes heard with it, each note counted once.
pub(super) fn refined(low_a: Hertz, notes: &[HeardNote]) -> Hertz {
    let medians: Vec<f64> = NOTES
        .into_iter()
        .filter_map(|note| {
            let mut cents: Vec<f64> = notes
                .iter()
                .filter(|heard| heard.note == note)
                .filter_map(|heard| heard.cents.map(|cents| cents.0))
                .collect();
            median(&mut cents)
        })
        .collect();
    if medians.is_empty() {
        return low_a;
    }
    low_a.shifted(Cents(medians.iter().sum::<f64>() / medians.len() as f64))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without it low A would come out sharp: a note heard flat once and sharp once lies between, and
    /// one heard often counts no more than another.
    #[test]
    fn each_note_counts_once_by_its_middle() {
        let heard = |note, cents| HeardNote {
            note,
            start_s: 0.0,
            end_s: 1.0,
            confidence: 0.9,
            level: None,
            cents: Some(Cents(cents)),
            named: true,
        };
        let twice = [heard(Note::E, -6.0), heard(Note::E, 6.0)];
        assert_eq!(refined(Hertz(236.0), &twice), Hertz(236.0));
        let often = [heard(Note::C, 8.0), heard(Note::B, -8.0)];
        let often = [often[0], often[0], often[0], often[1]];
        assert_eq!(refined(Hertz(236.0), &often), Hertz(236.0));
    }
}
