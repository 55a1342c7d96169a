//! Chains a movement: four times in a row, and up and down the scale.

use super::body::body;
use crate::chanter::{NOTES, Note};
use crate::drill::stages::closed;
use crate::drill::written::{Bar, Group};
use crate::movement::{Context, Lengths, Movement, Part, Resolved, Schools, resolve};
use crate::rhythm::Metre;
use crate::units::{Beats, Bpm, Fraction};

fn played(movement: Movement, from: Note, to: Note, schools: &Schools) -> Option<Resolved> {
    resolve(movement, Context::between(from, to), schools)
        .played()
        .cloned()
}

/// The length of the notes of a chain, in beats: long enough that the movement is not crowded at 80
/// beats a minute.
pub(super) fn note_length(parts: &[Part]) -> Beats {
    let Ok(tempo) = Bpm::whole(80) else {
        return Beats::ONE;
    };
    let lengths = Lengths::default();
    let all: Beats = parts
        .iter()
        .map(|part| {
            if part.held {
                Lengths::HELD
            } else {
                lengths.of(part.role, tempo)
            }
        })
        .sum();
    [1, 2, 4]
        .into_iter()
        .map(Beats::whole)
        .find(|length| all * Fraction::new(5, 3) <= *length)
        .unwrap_or(Beats::whole(4))
}

fn bars(metre: Metre, mut line: Vec<(Note, Group)>, length: Beats) -> Option<Vec<Bar>> {
    let (closing, group) = line.pop()?;
    let notes = line
        .into_iter()
        .map(|(note, group)| (note, length, group))
        .collect();
    closed(metre, notes, closing, group).ok()
}

/// A movement without tones: once from a note of one beat, and then on every beat, each time from a
/// note of `before` beats. It cannot be taken apart, so the note before it becomes shorter.
pub(super) fn on_every_beat(metre: Metre, contexts: &[Resolved], before: Beats) -> Option<String> {
    let least = metre.beats_in_a_bar().max(4);
    let mut all = Vec::new();
    for resolved in contexts {
        let (from, to) = (resolved.context.before?, resolved.context.after);
        let group = || Group::Movement(resolved.clone());
        let mut line = vec![(from, Beats::ONE, Group::Opening)];
        for _ in 2..least {
            line.push((to, Beats::ONE - before, group()));
            line.push((from, before, Group::Opening));
        }
        all.extend(closed(metre, line, to, group()).ok()?);
    }
    Some(body(metre, &all))
}

/// The movement four times in a row. It goes to the closing note each time when it can be played
/// from that note, and back and forth otherwise.
pub(super) fn four_in_a_row(metre: Metre, first: &Resolved, schools: &Schools) -> Option<String> {
    let (from, to) = (first.context.before?, first.context.after);
    let mut line = vec![(from, Group::Opening), (to, Group::Movement(first.clone()))];
    let again = played(first.movement, to, to, schools);
    for _ in 0..3 {
        if let Some(again) = &again {
            line.push((to, Group::Movement(again.clone())));
        } else {
            line.push((from, Group::Opening));
            line.push((to, Group::Movement(first.clone())));
        }
    }
    let bars = bars(metre, line, note_length(&first.parts))?;
    Some(body(metre, &bars))
}

/// The movement up and down the scale. It goes from note to note when it closes on five notes or
/// more; otherwise it goes from every note to the closing note of that context.
pub(super) fn scale(metre: Metre, first: &Resolved, schools: &Schools) -> Option<String> {
    let movement = first.movement;
    let closes = movement.closes_on();
    let up_and_down = |notes: &[Note]| -> Vec<Note> {
        let down = notes.iter().rev().skip(1);
        notes.iter().chain(down).copied().collect()
    };
    let mut line: Vec<(Note, Group)> = Vec::new();
    if closes.len() >= 5 {
        for note in up_and_down(&closes) {
            let group = line
                .last()
                .and_then(|(before, _)| played(movement, *before, note, schools));
            line.push((note, group.map_or(Group::Opening, Group::Movement)));
        }
    } else {
        let to = first.context.after;
        let from: Vec<Note> = NOTES
            .into_iter()
            .filter(|note| played(movement, *note, to, schools).is_some())
            .collect();
        for note in up_and_down(&from) {
            let resolved = played(movement, note, to, schools)?;
            line.push((note, Group::Opening));
            line.push((to, Group::Movement(resolved)));
        }
    }
    let bars = bars(metre, line, note_length(&first.parts))?;
    Some(body(metre, &bars))
}
