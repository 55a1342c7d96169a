//! Transfers a movement to other contexts: other notes that come before it in tunes, then a line of
//! a tune.
//!
//! The line is our own. Its notes step from one context to the next by a rule, so every movement of
//! the catalogue has a line in every metre.

use super::body::body;
use super::chain::note_length;
use super::plan::short;
use crate::chanter::{NOTES, Note};
use crate::drill::document::StageDocument;
use crate::drill::stages::{closed, real_time, usual_before};
use crate::drill::written::{Bar, Group};
use crate::movement::{Context, Family, Movement, Resolved, Schools, counted_contexts, resolve};
use crate::rhythm::Metre;
use crate::units::Beats;

/// Contexts with a smaller count in the counted tunes are ignored, because they may be mistakes or
/// joins of two parts (chosen).
const EVIDENCE: u32 = 3;
/// The number of notes before from which a movement is practised.
const NOTES_BEFORE: usize = 3;

/// Three contexts, each with a different note before. Contexts of the counted tunes come first,
/// those with the drill's closing notes before others, the commonest first. When the tunes have
/// fewer, other closing notes follow. For a movement that the tunes hardly have, the notes from
/// which it can be played follow.
pub(super) fn contexts(movement: Movement, to: &[Note], schools: &Schools) -> Vec<Resolved> {
    let mut counted: Vec<Context> = counted_contexts(movement)
        .into_iter()
        .filter(|(_, count)| *count >= EVIDENCE)
        .map(|(context, _)| context)
        .collect();
    counted.sort_by_key(|context| !to.contains(&context.after));
    let playable = to
        .iter()
        .flat_map(|to| COMMON_BEFORES.map(|from| Context::between(from, *to)));
    let mut found: Vec<Resolved> = Vec::new();
    let mut take = |context: Context, of_its_own: bool| {
        let known = found.iter().any(|known| {
            let same = known.context.before == context.before;
            known.context == context || (of_its_own && same)
        });
        if found.len() < NOTES_BEFORE
            && !known
            && let Some(resolved) = resolve(movement, context, schools).played()
        {
            found.push(resolved.clone());
        }
    };
    for context in &counted {
        take(*context, true);
    }
    for context in &counted {
        take(*context, false);
    }
    for context in playable {
        take(context, true);
    }
    found
}

/// The notes before a movement, the commonest first, counted over all movements of the 277 tunes.
const COMMON_BEFORES: [Note; 9] = [
    Note::LowA,
    Note::E,
    Note::C,
    Note::B,
    Note::D,
    Note::F,
    Note::HighA,
    Note::HighG,
    Note::LowG,
];

/// The two transfer stages.
pub(super) fn stages(metre: Metre, contexts: &[Resolved]) -> Vec<StageDocument> {
    let stage = |name: &str, listen_for: &str, bars: Option<Vec<Bar>>| {
        bars.map(|bars| StageDocument {
            name: name.to_owned(),
            music: Some(body(metre, &bars)),
            listen_for: Some(listen_for.to_owned()),
            ..StageDocument::default()
        })
    };
    [
        stage(
            "from other notes",
            "the movement the same, whatever note it comes from",
            from_other_notes(metre, contexts),
        ),
        stage(
            "a line of a tune",
            "the tune goes on in time: the movement neither waits nor hurries",
            line(metre, contexts),
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The movement in real time from several notes in turn.
fn from_other_notes(metre: Metre, contexts: &[Resolved]) -> Option<Vec<Bar>> {
    let mut bars = Vec::new();
    for resolved in contexts {
        let before = if resolved.movement.family() == Family::Figure {
            short(metre)
        } else {
            usual_before(metre, resolved, Beats::ZERO)
        };
        let from = resolved.context.before?;
        bars.extend(real_time(metre, from, resolved, before).ok()?.bars);
    }
    (!bars.is_empty()).then_some(bars)
}

/// The next note of the scale on the way to another note; the note above when both are the same.
fn step(from: Note, to: Note) -> Note {
    let at = from.index();
    let next = if to < from || at + 1 == NOTES.len() {
        at.saturating_sub(1)
    } else {
        at + 1
    };
    NOTES[next]
}

/// A line that closes on low A. Each phrase has a note that leads to the note before, the movement,
/// and two quick notes towards the next phrase.
fn line(metre: Metre, contexts: &[Resolved]) -> Option<Vec<Bar>> {
    const HOME: Note = Note::LowA;
    let (quick, one) = (short(metre), Beats::ONE);
    let mut notes: Vec<(Note, Beats, Group)> = Vec::new();
    let mut last = HOME;
    for (place, resolved) in contexts.iter().enumerate() {
        let (from, to) = (resolved.context.before?, resolved.context.after);
        let next = contexts
            .get(place + 1)
            .and_then(|next| next.context.before)
            .unwrap_or(Note::C);
        if metre.beats_in_a_bar() != 3 {
            notes.push((step(from, last), one, Group::Opening));
        }
        let group = Group::Movement(resolved.clone());
        if resolved.movement.family() == Family::Figure {
            // The short first note of a figure has the beat.
            notes.push((from, quick, Group::Opening));
            notes.push((to, one + one - quick, group));
        } else {
            let long = note_length(&resolved.parts);
            let from_before = resolved.before_beat > 0;
            let (before, after) = if from_before {
                (long, one)
            } else {
                (one, long)
            };
            notes.push((from, before, Group::Opening));
            notes.push((to, after, group));
        }
        let on = step(to, next);
        last = step(on, next);
        notes.push((on, one - quick, Group::Opening));
        notes.push((last, quick, Group::None));
    }
    let cadence: &[Note] = if metre.beats_in_a_bar() == 3 {
        &[Note::B]
    } else {
        &[Note::C, Note::B]
    };
    notes.extend(cadence.iter().map(|note| (*note, one, Group::Opening)));
    closed(metre, notes, HOME, Group::Opening).ok()
}
