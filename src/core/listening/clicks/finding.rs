//! Where clicks may lie: periods at which onsets return, then waves that return.
//!
//! It knows how clicks return and not what they are like.

use super::learning::{PRESENT, learn};
use super::{COMPARED, FEWEST, LEAD, Train, energy, summit};
use crate::listening::spectrum::hann;
use microfft::real::rfft_128;
use std::collections::VecDeque;

/// Samples between two frames of the flux: 4 ms.
const HOP: usize = 32;
/// Samples in a frame: 16 ms.
const FRAME: usize = 128;
/// Periods looked for, in hops: 0.18 to 3.1 s (20 to 330 a minute).
const SHORTEST: usize = 45;
const LONGEST: usize = 775;
/// Periods whose wave is looked at, the likeliest by their onsets.
const CANDIDATES: usize = 12;
/// Grids of onsets whose wave is looked at.
const GRIDS: usize = 10;
/// Returning waves that are learnt, the surest.
const LEARNT: usize = 10;
/// Beats from click to click, and clicks to a beat, that go with a drill.
const TOGETHER: usize = 6;
/// How far two clocks run apart at most, as a part of a period.
const CLOCKS: f64 = 3e-4;

/// How much of the spectrum is new at each hop.
fn flux(sound: &[f32]) -> Vec<f32> {
    let window: [f32; FRAME] = hann();
    let mut before: VecDeque<[f32; FRAME / 2]> = VecDeque::new();
    let mut all = Vec::with_capacity(sound.len() / HOP);
    for frame in sound.windows(FRAME).step_by(HOP) {
        let mut input = [0.0; FRAME];
        for (place, (sample, weight)) in input.iter_mut().zip(frame.iter().zip(&window)) {
            *place = sample * weight;
        }
        let output = rfft_128(&mut input);
        output[0].im = 0.0;
        let bins: [f32; FRAME / 2] =
            std::array::from_fn(|bin| output[bin].norm_sqr().sqrt().sqrt());
        // against the strongest of the bin and its neighbours, so that a gliding tone is nothing new
        let new = before.front().map_or(0.0, |old: &[f32; FRAME / 2]| {
            (1..FRAME / 2 - 1)
                .map(|bin| (bins[bin] - old[bin - 1].max(old[bin]).max(old[bin + 1])).max(0.0))
                .sum()
        });
        all.push(new);
        before.push_back(bins);
        if before.len() > 4 {
            before.pop_front();
        }
    }
    all
}

/// Periods at which onsets return, in hops, the likeliest first.
fn periods(flux: &[f32]) -> Vec<usize> {
    let longest = LONGEST.min(flux.len() / 3);
    if longest <= SHORTEST + 2 {
        return Vec::new();
    }
    let mean = flux.iter().sum::<f32>() / flux.len() as f32;
    let level: Vec<f32> = flux.iter().map(|value| value - mean).collect();
    let returns: Vec<f32> = (SHORTEST - 1..=longest)
        .map(|lag| {
            let sum: f32 = level.iter().zip(&level[lag..]).map(|(a, b)| a * b).sum();
            sum / (level.len() - lag) as f32
        })
        .collect();
    let mut peaks: Vec<usize> = (1..returns.len() - 1)
        .filter(|at| {
            returns[*at] > 0.0 && returns[*at] >= returns[at - 1] && returns[*at] >= returns[at + 1]
        })
        .collect();
    peaks.sort_by(|a, b| returns[*b].total_cmp(&returns[*a]));
    peaks.truncate(CANDIDATES);
    peaks.into_iter().map(|at| at + SHORTEST - 1).collect()
}

/// A period and a place at which onsets return.
#[derive(Debug, Clone, Copy)]
struct Grid {
    /// Hops.
    period: f64,
    place: f64,
    /// How far the flux at the places lies over its mean, in standard deviations.
    over: f32,
}

/// The grids that the flux is strongest on: of each period by all of its places together, of all
/// periods by most of them.
fn grids(flux: &[f32], level: &[f32]) -> Vec<Grid> {
    let mut longest: Vec<usize> = Vec::new();
    for period in periods(flux) {
        for part in 1..=4 {
            let part = period / part;
            if part >= SHORTEST && !longest.iter().any(|other| other.abs_diff(part) < 2) {
                longest.push(part);
            }
        }
    }
    let mut all: Vec<(f32, Grid)> = Vec::new();
    for period in longest {
        let mut best: Vec<Grid> = Vec::new();
        for step in -16..=16 {
            let exact = period as f64 + f64::from(step) / 16.0;
            best.extend(folded(level, exact, 2));
        }
        best.sort_by(|a, b| b.over.total_cmp(&a.over));
        let mut kept: Vec<Grid> = Vec::new();
        for grid in best {
            if kept.len() < 2
                && !kept
                    .iter()
                    .any(|other| (other.place - grid.place).abs() < 4.0)
            {
                kept.push(grid);
            }
        }
        all.extend(
            kept.into_iter()
                .map(|grid| (at_most_places(level, grid), grid)),
        );
    }
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all.truncate(GRIDS);
    all.into_iter().map(|(_, grid)| grid).collect()
}

