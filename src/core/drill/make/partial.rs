//! Builds up a long movement: tone by tone, last part first, or in two halves.

use super::body::body;
use super::plan::short;
use crate::chanter::Note;
use crate::drill::document::StageDocument;
use crate::drill::stages::{apart, usual_before};
use crate::drill::written::Bar;
use crate::movement::{Context, Resolved, Role};
use crate::rhythm::Metre;

/// The indices of the tones among the parts.
fn tones(resolved: &Resolved) -> Vec<usize> {
    (0..resolved.parts.len())
        .filter(|place| resolved.parts[*place].role == Role::Sounding)
        .collect()
}

/// The first part of a movement: from the note before to the tone with this number, which becomes
/// the closing note.
fn head(resolved: &Resolved, tone: usize) -> Option<(Note, Resolved)> {
    let place = *tones(resolved).get(tone)?;
    let before = resolved.context.before?;
    let head = Resolved {
        parts: resolved.parts[..place].to_vec(),
        context: Context::between(before, resolved.parts[place].note),
        before_beat: resolved.before_beat.min(place),
        ..resolved.clone()
    };
    Some((before, head))
}

/// The last part of a movement: from the tone with this number, which becomes the note before, to
/// the closing note.
fn tail(resolved: &Resolved, tone: usize) -> Option<(Note, Resolved)> {
    let place = *tones(resolved).get(tone)?;
    let before = resolved.parts[place].note;
    let tail = Resolved {
        parts: resolved.parts[place + 1..].to_vec(),
        context: Context::between(before, resolved.context.after),
        before_beat: resolved.before_beat.saturating_sub(place + 1),
        ..resolved.clone()
    };
    Some((before, tail))
}

/// One stage of these parts in every context. Each tone lasts half a beat, or a third of one where
/// the beat has three parts. Equal bars are written once.
fn stage(
    metre: Metre,
    name: String,
    contexts: &[Resolved],
    part: impl Fn(&Resolved) -> Option<(Note, Resolved)>,
) -> Option<StageDocument> {
    let tone = short(metre);
    let mut all: Vec<Vec<Bar>> = Vec::new();
    for resolved in contexts {
        let Some((from, part)) = part(resolved) else {
            continue;
        };
        let before = usual_before(metre, &part, tone);
        let taken = apart(metre, from, &part, before, tone).ok()?;
        if !all.contains(&taken.bars) {
            all.push(taken.bars);
        }
    }
    let bars: Vec<Bar> = all.into_iter().flatten().collect();
    (!bars.is_empty()).then(|| StageDocument {
        name,
        music: Some(body(metre, &bars)),
        ..StageDocument::default()
    })
}

fn most_tones(contexts: &[Resolved]) -> usize {
    contexts
        .iter()
        .map(|resolved| tones(resolved).len())
        .max()
        .unwrap_or(0)
}

/// A number of tones in words: `two tones`, `three tones` …
fn words(number: usize) -> &'static str {
    const WORDS: [&str; 12] = [
        "no tone",
        "tone",
        "two tones",
        "three tones",
        "four tones",
        "five tones",
        "six tones",
        "seven tones",
        "eight tones",
        "nine tones",
        "ten tones",
        "eleven tones",
    ];
    WORDS.get(number).copied().unwrap_or("more tones")
}

/// Stages with the first tone, then one more tone in each; each stage closes on its last tone.
pub(super) fn tone_by_tone(metre: Metre, contexts: &[Resolved]) -> Vec<StageDocument> {
    (0..most_tones(contexts))
        .filter_map(|tone| {
            let name = format!("first {}", words(tone + 1));
            stage(metre, name, contexts, |resolved| head(resolved, tone))
        })
        .collect()
}

/// Stages with the last tone, then one more tone before it in each; each stage begins on its first
/// tone.
pub(super) fn last_part_first(metre: Metre, contexts: &[Resolved]) -> Vec<StageDocument> {
    (1..=most_tones(contexts))
        .filter_map(|from_the_end| {
            let name = format!("last {}", words(from_the_end));
            stage(metre, name, contexts, |resolved| {
                let tone = tones(resolved).len().checked_sub(from_the_end)?;
                tail(resolved, tone)
            })
        })
        .collect()
}

/// Two stages: the first half up to the middle tone, and the second half from there on.
pub(super) fn in_groups(metre: Metre, contexts: &[Resolved]) -> Vec<StageDocument> {
    let middle = |resolved: &Resolved| tones(resolved).len() / 2;
    [
        stage(metre, "first half".to_owned(), contexts, |resolved| {
            head(resolved, middle(resolved))
        }),
        stage(metre, "second half".to_owned(), contexts, |resolved| {
            tail(resolved, middle(resolved))
        }),
    ]
    .into_iter()
    .flatten()
    .collect()
}
