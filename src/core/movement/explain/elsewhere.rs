//! How a movement changes in other contexts and under other schools.

use crate::chanter::{NOTES, Note};
use crate::movement::{Context, Family, Movement, Part, Resolution, Resolved, Schools, resolve};
use crate::wording;
use serde::Serialize;

/// The same movement from other notes before it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Elsewhere {
    /// The notes before the movement.
    pub from: Vec<Note>,
    /// The gracenotes that are played from these notes; empty when it cannot be played.
    pub gracenotes: Vec<Note>,
    /// The gracenotes with their roles: tones and separating gracenotes.
    #[serde(skip)]
    pub parts: Vec<Part>,
    /// Why it is not the usual form; none when it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// What is played instead, when it cannot be played.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub instead: Option<Movement>,
}

/// The same movement by another school.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct OtherSchool {
    /// Its name, as `--school` takes it.
    pub name: &'static str,
    /// What this school plays in general.
    pub description: &'static str,
    /// The gracenotes that it plays here.
    pub gracenotes: Vec<Note>,
    /// The gracenotes with their roles: tones and separating gracenotes.
    #[serde(skip)]
    pub parts: Vec<Part>,
    /// How many of the parts, from the first, sound before the beat.
    pub before_beat: usize,
}

/// The movement from every other note to the same closing note. Notes with the same gracenotes are
/// one entry.
pub(super) fn elsewhere(resolved: &Resolved, schools: &Schools) -> Vec<Elsewhere> {
    let own = resolved.gracenotes();
    let mut found: Vec<Elsewhere> = Vec::new();
    for before in NOTES {
        let context = Context::between(before, resolved.context.after);
        if context == resolved.context {
            continue;
        }
        let there = match resolve(resolved.movement, context, schools) {
            Resolution::Played(there) => Elsewhere {
                from: vec![before],
                gracenotes: there.gracenotes(),
                parts: there.parts,
                why: there.replaced,
                instead: None,
            },
            Resolution::NotPlayable { why, instead } => Elsewhere {
                from: vec![before],
                gracenotes: Vec::new(),
                parts: Vec::new(),
                why: Some(why),
                instead: instead.map(|instead| instead.movement),
            },
        };
        if there.gracenotes == own {
            continue;
        }
        let same = |known: &&mut Elsewhere| {
            known.gracenotes == there.gracenotes
                && known.why == there.why
                && known.instead == there.instead
        };
        match found.iter_mut().find(same) {
            Some(known) => known.from.push(before),
            None => found.push(there),
        }
    }
    found
}

/// The schools, other than the chosen one, that change the movement in this context.
pub(super) fn other_schools(resolved: &Resolved) -> Vec<OtherSchool> {
    let Resolved {
        movement, context, ..
    } = *resolved;
    movement
        .schools()
        .iter()
        .filter_map(|school| {
            let schools = Schools::none().and(*school);
            let resolution = resolve(movement, context, &schools);
            let there = resolution.played()?;
            // When the school decides nothing here, what is played is not its own form.
            let decides = there.school == Some(school.name);
            let differs = decides
                && (there.parts != resolved.parts || there.before_beat != resolved.before_beat);
            differs.then(|| OtherSchool {
                name: school.name,
                description: school.description,
                gracenotes: there.gracenotes(),
                parts: there.parts.clone(),
                before_beat: there.before_beat,
            })
        })
        .collect()
}

/// The notes on which a movement closes, in a sentence.
pub(super) fn closes(movement: Movement) -> String {
    let notes: Vec<&str> = movement.closes_on().into_iter().map(Note::spoken).collect();
    if movement.family() == Family::Gracenote {
        format!("It stands on {}.", wording::list(&notes))
    } else if notes.len() == NOTES.len() {
        "It closes on every note.".to_owned()
    } else {
        format!("It closes on {}.", wording::list(&notes))
    }
}
