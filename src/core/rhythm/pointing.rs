//! How the pairs of a tune are pointed: how many times longer the long note of a pair is than its
//! short note, measured from onset to onset.
//!
//! A pair is written three to one (a dot and its cut) or one to three (a snap). This file knows
//! ratios, and which one is usual for a kind of tune. It knows no tempo and no notes.
//!
//! The usual ratios and their ranges come from experience (55 to 65 % sure) and are never cited as
//! fact.

use super::metre::Metre;
use super::tune_kind::{has_word, names_air, names_pibroch};
use crate::units::{Fraction, parse_fraction, write_fraction};

/// A ratio of the long note to the short note, measured by onsets, and the range of ratios that are
/// equally good.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Pointed {
    /// The ratio of the long to the short note, from 1 to [`Pointing::MOST`].
    pub ratio: Fraction,
    /// The smallest (roundest) ratio that is equally good; at most `ratio`.
    pub least: Fraction,
    /// The largest (sharpest) ratio that is equally good; at least `ratio`.
    pub most: Fraction,
}

/// Who said how a tune is pointed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum PointingSource {
    /// Nobody said so: the tune is played as it is written.
    #[default]
    Nobody,
    /// The usual pointing of this kind of tune, from experience.
    Kind,
    /// The drill's file said so.
    File,
    /// One stage has its own pointing. Such a stage is practised separately from the tune.
    Stage,
}

/// How the pairs of some music are pointed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Pointing {
    /// The pointing of a dot and its cut, which are written three to one. None: played as written.
    pub dots: Option<Pointed>,
    /// The pointing of a snap, which is written one to three. None: played as written.
    pub snaps: Option<Pointed>,
    /// True when pairs are judged. The pairs of airs and grounds never are.
    pub judged: bool,
    /// Who said so.
    pub source: PointingSource,
}

impl Default for Pointing {
    /// Pairs are played as written, because neither the file nor the kind of tune says otherwise.
    fn default() -> Self {
        Self {
            dots: None,
            snaps: None,
            judged: true,
            source: PointingSource::Nobody,
        }
    }
}

impl Pointed {
    /// A ratio with the range that applies when none is given: three quarters of the ratio to one
    /// and a half times it. The width is chosen after the usual range of a march in 2/4, which is 3
    /// to 6 around 4.
    fn about(ratio: Fraction) -> Self {
        Self {
            ratio,
            least: ratio * Fraction::new(3, 4),
            most: ratio * Fraction::new(3, 2),
        }
    }

    /// Writes `4:1`, and adds the range where it differs from that of [`Self::about`]: `3:1, 2.5 to
    /// 4`.
    fn written(&self) -> String {
        let ratio = format!("{}:1", decimal(self.ratio));
        if *self == Self::about(self.ratio) {
            ratio
        } else {
            format!("{ratio}, {}", self.range())
        }
    }

    /// Writes the range: `3 to 6`.
    pub fn range(&self) -> String {
        format!("{} to {}", decimal(self.least), decimal(self.most))
    }
}

/// The number as a player writes it: `4`, `2.5`. It is written as a fraction when no short decimal
/// is exact.
fn decimal(value: Fraction) -> String {
    let thousandths = value * Fraction::from_integer(1000);
    if thousandths.is_integer() {
        let value = *value.numer() as f64 / *value.denom() as f64;
        return value.to_string();
    }
    write_fraction(&value)
}

impl Pointing {
    /// What [`Self::parse`] expects, for error messages.
    pub const EXPECTED: &'static str = "a ratio of the long note to the short one, such as `4:1`, \
         with its range `4:1, 3 to 6`, or `as written`, or `round`";
    /// The sharpest ratio that is accepted, long to short.
    pub const MOST: i128 = 16;

