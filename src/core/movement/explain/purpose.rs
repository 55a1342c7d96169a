//! Says what a movement is, for the gracenotes that are played here. Words that do not depend on
//! the gracenotes are in its catalogue row.
//!
//! Common practice, no source, unless a sentence names one.

use super::kinds::falls_on_low_g;
use crate::chanter::{Note, Shape, gracenote_finger, gracenote_sounds};
use crate::movement::{Family, Part, Resolved, Role};
use crate::wording::{self, capital};

/// What the movement is, in a sentence or two.
pub(super) fn purpose(resolved: &Resolved) -> String {
    if let Some(words) = resolved.movement.teaching().purpose {
        return words.replace("{to}", resolved.context.after.spoken());
    }
    match resolved.movement.family() {
        Family::Gracenote => gracenote(resolved),
        Family::Doubling => doubling(resolved),
        Family::Strike => strike(resolved),
        Family::Shake => shake(resolved),
        Family::Triplet => triplet(resolved),
        Family::Catch => format!(
            "The note is caught short and a grip follows, back to the same note.{}",
            b_inside(resolved)
        ),
        Family::Throw => throw(resolved),
        Family::Birl => birl(resolved),
        Family::Grip => grip(resolved),
        Family::Pibroch => pibroch(resolved),
        Family::Figure => figure(resolved),
    }
}

/// Describes a single gracenote. What its finger does depends on the note before.
fn gracenote(resolved: &Resolved) -> String {
    let gracenote = resolved.parts[0].note;
    let finger = if gracenote == Note::HighA {
        "The thumb"
    } else {
        "One finger"
    };
    let Some(before) = resolved.context.before else {
        return format!(
            "{finger} off and straight back as the note begins: it gives the note its edge."
        );
    };
    if before == resolved.context.after {
        return format!("{finger} off and straight back: it parts two notes that are the same.");
    }
    if resolved.before_beat > 0 {
        return format!(
            "{finger} off and straight back at the end of the {}: it sets the {} off from it.",
            before.spoken(),
            resolved.context.after.spoken()
        );
    }
    let is_off =
        gracenote_finger(gracenote).is_some_and(|finger| !Shape::of(before).covers(finger));
    if is_off {
        format!(
            "{finger}, off already on {}, stays off a moment longer and then falls: it gives the new \
             note its edge.",
            before.spoken()
        )
    } else {
        format!(
            "{finger} off and straight back as the note changes: it gives the new note its edge."
        )
    }
}

/// The gracenote that opens the closing note; none when the first part is a tone.
fn opening(resolved: &Resolved) -> Option<Note> {
    let first = resolved.parts.first()?;
    let opens = first.role == Role::Separating
        && resolved
            .parts
            .get(1)
            .is_some_and(|next| gracenote_sounds(first.note, next.note));
    opens.then_some(first.note)
}

fn tones(resolved: &Resolved) -> impl Iterator<Item = Note> {
    resolved
        .parts
        .iter()
        .filter(|part| part.role == Role::Sounding)
        .map(|part| part.note)
}

fn times(resolved: &Resolved, note: Note) -> usize {
    tones(resolved).filter(|tone| *tone == note).count()
}

/// What is said of a grip inside that comes from the caught D: as in any grip from D, a B gracenote
/// separates its low Gs.
fn b_inside(resolved: &Resolved) -> &'static str {
    let b = |part: &Part| part.role == Role::Separating && part.note == Note::B;
    if resolved.parts.iter().any(b) {
        " The grip in it comes from D, so the B gracenote separates the low Gs, with the bottom \
         hand's ring finger; some schools keep the D gracenote."
    } else {
        ""
    }
}

/// How many times the closing note sounds: inside the movement, at the end, and before it when a
/// tap follows at once.
fn heard(resolved: &Resolved) -> usize {
    times(resolved, resolved.context.after) + 1 + usize::from(taps_at_once(resolved))
}

