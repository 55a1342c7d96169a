//! The search for the smallest audible fault, from answers of "clean" and "fault".
//!
//! The question is from which size on this listener tells a fault from a clean movement. By
//! convention the threshold is the size at which a listener without a bias is right three times in
//! four (d' of 1.35; Green & Swets, Signal Detection Theory and Psychophysics, 1966, chapter 2).
//!
//! The method is QUEST (Watson & Pelli, Perception & Psychophysics 33, 1983, 113–120). After each
//! answer the probabilities of all thresholds are updated, and the next fault has the size of the
//! likeliest threshold. We take the mean of the distribution instead of its peak, because it errs
//! less after few answers (King-Smith et al., Vision Research 34, 1994, 885–912). Each question has
//! one interval, and half of the intervals are clean. Two intervals to choose between would remove
//! the listener's bias, but only half as many questions would fit into a minute (Kaernbach, JASA
//! 88, 1990, 2645–2655). Instead the bias is estimated: the criterion above which the listener says
//! "fault" is a second unknown, and the answers to clean movements reveal it.
//!
//! In simulation the 18 answers of a minute find the threshold of a listener without bias to within
//! a factor of 1.7 (one standard deviation), and 90 answers to within 1.3. The mean of the
//! reversals of an up-down rule errs by 2.6 after 18 answers. The method assumes that the listener
//! does not change within the minute.

use crate::practice::Trial;
use crate::units::Milliseconds;
use statrs::distribution::{ContinuousCDF, Normal};

/// d' at the threshold, where Φ(d'/2) is three in four.
const AT_THRESHOLD: f64 = 1.349;
/// The share of answers that are slips of the finger (Watson & Pelli's δ). Chosen, a little above
/// theirs.
const SLIPS: f64 = 0.04;
/// The largest d'. Below it d' is proportional to the size of the fault.
const PLAIN: f64 = 5.0;
/// The step of the grid in octaves of the size.
const STEP: f64 = 0.125;
/// The mean and standard deviation of the criterion before the first answer, in standard deviations
/// of the noise. The neutral criterion at threshold is 0.67; the spread is chosen wide.
const CRITERIA: (f64, f64) = (0.7, 0.7);
/// A wider interval, as a ratio of its ends, means that the answers tell nothing. A listener who
/// always gives the same answer gets 20 or more; one in thirty minutes of real listening gets 16
/// (simulated).
const TELLS_NOTHING: f64 = 16.0;
/// The least number of answers for an estimate. Chosen: with fewer, the range before the first
/// answer decides the result.
pub const ENOUGH: usize = 10;

/// An estimate of the threshold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The mean of the posterior distribution, taken over the logarithm of the threshold.
    pub threshold: Milliseconds,
    /// The threshold is above this with a probability of 0.9.
    pub low: Milliseconds,
    /// The threshold is below this with a probability of 0.9.
    pub high: Milliseconds,
}

impl Estimate {
    /// False where the answers did not depend on what was played.
    pub fn tells(&self) -> bool {
        self.high.0 <= self.low.0 * TELLS_NOTHING
    }
}

/// The state of a search.
#[derive(Debug, Clone, PartialEq)]
pub struct Quest {
    /// The thresholds of the grid in octaves above 1 ms, rising.
    thresholds: Vec<f64>,
    /// The criteria of the grid, in standard deviations of the noise.
    criteria: Vec<f64>,
    /// The logarithms of the probabilities, not normalised: one row for each threshold.
    chances: Vec<f64>,
    smallest_ms: f64,
    widest_ms: f64,
    /// True once a fault was played.
    begun: bool,
}

fn normal(at: f64) -> f64 {
    Normal::standard().cdf(at)
}

