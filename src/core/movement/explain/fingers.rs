//! Describes the finger movements step by step, computed from the fingering chart.

use crate::chanter::{
    Crossing, CrossingKind, Finger, Note, PIBROCH_HIGH_G, Shape, crossing, gracenote_finger,
    gracenote_sounds, strike_finger,
};
use crate::movement::{Resolved, Role};
use crate::wording::{self, capital};
use serde::Serialize;

/// One step of the finger movements.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FingerStep {
    /// The note that sounds after this step.
    pub note: Note,
    /// Fingers that rise, by name.
    pub lifts: Vec<&'static str>,
    /// Fingers that fall, by name.
    pub falls: Vec<&'static str>,
    /// True when the gracenote's finger returns at once.
    pub returns: bool,
    /// The note whose shape the hand has at the end of the step.
    pub hand_on: Note,
    /// How long the sound of this step lasts, in milliseconds; none for the closing note.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub milliseconds: Option<u32>,
    /// The step in a sentence.
    pub sentence: String,
}

/// A change of note within a movement at which a wrong note may sound.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CrossingNoise {
    /// The note before the change.
    pub from: Note,
    /// The note after the change.
    pub to: Note,
    /// True when some fingers fall while others rise.
    pub true_crossing: bool,
    /// The wrong note that sounds when the falling fingers land before the others rise; none when
    /// the chart has no such shape.
    pub closing_fingers_first: Option<Note>,
    /// The wrong note that sounds when one hand moves before the other; none when the chart has no
    /// such shape.
    pub one_hand_first: Option<Note>,
    /// What may go wrong, in a sentence.
    pub sentence: String,
}

/// The steps from the note before to the closing note. `milliseconds` are the lengths of the parts
/// in order.
pub(super) fn steps(resolved: &Resolved, milliseconds: &[u32]) -> Vec<FingerStep> {
    let mut held = resolved.context.before;
    let mut steps = Vec::with_capacity(resolved.parts.len() + 1);
    let after = resolved.context.after;
    for (place, part) in resolved.parts.iter().enumerate() {
        let next = resolved
            .parts
            .get(place + 1)
            .map_or(after, |next| next.note);
        let lasts = milliseconds.get(place).copied();
        let tapped = part.note < next;
        match (part.role, held) {
            (Role::Sounding, _) => {
                steps.push(tone(held, part.note, lasts));
                held = Some(part.note);
            }
            // An early gracenote is lifted from the note that is ending.
            (Role::Separating, Some(before)) if tapped && gracenote_sounds(part.note, before) => {
                steps.push(lift(held, part.note, before, lasts));
            }
            // When no note sounds before it, there is nothing to tap: the hand begins in this
            // shape.
            (Role::Separating, None) if tapped => {
                steps.push(tone(None, part.note, lasts));
                held = Some(part.note);
            }
            (Role::Separating, Some(before)) if tapped && before != next => {
                steps.push(tap_on_the_way(before, part.note, next, lasts));
                held = Some(part.note);
            }
            (Role::Separating, _) if tapped => {
                steps.push(tap(part.note, next, lasts));
                held = Some(next);
            }
            (Role::Separating, _) => {
                steps.push(lift(held, part.note, next, lasts));
                // At the end of the step the hand has the shape of the next note.
                held = Some(next);
            }
        }
    }
    steps.push(tone(held, after, None));
    steps
}

fn tone(from: Option<Note>, to: Note, milliseconds: Option<u32>) -> FingerStep {
    let way = from.map(|from| crossing(from, to));
    let sentence = match &way {
        None => format!("Set the fingers for {}.", to.spoken()),
        Some(_) if from == Some(to) => {
            format!("{} sounds; the hand is quiet.", capital(to.spoken()))
        }
        Some(way) => format!("To {}: {}.", to.spoken(), movement_of(way)),
    };
    FingerStep {
        note: to,
        lifts: way.as_ref().map_or(Vec::new(), |way| names(&way.rising)),
        falls: way.as_ref().map_or(Vec::new(), |way| names(&way.falling)),
        returns: false,
        hand_on: to,
        milliseconds,
        sentence,
    }
}

/// Describes a crossing: `the thumb falls as the top hand's index and middle fingers rise`.
fn movement_of(way: &Crossing) -> String {
    let falls = format!("{} {}", spoken(&way.falling), verb(&way.falling, "fall"));
    let rises = format!("{} {}", spoken(&way.rising), verb(&way.rising, "rise"));
    let together = |fingers: &[Finger]| if fingers.len() > 1 { ", as one" } else { "" };
    match (way.falling.is_empty(), way.rising.is_empty()) {
        (true, true) => "the hand stays".to_owned(),
        (false, true) => falls + together(&way.falling),
        (true, false) => rises + together(&way.rising),
        (false, false) => format!("{falls} as {rises}, all at the same moment"),
    }
}

