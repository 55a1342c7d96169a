//! Writes a piece as an ABC file: each stage is a tune of its own, so that any reader finds them
//! all.

use crate::drill::{Music, near_tempo, printed_body};
use crate::exchange::Section;
use crate::exchange::piece::{Piece, STAGE_NAME};
use crate::units::{Fraction, write_fraction};
use std::fmt::Write as _;

/// Writes ABC 2.1 in UTF-8.
pub fn write(piece: &Piece) -> Vec<u8> {
    let mut text = String::from("%abc-2.1\n");
    let metre = piece.metre;
    let unit = metre.default_unit();
    for (place, section) in piece.sections.iter().enumerate() {
        if place > 0 {
            text.push('\n');
        }
        let _ = writeln!(text, "X:{}", place + 1);
        let _ = writeln!(text, "T:{}", escaped(&piece.title));
        for title in &piece.head.also {
            let _ = writeln!(text, "T:{}", escaped(title));
        }
        let named = section.name != Section::ONLY;
        if named {
            let _ = writeln!(text, "T:{}", escaped(&section.name));
        }
        let head = &piece.head;
        for (letter, said) in [
            ('C', &head.composer),
            ('O', &head.origin),
            ('R', &head.kind),
        ] {
            if let Some(said) = said {
                let _ = writeln!(text, "{letter}:{}", escaped(said));
            }
        }
        if named {
            let _ = writeln!(text, "N:{STAGE_NAME} {}", escaped(&section.name));
        }
        for (name, remark) in piece.remarks() {
            let _ = writeln!(text, "N:{name} {}", escaped(&remark));
        }
        for (name, remark) in section.remarks() {
            let _ = writeln!(text, "N:{name} {}", escaped(&remark));
        }
        let _ = writeln!(text, "M:{}\nL:{}", metre.printed(), write_fraction(&unit));
        let tempo = piece.played_at().value();
        let (part, count) = near_tempo(metre, tempo);
        let _ = writeln!(text, "Q:{}={count}", write_fraction(&part));
        let _ = writeln!(
            text,
            "%%{PLAYBACK} {}",
            divider(&section.music, tempo, unit)
        );
        text.push_str("K:HP\n");
        text.push_str(&printed_body(&section.music, unit, Some(tempo)));
    }
    text.into_bytes()
}

/// How abc2midi is told the length of a gracenote, as a part of its written one. ABC 2.1 leaves that
/// length to the program that plays, so a file that says nothing sounds otherwise everywhere.
const PLAYBACK: &str = "MIDI gracedivider";
/// The length a gracenote is asked to have, milliseconds: inside what players have (25 to 60, from
/// memory), and short enough to be told from a written note.
const GRACENOTE: i128 = 45;

/// The part of its written length that a gracenote lasts: [`GRACENOTE`], or less where the longest
/// group would take more than half of the shortest note that has it.
fn divider(music: &Music, tempo: Fraction, unit: Fraction) -> i128 {
    let metres = music.metres();
    let a_minute = Fraction::from_integer(60_000);
    let written = unit / music.metre.beat_of_semibreve() * a_minute / tempo;
    let usual = (written / Fraction::from_integer(GRACENOTE))
        .ceil()
        .to_integer();
    let bars = music.bars.iter().zip(metres);
    let notes = bars.flat_map(|(bar, metre)| bar.notes.iter().map(move |note| (note, metre)));
    notes
        .filter(|(note, _)| !note.group.is_empty())
        .map(|(note, metre)| {
            let count = Fraction::from_integer(2 * note.group.len() as i128);
            let room = metre.semibreves_of(note.length) / unit;
            (count / room).ceil().to_integer()
        })
        .fold(usual, i128::max)
        .clamp(1, 256)
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
