//! Metres: how a bar is counted.

mod groups;

use super::NoteValue;
use crate::units::{Beats, Fraction, write_fraction};

/// A metre: how many notes of which value make a bar, and which note value is the beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Metre {
    /// The upper figure, 1 to 32.
    above: u8,
    /// The lower figure: 1, 2, 4, 8 or 16.
    below: u8,
    /// The beat as a part of a semibreve, upper and lower number: (3, 8) for a dotted crotchet.
    beat: (u8, u8),
    /// A bit for each beat that begins a group; the lowest bit is the first beat of the bar. 0 when
    /// the beats are not counted in groups.
    groups: u32,
    /// True for music without a metre. The figures then give the length of the breath and of the
    /// count-in.
    free: bool,
    /// How long a beat of this metre lasts, in beats that the tempo counts, as upper and lower
    /// number. It is 1 except after a change of metre at which a note other than the beat keeps its
    /// length.
    pace: (u8, u8),
}

/// Why a text is not a metre.
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

    /// No metre, as in the ground of a pibroch: bars have any length and there are no clicks. What
    /// needs a bar, such as the breath, takes four crotchets.
    pub const FREE: Self = Self {
        free: true,
        ..Self::FOUR_FOUR
    };

    /// The metres of most pipe music.
    pub const USUAL: [Self; 7] = [
        Self::TWO_TWO,
        Self::TWO_FOUR,
        Self::THREE_FOUR,
        Self::FOUR_FOUR,
        Self::SIX_EIGHT,
        Self::NINE_EIGHT,
        Self::TWELVE_EIGHT,
    ];

    /// What a metre may be, for error messages.
    pub const EXPECTED: &str =
        "a number from 1 to 32 over 1, 2, 4, 8 or 16, such as 4/4 or 6/8, or `none`";
    /// The most notes in a bar, and the most beats in a bar.
    const MOST: u8 = 32;

    /// The usual way to count a metre. Where the upper figure is 6, 9, 12 … and the lower one is 4
    /// or more, three notes make one beat. In every other metre the lower figure names the beat:
    /// 3/8 has three quavers, 3/2 three minims, 5/8 five and 7/8 seven quavers. Five or more
    /// quavers, and an odd number of semiquavers, are counted in groups of two; an odd one left
    /// over joins the last group: 5/8 as 2 + 3, 7/8 as 2 + 2 + 3 (common practice, no source).
    const fn usual(above: u8, below: u8) -> Self {
        let compound = above > 3 && above.is_multiple_of(3) && below >= 4;
        let beat = if compound { (3, below) } else { (1, below) };
        let mut groups = 0_u32;
        let odd = above % 2 == 1;
        if !compound && above > 4 && (below == 8 || below == 16 && odd) {
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

    /// The metre of two figures with its usual beat; none when the upper figure is not 1 to 32 or
    /// the lower one is not 1, 2, 4, 8 or 16.
    pub fn of(above: u32, below: u32) -> Option<Self> {
        let above = u8::try_from(above).ok()?;
        let below = u8::try_from(below).ok()?;
        let fits = (1..=Self::MOST).contains(&above) && matches!(below, 1 | 2 | 4 | 8 | 16);
        fits.then(|| Self::usual(above, below))
    }

    /// The same metre with another beat. The beat must be a note value, plain or dotted, and the
    /// bar must hold a whole number of them, at most 32.
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

    /// The two figures as printed.
    pub fn figures(self) -> (u32, u32) {
        (u32::from(self.above), u32::from(self.below))
    }

    /// True where there is no metre.
    pub fn is_free(self) -> bool {
        self.free
    }

    /// The metre as it is printed, without its beat: `6/8`. It is `3+2/8` where the beats are
    /// counted in groups other than the usual ones, and `none` where there is no metre.
    pub fn printed(self) -> String {
        if self.free {
            return "none".to_owned();
        }
        format!("{}/{}", self.above_as_counted(), self.below)
    }

    /// The beat as a part of a semibreve; none when it is the usual beat.
    pub fn own_beat(self) -> Option<Fraction> {
        let beat = self.beat_of_semibreve();
        (beat != Self::usual(self.above, self.below).beat_of_semibreve()).then_some(beat)
    }

    /// How long a beat of this metre lasts, in beats that the tempo counts.
    pub fn pace(self) -> Fraction {
        Fraction::new(i128::from(self.pace.0), i128::from(self.pace.1))
    }

    /// The same metre with beats of this length (in beats that the tempo counts); none when the
    /// length is not a ratio of small numbers.
    pub fn with_pace(self, pace: Fraction) -> Option<Self> {
        let above = u8::try_from(*pace.numer())
            .ok()
            .filter(|above| *above > 0)?;
        let below = u8::try_from(*pace.denom()).ok()?;
        let pace = (above, below);
        Some(Self { pace, ..self })
    }

    /// This metre when it follows `before` and one note of `before` lasts as long as one note of
    /// this metre. `notes` are those two notes as parts of a semibreve, the note of `before` first.
    pub fn where_equal(self, before: Self, notes: (Fraction, Fraction)) -> Option<Self> {
        if [notes.0, notes.1].iter().any(|note| !is_note(*note)) {
            return None;
        }
        let lasts = before.beats_of(notes.0).0 * before.pace();
        self.with_pace(lasts / self.beats_of(notes.1).0)
    }

    /// This metre when it follows `before` and its beats last about `pace`; none when no simple
    /// ratio is near.
    pub fn at_about(self, before: Self, pace: Fraction) -> Option<Self> {
        /// The possible lengths of a beat, in beats of the metre before.
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

    /// Which note of the metre before lasts as long as which note of this metre; none when the
    /// beats themselves are equal.
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

    /// The length of a bar in beats that the tempo counts.
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

    /// True when the beat divides into three parts.
    pub fn is_compound(self) -> bool {
        self.beat.0 == 3
    }

    /// Beats in a bar.
    pub fn beats_in_a_bar(self) -> u32 {
        let count = self.bar_of_semibreve() / self.beat_of_semibreve();
        u32::try_from(count.to_integer()).unwrap_or(1)
    }

    /// The length of a bar in beats of this metre.
    pub fn bar(self) -> Beats {
        Beats::whole(i128::from(self.beats_in_a_bar()))
    }

    fn bar_of_semibreve(self) -> Fraction {
        Fraction::new(i128::from(self.above), i128::from(self.below))
    }

    /// One beat as a part of a semibreve: 1/2, 1/4 or 3/8.
    pub fn beat_of_semibreve(self) -> Fraction {
        // The numbers are in lowest terms already: 1 or 3 over a power of two.
        Fraction::new_raw(i128::from(self.beat.0), i128::from(self.beat.1))
    }

    /// The first division of a beat as a part of a semibreve: a third of a compound beat, or a
    /// plain beat itself.
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

    /// The unit note length of ABC 2.1 (§3.1.7) when none is given: 1/16 when the metre as a
    /// fraction is less than 3/4, otherwise 1/8.
    pub fn default_unit(self) -> Fraction {
        let (above, below) = self.figures();
        if above * 4 < below * 3 {
            Fraction::new_raw(1, 16)
        } else {
            Fraction::new_raw(1, 8)
        }
    }

    /// The note value of a beat, and whether it is dotted.
    pub fn beat_value(self) -> (NoteValue, bool) {
        plain_or_dotted(self.beat_of_semibreve())
    }

    /// The number of the beam that a note at `place` belongs to; notes with the same number share a
    /// beam. Notes of one beat share a beam. Beats shorter than a crotchet are joined until they
    /// make one; beats left over join the last beam (common practice, no source). Where beats are
    /// counted in groups, each group has one beam.
    pub fn beam_at(self, place: Beats) -> i128 {
        let beat = place.0.floor().to_integer();
        if self.free {
            return beat;
        }
        if self.is_grouped() {
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

/// The note value and whether it is dotted, for a part of a semibreve that one note head can write.
pub fn plain_or_dotted(part: Fraction) -> (NoteValue, bool) {
    let dotted = *part.numer() == 3;
    // A dotted crotchet is 3/8, and its plain value has half that denominator: 1/4.
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

/// True when one note head, plain or dotted, can write the length, from a semiquaver to a
/// semibreve.
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
    /// Writes `6/8`, `3/8 by 3/8` with an unusual beat, `6/8 at 3/2` with beats of another length.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // The grouping of the beats is not part of the written form.
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
mod tests;