    /// Reads `4:1`, `4 to 1`, `4:1, 3 to 6`, `4:1 (3-6)`, `round` (1:1) and `as written`. The ratio
    /// applies to both dots and snaps.
    ///
    /// # Errors
    /// Any other text. The error is [`Self::EXPECTED`].
    pub fn parse(text: &str, source: PointingSource) -> Result<Self, &'static str> {
        let plain = text.trim().to_lowercase().replace(['-', '_', '–'], " ");
        let pointed = match plain.split_whitespace().collect::<Vec<_>>()[..] {
            ["as", "written"] | ["written"] => None,
            ["round"] => Some(Pointed::about(Fraction::from_integer(1))),
            _ => Some(read(text)?),
        };
        Ok(Self {
            dots: pointed,
            snaps: pointed,
            judged: true,
            source,
        })
    }

    /// The usual pointing of a kind of tune in a metre; as written when the kind has no usual
    /// pointing.
    pub fn of_kind(kind: &str, metre: Metre) -> Self {
        let is = |wanted: &[&str]| has_word(kind, wanted);
        if names_air(kind) || names_pibroch(kind) {
            return Self {
                judged: false,
                source: PointingSource::Kind,
                ..Self::default()
            };
        }
        let of = |ratio: i128, least: Fraction, most: i128| Pointed {
            ratio: Fraction::from_integer(ratio),
            least,
            most: Fraction::from_integer(most),
        };
        let (three, five_halves) = (Fraction::from_integer(3), Fraction::new(5, 2));
        let figures = metre.figures();
        let (dots, snaps) = if is(&["strathspey", "strathspeys"]) {
            let pointed = of(4, three, 6);
            (Some(pointed), Some(pointed))
        } else if is(&["reel", "reels", "hornpipe", "hornpipes"]) {
            (Some(of(2, Fraction::new(17, 10), 3)), None)
        } else if is(&["jig", "jigs"]) {
            (None, None)
        } else if is(&["slow"]) {
            return Self::default();
        } else if is(&["retreat", "retreats"]) {
            match figures {
                (3, 4) => (Some(of(3, five_halves, 4)), None),
                _ => return Self::default(),
            }
        } else if is(&["march", "marches"]) {
            match figures {
                (2, 4) => (Some(of(4, three, 6)), None),
                (4, 4) => (Some(of(3, five_halves, 4)), None),
                (6, 8) => (None, None),
                _ => return Self::default(),
            }
        } else {
            return Self::default();
        };
        Self {
            dots,
            snaps,
            judged: true,
            source: PointingSource::Kind,
        }
    }

    /// The same pointing held longer, for a stage of its own: 2:1 becomes 3:1, 3:1 becomes 5:1, 4:1
    /// becomes 7:1 (chosen). None when no pair is pointed, or when all pairs are round.
    pub fn exaggerated(&self) -> Option<Self> {
        let one = Fraction::from_integer(1);
        let pointed = self.dots.or(self.snaps)?;
        let ratio = (pointed.ratio + pointed.ratio - one).min(one * Self::MOST);
        let held = Some(Pointed::about(ratio));
        (ratio > one).then_some(Self {
            dots: held,
            snaps: held,
            judged: true,
            source: PointingSource::Stage,
        })
    }

    /// How a pair is pointed; none when it is played as written.
    pub fn of_pair(&self, long_first: bool) -> Option<Pointed> {
        if long_first { self.dots } else { self.snaps }
    }

    /// The pointing in the words of a drill file; none when the file need not state it.
    pub fn written(&self) -> Option<String> {
        match self.source {
            PointingSource::Nobody | PointingSource::Kind => None,
            PointingSource::File | PointingSource::Stage => Some(
                self.dots
                    .map_or_else(|| "as written".to_owned(), |pointed| pointed.written()),
            ),
        }
    }

    /// The pointing in words for the head or the foot of a page: `pointed 4 : 1 (from experience)`.
    /// None when neither the file nor the kind of tune sets a pointing.
    pub fn spoken(&self) -> Option<String> {
        let experience = match self.source {
            PointingSource::Nobody => return None,
            PointingSource::Kind => " (from experience)",
            PointingSource::File | PointingSource::Stage => "",
        };
        if !self.judged {
            return Some(format!(
                "its dots as they are felt, never judged{experience}"
            ));
        }
        let ratio = |pointed: Pointed| decimal(pointed.ratio);
        let how = match (self.dots, self.snaps) {
            (None, None) => "pointed as written".to_owned(),
            (Some(dots), None) => format!("pointed {} : 1", ratio(dots)),
            (None, Some(snaps)) => format!("snaps pointed 1 : {}", ratio(snaps)),
            (Some(dots), Some(_)) if dots.ratio == Fraction::from_integer(1) => {
                "played round, 1 : 1".to_owned()
            }
            (Some(dots), Some(snaps)) => {
                format!("pointed {} : 1, snaps 1 : {}", ratio(dots), ratio(snaps))
            }
        };
        Some(format!("{how}{experience}"))
    }
}

