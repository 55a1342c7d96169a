//! Prepares a recorded take for playback: beside the reference, at half speed with its pitch kept,
//! or at another sample rate.

use super::bounce::Bounce;
use super::mix::{Bus, Levels, Sound};
use crate::chanter::Tuning;
use crate::rhythm::{ClickPlan, ReferencePlan};
use crate::timeline::Timeline;
use crate::units::{SampleRate, Seconds};
use num_traits::ToPrimitive;
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{
    Async, FixedAsync, Resampler, SincInterpolationParameters, SincInterpolationType,
    WindowFunction,
};
use std::num::{NonZeroU16, NonZeroU32};
use std::sync::Arc;

/// Hop of the time stretching, in milliseconds. A window of two hops holds four periods of low G on
/// a practice chanter (207 Hz) and is shorter than the shortest gracenote.
const HOP_MS: f32 = 10.0;
/// How far to either side the next window is searched, in milliseconds: more than a period of that
/// low G.
const SEARCH_MS: f32 = 6.0;
/// How much of the reference is kept before the first beat of a repetition, in seconds, for its
/// opening gracenotes.
const BEFORE_S: f64 = 0.25;

/// One channel at half its speed and the same pitch, so twice as long. Thread: any but audio.
/// Allocates: yes. Blocks: no.
pub fn half_speed(samples: &[f32], rate: SampleRate) -> Vec<f32> {
    let wanted = samples.len() * 2;
    let (Some(hertz), Some(one)) = (NonZeroU32::new(rate.0), NonZeroU16::new(1)) else {
        return Vec::new();
    };
    let tuning = wsola::Config {
        hop_ms: HOP_MS,
        search_ms: SEARCH_MS,
    };
    let mut out = Vec::with_capacity(wanted);
    if let Ok(mut stretch) = wsola::TimeStretch::with_config(hertz, one, tuning) {
        stretch.set_tempo(0.5);
        stretch.push(samples);
        // Silence at the end lets the last windows overlap with something.
        stretch.push(&vec![0.0; rate.0 as usize / 10]);
        stretch.set_draining();
        let mut some = vec![0.0; stretch.min_output_buff_size() * 64];
        while let Ok(count @ 1..) = stretch.pull(&mut some) {
            out.extend_from_slice(&some[..count]);
        }
    }
    out.resize(wanted, 0.0);
    out
}

/// One channel at another sample rate. Thread: any but audio. Allocates: yes. Blocks: no.
///
/// # Errors
/// The resampler does not accept the sample rates; the error is its own text.
pub fn at_rate(samples: Vec<f32>, from: SampleRate, to: SampleRate) -> Result<Vec<f32>, String> {
    if from == to || samples.is_empty() {
        return Ok(samples);
    }
    let filter = SincInterpolationParameters {
        interpolation: SincInterpolationType::Cubic,
        ..SincInterpolationParameters::new(128, WindowFunction::BlackmanHarris2)
    };
    let ratio = f64::from(to.0) / f64::from(from.0);
    let told = |error: &dyn std::fmt::Display| error.to_string();
    let mut resampler = Async::<f32>::new_sinc(ratio, 1.0, &filter, 1024, 1, FixedAsync::Input)
        .map_err(|error| told(&error))?;
    let input = InterleavedSlice::new(&samples, 1, samples.len()).map_err(|error| told(&error))?;
    let done = resampler
        .process_all(&input, samples.len(), None)
        .map_err(|error| told(&error))?;
    Ok(done.take_data())
}

