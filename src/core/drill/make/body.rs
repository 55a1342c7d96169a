//! Writes bars as ABC body text for stages that are written out.

use crate::chanter::Note;
use crate::drill::body_text::{change_text, plain_body, plain_note};
use crate::drill::written::{Bar, Gracenote, Group, Music};
use crate::movement::{Lengths, opening_gracenote};
use crate::rhythm::Metre;
use crate::units::Fraction;
use std::fmt::Write as _;

/// The unit note length of the text, as a part of a semibreve.
pub(super) fn unit() -> Fraction {
    Fraction::new(1, 8)
}

/// All the music with its repeats, endings and parts, with unit note length 1/8.
pub(super) fn repeated_body(music: &Music) -> String {
    let spelled = Music {
        bars: spelled(&music.bars),
        ..music.clone()
    };
    plain_body(&spelled, unit())
}

/// The bars on one line, with unit note length 1/8.
pub(super) fn body(mut metre: Metre, bars: &[Bar]) -> String {
    let mut text = String::new();
    for bar in spelled(bars) {
        if !text.is_empty() {
            text.push(' ');
        }
        if let Some(other) = bar.metre {
            let _ = write!(text, "{} ", change_text(metre, other));
            metre = other;
        }
        for (place, written) in bar.notes.iter().enumerate() {
            if place > 0 {
                text.push(' ');
            }
            plain_note(&mut text, written, metre, unit());
        }
        text.push_str(" |");
    }
    text
}

/// The bars with every group written out. An opening gracenote depends on the note before it. For
/// the first note that is the last note, because a stage is repeated.
fn spelled(bars: &[Bar]) -> Vec<Bar> {
    let last = bars.last().and_then(|bar| bar.notes.last());
    let mut before = last.map(|written| written.note);
    let mut bars = bars.to_vec();
    for written in bars.iter_mut().flat_map(|bar| &mut bar.notes) {
        let gracenotes = gracenotes(&written.group, before, written.note);
        written.group = if gracenotes.is_empty() {
            Group::None
        } else {
            Group::Spelled(gracenotes)
        };
        before = Some(written.note);
    }
    bars
}

fn gracenotes(group: &Group, before: Option<Note>, on: Note) -> Vec<Gracenote> {
    let short = |note| Gracenote { note, held: None };
    match group {
        Group::None => Vec::new(),
        Group::Opening => opening_gracenote(before, on)
            .into_iter()
            .map(short)
            .collect(),
        Group::Spelled(gracenotes) => gracenotes.clone(),
        Group::Movement(resolved) => {
            let parts = resolved.parts.iter();
            let held = |held: bool| held.then_some(Lengths::HELD);
            parts
                .map(|part| Gracenote {
                    note: part.note,
                    held: held(part.held),
                })
                .collect()
        }
    }
}
