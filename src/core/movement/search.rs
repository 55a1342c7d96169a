//! Searches the catalogue by name, by gracenotes and by finger, the commonest movement first.

use super::catalogue::{Family, Movement, tune_counts};
use super::context::Context;
use super::parts::{Part, Role};
use super::recognise::recognise;
use super::resolve::{Resolved, resolve};
use super::school::Schools;
use crate::chanter::{
    CrossingKind, Finger, NOTES, Note, crossing, gracenote_finger, strike_finger,
};
use crate::wording;
use std::collections::HashMap;
use std::sync::LazyLock;

/// How many times a movement stands in the counted tunes, and its commonest context.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Usage {
    /// How many times in all contexts.
    pub count: u32,
    /// The context in which it stands most often.
    pub commonest: Context,
}

static CONTEXTS: LazyLock<HashMap<Movement, Vec<(Context, u32)>>> = LazyLock::new(|| {
    let mut contexts: HashMap<Movement, Vec<(Context, u32)>> = HashMap::new();
    for row in tune_counts() {
        let recognition = recognise(&row.gracenotes, row.context);
        let Some(movement) = recognition.names.first() else {
            continue;
        };
        let known = contexts.entry(*movement).or_default();
        match known
            .iter_mut()
            .find(|(context, _)| *context == row.context)
        {
            Some((_, count)) => *count += row.count,
            None => known.push((row.context, row.count)),
        }
    }
    for known in contexts.values_mut() {
        known.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    }
    contexts
});

/// The contexts in which a movement stands in the 277 counted tunes, each with its count, the
/// commonest first.
pub fn counted_contexts(movement: Movement) -> Vec<(Context, u32)> {
    CONTEXTS.get(&movement).cloned().unwrap_or_default()
}

static USAGE: LazyLock<HashMap<Movement, Usage>> = LazyLock::new(|| {
    let mut usage: HashMap<Movement, Usage> = HashMap::new();
    // Rows are sorted, so the first context of a movement is its commonest.
    for row in tune_counts() {
        let recognition = recognise(&row.gracenotes, row.context);
        if let Some(movement) = recognition.names.first() {
            usage
                .entry(*movement)
                .or_insert(Usage {
                    count: 0,
                    commonest: row.context,
                })
                .count += row.count;
        }
    }
    usage
});

/// How often a movement stands in 277 counted tunes; none when it never does.
pub fn counted(movement: Movement) -> Option<Usage> {
    USAGE.get(&movement).copied()
}

/// The context in which a movement is shown when the tunes hardly have it or its gracenotes do not
/// identify it; none for other movements.
fn taught_place(movement: Movement) -> Option<Context> {
    let (before, after) = movement.teaching().shown_between?;
    Some(Context::between(before, after))
}

/// The context in which a movement is shown or practised by default. It is the one its row names,
/// or else the commonest in tunes. Otherwise it is the first in which the usual form can be played:
/// from low A, from E or from another note, low to high, to the lowest closing note above low G.
pub fn typical_context(movement: Movement) -> Context {
    let plays = |context: &Context, counts: bool| {
        resolve(movement, *context, &Schools::none())
            .played()
            .is_some_and(|resolved| counts || resolved.replaced.is_none())
    };
    let closes = movement.closes_on();
    taught_place(movement)
        .or_else(|| counted(movement).map(|usage| usage.commonest))
        .filter(|context| plays(context, true))
        .or_else(|| {
            let befores = [Note::LowA, Note::E].into_iter().chain(NOTES);
            let afters: Vec<Note> = closes
                .iter()
                .copied()
                .filter(|note| *note > Note::LowG)
                .chain(closes.iter().copied())
                .collect();
            befores
                .flat_map(|before| {
                    afters
                        .iter()
                        .map(move |after| Context::between(before, *after))
                        .collect::<Vec<_>>()
                })
                .find(|context| plays(context, false))
        })
        .unwrap_or(Context::between(Note::LowA, Note::LowA))
}

/// True when a resolved movement uses the finger: lifts or taps it for a gracenote, or moves it
/// between tones.
pub fn works_finger(resolved: &Resolved, finger: Finger) -> bool {
    let mut held = resolved.context.before;
    for (place, part) in resolved.parts.iter().enumerate() {
        let next = resolved
            .parts
            .get(place + 1)
            .map_or(resolved.context.after, |next| next.note);
        match part.role {
            Role::Separating => {
                let lifted = part.note > next && gracenote_finger(part.note) == Some(finger);
                let tapped = part.note < next && strike_finger(next, part.note).contains(&finger);
                if lifted || tapped {
                    return true;
                }
            }
            Role::Sounding => {
                if held.is_some_and(|held| moves(held, part.note, finger)) {
                    return true;
                }
                held = Some(part.note);
            }
        }
    }
    held.is_some_and(|held| moves(held, resolved.context.after, finger))
}

fn moves(from: Note, to: Note, finger: Finger) -> bool {
    let way = crossing(from, to);
    way.falling.contains(&finger) || way.rising.contains(&finger)
}

