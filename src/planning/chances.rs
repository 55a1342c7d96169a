//! The chance that the next repetition is clean, with its interval.
//!
//! Question: of `n` repetitions `k` were clean; what is known of the next one? Conventions: a
//! uniform prior, so the posterior is Beta(1 + k, 1 + n − k) (Bayes 1763; Gelman et al., Bayesian
//! Data Analysis, 3rd ed., section 2.1); the interval is equal-tailed. The measure is not a
//! promise: it takes repetitions for independent and the player for unchanged.

use serde::Serialize;
use statrs::distribution::{Beta, ContinuousCDF};

/// A chance with its interval, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Chance {
    /// Repetitions that were clean.
    pub clean: u32,
    /// Repetitions in all.
    pub of: u32,
    /// The posterior mean.
    pub mean: f64,
    /// The chance lies above this with 97.5 %.
    pub low: f64,
    /// The chance lies below this with 97.5 %.
    pub high: f64,
}

fn posterior(clean: u32, of: u32) -> Option<Beta> {
    let clean = clean.min(of);
    Beta::new(1.0 + f64::from(clean), 1.0 + f64::from(of - clean)).ok()
}

impl Chance {
    /// What `clean` of `of` repetitions say; more clean ones than there are count as all.
    pub fn of(clean: u32, of: u32) -> Self {
        let clean = clean.min(of);
        let quantile = |share: f64, edge: f64| {
            posterior(clean, of).map_or(edge, |beta| beta.inverse_cdf(share))
        };
        Self {
            clean,
            of,
            mean: f64::from(1 + clean) / f64::from(2 + of),
            low: quantile(0.025, 0.0),
            high: quantile(0.975, 1.0),
        }
    }

    /// How sure one is that the chance is above a share, 0 to 1.
    pub fn sure_above(&self, share: f64) -> f64 {
        posterior(self.clean, self.of).map_or(0.0, |beta| beta.sf(share.clamp(0.0, 1.0)))
    }

    /// The 95 % interval as text: `54 to 100 %`. The mean is left out, because after only a few marks
    /// it says hardly anything.
    pub fn words(&self) -> String {
        format!("{:.0} to {:.0} %", self.low * 100.0, self.high * 100.0)
    }
}

/// How many repetitions it takes on average until so many clean ones come in a row, each clean with
/// the same chance: (1 − pⁿ) / ((1 − p) pⁿ) (Feller, An Introduction to Probability Theory and Its
/// Applications, vol. 1, 3rd ed., XIII.7, equation 7.7).
pub fn repetitions_needed(chance: f64, in_a_row: u32) -> f64 {
    let chance = chance.clamp(0.05, 1.0);
    let row = i32::try_from(in_a_row.clamp(1, 50)).unwrap_or(50);
    if chance > 0.999 {
        return f64::from(row);
    }
    let power = chance.powi(row);
    (1.0 - power) / ((1.0 - chance) * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values of scipy.stats.beta 1.17.1: mean, ppf(0.025), ppf(0.975), sf(0.8).
    #[test]
    fn chances_are_those_of_scipy() {
        let rows: [(u32, u32, f64, f64, f64, f64); 5] = [
            (0, 0, 0.5, 0.025, 0.975, 0.2),
            (
                5,
                5,
                0.857_142_857_1,
                0.540_741_873_6,
                0.995_789_255_5,
                0.737_856,
            ),
            (
                3,
                5,
                0.571_428_571_4,
                0.222_778_095_5,
                0.881_882_751_2,
                0.098_88,
            ),
            (
                9,
                10,
                0.833_333_333_3,
                0.587_220_083_0,
                0.977_168_801_7,
                0.677_877_452_8,
            ),
            (
                40,
                50,
                0.788_461_538_5,
                0.668_842_648_7,
                0.887_109_400_3,
                0.444_404_382_6,
            ),
        ];
        for (clean, of, mean, low, high, above) in rows {
            let chance = Chance::of(clean, of);
            for (found, expected) in [
                (chance.mean, mean),
                (chance.low, low),
                (chance.high, high),
                (chance.sure_above(0.8), above),
            ] {
                assert!(
                    (found - expected).abs() < 1e-6,
                    "{clean}/{of}: {found} {expected}"
                );
            }
        }
    }

    /// Feller's own example: a fair coin needs 2 tosses for one head, 62 for five in a row.
    #[test]
    fn a_fair_coin_needs_62_tosses_for_five_heads_in_a_row() {
        assert!((repetitions_needed(0.5, 1) - 2.0).abs() < 1e-9);
        assert!((repetitions_needed(0.5, 5) - 62.0).abs() < 1e-9);
        assert!((repetitions_needed(1.0, 5) - 5.0).abs() < 1e-9);
        // the same as the sum of 1/p, 1/p² and so on up to the fifth power
        let by_sum = (1..=5).map(|power| 0.999_f64.powi(-power)).sum::<f64>();
        assert!((repetitions_needed(0.999, 5) - by_sum).abs() < 1e-9);
    }
}
