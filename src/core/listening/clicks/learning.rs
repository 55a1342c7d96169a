//! What a click is like, where it returns: its exact period and its shape, or that it is none.
//!
//! It knows the places and nothing of how they were found.

use super::finding::Returning;
use super::{COMPARED, FEWEST, LEAD, TAPS, Train, between, energy};
use std::ops::Range;

/// Samples of a click at most: 100 ms.
const SHAPE: usize = 800;
/// Samples over which a click's strength is judged: 4 ms.
const PIECE: usize = 32;
/// How many standard errors the likeness of a click to the others lies over none, at least.
const SURE: f64 = 6.0;
/// Share of the places at which there is a click, at least.
pub(super) const PRESENT: f64 = 0.65;

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

/// Learns the click that returns at exact places; how much it takes away, and the train.
pub(super) fn learn(sound: &[f32], found: &Returning) -> Option<(f64, Train)> {
    let mut train = Train::at(found);
    let length = SHAPE.min((found.period * 0.8) as usize / PIECE * PIECE);
    let compared = (LEAD + COMPARED).min(length);
    let mut cuts = cut(sound, &train, length);
    if cuts.len() < FEWEST {
        return None;
    }
    // weights: what is no click in a cut is noise to the mean
    let span = 0..compared;
    let mut weights: Vec<f64> = cuts
        .iter()
        .map(|(_, cut)| 1.0 / energy(&cut[span.clone()]).max(1e-9))
        .collect();
    train.accent = accent(&cuts, &weights, compared);
    if train.accent.is_some() {
        // another sound: a train of its own, learned when this one is off
        let mut place = 0..;
        let plain = |_: &_| place.next().is_some_and(|place| !train.leaves_out(place));
        let (kept, by) = cuts.into_iter().zip(weights).filter(plain).unzip();
        (cuts, weights) = (kept, by);
    }
    if cuts.len() < FEWEST {
        return None;
    }
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
    train.accent = train.accent.map(|(bar, which)| (bar, (which + 1) % bar));
    let taken = average * count * energy(&train.shape);
    Some((taken, train))
}

/// Longest bar in which one beat sounds otherwise.
const LONGEST_BAR: usize = 6;
/// How much more two means explain than one, against what chance makes of it, at least.
const OTHERWISE: f64 = 4.0;

/// Whether one click of each bar is another sound than the rest: how many make a bar, and which it
/// is. The parting that leaves least unexplained, where it leaves less than chance does.
fn accent(cuts: &[(f64, Vec<f32>)], weights: &[f64], length: usize) -> Option<(usize, usize)> {
    let left = |of: &dyn Fn(usize) -> bool| -> f64 {
        let weights: Vec<f64> = (0..cuts.len())
            .map(|at| if of(at) { weights[at] } else { 0.0 })
            .collect();
        let mean = mean(cuts, &weights, length);
        cuts.iter()
            .zip(&weights)
            .map(|((_, cut), weight)| weight * distance(&cut[..length], &mean))
            .sum()
    };
    let one = left(&|_| true);
    let mut best = None;
    let mut least = f64::INFINITY;
    for bar in 2..=LONGEST_BAR.min(cuts.len() / FEWEST) {
        for which in 0..bar {
            let two = left(&|at| at % bar == which) + left(&|at| at % bar != which);
            if two < least {
                least = two;
                best = Some((bar, which));
            }
        }
    }
    let chance = least / (cuts.len() as f64 - 2.0).max(1.0);
    let (bar, which) = best.filter(|_| one - least > OTHERWISE * chance)?;
    // clicks too, and not the silence between those of a longer period
    let accents: Vec<f64> = (0..cuts.len())
        .map(|at| if at % bar == which { weights[at] } else { 0.0 })
        .collect();
    let accented = mean(cuts, &accents, length);
    let by_chance = self::chance(cuts, &accents, &accented, 0..length);
    (energy(&accented) > OTHERWISE * by_chance).then_some((bar, which))
}

/// The square sum of the differences.
fn distance(one: &[f32], other: &[f32]) -> f64 {
    let both = one.iter().zip(other);
    both.map(|(a, b)| f64::from(a - b).powi(2)).sum()
}

/// The power that chance leaves in a part of a mean: its variance, summed.
fn chance(cuts: &[(f64, Vec<f32>)], weights: &[f64], mean: &[f32], over: Range<usize>) -> f64 {
    let whole: f64 = weights.iter().sum::<f64>().max(1e-30);
    let single: f64 = weights.iter().map(|weight| (weight / whole).powi(2)).sum();
    let sum: f64 = cuts
        .iter()
        .zip(weights)
        .map(|((_, cut), weight)| {
            let rest: f64 = over
                .clone()
                .map(|at| f64::from(cut[at] - mean[at]).powi(2))
                .sum();
            (weight / whole).powi(2) * rest
        })
        .sum();
    // the mean lies nearer to its own than to others
    sum / (1.0 - single).max(0.1)
}

/// The mean without what chance left in it, ended where nothing sure is left; none where it does
/// not die away, as no click goes on.
fn shrunk(mean: &[f32], cuts: &[(f64, Vec<f32>)], weights: &[f64]) -> Option<Vec<f32>> {
    let mut shape = mean.to_vec();
    let mut strengths = Vec::new();
    for (piece, values) in shape.chunks_mut(PIECE).enumerate() {
        let range = piece * PIECE..piece * PIECE + values.len();
        let own = energy(values);
        let chance = chance(cuts, weights, mean, range);
        // what chance alone could have left goes whole
        let gain = if own < 2.0 * chance {
            0.0
        } else {
            1.0 - chance / own
        };
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
