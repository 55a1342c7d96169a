//! A metronome's clicks in the sound: found by their returning, learned, and taken off.
//!
//! A click is the same sound again and again at one steady period; whatever a player does at the
//! same places is never twice the same to a fraction of a wave. So the mean of the sound at the
//! clicks' places is the click, and what is left without it is the player. It knows no notes and no
//! tempo: the period is looked for, the likeliest by the returning of onsets (autocorrelation of
//! the spectral flux: Dixon, Onset Detection Revisited, DAFx 2006), and held exactly by the
//! returning of the wave itself. Works on stretches of [`WINDOW`], each for itself.

use super::intake::RATE;
use microfft::real::rfft_128;
use std::collections::VecDeque;

/// Samples that are looked at together: 20 s.
const WINDOW: usize = 20 * RATE as usize;
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
/// Samples that are compared: 20 ms.
const COMPARED: usize = 160;
/// Samples of a click at most, and what of them lies before its onset: 100 and 6 ms.
const SHAPE: usize = 800;
const LEAD: usize = 48;
/// Samples over which a click's strength is judged: 4 ms.
const PIECE: usize = 32;
/// Fewest clicks that make a train.
const FEWEST: usize = 4;
/// How many standard errors the likeness of a click to the others lies over none, at least.
const SURE: f64 = 6.0;
/// Share of the places at which there is a click, at least.
const PRESENT: f64 = 0.65;
/// Trains in one window: beats, accents, subdivisions.
const TRAINS: usize = 3;
/// Taps of the interpolation between samples.
const TAPS: usize = 12;

/// Takes clicks off; the sound comes out a window later.
#[derive(Debug, Default)]
pub(super) struct Clicks {
    /// The newest window, as it came in.
    raw: VecDeque<f32>,
    /// How many samples at the end of it have not gone out.
    owed: usize,
    out: Vec<f32>,
}

impl Clicks {
    /// Takes samples.
    pub(super) fn push(&mut self, samples: &[f32]) {
        for piece in samples.chunks(WINDOW / 4) {
            self.raw.extend(piece);
            self.owed += piece.len();
            if self.owed >= WINDOW {
                self.clean();
            }
        }
    }

    /// The end of the sound.
    pub(super) fn finish(&mut self) {
        self.clean();
        self.raw.clear();
    }

    /// What is ready.
    pub(super) fn take(&mut self) -> Vec<f32> {
        std::mem::take(&mut self.out)
    }

    fn clean(&mut self) {
        let surplus = self.raw.len() - self.raw.len().min(WINDOW.max(self.owed));
        self.raw.drain(..surplus);
        let mut sound: Vec<f32> = self.raw.iter().copied().collect();
        for _ in 0..TRAINS {
            match find(&sound) {
                Some(train) => train.take_off(&mut sound),
                None => break,
            }
        }
        self.out.extend(&sound[sound.len() - self.owed..]);
        self.owed = 0;
    }
}

/// Clicks at a steady period.
#[derive(Debug, Clone)]
struct Train {
    /// Samples from click to click.
    period: f64,
    /// Where the first click's shape begins; may lie before the sound.
    first: f64,
    shape: Vec<f32>,
}

impl Train {
    fn places(&self, samples: usize) -> impl Iterator<Item = f64> + use<> {
        let (period, first) = (self.period, self.first);
        let count = (samples as f64 - first) / period;
        (0..count.max(0.0).ceil() as usize).map(move |k| first + period * k as f64)
    }

    /// Takes the clicks off where they are; a click that is not there is left.
    fn take_off(&self, sound: &mut [f32]) {
        for place in self.places(sound.len()) {
            let start = place.floor();
            // the shape, moved on by the fraction
            let moved = between(&self.shape, start - place, self.shape.len() + TAPS);
            let start = start as i64;
            let inside = |at: usize| usize::try_from(start + at as i64).ok();
            let (mut both, mut own) = (0.0f64, 0.0f64);
            for (at, value) in moved.iter().enumerate() {
                if let Some(sample) = inside(at).and_then(|at| sound.get(at)) {
                    both += f64::from(value * sample);
                    own += f64::from(value * value);
                }
            }
            let gain = both / own.max(1e-12);
            if gain < 0.4 {
                continue;
            }
            // the chanter under it makes the gain unsure by more than clicks differ
            let gain = gain.clamp(0.8, 1.25) as f32;
            for (at, value) in moved.iter().enumerate() {
                if let Some(sample) = inside(at).and_then(|at| sound.get_mut(at)) {
                    *sample -= gain * value;
                }
            }
        }
    }
}

