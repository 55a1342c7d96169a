//! A piece to an ABC file: each stage a tune of its own, so that any reader finds them all.

use super::body::{Manner, body};
use crate::drill::Bar;
use crate::exchange::Section;
use crate::exchange::piece::{LISTEN_HERE, Piece};
use crate::rhythm::Metre;
use crate::units::{Fraction, write_fraction};
use std::fmt::Write as _;

/// Writes ABC 2.1 in UTF-8.
pub fn write(piece: &Piece) -> Vec<u8> {
    let mut text = String::from("%abc-2.1\n");
    let metre = piece.metre;
    let unit = metre.default_unit();
    let one = Fraction::from_integer(1);
    let beat = write_fraction(&metre.beat_of_semibreve());
    for (place, section) in piece.sections.iter().enumerate() {
        if place > 0 {
            text.push('\n');
        }
        let _ = writeln!(text, "X:{}", place + 1);
        let _ = writeln!(text, "T:{}", escaped(&piece.title));
        if section.name != Section::ONLY {
            let _ = writeln!(text, "T:{}", escaped(&section.name));
        }
        for (name, remark) in piece.remarks() {
            let _ = writeln!(text, "N:{name} {}", escaped(&remark));
        }
        if let Some(listen) = &section.listen_for {
            let _ = writeln!(text, "N:{LISTEN_HERE} {}", escaped(listen));
        }
        let _ = writeln!(text, "M:{}\nL:{}", metre.printed(), write_fraction(&unit));
        // a tempo is a whole number in the standard's own examples, and decimals are not defined
        let tempo = piece.played_at().value();
        let (above, below) = (*tempo.numer(), *tempo.denom());
        if tempo.is_integer() {
            let _ = writeln!(text, "Q:{beat}={above}");
        } else {
            let per = metre.beat_of_semibreve() / Fraction::from_integer(below);
            if (per * Fraction::from_integer(below)) == metre.beat_of_semibreve()
                && below.count_ones() == 1
            {
                let _ = writeln!(text, "Q:{}={above}", write_fraction(&per));
            } else {
                let rounded = (tempo + one / 2).floor().to_integer();
                let _ = writeln!(text, "Q:{beat}={rounded}");
            }
        }
        if section
            .music
            .bars
            .iter()
            .any(|bar| is_crowded(bar, metre, unit))
        {
            let _ = writeln!(text, "%%{PLAYBACK} {DIVIDER}");
        }
        text.push_str("K:HP\n");
        text.push_str(&body(&section.music, unit, Manner::Tied));
    }
    text.into_bytes()
}

/// How abc2midi shortens a gracenote; nothing of the written music.
pub(super) const PLAYBACK: &str = "MIDI gracedivider";
/// A gracenote lasts this part of its written length: the longest group fits the shortest note.
const DIVIDER: u8 = 32;

/// True where a player of ABC that gives a gracenote a quarter of its written length, as abc2midi
/// does, would run past the note and cut the group off.
fn is_crowded(bar: &Bar, metre: Metre, unit: Fraction) -> bool {
    bar.notes.iter().any(|note| {
        let gracenotes = note.group.len();
        unit / 4 * Fraction::from_integer(gracenotes as i128) >= metre.semibreves_of(note.length)
    })
}

/// ABC 2.1 §8.2: `%` begins a comment, `\` and `&` begin mnemonics.
fn escaped(text: &str) -> String {
    let mut safe = String::new();
    for sign in text.chars() {
        match sign {
            '%' | '\\' | '&' => {
                safe.push('\\');
                safe.push(sign);
            }
            sign if sign.is_control() => safe.push(' '),
            sign => safe.push(sign),
        }
    }
    safe
}