/// True when the note before equals the closing note and is tapped at once.
fn taps_at_once(resolved: &Resolved) -> bool {
    resolved.context.before == Some(resolved.context.after)
        && opening(resolved).is_none()
        && !begins(resolved)
}

/// True when the first part is a tone.
fn begins(resolved: &Resolved) -> bool {
    resolved
        .parts
        .first()
        .is_some_and(|part| part.role == Role::Sounding)
}

fn number(number: usize) -> &'static str {
    ["no", "one", "two", "three", "four", "five", "six"]
        .get(number)
        .copied()
        .unwrap_or("many")
}

/// A number in words: `once`, `twice`, `three times`.
fn often(times: usize) -> String {
    match times {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        more => format!("{} times", number(more)),
    }
}

/// Says which gracenote opens the note: `a gracenote opens it`.
fn opens(resolved: &Resolved) -> &'static str {
    match opening(resolved) {
        Some(Note::HighA) => "the thumb opens it",
        Some(_) => "a gracenote opens it",
        None => "nothing opens it",
    }
}

fn doubling(resolved: &Resolved) -> String {
    let tapped = |part: &Part| part.note < resolved.context.after;
    if let [only] = resolved.parts[..] {
        let finger = if only.note == Note::HighG {
            "the thumb's tap"
        } else {
            "the tap"
        };
        let because = match (resolved.movement.name(), resolved.context.before) {
            ("half-doubling", Some(before)) if before == resolved.context.after => {
                format!(": {} sounds already", before.spoken())
            }
            ("half-doubling", Some(before)) => {
                format!(": coming down from {} sets the note off", before.spoken())
            }
            // For the doubling the catalogue gives the reason.
            _ => String::new(),
        };
        return format!("Only {finger} is left of this doubling{because}.");
    }
    let parts = match resolved.parts.last() {
        Some(last) if tapped(last) => "a tap parts the two",
        _ if opening(resolved).is_some() => "another parts the two",
        _ => "a gracenote parts the two",
    };
    let high = resolved.context.after > Note::F;
    match resolved.movement.name() {
        "thumb-doubling" => "The doubling opened by the thumb: used after high G, which cannot \
                             open a note again."
            .to_owned(),
        "half-doubling" if !high => "The doubling without its opening gracenote: used mostly \
                                     after high A, also after high G."
            .to_owned(),
        _ => {
            let opens = match opening(resolved) {
                None => "",
                Some(Note::HighA) => "the thumb opens it, ",
                Some(_) => "one gracenote opens it, ",
            };
            let parts = match opening(resolved) {
                Some(Note::HighA) if parts == "another parts the two" => {
                    "another gracenote parts the two"
                }
                _ => parts,
            };
            format!("The note is heard twice, once short and once long: {opens}{parts}.")
        }
    }
}

fn strike(resolved: &Resolved) -> String {
    let taps = resolved.parts.len()
        - times(resolved, resolved.context.after)
        - usize::from(opening(resolved).is_some());
    if resolved.movement.name() == "strike" {
        return if resolved.context.before == Some(resolved.context.after) {
            format!(
                "The note dips to {} for a moment and comes back: it is heard twice.",
                resolved.parts[0].note.spoken()
            )
        } else if resolved.context.before.is_none() {
            "A lower note, sounded for a moment first: it gives the closing note its edge."
                .to_owned()
        } else {
            "A lower note, touched for a moment on the way: it gives the closing note its edge."
                .to_owned()
        };
    }
    if taps > 1 {
        let counting = if taps_at_once(resolved) {
            ", counting the one already held"
        } else {
            ""
        };
        return format!(
            "The note is tapped {}: it is heard {}{counting}.",
            often(taps),
            often(heard(resolved))
        );
    }
    match opening(resolved) {
        Some(Note::HighA) => "The thumb opens the note and a tap cuts it in two.".to_owned(),
        Some(_) => "A gracenote opens the note and a tap cuts it in two.".to_owned(),
        None => {
            "The note sounds short, a tap cuts it off, and it stays; nothing opens it.".to_owned()
        }
    }
}

