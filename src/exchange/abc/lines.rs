//! The lines of an ABC file: fields, their text, and directives.

use crate::drill::{Place, Problem};
use crate::exchange::piece::adopted_at;

/// Directives that change which notes there are. All others say how a page is laid out or how a
/// program plays, and leaving them out is no loss.
const MUSICAL: [&str; 4] = ["abc-include", "transpose", "shift", "octave"];

/// Tells of a directive that is left out, where music is lost with it.
pub(super) fn directive(text: &str, place: Place, problems: &mut Vec<Problem>) {
    let mut words = text.split_whitespace();
    let first = words.next().unwrap_or("");
    let word = if first == "MIDI" {
        words.next().unwrap_or("")
    } else {
        first
    };
    if !MUSICAL.contains(&word) {
        return;
    }
    problems.push(adopted_at(
        place,
        format!("the directive `%%{}`", shown(word)),
        "left out",
    ));
}

pub(super) fn line_place(line: usize) -> Place {
    Place {
        line,
        column: 1,
        width: 1,
    }
}

pub(super) fn is_field(line: &str) -> bool {
    let mut signs = line.chars();
    signs
        .next()
        .is_some_and(|sign| sign.is_ascii_alphabetic() || sign == '+')
        && signs.next() == Some(':')
}

/// A field's text without its comment, mnemonics undone.
pub(super) fn text_of(line: &str) -> String {
    let mut text = String::new();
    let mut signs = line.chars().skip(2);
    while let Some(sign) = signs.next() {
        match sign {
            '%' => break,
            '\\' => match signs.next() {
                Some(escaped @ ('%' | '\\' | '&')) => text.push(escaped),
                Some(other) => {
                    text.push('\\');
                    text.push(other);
                }
                None => text.push('\\'),
            },
            sign => text.push(sign),
        }
    }
    text.trim().to_owned()
}

pub(super) fn shown(text: &str) -> String {
    text.escape_debug().take(40).collect()
}
