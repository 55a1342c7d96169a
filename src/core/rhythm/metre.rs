//! How a bar is counted.

use super::NoteValue;
use crate::units::{Beats, Fraction, write_fraction};

/// How many notes of which value make a bar, and what of it is a beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Metre {
    /// The upper figure, 1 to 32.
    above: u8,
    /// The lower figure: 1, 2, 4, 8 or 16.
    below: u8,
    /// A beat as so many of a part of a semibreve: 3 of 8 for a dotted crotchet.
    beat: (u8, u8),
    /// Where beats are counted in groups, a bit for each beat that begins one, the lowest for the first
    /// beat of the bar; 0 where each is counted by itself.
    groups: u32,
    /// No metre at all; the figures are those of the bars that are breathed and counted in with.
    free: bool,
    /// A beat lasts so many of those that the tempo counts, as above and below: 1 but after a change
    /// of metre at which another note than the beat stays equal.
    pace: (u8, u8),
}

/// Why a text names no metre.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MetreError(pub String);

impl std::fmt::Display for MetreError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "metre `{}` is not {}", self.0, Metre::EXPECTED)
    }
}
impl std::error::Error for MetreError {}

impl Metre {
    /// Two minims.
    pub const TWO_TWO: Self = Self::usual(2, 2);
    /// Two crotchets.
    pub const TWO_FOUR: Self = Self::usual(2, 4);
    /// Three crotchets.
    pub const THREE_FOUR: Self = Self::usual(3, 4);
    /// Four crotchets.
    pub const FOUR_FOUR: Self = Self::usual(4, 4);
    /// Two dotted crotchets.
    pub const SIX_EIGHT: Self = Self::usual(6, 8);
    /// Three dotted crotchets.
    pub const NINE_EIGHT: Self = Self::usual(9, 8);
    /// Four dotted crotchets.
    pub const TWELVE_EIGHT: Self = Self::usual(12, 8);

    /// No metre, as a pibroch's ground has none: bars of any length, no clicks. What needs a bar, as
    /// the breath does, takes four crotchets.
    pub const FREE: Self = Self {
        free: true,
        ..Self::FOUR_FOUR
    };

    /// The metres that most pipe music has.
    pub const USUAL: [Self; 7] = [
        Self::TWO_TWO,
        Self::TWO_FOUR,
        Self::THREE_FOUR,
        Self::FOUR_FOUR,
        Self::SIX_EIGHT,
        Self::NINE_EIGHT,
        Self::TWELVE_EIGHT,
    ];

    /// What a metre may be, for a sentence.
    pub const EXPECTED: &str =
        "a number from 1 to 32 over 1, 2, 4, 8 or 16, such as 4/4 or 6/8, or `none`";
    /// The most notes in a bar, and beats in one.
    const MOST: u8 = 32;

    /// The usual count: where the upper figure is 6, 9, 12 … and the lower one 4 or more, three
    /// notes are one beat; in every other metre the lower figure names the beat (so 3/8 has three
    /// quavers, 3/2 three minims, 5/8 and 7/8 five and seven quavers). Five quavers or more, and
    /// semiquavers, are counted in twos, the last two with what is left over: 5/8 as 2 + 3, 7/8 as
    /// 2 + 2 + 3 (common practice, no source).
    const fn usual(above: u8, below: u8) -> Self {
        let compound = above > 3 && above.is_multiple_of(3) && below >= 4;
        let beat = if compound { (3, below) } else { (1, below) };
        let mut groups = 0_u32;
        if !compound && above > 4 && below > 4 {
            let mut begins = 0;
            while begins + 1 < above {
                groups |= 1 << begins;
                begins += 2;
            }
        }
        Self {
            above,
            below,
            beat,
            groups,
            free: false,
            pace: (1, 1),
        }
    }

