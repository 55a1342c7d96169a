//! The only reader of ABC 2.1 body text, for the notes of the pipe key (K:HP).
//!
//! Reads notes with lengths, gracenotes in braces, bar lines, repeats, first and second endings,
//! ties and broken rhythm. What the chanter cannot play is reported with its place and never
//! dropped silently.

mod bars;
mod checks;
mod foreign;
mod mend;
mod notes;
mod order;

pub use foreign::{MOST_PASSES, adopt_music, is_pipe_key, written_out};
pub use mend::{Mended, mend_music};
pub use order::body_order;

use super::problem::{MOST_PROBLEMS, ProblemKind};
use super::read::MOST_BARS;
use super::written::{Bar, Gracenote, Music};
use crate::rhythm::Metre;
use crate::units::{Beats, CommonPart, Fraction};
use std::collections::BTreeSet;

/// The most notes and gracenotes read from one text: 64 for each of the most bars of a stage.
const MOST_NOTES: usize = 64 * MOST_BARS;

/// A problem in body text. Its places are character indices from the start of the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MusicProblem {
    /// Index of the first character.
    pub start: usize,
    /// Index after the last character.
    pub end: usize,
    /// What is wrong.
    pub kind: ProblemKind,
}

/// Reads body text. `label` begins the sentences about bars, such as `stage 2, `. `unit` is the
/// unit note length as a part of a semibreve.
pub fn read_music(
    text: &str,
    metre: Metre,
    unit: Fraction,
    label: &str,
) -> (Music, Vec<MusicProblem>) {
    let mut reader = Reader::new(text, metre, unit);
    reader.read();
    reader.finish(label)
}

/// Gracenotes that wait for their note.
struct Pending {
    gracenotes: Vec<Gracenote>,
    start: usize,
    end: usize,
}

struct Reader {
    signs: Vec<char>,
    at: usize,
    /// The metre at the beginning.
    first: Metre,
    metre: Metre,
    /// The metre before the change in the present bar.
    metre_before: Metre,
    /// The unit note length, as a part of a semibreve and in beats of the metre.
    unit_part: Fraction,
    unit: Beats,
    bar: Bar,
    spans: Vec<(usize, usize)>,
    bars: Vec<Bar>,
    bar_spans: Vec<Vec<(usize, usize)>>,
    group: Option<Pending>,
    /// Where text lines end inside the bar: the number of its notes before each line end.
    line_ends: Vec<usize>,
    /// The factor by which a broken rhythm sign changes the next note's length.
    broken: Option<Fraction>,
    problems: Vec<MusicProblem>,
    /// True when something in this bar was not read, so its length is unknown.
    unsure: bool,
    bars_unsure: Vec<bool>,
    /// Bar and note index of each place at which or before which something was not read.
    gaps: BTreeSet<(usize, usize)>,
    /// The state for text of another program, which may contain more than a drill.
    foreign: Option<foreign::Foreign>,
    /// The common part of a beat: every length read so far is a whole multiple of it.
    common: CommonPart,
    /// How many notes and gracenotes were read so far.
    count: usize,
    /// True when reading stops, because there were too many problems or the text is too long.
    over: bool,
}

impl Reader {
    fn new(text: &str, metre: Metre, unit: Fraction) -> Self {
        Self {
            signs: text.chars().collect(),
            at: 0,
            first: metre,
            metre,
            metre_before: metre,
            unit_part: unit,
            unit: metre.beats_of(unit),
            bar: Bar::default(),
            spans: Vec::new(),
            bars: Vec::new(),
            bar_spans: Vec::new(),
            group: None,
            line_ends: Vec::new(),
            broken: None,
            problems: Vec::new(),
            unsure: false,
            bars_unsure: Vec::new(),
            gaps: BTreeSet::new(),
            foreign: None,
            common: CommonPart::default(),
            count: 0,
            over: false,
        }
    }

    fn peek(&self) -> Option<char> {
        self.signs.get(self.at).copied()
    }

    fn peek_next(&self) -> Option<char> {
        self.signs.get(self.at + 1).copied()
    }

    /// Records that something was reported and not read here, so that problems that follow from its
    /// absence are not reported too.
    fn leave_a_gap(&mut self) {
        if self.foreign.is_none() {
            self.gaps.insert((self.bars.len(), self.bar.notes.len()));
        }
    }

    /// Records a gap as [`Self::leave_a_gap`] does, when the length of something is unknown too.
    fn leave_a_gap_in_time(&mut self) {
        self.leave_a_gap();
        self.unsure |= self.foreign.is_none();
    }

    /// Skips the length of something that was not read.
    fn skip_length(&mut self) {
        while self
            .peek()
            .is_some_and(|sign| sign == '/' || sign.is_ascii_digit())
        {
            self.at += 1;
        }
    }

