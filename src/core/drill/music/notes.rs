//! Reads notes with their lengths, gracenotes in braces, and broken rhythm.

use super::{Pending, Reader};
use crate::chanter::Note;
use crate::drill::problem::ProblemKind;
use crate::drill::written::{Gracenote, Group, Written};
use crate::units::{Beats, Fraction};

/// The longest length that is read, in units.
const LONGEST: u32 = 64;
/// The largest denominator of a length in units that is read.
const FINEST: u32 = 1024;

impl Reader {
    fn letter(&mut self, letter: char) -> Option<Note> {
        if self.foreign.is_some() {
            return Some(self.foreign_letter(letter));
        }
        let start = self.at;
        self.at += 1;
        let octave = self.peek().filter(|sign| matches!(sign, ',' | '\''));
        if octave.is_some() {
            self.at += 1;
        }
        let note = Note::from_abc_letter(letter).filter(|_| octave.is_none());
        if note.is_none() {
            let other = if letter.is_ascii_lowercase() {
                letter.to_ascii_uppercase()
            } else {
                letter.to_ascii_lowercase()
            };
            let nearest = Note::from_abc_letter(letter)
                .or_else(|| Note::from_abc_letter(other))
                .map(Note::abc_letter);
            self.tell(
                start,
                self.at,
                ProblemKind::NoSuchLetter { letter, nearest },
            );
        }
        note
    }

    pub(super) fn note(&mut self, letter: char) {
        let start = self.at;
        let note = self.letter(letter);
        let length = self.length();
        self.place(start, note, length);
    }

    /// Adds a note of a written length to the bar.
    pub(super) fn place(&mut self, start: usize, note: Option<Note>, length: Beats) {
        let length = self.lasting(length);
        let group = match self.group.take() {
            Some(pending) => Group::Spelled(pending.gracenotes),
            None => Group::None,
        };
        let length = length + self.owed("the first note begins there");
        let length = self.fitting(start, length);
        let Some(note) = note else {
            self.leave_a_gap_in_time();
            return;
        };
        self.count += 1;
        self.bar.notes.push(Written {
            note,
            length,
            tied: false,
            group,
        });
        self.spans.push((start, self.at));
    }

    /// A length that was read from `start` to here. When it has no common part of a beat with the
    /// lengths before it that exact time has room for, it is reported and replaced.
    pub(super) fn fitting(&mut self, start: usize, length: Beats) -> Beats {
        if self.common.take(length) {
            return length;
        }
        let found: String = self.signs[start..self.at].iter().collect();
        self.tell(start, self.at, ProblemKind::BadLength { found });
        self.unsure = true;
        Beats::ONE
    }

    /// The written length changed by broken rhythm and tuplets.
    pub(super) fn lasting(&mut self, length: Beats) -> Beats {
        let broken = self.broken.take().unwrap_or(Fraction::new_raw(1, 1));
        match &mut self.foreign {
            Some(foreign) => foreign.lasting(length * broken),
            None => length * broken,
        }
    }

    /// Reads a length: `2`, `3/2`, `/`, `//`, `/4`, or nothing for the unit itself.
    pub(super) fn length(&mut self) -> Beats {
        let start = self.at;
        let above = self.digits();
        let mut below = 1_u32;
        let mut strokes = 0;
        while self.peek() == Some('/') {
            self.at += 1;
            strokes += 1;
            below = below.saturating_mul(2);
        }
        if strokes == 1
            && let Some(digits) = self.digits()
        {
            below = digits;
        }
        let above = above.unwrap_or(1);
        if above == 0 || below == 0 || above > LONGEST.saturating_mul(below) || below > FINEST {
            let found: String = self.signs[start..self.at].iter().collect();
            self.tell(start, self.at, ProblemKind::BadLength { found });
            self.unsure |= self.foreign.is_none();
            return self.unit;
        }
        self.unit * Fraction::new(i128::from(above), i128::from(below))
    }

    pub(super) fn digits(&mut self) -> Option<u32> {
        let start = self.at;
        let mut value = 0_u32;
        while let Some(digit) = self.peek().and_then(|sign| sign.to_digit(10)) {
            value = value.saturating_mul(10).saturating_add(digit);
            self.at += 1;
        }
        (self.at > start).then_some(value)
    }

    pub(super) fn gracenotes(&mut self) {
        let start = self.at;
        self.at += 1;
        let mut gracenotes = Vec::new();
        loop {
            self.leave_off_where_too_long();
            let Some(sign) = self.peek().filter(|_| !self.over) else {
                self.tell(start, start + 1, ProblemKind::OpenGroup);
                return self.leave_a_gap_in_time();
            };
            match sign {
                '}' => {
                    self.at += 1;
                    break;
                }
                'a'..='g' | 'A'..='G' => {
                    let note = self.letter(sign);
                    let written = matches!(self.peek(), Some('0'..='9' | '/'));
                    let from = self.at;
                    let length = self.length();
                    let length = if written {
                        self.fitting(from, length)
                    } else {
                        length
                    };
                    if let Some(note) = note {
                        self.count += 1;
                        gracenotes.push(Gracenote {
                            note,
                            held: written.then_some(length),
                        });
                    } else {
                        self.leave_a_gap();
                    }
                }
                ' ' => self.at += 1,
                '|' | '{' | '\n' => {
                    self.tell(start, start + 1, ProblemKind::OpenGroup);
                    if self.foreign.is_none() {
                        return self.leave_a_gap_in_time();
                    }
                    break;
                }
                _ => {
                    let here = self.at;
                    self.at += 1;
                    self.skip_length();
                    self.tell(here, here + 1, ProblemKind::GroupSign { sign });
                    self.leave_a_gap();
                }
            }
        }
        if gracenotes.is_empty() {
            if self
                .problems
                .last()
                .is_none_or(|problem| problem.start < start)
            {
                self.tell(start, self.at, ProblemKind::EmptyGroup);
            }
            return;
        }
        if let Some(pending) = &mut self.group {
            pending.gracenotes.extend(gracenotes);
            pending.end = self.at;
        } else {
            self.group = Some(Pending {
                gracenotes,
                start,
                end: self.at,
            });
        }
    }

    /// Reads broken rhythm: `A>B` is a dotted note and the rest of its beat, `A>>B` is
    /// double-dotted (ABC 2.1 §4.4).
    pub(super) fn broken_rhythm(&mut self, sign: char) {
        let start = self.at;
        let mut count = 0_u32;
        while self.peek() == Some(sign) {
            self.at += 1;
            count += 1;
        }
        let small = Fraction::new(1, 1 << count.min(3));
        let large = Fraction::from_integer(2) - small;
        let (first, second) = if sign == '>' {
            (large, small)
        } else {
            (small, large)
        };
        match self.bar.notes.last_mut() {
            // A sign before this one must not still be waiting for its second note.
            Some(note) if count <= 3 && self.broken.is_none() => {
                note.length = note.length * first;
                self.broken = Some(second);
            }
            _ => self.tell(
                start,
                self.at,
                ProblemKind::UnknownSign {
                    sign: sign.to_string(),
                },
            ),
        }
    }
}
