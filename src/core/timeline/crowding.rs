//! Shortens the parts of a movement when there is too little time for them. No other file does
//! this.

use crate::movement::Lengths;
use crate::units::{Beats, Fraction};

/// The share of a note that two movements may take from it together: at least a tenth is left.
const MOST_TOGETHER: Fraction = Fraction::new_raw(9, 10);

/// The fitted parts of a movement, and whether they had to be shortened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fitted {
    pub(super) parts: Vec<Beats>,
    pub(super) crowded: bool,
}

/// Fits `parts` into a note of length `note`: they take at most 60 % of it. All parts shrink in
/// proportion, and none becomes shorter than `least` (in beats). When these least lengths add up to
/// more than nine tenths of the note, all parts shrink in proportion to nine tenths.
pub(super) fn fit(parts: &[Beats], note: Beats, least: Beats) -> Fitted {
    let total: Beats = parts.iter().copied().sum();
    let room = note * Lengths::MOST_OF_A_NOTE;
    if total <= room {
        return Fitted {
            parts: parts.to_vec(),
            crowded: false,
        };
    }
    let mut fitted = shrink(parts, room, least);
    let most = note * MOST_TOGETHER;
    let total: Beats = fitted.iter().copied().sum();
    if total > most {
        fitted = scale(&fitted, most);
    }
    Fitted {
        parts: fitted,
        crowded: true,
    }
}

/// Shortens two movements that take time from the same note, the one that begins it and the one
/// that follows it. When together they would leave less than a tenth of the note, both shrink in
/// proportion. Returns true when they had to shrink.
pub(super) fn fit_together(own: &mut [Beats], next: &mut [Beats], note: Beats) -> bool {
    let both: Beats = own.iter().chain(next.iter()).copied().sum();
    let room = note * MOST_TOGETHER;
    if both <= room || both.is_zero() {
        return false;
    }
    let factor = room.0 / both.0;
    for part in own.iter_mut().chain(next.iter_mut()) {
        *part = *part * factor;
    }
    true
}

fn scale(parts: &[Beats], to: Beats) -> Vec<Beats> {
    let total: Beats = parts.iter().copied().sum();
    if total.is_zero() {
        return parts.to_vec();
    }
    parts.iter().map(|part| *part * (to.0 / total.0)).collect()
}

/// Shortens the parts in proportion until they fit into `room`. A part that would become shorter
/// than `least` stops there (or keeps its own length when that is shorter), and the others shrink
/// further.
fn shrink(parts: &[Beats], room: Beats, least: Beats) -> Vec<Beats> {
    let floor = |part: &Beats| (*part).min(least);
    let mut pinned = vec![false; parts.len()];
    loop {
        let kept: Beats = parts
            .iter()
            .zip(&pinned)
            .filter(|(_, pinned)| **pinned)
            .map(|(part, _)| floor(part))
            .sum();
        let free: Beats = parts
            .iter()
            .zip(&pinned)
            .filter(|(_, pinned)| !**pinned)
            .map(|(part, _)| *part)
            .sum();
        if free.is_zero() {
            return parts.iter().map(floor).collect();
        }
        let factor = ((room - kept).0 / free.0).max(Fraction::from_integer(0));
        let mut changed = false;
        for (part, pinned) in parts.iter().zip(pinned.iter_mut()) {
            if !*pinned && *part * factor < floor(part) {
                *pinned = true;
                changed = true;
            }
        }
        if !changed {
            return parts
                .iter()
                .zip(&pinned)
                .map(|(part, pinned)| if *pinned { floor(part) } else { *part * factor })
                .collect();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn beats(parts: &[(i128, i128)]) -> Vec<Beats> {
        parts.iter().map(|(a, b)| Beats::new(*a, *b)).collect()
    }

    /// Three fifths of a note are not crowded; anything more is.
    #[test]
    fn a_movement_may_take_just_three_fifths() {
        let crowded = |part| fit(&[part], Beats::ONE, Beats::new(1, 100)).crowded;
        assert!(!crowded(Beats::new(3, 5)));
        assert!(crowded(Beats::new(61, 100)));
    }

    #[test]
    fn what_fits_is_left_alone() {
        let parts = beats(&[(1, 10), (1, 20), (1, 10)]);
        let fitted = fit(&parts, Beats::ONE, Beats::new(1, 100));
        assert_eq!((fitted.parts, fitted.crowded), (parts, false));
    }

    #[test]
    fn a_movement_takes_three_fifths_of_its_note_in_proportion() {
        let fitted = fit(
            &beats(&[(4, 10), (2, 10), (4, 10)]),
            Beats::ONE,
            Beats::new(1, 100),
        );
        assert!(fitted.crowded);
        assert_eq!(fitted.parts, beats(&[(6, 25), (3, 25), (6, 25)]));
    }

    #[test]
    fn a_part_at_its_least_stays_and_the_others_shrink_further() {
        // Parts of 0.4, 0.1 and 0.4 must fit into 0.6 with a least length of 0.09. In proportion
        // 0.1 would become 0.0667.
        let fitted = fit(
            &beats(&[(4, 10), (1, 10), (4, 10)]),
            Beats::ONE,
            Beats::new(9, 100),
        );
        assert_eq!(fitted.parts, beats(&[(51, 200), (9, 100), (51, 200)]));
    }

    /// A part that is already shorter than `least` keeps its length; it never becomes longer.
    #[test]
    fn a_part_under_the_least_keeps_its_own_length() {
        // Parts of 0.4, 0.05 and 0.4 must fit into 0.6 with a least length of 0.09.
        let fitted = fit(
            &beats(&[(4, 10), (1, 20), (4, 10)]),
            Beats::ONE,
            Beats::new(9, 100),
        );
        assert_eq!(fitted.parts, beats(&[(11, 40), (1, 20), (11, 40)]));
        let short = beats(&[(1, 20), (1, 20)]);
        let fitted = fit(&short, Beats::new(1, 10), Beats::new(9, 100));
        assert_eq!(
            fitted.parts,
            beats(&[(9, 200), (9, 200)]),
            "a tenth is left to the note"
        );
    }

    #[test]
    fn at_the_least_the_sixty_percent_give_way_but_never_the_note() {
        let parts = beats(&[(1, 2), (1, 2)]);
        let least = Beats::new(4, 10);
        assert_eq!(
            fit(&parts, Beats::ONE, least).parts,
            beats(&[(4, 10), (4, 10)])
        );
        let fitted = fit(&parts, Beats::new(1, 2), least);
        assert_eq!(fitted.parts, beats(&[(9, 40), (9, 40)]));
    }

    #[test]
    fn two_movements_on_one_note_leave_it_a_tenth() {
        let (mut own, mut next) = (beats(&[(6, 10)]), beats(&[(6, 10)]));
        assert!(fit_together(&mut own, &mut next, Beats::ONE));
        assert_eq!((own, next), (beats(&[(9, 20)]), beats(&[(9, 20)])));
    }
}
