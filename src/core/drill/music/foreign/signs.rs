//! Handles signs that a drill rejects: tuplets, rests, accidentals, chords, other octaves.

use super::endings::MOST_PASSES;
use super::note;
use crate::chanter::Note;
use crate::drill::music::{ProblemKind, Reader};
use crate::drill::written::{Group, Written};
use crate::units::{Beats, Fraction};

impl Reader {
    /// Reads the passes of an ending after its bar line: `1`, `1,3`, `1-3` (ABC 2.1 §4.10).
    pub(in crate::drill::music) fn ending_numbers(&mut self) {
        let start = self.at;
        let mut passes: Vec<u8> = Vec::new();
        let mut from = None;
        while let Some(number) = self.digits() {
            let number = u8::try_from(number).unwrap_or(u8::MAX);
            passes.extend(from.take().unwrap_or(number)..=number.min(MOST_PASSES + 1));
            let more = self.peek_next().is_some_and(|sign| sign.is_ascii_digit());
            match self.peek() {
                Some(',') if more => {}
                Some('-') if more => from = Some(number.saturating_add(1)),
                _ => break,
            }
            self.at += 1;
        }
        if passes.iter().any(|pass| !(1..=MOST_PASSES).contains(pass)) || passes.is_empty() {
            let found: String = self.signs[start..self.at].iter().collect();
            let found = format!("the ending `{}`", found.escape_debug());
            let expected = format!("endings from 1 to {MOST_PASSES}");
            self.tell(start, self.at, ProblemKind::Foreign { found, expected });
            return;
        }
        match passes.as_slice() {
            [plain @ (1 | 2)] => self.bar.ending = Some(*plain),
            _ => {
                let bar = self.bars.len();
                if let Some(foreign) = &mut self.foreign {
                    foreign.passes.insert(bar, passes);
                }
            }
        }
    }

    /// Begins a first ending inside a bar: both endings get the notes of the bar before it. False
    /// when the ending begins with a bar.
    pub(in crate::drill::music) fn begin_ending_inside(&mut self, start: usize) -> bool {
        let Some(foreign) = &mut self.foreign else {
            return false;
        };
        if self.bar.notes.is_empty() || self.bar.ending.is_some() {
            return false;
        }
        foreign.shared = Some((self.bar.notes.clone(), self.spans.clone()));
        self.tell_note(
            start,
            "an ending that begins inside a bar",
            "the beginning of the bar stands in each ending",
        );
        true
    }

    /// Begins a second or later ending. When the first ending began inside a bar, this one does
    /// too.
    pub(in crate::drill::music) fn begin_later_ending(&mut self) {
        let shared = self.foreign.as_ref().and_then(|own| own.shared.clone());
        if let Some((notes, spans)) = shared
            && self.bar.notes.is_empty()
        {
            self.bar.notes = notes;
            self.spans = spans;
        }
    }

    /// Forgets the shared notes, because a first ending that begins with a bar has none.
    pub(in crate::drill::music) fn forget_shared(&mut self) {
        if let Some(foreign) = &mut self.foreign {
            foreign.shared = None;
        }
    }

    /// Reads a tuplet such as `(3` or `(3:2:3` (ABC 2.1 §4.13).
    pub(in crate::drill::music) fn tuplet(&mut self, start: usize) {
        let mut figures = [None; 3];
        for (place, figure) in figures.iter_mut().enumerate() {
            if place > 0 {
                if self.peek() != Some(':') {
                    break;
                }
                self.at += 1;
            }
            *figure = self.digits();
        }
        let [Some(notes), time, count] = figures else {
            return;
        };
        let usual = match notes {
            2 | 4 | 8 => 3,
            3 | 6 => 2,
            _ if self.metre.is_compound() => 3,
            _ => 2,
        };
        let time = time.filter(|time| *time > 0).unwrap_or(usual);
        let count = count.filter(|count| *count > 0).unwrap_or(notes);
        if !(2..=64).contains(&notes) || time > 64 || count > 64 {
            self.tell(start, self.at, ProblemKind::Tuplet);
            return;
        }
        let factor = Fraction::new(i128::from(time), i128::from(notes));
        if let Some(foreign) = &mut self.foreign {
            foreign.tuplet = Some((factor, count));
        }
    }

    /// Replaces a rest, because the chanter has none: the note before is lengthened, or the first
    /// note begins early.
    pub(in crate::drill::music) fn rest(&mut self, start: usize, length: Beats) {
        let length = self.lasting(length);
        let length = self.fitting(start, length);
        let last = self
            .bar
            .notes
            .last_mut()
            .or_else(|| self.bars.last_mut().and_then(|bar| bar.notes.last_mut()));
        if let Some(last) = last {
            last.tied = true;
            let note = last.note;
            self.bar.notes.push(Written {
                note,
                length,
                tied: false,
                group: Group::None,
            });
            self.spans.push((start, self.at));
            self.tell_note(start, "a rest", "the note before sounds on");
        } else if let Some(foreign) = &mut self.foreign {
            foreign.owed = foreign.owed + length;
            foreign.owing.push((start, self.at));
        }
    }

