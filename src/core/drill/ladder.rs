//! The ladder of tempi, which rises by a percentage or by beats a minute, and the lengths through
//! which an opened movement closes up.
//!
//! Knows tempi and lengths. Knows no stages and no marks.

use crate::units::{Bpm, Fraction, Millis, write_fraction};
use num_traits::{CheckedMul, ToPrimitive};

/// The smallest step, in per cent or in beats a minute. Chosen: well below the smallest change of
/// tempo that listeners notice (about 1.5 %, Drake & Botte 1993). It also limits the number of
/// rungs.
const SMALLEST_STEP: Fraction = Fraction::new_raw(1, 10);

/// The step from one rung to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Step {
    /// A percentage of the tempo, above 0.
    Percent(Fraction),
    /// A number of beats a minute, above 0.
    Beats(Fraction),
}

/// The tempi of a drill: a valid ladder with its rungs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ladder {
    to: Bpm,
    step: Step,
    rungs: Vec<Bpm>,
}

impl Ladder {
    /// The ladder between two tempi.
    ///
    /// # Errors
    /// The ladder goes down, or the step is too small; see [`LadderError`].
    pub fn new(from: Bpm, to: Bpm, step: Step) -> Result<Self, LadderError> {
        let rungs = rungs(from, to, step)?;
        Ok(Self { to, step, rungs })
    }

    /// The ladder with a single tempo.
    pub fn of_one(tempo: Bpm) -> Self {
        Self {
            to: tempo,
            step: Step::Percent(Fraction::from_integer(4)),
            rungs: vec![tempo],
        }
    }

    /// The first rung.
    pub fn from(&self) -> Bpm {
        self.rungs.first().copied().unwrap_or(self.to)
    }

    /// The last rung, not below the first.
    pub fn to(&self) -> Bpm {
        self.to
    }

    /// The step from one rung to the next.
    pub fn step(&self) -> Step {
        self.step
    }

    /// Every rung in ascending order; at least one.
    pub fn rungs(&self) -> &[Bpm] {
        &self.rungs
    }
}

/// Why a ladder is not valid.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LadderError {
    /// It ends below where it begins.
    GoesDown {
        /// The first tempo.
        from: Bpm,
        /// The last tempo, below the first.
        to: Bpm,
    },
    /// The step is zero, negative or too small to be heard.
    StepTooSmall(Step),
}

impl std::fmt::Display for LadderError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::GoesDown { from, to } => write!(
                f,
                "the ladder goes down, from `{from}` to `{to}` beats a minute: a ladder climbs, so put the slower tempo at `from`"
            ),
            Self::StepTooSmall(Step::Percent(share)) => write!(
                f,
                "a step of `{}%` is too small: a rung is at least 0.1 % above the one below, and about 4 % can just be heard",
                write_fraction(share)
            ),
            Self::StepTooSmall(Step::Beats(step)) => write!(
                f,
                "a step of `{}` beats a minute is too small: expected at least 0.1",
                write_fraction(step)
            ),
        }
    }
}
impl std::error::Error for LadderError {}

/// The rungs of a ladder in ascending order. The first is `from` and the last is `to`, both as
/// written. Those between are computed from `from` by equal ratios or equal steps and rounded to
/// whole beats a minute, halves upward. Rungs that round to the same tempo are one, so each rung is
/// higher than the one before. A rung less than half a step below `to` is left out, because the two
/// sound the same.
///
/// # Errors
/// The ladder goes down, or the step is too small; see [`LadderError`].
pub fn rungs(from: Bpm, to: Bpm, step: Step) -> Result<Vec<Bpm>, LadderError> {
    if to < from {
        return Err(LadderError::GoesDown { from, to });
    }
    let (Step::Percent(size) | Step::Beats(size)) = step;
    if size < SMALLEST_STEP {
        return Err(LadderError::StepTooSmall(step));
    }
    let mut rungs = vec![from];
    for number in 1_i32.. {
        let rung = match step {
            Step::Beats(beats) => whole(from.value() + beats * Fraction::from(i128::from(number))),
            Step::Percent(share) => grown(from.value(), share, number),
        };
        if rung >= to.value() {
            break;
        }
        if rungs.last().is_some_and(|last| rung > last.value()) {
            // A number between two tempi is always a tempo. If this could fail, the ladder would
            // end here.
            match Bpm::new(rung) {
                Ok(rung) => rungs.push(rung),
                Err(_) => break,
            }
        }
    }
    if rungs.len() > 1 && rungs.last().is_some_and(|last| is_near(*last, to, step)) {
        rungs.pop();
    }
    if from < to {
        rungs.push(to);
    }
    Ok(rungs)
}

