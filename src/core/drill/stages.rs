//! The stage rule: a movement taken apart into written notes, or played whole.
//!
//! The sounding tones of a movement become written notes, framed by the note before and the closing
//! note. The separating gracenotes stay gracenotes. What falls on the beat in real time falls on
//! the beat in every stage. The rule applies to any movement.

use super::value::Begins;
use super::written::{Bar, Gracenote, Group, Music, Written};
use crate::chanter::Note;
use crate::movement::{Family, Lengths, Part, Resolved, Role};
use crate::rhythm::{Metre, WrittenLength};
use crate::units::{Beats, Bpm, Fraction};

/// A movement in a context as written bars.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// Its bars; more than one when the tones do not fit into one.
    pub bars: Vec<Bar>,
    /// The place of the part that falls on the beat, in beats from the start of the first bar. It
    /// is the closing note of a grip, the first gracenote of a doubling.
    pub lands: Beats,
}

/// Writes the tones as notes of length `tone` after a note of length `before`, both in beats. The
/// closing note fills the bar in which it begins.
///
/// # Errors
/// A length cannot be written as a note value with dots or ties.
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
    let bars = closed(metre, notes, resolved.context.after, spelled(&mut waiting))?;
    let lands = before + ahead(resolved, tone);
    Ok(Taken { bars, lands })
}

/// Writes the whole movement as gracenotes before the closing note, which comes after a note of
/// `before` beats.
///
/// # Errors
/// A length cannot be written as a note value with dots or ties.
pub fn real_time(
    metre: Metre,
    from: Note,
    resolved: &Resolved,
    before: Beats,
) -> Result<Taken, Beats> {
    let group = if resolved.parts.is_empty() {
        Group::None
    } else {
        Group::Movement(resolved.clone())
    };
    let notes = vec![(from, before, Group::Opening)];
    let bars = closed(metre, notes, resolved.context.after, group)?;
    Ok(Taken {
        bars,
        lands: before,
    })
}

/// The length of a note from which a movement takes `taken`: `note`, made longer by whole beats
/// until `taken` is at most the share that a movement may take.
fn long_enough(note: Beats, taken: Beats) -> Beats {
    let least = Beats(taken.0 / Lengths::MOST_OF_A_NOTE);
    if least <= note {
        return note;
    }
    note + (least - note).ceil()
}

/// The time in beats that a movement takes at a tempo, from the note before and from its closing
/// note.
fn takes(resolved: &Resolved, lengths: &Lengths, at: Bpm) -> (Beats, Beats) {
    let (early, late) = resolved
        .parts
        .split_at(resolved.before_beat.min(resolved.parts.len()));
    let sum = |parts: &[Part]| {
        parts
            .iter()
            .map(|part| part_length(*part, lengths, at))
            .sum()
    };
    (sum(early), sum(late))
}

fn part_length(part: Part, lengths: &Lengths, at: Bpm) -> Beats {
    if part.held {
        Lengths::HELD
    } else {
        lengths.of(part.role, at)
    }
}

/// The length of the note before in an opened stage, the same in all its contexts. It is `before`,
/// or longer when a movement would take more of it than allowed.
pub(super) fn longest_before(
    contexts: &[(Note, Resolved)],
    before: Beats,
    lengths: &Lengths,
    at: Bpm,
) -> Beats {
    let needed = contexts.iter().map(|(_, resolved)| {
        let (early, _) = takes(resolved, lengths, at);
        long_enough(before, early)
    });
    needed.max().unwrap_or(before)
}

/// Writes the whole movement as in real time, with room for tones of the given `lengths` at a
/// tempo. When the tones would take more of the closing note than allowed, that note is longer by
/// whole bars.
///
/// # Errors
/// A length cannot be written as a note value with dots or ties.
pub(super) fn opened(
    metre: Metre,
    from: Note,
    resolved: &Resolved,
    before: Beats,
    lengths: &Lengths,
    at: Bpm,
) -> Result<Taken, Beats> {
    let (_, late) = takes(resolved, lengths, at);
    let room = long_enough(Beats::ZERO, late);
    let notes = vec![(from, before, Group::Opening)];
    let group = Group::Movement(resolved.clone());
    let bars = closed_after(metre, notes, resolved.context.after, group, room)?;
    Ok(Taken {
        bars,
        lands: before,
    })
}

/// The movement with the beat that the drill sets, the same in all its stages.
pub(super) fn timed(mut resolved: Resolved, begins: Begins) -> Resolved {
    match begins {
        Begins::AsUsual => {}
        Begins::BeforeTheBeat => resolved.before_beat = resolved.parts.len(),
        Begins::OnTheBeat => resolved.before_beat = 0,
    }
    resolved
}

fn tones(parts: &[Part]) -> Fraction {
    let count = parts
        .iter()
        .filter(|part| part.role == Role::Sounding)
        .count();
    Fraction::from_integer(count as i128)
}

/// The context in which the movement has the most tones; a stage with room for it has room for the
/// others.
pub(super) fn widest<'a>(contexts: impl IntoIterator<Item = &'a Resolved>) -> Option<&'a Resolved> {
    contexts
        .into_iter()
        .max_by_key(|resolved| tones(&resolved.parts))
}

/// The length of the tones that sound before the beat, in beats.
fn ahead(resolved: &Resolved, tone: Beats) -> Beats {
    let early = resolved.before_beat.min(resolved.parts.len());
    tone * tones(&resolved.parts[..early])
}

