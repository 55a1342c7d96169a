//! A piece to an ABC file: each stage a tune of its own, so that any reader finds them all.

use super::body::{Manner, body};
use crate::exchange::Section;
use crate::exchange::piece::{Piece, ladder_text};
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
        if let Some(ladder) = &piece.ladder {
            let _ = writeln!(text, "N:ladder {}", ladder_text(ladder));
        }
        let _ = writeln!(text, "M:{metre}\nL:{}", write_fraction(&unit));
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
        text.push_str("K:HP\n");
        text.push_str(&body(&section.music, unit, Manner::Tied));
    }
    text.into_bytes()
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
