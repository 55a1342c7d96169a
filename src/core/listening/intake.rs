//! Samples at any rate -> samples at one rate, as a stream.
//!
//! It knows nothing of notes. Samples that are no numbers become silence.

use crate::units::SampleRate;
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{
    Async, FixedAsync, Resampler, SincInterpolationParameters, SincInterpolationType,
    WindowFunction,
};

/// A sample rate that cannot be resampled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RateError {
    /// Samples a second.
    pub rate: u32,
    /// The resampler's words.
    pub why: String,
}

impl std::fmt::Display for RateError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "{} samples a second cannot be resampled ({}): expected a usual rate such as 44100 or 48000",
            self.rate, self.why
        )
    }
}
impl std::error::Error for RateError {}

/// How many samples are resampled together: 1.3 ms at 48 kHz, which a player waits for.
const PIECE: usize = 64;
/// The most samples that are handed on together, where as many came in: the network is quicker with
/// many at once.
const GIVEN: usize = 1024;
/// Samples beyond this are cut to it: one wild number of a broken file must not drown all that
/// comes after it.
const LOUDEST: f32 = 8.0;

/// Brings samples to one rate.
pub(super) struct Intake {
    resampler: Async<f32>,
    pending: Vec<f32>,
    resampled: Vec<f32>,
    /// How many of the next resampled samples are only the resampler's own delay.
    skip: usize,
    ratio: f64,
    /// By how much a sample that comes out lies later than its number says, 0 to 1 of the distance
    /// between two.
    pub(super) lead: f64,
    taken: u64,
    given: u64,
}

/// Length of the windowed sinc filter in samples: 5.3 ms, and 256 at a low rate.
fn length(rate: SampleRate) -> usize {
    (rate.0 as usize * 256 / 48_000)
        .max(256)
        .next_multiple_of(8)
}

fn resampler(rate: SampleRate, ratio: f64) -> Result<Async<f32>, String> {
    let filter = SincInterpolationParameters {
        oversampling_factor: 160,
        interpolation: SincInterpolationType::Linear,
        ..SincInterpolationParameters::new(length(rate), WindowFunction::BlackmanHarris2)
    };
    Async::new_sinc(ratio, 1.0, &filter, PIECE, 1, FixedAsync::Input)
        .map_err(|error| error.to_string())
}

impl Intake {
    /// From `rate` to `to` samples a second.
    ///
    /// # Errors
    /// A rate that cannot be resampled, with the resampler's words.
    pub(super) fn new(rate: SampleRate, to: f64) -> Result<Self, RateError> {
        let ratio = to / f64::from(rate.0);
        let resampler = resampler(rate, ratio).map_err(|why| RateError { rate: rate.0, why })?;
        // the first sample that comes out belongs to one step of the output later than half of the
        // filter before the sound
        let half = length(rate) as f64 / 2.0 * ratio;
        let skip = half as usize;
        Ok(Self {
            skip,
            lead: skip as f64 + 1.0 - half,
            resampler,
            pending: Vec::new(),
            resampled: Vec::new(),
            ratio,
            taken: 0,
            given: 0,
        })
    }

    /// Takes mono samples and gives what comes of them.
    pub(super) fn push(&mut self, samples: &[f32], mut each: impl FnMut(&[f32])) {
        self.taken += samples.len() as u64;
        self.feed(samples, &mut each);
    }

    /// The end of the sound: what is still inside comes out.
    pub(super) fn finish(&mut self, mut each: impl FnMut(&[f32])) {
        let whole = (self.taken as f64 * self.ratio).round() as u64;
        while self.given < whole {
            let mut left = whole - self.given;
            self.feed(&[0.0; PIECE], &mut |piece: &[f32]| {
                let wanted = piece.len().min(left as usize);
                left -= wanted as u64;
                each(&piece[..wanted]);
            });
        }
    }

