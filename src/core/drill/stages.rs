//! The stage rule: a movement taken apart into written notes, or played whole.
//!
//! Its sounding tones become written notes, the note before and the closing note frame them, the
//! separating gracenotes stay gracenotes. It serves any movement.

use super::value::Begins;
use super::written::{Bar, Gracenote, Group, Music, Written};
use crate::chanter::Note;
use crate::movement::{Resolved, Role};
use crate::rhythm::{Metre, WrittenLength};
use crate::units::Beats;

/// A movement taken apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// Its bars; more than one where the tones do not fit into one.
    pub bars: Vec<Bar>,
    /// Where the closing note lands, beats from the start of the first bar.
    pub lands: Beats,
}

/// The tones as written notes of length `tone`, after a note of length `before`; the closing note
/// fills the bar it begins in.
///
/// # Errors
/// A length that no note value with dots or ties writes.
pub fn apart(
    metre: Metre,
    from: Note,
    resolved: &Resolved,
    before: Beats,
    tone: Beats,
) -> Result<Taken, Beats> {
    let mut notes = vec![(from, before, Group::Opening)];
    let mut waiting = Vec::new();
    for part in &resolved.parts {
        match part.role {
            Role::Separating => waiting.push(Gracenote {
                note: part.note,
                held: None,
            }),
            Role::Sounding => notes.push((part.note, tone, spelled(&mut waiting))),
        }
    }
    closed(metre, notes, resolved.context.after, spelled(&mut waiting))
}

/// The whole movement as gracenotes before the closing note, which lands after `before` beats.
///
/// # Errors
/// A length that no note value with dots or ties writes.
pub fn real_time(
    metre: Metre,
    from: Note,
    resolved: &Resolved,
    before: Beats,
    begins: Begins,
) -> Result<Taken, Beats> {
    let mut resolved = resolved.clone();
    match begins {
        Begins::AsUsual => {}
        Begins::BeforeTheBeat => resolved.before_beat = resolved.parts.len(),
        Begins::OnTheBeat => resolved.before_beat = 0,
    }
    let after = resolved.context.after;
    let group = if resolved.parts.is_empty() {
        Group::None
    } else {
        Group::Movement(resolved)
    };
    closed(metre, vec![(from, before, Group::Opening)], after, group)
}

fn spelled(waiting: &mut Vec<Gracenote>) -> Group {
    if waiting.is_empty() {
        Group::None
    } else {
        Group::Spelled(std::mem::take(waiting))
    }
}

/// Notes with their groups, then a closing note that fills the bar it begins in.
pub(super) fn closed(
    metre: Metre,
    mut notes: Vec<(Note, Beats, Group)>,
    closing: Note,
    group: Group,
) -> Result<Taken, Beats> {
    let bar = metre.bar();
    let lands: Beats = notes.iter().map(|(_, length, _)| *length).sum();
    let into_bar = Beats(lands.0 - (lands.0 / bar.0).floor() * bar.0);
    notes.push((closing, bar - into_bar, group));
    let mut bars = vec![Bar::default()];
    let mut room = bar;
    for (note, mut length, mut group) in notes {
        while length > Beats::ZERO {
            if room.is_zero() {
                bars.push(Bar::default());
                room = bar;
            }
            let now = length.min(room);
            length = length - now;
            room = room - now;
            let values = WrittenLength::tied(metre.semibreves_of(now));
            if values.is_empty() {
                return Err(now);
            }
            for (place, value) in values.iter().enumerate() {
                let more = place + 1 < values.len() || length > Beats::ZERO;
                if let Some(current) = bars.last_mut() {
                    current.notes.push(Written {
                        note,
                        length: metre.beats_of(value.part_of_semibreve()),
                        tied: more,
                        group: std::mem::take(&mut group),
                    });
                }
            }
        }
    }
    Ok(Taken { bars, lands })
}

/// Where the closing note of a real-time stage lands when no stage before shows it: at the half
/// bar rounded down to a beat, at least one beat in.
pub(super) fn usual_landing(metre: Metre) -> Beats {
    let half = Beats::new(i128::from(metre.beats_in_a_bar()), 2).floor();
    half.max(Beats::ONE)
}

