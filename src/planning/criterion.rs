//! What a teacher may ask of a cell: so many in a row, so many of the last, or how sure of how much.

use super::chances::Chance;
use crate::practice::Mark;

/// A criterion that a cell's marks must meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Criterion {
    /// So many clean in a row.
    InARow(u32),
    /// So many clean of so many in a row.
    OfTheLast(u32, u32),
    /// Sure to a share that the chance of a clean one is above a share, both 0 to 1.
    Sure(f64, f64),
}

/// A text that asks nothing we know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CriterionError(pub String);

impl std::fmt::Display for CriterionError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "`{}` asks nothing we know: expected `5 in a row`, `9 of 10` or `80 % sure of 80 %`",
            self.0
        )
    }
}
impl std::error::Error for CriterionError {}

impl Criterion {
    /// Reads `5 in a row`, `9 of 10`, `80 % sure of 80 %`.
    ///
    /// # Errors
    /// Any other text, and numbers that cannot be met.
    pub fn parse(text: &str) -> Result<Self, CriterionError> {
        let wrong = || CriterionError(text.to_owned());
        let plain = text
            .to_lowercase()
            .replace('%', " ")
            .replace("out of", "of");
        let words: Vec<&str> = plain.split_whitespace().collect();
        let whole = |word: &str| {
            word.parse::<u32>()
                .ok()
                .filter(|number| (1..=100).contains(number))
        };
        let share = |word: &str| {
            word.parse::<f64>()
                .ok()
                .filter(|share| (1.0..100.0).contains(share))
        };
        let found = match words.as_slice() {
            [number, "in", "a", "row"] => whole(number).map(Self::InARow),
            [clean, "of", all] => whole(clean)
                .zip(whole(all))
                .filter(|(clean, all)| clean <= all)
                .map(|(clean, all)| Self::OfTheLast(clean, all)),
            [sure, "sure", "of", much] => share(sure)
                .zip(share(much))
                .map(|(sure, much)| Self::Sure(sure / 100.0, much / 100.0)),
            _ => None,
        };
        found.ok_or_else(wrong)
    }

    /// The first mark, from 0, with which it is met; nothing when it never was.
    pub fn met(&self, marks: &[Mark]) -> Option<usize> {
        (0..marks.len()).find(|last| {
            let so_far = &marks[..=*last];
            let clean =
                |marks: &[Mark]| marks.iter().filter(|mark| **mark == Mark::Clean).count() as u32;
            match *self {
                Self::InARow(row) => {
                    so_far
                        .iter()
                        .rev()
                        .take_while(|mark| **mark == Mark::Clean)
                        .count() as u32
                        >= row
                }
                Self::OfTheLast(wanted, all) => so_far
                    .len()
                    .checked_sub(all as usize)
                    .is_some_and(|from| clean(&so_far[from..]) >= wanted),
                Self::Sure(sure, much) => {
                    Chance::of(clean(so_far), so_far.len() as u32).sure_above(much) >= sure
                }
            }
        })
    }
}

impl std::fmt::Display for Criterion {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::InARow(row) => write!(f, "{row} in a row"),
            Self::OfTheLast(clean, all) => write!(f, "{clean} of {all}"),
            Self::Sure(sure, much) => {
                write!(f, "{:.0} % sure of {:.0} %", sure * 100.0, much * 100.0)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks(text: &str) -> Vec<Mark> {
        text.chars()
            .map(|sign| {
                if sign == 'c' {
                    Mark::Clean
                } else {
                    Mark::NotClean
                }
            })
            .collect()
    }

    #[test]
    fn what_asks_nothing_is_named_with_what_does() {
        let told = Criterion::parse("often").expect_err("nothing").to_string();
        for part in [
            "`often`",
            "`5 in a row`",
            "`9 of 10`",
            "`80 % sure of 80 %`",
        ] {
            assert!(told.contains(part), "{told}");
        }
        for example in ["5 in a row", "9 of 10", "80 % sure of 80 %"] {
            assert!(Criterion::parse(example).is_ok(), "{example}");
        }
    }

    #[test]
    fn what_is_asked_reads_back() {
        for text in ["5 in a row", "9 of 10", "80 % sure of 80 %"] {
            assert_eq!(
                Criterion::parse(text).map(|one| one.to_string()),
                Ok(text.to_owned())
            );
        }
        assert_eq!(
            Criterion::parse("9 out of 10"),
            Ok(Criterion::OfTheLast(9, 10))
        );
        for slip in [
            "",
            "11 of 10",
            "0 in a row",
            "sure",
            "100% sure of 80%",
            "5",
        ] {
            assert!(Criterion::parse(slip).is_err(), "{slip}");
        }
    }

    #[test]
    fn it_is_met_with_the_mark_that_meets_it() {
        assert_eq!(Criterion::InARow(3).met(&marks("cnccc")), Some(4));
        assert_eq!(Criterion::InARow(3).met(&marks("ccn")), None);
        assert_eq!(Criterion::OfTheLast(3, 4).met(&marks("nccnccc")), Some(4));
        // Of scipy.stats.beta 1.17.1: sf(0.8) is 0.7379 after 5 of 5, 0.7903 after 6, 0.8322 after 7.
        assert_eq!(Criterion::Sure(0.8, 0.8).met(&marks("cccccccc")), Some(6));
    }
}
