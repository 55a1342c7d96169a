//! Drills without a single movement: the crossings, and the drill of one finger.

use super::body::unit;
use super::chain::four_in_a_row;
use super::fields::{bpm, exact_percent, ladder};
use crate::chanter::{Crossing, CrossingKind, Finger, NOTES, Note, crossing, gracenote_finger};
use crate::drill::document::{DrillDocument, Exact, StageDocument};
use crate::movement::{Schools, resolve, search, typical_context};
use crate::rhythm::Metre;
use crate::wording::capital;

/// The 36 pairs of notes, the worst first (computed from the chart). True crossings come before
/// others, pairs with a wrong note under both models before those under one, and more fingers
/// before fewer.
fn pairs() -> Vec<(Note, Note, Crossing)> {
    let mut pairs: Vec<(Note, Note, Crossing)> = Vec::new();
    for low in NOTES {
        for high in NOTES.into_iter().filter(|high| *high > low) {
            pairs.push((low, high, crossing(low, high)));
        }
    }
    pairs.sort_by_key(|(_, _, way)| std::cmp::Reverse(badness(way)));
    pairs
}

fn badness(way: &Crossing) -> (bool, usize, usize) {
    let sounding = [way.falling_first_note, way.hand_first_note];
    (
        way.kind == CrossingKind::True,
        sounding.into_iter().flatten().count(),
        way.falling.len() + way.rising.len(),
    )
}

fn crossing_stage(low: Note, high: Note, way: &Crossing) -> StageDocument {
    let (l, h) = (low.abc_letter(), high.abc_letter());
    let heard = match (way.falling_first_note, way.hand_first_note) {
        (Some(falling), Some(hand)) if falling != hand => Some(format!(
            "no {} between them, when one hand is late, and no {}, when the closing fingers are \
             early",
            hand.spoken(),
            falling.spoken()
        )),
        (Some(note), _) | (None, Some(note)) => Some(format!("no {} between them", note.spoken())),
        (None, None) if way.kind == CrossingKind::True => {
            Some("nothing between them: the sound that slips in here is no note".to_owned())
        }
        (None, None) => None,
    };
    StageDocument {
        name: format!("{} and {}", low.spoken(), high.spoken()),
        music: Some(format!("{l}2 {h}2 {l}2 {h}2 | {l}4 {h}4 |")),
        listen_for: heard,
        ..StageDocument::default()
    }
}

/// The drill of crossings without gracenotes: all 36 pairs of notes, the worst first.
pub fn make_crossings() -> DrillDocument {
    DrillDocument {
        title: "Crossings, worst first".to_owned(),
        about: Some(
            "All 36 changes of note without gracenotes: first those where fingers fall while \
             others rise, the worst at the head. There is nothing here to hide a crossing noise \
             behind."
                .to_owned(),
        ),
        listen_for: Some("one note, then the other, and nothing in between".to_owned()),
        metre: Some(Metre::FOUR_FOUR.to_string()),
        unit: Some(Exact::of(&unit())),
        stages: Some(
            pairs()
                .iter()
                .map(|(low, high, way)| crossing_stage(*low, *high, way))
                .collect(),
        ),
        ladder: Some(ladder(bpm(50), bpm(120), exact_percent(6))),
        route: Some("up".to_owned()),
        clean: Some(5),
        ..DrillDocument::default()
    }
}

/// The drill of one finger: the silent exercise, the crossings that move the finger (the worst
/// first), and the movements that use it (the commonest in tunes first).
pub fn make_finger(finger: Finger) -> DrillDocument {
    let mut stages = vec![silent(finger)];
    for (low, high, way) in pairs() {
        let moves = way.falling.contains(&finger) || way.rising.contains(&finger);
        if moves && way.kind == CrossingKind::True {
            stages.push(crossing_stage(low, high, &way));
        }
    }
    let schools = Schools::none();
    for movement in search("", &[], Some(finger)) {
        let context = typical_context(movement);
        let resolution = resolve(movement, context, &schools);
        let music = resolution
            .played()
            .and_then(|resolved| four_in_a_row(Metre::FOUR_FOUR, resolved, &schools));
        if let Some(music) = music
            && stages.len() < MOST_STAGES
        {
            stages.push(StageDocument {
                name: movement.spoken().to_owned(),
                music: Some(music),
                ..StageDocument::default()
            });
        }
    }
    DrillDocument {
        title: capital(finger.spoken()),
        about: Some(format!(
            "Everything that works {}: lifting and lowering in silence, the crossings that move \
             it, the movements that need it. Take out what you do not want.",
            finger.spoken()
        )),
        listen_for: Some("the finger moves by itself; the hand around it is quiet".to_owned()),
        metre: Some(Metre::FOUR_FOUR.to_string()),
        unit: Some(Exact::of(&unit())),
        stages: Some(stages),
        ladder: Some(ladder(bpm(50), bpm(84), exact_percent(5))),
        route: Some("up".to_owned()),
        clean: Some(5),
        ..DrillDocument::default()
    }
}

/// The most stages that a drill file may have.
const MOST_STAGES: usize = 64;

/// The silent lift and lower (common practice, no source). A quick lift with a slow return trains
/// only the lift, so quick movements both ways follow.
fn silent(finger: Finger) -> StageDocument {
    let gracenote = NOTES
        .into_iter()
        .find(|note| gracenote_finger(*note) == Some(finger));
    // The little finger lifts off low G, every other finger off low A.
    let held = if finger == Finger::LowerLittle {
        Note::LowG
    } else {
        Note::LowA
    };
    let (letter, lift) = (held.abc_letter(), gracenote.map_or('g', Note::abc_letter));
    StageDocument {
        name: "in silence".to_owned(),
        music: Some(format!("{{{lift}}}{letter}4 {{{lift}}}{letter}4 | {{{lift}}}{letter}8 |")),
        listen_for: Some(
            "do not blow: on each gracenote lift the finger quickly and let it return slowly; that \
             trains the lift only, so follow it with quick both ways; no other finger moves"
                .to_owned(),
        ),
        ..StageDocument::default()
    }
}
