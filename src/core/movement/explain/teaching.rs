//! What a teacher says of each movement: what to listen for, and what comes first.
//!
//! Common practice, no source, unless a sentence names one.

use super::kinds::{
    falls_on_low_g, figure_note, first_that_holds, gives_the_theme_note_the_beat,
    is_a_long_variation, is_of_a_ground,
};
use crate::chanter::{Note, gracenote_sounds};
use crate::movement::{Family, Movement, Part, Resolved, Role, find, opening_gracenote};
use crate::wording;
use serde::Serialize;

/// Something that must be clean before a movement is tried.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Foundation {
    /// The movement of the catalogue; none when this step is not one.
    pub movement: Option<Movement>,
    /// The note to practise it on, when it is a single gracenote or tap.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<Note>,
    /// The step in words.
    pub what: String,
}

/// What to listen for, the likeliest fault first; each is a sentence without a full stop.
pub(super) fn listen_for(resolved: &Resolved) -> Vec<String> {
    let own = first_that_holds(resolved.movement.teaching().listen_for, resolved);
    let first = resolved.parts.first().map_or("", |part| part.note.spoken());
    let mut told: Vec<String> = Vec::new();
    told.extend(own.map(|words| words.replace("{first}", first)));
    told.extend(tones_heard(resolved));
    let lifted = resolved
        .parts
        .iter()
        .enumerate()
        .filter(|(place, part)| part.role == Role::Separating && !is_tap(resolved, *place))
        .count();
    let lifted = lifted + usize::from(figure_opening(resolved).is_some());
    match lifted {
        0 => {}
        1 => told.push(
            "the gracenote a point, not a note: if you could sing it, it lasts too long".to_owned(),
        ),
        _ => told.push(
            "every gracenote a point, not a note: one that you could sing lasts too long"
                .to_owned(),
        ),
    }
    told.push(lands(resolved));
    told
}

/// True when a separating part is tapped down, not lifted.
fn is_tap(resolved: &Resolved, place: usize) -> bool {
    let part = resolved.parts[place];
    let next = resolved
        .parts
        .get(place + 1)
        .map_or(resolved.context.after, |next| next.note);
    let early = place + 1 == resolved.parts.len() && resolved.before_beat > place;
    part.role == Role::Separating && part.note < next && !early
}

fn tones_heard(resolved: &Resolved) -> Option<String> {
    let tones: Vec<Note> = resolved
        .parts
        .iter()
        .filter(|part| part.role == Role::Sounding && !part.held)
        .map(|part| part.note)
        .collect();
    let first = *tones.first()?;
    let separating: Vec<bool> = resolved
        .parts
        .iter()
        .enumerate()
        .filter(|(_, part)| part.role == Role::Separating)
        .map(|(place, _)| is_tap(resolved, place))
        .collect();
    if tones.len() == 1 && separating.len() < 2 {
        return Some(format!(
            "the {} inside is short, but it is heard",
            first.spoken()
        ));
    }
    let taps = separating.iter().filter(|tap| **tap).count();
    let vanishes = match taps {
        0 => "when two gracenotes come too close together it vanishes",
        1 => "when the gracenote and the tap come too close together it vanishes",
        _ if falls_on_low_g(resolved) => "when the two low Gs come too close together it vanishes",
        _ => "when the two taps come too close together it vanishes",
    };
    Some(match tones.len() {
        1 => format!("the {} inside is heard: {vanishes}", first.spoken()),
        2 if tones[1] == first => format!(
            "both {}{}s are heard, and both are the same length",
            if first == resolved.context.after {
                "short "
            } else {
                ""
            },
            first.spoken()
        ),
        2 => "both tones inside are heard: the one that hurries is lost first".to_owned(),
        number => format!(
            "all {} tones inside are heard: the one that hurries is lost first",
            ["no", "one", "two", "three", "four", "five", "six"]
                .get(number)
                .copied()
                .unwrap_or("the")
        ),
    })
}

fn lands(resolved: &Resolved) -> String {
    let closing = resolved.context.after.spoken();
    let parts = &resolved.parts;
    if resolved.movement.family() == Family::Figure {
        let first = resolved.context.before.map_or("first note", Note::spoken);
        return format!("the short {first} on the click, and the {closing} straight after it");
    }
    if resolved.before_beat == parts.len() {
        return if is_of_a_ground(resolved.movement) || is_a_long_variation(resolved.movement) {
            format!("the closing {closing} in its own time, unhurried by what comes before it")
        } else if parts.len() == 1 {
            format!(
                "the {closing} on the click, and the {} gracenote just ahead of it",
                parts[0].note.spoken()
            )
        } else {
            let place = if gives_the_theme_note_the_beat(resolved.movement) {
                "in its place"
            } else {
                "square on its beat"
            };
            format!(
                "the closing {closing} {place}: when it comes late, the movement was begun late"
            )
        };
    }
    let (ahead, on) = parts.split_at(resolved.before_beat);
    let named = |place: usize, part: &Part| match part.role {
        Role::Sounding => part.note.spoken().to_owned(),
        Role::Separating if is_tap(resolved, place) => format!("tap to {}", part.note.spoken()),
        Role::Separating => format!("{} gracenote", part.note.spoken()),
    };
    let first = on[0];
    if !ahead.is_empty() {
        let ahead: Vec<String> = ahead
            .iter()
            .enumerate()
            .map(|(place, part)| format!("the {}", named(place, part)))
            .collect();
        return format!(
            "the {} on the click, with {} squeezed in ahead of it",
            named(resolved.before_beat, &first),
            wording::list(&ahead)
        );
    }
    if is_of_a_ground(resolved.movement) {
        return format!("the {closing} begins where it is written, and nothing of it sounds ahead");
    }
    let tap = is_tap(resolved, 0);
    if parts.len() == 1 {
        let what = match (tap, resolved.context.before) {
            (false, _) => "gracenote",
            (true, Some(_)) => "tap",
            // When no note sounds before it, it is not a tap.
            (true, None) => first.note.spoken(),
        };
        return format!("the {what} on the click, and the {closing} straight after it");
    }
    let (what, stays) = begins_with(resolved, first);
    format!("the {what} on the click, and not {stays}: the movement does not begin early")
}