fn shake(resolved: &Resolved) -> String {
    let opens = opens(resolved);
    let another = if opens == "a gracenote opens it" {
        "another"
    } else {
        "a gracenote"
    };
    format!(
        "The note is heard three times: {opens}, {another} parts the first two, and a tap the last \
         two."
    )
}

fn triplet(resolved: &Resolved) -> String {
    match opening(resolved) {
        Some(opening) => format!(
            "One note heard three times: {}, D and E gracenotes open it in turn, and the third \
             stays.",
            opening.spoken()
        ),
        None => "One note heard three times: nothing opens the first, a D gracenote the second \
                 and an E gracenote the third, which stays."
            .to_owned(),
    }
}

fn throw(resolved: &Resolved) -> String {
    let to = resolved.context.after.spoken();
    match resolved.movement.name() {
        "throw-on-d" => {
            let begins = if resolved.context.before == Some(Note::LowG) {
                "from the low G that sounds"
            } else {
                "low G"
            };
            if times(resolved, Note::LowG) == usize::from(begins == "low G") {
                format!(
                    "A run into D from below: {begins}, a D gracenote on C, and up. It makes D strong."
                )
            } else {
                format!(
                    "A run into D from below: {begins}, a D gracenote to low G again, C, and up. It \
                     makes D strong."
                )
            }
        }
        _ => {
            let over = tones(resolved).next().map_or("", Note::spoken);
            let gracenotes: Vec<&str> = resolved
                .parts
                .iter()
                .filter(|part| part.role == Role::Separating)
                .map(|part| part.note.spoken())
                .collect();
            format!(
                "{} gracenotes over {over}, thrown up into {to}: it makes {to} ring out.",
                capital(&wording::list(&gracenotes))
            )
        }
    }
}

/// The ways of playing a birl; none of them is wrong.
const WAYS: &str = "Some tap twice, some tap once and draw the finger back across the hole, some \
                    draw a seven with it: ways of playing it, and none of them a fault.";

fn birl(resolved: &Resolved) -> String {
    let opened = match opening(resolved) {
        Some(Note::HighA) => " The thumb opens it.".to_owned(),
        Some(opening) => format!(" A {} gracenote opens it.", opening.spoken()),
        None => String::new(),
    };
    let held = taps_at_once(resolved);
    let skipped = usize::from(opening(resolved).is_some());
    let inside = resolved.parts[skipped..].iter().map(|part| part.note);
    let row: Vec<&str> = resolved
        .context
        .before
        .filter(|_| held)
        .into_iter()
        .chain(inside)
        .chain([resolved.context.after])
        .map(Note::spoken)
        .collect();
    if falls_on_low_g(resolved) {
        let once = if resolved.context.before.is_some() {
            "as the hand falls on it"
        } else {
            "as the hand begins on it"
        };
        return format!(
            "Low G is heard twice, once {once} and once tapped: {}.",
            row.join(", ")
        );
    }
    let counting = if held {
        ", the first of them the note already held"
    } else {
        ""
    };
    format!(
        "The little finger sounds low G twice: {}{counting}.{opened} {WAYS}",
        row.join(", ")
    )
}

