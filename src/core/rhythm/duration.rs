//! How a length is written: a note value with dots, or several tied.

use crate::units::Fraction;
use num_traits::Zero;

/// The plain note values, longest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum NoteValue {
    /// Whole note.
    Semibreve,
    /// Half note.
    Minim,
    /// Quarter note.
    Crotchet,
    /// Eighth note.
    Quaver,
    /// Sixteenth note.
    Semiquaver,
    /// Thirty-second note.
    Demisemiquaver,
    /// Sixty-fourth note.
    Hemidemisemiquaver,
}

impl NoteValue {
    /// Longest first.
    pub const ALL: [Self; 7] = [
        Self::Semibreve,
        Self::Minim,
        Self::Crotchet,
        Self::Quaver,
        Self::Semiquaver,
        Self::Demisemiquaver,
        Self::Hemidemisemiquaver,
    ];

    /// Its name, for a sentence.
    pub fn name(self) -> &'static str {
        match self {
            Self::Semibreve => "semibreve",
            Self::Minim => "minim",
            Self::Crotchet => "crotchet",
            Self::Quaver => "quaver",
            Self::Semiquaver => "semiquaver",
            Self::Demisemiquaver => "demisemiquaver",
            Self::Hemidemisemiquaver => "hemidemisemiquaver",
        }
    }

    /// Its length as a part of a semibreve.
    pub fn part_of_semibreve(self) -> Fraction {
        Fraction::new_raw(1, 1 << (self as u32))
    }

    /// The number of its flags or beams: none down to the crotchet, one for the quaver, and so on.
    pub fn flags(self) -> u8 {
        (self as u8).saturating_sub(Self::Crotchet as u8)
    }
}

/// A length as one written note: a note value with up to two dots. The first dot adds half of the
/// value, the second dot adds a quarter of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct WrittenLength {
    /// The note value before dots.
    pub value: NoteValue,
    /// 0, 1 or 2.
    pub dots: u8,
}

impl WrittenLength {
    /// Its length as a part of a semibreve.
    pub fn part_of_semibreve(self) -> Fraction {
        let base = self.value.part_of_semibreve();
        let more = match self.dots {
            0 => Fraction::zero(),
            1 => Fraction::new_raw(1, 2),
            _ => Fraction::new_raw(3, 4),
        };
        base + base * more
    }

    /// The one written note with exactly this length; none when several would be needed.
    pub fn exactly(part_of_semibreve: Fraction) -> Option<Self> {
        let wanted = in_smallest(part_of_semibreve)?;
        Self::all().find(|length| length.in_smallest() == wanted)
    }

    /// The one written note nearest to a part of a semibreve.
    pub(super) fn nearest(part_of_semibreve: f64) -> Self {
        let off = |length: &Self| (length.in_smallest() as f64 - part_of_semibreve * 256.0).abs();
        Self::all()
            .min_by(|a, b| off(a).total_cmp(&off(b)))
            .unwrap_or(Self {
                value: NoteValue::Crotchet,
                dots: 0,
            })
    }

    /// The written notes that, tied, last this part of a semibreve, the longest first. Empty when
    /// no sum of written notes has this length. A stage's lengths are divided into these notes
    /// wherever they stand, so that the names of its notes and the fingerprints of its cells stay
    /// the same. The printed notes come from [`super::write_bar`].
    pub fn tied(part_of_semibreve: Fraction) -> Vec<Self> {
        // Every stage of every drill calls this many times. So it computes with whole numbers,
        // which are quicker than fractions.
        let Some(mut left) = in_smallest(part_of_semibreve) else {
            return Vec::new();
        };
        let mut parts = Vec::new();
        while left != 0 {
            let fit = Self::all()
                .filter(|length| length.in_smallest() <= left)
                .max_by_key(|length| length.in_smallest());
            match fit {
                Some(length) if parts.len() < 64 => {
                    left -= length.in_smallest();
                    parts.push(length);
                }
                _ => return Vec::new(),
            }
        }
        parts
    }