/// The reference of one repetition without clicks, and how many of its samples (the opening
/// gracenotes) lie before the first beat. Thread: any but audio. Allocates: yes. Blocks: no.
fn repetition(timeline: &Arc<Timeline>, tuning: Tuning, rate: SampleRate) -> (Vec<f32>, usize) {
    let mut levels = Levels::FULL;
    levels.mute(Bus::Click, true);
    let bounce = Bounce {
        timeline: Arc::clone(timeline),
        repetitions: 2,
        rate,
        sound: Sound {
            tuning,
            levels,
            ..Sound::default()
        },
        reference: ReferencePlan::Every,
        clicks: ClickPlan::Every,
    };
    // The second cycle is used, because the first one has only the count-in before it.
    let per_beat = rate.frames_per_beat(timeline.tempo).to_f64().unwrap_or(0.0);
    let first = (timeline.cycle_start(1).to_f64() * per_beat).round() as usize;
    let length = (timeline.repetition.to_f64() * per_beat).round() as usize;
    let before = ((BEFORE_S * f64::from(rate.0)) as usize).min(first);
    let mut samples = vec![0.0; first + length];
    bounce.samples().fill(&mut samples);
    samples.drain(..first - before);
    // Earlier sound still belongs to the repetition before.
    let quiet = before.saturating_sub(opening(timeline, per_beat));
    samples[..quiet].fill(0.0);
    (samples, before)
}

/// How many frames the first gracenotes of a repetition stand before its first beat.
fn opening(timeline: &Timeline, per_beat: f64) -> usize {
    let cycle = timeline.cycle.to_f64();
    timeline
        .again
        .iter()
        .filter(|event| event.ahead)
        .map(|event| ((cycle - event.beat.to_f64()) * per_beat).ceil() as usize)
        .max()
        .unwrap_or(0)
}

/// The reference as long as the take, with a copy at each place where a repetition of the take
/// begins. It is as loud as the take. Thread: any but audio. Allocates: yes. Blocks: no.
pub fn beside(
    take: &[f32],
    rate: SampleRate,
    timeline: &Arc<Timeline>,
    tuning: Tuning,
    starts: &[Seconds],
) -> Vec<f32> {
    let (one, before) = repetition(timeline, tuning, rate);
    let mut out = vec![0.0; take.len()];
    for start in starts {
        let first = (start.0 * f64::from(rate.0)).round() as i64 - before as i64;
        for (at, sample) in (first..).zip(&one) {
            if let Some(place) = usize::try_from(at).ok().and_then(|at| out.get_mut(at)) {
                *place = *sample;
            }
        }
    }
    let level = |samples: &[f32]| {
        let sum: f64 = samples.iter().map(|one| f64::from(*one).powi(2)).sum();
        (sum / samples.len().max(1) as f64).sqrt()
    };
    let gain = level(take) / level(&out).max(1e-9);
    for sample in &mut out {
        *sample = (f64::from(*sample) * gain).clamp(-1.0, 1.0) as f32;
    }
    out
}

/// The peak of what is played back. A quiet take is raised to it and a loud one is lowered, so that
/// nothing startles.
const LOUDEST: f32 = 0.5;