fn grip(resolved: &Resolved) -> String {
    let from_low_g = resolved.context.before == Some(Note::LowG);
    match resolved.movement.name() {
        "taorluath" if resolved.school == Some("low-a-taorluath") => format!(
            "An older taorluath, as an 18th-century treatise writes it: one low G, a {} gracenote to \
             low A, and an E gracenote that opens the note it closes on.",
            resolved.parts[1].note.spoken()
        ),
        "taorluath" if resolved.school == Some("low-a-written") => {
            "The taorluath as older pibroch scores write it: a grip, then a short low A of its own, \
             and an E gracenote that opens the low A it closes on."
                .to_owned()
        }
        "taorluath" => {
            let goes = if from_low_g && times(resolved, Note::LowG) == 0 {
                "The taorluath from low G: a D gracenote leads to low A, and an E gracenote opens \
                 the note it closes on."
            } else {
                "A grip that goes on: an E gracenote opens the note it closes on."
            };
            format!("{goes} With one note more after it, it is the taorluath of a breabach.")
        }
        "half-taorluath" => format!(
            "The note is caught short and a taorluath follows, back to the same note.{}",
            b_inside(resolved)
        ),
        "crunluath" => {
            let low_gs = times(resolved, Note::LowG);
            let low_as = often(times(resolved, Note::LowA));
            let climbs = match (from_low_g, low_gs) {
                (true, 0) => format!(
                    "A taorluath from low G that climbs on to E: low A {low_as}, under a D, an E and \
                     an F gracenote."
                ),
                (true, _) => format!(
                    "A taorluath from low G that climbs on to E: low G again, then low A {low_as}, \
                     under an E and an F gracenote."
                ),
                (false, _) => format!(
                    "A taorluath that climbs on to E: {} low Gs, then low A {low_as} under an E and \
                     an F gracenote.",
                    number(low_gs)
                ),
            };
            format!("{climbs} With two notes more after it, it is the crunluath of a breabach.")
        }
        _ => {
            let does = if resolved.context.before.is_some() {
                "divides two notes and throws weight on the second"
            } else {
                "throws weight on the note it closes on"
            };
            format!("Two low Gs with a gracenote between them: a rough, closed sound that {does}.")
        }
    }
}

fn pibroch(resolved: &Resolved) -> String {
    let to = resolved.context.after.spoken();
    match resolved.movement.name() {
        "taorluath-a-mach" => {
            let passes = resolved.parts.iter().any(|part| part.note == Note::C);
            let through = if passes && resolved.context.after == Note::D {
                "through C "
            } else {
                ""
            };
            format!(
                "The taorluath turned outwards, a form of pibroch: from low G it rises {through}to \
                 {to}, the note it closes on, and an E gracenote sounds that note again."
            )
        }
        "crunluath-a-mach-on-b" | "crunluath-a-mach-on-c" | "crunluath-a-mach-on-d" => {
            let on = resolved.parts.last().map_or("", |last| last.note.spoken());
            format!(
                "The crunluath turned outwards, a form of pibroch: the E and F gracenotes stand on \
                 {on} itself instead of low A."
            )
        }
        "taorluath-fosgailte" => {
            let goes = if times(resolved, Note::C) > 0 && resolved.context.after == Note::D {
                "up through C"
            } else {
                "straight"
            };
            format!(
                "The open taorluath of pibroch: from low G {goes} to {to}, which is sounded again \
                 after an E gracenote; no second low G."
            )
        }
        "hiharin" => format!(
            "A long low A opened by D, then two short low Gs: the birl of pibroch, leaning on its \
             first note. {WAYS}"
        ),
        _ => {
            let over = if times(resolved, Note::LowG) > 2 {
                "low G"
            } else {
                "low A"
            };
            let begins = if resolved.context.before == Some(Note::LowG) {
                "the old taorluath, whose one low G already sounds,"
            } else {
                "the old taorluath with one low G"
            };
            format!(
                "A long variation out of an 18th-century treatise: {begins} begins it, and {over} \
                 under one gracenote after the other carries it on."
            )
        }
    }
}

fn figure(resolved: &Resolved) -> String {
    let first = match resolved.context.before {
        Some(Note::HighA) => "without a gracenote",
        Some(Note::HighG) => "opened by the thumb",
        _ => "opened by a high G gracenote",
    };
    format!(
        "A figure of two melody notes, not one gracenote group: the first very short and {first}, \
         the second opened by a D gracenote."
    )
}
