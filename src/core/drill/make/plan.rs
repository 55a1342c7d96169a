//! How long the note before and the tones of a stage last.

use crate::drill::document::{Exact, StageDocument};
use crate::rhythm::Metre;
use crate::units::{Beats, Fraction};

/// The length of the note before, for `tones` tones of `tone` beats: at least a beat, so that the
/// closing note lands on a beat from the third on, and on a bar line where it goes beyond the bar
/// (common practice, no source: the grip from D and the taorluath from low G come out as taught).
pub(super) fn before(metre: Metre, tones: usize, tone: Beats) -> Beats {
    let all = Beats(tone.0 * Fraction::from_integer(tones as i128));
    let least = Beats((all + Beats::ONE).0.ceil()).max(Beats::whole(2));
    let bar = metre.bar();
    let lands = if least > bar {
        Beats((least.0 / bar.0).ceil() * bar.0)
    } else {
        least
    };
    lands - all
}

/// A stage with tones of `tone` beats.
pub(super) fn apart(metre: Metre, tones: usize, tone: Beats) -> StageDocument {
    let before = before(metre, tones, tone);
    StageDocument {
        name: name(metre, tones, before, tone).to_owned(),
        before: Some(Exact::of(&before.0)),
        tone: Some(Exact::of(&tone.0)),
        ..StageDocument::default()
    }
}

fn name(metre: Metre, tones: usize, before: Beats, tone: Beats) -> &'static str {
    let crotchets = metre.beat_of_semibreve() == Fraction::new(1, 4);
    if tone == Beats::ONE {
        "full beats"
    } else if tone == Beats::new(1, 2) {
        if tones == 1 {
            "half beat"
        } else {
            "half beats"
        }
    } else if tone == Beats::new(1, 8) {
        "eighths of a beat"
    } else if crotchets && before == Beats::new(3, 2) {
        "dotted and sixteenths"
    } else if crotchets && before == Beats::new(7, 4) {
        "double-dotted and sixteenth"
    } else {
        "quarter beats"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The tables of the grip from D and the taorluath from low G (common practice, no source).
    #[test]
    fn one_and_two_tones_come_apart_as_taught() {
        let at = |tones, above, below| before(Metre::FourFour, tones, Beats::new(above, below));
        assert_eq!(at(2, 1, 1), Beats::ONE);
        assert_eq!(at(2, 1, 2), Beats::ONE);
        assert_eq!(at(2, 1, 4), Beats::new(3, 2));
        assert_eq!(at(1, 1, 1), Beats::ONE);
        assert_eq!(at(1, 1, 2), Beats::new(3, 2));
        assert_eq!(at(1, 1, 4), Beats::new(7, 4));
        assert_eq!(at(4, 1, 1), Beats::whole(4), "onto the bar line");
    }
}
