//! What a teacher says of each movement: what it is for, what to listen for, what comes first.
//!
//! Common practice, no source, unless a sentence names one.

use crate::chanter::{Note, gracenote_sounds};
use crate::movement::{Family, Movement, Resolved, Role, find};
use serde::Serialize;

/// Something that must be clean before a movement is tried.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Foundation {
    /// The movement it is, when it is one.
    pub movement: Option<Movement>,
    /// The notes to practise it between, when it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub on: Option<Note>,
    /// In words.
    pub what: String,
}

/// What the movement is, in a sentence or two.
pub(super) fn purpose(movement: Movement) -> &'static str {
    match movement.name() {
        "grip" => {
            "Two low Gs with a gracenote between them: a rough, closed sound that divides two notes \
             and throws weight on the second."
        }
        "taorluath" => "A grip that goes on: an E gracenote strikes the note it closes on.",
        "crunluath" => {
            "A taorluath that climbs on to E: two low Gs, then low A twice under an E and an F \
             gracenote."
        }
        "birl" => {
            "The little finger taps low G twice and low A is heard between: three low As out of one."
        }
        "throw-on-d" => {
            "A run into D from below: low G, a D gracenote on C, and up. It makes D strong."
        }
        "throw-on-e" => {
            "E and F gracenotes over a low ground, thrown up into E: it makes E ring out."
        }
        "throw-on-f" => "F and high G gracenotes over E, thrown up into F.",
        "tachum" => {
            "Not one gracenote group but a figure of two notes: the first very short with a high G \
             gracenote, the second with a D gracenote, tum."
        }
        "taorluath-a-mach" => {
            "The taorluath turned outwards, a form of pibroch: from the second low G it rises to \
             the note itself before the E gracenote."
        }
        "crunluath-a-mach-on-b" | "crunluath-a-mach-on-c" | "crunluath-a-mach-on-d" => {
            "The crunluath turned outwards, a form of pibroch: the E and F gracenotes stand on the \
             theme note instead of low A."
        }
        "crunluath-fosgailte" => {
            "The open crunluath of pibroch: no low Gs; the E and F gracenotes stand straight on \
             the theme note, and it closes on E."
        }
        "cadence" => {
            "A fall from a long E through D to the theme note; pibroch writes it small and plays \
             it long."
        }
        "short-cadence" => {
            "A long E before the theme note; pibroch writes it small and plays it long."
        }
        "hiharin" => {
            "A long low A opened by D, then two taps of the little finger: the birl of pibroch, \
             leaning on its first note."
        }
        "double-echo" => "A long note and two short echoes of it, the second after a tap.",
        "bubbly-note" => {
            "Three low Gs parted by a D and a C gracenote, low in the chanter and quick."
        }
        "embari" => "Low G under an E and an F gracenote, thrown up.",
        "chedari" => "E under F, high G and F gracenotes, thrown up.",
        "long-variation-to-d" | "long-variation-to-c" | "barluath" => {
            "A long variation out of an 18th-century treatise: the taorluath begins it, and low A \
             under one gracenote after the other carries it on."
        }
        "double-strike" => "The note is tapped twice: three of it are heard.",
        "triple-strike" => "The note is tapped three times: four of it are heard.",
        "gracenote-strike" => "A gracenote opens the note and a tap cuts it in two.",
        "thumb-strike" => "The thumb opens the note and a tap cuts it in two.",
        "half-strike" => {
            "The note sounds short, a tap cuts it off, and it stays; nothing opens it."
        }
        "thumb-doubling" => {
            "The doubling opened by the thumb: used after high G, which cannot open a note again, \
             and wherever a lighter edge is wanted."
        }
        "half-doubling" => {
            "The doubling without its opening gracenote: used coming down from high A."
        }
        _ => match movement.family() {
            Family::Gracenote => {
                "One finger off and straight back: it gives a note its edge, or parts two that are \
                 the same."
            }
            Family::Doubling => {
                "The note is heard twice, once short and once long: one gracenote opens it, \
                 another parts the two."
            }
            Family::Strike => {
                "Fingers tapped down for a moment: the note dips and comes back, and is heard \
                 twice."
            }
            Family::Shake => {
                "The note is heard three times: a gracenote opens it, another parts the first two, \
                 and a tap the last two."
            }
            Family::Catch => "The note is caught short and a grip follows, back to the same note.",
            Family::Throw | Family::Birl | Family::Grip | Family::Pibroch | Family::Figure => "",
        },
    }
}

/// What to listen for, likeliest fault first; each a sentence without a full stop.
pub(super) fn listen_for(resolved: &Resolved) -> Vec<String> {
    let movement = resolved.movement;
    let mut told: Vec<String> = Vec::new();
    match movement.name() {
        "birl" | "hiharin" => told.push(
            "both taps equally strong, with a clear low A between them: a birl that is dragged \
             has only one"
                .to_owned(),
        ),
        "throw-on-d" => told.push(
            "the C before the D: when the hand hurries, the D gracenote runs into the D and the \
             throw turns into a noise"
                .to_owned(),
        ),
        _ => {}
    }
    told.extend(tones_heard(resolved));
    let lifted = resolved
        .parts
        .iter()
        .any(|part| part.role == Role::Separating && part.note > Note::LowG);
    if lifted {
        told.push(
            "every gracenote a point, not a note: one that you could sing lasts too long"
                .to_owned(),
        );
    }
    told.push(lands(resolved));
    told
}

