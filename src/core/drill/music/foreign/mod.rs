//! Reads body text of other programs, and reports what a drill cannot hold and how it was replaced.
//!
//! It uses the same reader as drills; this module handles only the signs that drills reject.

mod endings;
mod fields;
mod signs;

pub use endings::{MOST_PASSES, written_out};
pub use fields::is_pipe_key;

use super::{MusicProblem, ProblemKind, Reader};
use crate::drill::written::{Music, Written};
use crate::rhythm::Metre;
use crate::units::{Beats, Bpm, Fraction};
use std::collections::BTreeMap;
use std::collections::{BTreeSet, HashMap};

/// The most different changes that are reported for one tune; after that no more is read.
pub(super) const MOST_TOLD: usize = 5000;
/// The most changes, equal ones included; after that no more is read. The longest text may have one
/// for each note.
pub(super) const MOST_CHANGES: usize = 65_536;

/// Notes, and the place of each in the text.
type Shared = (Vec<Written>, Vec<(usize, usize)>);

/// The state of the reader between the signs of foreign body text.
#[derive(Debug, Default)]
pub(super) struct Foreign {
    /// The voice that is read: the first that the text names.
    voice: Option<String>,
    /// True inside a voice that is not read.
    skipping: bool,
    /// The skipped voices that were already reported.
    told: BTreeSet<String>,
    /// How many changes were made.
    pub(super) changes: usize,
    /// For each change, the index of the problem that first reported it.
    pub(super) first: HashMap<String, usize>,
    /// The tuplet's factor, and how many of its notes are still to come.
    tuplet: Option<(Fraction, u32)>,
    /// The length of rests at the very start, which is given to the first note.
    owed: Beats,
    /// The places of rests that nothing has replaced yet.
    owing: Vec<(usize, usize)>,
    /// Endings other than a first or a second one, by the bar that each begins with.
    pub(super) passes: BTreeMap<usize, Vec<u8>>,
    /// The tempo in beats a minute, when the tune gives it.
    tempo: Option<Fraction>,
    /// The beginning of the bar in which a first ending begins: its notes and their places in the
    /// text.
    shared: Option<Shared>,
}

impl Foreign {
    pub(super) fn lasting(&mut self, length: Beats) -> Beats {
        match &mut self.tuplet {
            Some((factor, left)) if *left > 0 => {
                *left -= 1;
                length * *factor
            }
            _ => length,
        }
    }
}

/// Reads body text of another program. Inline fields (`[L:1/16]`, `[V:2]` and others) and tuplets
/// are read. Rests, chords, other octaves, accidentals, slurs and decorations are replaced or left
/// out and reported as [`ProblemKind::Adopted`]. A problem of any other kind is an error, as in a
/// drill.
pub fn adopt_music(
    text: &str,
    metre: Metre,
    unit: Fraction,
    tempo: Option<Bpm>,
) -> (Music, Vec<MusicProblem>) {
    let mut reader = Reader::new(text, metre, unit);
    reader.foreign = Some(Foreign {
        tempo: tempo.map(Bpm::value),
        ..Foreign::default()
    });
    reader.read();
    reader.finish("")
}

fn note(found: impl Into<String>, done: impl Into<String>) -> ProblemKind {
    ProblemKind::adopted(found, done, Vec::new())
}

/// The problem for something that a drill rejects but foreign text may contain.
pub(super) fn adopted(kind: ProblemKind) -> ProblemKind {
    match kind {
        ProblemKind::GroupSign { sign } => note(
            format!("`{}` among gracenotes", sign.escape_debug()),
            "left out",
        ),
        ProblemKind::UnknownSign { sign } => note(format!("the sign `{sign}`"), "left out"),
        ProblemKind::EmptyGroup => note("`{}` without a gracenote", "left out"),
        ProblemKind::GroupWithoutNote => note("gracenotes before no note", "left out"),
        ProblemKind::TieAtEnd => note("a tie that leads to no note", "left out"),
        other => other,
    }
}

/// True for a decoration of ABC 2.1 (§4.14) that changes the order of play.
fn is_order_of_play(decoration: &str) -> bool {
    let word = decoration.trim_matches(['!', '+']).to_lowercase();
    matches!(
        word.as_str(),
        "segno" | "coda" | "d.s." | "d.c." | "dacoda" | "dacapo" | "fine"
    )
}

impl Reader {
    /// Handles a sign that only foreign text has; false when it is an ordinary sign.
    pub(super) fn foreign_sign(&mut self, sign: char) -> bool {
        let start = self.at;
        let voice_follows = sign == '[' && self.is_field_at(self.at + 1);
        let skipping = self.foreign.as_ref().is_some_and(|own| own.skipping);
        match sign {
            '[' if voice_follows => self.inline_field(),
            _ if skipping => self.at += 1,
            '[' if self
                .peek_next()
                .is_some_and(|sign| matches!(sign, '|' | '1'..='9')) =>
            {
                self.bar_line();
            }
            '[' => self.chord(),
            '"' => {
                self.at += 1;
                self.skip_past('"');
                self.tell_note(start, "a chord symbol or a text over the music", "left out");
            }
            '(' => {
                self.at += 1;
                if self.peek().is_some_and(|next| next.is_ascii_digit()) {
                    self.tuplet(start);
                } else {
                    self.tell_note(start, "a slur", "left out: the chanter sounds on anyway");
                }
            }
            'z' | 'x' => {
                self.at += 1;
                let length = self.length();
                self.rest(start, length);
            }
            'Z' | 'X' => {
                self.at += 1;
                let _ = self.length();
                self.tell_note(start, "a rest of whole bars", "left out");
            }
            '^' | '_' | '=' => self.accidental(),
            '!' | '+' => {
                self.at += 1;
                if self.closes_on_this_line(sign) {
                    self.skip_past(sign);
                }
                let text: String = self.signs[start..self.at].iter().collect();
                let done = if is_order_of_play(&text) {
                    "left out: the parts are played once through as they are written"
                } else {
                    "left out"
                };
                self.tell_note(
                    start,
                    format!("the decoration `{}`", text.escape_debug()),
                    done,
                );
            }
            '.' | '~' | 'H'..='W' | 'h'..='w' | 'y' => {
                self.at += 1;
                if sign == 'y' {
                    let _ = self.length();
                }
                self.tell_note(start, format!("the decoration `{sign}`"), "left out");
            }
            '&' => {
                while self.peek().is_some_and(|sign| sign != '|' && sign != '\n') {
                    self.at += 1;
                }
                self.tell_note(start, "a second voice in a bar", "left out");
            }
            '$' => self.at += 1,
            _ => return false,
        }
        true
    }

    fn tell_note(&mut self, start: usize, found: impl Into<String>, done: impl Into<String>) {
        let end = self.at.max(start + 1);
        self.tell(start, end, note(found, done));
    }

    fn closes_on_this_line(&self, sign: char) -> bool {
        self.signs[self.at..]
            .iter()
            .take_while(|other| **other != '\n')
            .any(|other| *other == sign)
    }

    fn skip_past(&mut self, sign: char) {
        while self
            .peek()
            .is_some_and(|other| other != sign && other != '\n')
        {
            self.at += 1;
        }
        if self.peek() == Some(sign) {
            self.at += 1;
        }
    }
}

#[cfg(test)]
mod tests;