/// How hard a group is to play; a larger number is harder. It counts one for each note, two more
/// for each tone, one for each finger that moves between tones, and one more for each true crossing
/// (chosen: no source ranks them).
pub fn difficulty(parts: &[Part], context: Context) -> u32 {
    let mut held = context.before;
    let tones = parts
        .iter()
        .filter(|part| part.role == Role::Sounding)
        .map(|part| part.note);
    let mut hard = parts.len() + 2 * tones.clone().count();
    for note in tones.chain([context.after]) {
        if let Some(before) = held.replace(note) {
            let way = crossing(before, note);
            hard += way.falling.len() + way.rising.len();
            if way.kind == CrossingKind::True {
                hard += 1;
            }
        }
    }
    u32::try_from(hard).unwrap_or(u32::MAX)
}

/// Movements whose name or kind contains the words, that have exactly these gracenotes in some
/// context, and that use the finger in their typical context; the commonest in tunes first. Empty
/// arguments give the whole catalogue.
pub fn search(words: &str, gracenotes: &[Note], finger: Option<Finger>) -> Vec<Movement> {
    let words = wording::without_accents(&words.trim().to_lowercase());
    let words = words
        .replace("piobaireachd", "pibroch")
        .replace("ceol mor", "pibroch");
    let mut found: Vec<Movement> = Movement::all()
        .filter(|movement| words.is_empty() || is_named(*movement, &words))
        .filter(|movement| gracenotes.is_empty() || has(*movement, gracenotes))
        .filter(|movement| finger.is_none_or(|finger| works(*movement, finger)))
        .collect();
    found.sort_by_key(|movement| {
        let count = counted(*movement).map_or(0, |usage| usage.count);
        (std::cmp::Reverse(count), *movement)
    });
    found
}

fn is_named(movement: Movement, words: &str) -> bool {
    let hyphened = words.replace(' ', "-");
    movement.name().contains(&hyphened)
        || movement.spoken().to_lowercase().contains(words)
        || movement.also().iter().any(|name| name.contains(&hyphened))
        || movement.family().heading().contains(words)
}

fn has(movement: Movement, gracenotes: &[Note]) -> bool {
    let contexts = NOTES
        .into_iter()
        .flat_map(|before| NOTES.map(|after| Context::between(before, after)));
    if movement.family() == Family::Figure {
        return gracenotes == [Note::D];
    }
    contexts
        .into_iter()
        .any(|context| recognise(gracenotes, context).names.contains(&movement))
}

fn works(movement: Movement, finger: Finger) -> bool {
    let context = typical_context(movement);
    resolve(movement, context, &Schools::none())
        .played()
        .is_some_and(|resolved| works_finger(resolved, finger))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::movement::find;

    #[test]
    fn the_commonest_movement_in_tunes_comes_first() {
        let all = search("", &[], None);
        assert_eq!(all.len(), Movement::all().count());
        assert_eq!(all[0].name(), "hg-gracenote");
        assert_eq!(all[1].name(), "doubling");
    }

    #[test]
    fn search_is_by_name_gracenotes_and_finger() {
        let names =
            |found: Vec<Movement>| -> Vec<&str> { found.into_iter().map(Movement::name).collect() };
        assert_eq!(names(search("leumluath", &[], None)), ["grip"]);
        assert_eq!(
            names(search("", &[Note::LowG, Note::B, Note::LowG], None)),
            ["grip", "half-double-strike"]
        );
        let little = names(search("birl", &[], Some(Finger::LowerLittle)));
        assert!(little.contains(&"birl"), "{little:?}");
        let ring = names(search("birl", &[], Some(Finger::UpperRing)));
        assert!(!ring.contains(&"birl"), "{ring:?}");
    }

    #[test]
    fn a_crunluath_is_harder_than_a_grip_and_a_crossing_harder_than_a_step() {
        let hard = |name: &str, from: Note, to: Note| {
            let context = Context::between(from, to);
            let resolution = resolve(find(name).expect("a movement"), context, &Schools::none());
            difficulty(&resolution.played().expect("played").parts, context)
        };
        assert!(hard("crunluath", Note::C, Note::E) > hard("grip", Note::C, Note::E));
        let single = |from, to| hard("hg-gracenote", from, to);
        assert!(single(Note::C, Note::E) > single(Note::LowA, Note::B));
    }

    /// Every list, page and drill without a context of its own uses the typical context.
    #[test]
    fn every_movement_is_played_in_its_typical_context() {
        for movement in Movement::all() {
            let context = typical_context(movement);
            let resolution = resolve(movement, context, &Schools::none());
            assert!(resolution.played().is_some(), "{movement} {context:?}");
        }
        let grip = find("grip").expect("a movement");
        assert_eq!(typical_context(grip), Context::between(Note::B, Note::C));
        for (name, before, after) in [
            ("embari", Note::LowA, Note::E),
            ("barluath", Note::LowA, Note::E),
            ("tachum", Note::C, Note::LowA),
            ("taorluath-fosgailte", Note::LowG, Note::B),
            ("thumb-shake", Note::HighG, Note::D),
            ("half-catch", Note::HighA, Note::C),
        ] {
            let movement = find(name).expect("a movement");
            assert_eq!(
                typical_context(movement),
                Context::between(before, after),
                "{name}"
            );
        }
    }
}