/// The grids that the flux is strongest on among those that go with a beat, hops.
fn grids_on(level: &[f32], beat: f64) -> Vec<Grid> {
    let looked_for = SHORTEST as f64..LONGEST.min(level.len() / FEWEST) as f64;
    let mut all: Vec<(f32, Grid)> = going_with(beat)
        .filter(|period| looked_for.contains(period))
        .flat_map(|period| folded(level, period, 3))
        .map(|grid| (at_most_places(level, grid), grid))
        .collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all.truncate(GRIDS);
    all.into_iter().map(|(_, grid)| grid).collect()
}

/// The flux, of which one loud onset is no sign of many.
fn held_down(flux: &[f32]) -> Vec<f32> {
    let mut sorted = flux.to_vec();
    let strong = *sorted
        .select_nth_unstable_by(flux.len() * 19 / 20, f32::total_cmp)
        .1;
    flux.iter().map(|value| value.min(2.0 * strong)).collect()
}

/// How far the flux lies over its mean at [`PRESENT`] of a grid's places, for what chance makes of
/// so many: onsets that return now and then are no clicks.
fn at_most_places(flux: &[f32], grid: Grid) -> f32 {
    let rounds = ((flux.len() as f64 - grid.place) / grid.period).ceil() as usize;
    let mut values: Vec<f32> = (0..rounds)
        .map(|round| (grid.place + round as f64 * grid.period).round() as usize)
        .filter_map(|at| flux.get(at.saturating_sub(1)..at + 2))
        .map(|near| near.iter().copied().fold(0.0, f32::max))
        .collect();
    if values.is_empty() {
        return 0.0;
    }
    let rank = ((1.0 - PRESENT) * values.len() as f64) as usize;
    let least = *values.select_nth_unstable_by(rank, f32::total_cmp).1;
    let mean = flux.iter().sum::<f32>() / flux.len() as f32;
    (least - mean) * (values.len() as f32).sqrt()
}

/// So many of the strongest places of the flux folded by a period.
fn folded(flux: &[f32], period: f64, places: usize) -> Vec<Grid> {
    let bins = period.ceil() as usize + 1;
    let mut sums = vec![0.0f32; bins];
    let rounds = (flux.len() as f64 / period) as usize;
    for round in 0..rounds {
        let from = (round as f64 * period).round() as usize;
        for (sum, value) in sums.iter_mut().zip(&flux[from..]) {
            *sum += value;
        }
    }
    let count = bins as f32;
    let mean = sums.iter().sum::<f32>() / count;
    let spread = (sums.iter().map(|s| (s - mean).powi(2)).sum::<f32>() / count).sqrt();
    let mut order: Vec<usize> = (1..bins - 1)
        .filter(|at| sums[*at] > sums[at - 1] && sums[*at] >= sums[at + 1])
        .collect();
    order.sort_by(|a, b| sums[*b].total_cmp(&sums[*a]));
    order
        .into_iter()
        .take(places)
        .map(|at| Grid {
            period,
            place: at as f64,
            over: (sums[at] - mean) / spread.max(1e-9) * (rounds as f32).sqrt(),
        })
        .collect()
}

/// The periods of clicks that go with a beat.
fn going_with(beat: f64) -> impl Iterator<Item = f64> {
    let parts = (2..=TOGETHER).map(move |of| beat / of as f64);
    (1..=TOGETHER).map(move |of| beat * of as f64).chain(parts)
}

/// Whether clicks go with a beat, samples.
fn goes_with(period: f64, beat: f64) -> bool {
    going_with(beat).any(|expected| (period / expected - 1.0).abs() < CLOCKS)
}

/// The train of clicks in a sound, where there is one: of those that are sure, the one that takes
/// most away. Where a beat is known, samples, clicks that go with it come first.
pub(super) fn find(sound: &[f32], beat: Option<f64>) -> Option<Train> {
    if sound.len() < FEWEST * SHORTEST * HOP {
        return None;
    }
    let flux = flux(sound);
    let level = held_down(&flux);
    let on_beat = |found: &Returning| beat.is_some_and(|beat| goes_with(found.period, beat));
    let anywhere = returning(sound, &grids(&flux, &level));
    let known = beat.map_or(Vec::new(), |beat| grids_on(&level, beat / HOP as f64));
    let known = returning(sound, &known)
        .into_iter()
        .chain(anywhere.iter().copied());
    let first = likeliest(sound, known.filter(on_beat));
    let stays_on_beat = first.is_some();
    let (mut taken, mut train) = first.or_else(|| likeliest(sound, anywhere))?;
    // a tone returns nearly as well one of its own periods off: the neighbours, as long as one takes
    // more
    loop {
        let neighbours = slipped(sound, &train).into_iter();
        let near = neighbours.filter(|found| !stays_on_beat || on_beat(found));
        let better = likeliest(sound, near);
        let Some(better) = better.filter(|(other, _)| *other > taken) else {
            return Some(train);
        };
        (taken, train) = better;
    }
}