impl Quest {
    /// A search before its first answer. All thresholds from `smallest` to twice `widest` are
    /// equally likely. Both must be above 0, and `smallest` not above `widest`.
    pub fn new(smallest: Milliseconds, widest: Milliseconds) -> Self {
        let smallest_ms = smallest.0.max(0.1);
        let widest_ms = widest.0.max(smallest_ms);
        let (from, to) = (smallest_ms.log2(), widest_ms.log2() + 1.0);
        let steps = ((to - from) / STEP).ceil() as u32;
        let thresholds: Vec<f64> = (0..=steps)
            .map(|step| from + f64::from(step) * STEP)
            .collect();
        let criteria: Vec<f64> = (-8..=12).map(|step| f64::from(step) * 0.25).collect();
        let (mean, spread) = CRITERIA;
        let prior = criteria
            .iter()
            .map(|criterion| -0.5 * ((criterion - mean) / spread).powi(2));
        let chances = thresholds.iter().flat_map(|_| prior.clone()).collect();
        Self {
            thresholds,
            criteria,
            chances,
            smallest_ms,
            widest_ms,
            begun: false,
        }
    }

    /// The size of the next fault. The first is half the widest: most listeners hear it clearly and
    /// learn what to listen for.
    pub fn size(&self) -> Milliseconds {
        let size = if self.begun {
            self.estimate().threshold.0
        } else {
            self.widest_ms / 2.0
        };
        Milliseconds(size.clamp(self.smallest_ms, self.widest_ms))
    }

    /// Updates the probabilities by an answer.
    pub fn take(&mut self, trial: Trial) {
        self.begun |= trial.size.is_some();
        let columns = self.criteria.len();
        let chances_at = |sensitivity: f64| -> Vec<f64> {
            let of = |criterion: &f64| {
                let fault = SLIPS / 2.0 + (1.0 - SLIPS) * normal(sensitivity - criterion);
                let chance = if trial.said_fault { fault } else { 1.0 - fault };
                chance.ln()
            };
            self.criteria.iter().map(of).collect()
        };
        let clean = chances_at(0.0);
        let rows = self.chances.chunks_mut(columns).zip(&self.thresholds);
        for (row, threshold) in rows {
            let of_row = match trial.size {
                None => &clean,
                Some(size) => &chances_at((AT_THRESHOLD * size.0 / threshold.exp2()).min(PLAIN)),
            };
            for (sum, chance) in row.iter_mut().zip(of_row) {
                *sum += chance;
            }
        }
    }

