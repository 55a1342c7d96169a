//! The player's constant lead: where most of the notes of a repetition agree.
//!
//! It knows offsets with their weights, and nothing of notes. One note that came late must not make
//! its neighbours early, so offsets that do not agree are never averaged.

/// How far a note lies from its place, and its weight as a witness.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Witness {
    pub offset_s: f64,
    pub weight: f64,
}

/// What most witnesses agree on, seconds; none where there are no witnesses. It is the median of
/// those that lie within `tolerance_s` of the heaviest crowd. A crowd is no wider than the
/// tolerance; of crowds of equal weight the one whose first witness comes first counts.
pub(super) fn lead(witnesses: &[Witness], tolerance_s: f64) -> Option<f64> {
    let crowd = |from: f64| {
        let all = witnesses.iter();
        all.filter(move |one| (from..=from + tolerance_s).contains(&one.offset_s))
    };
    let mut best: Option<(f64, f64)> = None;
    for one in witnesses {
        // the weight of the crowd in which this witness has the lowest offset
        let weight: f64 = crowd(one.offset_s).map(|other| other.weight).sum();
        if best.is_none_or(|(heaviest, _)| weight > heaviest + 1e-9) {
            best = Some((weight, one.offset_s));
        }
    }
    let (_, from) = best?;
    let middle = weighted_median(crowd(from).copied().collect())?;
    let near = |one: &&Witness| (one.offset_s - middle).abs() <= tolerance_s;
    weighted_median(witnesses.iter().filter(near).copied().collect())
}

/// The middle by weight; where it lies between two, their mean.
fn weighted_median(mut witnesses: Vec<Witness>) -> Option<f64> {
    witnesses.sort_by(|one, other| one.offset_s.total_cmp(&other.offset_s));
    let half = 0.5 * witnesses.iter().map(|one| one.weight).sum::<f64>();
    let mut sum = 0.0;
    let mut lower = None;
    for one in &witnesses {
        if let Some(lower) = lower {
            return Some(0.5 * (lower + one.offset_s));
        }
        sum += one.weight;
        if (sum - half).abs() < 1e-9 {
            lower = Some(one.offset_s);
        } else if sum > half {
            return Some(one.offset_s);
        }
    }
    lower
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(offsets: &[(f64, f64)]) -> Option<f64> {
        let all: Vec<Witness> = offsets
            .iter()
            .map(|(offset_s, weight)| Witness {
                offset_s: *offset_s,
                weight: *weight,
            })
            .collect();
        lead(&all, 0.05)
    }

    /// Without it one late note of two would make the other early by half of it.
    #[test]
    fn what_does_not_agree_is_not_averaged() {
        assert_eq!(of(&[]), None);
        assert_eq!(of(&[(0.02, 1.0), (0.14, 1.0)]), Some(0.02));
        assert_eq!(of(&[(0.14, 0.7), (0.02, 1.0)]), Some(0.02));
        assert_eq!(of(&[(-0.1, 1.0), (0.01, 1.0), (0.03, 1.0)]), Some(0.02));
        let four = [(0.0, 1.0), (-0.14, 0.7), (0.01, 1.0), (-0.14, 0.7)];
        assert_eq!(of(&four), Some(0.005));
    }

    #[test]
    fn those_that_agree_give_their_middle() {
        assert_eq!(of(&[(0.03, 1.0), (0.04, 1.0), (0.05, 1.0)]), Some(0.04));
        assert_eq!(of(&[(0.03, 1.0), (0.04, 3.0), (0.05, 1.0)]), Some(0.04));
    }
}
