//! Written music to score: groups get their parts, places their beats, notes their names.

use super::notes::{NoteId, Score, ScoreBar, ScoreGrace, ScoreGroup, ScoreNote};
use crate::chanter::Note;
use crate::drill::{Group, Music};
use crate::movement::{Context, Lengths, Part, Role, Schools, opening_gracenote, place_group};
use crate::units::Beats;

/// Resolves one repetition of `music`, followed by `breath` of clicks alone.
///
/// Every group is placed against the note that sounds before it in playing order; the first note
/// of a repetition against the last one of the repetition before, and in the very first
/// repetition against silence.
pub fn resolve_music(music: &Music, breath: Beats, schools: &Schools) -> Score {
    let mut score = Score {
        metre: music.metre,
        pickup: music.pickup(),
        bars: Vec::with_capacity(music.order.len()),
        notes: Vec::new(),
        length: Beats::ZERO,
        breath,
    };
    let mut before = last_note(music);
    let mut passes = vec![0_u8; music.bars.len()];
    let first_number = u16::from(score.pickup.is_zero());
    let mut tied = false;
    for &written in &music.order {
        let Some(bar) = music.bars.get(written) else {
            continue;
        };
        passes[written] = passes[written].saturating_add(1);
        let number = u16::try_from(written)
            .unwrap_or(u16::MAX)
            .saturating_add(first_number);
        let index = score.bars.len();
        score.bars.push(ScoreBar {
            number,
            start: score.length,
            length: bar.length(),
            written,
        });
        let mut place = Beats::ZERO;
        for (position, note) in bar.notes.iter().enumerate() {
            let id = NoteId {
                bar: number,
                pass: passes[written],
                note: u8::try_from(position + 1).unwrap_or(u8::MAX),
                grace: 0,
            };
            let continues = tied && before == Some(note.note) && note.group == Group::None;
            let context = Context {
                before,
                after: note.note,
            };
            let group = group_in(&note.group, id, context, schools);
            let first_group = if score.notes.is_empty() {
                let silent = Context {
                    before: None,
                    after: note.note,
                };
                Some(group_in(&note.group, id, silent, schools)).filter(|first| *first != group)
            } else {
                None
            };
            score.notes.push(ScoreNote {
                id,
                bar: index,
                place,
                start: score.length + place,
                written: note.length,
                note: note.note,
                continues,
                group,
                first_group,
            });
            tied = note.tied;
            before = Some(note.note);
            place = place + note.length;
        }
        score.length = score.length + place;
    }
    score
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