/// The length of the note before, for tones of `tone` beats. It is at least a beat, and the part on
/// the beat falls on the third beat or near it.
///
/// A movement that ends on the beat lands on the third beat or, when its tones need more time, on a
/// later one; when that is beyond the bar, on the bar line. A movement that begins on the beat
/// begins on the third beat. It begins on the second when the bar would otherwise have no room for
/// its tones and a beat of the closing note, and on the bar line when the second is too late as
/// well (common practice, no source: `stage_laws` has the tables as they are taught).
pub(super) fn usual_before(metre: Metre, resolved: &Resolved, tone: Beats) -> Beats {
    let ahead = ahead(resolved, tone);
    let bar = metre.bar();
    let least = (ahead + Beats::ONE).ceil();
    let wanted = least.max(Beats::whole(2));
    let follows = tone * tones(&resolved.parts) - ahead;
    let lands = if resolved.before_beat >= resolved.parts.len() {
        wanted
    } else {
        let latest = (bar - follows - Beats::ONE).floor();
        wanted.min(latest)
    };
    let lands = if lands < least || lands > bar {
        Beats((least.0 / bar.0).ceil() * bar.0)
    } else {
        lands
    };
    lands - ahead
}

/// The length of the note before: `before`, or longer so that the part on the beat falls on a beat.
/// A figure of two melody notes has its beat on the note before.
pub(super) fn on_the_beat(resolved: &Resolved, before: Beats, tone: Beats) -> Beats {
    if resolved.movement.family() == Family::Figure {
        return before;
    }
    let lands = before + ahead(resolved, tone);
    before + (lands.ceil() - lands)
}

fn spelled(waiting: &mut Vec<Gracenote>) -> Group {
    if waiting.is_empty() {
        Group::None
    } else {
        Group::Spelled(std::mem::take(waiting))
    }
}

/// Writes notes with their groups, then a closing note that fills the bar in which it begins.
pub(super) fn closed(
    metre: Metre,
    notes: Vec<(Note, Beats, Group)>,
    closing: Note,
    group: Group,
) -> Result<Vec<Bar>, Beats> {
    closed_after(metre, notes, closing, group, Beats::ZERO)
}

/// The bars of a context with a closing note of at least a given length. A closing note that is too
/// short is lengthened by whole bars.
fn closed_after(
    metre: Metre,
    mut notes: Vec<(Note, Beats, Group)>,
    closing: Note,
    group: Group,
    at_least: Beats,
) -> Result<Vec<Bar>, Beats> {
    let bar = metre.bar();
    let closes: Beats = notes.iter().map(|(_, length, _)| *length).sum();
    let into_bar = Beats(closes.0 - (closes.0 / bar.0).floor() * bar.0);
    let mut closing_length = bar - into_bar;
    while closing_length < at_least {
        closing_length = closing_length + bar;
    }
    notes.push((closing, closing_length, group));
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
    Ok(bars)
}

/// Where a movement in real time lands when no stage before it decides: in the middle of the bar,
/// rounded down to a beat, but at least one beat in.
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

    /// A closing note fills its bar, and a minimum length adds bars only when the bar is too short
    /// for it.
    #[test]
    fn a_closing_note_lasts_at_least_as_long_as_is_asked() {
        let closing = |at_least: i128| {
            let before = vec![(Note::C, Beats::whole(2), Group::None)];
            let least = Beats::whole(at_least);
            let bars = closed_after(Metre::FOUR_FOUR, before, LowA, Group::None, least);
            let bars = bars.expect("whole beats can be written");
            let lengths = bars.iter().flat_map(|bar| &bar.notes).skip(1);
            (bars.len(), lengths.map(|note| note.length).sum())
        };
        assert_eq!(closing(0), (1, Beats::whole(2)));
        assert_eq!(closing(2), (1, Beats::whole(2)));
        assert_eq!(closing(3), (2, Beats::whole(6)));
        assert_eq!(closing(6), (2, Beats::whole(6)));
    }

    /// A crunluath in full beats is longer than a bar of 2/4. It has four tones before its landing
    /// on the first beat of a bar, and two beats before them.
    #[test]
    fn a_movement_longer_than_its_bar_lands_on_a_first_beat() {
        let crunluath = resolved("crunluath", Note::C, E);
        let before = |metre| usual_before(metre, &crunluath, Beats::ONE);
        assert_eq!(before(Metre::TWO_FOUR), Beats::whole(2));
        assert_eq!(before(Metre::THREE_FOUR), Beats::whole(2));
        assert_eq!(before(Metre::FOUR_FOUR), Beats::whole(4));
    }

    fn resolved(movement: &str, from: Note, to: Note) -> Resolved {
        let movement = find(movement).expect("a known movement");
        match resolve(movement, Context::between(from, to), &Schools::default()) {
            Resolution::Played(resolved) => resolved,
            Resolution::NotPlayable { why, .. } => panic!("{why}"),
        }
    }

    /// Note, length in beats, and gracenotes.
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
            let take =
                |before, tone| apart(Metre::FOUR_FOUR, D, &grip, before, tone).expect("fits");
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
            let whole = real_time(Metre::FOUR_FOUR, D, &grip, b(2, 1)).expect("fits");
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
            let taken = apart(Metre::FOUR_FOUR, LowG, &taorluath, before, tone).expect("fits");
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
        let taken = apart(Metre::THREE_FOUR, D, &grip, b(3, 2), b(1, 1)).expect("fits");
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
            apart(Metre::FOUR_FOUR, D, &grip, b(1, 1), b(1, 3)),
            Err(b(1, 3))
        );
    }

    #[test]
    fn alone_a_real_time_stage_lands_at_the_half_bar() {
        assert_eq!(usual_landing(Metre::FOUR_FOUR), b(2, 1));
        assert_eq!(usual_landing(Metre::THREE_FOUR), b(1, 1));
        assert_eq!(usual_landing(Metre::SIX_EIGHT), b(1, 1));
        assert_eq!(usual_landing(Metre::TWELVE_EIGHT), b(2, 1));
    }
}