/// What a movement on the beat begins with, and what it may be mistaken for.
fn begins_with(resolved: &Resolved, first: Part) -> (String, String) {
    let closing = resolved.context.after.spoken();
    let parts = &resolved.parts;
    let tap = is_tap(resolved, 0);
    match first.role {
        Role::Separating if falls_on_low_g(resolved) => {
            ("first low G".to_owned(), format!("the closing {closing}"))
        }
        Role::Separating if tap => ("first tap".to_owned(), format!("the closing {closing}")),
        Role::Separating => {
            let lifted = (0..parts.len())
                .filter(|place| parts[*place].role == Role::Separating && !is_tap(resolved, *place))
                .count();
            let which = if lifted == 1 { "opening" } else { "first" };
            (
                format!("{which} gracenote"),
                format!("the closing {closing}"),
            )
        }
        Role::Sounding if first.note == resolved.context.after => (
            format!("first, short {closing}"),
            format!("the {closing} that stays"),
        ),
        Role::Sounding => (
            format!("{} it begins with", first.note.spoken()),
            format!("the closing {closing}"),
        ),
    }
}

/// What must be clean before this movement. First come the smaller movements it is made of, then
/// its single gracenotes and taps in their places, then the note for which all fingers are down.
/// When there is none of these, the changes of note by themselves are listed. The list is empty for
/// a single gracenote that separates two equal notes.
pub(super) fn foundations(resolved: &Resolved) -> Vec<Foundation> {
    let names = first_that_holds(resolved.movement.teaching().made_of, resolved);
    let mut told: Vec<Foundation> = names
        .unwrap_or_default()
        .iter()
        .filter_map(|name| find(name).ok())
        .map(|movement| Foundation {
            movement: Some(movement),
            on: None,
            what: format!("the {}", movement.spoken()),
        })
        .collect();
    let alone = resolved.parts.len() == 1 && resolved.movement.family() != Family::Figure;
    if !alone {
        for foundation in singles(resolved) {
            if !told.iter().any(|known| known.what == foundation.what) {
                told.push(foundation);
            }
        }
    }
    if resolved
        .parts
        .iter()
        .any(|part| part.role == Role::Sounding && part.note == Note::LowG)
        || resolved.context.before == Some(Note::LowG)
    {
        told.push(in_words(
            "a clean low G, every hole covered at once".to_owned(),
        ));
    }
    if told.is_empty() {
        told.extend(changes(resolved).into_iter().map(in_words));
    }
    told
}

fn in_words(what: String) -> Foundation {
    Foundation {
        movement: None,
        on: None,
        what,
    }
}

/// The changes of note within the movement, without any gracenote.
fn changes(resolved: &Resolved) -> Vec<String> {
    let after = resolved.context.after;
    let Some(before) = resolved.context.before else {
        return vec![format!("a steady {}", after.spoken())];
    };
    let tones = resolved
        .parts
        .iter()
        .filter(|part| part.role == Role::Sounding)
        .map(|part| part.note);
    let line: Vec<Note> = std::iter::once(before)
        .chain(tones)
        .chain([after])
        .collect();
    line.windows(2)
        .filter(|pair| pair[0] != pair[1])
        .map(|pair| {
            format!(
                "the change from {} to {} without any gracenote",
                pair[0].spoken(),
                pair[1].spoken()
            )
        })
        .collect()
}

/// The gracenote that opens the first note of a figure, and that note.
fn figure_opening(resolved: &Resolved) -> Option<(Note, Note)> {
    let first = figure_note(resolved)?;
    Some((opening_gracenote(None, first)?, first))
}

/// The separating gracenotes one by one. A figure also has the one that opens its first note.
fn singles(resolved: &Resolved) -> Vec<Foundation> {
    let parts = &resolved.parts;
    let opening = figure_opening(resolved).and_then(|(gracenote, on)| single(gracenote, on));
    let inside = parts
        .iter()
        .enumerate()
        .filter(|(_, part)| part.role == Role::Separating)
        .filter_map(|(place, part)| {
            let held = parts
                .get(place + 1)
                .map_or(resolved.context.after, |next| next.note);
            single(part.note, held)
        });
    opening.into_iter().chain(inside).collect()
}

/// A gracenote or a tap on a note, by itself.
fn single(gracenote: Note, held: Note) -> Option<Foundation> {
    let (name, what) = if gracenote_sounds(gracenote, held) {
        (
            format!("{}-gracenote", gracenote.name().to_lowercase()),
            format!("the {} gracenote on {}", gracenote.spoken(), held.spoken()),
        )
    } else {
        (
            "strike".to_owned(),
            format!("the tap from {} to {}", held.spoken(), gracenote.spoken()),
        )
    };
    Some(Foundation {
        movement: Some(find(&name).ok()?),
        on: Some(held),
        what,
    })
}
