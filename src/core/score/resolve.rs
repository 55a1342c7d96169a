//! Turns written music into a score: groups get their parts, notes get their places and names.

use super::notes::{NoteId, Score, ScoreBar, ScoreGrace, ScoreGroup, ScoreNote};
use crate::chanter::Note;
use crate::drill::{Group, Music};
use crate::movement::{Context, Lengths, Part, Role, Schools, opening_gracenote, place_group};
use crate::units::{Beats, Fraction};

/// Resolves one repetition of `music`, followed by `breath` beats with clicks only.
///
/// A group of gracenotes depends on the note that sounds before it in playing order. For the first
/// note of a repetition that is the last note of the repetition before; in the very first
/// repetition it is silence.
pub fn resolve_music(music: &Music, breath: Beats, schools: &Schools) -> Score {
    resolve_for(music, breath, schools, group_in)
}

/// Gives the same text as [`Score::written_text`] without naming the gracenotes. The plan asks for
/// the text of every stage of every drill, and the names cost more than all the rest.
pub fn written_text(music: &Music, schools: &Schools) -> String {
    resolve_for(music, Beats::ZERO, schools, written_group).written_text()
}

/// A group with only the values that the written text needs.
fn written_group(group: &Group, id: NoteId, context: Context, schools: &Schools) -> ScoreGroup {
    match group {
        // A single gracenote needs no name. In a longer group the name may say that a part is held.
        Group::Spelled(gracenotes) if gracenotes.len() == 1 => {
            let mut group = parts(&[Part::separating(gracenotes[0].note)], id);
            for part in &mut group.parts {
                part.held = gracenotes[0].held;
            }
            group
        }
        _ => group_in(group, id, context, schools),
    }
}

fn resolve_for(
    music: &Music,
    breath: Beats,
    schools: &Schools,
    group_in: impl Fn(&Group, NoteId, Context, &Schools) -> ScoreGroup,
) -> Score {
    let metres = music.metres();
    let mut score = Score {
        metre: metres.first().copied().unwrap_or(music.metre),
        pickup: music.pickup() * metres.first().map_or(Fraction::ONE, |own| own.pace()),
        bars: Vec::with_capacity(music.order.len()),
        notes: Vec::new(),
        length: Beats::ZERO,
        breath,
        pointing: music.pointing,
    };
    let mut before = last_note(music);
    let mut passes = vec![0_u8; music.bars.len()];
    let numbers = music.bar_numbers();
    let offsets = music.offsets();
    let earlier = notes_before_in_number(music, &numbers);
    let mut tied = false;
    for &written in &music.order {
        let Some(bar) = music.bars.get(written) else {
            continue;
        };
        passes[written] = passes[written].saturating_add(1);
        let number = numbers[written];
        let index = score.bars.len();
        score.bars.push(ScoreBar {
            number,
            start: score.length,
            length: bar.length() * metres[written].pace(),
            place: offsets[written] * metres[written].pace(),
            written,
            metre: metres[written],
        });
        let pace = metres[written].pace();
        let mut place = Beats::ZERO;
        for (position, note) in bar.notes.iter().enumerate() {
            let id = NoteId {
                bar: number,
                pass: passes[written],
                note: u8::try_from(earlier[written] + position + 1).unwrap_or(u8::MAX),
                grace: 0,
            };
            let continues = tied && before == Some(note.note) && note.group == Group::None;
            let context = Context {
                before,
                after: note.note,
            };
            let group = group_in(&note.group, id, context, schools);
            // No note sounds before the very first note.
            let silent = Context {
                before: None,
                ..context
            };
            let opens = score.notes.is_empty();
            let first_group = opens
                .then(|| group_in(&note.group, id, silent, schools))
                .filter(|first| *first != group);
            score.notes.push(ScoreNote {
                id,
                bar: index,
                place,
                start: score.length + place * pace,
                written: note.length * pace,
                note: note.note,
                continues,
                group,
                first_group,
            });
            tied = note.tied;
            before = Some(note.note);
            place = place + note.length;
        }
        score.length = score.length + place * pace;
    }
    score
}

/// For each bar, the number of notes in the written bar before when both have the same bar number.
/// Where the end of a part divides a bar, the note numbers continue in its second half.
fn notes_before_in_number(music: &Music, numbers: &[u16]) -> Vec<usize> {
    (0..music.bars.len())
        .map(|place| match place.checked_sub(1) {
            Some(before) if numbers[before] == numbers[place] => music.bars[before].notes.len(),
            _ => 0,
        })
        .collect()
}

fn last_note(music: &Music) -> Option<Note> {
    music
        .order
        .iter()
        .rev()
        .filter_map(|index| music.bars.get(*index))
        .find_map(|bar| bar.notes.last())
        .map(|note| note.note)
}

fn group_in(group: &Group, id: NoteId, context: Context, schools: &Schools) -> ScoreGroup {
    match group {
        Group::None => ScoreGroup::default(),
        Group::Opening => match opening_gracenote(context.before, context.after) {
            Some(note) => parts(&[Part::separating(note)], id),
            None => ScoreGroup::default(),
        },
        Group::Movement(resolved) => ScoreGroup {
            before_beat: resolved.before_beat,
            movement: Some(resolved.movement),
            ..parts(&resolved.parts, id)
        },
        Group::Spelled(gracenotes) => {
            let notes: Vec<Note> = gracenotes.iter().map(|grace| grace.note).collect();
            let placed = place_group(&notes, context, schools);
            let mut group = parts(&placed.parts, id);
            for (part, gracenote) in group.parts.iter_mut().zip(gracenotes) {
                if gracenote.held.is_some() {
                    part.held = gracenote.held;
                    part.role = Role::Sounding;
                }
            }
            ScoreGroup {
                before_beat: placed.before_beat,
                movement: placed.movement,
                ..group
            }
        }
    }
}

fn parts(parts: &[Part], id: NoteId) -> ScoreGroup {
    ScoreGroup {
        parts: parts
            .iter()
            .enumerate()
            .map(|(place, part)| ScoreGrace {
                id: id.grace(place + 1),
                note: part.note,
                role: part.role,
                held: part.held.then_some(Lengths::HELD),
            })
            .collect(),
        before_beat: 0,
        movement: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::NOTES;
    use crate::drill::{BUILT_IN, read};

    /// A cell must have the same name in the plan and on the screen; otherwise the plan would never
    /// see it done.
    #[test]
    fn the_short_way_to_the_written_text_says_the_same() {
        let mut stages = 0;
        for file in BUILT_IN {
            let drill = read(file.text.as_bytes()).0.expect("it reads");
            for stage in &drill.stages {
                let whole = resolve_music(&stage.music, Beats::ZERO, &drill.schools);
                let short = written_text(&stage.music, &drill.schools);
                assert_eq!(whole.written_text(), short, "{}", file.name);
                stages += 1;
            }
        }
        assert!(stages > 30);
    }

    /// The short way to the written text relies on this: no movement of one gracenote holds a
    /// gracenote.
    #[test]
    fn one_gracenote_is_never_held_by_a_name() {
        let befores = NOTES.map(Some).into_iter().chain([None]);
        for before in befores {
            for after in NOTES {
                for gracenote in NOTES {
                    let context = Context { before, after };
                    let placed = place_group(&[gracenote], context, &Schools::none());
                    assert_eq!(placed.parts.len(), 1);
                    assert_eq!(placed.parts[0].note, gracenote);
                    assert!(!placed.parts[0].held, "{gracenote:?} in {context:?}");
                }
            }
        }
    }
}
