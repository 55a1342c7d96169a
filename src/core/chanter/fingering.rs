//! The fingering chart, and what sounds between two notes when the fingers do not move together.
//!
//! The chart is cross-checked against three partial published descriptions; everything else here
//! is computed from it.

use super::note::{NOTES, Note};

/// A finger. The upper hand covers the thumb hole and the three holes below it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Finger {
    /// Upper thumb, at the back.
    Thumb,
    /// Upper index.
    UpperIndex,
    /// Upper middle.
    UpperMiddle,
    /// Upper ring.
    UpperRing,
    /// Lower index.
    LowerIndex,
    /// Lower middle.
    LowerMiddle,
    /// Lower ring.
    LowerRing,
    /// Lower little finger.
    LowerLittle,
}

/// A hole is named by the finger that covers it.
pub type Hole = Finger;

impl Finger {
    /// All fingers, from the top of the chanter to the bottom.
    pub const ALL: [Self; 8] = [
        Self::Thumb,
        Self::UpperIndex,
        Self::UpperMiddle,
        Self::UpperRing,
        Self::LowerIndex,
        Self::LowerMiddle,
        Self::LowerRing,
        Self::LowerLittle,
    ];

    /// The finger's name for a sentence: `the top hand's index finger`, `the thumb`.
    pub fn spoken(self) -> &'static str {
        match self {
            Self::Thumb => "the thumb",
            Self::UpperIndex => "the top hand's index finger",
            Self::UpperMiddle => "the top hand's middle finger",
            Self::UpperRing => "the top hand's ring finger",
            Self::LowerIndex => "the bottom hand's index finger",
            Self::LowerMiddle => "the bottom hand's middle finger",
            Self::LowerRing => "the bottom hand's ring finger",
            Self::LowerLittle => "the little finger",
        }
    }

    /// The finger's name for arguments and files: `thumb`, `top-index` … `bottom-little`.
    pub fn name(self) -> &'static str {
        match self {
            Self::Thumb => "thumb",
            Self::UpperIndex => "top-index",
            Self::UpperMiddle => "top-middle",
            Self::UpperRing => "top-ring",
            Self::LowerIndex => "bottom-index",
            Self::LowerMiddle => "bottom-middle",
            Self::LowerRing => "bottom-ring",
            Self::LowerLittle => "bottom-little",
        }
    }

    /// True for the thumb and the three fingers of the upper hand.
    pub fn is_upper(self) -> bool {
        self <= Self::UpperRing
    }

    fn bit(self) -> u8 {
        1 << (self as u8)
    }
}

/// Which holes are covered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Shape(u8);

const UPPER: u8 = 0b0000_1111;

impl Shape {
    /// Every hole open.
    pub const OPEN: Self = Self(0);

    /// The chart's shape for a note.
    pub fn of(note: Note) -> Self {
        const CHART: [&str; 9] = [
            "x|xxx|xxxx", // low G
            "x|xxx|xxxo", // low A
            "x|xxx|xxoo", // B
            "x|xxx|xoox", // C
            "x|xxx|ooox", // D
            "x|xxo|xxxo", // E
            "x|xoo|xxxo", // F
            "x|ooo|xxxo", // high G
            "o|oox|xxxo", // high A
        ];
        Self::read(CHART[note.index()])
    }

    /// Reads `x|xxx|xxxo`: the thumb, the upper index to ring finger, the lower index to little
    /// finger. `x` is a covered hole, `o` an open one.
    fn read(text: &str) -> Self {
        let mut bits = 0;
        for (place, sign) in text.chars().filter(|sign| *sign != '|').enumerate() {
            if sign == 'x' {
                bits |= 1 << place;
            }
        }
        Self(bits)
    }

    /// True when the finger covers its hole.
    pub fn covers(self, finger: Finger) -> bool {
        self.0 & finger.bit() != 0
    }

