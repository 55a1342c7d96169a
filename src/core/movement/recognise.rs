//! Finds the names of a movement from a run of gracenotes and the notes around it.

use super::catalogue::{Family, Movement};
use super::context::Context;
use super::pattern::{separates, strikes};
use super::resolve::{Resolved, own_or_fault};
use super::school::{School, Schools};
use crate::chanter::{NOTES, Note, gracenote_sounds};
use serde::Serialize;
use std::collections::HashMap;
use std::sync::OnceLock;

/// The names of a run of gracenotes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Recognition {
    /// The movements with these gracenotes, the likeliest first; empty when there is none.
    pub names: Vec<Movement>,
    /// The school whose form the first name has; none for the usual form.
    pub school: Option<&'static str>,
    /// False when two equal notes stand side by side, or a lone gracenote cannot sound.
    pub playable: bool,
    /// The most similar movement; none when there is a name.
    pub nearest: Option<Movement>,
}

/// Names a run of gracenotes between two notes.
pub fn recognise(gracenotes: &[Note], context: Context) -> Recognition {
    let found = matches(gracenotes, context);
    let nearest = if found.is_empty() {
        nearest(gracenotes, context)
    } else {
        None
    };
    Recognition {
        school: found.first().and_then(|found| found.school),
        names: found.iter().map(|found| found.movement).collect(),
        playable: is_playable(gracenotes, context),
        nearest,
    }
}

/// Every movement that has these gracenotes in this context, the likeliest first. The usual form
/// comes before a school's, a form of the context before a replaced one; then the order of the
/// catalogue decides. A figure of melody notes is never included, because its one gracenote does
/// not identify it.
pub(super) fn matches(gracenotes: &[Note], context: Context) -> &'static [Resolved] {
    known(context).get(gracenotes).map_or(&[], Vec::as_slice)
}

type Groups = HashMap<Vec<Note>, Vec<Resolved>>;

/// Every group of gracenotes that is a movement in one context. It is computed on first use: a
/// drill needs few of the ninety contexts, and the first screen must not wait for the others.
fn known(context: Context) -> &'static Groups {
    static KNOWN: [[OnceLock<Groups>; NOTES.len()]; NOTES.len() + 1] =
        [const { [const { OnceLock::new() }; NOTES.len()] }; NOTES.len() + 1];
    let before = context.before.map_or(NOTES.len(), Note::index);
    KNOWN[before][context.after.index()].get_or_init(|| groups(context))
}

fn groups(context: Context) -> Groups {
    let mut groups = Groups::new();
    for movement in Movement::all().filter(|movement| movement.family() != Family::Figure) {
        for schools in ways(movement) {
            // `own_or_fault` instead of `resolve`, because what is played instead of a movement
            // does not matter here.
            let Ok(resolved) = own_or_fault(movement, context, &schools) else {
                continue;
            };
            let known = groups.entry(resolved.gracenotes()).or_default();
            if known.iter().all(|known| known.movement != movement) {
                known.push(resolved);
            }
        }
    }
    for known in groups.values_mut() {
        known.sort_by_key(|resolved| {
            (
                resolved.school.is_some(),
                resolved.replaced.is_some(),
                resolved.movement,
            )
        });
    }
    groups
}

/// The movement without a school, then under each of its schools alone.
fn ways(movement: Movement) -> impl Iterator<Item = Schools> {
    let none = Schools::none();
    let each = none.clone();
    std::iter::once(none).chain(
        movement
            .schools()
            .iter()
            .map(move |school: &School| each.and(*school)),
    )
}

/// True when these gracenotes have a name here. It does not search for a similar movement.
pub fn is_movement(gracenotes: &[Note], context: Context) -> bool {
    !matches(gracenotes, context).is_empty()
}

/// False when two equal notes stand side by side, or a lone gracenote cannot sound.
pub fn is_playable(gracenotes: &[Note], context: Context) -> bool {
    let line: Vec<Note> = context
        .before
        .into_iter()
        .chain(gracenotes.iter().copied())
        .chain([context.after])
        .collect();
    let repeats = line.windows(2).any(|pair| pair[0] == pair[1]);
    let silent = match gracenotes {
        [only] => !separates(*only, context.before, context.after),
        _ => false,
    };
    !repeats && !silent
}

/// True for a lone gracenote that its own note can neither sound nor be struck with, so that only
/// the end of the note before can sound it. None of the 30,054 gracenotes and movements in 277
/// counted tunes is one. Where one is written, either another was meant or a school plays it so.
pub fn is_played_early(gracenote: Note, on: Note) -> bool {
    !gracenote_sounds(gracenote, on) && !strikes(on).contains(&gracenote)
}

