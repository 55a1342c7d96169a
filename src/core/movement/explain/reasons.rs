//! Why each gracenote is there.

use crate::chanter::{Note, gracenote_sounds};
use crate::movement::{Context, Part, Resolved, Role, Schools, resolve};

/// One reason for each part, in order; each is a sentence without a full stop.
pub(super) fn reasons(resolved: &Resolved, schools: &Schools) -> Vec<String> {
    (0..resolved.parts.len())
        .map(|place| reason(resolved, place, schools))
        .collect()
}

fn reason(resolved: &Resolved, place: usize, schools: &Schools) -> String {
    let parts = &resolved.parts;
    let part = parts[place];
    let closing = resolved.context.after;
    let before = if place == 0 {
        resolved.context.before
    } else {
        Some(parts[place - 1].note)
    };
    let after = parts.get(place + 1).map_or(closing, |next| next.note);
    let last = place + 1 == parts.len();
    match part.role {
        Role::Separating => separating(part.note, before, after, place == 0, last),
        Role::Sounding => {
            let sounds_closing = part.note == closing && !stays_elsewhere(resolved, place, schools);
            sounding(parts, place, closing, sounds_closing)
        }
    }
}

/// The reason for a separating gracenote. `first` is true when the note before it is the melody's
/// and not a tone of the movement.
fn separating(
    gracenote: Note,
    before: Option<Note>,
    after: Note,
    first: bool,
    last: bool,
) -> String {
    let name = gracenote.spoken();
    let next = if last {
        format!("the closing {}", after.spoken())
    } else {
        after.spoken().to_owned()
    };
    if gracenote < after && !gracenote_sounds(gracenote, after) {
        return match before {
            Some(before) if gracenote_sounds(gracenote, before) => format!(
                "is played off the {} that is ending: {next} cannot sound it",
                before.spoken()
            ),
            Some(before) if before == after && first => format!(
                "a tap to {name} parts the {} from the one before it",
                after.spoken()
            ),
            Some(before) if before == after => {
                format!("a tap to {name} cuts the {} in two", after.spoken())
            }
            None => format!("{name} for a moment first: {next} springs up from it"),
            _ => format!("a tap to {name} on the way: {next} springs up from it"),
        };
    }
    match before {
        Some(before) if before == after && first => format!(
            "separates the {} from the one before it: without it they would be heard as one",
            after.spoken()
        ),
        Some(before) if before == after && last => format!(
            "separates the short {} from the one that stays",
            after.spoken()
        ),
        Some(before) if before == after => format!(
            "separates the two {}s, which would otherwise be heard as one",
            after.spoken()
        ),
        before => {
            let opened = if last {
                format!("the {} it lands on", after.spoken())
            } else {
                next
            };
            let edge = before.map_or("", |_| " and gives it a clean edge");
            format!("opens {opened}{edge}")
        }
    }
}

/// True when the tone stands here for every closing note. Where it equals the closing note, that is
/// a coincidence.
fn stays_elsewhere(resolved: &Resolved, place: usize, schools: &Schools) -> bool {
    let part = resolved.parts[place];
    let mut others = resolved
        .movement
        .closes_on()
        .into_iter()
        .filter(|closing| *closing != resolved.context.after)
        .filter_map(|after| {
            let context = Context {
                after,
                ..resolved.context
            };
            resolve(resolved.movement, context, schools)
                .played()
                .map(|there| there.parts.get(place) == Some(&part))
        })
        .peekable();
    others.peek().is_some() && others.all(|same| same)
}

/// The reason for a tone. `sounds_closing` is true when the tone is the closing note, sounded once
/// before it stays.
fn sounding(parts: &[Part], place: usize, closing: Note, sounds_closing: bool) -> String {
    let part = parts[place];
    let note = part.note;
    let name = note.spoken();
    if part.held {
        return format!(
            "{name} held: a note of its own, a beat here and as long as the music wants"
        );
    }
    let tones: Vec<Note> = parts
        .iter()
        .filter(|part| part.role == Role::Sounding)
        .map(|part| part.note)
        .collect();
    let earlier = parts[..place]
        .iter()
        .filter(|part| part.role == Role::Sounding)
        .map(|part| part.note)
        .collect::<Vec<Note>>();
    let again = earlier.last() == Some(&note);
    if sounds_closing {
        return if again && parts[..place].iter().any(|part| part.held) {
            format!("{name} once more, now short")
        } else if again {
            format!("{name} once more, still short")
        } else {
            format!("{name} itself, once short, so that the ear has it before it stays")
        };
    }
    let neighbours = [place.checked_sub(1), Some(place + 1)];
    let among_gracenotes = neighbours
        .into_iter()
        .flatten()
        .filter_map(|place| parts.get(place))
        .any(|part| part.role == Role::Separating);
    let next = parts.get(place + 1).map_or(closing, |next| next.note);
    if !among_gracenotes {
        let way = if next > note { "up" } else { "down" };
        let to = if place + 1 == parts.len() {
            format!("the closing {}", next.spoken())
        } else {
            next.spoken().to_owned()
        };
        return format!("a passing tone, {way} to {to}");
    }
    match (tones.len(), again, note) {
        // A low G before a closing low G does not stand between two other tones.
        (1, _, _) if [note, closing] != [Note::LowG; 2] => {
            format!("the one tone inside: short, but a tone, and heard as {name}")
        }
        (_, true, Note::LowG) => "low G again, the same length as the first".to_owned(),
        (_, true, _) => format!("back to {name}, the note under the gracenotes"),
        (_, false, Note::LowG) => {
            "all fingers down: the low sound that gives the movement its weight".to_owned()
        }
        (_, false, Note::C) if closing == Note::D => {
            "the step from which the D is reached".to_owned()
        }
        (_, false, _) => format!("{name}, a tone of its own between the gracenotes"),
    }
}