    fn all() -> impl Iterator<Item = Self> {
        NoteValue::ALL
            .into_iter()
            .flat_map(|value| (0..=2).map(move |dots| Self { value, dots }))
    }

    /// Its length as a number of the smallest parts.
    fn in_smallest(self) -> i128 {
        let base = SMALLEST >> (self.value as u32);
        match self.dots {
            0 => base,
            1 => base + base / 2,
            _ => base + base / 2 + base / 4,
        }
    }
}

/// The number of smallest parts in a semibreve. The smallest part is a quarter of the shortest note
/// value, which is what its second dot adds.
const SMALLEST: i128 = 256;

/// A part of a semibreve as a number of smallest parts; none when it is not a whole number of them.
fn in_smallest(part_of_semibreve: Fraction) -> Option<i128> {
    let (above, below) = (part_of_semibreve.numer(), part_of_semibreve.denom());
    if *below == 0 || SMALLEST % below != 0 {
        return None;
    }
    above.checked_mul(SMALLEST / below)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Computing with whole numbers gives the same lengths as computing with fractions.
    #[test]
    fn lengths_in_smallest_parts_are_those_in_fractions() {
        for length in WrittenLength::all() {
            let part = length.part_of_semibreve();
            assert_eq!(in_smallest(part), Some(length.in_smallest()));
            assert_eq!(WrittenLength::exactly(part), Some(length));
        }
        assert_eq!(WrittenLength::all().count(), 21);
        assert_eq!(in_smallest(Fraction::new(1, 512)), None);
    }

    #[test]
    fn a_second_dot_adds_half_of_the_first() {
        let length = WrittenLength {
            value: NoteValue::Crotchet,
            dots: 2,
        };
        // 1 + 1/2 + 1/4 crotchets = 7/16 of a semibreve.
        assert_eq!(length.part_of_semibreve(), Fraction::new(7, 16));
        assert_eq!(WrittenLength::exactly(Fraction::new(7, 16)), Some(length));
    }

    /// A crotchet has no flag, and gracenotes are 32nd notes with three beams (LilyPond 2.24 NR
    /// 2.6.2).
    #[test]
    fn each_shorter_value_has_a_flag_more() {
        let flags = NoteValue::ALL.map(NoteValue::flags);
        assert_eq!(flags, [0, 0, 0, 1, 2, 3, 4]);
        assert_eq!(NoteValue::Demisemiquaver.flags(), 3);
    }

    #[test]
    fn the_nearest_note_is_the_one_whose_length_differs_least() {
        for length in WrittenLength::all() {
            let part = length.part_of_semibreve();
            let exact = *part.numer() as f64 / *part.denom() as f64;
            assert_eq!(WrittenLength::nearest(exact), length);
        }
        let dotted = |value| WrittenLength { value, dots: 1 };
        // 1/3 lies 0.042 from 3/8 and 0.083 from 1/4. 1/12 lies 0.010 from 3/32 and 0.021 from
        // 1/16.
        assert_eq!(
            WrittenLength::nearest(1.0 / 3.0),
            dotted(NoteValue::Crotchet)
        );
        assert_eq!(
            WrittenLength::nearest(1.0 / 12.0),
            dotted(NoteValue::Semiquaver)
        );
    }

    /// A drill may ask for any length. At most 64 tied heads, of seven quarters of a semibreve
    /// each, are made of one length.
    #[test]
    fn a_length_beyond_all_music_is_not_written() {
        let most = Fraction::from_integer(112);
        assert_eq!(WrittenLength::tied(most).len(), 64);
        assert!(WrittenLength::tied(most + Fraction::new(1, 4)).is_empty());
        assert!(WrittenLength::tied(Fraction::from_integer(1000)).is_empty());
    }

    #[test]
    fn what_one_note_cannot_write_is_tied_and_a_third_is_neither() {
        let five = WrittenLength::tied(Fraction::new(5, 8));
        let sum: Fraction = five.iter().map(|length| length.part_of_semibreve()).sum();
        assert_eq!(five.len(), 2);
        assert_eq!(sum, Fraction::new(5, 8));
        assert!(WrittenLength::tied(Fraction::new(1, 3)).is_empty());
    }
}