    /// The estimate after the answers so far.
    pub fn estimate(&self) -> Estimate {
        let highest = self.chances.iter().copied().fold(f64::MIN, f64::max);
        let rows: Vec<f64> = self
            .chances
            .chunks(self.criteria.len())
            .map(|row| row.iter().map(|chance| (chance - highest).exp()).sum())
            .collect();
        let total: f64 = rows.iter().sum();
        let weighted = rows.iter().zip(&self.thresholds);
        let mean = weighted.map(|(row, at)| row * at).sum::<f64>() / total;
        let quantile = |share: f64| {
            let mut below = 0.0;
            let found = rows.iter().zip(&self.thresholds).find(|(row, _)| {
                below += *row / total;
                below >= share
            });
            found.map_or(mean, |(_, at)| *at).exp2()
        };
        Estimate {
            threshold: Milliseconds(mean.exp2()),
            low: Milliseconds(quantile(0.1)),
            high: Milliseconds(quantile(0.9)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A simulated listener: d' is proportional to a power of the size, with a criterion and slips.
    #[derive(Clone, Copy)]
    struct Listener {
        threshold_ms: f64,
        criterion: f64,
        power: f64,
    }

    impl Listener {
        fn says_fault(self, size: Option<Milliseconds>, random: &mut fastrand::Rng) -> bool {
            let sensitivity = size.map_or(0.0, |size| {
                1.349 * (size.0 / self.threshold_ms).powf(self.power)
            });
            random.f64() < 0.015 + 0.97 * normal(sensitivity - self.criterion)
        }
    }

    /// Runs one search. Returns the error in octaves, and whether the interval contains the true
    /// threshold.
    fn search(listener: Listener, answers: usize, random: &mut fastrand::Rng) -> (f64, bool) {
        let mut quest = Quest::new(Milliseconds(2.0), Milliseconds(80.0));
        for _ in 0..answers {
            let size = random.bool().then(|| quest.size());
            quest.take(Trial {
                size,
                said_fault: listener.says_fault(size, random),
            });
        }
        let found = quest.estimate();
        let truth = listener.threshold_ms;
        (
            (found.threshold.0 / truth).log2(),
            (found.low.0..=found.high.0).contains(&truth),
        )
    }

    /// The bias and spread in octaves over many searches, and how often the interval contains the
    /// true threshold.
    fn figures(listener: Listener, answers: usize, searches: usize) -> (f64, f64, f64) {
        let mut random = fastrand::Rng::with_seed(answers as u64 + listener.threshold_ms as u64);
        let found: Vec<(f64, bool)> = (0..searches)
            .map(|_| search(listener, answers, &mut random))
            .collect();
        let count = found.len() as f64;
        let bias = found.iter().map(|(error, _)| error).sum::<f64>() / count;
        let square = found.iter().map(|(error, _)| (error - bias).powi(2));
        let spread = (square.sum::<f64>() / count).sqrt();
        let held = found.iter().filter(|(_, held)| *held).count() as f64;
        (bias, spread, held / count)
    }

    /// A biased search would tell a player for weeks that the ear is better or worse than it is.
    /// The simulated listeners have known thresholds and tend to "fault", to neither answer and to
    /// "clean", for one minute and for five.
    #[test]
    fn it_finds_the_threshold_of_listeners_by_formula() {
        for (answers, searches, bias, spread) in [(18, 30, 0.8, 1.1), (90, 8, 0.45, 0.65)] {
            let mut all = Vec::new();
            for threshold_ms in [5.0, 14.0, 40.0] {
                for criterion in [0.3, 0.67, 1.2] {
                    let listener = Listener {
                        threshold_ms,
                        criterion,
                        power: 1.0,
                    };
                    let found = figures(listener, answers, searches);
                    assert!(
                        found.0.abs() < bias && found.1 < spread,
                        "{threshold_ms} ms, criterion {criterion}, {answers}: {found:?}"
                    );
                    all.push(found);
                }
            }
            let mean = |of: fn(&(f64, f64, f64)) -> f64| {
                all.iter().map(of).sum::<f64>() / all.len() as f64
            };
            assert!(mean(|one| one.0).abs() < 0.2, "{answers}: {all:?}");
            assert!(mean(|one| one.2) > 0.75, "{answers}: {all:?}");
        }
    }

    /// A listener steeper than assumed (d' as the 1.5th power) must not move the threshold far.
    #[test]
    fn a_steeper_listener_is_found_too() {
        let listener = Listener {
            threshold_ms: 14.0,
            criterion: 0.67,
            power: 1.5,
        };
        let (bias, spread, _) = figures(listener, 30, 50);
        assert!(bias.abs() < 0.3 && spread < 0.7, "{bias} {spread}");
    }

    /// A listener who says "fault" to everything hears no difference, and must not be told that the
    /// ear is good.
    #[test]
    fn one_answer_to_everything_finds_no_ear() {
        for said_fault in [true, false] {
            let mut quest = Quest::new(Milliseconds(2.0), Milliseconds(80.0));
            for number in 0..20 {
                let size = (number % 2 == 0).then(|| quest.size());
                quest.take(Trial { size, said_fault });
            }
            let found = quest.estimate();
            let none = !found.tells() || found.threshold.0 > 80.0;
            assert!(none, "{said_fault}: {found:?}");
        }
    }

    #[test]
    fn the_first_fault_is_plain_and_every_size_is_in_range() {
        let mut quest = Quest::new(Milliseconds(2.0), Milliseconds(80.0));
        assert_eq!(quest.size(), Milliseconds(40.0));
        for _ in 0..40 {
            let size = quest.size();
            assert!((2.0..=80.0).contains(&size.0), "{size}");
            quest.take(Trial {
                size: Some(size),
                said_fault: true,
            });
            quest.take(Trial {
                size: None,
                said_fault: false,
            });
        }
        assert!(quest.estimate().threshold.0 < 4.0);
        assert_eq!(
            Quest::new(Milliseconds(5.0), Milliseconds(1.0)).size(),
            Milliseconds(5.0)
        );
    }
}