/// The waves that return near some grids, the surest first.
fn returning(sound: &[f32], grids: &[Grid]) -> Vec<Returning> {
    let mut all: Vec<(f64, Returning)> = Vec::new();
    for grid in grids {
        for found in sharpened(sound, *grid) {
            let same = |(_, other): &(f64, Returning)| {
                (other.period - found.1.period).abs() < 0.5
                    && (other.first - found.1.first).abs() < LEAD as f64
            };
            if !all.iter().any(same) {
                all.push(found);
            }
        }
    }
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all.truncate(LEARNT);
    all.into_iter().map(|(_, found)| found).collect()
}

/// Of the trains that can be learned at some places the one that takes most away, and how much.
fn likeliest(sound: &[f32], places: impl IntoIterator<Item = Returning>) -> Option<(f64, Train)> {
    places
        .into_iter()
        .filter_map(|found| learn(sound, &found))
        .max_by(|a, b| a.0.total_cmp(&b.0))
}

/// The train with a period that is longer or shorter by one or two waves of its shape, the middle
/// click where it was.
fn slipped(sound: &[f32], train: &Train) -> Vec<Returning> {
    let shape = &train.shape[..train.shape.len().min(LEAD + COMPARED)];
    let alike = |lag: usize| -> f64 {
        let both = shape.iter().zip(shape.get(lag..).unwrap_or_default());
        both.map(|(a, b)| f64::from(a * b)).sum()
    };
    let top = |from: usize, to: usize| -> f64 {
        let at = (from..=to)
            .max_by(|a, b| alike(*a).total_cmp(&alike(*b)))
            .unwrap_or(from);
        at as f64 + summit(alike(at - 1), alike(at), alike(at + 1))
    };
    // a wave of the shape, between 2.7 kHz and 400 Hz; four of them tell its length better
    let first = (3..=20)
        .find(|at| alike(*at) > 0.5 * alike(0) && alike(*at) >= alike(at + 1))
        .unwrap_or(3);
    let rough = 4.0 * top(first, first + 1);
    let wave = top(rough as usize - 1, rough as usize + 2) / 4.0;
    let middle = ((sound.len() as f64 - train.first) / train.period / 2.0).floor();
    [-4.0, -3.0, -2.0, -1.0, 1.0, 2.0, 3.0, 4.0]
        .into_iter()
        .map(|waves| {
            let period = train.period + waves * wave;
            Returning {
                period,
                first: (train.first + middle * (train.period - period)).rem_euclid(period),
            }
        })
        .collect()
}

/// A wave that returns.
#[derive(Debug, Clone, Copy)]
pub(super) struct Returning {
    /// Samples.
    pub period: f64,
    pub first: f64,
}

/// The periods near a grid's at which the wave itself returns. A tone returns nearly as well one of
/// its own periods off, so there are several. With each, the power of its mean wave against the mean
/// power: 1 is chance.
fn sharpened(sound: &[f32], grid: Grid) -> Vec<(f64, Returning)> {
    // the onsets are known to two frames over all the clicks, the wave to half a sample
    const STEPS: usize = 2 * FRAME + 1;
    const KEPT: usize = 4;
    let hop = HOP as f64;
    // a frame that is new begins some 8 ms before what is new in it
    let first = grid.place * hop + (FRAME / 2 - LEAD) as f64;
    let rough = grid.period * hop;
    // a period that is a little wrong fits the middle best
    let half = ((sound.len() as f64 - first) / rough / 2.0).floor();
    let first = |period: f64| (first + half * (rough - period)).rem_euclid(period);
    let length = LEAD + COMPARED;
    let mut mean = vec![0.0f32; length];
    let starts = |period: f64| {
        let first = first(period);
        let count = (sound.len() as f64 - length as f64 - first) / period;
        (0..count.max(0.0) as usize).map(move |k| (first + k as f64 * period) as usize)
    };
    let whole: f64 = starts(rough)
        .map(|from| energy(&sound[from..from + length]))
        .sum();
    let count = starts(rough).count();
    if count < FEWEST {
        return Vec::new();
    }
    let step_size = 2.0 / count as f64;
    let periods: Vec<f64> = (0..STEPS)
        .map(|step| rough + (step as f64 - (STEPS / 2) as f64) * step_size)
        .collect();
    let returns: Vec<f64> = periods
        .iter()
        .map(|period| {
            mean.fill(0.0);
            for from in starts(*period) {
                for (sum, sample) in mean.iter_mut().zip(&sound[from..from + length]) {
                    *sum += sample;
                }
            }
            energy(&mean) / whole.max(1e-12)
        })
        .collect();
    let mut tops: Vec<usize> = (1..STEPS - 1)
        .filter(|at| {
            returns[*at] > 1.5 && returns[*at] > returns[at - 1] && returns[*at] >= returns[at + 1]
        })
        .collect();
    tops.sort_by(|a, b| returns[*b].total_cmp(&returns[*a]));
    tops.truncate(KEPT);
    tops.into_iter()
        .map(|top| {
            let off = summit(returns[top - 1], returns[top], returns[top + 1]);
            let period = periods[top] + off * step_size;
            let first = first(period);
            (returns[top], Returning { period, first })
        })
        .collect()
}