/// The verb in the number that fits these fingers: `falls` or `fall`.
fn verb(fingers: &[Finger], plain: &str) -> String {
    if fingers.len() == 1 {
        format!("{plain}s")
    } else {
        plain.to_owned()
    }
}

fn lift(held: Option<Note>, gracenote: Note, next: Note, milliseconds: Option<u32>) -> FingerStep {
    let lifted: Vec<Finger> = gracenote_finger(gracenote).into_iter().collect();
    let finger = spoken(&lifted);
    let name = gracenote.spoken();
    let way = held
        .filter(|held| *held != next)
        .map(|held| crossing(held, next));
    let Some(mut way) = way else {
        return FingerStep {
            note: gracenote,
            lifts: names(&lifted),
            falls: Vec::new(),
            returns: true,
            hand_on: next,
            milliseconds,
            sentence: format!("The {name} gracenote: lift {finger} and put it straight back."),
        };
    };
    let other = |fingers: &mut Vec<Finger>| fingers.retain(|finger| !lifted.contains(finger));
    other(&mut way.falling);
    other(&mut way.rising);
    let off = match held {
        // This finger is off already, such as the top index coming from high G.
        Some(held) if !Shape::of(held).covers(lifted[0]) => "stays off",
        _ => "comes off",
    };
    let change = if way.falling.is_empty() && way.rising.is_empty() {
        format!("{finger} {off} for a moment and falls: {}", next.spoken())
    } else {
        let moves = match off {
            "comes off" => "comes off and goes straight back",
            _ => "stays off a moment longer and then falls",
        };
        format!(
            "as the hand changes to {}, {finger} {moves}. The change: {}",
            next.spoken(),
            movement_of(&way)
        )
    };
    let sentence = format!("The {name} gracenote: {change}.");
    if off == "comes off" {
        way.rising.extend(&lifted);
    }
    FingerStep {
        note: gracenote,
        lifts: names(&way.rising),
        falls: names(&way.falling),
        returns: true,
        hand_on: next,
        milliseconds,
        sentence,
    }
}

fn tap(struck: Note, next: Note, milliseconds: Option<u32>) -> FingerStep {
    let fingers = strike_finger(next, struck);
    FingerStep {
        note: struck,
        lifts: Vec::new(),
        falls: names(&fingers),
        returns: true,
        hand_on: next,
        milliseconds,
        sentence: format!(
            "The tap: {} {} the chanter and {} away again.",
            spoken(&fingers),
            verb(&fingers, "strike"),
            verb(&fingers, "spring"),
        ),
    }
}

fn tap_on_the_way(from: Note, struck: Note, next: Note, milliseconds: Option<u32>) -> FingerStep {
    let way = crossing(from, struck);
    FingerStep {
        note: struck,
        lifts: names(&way.rising),
        falls: names(&way.falling),
        returns: false,
        hand_on: struck,
        milliseconds,
        sentence: format!(
            "The tap, {} for a moment on the way to {}: {}.",
            struck.spoken(),
            next.spoken(),
            movement_of(&way)
        ),
    }
}

fn names(fingers: &[Finger]) -> Vec<&'static str> {
    fingers.iter().map(|finger| finger.name()).collect()
}

/// Names fingers for a sentence: `the thumb`, `the top hand's index and middle fingers`, `the
/// bottom hand's ring finger and the little finger`.
pub(super) fn spoken(fingers: &[Finger]) -> String {
    let part = |finger: &Finger| match finger {
        Finger::UpperIndex | Finger::LowerIndex => Some("index"),
        Finger::UpperMiddle | Finger::LowerMiddle => Some("middle"),
        Finger::UpperRing | Finger::LowerRing => Some("ring"),
        Finger::Thumb | Finger::LowerLittle => None,
    };
    let hand = |upper: bool| {
        let words: Vec<&str> = fingers
            .iter()
            .filter(|finger| finger.is_upper() == upper)
            .filter_map(part)
            .collect();
        let side = if upper { "top" } else { "bottom" };
        let fingers = if words.len() == 1 {
            "finger"
        } else {
            "fingers"
        };
        (!words.is_empty())
            .then(|| format!("the {side} hand's {} {fingers}", wording::list(&words)))
    };
    let thumb = fingers
        .contains(&Finger::Thumb)
        .then(|| Finger::Thumb.spoken().to_owned());
    let little = fingers
        .contains(&Finger::LowerLittle)
        .then(|| Finger::LowerLittle.spoken().to_owned());
    let groups: Vec<String> = [thumb, hand(true), hand(false), little]
        .into_iter()
        .flatten()
        .collect();
    wording::list(&groups)
}