/// A ratio and its range.
fn read(text: &str) -> Result<Pointed, &'static str> {
    let number = |text: &str| parse_fraction(text).map_err(|_| Pointing::EXPECTED);
    let (ratio, range) = match text.split_once([',', '(']) {
        Some((ratio, range)) => (ratio, Some(range.trim().trim_end_matches(')'))),
        None => (text, None),
    };
    let sides = ratio.split_once(':').or_else(|| ratio.split_once(" to "));
    let (long, short) = sides.ok_or(Pointing::EXPECTED)?;
    let (long, short) = (number(long)?, number(short)?);
    let one = Fraction::from_integer(1);
    if short <= Fraction::from_integer(0) || long < short {
        return Err("the long note first, as in `4:1`; a snap is played the other way round");
    }
    let ratio = long / short;
    if ratio > one * Pointing::MOST {
        return Err("a ratio from 1:1 to 16:1");
    }
    if !is_simple(ratio) {
        return Err("a ratio in figures that can be told apart, such as `4:1` or `3.75:1`");
    }
    let Some(range) = range else {
        return Ok(Pointed::about(ratio));
    };
    let ends = range.split_once(" to ");
    let ends = ends.or_else(|| range.split_once(['-', '–']));
    let (least, most) = ends.ok_or("a range such as `3 to 6` behind the ratio")?;
    let (least, most) = (number(least)?, number(most)?);
    let inside = Fraction::new(1, 2) <= least && most <= one * (2 * Pointing::MOST);
    if !inside || !is_simple(least) || !is_simple(most) || least > ratio || most < ratio {
        return Err("a range that holds the ratio, such as `4:1, 3 to 6`");
    }
    Ok(Pointed { ratio, least, most })
}