    /// This shape with one finger lifted.
    #[must_use]
    pub fn lifted(self, finger: Finger) -> Self {
        Self(self.0 & !finger.bit())
    }

    /// This shape with one more hole covered.
    #[must_use]
    pub fn covered(self, finger: Finger) -> Self {
        Self(self.0 | finger.bit())
    }

    /// Fingers that cover a hole in this shape but not in `other`.
    pub fn covered_beyond(self, other: Self) -> Vec<Finger> {
        Finger::ALL
            .into_iter()
            .filter(|finger| self.covers(*finger) && !other.covers(*finger))
            .collect()
    }
}

impl std::fmt::Display for Shape {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for finger in Finger::ALL {
            if matches!(finger, Finger::UpperIndex | Finger::LowerIndex) {
                f.write_str("|")?;
            }
            f.write_str(if self.covers(finger) { "x" } else { "o" })?;
        }
        Ok(())
    }
}

/// The high G of pibroch, x|oox|xxxo (common practice, no source).
pub const PIBROCH_HIGH_G: Shape = Shape(0b0111_1001);

/// The note whose chart shape this is; none when the chart has no such shape.
pub fn note_of_shape(shape: Shape) -> Option<Note> {
    NOTES.into_iter().find(|note| Shape::of(*note) == shape)
}

/// The finger that is lifted for a gracenote. None for low G, which cannot be sounded by lifting a
/// finger.
pub fn gracenote_finger(gracenote: Note) -> Option<Finger> {
    Some(match gracenote {
        Note::LowG => return None,
        Note::LowA => Finger::LowerLittle,
        Note::B => Finger::LowerRing,
        Note::C => Finger::LowerMiddle,
        Note::D => Finger::LowerIndex,
        Note::E => Finger::UpperRing,
        Note::F => Finger::UpperMiddle,
        Note::HighG => Finger::UpperIndex,
        Note::HighA => Finger::Thumb,
    })
}

/// True when the gracenote sounds if its finger is lifted from the held note. That needs the finger
/// to cover its hole on the held note and the gracenote to be the higher note (computed from the
/// chart).
pub fn gracenote_sounds(gracenote: Note, held: Note) -> bool {
    gracenote > held
        && gracenote_finger(gracenote).is_some_and(|finger| Shape::of(held).covers(finger))
}

/// The notes a gracenote can stand on, low to high.
pub fn notes_a_gracenote_can_stand_on(gracenote: Note) -> Vec<Note> {
    NOTES
        .into_iter()
        .filter(|held| gracenote_sounds(gracenote, *held))
        .collect()
}

/// The fingers that fall for a strike from a held note to a lower one; empty when `struck` is not
/// lower. On high A the thumb falls and high G sounds, while the ring finger may stay down.
pub fn strike_finger(held: Note, struck: Note) -> Vec<Finger> {
    if struck >= held {
        return Vec::new();
    }
    Shape::of(struck).covered_beyond(Shape::of(held))
}

/// How the fingers move between two notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CrossingKind {
    /// One finger moves.
    OneFinger,
    /// Several fingers move, all of them up or all of them down.
    OneWay,
    /// Some fingers fall while others rise: a true crossing.
    True,
}

/// What may sound between two notes when the fingers do not move together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Crossing {
    /// How the fingers move.
    pub kind: CrossingKind,
    /// Fingers that fall on the way from the first note to the second.
    pub falling: Vec<Finger>,
    /// Fingers that rise.
    pub rising: Vec<Finger>,
    /// The shape passed through when the falling fingers land first; only for a true crossing.
    pub falling_first: Option<Shape>,
    /// The note of that shape; none when the chart has no such shape.
    pub falling_first_note: Option<Note>,
    /// The note that sounds when one hand moves before the other; none when the chart has no such
    /// shape.
    pub hand_first_note: Option<Note>,
}