/// The changes of note within the movement, gracenotes left out, at which a wrong note may sound.
pub(super) fn crossings(resolved: &Resolved) -> Vec<CrossingNoise> {
    let mut found: Vec<CrossingNoise> = Vec::new();
    let mut line: Vec<Note> = resolved.context.before.into_iter().collect();
    for (place, part) in resolved.parts.iter().enumerate() {
        let next = resolved
            .parts
            .get(place + 1)
            .map_or(resolved.context.after, |next| next.note);
        // The fingers stop at a tap, so the change of note goes through it.
        let on_the_way = part.note < next
            && line
                .last()
                .is_some_and(|held| *held != next && !gracenote_sounds(part.note, *held));
        if part.role == Role::Sounding || on_the_way {
            line.push(part.note);
        }
    }
    line.push(resolved.context.after);
    for pair in line.windows(2) {
        if let Some(noise) = noise(pair[0], pair[1])
            && !found.contains(&noise)
        {
            found.push(noise);
        }
    }
    found
}

/// The wrong note that may sound between two notes; none when there is none.
fn noise(from: Note, to: Note) -> Option<CrossingNoise> {
    let way = crossing(from, to);
    let true_crossing = way.kind == CrossingKind::True;
    if from == to || (!true_crossing && way.hand_first_note.is_none()) {
        return None;
    }
    let change = format!("{} to {}", from.spoken(), to.spoken());
    let sentence = match (way.falling_first_note, way.hand_first_note, true_crossing) {
        (Some(falling), Some(hand), _) if falling == hand => format!(
            "From {change} fingers fall while others rise. If the closing fingers land first, or \
             one hand moves before the other, {} slips in.",
            hand.spoken()
        ),
        (Some(falling), Some(hand), _) => format!(
            "From {change} fingers fall while others rise. If one hand moves before the other, {} \
             slips in; if the closing fingers land first, {}.",
            hand.spoken(),
            falling.spoken()
        ),
        (Some(falling), None, _) => format!(
            "From {change} fingers fall while others rise. If the closing fingers land first, {} \
             slips in.",
            falling.spoken()
        ),
        (None, Some(hand), _) => format!(
            "From {change} both hands move. If one moves before the other, {} slips in.",
            hand.spoken()
        ),
        (None, None, _) if way.falling_first == Some(PIBROCH_HIGH_G) => format!(
            "From {change} one finger falls while the other rises. If they do not move together, a \
             sound that is no note slips in, or the high G changes its colour: the high G of \
             pibroch."
        ),
        (None, None, _) => format!(
            "From {change} fingers fall while others rise. If they do not move together, a sound \
             that is no note slips in."
        ),
    };
    Some(CrossingNoise {
        from,
        to,
        true_crossing,
        closing_fingers_first: way.falling_first_note,
        one_hand_first: way.hand_first_note,
        sentence,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use Note::{C, E, HighA, HighG, LowA, LowG};

    #[test]
    fn fingers_are_named_by_hand() {
        assert_eq!(
            spoken(&[Finger::LowerIndex, Finger::LowerMiddle, Finger::LowerLittle]),
            "the bottom hand's index and middle fingers and the little finger"
        );
        assert_eq!(spoken(&[Finger::UpperRing]), "the top hand's ring finger");
        assert_eq!(spoken(&[Finger::Thumb]), "the thumb");
    }

    /// Computed from the chart. Where the two models differ, both wrong notes are named.
    #[test]
    fn a_true_crossing_tells_the_wrong_note_of_both_models() {
        let low_a_to_c = noise(LowA, C).expect("a true crossing");
        assert_eq!(low_a_to_c.closing_fingers_first, Some(LowG));
        assert_eq!(low_a_to_c.one_hand_first, None);
        let c_to_e = noise(C, E).expect("a true crossing");
        assert_eq!(c_to_e.closing_fingers_first, Some(LowG));
        assert_eq!(c_to_e.one_hand_first, Some(LowA));
        let low_g_to_e = noise(LowG, E).expect("both hands move");
        assert!(!low_g_to_e.true_crossing);
        assert_eq!(low_g_to_e.one_hand_first, Some(LowA));
        assert!(
            noise(HighG, HighA)
                .expect("crosses")
                .sentence
                .contains("no note")
        );
        assert_eq!(noise(LowG, LowA), None);
    }
}