    fn feed(&mut self, samples: &[f32], each: &mut impl FnMut(&[f32])) {
        for sample in samples {
            if sample.is_finite() {
                self.pending.push(sample.clamp(-LOUDEST, LOUDEST));
            } else {
                self.pending.push(0.0);
            }
        }
        let mut at = 0;
        self.resampled.clear();
        loop {
            let need = self.resampler.input_frames_next();
            let enough = self.pending.len() - at >= need;
            if !enough || self.resampled.len() >= GIVEN {
                each(&self.resampled);
                self.resampled.clear();
            }
            if !enough {
                break;
            }
            let most = self.resampler.output_frames_next();
            let from = self.resampled.len();
            self.resampled.resize(from + most, 0.0);
            let room = &mut self.resampled[from..];
            let done = InterleavedSlice::new(&self.pending[at..at + need], 1, need)
                .ok()
                .zip(InterleavedSlice::new_mut(room, 1, most).ok())
                .and_then(|(input, mut output)| {
                    let done = self
                        .resampler
                        .process_into_buffer(&input, &mut output, None);
                    Some(done.ok()?.1)
                });
            // the buffers have the sizes that the resampler asked for, so it cannot refuse; if it
            // does there is silence
            let made = done.unwrap_or_else(|| {
                self.resampled[from..].fill(0.0);
                most
            });
            at += need;
            let late = self.skip.min(made);
            self.skip -= late;
            self.given += (made - late) as u64;
            self.resampled.truncate(from + made);
            self.resampled.drain(from..from + late);
        }
        self.pending.drain(..at);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lead(rate: u32, to: f64) -> f64 {
        Intake::new(SampleRate(rate), to)
            .expect("a usual rate")
            .lead
    }

    fn resampled(rate: u32, to: f64, samples: &[f32], pieces: usize) -> Vec<f32> {
        let mut intake = Intake::new(SampleRate(rate), to).expect("a usual rate");
        let mut out = Vec::new();
        for piece in samples.chunks(pieces) {
            intake.push(piece, |piece| out.extend_from_slice(piece));
        }
        intake.finish(|piece| out.extend_from_slice(piece));
        out
    }

    fn sine(rate: u32, hertz: f64, count: u32) -> Vec<f32> {
        (0..count)
            .map(|at| {
                (std::f64::consts::TAU * hertz * f64::from(at) / f64::from(rate)).sin() as f32
            })
            .collect()
    }

    /// Without it an onset would be told early or late by the filter's own delay.
    #[test]
    fn a_sine_stays_where_it_is() {
        for (rate, to) in [(48_000, 11_800.0), (44_100, 24_000.0), (8_000, 11_825.0)] {
            let out = resampled(rate, to, &sine(rate, 700.0, rate), 999);
            assert_eq!(out.len(), to as usize, "as long as it was");
            let lead = lead(rate, to);
            let middle = out.len() / 4..out.len() * 3 / 4;
            for at in middle {
                let expected = (std::f64::consts::TAU * 700.0 * (at as f64 + lead) / to).sin();
                assert!(
                    (f64::from(out[at]) - expected).abs() < 5e-3,
                    "{rate} to {to}: {} at {at} for {expected}",
                    out[at]
                );
            }
        }
    }

    #[test]
    fn pieces_of_any_size_come_to_the_same() {
        let sound = sine(48_000, 333.0, 10_000);
        let whole = resampled(48_000, 11_800.0, &sound, 10_000);
        for pieces in [1, 63, 64, 480] {
            assert_eq!(whole, resampled(48_000, 11_800.0, &sound, pieces));
        }
    }

    #[test]
    fn what_is_no_number_is_silence() {
        let mut intake = Intake::new(SampleRate(48_000), 11_800.0).expect("a usual rate");
        let mut loudest = 0.0_f32;
        let broken = [f32::NAN, f32::INFINITY, 1e30].repeat(400);
        intake.push(&broken, |piece| {
            loudest = piece
                .iter()
                .fold(loudest, |most, sample| most.max(sample.abs()));
        });
        assert!(loudest.is_finite() && loudest < 10.0, "{loudest}");
    }
}
