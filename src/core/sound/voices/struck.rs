//! Computes struck sounds, which ring out, as samples for a sample rate before playing.

use crate::units::SampleRate;
use fundsp::math::spline;

/// One sine of a decaying sum: frequency in hertz, amplitude, and the seconds in which it decays to
/// 1/e.
pub(super) type Partial = (f64, f64, f64);

/// Computes `seconds` of decaying partials with a peak of 1; the last tenth fades out. The first
/// frame is already not 0, so that the onset is exactly at the event's frame.
pub(super) fn ring(seconds: f64, partials: &[Partial], rate: SampleRate) -> Vec<f32> {
    let count = (seconds * f64::from(rate.0)) as usize;
    let samples = (0..count)
        .map(|n| {
            let t = (n + 1) as f64 / f64::from(rate.0);
            let sum: f64 = partials
                .iter()
                .filter(|(hertz, _, _)| *hertz < 0.45 * f64::from(rate.0))
                .map(|(hertz, amplitude, decay)| {
                    amplitude * (std::f64::consts::TAU * hertz * t).sin() * (-t / decay).exp()
                })
                .sum();
            (sum * ((seconds - t) / (0.1 * seconds)).clamp(0.0, 1.0)) as f32
        })
        .collect();
    scaled(samples)
}

/// The same samples scaled to a peak of 1; silence stays silent.
pub(super) fn scaled(mut samples: Vec<f32>) -> Vec<f32> {
    let peak = highest(&samples);
    if peak > 0.0 {
        for sample in &mut samples {
            *sample /= peak;
        }
    }
    samples
}

/// The largest absolute value.
pub(super) fn highest(samples: &[f32]) -> f32 {
    samples
        .iter()
        .fold(0.0, |peak, sample| peak.max(sample.abs()))
}

/// Resamples by a factor `speed` with a cubic spline between samples, to change the sample rate,
/// the pitch, or both.
pub(super) fn stretched(samples: &[f32], speed: f64) -> Vec<f32> {
    let count = (samples.len() as f64 / speed) as usize;
    let at = |index: isize| {
        usize::try_from(index)
            .ok()
            .and_then(|index| samples.get(index))
            .copied()
            .unwrap_or(0.0)
    };
    (0..count)
        .map(|n| {
            let place = n as f64 * speed;
            let i = place as isize;
            let between = (place - i as f64) as f32;
            spline(at(i - 1), at(i), at(i + 1), at(i + 2), between)
        })
        .collect()
}