/// The movement whose gracenotes differ least on this closing note. A movement with the same
/// gracenotes after another note is nearer than one that differs by a gracenote here.
fn nearest(gracenotes: &[Note], context: Context) -> Option<Movement> {
    let written: Vec<usize> = gracenotes.iter().map(|note| note.index()).collect();
    std::iter::once(context.before)
        .chain(NOTES.map(Some))
        .map(|before| Context { before, ..context })
        .flat_map(|there| {
            known(there)
                .iter()
                .map(move |(group, known)| (there, group, known))
        })
        .filter_map(|(there, group, known)| {
            let played: Vec<usize> = group.iter().map(|note| note.index()).collect();
            let steps = strsim::generic_levenshtein(&written, &played);
            let far = 2 * steps + usize::from(there != context);
            let movement = known.first()?.movement;
            (steps < gracenotes.len().max(group.len())).then_some((far, movement))
        })
        .min()
        .map(|(_, movement)| movement)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::Note::*;

    fn names(gracenotes: &[Note], from: Note, to: Note) -> Vec<&'static str> {
        recognise(gracenotes, Context::between(from, to))
            .names
            .into_iter()
            .map(Movement::name)
            .collect()
    }

    #[test]
    fn the_grip_from_d_is_known_with_b_and_by_school_with_d() {
        let usual = recognise(&[LowG, B, LowG], Context::between(D, LowA));
        assert_eq!(usual.names.first().map(|name| name.name()), Some("grip"));
        assert_eq!(usual.school, None);
        let kept = recognise(&[LowG, D, LowG], Context::between(D, LowA));
        assert_eq!(kept.names.first().map(|name| name.name()), Some("grip"));
        assert_eq!(kept.school, Some("d-from-d"));
    }

    #[test]
    fn what_is_no_movement_has_a_nearest_one() {
        let unknown = recognise(&[LowG, D, LowG, D], Context::between(C, LowA));
        assert!(unknown.names.is_empty());
        assert!(unknown.playable);
        assert!(unknown.nearest.is_some());
        let slip = recognise(&[HighG], Context::between(HighG, B));
        assert!(!slip.playable);
        assert!(slip.names.is_empty());
        assert_eq!(slip.nearest.map(Movement::name), Some("hg-gracenote"));
    }

    #[track_caller]
    fn check(gracenotes: &[Note], from: Note, to: Note, name: &str, school: Option<&str>) {
        let found = recognise(gracenotes, Context::between(from, to));
        assert_eq!(found.names.first().map(|name| name.name()), Some(name));
        assert_eq!(found.school, school, "{name}");
    }

    #[test]
    fn single_gracenotes_and_doublings_are_named() {
        assert_eq!(names(&[D], LowG, B), ["d-gracenote"]);
        assert_eq!(names(&[HighG, E, F], LowA, E), ["doubling"]);
    }

    /// These forms have the right name: common practice, no source.
    #[test]
    fn open_half_and_thumb_forms_are_named() {
        check(&[D, B, E], LowG, B, "taorluath-fosgailte", None);
        check(&[D, C, E], LowG, C, "taorluath-fosgailte", None);
        check(&[C, D, E], LowG, D, "taorluath-fosgailte", None);
        check(
            &[HighA, LowA, LowG, LowA, LowG],
            HighG,
            LowA,
            "thumb-birl",
            None,
        );
        check(&[LowA, LowG, D, LowG, E], E, LowA, "half-taorluath", None);
        check(&[D, LowG, B, LowG, E], C, D, "half-taorluath", None);
        check(&[HighG, LowA, D, LowA, E], E, LowA, "gde-triplet", None);
        check(&[HighG, C, D, C, E], B, C, "gde-triplet", None);
        check(&[LowG, B, LowG], B, B, "half-double-strike", None);
        check(&[LowA, E, LowA], E, E, "half-double-strike", None);
        check(&[B, LowG, B, LowG], E, B, "half-double-strike", None);
        // From other notes the same gracenotes are a grip with the B gracenote.
        check(&[LowG, B, LowG], C, LowA, "grip", Some("b-grip"));
        let half = names(&[F], HighG, HighG);
        assert_eq!(half, ["strike", "half-doubling", "doubling"]);
        check(&[HighA, HighG, F], HighG, HighG, "thumb-doubling", None);
    }

    /// LilyPond 2.24.1 bagpipe.ly, pibroch notations, has E and D without naming the note before.
    /// From high A they are the usual form, from other notes a school's form.
    #[test]
    fn the_cadence_without_its_opening_is_known_after_every_note() {
        for from in [LowG, LowA, B, C, D, F, HighG] {
            for to in [LowG, LowA, B, C] {
                check(&[E, D], from, to, "cadence", Some("cadence-without-hg"));
            }
        }
        check(&[E, D], HighA, C, "cadence", None);
        assert_eq!(names(&[E], C, LowA), ["e-gracenote"]);
    }
}