/// The finger movement from one note to another, with the wrong notes that may sound on the way.
/// There are two models: the falling fingers land first, or one hand moves before the other (the
/// commoner fault: common practice, no source).
pub fn crossing(from: Note, to: Note) -> Crossing {
    let (before, after) = (Shape::of(from), Shape::of(to));
    let falling = after.covered_beyond(before);
    let rising = before.covered_beyond(after);
    let kind = if !falling.is_empty() && !rising.is_empty() {
        CrossingKind::True
    } else if falling.len() + rising.len() <= 1 {
        CrossingKind::OneFinger
    } else {
        CrossingKind::OneWay
    };
    let falling_first = (kind == CrossingKind::True).then_some(Shape(before.0 | after.0));
    let apart = |note: Option<Note>| note.filter(|note| *note != from && *note != to);
    let upper_first = Shape(after.0 & UPPER | before.0 & !UPPER);
    let lower_first = Shape(before.0 & UPPER | after.0 & !UPPER);
    Crossing {
        kind,
        falling_first_note: apart(falling_first.and_then(note_of_shape)),
        falling_first,
        hand_first_note: apart(note_of_shape(lower_first)).or(apart(note_of_shape(upper_first))),
        falling,
        rising,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Note::{B, C, D, E, F, HighA, HighG, LowA, LowG};

    /// Computed by hand from the chart, so that one wrong hole in the chart changes a result.
    #[test]
    fn gracenotes_stand_where_their_finger_is_down() {
        let on = notes_a_gracenote_can_stand_on;
        assert_eq!(on(LowA), [LowG]);
        assert_eq!(on(B), [LowG, LowA]);
        assert_eq!(on(C), [LowG, LowA, B]);
        assert_eq!(on(D), [LowG, LowA, B, C]);
        assert_eq!(on(E), [LowG, LowA, B, C, D]);
        assert_eq!(on(F), [LowG, LowA, B, C, D, E]);
        assert_eq!(on(HighG), [LowG, LowA, B, C, D, E, F]);
        assert_eq!(on(HighA), [LowG, LowA, B, C, D, E, F, HighG]);
        assert_eq!(on(LowG), []);
    }

    #[test]
    fn the_names_of_fingers_say_their_hands() {
        for finger in Finger::ALL {
            let (name, spoken) = (finger.name(), finger.spoken());
            let upper = name == "thumb" || name.starts_with("top-");
            assert_eq!(finger.is_upper(), upper, "{name}");
            assert_ne!(name.starts_with("bottom-"), upper, "{name}");
            // The spoken name contains the last word of the plain name: `top-ring` is `the top
            // hand's ring finger`.
            let last = name.rsplit('-').next().unwrap_or(name);
            assert!(spoken.contains(last), "{name}: {spoken}");
            let shares = |other: &Finger| other.name() == name || other.spoken() == spoken;
            assert_eq!(Finger::ALL.iter().filter(|other| shares(other)).count(), 1);
        }
        let upper = Finger::ALL.iter().filter(|finger| finger.is_upper());
        assert_eq!(upper.count(), 4);
    }

    #[test]
    fn a_finger_that_goes_down_covers_its_hole_and_moves_no_other() {
        for shape in NOTES.map(Shape::of) {
            for finger in Finger::ALL {
                let (down, up) = (shape.covered(finger), shape.lifted(finger));
                assert!(down.covers(finger) && !up.covers(finger));
                assert_eq!(down.covered(finger), down);
                assert_eq!(down.covered_beyond(up), [finger]);
                assert!(down == shape || up == shape);
            }
        }
    }

    /// The notes that each note is struck to: common practice, no source.
    #[test]
    fn a_strike_covers_what_the_lower_note_covers() {
        let struck = [
            (LowA, LowG, 1),
            (B, LowG, 2),
            (C, LowG, 2),
            (D, LowG, 3),
            (D, C, 1),
            (E, LowA, 1),
            (F, E, 1),
            (HighG, F, 1),
            (HighA, HighG, 1),
        ];
        for (held, lower, count) in struck {
            let falling = strike_finger(held, lower);
            assert_eq!(falling.len(), count, "{held} to {lower}");
            let tapped = falling
                .iter()
                .fold(Shape::of(held), |shape, finger| shape.covered(*finger));
            if held == HighA {
                assert_eq!(falling, [Finger::Thumb]);
            } else {
                assert_eq!(tapped, Shape::of(lower), "{held} to {lower}");
            }
            assert_eq!(strike_finger(lower, held), []);
            assert_eq!(strike_finger(held, held), []);
        }
    }

    fn pairs() -> Vec<(Note, Note)> {
        let mut pairs = Vec::new();
        for low in NOTES {
            for high in NOTES {
                if low < high {
                    pairs.push((low, high));
                }
            }
        }
        pairs
    }

    #[test]
    fn the_36_pairs_are_6_and_11_and_19() {
        let of = |kind| {
            pairs()
                .into_iter()
                .filter(|(a, b)| crossing(*a, *b).kind == kind)
                .count()
        };
        assert_eq!(pairs().len(), 36);
        assert_eq!(of(CrossingKind::OneFinger), 6);
        assert_eq!(of(CrossingKind::OneWay), 11);
        assert_eq!(of(CrossingKind::True), 19);
    }

    #[test]
    fn fifteen_true_crossings_sound_a_note_when_the_falling_fingers_land_first() {
        let low_g = [
            (LowA, C),
            (LowA, D),
            (C, E),
            (C, F),
            (C, HighG),
            (C, HighA),
            (D, E),
            (D, F),
            (D, HighG),
            (D, HighA),
        ];
        let low_a = [(B, E), (B, F), (B, HighG), (B, HighA), (E, HighA)];
        let silent = [(B, C), (B, D), (F, HighA), (HighG, HighA)];
        for (low, high) in pairs() {
            let expected = if low_g.contains(&(low, high)) {
                Some(LowG)
            } else if low_a.contains(&(low, high)) {
                Some(LowA)
            } else {
                None
            };
            assert_eq!(
                crossing(low, high).falling_first_note,
                expected,
                "{low} {high}"
            );
            assert_eq!(
                crossing(high, low).falling_first_note,
                expected,
                "{high} {low}"
            );
            if silent.contains(&(low, high)) {
                assert!(crossing(low, high).falling_first.is_some());
            }
        }
        assert_eq!(crossing(HighG, HighA).falling_first, Some(PIBROCH_HIGH_G));
        assert_eq!(PIBROCH_HIGH_G.to_string(), "x|oox|xxxo");
    }

    #[test]
    fn one_hand_first_sounds_low_a() {
        for low in [LowG, B, C, D] {
            for high in [E, F, HighG, HighA] {
                assert_eq!(
                    crossing(low, high).hand_first_note,
                    Some(LowA),
                    "{low} {high}"
                );
                assert_eq!(
                    crossing(high, low).hand_first_note,
                    Some(LowA),
                    "{high} {low}"
                );
            }
        }
        assert_eq!(crossing(LowG, LowA).hand_first_note, None);
        assert_eq!(crossing(F, HighG).hand_first_note, None);
    }

    /// For these gracenotes the lifted finger gives the chart's own shape, so a real chanter is in
    /// tune.
    #[test]
    fn six_gracenotes_have_the_shape_of_their_own_note() {
        let mut own = Vec::new();
        for held in NOTES {
            for grace in NOTES {
                if let Some(finger) = gracenote_finger(grace)
                    && gracenote_sounds(grace, held)
                    && note_of_shape(Shape::of(held).lifted(finger)) == Some(grace)
                {
                    own.push((grace, held));
                }
            }
        }
        assert_eq!(
            own,
            [
                (LowA, LowG),
                (B, LowA),
                (E, LowA),
                (D, C),
                (F, E),
                (HighG, F)
            ]
        );
    }
}
