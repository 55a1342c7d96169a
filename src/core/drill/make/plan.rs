//! The lengths of the note before and of the tones in a stage, and the name of the stage.

use crate::drill::document::{Exact, StageDocument};
use crate::drill::stages::usual_before;
use crate::movement::{Resolved, Role};
use crate::rhythm::Metre;
use crate::units::{Beats, Fraction};

/// Half a beat, or a third of a beat where the beat has three parts.
pub(super) fn short(metre: Metre) -> Beats {
    Beats::new(1, if metre.is_compound() { 3 } else { 2 })
}

/// A stage with tones of `tone` beats, for the context in which the movement has the most tones.
pub(super) fn apart(metre: Metre, resolved: &Resolved, tone: Beats) -> StageDocument {
    let before = usual_before(metre, resolved, tone);
    let tones = resolved
        .parts
        .iter()
        .filter(|part| part.role == Role::Sounding)
        .count();
    let ends_on_the_beat = resolved.before_beat >= resolved.parts.len();
    StageDocument {
        name: name(metre, tones, before, tone, ends_on_the_beat),
        before: Some(Exact::of(&before.0)),
        tone: Some(Exact::of(&tone.0)),
        ..StageDocument::default()
    }
}

fn name(metre: Metre, tones: usize, before: Beats, tone: Beats, ends_on_the_beat: bool) -> String {
    let crotchets = metre.beat_of_semibreve() == Fraction::new(1, 4);
    let quarters = tone == Beats::new(1, 4) && crotchets;
    let several = if tones == 1 { "" } else { "s" };
    if tone == Beats::ONE {
        "full beats".to_owned()
    } else if tone == Beats::new(1, 2) {
        format!("half beat{several}")
    } else if tone == Beats::new(1, 8) {
        "eighths of a beat".to_owned()
    } else if tone == Beats::new(1, 3) {
        "thirds of a beat".to_owned()
    } else if tone == Beats::new(1, 6) {
        "sixths of a beat".to_owned()
    } else if tone == Beats::new(1, 12) {
        "twelfths of a beat".to_owned()
    } else if quarters && before == Beats::new(3, 2) {
        "dotted and sixteenths".to_owned()
    } else if quarters && before == Beats::new(7, 4) {
        format!("double-dotted and sixteenth{several}")
    } else if quarters && !ends_on_the_beat {
        format!("sixteenth{several}")
    } else {
        "quarter beats".to_owned()
    }
}
