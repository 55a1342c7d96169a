//! Exact tempi in whole microseconds.

use crate::rhythm::Metre;
use crate::units::{Bpm, Fraction};

/// A quarter note in microseconds, exact.
pub(super) fn quarter(metre: Metre, tempo: Bpm) -> Fraction {
    let beats_a_quarter = metre.beats_of(Fraction::new(1, 4)).0 * metre.pace();
    Fraction::from_integer(60_000_000) / tempo.value() * beats_a_quarter
}

/// Ticks a quarter note: the fewest of these for which half a tick is at most 0.05 ms, so that an
/// onset stays within half a tick and 0.1 ms. All hold 64ths of a semibreve, thirds and fifths.
pub(super) fn division(metre: Metre, tempo: Bpm) -> u16 {
    let quarter = quarter(metre, tempo);
    [960_u16, 1920, 3840, 7680, 15_360, 30_720]
        .into_iter()
        .find(|division| {
            quarter / Fraction::from_integer(i128::from(*division)) <= Fraction::from_integer(100)
        })
        .unwrap_or(30_720)
}

/// Set-tempo values whose sum never leaves the exact tempo by more than one span's rounding: a
/// MIDI tempo is a whole number of microseconds, 97 a minute would be 0.87 ms off after half an
/// hour.
pub(super) struct Alternating {
    exact: Fraction,
    /// Microseconds written less microseconds meant.
    ahead: Fraction,
}

impl Alternating {
    pub(super) fn new(exact: Fraction) -> Self {
        Self {
            exact,
            ahead: Fraction::from_integer(0),
        }
    }

    /// The value for the next `quarters`.
    pub(super) fn next(&mut self, quarters: Fraction) -> u32 {
        let below = self.exact.floor();
        let value = if self.ahead > Fraction::from_integer(0) {
            below
        } else {
            self.exact.ceil()
        };
        self.ahead += (value - self.exact) * quarters;
        u32::try_from(value.to_integer()).unwrap_or(0xFF_FFFF)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 97 a minute is 618 556.70 µs: whole microseconds alone would drift 0.87 ms in half an hour.
    #[test]
    fn half_an_hour_stays_within_a_tenth_of_a_millisecond() {
        for text in ["97", "133/2", "61", "300", "20", "713/7"] {
            let tempo = Bpm::parse(text).expect("a tempo");
            let exact = quarter(Metre::FOUR_FOUR, tempo);
            let mut alternating = Alternating::new(exact);
            let bar = Fraction::from_integer(4);
            let (mut written, mut meant) = (Fraction::from_integer(0), Fraction::from_integer(0));
            let mut worst = Fraction::from_integer(0);
            let mut values = std::collections::BTreeSet::new();
            while meant < Fraction::from_integer(30 * 60 * 1_000_000) {
                let value = alternating.next(bar);
                values.insert(value);
                written += Fraction::from_integer(i128::from(value)) * bar;
                meant += exact * bar;
                let off = if written > meant {
                    written - meant
                } else {
                    meant - written
                };
                worst = worst.max(off);
            }
            assert!(worst <= Fraction::from_integer(4), "{text}: {worst} µs");
            assert!(values.len() <= 2);
        }
    }

    #[test]
    fn half_a_tick_is_at_most_a_twentieth_of_a_millisecond_at_usual_tempi() {
        for (metre, text) in [
            (Metre::FOUR_FOUR, "50"),
            (Metre::TWO_TWO, "20"),
            (Metre::SIX_EIGHT, "116"),
        ] {
            let tempo = Bpm::parse(text).expect("a tempo");
            let tick =
                quarter(metre, tempo) / Fraction::from_integer(i128::from(division(metre, tempo)));
            assert!(tick <= Fraction::from_integer(100), "{metre} {text}");
        }
    }
}
