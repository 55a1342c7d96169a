//! Bars as ABC body text, for stages that are written out.

use crate::chanter::Note;
use crate::drill::written::{Bar, Group, Music};
use crate::movement::{Lengths, opening_gracenote};
use crate::rhythm::Metre;
use crate::units::{Beats, Fraction, write_fraction};
use std::fmt::Write as _;

/// The unit note length of the text that is written here.
pub(super) fn unit() -> Fraction {
    Fraction::new(1, 8)
}

/// All of the music with its repeats, endings and parts, in unit 1/8.
pub(super) fn repeated_body(music: &Music) -> String {
    let mut text = String::new();
    for ((place, bar), metre) in music.bars.iter().enumerate().zip(music.metres()) {
        if bar.repeat_begins {
            text.push_str("|:");
        }
        if let Some(ending) = bar.ending {
            let _ = write!(text, "[{ending} ");
        }
        let own = body_of(music, place, metre);
        text.push_str(own.trim_end_matches([' ', '|']));
        text.push_str(match (bar.repeat_ends, bar.part_ends) {
            (true, _) => " :|",
            (false, true) => " ||",
            (false, false) => " |",
        });
        text.push('\n');
    }
    text
}

/// One bar of the music as body text, after the note that it follows where it is first played.
fn body_of(music: &Music, place: usize, metre: Metre) -> String {
    let before = match place.checked_sub(1) {
        Some(before) => music.bars[before].notes.last(),
        None => music.bars.last().and_then(|bar| bar.notes.last()),
    };
    bars_after(
        metre,
        &music.bars[place..=place],
        before.map(|written| written.note),
    )
}

/// A change of metre in body text: its figures, and which note stays equal where it is not the beat.
pub fn change_text(before: Metre, metre: Metre) -> String {
    let equal = metre
        .equal_notes(before)
        .map_or_else(String::new, |(before, after)| {
            format!("[Q:{}={}]", write_fraction(&before), write_fraction(&after))
        });
    format!("[M:{}]{equal}", metre.printed())
}

/// The bars in unit 1/8. An opening gracenote is chosen against the note before it; that of the
/// first note against the last note, because a stage is repeated.
pub(super) fn body(metre: Metre, bars: &[Bar]) -> String {
    let last = bars.last().and_then(|bar| bar.notes.last());
    bars_after(metre, bars, last.map(|written| written.note))
}

fn bars_after(mut metre: Metre, bars: &[Bar], mut before: Option<Note>) -> String {
    let mut text = String::new();
    for bar in bars {
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
            let gracenotes = gracenotes(metre, &written.group, before, written.note);
            if !gracenotes.is_empty() {
                let _ = write!(text, "{{{gracenotes}}}");
            }
            text.push(written.note.abc_letter());
            text.push_str(&length(metre, written.length));
            if written.tied {
                text.push('-');
            }
            before = Some(written.note);
        }
        text.push_str(" |");
    }
    text
}

fn gracenotes(metre: Metre, group: &Group, before: Option<Note>, on: Note) -> String {
    let notes: Vec<(Note, Option<Beats>)> = match group {
        Group::None => Vec::new(),
        Group::Opening => opening_gracenote(before, on)
            .into_iter()
            .map(|note| (note, None))
            .collect(),
        Group::Spelled(gracenotes) => gracenotes
            .iter()
            .map(|gracenote| (gracenote.note, gracenote.held))
            .collect(),
        Group::Movement(resolved) => resolved
            .parts
            .iter()
            .map(|part| (part.note, part.held.then_some(Lengths::HELD)))
            .collect(),
    };
    let mut text = String::new();
    for (note, held) in notes {
        text.push(note.abc_letter());
        if let Some(held) = held {
            text.push_str(&length(metre, held));
        }
    }
    text
}

/// `2`, `3/2`, `/2`; nothing for one unit.
fn length(metre: Metre, beats: Beats) -> String {
    let units = metre.semibreves_of(beats) / unit();
    match (*units.numer(), *units.denom()) {
        (1, 1) => String::new(),
        (above, 1) => above.to_string(),
        (1, below) => format!("/{below}"),
        (above, below) => format!("{above}/{below}"),
    }
}