/// True when the distance from a rung to the last one is less than half a step.
fn is_near(rung: Bpm, last: Bpm, step: Step) -> bool {
    let way = last.value() - rung.value();
    match step {
        Step::Beats(beats) => way * 2 < beats,
        Step::Percent(share) => way * 200 < rung.value() * share,
    }
}

/// The nearest whole number, halves upward, without an intermediate sum that could overflow.
fn whole(value: Fraction) -> Fraction {
    let (above, below) = (*value.numer(), *value.denom());
    let rest = above.rem_euclid(below);
    let floor = above.div_euclid(below);
    Fraction::from_integer(if rest >= below - rest {
        floor + 1
    } else {
        floor
    })
}

/// `from` raised `times` times by a percentage, rounded. The result is exact as long as the power
/// fits in 128 bits. Beyond that a float decides, which is safe: only small powers can come so
/// close to a half that the float's error matters, because the denominator of the percentage must
/// cancel.
fn grown(from: Fraction, share: Fraction, times: i32) -> Fraction {
    let factor = Fraction::from_integer(1) + share / Fraction::from_integer(100);
    let exact = (0..times).try_fold(from, |value, _| value.checked_mul(&factor));
    exact.map_or_else(
        || {
            let value = from.to_f64().unwrap_or(0.0) * factor.to_f64().unwrap_or(1.0).powi(times);
            // The value is limited to about the range of a tempo before it becomes an integer
            // again.
            let bounded = value.min(2.0 * Bpm::QUICKEST as f64);
            Fraction::from_integer((bounded + 0.5).floor() as i128)
        },
        whole,
    )
}

/// Each length of tones is at least this share of the one before (chosen: a repetition is clean
/// from 0.75 to 1.3 of its length, so it is not mistaken for a neighbouring length).
const SHORTEST_STEP: f64 = 0.7;