    /// The length of the rests at the start. Its replacement, `done`, is reported now.
    pub(in crate::drill::music) fn owed(&mut self, done: &str) -> Beats {
        let Some(foreign) = &mut self.foreign else {
            return Beats::ZERO;
        };
        let owed = std::mem::take(&mut foreign.owed);
        for (start, end) in std::mem::take(&mut foreign.owing) {
            self.tell(start, end, note("a rest at the start", done));
        }
        owed
    }

    pub(in crate::drill::music) fn accidental(&mut self) {
        let start = self.at;
        while matches!(self.peek(), Some('^' | '_' | '=')) {
            self.at += 1;
        }
        let mut found: String = self.signs[start..self.at].iter().collect();
        match self.peek() {
            Some(letter @ ('a'..='g' | 'A'..='G')) => {
                found.push(letter);
                // The key K:HP has these two sharps already.
                if !matches!(found.as_str(), "^c" | "^f" | "^C" | "^F" | "=g" | "=G") {
                    self.tell_note(
                        start,
                        format!("the accidental in `{found}`"),
                        format!("left out: `{letter}` as the chanter has it"),
                    );
                }
            }
            _ => self.tell_note(start, format!("the accidental `{found}`"), "left out"),
        }
    }

    /// The note of a letter with its octave marks, moved by octaves into the nine notes when
    /// needed.
    pub(in crate::drill::music) fn foreign_letter(&mut self, letter: char) -> Note {
        let start = self.at;
        self.at += 1;
        let mut octave = 0;
        while let Some(sign @ (',' | '\'')) = self.peek() {
            octave += if sign == ',' { -1 } else { 1 };
            self.at += 1;
        }
        let (note, moved) = into_range(letter, octave);
        if moved {
            let text: String = self.signs[start..self.at].iter().collect();
            self.tell_note(
                start,
                format!("the note `{text}` is not one of the chanter's nine"),
                format!("moved by an octave, to {}", note.spoken()),
            );
        }
        note
    }

    /// Reads a chord such as `[ceg]2`: its highest note that the chanter has.
    pub(in crate::drill::music) fn chord(&mut self) {
        let start = self.at;
        self.at += 1;
        let mut notes: Vec<(bool, Note)> = Vec::new();
        let mut length = None;
        let mut tied = false;
        while let Some(sign) = self.peek() {
            match sign {
                ']' => {
                    self.at += 1;
                    break;
                }
                '\n' | '|' => break,
                'a'..='g' | 'A'..='G' => {
                    self.at += 1;
                    let mut octave = 0;
                    while let Some(mark @ (',' | '\'')) = self.peek() {
                        octave += if mark == ',' { -1 } else { 1 };
                        self.at += 1;
                    }
                    let own = self.length();
                    length.get_or_insert(own);
                    let (note, moved) = into_range(sign, octave);
                    notes.push((!moved, note));
                }
                '-' => {
                    tied = true;
                    self.at += 1;
                }
                _ => self.at += 1,
            }
        }
        let factor = self.length();
        let Some((_, note)) = notes.iter().max().copied() else {
            self.tell_note(start, "brackets without a note", "left out");
            return;
        };
        self.tell_note(start, "a chord", format!("{} of it is kept", note.spoken()));
        let length = length.unwrap_or(self.unit) * (factor.0 / self.unit.0);
        self.place(start, Some(note), length);
        if tied && let Some(last) = self.bar.notes.last_mut() {
            last.tied = true;
        }
    }
}

/// The chanter's note for a letter `octave` octaves up, and whether it had to be moved.
fn into_range(letter: char, octave: i32) -> (Note, bool) {
    let other = if letter.is_ascii_lowercase() {
        letter.to_ascii_uppercase()
    } else {
        letter.to_ascii_lowercase()
    };
    // `G` an octave up is `g`, and `a` an octave down is `A`.
    let up = letter.is_ascii_uppercase() && octave == 1;
    let down = letter.is_ascii_lowercase() && octave == -1;
    let wanted = if up || down { other } else { letter };
    let exact = (octave == 0 || up || down)
        .then(|| Note::from_abc_letter(wanted))
        .flatten();
    if let Some(note) = exact {
        return (note, false);
    }
    let high = octave > 0 || (octave == 0 && letter.is_ascii_lowercase());
    let choices = if high {
        [letter.to_ascii_lowercase(), letter.to_ascii_uppercase()]
    } else {
        [letter.to_ascii_uppercase(), letter.to_ascii_lowercase()]
    };
    let note = choices
        .into_iter()
        .find_map(Note::from_abc_letter)
        .unwrap_or(Note::LowA);
    (note, true)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn octave_marks_are_read_as_the_standard_has_them() {
        assert_eq!(into_range('G', 1), (Note::HighG, false));
        assert_eq!(into_range('a', -1), (Note::LowA, false));
        assert_eq!(into_range('b', 0), (Note::B, true));
        assert_eq!(into_range('D', 0), (Note::D, true));
        assert_eq!(into_range('a', 1), (Note::HighA, true));
        assert_eq!(into_range('G', -1), (Note::LowG, true));
    }
}
