//! A range of bars by their printed numbers.

/// Bars of a tune by their numbers, including the first and the last. It is written `5-8`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BarRange {
    /// Number of the first bar, from 1; the pickup has no number here.
    pub first: u16,
    /// Number of the last bar, not less than `first`.
    pub last: u16,
}

impl BarRange {
    /// What [`Self::parse`] expects, for error messages.
    pub const EXPECTED: &'static str = "bars such as 5-8, or one bar such as 5";

    /// Reads `5-8` or `5`.
    pub fn parse(text: &str) -> Option<Self> {
        let number = |text: &str| text.trim().parse::<u16>().ok().filter(|bar| *bar > 0);
        let (first, last) = text.split_once(['-', '–']).unwrap_or((text, text));
        let (first, last) = (number(first)?, number(last)?);
        (first <= last).then_some(Self { first, last })
    }

    /// The range for a sentence: `bars 5 to 8`, `bar 5`.
    pub fn spoken(self) -> String {
        let Self { first, last } = self;
        if first == last {
            format!("bar {first}")
        } else {
            format!("bars {first} to {last}")
        }
    }

    /// Checks that it can be a phrase of a tune with the bars `within`, after the phrase `before`.
    ///
    /// # Errors
    /// It cannot; the error says what was expected.
    pub fn follows(self, before: Option<Self>, within: Self) -> Result<(), String> {
        let Self { first, last } = within;
        if self.first < first || self.last > last {
            return Err(format!("bars from {first} to {last}"));
        }
        match before {
            Some(before) if self.first <= before.last => Err(format!(
                "bars after {}, where the phrase before ends",
                before.last
            )),
            _ => Ok(()),
        }
    }

    /// The range from the first bar of this one to the last bar of another.
    pub fn to(self, other: Self) -> Self {
        Self {
            first: self.first,
            last: other.last,
        }
    }
}

impl std::fmt::Display for BarRange {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { first, last } = self;
        if first == last {
            write!(f, "{first}")
        } else {
            write!(f, "{first}-{last}")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_are_read_as_they_are_written() {
        for text in ["5-8", "5", "12-13"] {
            let range = BarRange::parse(text).expect("bars");
            assert_eq!(range.to_string(), text);
        }
        for slip in ["", "8-5", "0-4", "a-b", "5-", "5-8-9", "70000"] {
            assert_eq!(BarRange::parse(slip), None, "{slip}");
        }
    }
}