/// The lengths in whole milliseconds through which a movement closes up. The first is `from`, the
/// last is `to`, and each is the same share of the one before. That share is 0.7 to 0.8 when there
/// are enough steps.
pub fn lengths_down(from: Millis, to: Millis) -> Vec<Millis> {
    let (from, to) = (from.to_f64(), to.to_f64());
    let steps = ((to / from).ln() / SHORTEST_STEP.ln()).ceil().max(1.0);
    let share = (to / from).powf(1.0 / steps);
    let length = |step: i32| (from * share.powi(step)).round() as i128;
    let mut lengths: Vec<i128> = (0..=steps as i32).map(length).collect();
    lengths.dedup();
    lengths.into_iter().map(Millis::whole).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn tempo(text: &str) -> Bpm {
        Bpm::parse(text).expect("a tempo")
    }

    fn percent(text: &str) -> Step {
        Step::Percent(crate::units::parse_fraction(text).expect("a number"))
    }

    #[track_caller]
    fn check(from: &str, to: &str, step: Step, expected: &[&str]) {
        let rungs = rungs(tempo(from), tempo(to), step).expect("a ladder");
        let rungs: Vec<String> = rungs.iter().map(ToString::to_string).collect();
        assert_eq!(rungs, expected);
    }

    /// If each rung were computed from the rounded rung below, the fifth step would give 60 instead
    /// of 61.
    #[test]
    fn a_geometric_ladder_is_rounded_from_the_exact_powers() {
        // 50 · 1.04^k by hand: 52, 54.08, 56.243, 58.493, 60.833, 63.266, 65.797, 68.428, 71.166,
        // 74.012, 76.973, 80.052.
        check(
            "50",
            "80",
            percent("4"),
            &[
                "50", "52", "54", "56", "58", "61", "63", "66", "68", "71", "74", "77", "80",
            ],
        );
    }

    #[test]
    fn a_ladder_by_step_ends_on_its_last_tempo() {
        let four = Step::Beats(Fraction::from_integer(4));
        check("50", "60", four, &["50", "54", "58", "60"]);
        check("50", "58", four, &["50", "54", "58"]);
        check("50", "52", four, &["50", "52"]);
    }

    /// 5 % above 50 is exactly 52.5; a float might round it either way.
    #[test]
    fn a_half_is_rounded_upward() {
        check("50", "58", percent("5"), &["50", "53", "55", "58"]);
    }

    #[test]
    fn rungs_that_round_to_the_same_tempo_are_one() {
        check("20", "22", percent("1"), &["20", "21", "22"]);
        let half = Step::Beats(Fraction::new(1, 2));
        check("20", "22", half, &["20", "21", "22"]);
    }

    /// A power that just fits in 128 bits must not overflow in the rounding.
    #[test]
    fn a_power_that_fills_128_bits_is_rounded() {
        let rungs = rungs(tempo("36"), tempo("190"), percent("10.4")).expect("a ladder");
        // 36 · 1.104^k by hand: 39.744, 43.877, …; the last one below 190 is 36 · 1.104^16 = 175.3.
        assert_eq!(rungs[1..3], [tempo("40"), tempo("44")]);
        assert_eq!(rungs[rungs.len() - 2], tempo("175"));
    }

    /// 50 to 92 by 6 % does not end with 90, 92: 90 sounds the same as 92.
    #[test]
    fn a_rung_close_below_the_last_is_left_out() {
        let ends = |from: &str, to: &str, step: Step| {
            let rungs = rungs(tempo(from), tempo(to), step).expect("a ladder");
            let last = rungs.iter().rev().take(2).map(ToString::to_string);
            last.collect::<Vec<String>>()
        };
        assert_eq!(ends("50", "92", percent("6")), ["92", "84"]);
        assert_eq!(ends("44", "116", percent("10")), ["116", "104"]);
        let four = Step::Beats(Fraction::from_integer(4));
        assert_eq!(ends("50", "59", four), ["59", "54"]);
        assert_eq!(ends("50", "60", four), ["60", "58"]);
    }

    #[test]
    fn one_tempo_is_a_ladder_of_one_rung() {
        check("66", "66", percent("4"), &["66"]);
    }

    #[test]
    fn the_ends_stand_as_they_are_written() {
        check("66.5", "70.5", percent("3"), &["133/2", "68", "141/2"]);
    }

    #[test]
    fn a_ladder_going_down_is_refused() {
        let error = rungs(tempo("80"), tempo("50"), percent("4")).expect_err("going down");
        assert_eq!(
            error.to_string(),
            "the ladder goes down, from `80` to `50` beats a minute: a ladder climbs, so put the slower tempo at `from`"
        );
    }

    #[test]
    fn a_step_of_nothing_is_refused() {
        for step in [
            Step::Percent(Fraction::from_integer(0)),
            Step::Percent(Fraction::new(1, 100_000)),
            Step::Beats(Fraction::from_integer(-4)),
        ] {
            assert_eq!(
                rungs(tempo("50"), tempo("80"), step),
                Err(LadderError::StepTooSmall(step))
            );
        }
    }

    proptest! {
        /// Every ladder rises strictly, has whole numbers between its ends, and ends with `to`.
        #[test]
        fn every_ladder_rises_strictly_to_its_end(
            from in 20_i128..=300, rise in 0_i128..=280, tenths in 1_i128..400, share: bool
        ) {
            let to = (from + rise).min(300);
            let size = Fraction::new(tenths, 10);
            let step = if share { Step::Percent(size) } else { Step::Beats(size) };
            let (from, to) = (Bpm::whole(from).expect("in range"), Bpm::whole(to).expect("in range"));
            let rungs = rungs(from, to, step).expect("a ladder");
            prop_assert_eq!(rungs.first(), Some(&from));
            prop_assert_eq!(rungs.last(), Some(&to));
            prop_assert!(rungs.windows(2).all(|pair| pair[0] < pair[1]));
            prop_assert!(rungs.iter().all(|rung| rung.value().is_integer()));
        }
    }
}