/// The sound from a place between two samples on: a windowed sinc (Hann). Nothing lies outside.
fn between(samples: &[f32], place: f64, length: usize) -> Vec<f32> {
    let whole = place.floor();
    let weights: [f32; TAPS] = std::array::from_fn(|tap| {
        let off = tap as f64 - (TAPS / 2 - 1) as f64 - (place - whole);
        if off.abs() < 1e-9 {
            return 1.0;
        }
        let turn = std::f64::consts::PI * off;
        (turn.sin() / turn * (0.5 + 0.5 * (2.0 * turn / TAPS as f64).cos())) as f32
    });
    let first = whole as i64 - (TAPS as i64 / 2 - 1);
    let sum = |around: &[f32]| around.iter().zip(&weights).map(|(a, b)| a * b).sum();
    if let Some(inside) = usize::try_from(first)
        .ok()
        .and_then(|first| samples.get(first..first + length + TAPS - 1))
    {
        return inside.windows(TAPS).map(sum).collect();
    }
    (0..length as i64)
        .map(|at| {
            let around: [f32; TAPS] = std::array::from_fn(|tap| {
                usize::try_from(first + at + tap as i64)
                    .ok()
                    .and_then(|place| samples.get(place).copied())
                    .unwrap_or(0.0)
            });
            sum(&around)
        })
        .collect()
}

