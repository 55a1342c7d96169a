//! How a bar is counted.

use crate::units::{Beats, Fraction};

/// One of the metres of pipe music.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Metre {
    /// 2/2: two minims.
    TwoTwo,
    /// 2/4: two crotchets.
    TwoFour,
    /// 3/4: three crotchets.
    ThreeFour,
    /// 4/4: four crotchets.
    FourFour,
    /// 6/8: two dotted crotchets.
    SixEight,
    /// 9/8: three dotted crotchets.
    NineEight,
    /// 12/8: four dotted crotchets.
    TwelveEight,
}

/// A text that names no metre.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MetreError(pub String);

impl std::fmt::Display for MetreError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "metre `{}` is not one of 2/2, 2/4, 3/4, 4/4, 6/8, 9/8 and 12/8",
            self.0
        )
    }
}
impl std::error::Error for MetreError {}

impl Metre {
    /// Every metre that is accepted.
    pub const ALL: [Self; 7] = [
        Self::TwoTwo,
        Self::TwoFour,
        Self::ThreeFour,
        Self::FourFour,
        Self::SixEight,
        Self::NineEight,
        Self::TwelveEight,
    ];

    /// The two figures as printed.
    pub fn figures(self) -> (u32, u32) {
        match self {
            Self::TwoTwo => (2, 2),
            Self::TwoFour => (2, 4),
            Self::ThreeFour => (3, 4),
            Self::FourFour => (4, 4),
            Self::SixEight => (6, 8),
            Self::NineEight => (9, 8),
            Self::TwelveEight => (12, 8),
        }
    }

    /// Reads `4/4`; also ABC's `C` (4/4) and `C|` (2/2).
    ///
    /// # Errors
    /// Any other text.
    pub fn parse(text: &str) -> Result<Self, MetreError> {
        let text = text.trim();
        match text {
            "C" => return Ok(Self::FourFour),
            "C|" => return Ok(Self::TwoTwo),
            _ => {}
        }
        Self::ALL
            .into_iter()
            .find(|metre| metre.to_string() == text)
            .ok_or_else(|| MetreError(text.to_owned()))
    }

    /// True where the beat has three parts.
    pub fn is_compound(self) -> bool {
        matches!(self, Self::SixEight | Self::NineEight | Self::TwelveEight)
    }

    /// Beats in a bar.
    pub fn beats_in_a_bar(self) -> u32 {
        let (above, _) = self.figures();
        if self.is_compound() { above / 3 } else { above }
    }

    /// The length of a bar.
    pub fn bar(self) -> Beats {
        Beats::whole(i128::from(self.beats_in_a_bar()))
    }

    /// One beat as a part of a semibreve: 1/2, 1/4 or 3/8.
    pub fn beat_of_semibreve(self) -> Fraction {
        match self {
            Self::TwoTwo => Fraction::new_raw(1, 2),
            Self::TwoFour | Self::ThreeFour | Self::FourFour => Fraction::new_raw(1, 4),
            Self::SixEight | Self::NineEight | Self::TwelveEight => Fraction::new_raw(3, 8),
        }
    }

    /// What a beat is first divided into, as a part of a semibreve: a third of a compound beat;
    /// a plain beat itself.
    pub fn part_of_a_beat(self) -> Fraction {
        let beat = self.beat_of_semibreve();
        Fraction::new(1, *beat.denom())
    }

    /// A part of a semibreve as beats of this metre.
    pub fn beats_of(self, part_of_semibreve: Fraction) -> Beats {
        Beats(part_of_semibreve / self.beat_of_semibreve())
    }

    /// Beats of this metre as a part of a semibreve.
    pub fn semibreves_of(self, beats: Beats) -> Fraction {
        beats.0 * self.beat_of_semibreve()
    }

    /// The unit note length of ABC 2.1 (§3.1.7) when none is given: 1/16 where the metre is less
    /// than 3/4, else 1/8.
    pub fn default_unit(self) -> Fraction {
        let (above, below) = self.figures();
        if above * 4 < below * 3 {
            Fraction::new_raw(1, 16)
        } else {
            Fraction::new_raw(1, 8)
        }
    }

    /// The name of one beat, for a sentence.
    pub fn beat_name(self) -> &'static str {
        match self {
            Self::TwoTwo => "minim",
            Self::TwoFour | Self::ThreeFour | Self::FourFour => "crotchet",
            Self::SixEight | Self::NineEight | Self::TwelveEight => "dotted crotchet",
        }
    }
}

impl std::fmt::Display for Metre {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (above, below) = self.figures();
        write!(f, "{above}/{below}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_beat_is_the_minim_in_two_two_and_the_dotted_crotchet_in_compound_metres() {
        assert_eq!(Metre::TwoTwo.beats_of(Fraction::new(1, 2)), Beats::ONE);
        assert_eq!(Metre::SixEight.beats_of(Fraction::new(3, 8)), Beats::ONE);
        assert_eq!(
            Metre::FourFour.beats_of(Fraction::new(1, 8)),
            Beats::new(1, 2)
        );
        for metre in Metre::ALL {
            let (above, below) = metre.figures();
            let bar = metre.semibreves_of(metre.bar());
            assert_eq!(bar, Fraction::new(i128::from(above), i128::from(below)));
            assert_eq!(Metre::parse(&metre.to_string()), Ok(metre));
        }
    }

    /// ABC 2.1 §3.1.7: "if the meter … is less than 0.75 the default unit note length is a
    /// sixteenth note; if it is 0.75 or greater, it is an eighth note".
    #[test]
    fn the_default_unit_is_that_of_abc() {
        assert_eq!(Metre::TwoFour.default_unit(), Fraction::new(1, 16));
        for metre in [
            Metre::ThreeFour,
            Metre::FourFour,
            Metre::SixEight,
            Metre::TwoTwo,
        ] {
            assert_eq!(metre.default_unit(), Fraction::new(1, 8), "{metre}");
        }
    }
}