/// Scales all channels to one peak. Thread: any but audio. Allocates: no. Blocks: no.
pub fn level_out(channels: &mut [Vec<f32>]) {
    let loudest = channels
        .iter()
        .flatten()
        .fold(0.0f32, |most, sample| most.max(sample.abs()));
    if loudest > 0.0 && loudest.is_finite() {
        for sample in channels.iter_mut().flatten() {
            *sample *= LOUDEST / loudest;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::drill;
    use super::*;

    const RATE: SampleRate = SampleRate(16_000);

    fn reed(pitch: f64, count: usize) -> Vec<f32> {
        (0..count)
            .map(|at| {
                let phase = std::f64::consts::TAU * pitch * at as f64 / f64::from(RATE.0);
                let sum: f64 = (1..8)
                    .map(|k| (phase * f64::from(k)).sin() * 0.7f64.powi(k))
                    .sum();
                (0.2 * sum) as f32
            })
            .collect()
    }

    /// The period in samples by autocorrelation, between the periods of 600 and 120 Hz.
    fn period(samples: &[f32]) -> f64 {
        let likeness = |lag: usize| -> f64 {
            samples
                .iter()
                .zip(&samples[lag..])
                .map(|(a, b)| f64::from(a * b))
                .sum()
        };
        let lags: Vec<f64> = (0..140).map(likeness).collect();
        let best = (27..133)
            .max_by(|a, b| lags[*a].total_cmp(&lags[*b]))
            .expect("lags");
        // The vertex of a parabola through three points.
        let (a, b, c) = (lags[best - 1], lags[best], lags[best + 1]);
        best as f64 + 0.5 * (a - c) / (a - 2.0 * b + c)
    }

    /// A player compares pitches too, so slow playback must not be lower. The result is exactly
    /// twice as long, its period is within 5 cents, and it is as loud.
    #[test]
    fn half_speed_keeps_the_pitch() {
        for pitch in [207.0, 236.0, 354.0, 472.0] {
            let samples = reed(pitch, 32_000);
            let slow = half_speed(&samples, RATE);
            assert_eq!(slow.len(), 64_000);
            let middle = period(&slow[20_000..36_000]);
            let cents = 1200.0 * (f64::from(RATE.0) / middle / pitch).log2();
            assert!(cents.abs() < 5.0, "{cents} cents at {pitch}");
            let power = |part: &[f32]| part.iter().map(|s| f64::from(s * s)).sum::<f64>();
            let ratio = power(&slow[20_000..36_000]) / power(&samples[10_000..26_000]);
            assert!((0.8..1.2).contains(&ratio), "{ratio}");
        }
        assert_eq!(half_speed(&[], RATE), Vec::<f32>::new());
    }

    /// A gracenote of 30 ms must last about 60 ms at twice its time, neither lost nor doubled.
    #[test]
    fn half_speed_keeps_a_gracenote() {
        let mut samples = reed(236.0, 8000);
        samples.extend(reed(472.0, 480));
        samples.extend(reed(236.0, 8000));
        let slow = half_speed(&samples, RATE);
        // The windows of 10 ms whose period is the gracenote's.
        let high: Vec<usize> = (0..slow.len() / 160 - 3)
            .filter(|window| {
                let part = &slow[window * 160..window * 160 + 400];
                let at = |lag: usize| -> f64 {
                    part.iter()
                        .zip(&part[lag..])
                        .map(|(a, b)| f64::from(a * b))
                        .sum()
                };
                at(34) > 0.6 * at(0)
            })
            .collect();
        assert!((2..=9).contains(&high.len()), "{high:?}");
        assert!(
            high.iter().all(|window| (96..=110).contains(window)),
            "{high:?}"
        );
    }

    /// A reference a beat off would make every note sound wrong. It must lie exactly where the
    /// repetitions of the take do.
    #[test]
    fn the_reference_lies_beside_the_repetitions() {
        let timeline = Arc::new(drill("60", 1));
        let take = reed(236.0, 16_000 * 30);
        let found = beside(
            &take,
            RATE,
            &timeline,
            Tuning::default(),
            &[5.0, 17.5].map(Seconds),
        );
        assert_eq!(found.len(), take.len());
        let loud = |from: f64, to: f64| {
            let place = |second: f64| (second * f64::from(RATE.0)) as usize;
            found[place(from)..place(to)]
                .iter()
                .fold(0.0f32, |most, sample| most.max(sample.abs()))
        };
        assert!(loud(0.0, 4.7) == 0.0 && loud(13.1, 17.2) == 0.0 && loud(25.6, 30.0) == 0.0);
        assert!(loud(5.1, 5.9) > 0.05 && loud(17.6, 18.4) > 0.05);
    }

    #[test]
    fn another_rate_keeps_the_pitch_and_the_length() {
        let there = at_rate(reed(236.0, 16_000), RATE, SampleRate(48_000)).expect("a usual rate");
        assert!(there.len().abs_diff(48_000) <= 3, "{}", there.len());
        let back = at_rate(there, SampleRate(48_000), RATE).expect("a usual rate");
        let expected = f64::from(RATE.0) / 236.0;
        assert!((period(&back[4000..12_000]) - expected).abs() < 0.1);
    }
}