fn tones_heard(resolved: &Resolved) -> Option<String> {
    let tones: Vec<Note> = resolved
        .parts
        .iter()
        .filter(|part| part.role == Role::Sounding && !part.held)
        .map(|part| part.note)
        .collect();
    let first = *tones.first()?;
    let separating = resolved
        .parts
        .iter()
        .filter(|part| part.role == Role::Separating)
        .count();
    if tones.len() == 1 && separating < 2 {
        return Some(format!(
            "the {} inside is short, but it is heard",
            first.spoken()
        ));
    }
    let vanishes = "when two gracenotes come too close together it vanishes";
    Some(match tones.len() {
        1 => format!("the {} inside is heard: {vanishes}", first.spoken()),
        2 if tones[1] == first => format!(
            "both {}s are heard, and both are the same length",
            first.spoken()
        ),
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
    if resolved.before_beat == resolved.parts.len() {
        format!(
            "the closing {closing} square on its beat: when it comes late, the movement was begun \
             late"
        )
    } else if resolved.parts.len() == 1 {
        format!(
            "the {} on the click, and the {closing} straight after it",
            gracenote_or_tap(resolved)
        )
    } else if resolved.before_beat == 0 {
        format!(
            "the first gracenote on the click, and not the closing {closing}: the movement does \
             not begin early"
        )
    } else {
        format!(
            "the {} on the click, with what comes before it squeezed in ahead",
            resolved.parts[resolved.before_beat].note.spoken()
        )
    }
}

/// What to call the first separating part.
fn gracenote_or_tap(resolved: &Resolved) -> &'static str {
    let part = resolved
        .parts
        .iter()
        .find(|part| part.role == Role::Separating);
    match part {
        Some(part) if part.note < resolved.context.after => "tap",
        _ => "gracenote",
    }
}

/// What must be clean before this: the smaller movements it is made of, then its single
/// gracenotes and taps where they stand, then the note all fingers are down for.
pub(super) fn foundations(resolved: &Resolved) -> Vec<Foundation> {
    let names: &[&str] = match resolved.movement.name() {
        "taorluath" | "catch" | "thumb-catch" | "half-catch" | "bubbly-note" => &["grip"],
        "crunluath" => &["taorluath", "throw-on-e"],
        "taorluath-a-mach" | "long-variation-to-d" => &["taorluath"],
        "crunluath-a-mach-on-b" | "crunluath-a-mach-on-c" | "crunluath-a-mach-on-d" => {
            &["taorluath-a-mach", "crunluath", "crunluath-fosgailte"]
        }
        "long-variation-to-c" => &["long-variation-to-d"],
        "barluath" => &["long-variation-to-c", "crunluath"],
        "shake" | "thumb-shake" | "half-shake" => &["doubling", "strike"],
        "double-echo" => &["shake"],
        "double-strike" => &["gracenote-strike"],
        "triple-strike" => &["double-strike"],
        "hiharin" => &["birl"],
        "short-cadence" => &["hg-gracenote"],
        "cadence" => &["short-cadence"],
        _ => &[],
    };
    let mut told: Vec<Foundation> = names
        .iter()
        .filter_map(|name| find(name).ok())
        .map(|movement| Foundation {
            movement: Some(movement),
            on: None,
            what: format!("the {}", movement.spoken()),
        })
        .collect();
    if resolved.parts.len() > 1 {
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
        told.push(Foundation {
            movement: None,
            on: None,
            what: "a clean low G, every hole covered at once".to_owned(),
        });
    }
    if told.is_empty() {
        told.push(Foundation {
            movement: None,
            on: None,
            what: match resolved.context.before {
                Some(before) => format!(
                    "the change from {} to {} without any gracenote",
                    before.spoken(),
                    resolved.context.after.spoken()
                ),
                None => format!("a steady {}", resolved.context.after.spoken()),
            },
        });
    }
    told
}

/// The separating gracenotes by themselves.
fn singles(resolved: &Resolved) -> Vec<Foundation> {
    let parts = &resolved.parts;
    parts
        .iter()
        .enumerate()
        .filter(|(_, part)| part.role == Role::Separating)
        .filter_map(|(place, part)| {
            let held = parts
                .get(place + 1)
                .map_or(resolved.context.after, |next| next.note);
            let (name, what) = if gracenote_sounds(part.note, held) {
                let name = format!("{}-gracenote", part.note.name().to_lowercase());
                let what = format!("the {} gracenote on {}", part.note.spoken(), held.spoken());
                (name, what)
            } else {
                (
                    "strike".to_owned(),
                    format!("the tap from {} to {}", held.spoken(), part.note.spoken()),
                )
            };
            Some(Foundation {
                movement: Some(find(&name).ok()?),
                on: Some(held),
                what,
            })
        })
        .collect()
}