/// All bars of a stage, one movement after the other.
pub(super) fn joined(metre: Metre, taken: &[Taken]) -> Music {
    let bars = taken.iter().flat_map(|taken| taken.bars.clone()).collect();
    Music::straight(metre, bars)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::movement::{Context, Resolution, Schools, find, resolve};
    use Note::{B, D, E, HighG, LowA, LowG};

    fn resolved(movement: &str, from: Note, to: Note) -> Resolved {
        let movement = find(movement).expect("a known movement");
        match resolve(movement, Context::between(from, to), &Schools::default()) {
            Resolution::Played(resolved) => resolved,
            Resolution::NotPlayable { why, .. } => panic!("{why}"),
        }
    }

    /// Note, length in beats, gracenotes.
    type Row = (Note, Beats, Vec<Note>);

    fn rows(taken: &Taken) -> Vec<Row> {
        taken
            .bars
            .iter()
            .flat_map(|bar| &bar.notes)
            .map(|written| {
                let gracenotes = match &written.group {
                    Group::None => Vec::new(),
                    Group::Opening => vec![HighG],
                    Group::Spelled(gracenotes) => gracenotes.iter().map(|g| g.note).collect(),
                    Group::Movement(resolved) => resolved.parts.iter().map(|p| p.note).collect(),
                };
                (written.note, written.length, gracenotes)
            })
            .collect()
    }

    fn b(above: i128, below: i128) -> Beats {
        Beats::new(above, below)
    }

    /// The table of the grip from D (common practice, no source).
    #[test]
    fn the_grip_from_d_comes_apart_as_taught() {
        for to in [LowA, D] {
            let grip = resolved("grip", D, to);
            let take = |before, tone| apart(Metre::FourFour, D, &grip, before, tone).expect("fits");
            let full = take(b(1, 1), b(1, 1));
            assert_eq!(full.lands, b(3, 1), "beat 4");
            assert_eq!(
                rows(&full),
                [
                    (D, b(1, 1), vec![HighG]),
                    (LowG, b(1, 1), vec![]),
                    (LowG, b(1, 1), vec![B]),
                    (to, b(1, 1), vec![]),
                ]
            );
            let half = take(b(1, 1), b(1, 2));
            assert_eq!(half.lands, b(2, 1), "beat 3");
            assert_eq!(rows(&half)[3], (to, b(2, 1), vec![]));
            let dotted = take(b(3, 2), b(1, 4));
            assert_eq!(dotted.lands, b(2, 1), "beat 3");
            assert_eq!(rows(&dotted)[1], (LowG, b(1, 4), vec![]));
            let whole =
                real_time(Metre::FourFour, D, &grip, b(2, 1), Begins::AsUsual).expect("fits");
            assert_eq!(
                rows(&whole),
                [
                    (D, b(2, 1), vec![HighG]),
                    (to, b(2, 1), vec![LowG, B, LowG])
                ]
            );
        }
    }

    /// The table of the taorluath from low G (common practice, no source).
    #[test]
    fn the_taorluath_from_low_g_comes_apart_as_taught() {
        let taorluath = resolved("taorluath", LowG, LowA);
        for (before, tone) in [(b(1, 1), b(1, 1)), (b(3, 2), b(1, 2)), (b(7, 4), b(1, 4))] {
            let taken = apart(Metre::FourFour, LowG, &taorluath, before, tone).expect("fits");
            assert_eq!(taken.lands, b(2, 1), "beat 3");
            assert_eq!(
                rows(&taken),
                [
                    (LowG, before, vec![HighG]),
                    (LowA, tone, vec![D]),
                    (LowA, b(2, 1), vec![E]),
                ]
            );
        }
    }

    #[test]
    fn tones_that_cross_a_bar_line_are_tied() {
        let grip = resolved("grip", D, LowA);
        let taken = apart(Metre::ThreeFour, D, &grip, b(3, 2), b(1, 1)).expect("fits");
        assert_eq!(taken.bars.len(), 2);
        for bar in &taken.bars {
            assert_eq!(bar.length(), b(3, 1));
        }
        assert!(taken.bars[0].notes.last().is_some_and(|note| note.tied));
    }

    #[test]
    fn a_third_of_a_crotchet_is_refused() {
        let grip = resolved("grip", D, LowA);
        assert_eq!(
            apart(Metre::FourFour, D, &grip, b(1, 1), b(1, 3)),
            Err(b(1, 3))
        );
    }

    #[test]
    fn alone_a_real_time_stage_lands_at_the_half_bar() {
        assert_eq!(usual_landing(Metre::FourFour), b(2, 1));
        assert_eq!(usual_landing(Metre::ThreeFour), b(1, 1));
        assert_eq!(usual_landing(Metre::SixEight), b(1, 1));
        assert_eq!(usual_landing(Metre::TwelveEight), b(2, 1));
    }
}