    /// The metre of two figures, counted as usual; none outside 1 to 32 over 1, 2, 4, 8, 16.
    pub fn of(above: u32, below: u32) -> Option<Self> {
        let above = u8::try_from(above).ok()?;
        let below = u8::try_from(below).ok()?;
        let fits = (1..=Self::MOST).contains(&above) && matches!(below, 1 | 2 | 4 | 8 | 16);
        fits.then(|| Self::usual(above, below))
    }

    /// The same with another beat: a note value, plain or dotted, of which a bar has a whole number
    /// up to 32.
    pub fn with_beat(self, part_of_semibreve: Fraction) -> Option<Self> {
        if part_of_semibreve <= Fraction::from_integer(0) {
            return None;
        }
        let count = self.bar_of_semibreve() / part_of_semibreve;
        let (above, below) = (*part_of_semibreve.numer(), *part_of_semibreve.denom());
        let fits = count.is_integer()
            && count <= Fraction::from_integer(i128::from(Self::MOST))
            && matches!(above, 1 | 3)
            && matches!(below, 1 | 2 | 4 | 8 | 16);
        let beat = (u8::try_from(above).ok()?, u8::try_from(below).ok()?);
        let groups = if beat == self.beat { self.groups } else { 0 };
        fits.then_some(Self {
            beat,
            groups,
            ..self
        })
    }

    /// The same counted in groups of so many of the lower figure's notes, such as 3 + 2 in 5/8. As it is
    /// where these are its beats, and where those notes are crotchets or longer, which are counted one by
    /// one.
    fn in_groups(self, sizes: &[u32]) -> Self {
        let sum: u32 = sizes.iter().sum();
        let beats = self.is_compound() && sizes.iter().all(|size| *size == 3);
        if sizes.len() < 2 || beats || self.below < 8 || sum != u32::from(self.above) {
            return self;
        }
        let mut begins = 0;
        let mut groups = 0;
        for size in sizes {
            groups |= 1 << begins;
            begins += size;
        }
        Self {
            beat: (1, self.below),
            groups,
            ..self
        }
    }

    /// How long each group is, in beats; nothing where each beat is counted by itself.
    fn group_sizes(self) -> Vec<u32> {
        let beats = self.beats_in_a_bar();
        let mut begins: Vec<u32> = (0..beats)
            .filter(|beat| self.groups >> beat & 1 == 1)
            .collect();
        begins.push(beats);
        begins.windows(2).map(|two| two[1] - two[0]).collect()
    }

    /// How many counts a bar has: its groups, or else its beats. A click falls on each.
    pub fn counts_in_a_bar(self) -> u32 {
        match self.groups {
            0 => self.beats_in_a_bar(),
            groups => groups.count_ones(),
        }
    }

    /// True where a beat of the bar, from 0, is counted.
    pub fn is_counted(self, beat: u32) -> bool {
        self.groups == 0
            || self
                .groups
                .checked_shr(beat)
                .is_some_and(|from| from & 1 == 1)
    }

    /// Which count of the bar a beat belongs to, both from 0.
    pub fn count_of(self, beat: u32) -> u32 {
        if self.groups == 0 {
            return beat;
        }
        let up_to = self.groups & (u32::MAX >> (31 - beat.min(31)));
        up_to.count_ones().saturating_sub(1)
    }

    /// The two figures as printed.
    pub fn figures(self) -> (u32, u32) {
        (u32::from(self.above), u32::from(self.below))
    }

    /// True where there is no metre.
    pub fn is_free(self) -> bool {
        self.free
    }

    /// `6/8`: what is written down, without a word on the beat; `3+2/8` where it is counted in other
    /// groups than is usual; `none` where there is no metre.
    pub fn printed(self) -> String {
        if self.free {
            return "none".to_owned();
        }
        format!("{}/{}", self.above_as_counted(), self.below)
    }

    /// The upper figure, as a sum where it is counted in other groups than is usual.
    pub fn above_as_counted(self) -> String {
        if self.groups == Self::usual(self.above, self.below).groups || self.groups == 0 {
            return self.above.to_string();
        }
        let sizes: Vec<String> = self.group_sizes().iter().map(u32::to_string).collect();
        sizes.join("+")
    }