/// How much of the spectrum is new at each hop.
fn flux(sound: &[f32]) -> Vec<f32> {
    let window: Vec<f32> = (0..FRAME)
        .map(|i| 0.5 - 0.5 * (std::f32::consts::TAU * i as f32 / FRAME as f32).cos())
        .collect();
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

fn energy(samples: &[f32]) -> f64 {
    samples.iter().map(|s| f64::from(s * s)).sum()
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

/// The grids that the flux is strongest on.
fn grids(flux: &[f32]) -> Vec<Grid> {
    let mut longest: Vec<usize> = Vec::new();
    for period in periods(flux) {
        for part in 1..=4 {
            let part = period / part;
            if part >= SHORTEST && !longest.iter().any(|other| other.abs_diff(part) < 2) {
                longest.push(part);
            }
        }
    }
    // one loud onset is no sign of many
    let mut sorted = flux.to_vec();
    let strong = *sorted
        .select_nth_unstable_by(flux.len() * 19 / 20, f32::total_cmp)
        .1;
    let level: Vec<f32> = flux.iter().map(|value| value.min(2.0 * strong)).collect();
    let mut all: Vec<Grid> = Vec::new();
    for period in longest {
        let mut best: Vec<Grid> = Vec::new();
        for step in -16..=16 {
            let exact = period as f64 + f64::from(step) / 16.0;
            best.extend(folded(&level, exact));
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
        all.extend(kept);
    }
    all.sort_by(|a, b| b.over.total_cmp(&a.over));
    all.truncate(GRIDS);
    all
}

/// The strongest places of the flux folded by a period.
fn folded(flux: &[f32], period: f64) -> Vec<Grid> {
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
        .take(2)
        .map(|at| Grid {
            period,
            place: at as f64,
            over: (sums[at] - mean) / spread.max(1e-9) * (rounds as f32).sqrt(),
        })
        .collect()
}

/// The train of clicks in a sound, where there is one: of those that are sure, the one that takes
/// most away.
fn find(sound: &[f32]) -> Option<Train> {
    if sound.len() < FEWEST * SHORTEST * HOP {
        return None;
    }
    let flux = flux(sound);
    let mut returning: Vec<Returning> = Vec::new();
    for grid in grids(&flux) {
        for found in sharpened(sound, grid) {
            let same = |other: &Returning| {
                (other.period - found.period).abs() < 0.5
                    && (other.first - found.first).abs() < LEAD as f64
            };
            if !returning.iter().any(same) {
                returning.push(found);
            }
        }
    }
    returning.sort_by(|a, b| b.share.total_cmp(&a.share));
    returning.truncate(LEARNT);
    let mut best: Option<(f64, Train)> = None;
    for found in returning {
        if let Some((taken, train)) = learn(sound, &found)
            && best.as_ref().is_none_or(|(most, _)| taken > *most)
        {
            best = Some((taken, train));
        }
    }
    let (mut taken, mut train) = best?;
    // a tone returns nearly as well one of its own periods off: the neighbours, as long as one takes
    // more
    while let Some(better) = slipped(sound, &train)
        .into_iter()
        .filter_map(|found| learn(sound, &found))
        .filter(|(other, _)| *other > taken)
        .max_by(|a, b| a.0.total_cmp(&b.0))
    {
        (taken, train) = better;
    }
    Some(train)
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
    [-2.0, -1.0, 1.0, 2.0]
        .into_iter()
        .map(|waves| {
            let period = train.period + waves * wave;
            Returning {
                period,
                first: (train.first + middle * (train.period - period)).rem_euclid(period),
                share: 0.0,
            }
        })
        .collect()
}

/// A wave that returns.
#[derive(Debug, Clone, Copy)]
struct Returning {
    /// Samples.
    period: f64,
    first: f64,
    /// The power of the mean wave against the mean power, over what chance makes of it.
    share: f64,
}

/// The periods near a grid's at which the wave itself returns. A tone returns nearly as well one of
/// its own periods off, so there are several.
fn sharpened(sound: &[f32], grid: Grid) -> Vec<Returning> {
    // steps of an eighth of a sample drift by one over eight clicks
    const STEPS: usize = 97;
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
    let periods: Vec<f64> = (0..STEPS)
        .map(|step| rough + (step as f64 - (STEPS / 2) as f64) / 8.0)
        .collect();
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
        .map(|top| Returning {
            period: periods[top],
            first: first(periods[top]),
            share: returns[top],
        })
        .collect()
}

/// The sound at each click's place, its shape's length each.
fn cut(sound: &[f32], train: &Train, length: usize) -> Vec<(f64, Vec<f32>)> {
    train
        .places(sound.len())
        .filter(|place| *place >= 0.0 && place + (length + TAPS) as f64 <= sound.len() as f64)
        .map(|place| (place, between(sound, place, length)))
        .collect()
}

/// Mean of the cuts, each weighed by how little else sounds in it.
fn mean(cuts: &[(f64, Vec<f32>)], weights: &[f64], length: usize) -> Vec<f32> {
    let whole: f64 = weights.iter().sum::<f64>().max(1e-30);
    let mut mean = vec![0.0f32; length];
    for ((_, cut), weight) in cuts.iter().zip(weights) {
        let weight = (weight / whole) as f32;
        for (sum, sample) in mean.iter_mut().zip(cut) {
            *sum += weight * sample;
        }
    }
    mean
}

/// Learns the click that returns; how much it takes away, and the train.
fn learn(sound: &[f32], found: &Returning) -> Option<(f64, Train)> {
    let (period, start) = (found.period, found.first);
    let shortest = (period * 0.8) as usize;
    let length = SHAPE.min(shortest / PIECE * PIECE);
    let mut train = Train {
        period,
        first: start.rem_euclid(period),
        shape: Vec::new(),
    };
    let compared = (LEAD + COMPARED).min(length);
    // the mean's wave draws the places together
    for _ in 0..2 {
        let cuts = cut(sound, &train, compared);
        let sum = mean(&cuts, &vec![1.0; cuts.len()], compared);
        let share = 1.0 / cuts.len().max(1) as f32;
        let mut places: Vec<(f64, f64, f64)> = Vec::new();
        for (at, cut) in &cuts {
            let others: Vec<f32> = sum
                .iter()
                .zip(cut)
                .map(|(sum, own)| sum - share * own)
                .collect();
            let (off, likeness) = drawn(sound, *at, &others);
            if likeness > 0.15 {
                let index = ((at - train.first) / train.period).round();
                places.push((index, at + off, likeness));
            }
        }
        let (first, period) = line(&places)?;
        if (period - train.period).abs() > 4.0 {
            return None;
        }
        train.first = first.rem_euclid(period);
        train.period = period;
    }
    let cuts = cut(sound, &train, length);
    if cuts.len() < FEWEST {
        return None;
    }
    // weights: what is no click in a cut is noise to the mean
    let span = 0..compared;
    let mut weights: Vec<f64> = cuts
        .iter()
        .map(|(_, cut)| 1.0 / energy(&cut[span.clone()]).max(1e-9))
        .collect();
    let mut gains = vec![0.0; cuts.len()];
    for _ in 0..3 {
        let all = mean(&cuts, &weights, length);
        let whole: f64 = weights.iter().sum();
        for (at, (_, cut)) in cuts.iter().enumerate() {
            // without itself
            let share = weights[at] / whole;
            let others: Vec<f32> = all
                .iter()
                .zip(cut)
                .map(|(all, own)| {
                    ((f64::from(*all) - share * f64::from(*own)) / (1.0 - share).max(1e-6)) as f32
                })
                .collect();
            let both: f64 = span.clone().map(|i| f64::from(others[i] * cut[i])).sum();
            gains[at] = both / energy(&others[span.clone()]).max(1e-12);
        }
        for (at, (_, cut)) in cuts.iter().enumerate() {
            let rest: f64 = span
                .clone()
                .map(|i| f64::from(cut[i] - all[i]).powi(2))
                .sum();
            let here = gains[at] > 0.3 && gains[at] < 3.0;
            weights[at] = if here {
                1.0 / (rest + 0.02 * energy(&all[span.clone()])).max(1e-9)
            } else {
                1e-12
            };
        }
    }
    let present = gains.iter().filter(|gain| **gain > 0.3).count();
    let count = gains.len() as f64;
    let average = gains.iter().map(|gain| gain.clamp(-1.0, 2.0)).sum::<f64>() / count;
    let spread = (gains
        .iter()
        .map(|gain| (gain.clamp(-1.0, 2.0) - average).powi(2))
        .sum::<f64>()
        / count)
        .sqrt()
        .max(0.05);
    let sure = average / spread * count.sqrt();
    if !(sure >= SURE && average >= PRESENT && present >= FEWEST) {
        return None;
    }
    let all = mean(&cuts, &weights, length);
    let shape = shrunk(&all, &cuts, &weights)?;
    adds_to_what_sounds(sound, &cuts, &all, &weights).then_some(())?;
    train.shape = shape;
    // a click may lie before the first whole one
    train.first -= train.period;
    let taken = average * count * energy(&train.shape);
    Some((taken, train))
}

/// Where the parabola through three values a step apart has its top, steps from the middle one.
fn summit(before: f64, here: f64, after: f64) -> f64 {
    (0.5 * (before - after) / (before - 2.0 * here + after).min(-1e-9)).clamp(-0.5, 0.5)
}

/// Where within a millisecond the wave around a place is most like a shape, and how much.
fn drawn(sound: &[f32], at: f64, shape: &[f32]) -> (f64, f64) {
    const AROUND: i64 = 6;
    let own = energy(shape).sqrt();
    let start = at.round() as i64;
    let likeness: Vec<f64> = (-AROUND..=AROUND)
        .map(|lag| {
            let Some(piece) = usize::try_from(start + lag)
                .ok()
                .and_then(|from| sound.get(from..from + shape.len()))
            else {
                return 0.0;
            };
            let both: f64 = piece.iter().zip(shape).map(|(a, b)| f64::from(a * b)).sum();
            both / (own * energy(piece).sqrt()).max(1e-12)
        })
        .collect();
    let top = (0..likeness.len())
        .max_by(|a, b| likeness[*a].total_cmp(&likeness[*b]))
        .unwrap_or(0);
    let mut off = (top as i64 - AROUND) as f64 + start as f64 - at;
    if top > 0 && top + 1 < likeness.len() {
        off += summit(likeness[top - 1], likeness[top], likeness[top + 1]);
    }
    (off, likeness[top])
}

/// The line through places by their index: (place of index 0, period). Weighed by likeness, twice,
/// without what lies off it.
fn line(places: &[(f64, f64, f64)]) -> Option<(f64, f64)> {
    let mut kept: Vec<(f64, f64, f64)> = places.to_vec();
    let mut fit = None;
    for limit in [3.0, 1.0, f64::INFINITY] {
        if kept.len() < 2 {
            return None;
        }
        let weight: f64 = kept.iter().map(|p| p.2.powi(2)).sum();
        let centre = kept.iter().map(|p| p.2.powi(2) * p.0).sum::<f64>() / weight;
        let middle = kept.iter().map(|p| p.2.powi(2) * p.1).sum::<f64>() / weight;
        let across: f64 = kept
            .iter()
            .map(|p| p.2.powi(2) * (p.0 - centre) * (p.1 - middle))
            .sum();
        let along: f64 = kept
            .iter()
            .map(|p| p.2.powi(2) * (p.0 - centre).powi(2))
            .sum();
        if along <= 0.0 {
            return None;
        }
        let period = across / along;
        let first = middle - period * centre;
        kept.retain(|p| (p.1 - first - period * p.0).abs() < limit);
        fit = Some((first, period));
    }
    fit
}

/// The mean without what chance left in it, ended where nothing sure is left; none where it does
/// not die away, as no click goes on.
fn shrunk(mean: &[f32], cuts: &[(f64, Vec<f32>)], weights: &[f64]) -> Option<Vec<f32>> {
    let whole: f64 = weights.iter().sum();
    let mut shape = mean.to_vec();
    let mut strengths = Vec::new();
    for (piece, values) in shape.chunks_mut(PIECE).enumerate() {
        let range = piece * PIECE..piece * PIECE + values.len();
        // the variance of the mean
        let chance: f64 = cuts
            .iter()
            .zip(weights)
            .map(|((_, cut), weight)| {
                let rest: f64 = range
                    .clone()
                    .map(|i| f64::from(cut[i] - mean[i]).powi(2))
                    .sum();
                (weight / whole).powi(2) * rest
            })
            .sum();
        let own = energy(values);
        let gain = (1.0 - chance / own.max(1e-12)).max(0.0);
        strengths.push(own * gain);
        for value in values.iter_mut() {
            *value *= gain as f32;
        }
    }
    let most = strengths.iter().copied().fold(0.0, f64::max);
    let last = strengths.len().saturating_sub(3);
    let end: f64 = strengths[last..].iter().copied().fold(0.0, f64::max);
    if most <= 0.0 || end > 0.1 * most {
        return None;
    }
    Some(shape)
}

/// A click sounds beside the chanter; a gracenote that returns exactly, as a machine plays it,
/// stands in its place. True where what is left without the shape is as strong as what is around.
fn adds_to_what_sounds(
    sound: &[f32],
    cuts: &[(f64, Vec<f32>)],
    mean: &[f32],
    weights: &[f64],
) -> bool {
    let most = weights.iter().copied().fold(0.0, f64::max);
    let (mut left, mut around) = (0.0, 0.0);
    // where the click is: the 16 ms with most of it
    let span = 128.min(mean.len());
    let from = (0..=mean.len() - span)
        .step_by(PIECE)
        .max_by(|a, b| energy(&mean[*a..a + span]).total_cmp(&energy(&mean[*b..b + span])))
        .unwrap_or(0);
    for ((place, cut), weight) in cuts.iter().zip(weights) {
        if *weight < 1e-6 * most {
            continue;
        }
        let at = *place as usize + from;
        let before = at
            .checked_sub(2 * span)
            .and_then(|b| sound.get(b..b + span));
        let after = sound.get(at + 3 * span..at + 4 * span);
        let (Some(before), Some(after)) = (before, after) else {
            continue;
        };
        left += (from..from + span)
            .map(|i| f64::from(cut[i] - mean[i]).powi(2))
            .sum::<f64>();
        around += energy(before).min(energy(after));
    }
    left >= 0.25 * around
}

#[cfg(test)]
mod tests {
    use super::*;
    use fastrand::Rng;
    use std::f32::consts::TAU;

    /// A chanter by formula: notes of chance and of any length and phase, five harmonics, power 1.
    fn chanter(seed: u64, seconds: usize) -> Vec<f32> {
        let mut rng = Rng::with_seed(seed);
        let mut sound = Vec::new();
        let mut turns = 0.0f32;
        while sound.len() < seconds * RATE as usize {
            let hertz = [207.0, 236.0, 265.5, 295.0, 314.7, 354.0, 413.0, 472.0][rng.usize(..8)];
            for _ in 0..rng.usize(300..6000) {
                turns = (turns + hertz / RATE as f32).fract();
                let wave: f32 = (1..6u8).map(|k| (TAU * turns * f32::from(k)).sin()).sum();
                sound.push(wave * (0.4f32).sqrt());
            }
        }
        sound.truncate(seconds * RATE as usize);
        sound
    }

    /// A tone that dies away, added every `period` samples from 1234.5 on.
    fn add_clicks(sound: &mut [f32], hertz: f32, period: f64, gain: f32) {
        let mut place = 1234.5;
        while place < sound.len() as f64 {
            let from = place.ceil() as usize;
            for (at, sample) in sound.iter_mut().enumerate().skip(from).take(300) {
                let time = ((at as f64 - place) / f64::from(RATE)) as f32;
                *sample += gain * (-time / 0.012).exp() * (TAU * hertz * time).sin();
            }
            place += period;
        }
    }

    fn cleaned(sound: &[f32], piece: usize) -> Vec<f32> {
        let mut clicks = Clicks::default();
        let mut out = Vec::new();
        for piece in sound.chunks(piece) {
            clicks.push(piece);
            out.extend(clicks.take());
        }
        clicks.finish();
        out.extend(clicks.take());
        out
    }

    /// What is left of clicks in 20 s, against the chanter's power, as if it all lay in the 30 ms
    /// after each.
    fn left(clean: &[f32], without: &[f32], period: f64) -> f64 {
        let differences = without
            .iter()
            .zip(clean)
            .map(|(a, b)| f64::from(a - b).powi(2));
        differences.sum::<f64>() / (clean.len() as f64 / period * 240.0)
    }

    /// Without it beeps on the beat would be heard as crossing noises and long gracenotes: of
    /// clicks as loud as the chanter and 8 dB louder, at tempi from 40 to 220, less is left than the
    /// hearing takes for noise.
    #[test]
    fn clicks_are_taken_off() {
        let clean = chanter(1, 20);
        for (period, gain) in [(12_000.3, 1.4), (6123.7, 3.5), (4000.0, 2.0), (2181.8, 1.4)] {
            let mut with = clean.clone();
            add_clicks(&mut with, 900.0, period, gain);
            let left = left(&clean, &cleaned(&with, 4096), period);
            assert!(left < 0.2, "{left:.2} left at {period}");
        }
    }

    /// Without it an accent of another pitch would stay in: both are trains of their own.
    #[test]
    fn accents_are_taken_off_too() {
        let clean = chanter(2, 20);
        let mut with = clean.clone();
        add_clicks(&mut with, 900.0, 5000.4, 2.5);
        add_clicks(&mut with, 1430.0, 4.0 * 5000.4, 2.5);
        let left = left(&clean, &cleaned(&with, 4096), 5000.4);
        assert!(left < 0.2, "{left:.2} left");
    }

    /// Without it the player's own notes would be taken for clicks: where there are none, not one
    /// sample is changed, and none is lost, however the sound comes in.
    #[test]
    fn without_clicks_nothing_is_touched() {
        for seed in 3..9 {
            let clean = chanter(seed, 43);
            assert!(cleaned(&clean, 1000 + seed as usize) == clean, "{seed}");
        }
        for short in [0, 1, 900, 30_000] {
            let clean = &chanter(9, 20)[..short];
            assert_eq!(cleaned(clean, 512), clean);
        }
        let silence = vec![0.0; 170_000];
        assert!(cleaned(&silence, 8192) == silence);
    }

    /// Without it a reference played by a machine, whose gracenotes return to the sample, would lose
    /// them: low A held at 236 Hz, with a high G gracenote on every beat at 60.
    #[test]
    fn gracenotes_that_return_exactly_are_kept() {
        let mut sound = Vec::new();
        for at in 0..20 * RATE as usize {
            let (beat, time) = (at % RATE as usize, at as f32 / RATE as f32);
            let hertz = if beat < 320 { 413.0 } else { 236.0 };
            let wave: f32 = (1..6u8)
                .map(|k| (TAU * (hertz * time * f32::from(k)).fract()).sin())
                .sum();
            sound.push(wave * (0.4f32).sqrt());
        }
        assert!(cleaned(&sound, 4096) == sound);
    }
}