/// True when the numbers of the ratio are small enough that exact time arithmetic does not overflow
/// at any tempo. Nobody hears a finer difference.
fn is_simple(ratio: Fraction) -> bool {
    const MOST: i128 = 10_000;
    *ratio.numer() <= MOST && *ratio.denom() <= MOST
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spoken(kind: &str, metre: Metre) -> Option<String> {
        Pointing::of_kind(kind, metre).spoken()
    }

    /// The values come from experience (55 to 65 % sure) and are never cited as fact.
    #[test]
    fn each_kind_of_tune_has_its_usual_pointing() {
        let ranges = |kind: &str, metre: Metre| {
            let pointing = Pointing::of_kind(kind, metre);
            let written = |pointed: Pointed| format!("{}:1, {}", pointed.ratio, pointed.range());
            (pointing.dots.map(written), pointing.snaps.map(written))
        };
        let dots = |text: &str| (Some(text.to_owned()), None);
        let three_four = Metre::THREE_FOUR;
        assert_eq!(ranges("March", Metre::TWO_FOUR), dots("4:1, 3 to 6"));
        assert_eq!(ranges("march", Metre::FOUR_FOUR), dots("3:1, 2.5 to 4"));
        assert_eq!(ranges("Retreat march", three_four), dots("3:1, 2.5 to 4"));
        let strathspey = Some("4:1, 3 to 6".to_owned());
        let both = (strathspey.clone(), strathspey);
        assert_eq!(ranges("strathspey", Metre::FOUR_FOUR), both);
        assert_eq!(ranges("reel", Metre::TWO_TWO), dots("2:1, 1.7 to 3"));
        assert_eq!(ranges("hornpipe", Metre::TWO_FOUR), dots("2:1, 1.7 to 3"));
        for (kind, metre) in [("march", Metre::SIX_EIGHT), ("jig", Metre::SIX_EIGHT)] {
            assert_eq!(ranges(kind, metre), (None, None));
            let said = spoken(kind, metre).expect("a known kind");
            assert_eq!(said, "pointed as written (from experience)");
        }
        for kind in [
            "slow air",
            "Ùrlar",
            "pibroch ground",
            "Ceòl Mòr",
            "retreat air",
        ] {
            assert!(!Pointing::of_kind(kind, three_four).judged, "{kind}");
        }
        for (kind, metre) in [
            ("slow march", Metre::FOUR_FOUR),
            ("waltz", three_four),
            ("march", Metre::NINE_EIGHT),
            ("fair", Metre::TWO_FOUR),
        ] {
            assert_eq!(Pointing::of_kind(kind, metre), Pointing::default());
        }
    }

    #[test]
    fn it_is_read_and_written_as_a_player_says_it() {
        let read = |text: &str| Pointing::parse(text, PointingSource::File);
        for (text, written) in [
            ("4:1", "4:1"),
            ("4 : 1 ", "4:1"),
            ("4 to 1", "4:1"),
            ("8:2", "4:1"),
            ("3.5:1", "3.5:1"),
            ("4:1, 3 to 6", "4:1"),
            ("3:1 (2.5-4)", "3:1, 2.5 to 4"),
            ("3:1, 2.5 to 4", "3:1, 2.5 to 4"),
            ("10:3", "10/3:1"),
            // A range may begin or end at the ratio itself, and may end at twice the sharpest
            // ratio.
            ("4:1, 4 to 6", "4:1, 4 to 6"),
            ("4:1, 3 to 4", "4:1, 3 to 4"),
            ("16:1, 10 to 32", "16:1, 10 to 32"),
            ("As written", "as written"),
            ("as_written", "as written"),
            ("round", "1:1"),
        ] {
            let pointing = read(text).expect(text);
            let said = pointing.written().expect("the file says it");
            assert_eq!(said, written);
            assert_eq!(read(&said), Ok(pointing), "{text}");
        }
        for slip in [
            "",
            "4",
            "1:4",
            "4:0",
            "0:0",
            "-4:1",
            "17:1",
            "four",
            "4:1,",
            "4:1, 3",
            "4:1, 5 to 6",
            "4:1, 3 to 2",
            "4:1, 0 to 6",
            "4:1, 3 to 99",
            "16:1, 10 to 33",
            "4:1:1",
            "4.000000001:1",
            "1.0001:1",
            "999999999:99999999",
            "4:1, 3.0000001 to 6",
        ] {
            assert!(read(slip).is_err(), "{slip}");
        }
    }

    #[test]
    fn it_is_said_in_a_line_with_where_it_comes_from() {
        let said = |kind: &str, metre| spoken(kind, metre).unwrap_or_default();
        assert_eq!(
            said("strathspey", Metre::FOUR_FOUR),
            "pointed 4 : 1, snaps 1 : 4 (from experience)"
        );
        assert_eq!(
            said("march", Metre::TWO_FOUR),
            "pointed 4 : 1 (from experience)"
        );
        let file = Pointing::parse("round", PointingSource::File).expect("a word");
        assert_eq!(file.spoken().as_deref(), Some("played round, 1 : 1"));
        assert_eq!(
            said("slow air", Metre::THREE_FOUR),
            "its dots as they are felt, never judged (from experience)"
        );
        assert_eq!(Pointing::default().spoken(), None);
    }

    /// The longer ratio is twice the ratio less one, up to the sharpest ratio accepted.
    #[test]
    fn a_stage_holds_the_dots_longer() {
        for (pointing, held) in [("2:1", "3:1"), ("3:1", "5:1"), ("10:1", "16:1")] {
            let pointing = Pointing::parse(pointing, PointingSource::File).expect("a ratio");
            let exaggerated = pointing.exaggerated().expect("it is pointed");
            let ratio = exaggerated.of_pair(true).expect("of dots").ratio;
            let wanted = Pointing::parse(held, PointingSource::File).expect("a ratio");
            assert_eq!(wanted.of_pair(true).map(|pair| pair.ratio), Some(ratio));
            assert_eq!(exaggerated.of_pair(false), exaggerated.of_pair(true));
        }
        let round = Pointing::parse("round", PointingSource::File).expect("a word");
        assert_eq!(round.exaggerated(), None);
    }
}