    /// The beat, where it is not the usual one.
    pub fn own_beat(self) -> Option<Fraction> {
        let beat = self.beat_of_semibreve();
        (beat != Self::usual(self.above, self.below).beat_of_semibreve()).then_some(beat)
    }

    /// How long a beat lasts, in beats that the tempo counts.
    pub fn pace(self) -> Fraction {
        Fraction::new(i128::from(self.pace.0), i128::from(self.pace.1))
    }

    /// The same with beats that last so long; none where that is not a ratio of small numbers.
    pub fn with_pace(self, pace: Fraction) -> Option<Self> {
        let above = u8::try_from(*pace.numer())
            .ok()
            .filter(|above| *above > 0)?;
        let below = u8::try_from(*pace.denom()).ok()?;
        let pace = (above, below);
        Some(Self { pace, ..self })
    }

    /// This metre after another, where one note of the other lasts as long as one of this: both as
    /// parts of a semibreve, the one before first.
    pub fn where_equal(self, before: Self, notes: (Fraction, Fraction)) -> Option<Self> {
        if [notes.0, notes.1].iter().any(|note| !is_note(*note)) {
            return None;
        }
        let lasts = before.beats_of(notes.0).0 * before.pace();
        self.with_pace(lasts / self.beats_of(notes.1).0)
    }

    /// This metre after another with beats of about such a length, where a note stays equal then.
    pub fn at_about(self, before: Self, pace: Fraction) -> Option<Self> {
        /// How long a beat may last in those before it.
        const RATIOS: [(i128, i128); 8] = [
            (3, 2),
            (2, 3),
            (2, 1),
            (1, 2),
            (3, 4),
            (4, 3),
            (3, 1),
            (1, 3),
        ];
        let ratios = RATIOS
            .into_iter()
            .map(|(above, below)| Fraction::new(above, below));
        let near = ratios.map(|ratio| before.pace() * ratio).find(|near| {
            let off = pace / *near;
            off > Fraction::new(98, 100) && off < Fraction::new(102, 100)
        });
        self.with_pace(near?)
    }

    /// Which note of the metre before lasts as long as which of this, where it is not the beat.
    pub fn equal_notes(self, before: Self) -> Option<(Fraction, Fraction)> {
        if self.pace() == before.pace() {
            return None;
        }
        let lefts = [(1, 8), (1, 4), (1, 16), (3, 8), (1, 2), (3, 4)];
        lefts.into_iter().find_map(|(above, below)| {
            let left = Fraction::new(above, below);
            let lasts = before.beats_of(left).0 * before.pace() / self.pace();
            let right = lasts * self.beat_of_semibreve();
            is_note(right).then_some((left, right))
        })
    }

    /// A bar in beats that the tempo counts.
    pub fn bar_of_time(self) -> Beats {
        self.bar() * self.pace()
    }

    /// Reads `4/4`; also ABC's `C` (4/4), `C|` (2/2) and `none`, and sums such as `2+3/8`.
    ///
    /// # Errors
    /// Any other text.
    pub fn parse(text: &str) -> Result<Self, MetreError> {
        let text = text.trim();
        match text {
            "C" => return Ok(Self::FOUR_FOUR),
            "C|" => return Ok(Self::TWO_TWO),
            "none" => return Ok(Self::FREE),
            _ => {}
        }
        let read = || -> Option<Self> {
            let (above, below) = text.split_once('/')?;
            let above = above.trim().trim_start_matches('(').trim_end_matches(')');
            let sizes = above.split('+').map(number).collect::<Option<Vec<u32>>>()?;
            let sum = sizes
                .iter()
                .try_fold(0_u32, |sum, size| sum.checked_add(*size));
            let metre = Self::of(sum?, number(below)?)?;
            sizes
                .iter()
                .all(|size| *size > 0)
                .then(|| metre.in_groups(&sizes))
        };
        read().ok_or_else(|| MetreError(text.to_owned()))
    }