    fn tell(&mut self, start: usize, end: usize, kind: ProblemKind) {
        let (kind, most) = match &self.foreign {
            Some(_) => (foreign::adopted(kind), foreign::MOST_TOLD),
            None => (kind, MOST_PROBLEMS),
        };
        let place = self.problems.len();
        if let (Some(foreign), Some((found, done))) = (&mut self.foreign, kind.change()) {
            // An equal change is counted with the first one reported.
            foreign.changes += 1;
            let first = foreign.first.entry(format!("{found}\0{done}"));
            let first = *first.or_insert(place);
            if foreign.changes <= foreign::MOST_CHANGES
                && let Some(first) = self.problems.get_mut(first)
                && first.kind.take_in(&kind)
            {
                return;
            }
        }
        let endless =
            (self.foreign.as_ref()).is_some_and(|foreign| foreign.changes > foreign::MOST_CHANGES);
        if self.over {
            return;
        }
        if place < most && !endless {
            self.problems.push(MusicProblem { start, end, kind });
        } else {
            let kind = ProblemKind::GaveUp { after: most };
            self.problems.push(MusicProblem { start, end, kind });
            self.over = true;
        }
    }

    /// Stops reading when the text has more than a stage may have, and reports that once.
    fn leave_off_where_too_long(&mut self) {
        let kind = if self.bars.len() > MOST_BARS {
            ProblemKind::TooManyBars {
                found: self.bars.len(),
                most: MOST_BARS,
            }
        } else if self.count > MOST_NOTES {
            ProblemKind::TooManyNotes { most: MOST_NOTES }
        } else {
            return;
        };
        if !self.over {
            let start = self.at.min(self.signs.len());
            self.tell(start, start + 1, kind);
            self.over = true;
        }
    }

    fn read(&mut self) {
        while let Some(sign) = self.peek() {
            self.leave_off_where_too_long();
            if self.over {
                break;
            }
            let start = self.at;
            if self.foreign.is_some() && self.foreign_sign(sign) {
                continue;
            }
            match sign {
                '%' => {
                    while self.peek().is_some_and(|sign| sign != '\n') {
                        self.at += 1;
                    }
                }
                '\n' => self.end_line(),
                ' ' | '\t' | '\r' | '\\' | '`' | '(' | ')' => {
                    self.at += 1;
                    if sign == '(' && self.peek().is_some_and(|sign| sign.is_ascii_digit()) {
                        self.at += 1;
                        self.tell(start, self.at, ProblemKind::Tuplet);
                        self.leave_a_gap_in_time();
                    }
                }
                '"' => {
                    self.at += 1;
                    while self.peek().is_some_and(|sign| sign != '"' && sign != '\n') {
                        self.at += 1;
                    }
                    self.at += 1;
                }
                '{' => self.gracenotes(),
                '|' | ':' => self.bar_line(),
                '[' if matches!(self.peek_next(), Some('|' | '1' | '2')) => self.bar_line(),
                '[' if matches!(self.peek_next(), Some('M' | 'Q'))
                    && self.is_field_at(self.at + 1) =>
                {
                    self.inline_field();
                }
                '[' => {
                    while self.peek().is_some_and(|sign| sign != ']' && sign != '\n') {
                        self.at += 1;
                    }
                    self.at += 1;
                    self.skip_length();
                    let end = self.at.min(self.signs.len());
                    self.tell(start, end, ProblemKind::Chord);
                    self.leave_a_gap_in_time();
                }
                '>' | '<' => self.broken_rhythm(sign),
                '-' => {
                    self.at += 1;
                    match self
                        .bar
                        .notes
                        .last_mut()
                        .or_else(|| self.bars.last_mut().and_then(|bar| bar.notes.last_mut()))
                    {
                        Some(note) => note.tied = true,
                        None => self.tell(start, start + 1, ProblemKind::TieAtEnd),
                    }
                }
                '^' | '_' | '=' => {
                    self.at += 1;
                    self.tell(start, start + 1, ProblemKind::Accidental);
                    self.leave_a_gap();
                    if self.foreign.is_none() {
                        // Whatever the note is, it differs from the one that is read.
                        self.gaps
                            .insert((self.bars.len(), self.bar.notes.len() + 1));
                    }
                }
                'z' | 'x' | 'Z' | 'X' => {
                    self.at += 1;
                    self.skip_length();
                    self.tell(start, start + 1, ProblemKind::Rest);
                    self.leave_a_gap_in_time();
                }
                'a'..='g' | 'A'..='G' => self.note(sign),
                letter if letter.is_ascii_alphabetic() && self.foreign.is_none() => {
                    self.at += 1;
                    self.skip_length();
                    let nearest = None;
                    self.tell(
                        start,
                        self.at,
                        ProblemKind::NoSuchLetter { letter, nearest },
                    );
                    self.leave_a_gap_in_time();
                }
                _ => {
                    self.at += 1;
                    self.skip_length();
                    self.leave_a_gap_in_time();
                    self.tell(
                        start,
                        start + 1,
                        ProblemKind::UnknownSign {
                            sign: sign.escape_debug().to_string(),
                        },
                    );
                }
            }
        }
    }
}

#[cfg(test)]
mod tests;
