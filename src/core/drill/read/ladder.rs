//! Reads the tempi of the ladder and the lengths of gracenotes.

use super::Reader;
use super::fields::Fields;
use crate::drill::document::{LADDER_FIELDS, LENGTHS_FIELDS};
use crate::drill::ladder::{Ladder, LadderError, Step};
use crate::drill::problem::ProblemKind;
use crate::movement::Lengths;
use crate::units::{Bpm, Fraction, Millis, parse_fraction};

/// The most rungs on a ladder.
const MOST_RUNGS: usize = 200;

impl Reader {
    pub(super) fn tempo(&mut self, fields: &Fields, field: &'static str) -> Option<Bpm> {
        let tree = fields.get(field)?;
        let text = self.scalar(tree, field, "a tempo in beats a minute")?;
        match Bpm::parse(&text.string) {
            Ok(tempo) => Some(tempo),
            Err(error) => {
                self.tell(
                    tree.place,
                    ProblemKind::BadTempo {
                        field,
                        error: error.to_string(),
                    },
                );
                None
            }
        }
    }

    pub(super) fn ladder(&mut self, fields: &Fields) -> Option<Ladder> {
        let Some(tree) = fields.get("ladder") else {
            self.tell(
                fields.place,
                ProblemKind::Missing {
                    field: "ladder",
                    of: "the drill".to_owned(),
                    mend: "add a line such as `ladder: {from: 50, to: 80, step: 4%}`",
                },
            );
            return None;
        };
        let rungs = self.fields(tree, LADDER_FIELDS, "a ladder", "ladder")?;
        for (field, mend) in [
            ("from", "add `from: 50`, the first tempo"),
            ("to", "add `to: 80`, the last tempo"),
            ("step", "add `step: 4%`, or `step: 4` for beats a minute"),
        ] {
            if rungs.get(field).is_none() {
                self.tell(
                    tree.place,
                    ProblemKind::Missing {
                        field,
                        of: "the ladder".to_owned(),
                        mend,
                    },
                );
            }
        }
        let from = self.tempo(&rungs, "from");
        let to = self.tempo(&rungs, "to");
        let step = self.step(&rungs);
        let (from, to, step) = (from?, to?, step?);
        let count = rung_count(from, to, step);
        if count > MOST_RUNGS {
            self.tell(
                tree.place,
                ProblemKind::LadderTooLong {
                    rungs: count,
                    most: MOST_RUNGS,
                },
            );
            return None;
        }
        match Ladder::new(from, to, step) {
            Ok(ladder) => Some(ladder),
            Err(LadderError::GoesDown { from, to }) => {
                let (from, to) = (from.to_string(), to.to_string());
                self.tell(tree.place, ProblemKind::LadderDown { from, to });
                None
            }
            // This error is reported with the step.
            Err(LadderError::StepTooSmall(_)) => None,
        }
    }

    fn step(&mut self, rungs: &Fields) -> Option<Step> {
        let tree = rungs.get("step")?;
        let text = self.scalar(tree, "step", "`4%`, or `4` for beats a minute")?;
        let (number, percent) = match text.string.trim().strip_suffix('%') {
            Some(number) => (number, true),
            None => (text.string.trim(), false),
        };
        let value = match parse_fraction(number) {
            Ok(value) => value,
            Err(error) => {
                self.tell(
                    tree.place,
                    ProblemKind::BadNumber {
                        field: "step",
                        error,
                    },
                );
                return None;
            }
        };
        if value < Fraction::new(1, 4) || value > Fraction::from_integer(100) {
            self.tell(
                tree.place,
                ProblemKind::OutOfRange {
                    field: "step",
                    found: tree.described(),
                    range: "between 1/4 and 100",
                },
            );
            return None;
        }
        Some(if percent {
            Step::Percent(value)
        } else {
            Step::Beats(value)
        })
    }

    pub(super) fn lengths(&mut self, fields: &Fields) -> Lengths {
        let mut lengths = Lengths::default();
        let Some(tree) = fields.get("lengths") else {
            return lengths;
        };
        let Some(own) = self.fields(tree, LENGTHS_FIELDS, "`lengths`", "lengths") else {
            return lengths;
        };
        let range =
            Fraction::from_integer(Lengths::SHORTEST)..=Fraction::from_integer(Lengths::LONGEST);
        let words = "between 12 and 400 milliseconds";
        if let Some(tree) = own.get("gracenote")
            && let Some(value) = self.fraction_between(tree, "gracenote", range.clone(), words)
        {
            lengths.separating = Millis(value);
        }
        if let Some(tree) = own.get("tone")
            && let Some(value) = self.fraction_between(tree, "tone", range, words)
        {
            lengths.tone = Millis(value);
        }
        if let Some(opens) = self.one_of(
            &own,
            "opens",
            &["true", "false", "yes", "no"],
            &[true, false, true, false],
        ) {
            lengths.opens = opens;
        }
        lengths
    }
}

/// The most rungs that a ladder can have, before equal ones are removed.
fn rung_count(from: Bpm, to: Bpm, step: Step) -> usize {
    let (from, to) = (from.to_f64(), to.to_f64());
    let count = match step {
        Step::Beats(step) => (to - from) * *step.denom() as f64 / *step.numer() as f64,
        Step::Percent(step) => {
            let factor = 1.0 + *step.numer() as f64 / *step.denom() as f64 / 100.0;
            (to / from).ln() / factor.ln()
        }
    };
    count.max(0.0).ceil() as usize + 1
}