    /// True where the beat has three parts.
    pub fn is_compound(self) -> bool {
        self.beat.0 == 3
    }

    /// Beats in a bar.
    pub fn beats_in_a_bar(self) -> u32 {
        let count = self.bar_of_semibreve() / self.beat_of_semibreve();
        u32::try_from(count.to_integer()).unwrap_or(1)
    }

    /// The length of a bar.
    pub fn bar(self) -> Beats {
        Beats::whole(i128::from(self.beats_in_a_bar()))
    }

    fn bar_of_semibreve(self) -> Fraction {
        Fraction::new(i128::from(self.above), i128::from(self.below))
    }

    /// One beat as a part of a semibreve: 1/2, 1/4 or 3/8.
    pub fn beat_of_semibreve(self) -> Fraction {
        // in lowest terms: 1 or 3 over a power of two
        Fraction::new_raw(i128::from(self.beat.0), i128::from(self.beat.1))
    }

    /// What a beat is first divided into, as a part of a semibreve: a third of a compound beat;
    /// a plain beat itself.
    pub fn part_of_a_beat(self) -> Fraction {
        Fraction::new_raw(1, i128::from(self.beat.1))
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

    /// The value of a beat, and whether it is dotted.
    pub fn beat_value(self) -> (NoteValue, bool) {
        plain_or_dotted(self.beat_of_semibreve())
    }

    /// Which notes share a beam, counted from the start of the bar: those of one beat. Beats shorter
    /// than a crotchet are taken together, as many as make one, the last of them with what is left
    /// over (common practice, no source); those that are counted in groups, by these.
    pub fn beam_at(self, place: Beats) -> i128 {
        let beat = place.0.floor().to_integer();
        if self.free {
            return beat;
        }
        if self.groups != 0 {
            return u32::try_from(beat).map_or(beat, |beat| self.count_of(beat).into());
        }
        let (value, _) = self.beat_value();
        let together = match value {
            NoteValue::Quaver if !self.is_compound() => 2,
            NoteValue::Semiquaver if !self.is_compound() => 4,
            _ => 1,
        };
        let last = (i128::from(self.beats_in_a_bar()) / together - 1).max(0);
        (beat / together).min(last)
    }
}

/// The value of a part of a semibreve that one head writes, and whether it is dotted.
pub fn plain_or_dotted(part: Fraction) -> (NoteValue, bool) {
    let dotted = *part.numer() == 3;
    // a dotted crotchet is three quavers
    let below = if dotted {
        *part.denom() / 2
    } else {
        *part.denom()
    };
    let value = match below {
        0 | 1 => NoteValue::Semibreve,
        2 => NoteValue::Minim,
        4 => NoteValue::Crotchet,
        8 => NoteValue::Quaver,
        _ => NoteValue::Semiquaver,
    };
    (value, dotted)
}

/// True of a note that one head writes, plain or dotted, from a semiquaver to a semibreve.
fn is_note(part: Fraction) -> bool {
    let (above, below) = (*part.numer(), *part.denom());
    matches!(above, 1 | 3) && matches!(below, 1 | 2 | 4 | 8 | 16)
}

fn number(text: &str) -> Option<u32> {
    let text = text.trim();
    let digits = !text.is_empty() && text.len() < 4 && text.bytes().all(|b| b.is_ascii_digit());
    digits.then(|| text.parse().ok()).flatten()
}

impl std::fmt::Display for Metre {
    /// `6/8`; with a beat of its own `3/8 by 3/8`, with beats of another length `6/8 at 3/2`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // how its beats are grouped is no part of what is written
        if self.free {
            f.write_str("none")?;
        } else {
            write!(f, "{}/{}", self.above, self.below)?;
        }
        if let Some(beat) = self.own_beat() {
            write!(f, " by {}", write_fraction(&beat))?;
        }
        if self.pace != (1, 1) {
            write!(f, " at {}", write_fraction(&self.pace()))?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_beat_is_the_minim_in_two_two_and_the_dotted_crotchet_in_compound_metres() {
        assert_eq!(Metre::TWO_TWO.beats_of(Fraction::new(1, 2)), Beats::ONE);
        assert_eq!(Metre::SIX_EIGHT.beats_of(Fraction::new(3, 8)), Beats::ONE);
        assert_eq!(
            Metre::FOUR_FOUR.beats_of(Fraction::new(1, 8)),
            Beats::new(1, 2)
        );
        for above in 1..=32 {
            for below in [1, 2, 4, 8, 16] {
                let metre = Metre::of(above, below).expect("a metre");
                let bar = metre.semibreves_of(metre.bar());
                assert_eq!(bar, Fraction::new(i128::from(above), i128::from(below)));
                assert_eq!(Metre::parse(&metre.to_string()), Ok(metre));
            }
        }
    }

    /// The usual count of theory books (common practice, no source).
    #[test]
    fn beats_are_counted_as_usual() {
        for (text, beats, name) in [
            ("3/8", 3, "quaver"),
            ("5/8", 5, "quaver"),
            ("7/8", 7, "quaver"),
            ("9/8", 3, "dotted crotchet"),
            ("5/4", 5, "crotchet"),
            ("6/4", 2, "dotted minim"),
            ("3/2", 3, "minim"),
            ("4/2", 4, "minim"),
            ("6/2", 6, "minim"),
            ("2/1", 2, "semibreve"),
            ("6/16", 2, "dotted quaver"),
            ("2+3/8", 5, "quaver"),
        ] {
            let metre = Metre::parse(text).expect("a metre");
            assert_eq!(metre.beats_in_a_bar(), beats, "{text}");
            let (value, dotted) = metre.beat_value();
            let dotted = if dotted { "dotted " } else { "" };
            assert_eq!(format!("{dotted}{}", value.name()), name, "{text}");
        }
    }

    /// 5/8 as two and three and 7/8 as twos and a three are the usual groups of theory books (common
    /// practice, no source); ABC 2.1 section 3.1.6 writes others as sums.
    #[test]
    fn quavers_are_counted_in_groups() {
        for (text, counts, beams, written) in [
            ("5/8", 2, "00111", "5/8"),
            ("2+3/8", 2, "00111", "5/8"),
            ("3+2/8", 2, "00011", "3+2/8"),
            ("(3+2)/8", 2, "00011", "3+2/8"),
            ("7/8", 3, "0011222", "7/8"),
            ("3+2+2/8", 3, "0001122", "3+2+2/8"),
            ("2+2+2+3/8", 4, "001122333", "2+2+2+3/8"),
            ("3+3+3/8", 3, "012", "9/8"),
            ("3+3+2/8", 3, "00011122", "3+3+2/8"),
            ("3+2/4", 5, "01234", "5/4"),
        ] {
            let metre = Metre::parse(text).expect("a metre");
            assert_eq!(metre.counts_in_a_bar(), counts, "{text}");
            let beats = metre.beats_in_a_bar();
            let places = (0..i128::from(beats)).map(Beats::whole);
            let found: String = places.map(|at| metre.beam_at(at).to_string()).collect();
            assert_eq!(found, beams, "{text}");
            let counted = (0..beats).filter(|beat| metre.is_counted(*beat)).count();
            assert_eq!(counted as u32, counts, "{text}");
            let of: String = (0..beats)
                .map(|beat| metre.count_of(beat).to_string())
                .collect();
            assert_eq!(of, beams, "{text}");
            assert_eq!(metre.printed(), written);
            assert_eq!(
                Metre::parse(written).map(Metre::counts_in_a_bar),
                Ok(counts)
            );
        }
        // what is written is the same, however it is counted
        let metre = Metre::parse("3+2/8").expect("a metre");
        assert_eq!(metre.to_string(), "5/8");
        assert!(Metre::parse("0+5/8").is_err());
    }

    #[test]
    fn a_beat_of_ones_own_must_fill_the_bar() {
        let metre = Metre::parse("3/8").expect("a metre");
        let one = metre.with_beat(Fraction::new(3, 8)).expect("one in a bar");
        assert_eq!((one.beats_in_a_bar(), one.is_compound()), (1, true));
        assert_eq!(one.to_string(), "3/8 by 3/8");
        let quavers = Metre::TWO_FOUR.with_beat(Fraction::new(1, 8));
        assert_eq!(quavers.map(Metre::beats_in_a_bar), Some(4));
        assert_eq!(metre.with_beat(Fraction::new(1, 4)), None);
        assert_eq!(metre.with_beat(Fraction::new(1, 3)), None);
        assert_eq!(
            Metre::of(32, 1).and_then(|m| m.with_beat(Fraction::new(1, 2))),
            None
        );
    }

    #[test]
    fn what_is_no_metre_is_told() {
        for text in [
            "", "4", "0/4", "33/4", "4/3", "4/32", "4/0", "-4/4", "4/4/4", "free", "٣/٤", "0004/4",
        ] {
            let told = Metre::parse(text).expect_err(text).to_string();
            assert_eq!(told, format!("metre `{text}` is not {}", Metre::EXPECTED));
        }
    }

    /// ABC 2.1 §3.1.6: "the symbols C and C| to denote common time (4/4) and cut time (2/2)".
    #[test]
    fn the_letters_of_abc_are_metres() {
        assert_eq!(Metre::parse("C"), Ok(Metre::FOUR_FOUR));
        assert_eq!(Metre::parse(" C| "), Ok(Metre::TWO_TWO));
    }

    /// Theory books' worked case: from 2/4 to 6/8 with quaver = quaver a dotted crotchet lasts a
    /// crotchet and a half; with crotchet = dotted crotchet the beat stays (common practice, no source).
    #[test]
    fn a_note_that_stays_equal_says_how_long_a_beat_lasts() {
        let quaver = Fraction::new(1, 8);
        let crotchet = Fraction::new(1, 4);
        let jig = Metre::SIX_EIGHT
            .where_equal(Metre::TWO_FOUR, (quaver, quaver))
            .expect("a pace");
        assert_eq!(jig.pace(), Fraction::new(3, 2));
        assert_eq!(jig.to_string(), "6/8 at 3/2");
        assert_eq!(jig.bar_of_time(), Beats::whole(3));
        assert_eq!(jig.equal_notes(Metre::TWO_FOUR), Some((quaver, quaver)));
        let beat = Metre::SIX_EIGHT
            .where_equal(Metre::TWO_FOUR, (crotchet, Fraction::new(3, 8)))
            .expect("a pace");
        assert_eq!(beat, Metre::SIX_EIGHT);
        assert_eq!(beat.equal_notes(Metre::TWO_FOUR), None);
        // and back: the crotchet is what it was at first
        let march = Metre::TWO_FOUR
            .where_equal(jig, (quaver, quaver))
            .expect("a pace");
        assert_eq!(march, Metre::TWO_FOUR);
        assert_eq!(march.equal_notes(jig), Some((quaver, quaver)));
        // after 2/2 with minim = crotchet the beat stays; with crotchet = crotchet it is half of it
        let minim = Fraction::new(1, 2);
        let slow = Metre::FOUR_FOUR.where_equal(Metre::TWO_TWO, (minim, crotchet));
        assert_eq!(slow, Some(Metre::FOUR_FOUR));
        let reel = Metre::FOUR_FOUR
            .where_equal(Metre::TWO_TWO, (crotchet, crotchet))
            .expect("a pace");
        assert_eq!(reel.pace(), minim);
        assert_eq!(reel.equal_notes(Metre::TWO_TWO), Some((quaver, quaver)));
        for none in [(Fraction::new(5, 8), quaver), (quaver, Fraction::new(1, 3))] {
            assert_eq!(Metre::SIX_EIGHT.where_equal(Metre::TWO_FOUR, none), None);
        }
    }

    #[test]
    fn a_pace_is_a_ratio_of_small_numbers() {
        let with = |above, below| {
            let metre = Metre::TWO_FOUR.with_pace(Fraction::new(above, below))?;
            Some(metre.pace())
        };
        for (above, below) in [(1, 1), (3, 2), (255, 1), (1, 255)] {
            assert_eq!(with(above, below), Some(Fraction::new(above, below)));
        }
        for (above, below) in [(0, 1), (-1, 1), (256, 1), (1, 256)] {
            assert_eq!(with(above, below), None, "{above}/{below}");
        }
    }

    /// Within two per cent; what lies on the edge is no longer near.
    #[test]
    fn a_beat_of_about_a_simple_ratio_has_that_ratio() {
        let jig = Metre::SIX_EIGHT
            .with_pace(Fraction::new(3, 2))
            .expect("a pace");
        for before in [Metre::TWO_FOUR, jig] {
            let ratio = Fraction::new(2, 3);
            let near = |percent: i128| {
                let pace = before.pace() * ratio * Fraction::new(percent, 100);
                let metre = Metre::SIX_EIGHT.at_about(before, pace)?;
                Some(metre.pace() / before.pace())
            };
            for percent in [99, 100, 101] {
                assert_eq!(near(percent), Some(ratio), "{percent}");
            }
            for percent in [97, 98, 102, 103] {
                assert_eq!(near(percent), None, "{percent}");
            }
        }
    }

    #[test]
    fn no_metre_is_none() {
        assert_eq!(Metre::parse("none"), Ok(Metre::FREE));
        assert_eq!(Metre::FREE.to_string(), "none");
        assert!(Metre::FREE != Metre::FOUR_FOUR && Metre::FREE.is_free());
        // ABC 2.1 section 3.1.7: "if there is no M: field … or it is M:none … the default is 1/8"
        assert_eq!(Metre::FREE.default_unit(), Fraction::new(1, 8));
    }

    #[test]
    fn short_beats_share_a_beam_up_to_a_crotchet() {
        let beams = |text: &str| -> Vec<i128> {
            let metre = Metre::parse(text).expect("a metre");
            (0..i128::from(metre.beats_in_a_bar()))
                .map(|beat| metre.beam_at(Beats::whole(beat)))
                .collect()
        };
        assert_eq!(beams("3/8"), [0, 0, 0]);
        assert_eq!(beams("5/8"), [0, 0, 1, 1, 1]);
        assert_eq!(beams("7/8"), [0, 0, 1, 1, 2, 2, 2]);
        assert_eq!(beams("4/8"), [0, 0, 1, 1]);
        assert_eq!(beams("4/4"), [0, 1, 2, 3]);
        assert_eq!(beams("6/16"), [0, 1]);
        assert_eq!(beams("8/16"), [0, 0, 0, 0, 1, 1, 1, 1]);
        assert_eq!(beams("7/16"), [0, 0, 0, 0, 0, 0, 0]);
    }

    /// ABC 2.1 §3.1.7: "if the meter … is less than 0.75 the default unit note length is a
    /// sixteenth note; if it is 0.75 or greater, it is an eighth note".
    #[test]
    fn the_default_unit_is_that_of_abc() {
        assert_eq!(Metre::TWO_FOUR.default_unit(), Fraction::new(1, 16));
        for metre in [
            Metre::THREE_FOUR,
            Metre::FOUR_FOUR,
            Metre::SIX_EIGHT,
            Metre::TWO_TWO,
        ] {
            assert_eq!(metre.default_unit(), Fraction::new(1, 8), "{metre}");
        }
    }
}
