//! What a click is like, where it returns: its exact period and its shape, or that it is none.
//!
//! It knows the places and nothing of how they were found.

use super::finding::Returning;
use super::{COMPARED, FEWEST, LEAD, TAPS, Train, between, energy, summit};

/// Samples of a click at most: 100 ms.
const SHAPE: usize = 800;
/// Samples over which a click's strength is judged: 4 ms.
const PIECE: usize = 32;
/// How many standard errors the likeness of a click to the others lies over none, at least.
const SURE: f64 = 6.0;
/// Share of the places at which there is a click, at least.
const PRESENT: f64 = 0.65;

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
pub(super) fn learn(sound: &[f32], found: &Returning) -> Option<(f64, Train)> {
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
