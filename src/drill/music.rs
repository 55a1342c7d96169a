//! The one reader of ABC 2.1 body text, in the note set of the pipe key (K:HP).
//!
//! Reads notes with lengths, gracenotes in braces, bar lines, repeats, first and second endings,
//! ties and broken rhythm. What the chanter cannot play is a problem with its place, never
//! dropped.

mod foreign;
mod mend;

pub use foreign::{adopt_music, is_pipe_key};
pub use mend::{Mended, mend_music};

use super::problem::Kind;
use super::written::{Bar, Gracenote, Group, Music, Written};
use crate::chanter::Note;
use crate::movement::{Context, is_playable};
use crate::rhythm::Metre;
use crate::units::{Beats, Fraction};
use std::collections::BTreeSet;

/// A problem in body text, by characters from its start.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MusicProblem {
    /// First character.
    pub start: usize,
    /// Character after the last.
    pub end: usize,
    /// What.
    pub kind: Kind,
}

/// Lengths are read up to this many units.
const LONGEST: u32 = 64;
/// The finest part of a unit that is read.
const FINEST: u32 = 1024;

/// Reads body text. `label` begins the sentences about bars (`stage 2, `), `unit` is the unit
/// note length as a part of a semibreve.
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

/// Gracenotes waiting for their note.
struct Pending {
    gracenotes: Vec<Gracenote>,
    start: usize,
    end: usize,
}

struct Reader {
    signs: Vec<char>,
    at: usize,
    metre: Metre,
    unit: Beats,
    bar: Bar,
    spans: Vec<(usize, usize)>,
    bars: Vec<Bar>,
    bar_spans: Vec<Vec<(usize, usize)>>,
    group: Option<Pending>,
    /// What broken rhythm asks of the next note.
    broken: Option<Fraction>,
    problems: Vec<MusicProblem>,
    /// Something was not read here, so that this bar's length says nothing.
    unsure: bool,
    bars_unsure: Vec<bool>,
    /// (bar, place of a note in it) before or in which something was not read.
    gaps: BTreeSet<(usize, usize)>,
    /// Reading what another program wrote, which may hold more than a drill.
    foreign: Option<foreign::Foreign>,
}

impl Reader {
    fn new(text: &str, metre: Metre, unit: Fraction) -> Self {
        Self {
            signs: text.chars().collect(),
            at: 0,
            metre,
            unit: metre.beats_of(unit),
            bar: Bar::default(),
            spans: Vec::new(),
            bars: Vec::new(),
            bar_spans: Vec::new(),
            group: None,
            broken: None,
            problems: Vec::new(),
            unsure: false,
            bars_unsure: Vec::new(),
            gaps: BTreeSet::new(),
            foreign: None,
        }
    }

    fn peek(&self) -> Option<char> {
        self.signs.get(self.at).copied()
    }

    fn peek_next(&self) -> Option<char> {
        self.signs.get(self.at + 1).copied()
    }

    /// Something at this place was told and not read: what follows from its absence is no mistake
    /// of its own.
    fn leave_a_gap(&mut self) {
        if self.foreign.is_none() {
            self.gaps.insert((self.bars.len(), self.bar.notes.len()));
        }
    }

    /// As [`Self::leave_a_gap`], where a length went with it.
    fn leave_a_gap_in_time(&mut self) {
        self.leave_a_gap();
        self.unsure |= self.foreign.is_none();
    }

    /// Past the length of what was not read.
    fn skip_length(&mut self) {
        while self
            .peek()
            .is_some_and(|sign| sign == '/' || sign.is_ascii_digit())
        {
            self.at += 1;
        }
    }

    fn tell(&mut self, start: usize, end: usize, kind: Kind) {
        let kind = match &self.foreign {
            Some(_) => foreign::adopted(kind),
            None => kind,
        };
        self.problems.push(MusicProblem { start, end, kind });
    }

    fn read(&mut self) {
        while let Some(sign) = self.peek() {
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
                ' ' | '\t' | '\n' | '\r' | '\\' | '`' | '(' | ')' => {
                    self.at += 1;
                    if sign == '(' && self.peek().is_some_and(|sign| sign.is_ascii_digit()) {
                        self.at += 1;
                        self.tell(start, self.at, Kind::Tuplet);
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
                '[' => {
                    while self.peek().is_some_and(|sign| sign != ']' && sign != '\n') {
                        self.at += 1;
                    }
                    self.at += 1;
                    self.skip_length();
                    let end = self.at.min(self.signs.len());
                    self.tell(start, end, Kind::Chord);
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
                        None => self.tell(start, start + 1, Kind::TieAtEnd),
                    }
                }
                '^' | '_' | '=' => {
                    self.at += 1;
                    self.tell(start, start + 1, Kind::Accidental);
                    self.leave_a_gap();
                    if self.foreign.is_none() {
                        // whichever note it is, it differs from what is read
                        self.gaps
                            .insert((self.bars.len(), self.bar.notes.len() + 1));
                    }
                }
                'z' | 'x' | 'Z' | 'X' => {
                    self.at += 1;
                    self.skip_length();
                    self.tell(start, start + 1, Kind::Rest);
                    self.leave_a_gap_in_time();
                }
                'a'..='g' | 'A'..='G' => self.note(sign),
                letter if letter.is_ascii_alphabetic() && self.foreign.is_none() => {
                    self.at += 1;
                    self.skip_length();
                    let nearest = None;
                    self.tell(start, self.at, Kind::NoSuchLetter { letter, nearest });
                    self.leave_a_gap_in_time();
                }
                _ => {
                    self.at += 1;
                    self.skip_length();
                    self.leave_a_gap_in_time();
                    self.tell(
                        start,
                        start + 1,
                        Kind::UnknownSign {
                            sign: sign.escape_debug().to_string(),
                        },
                    );
                }
            }
        }
    }

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
            self.tell(start, self.at, Kind::NoSuchLetter { letter, nearest });
        }
        note
    }

    fn note(&mut self, letter: char) {
        let start = self.at;
        let note = self.letter(letter);
        let length = self.length();
        self.place(start, note, length);
    }

    /// Puts a note of a written length into the bar.
    fn place(&mut self, start: usize, note: Option<Note>, length: Beats) {
        let length = self.lasting(length);
        let group = match self.group.take() {
            Some(pending) => Group::Spelled(pending.gracenotes),
            None => Group::None,
        };
        let length = length + self.owed();
        let Some(note) = note else {
            self.leave_a_gap_in_time();
            return;
        };
        self.bar.notes.push(Written {
            note,
            length,
            tied: false,
            group,
        });
        self.spans.push((start, self.at));
    }

    /// A written length under broken rhythm and tuplets.
    fn lasting(&mut self, length: Beats) -> Beats {
        let broken = self.broken.take().unwrap_or(Fraction::new_raw(1, 1));
        match &mut self.foreign {
            Some(foreign) => foreign.lasting(length * broken),
            None => length * broken,
        }
    }

    /// A length: `2`, `3/2`, `/`, `//`, `/4`, or nothing for the unit itself.
    fn length(&mut self) -> Beats {
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
            self.tell(start, self.at, Kind::BadLength { found });
            self.unsure |= self.foreign.is_none();
            return self.unit;
        }
        self.unit * Fraction::new(i128::from(above), i128::from(below))
    }

    fn digits(&mut self) -> Option<u32> {
        let start = self.at;
        let mut value = 0_u32;
        while let Some(digit) = self.peek().and_then(|sign| sign.to_digit(10)) {
            value = value.saturating_mul(10).saturating_add(digit);
            self.at += 1;
        }
        (self.at > start).then_some(value)
    }

    fn gracenotes(&mut self) {
        let start = self.at;
        self.at += 1;
        let mut gracenotes = Vec::new();
        loop {
            let Some(sign) = self.peek() else {
                self.tell(start, start + 1, Kind::OpenGroup);
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
                    let length = self.length();
                    if let Some(note) = note {
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
                    self.tell(start, start + 1, Kind::OpenGroup);
                    if self.foreign.is_none() {
                        return self.leave_a_gap_in_time();
                    }
                    break;
                }
                _ => {
                    let here = self.at;
                    self.at += 1;
                    self.skip_length();
                    self.tell(here, here + 1, Kind::GroupSign { sign });
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
                self.tell(start, self.at, Kind::EmptyGroup);
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

    /// `A>B` is a dotted note and the rest of its beat; `A>>B` double-dotted (ABC 2.1 §4.4).
    fn broken_rhythm(&mut self, sign: char) {
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
            Some(note) if count <= 3 => {
                note.length = note.length * first;
                self.broken = Some(second);
            }
            _ => self.tell(
                start,
                self.at,
                Kind::UnknownSign {
                    sign: sign.to_string(),
                },
            ),
        }
    }

    fn bar_line(&mut self) {
        let start = self.at;
        while matches!(self.peek(), Some('|' | ':' | ']'))
            || (self.peek() == Some('[') && self.peek_next() == Some('|'))
        {
            self.at += 1;
        }
        let line: String = self.signs[start..self.at].iter().collect();
        let ends_repeat = line.starts_with(':');
        let begins_repeat = line.ends_with(':') && (line.len() > 1);
        let part_ends = line.contains("||") || line.contains("|]") || line.contains("[|");
        self.close_bar(ends_repeat, part_ends || ends_repeat);
        if begins_repeat {
            self.bar.repeat_begins = true;
        }
        let bracket = self.peek() == Some('[');
        let digit = if bracket {
            self.peek_next()
        } else {
            self.peek()
        };
        if let Some(ending @ ('1' | '2')) = digit {
            self.at += 1 + usize::from(bracket);
            self.bar.ending = Some(if ending == '1' { 1 } else { 2 });
        } else if line.is_empty() {
            self.at += 1;
            self.tell(
                start,
                self.at,
                Kind::UnknownSign {
                    sign: "[".to_owned(),
                },
            );
        }
    }

    fn close_bar(&mut self, repeat_ends: bool, part_ends: bool) {
        if let Some(pending) = self.group.take() {
            self.tell(pending.start, pending.end, Kind::GroupWithoutNote);
        }
        if self.bar.notes.is_empty() {
            self.unsure = false;
            if let Some(last) = self.bars.last_mut() {
                last.repeat_ends |= repeat_ends;
                last.part_ends |= part_ends;
            }
            return;
        }
        let mut bar = std::mem::take(&mut self.bar);
        bar.repeat_ends = repeat_ends;
        bar.part_ends = part_ends;
        self.bars.push(bar);
        self.bars_unsure.push(std::mem::take(&mut self.unsure));
        self.bar_spans.push(std::mem::take(&mut self.spans));
    }

    fn finish(mut self, label: &str) -> (Music, Vec<MusicProblem>) {
        self.close_bar(false, true);
        let order = self.unroll();
        let mut music = Music {
            metre: self.metre,
            bars: std::mem::take(&mut self.bars),
            order,
        };
        if self.foreign.is_some() {
            for mended in mend_music(&mut music) {
                let span = self.bar_spans[mended.bar][mended.note];
                self.tell(span.0, span.1, mended.kind());
            }
        }
        self.check_bars(&music, label);
        self.check_notes(&music);
        self.problems.sort_by_key(|problem| problem.start);
        (music, self.problems)
    }

    fn bar_place(&self, bar: usize) -> (usize, usize) {
        let spans = &self.bar_spans[bar];
        let start = spans.first().map_or(0, |span| span.0);
        (start, spans.last().map_or(start + 1, |span| span.1))
    }

    /// The order of play, with what is wrong in it told.
    fn unroll(&mut self) -> Vec<usize> {
        let (order, told) = body_order(&self.bars);
        for (bar, kind) in told {
            let (start, end) = self.bar_place(bar);
            self.tell(start, end, kind);
        }
        order
    }

    /// Every bar as played is full, or short with a neighbour that completes it: the short last
    /// bar of a part and the pickup that follows it.
    fn check_bars(&mut self, music: &Music, label: &str) {
        let full = music.metre.bar();
        let lengths: Vec<Beats> = music.bars.iter().map(Bar::length).collect();
        let pickup = music.pickup();
        let numbers = music.bar_numbers();
        let number = |bar: usize| numbers[bar];
        let mut told = vec![false; music.bars.len()];
        let unsure = |bar: usize| self.bars_unsure.get(bar).copied().unwrap_or(false);
        let unsure: Vec<bool> = (0..music.bars.len()).map(unsure).collect();
        let mut at = 0;
        while at < music.order.len() {
            let bar = music.order[at];
            let length = lengths[bar];
            let last = at + 1 == music.order.len();
            // what completes it, or what it completes, cannot be told from what was not read
            let beside = match music.order.get(at + 1) {
                Some(next) => unsure[*next] && length < full,
                None => unsure[0] && length <= full,
            };
            if unsure[bar] || beside {
                at += 1;
                continue;
            }
            let completes = music
                .order
                .get(at + 1)
                .is_some_and(|next| lengths[*next] < full && length + lengths[*next] == full);
            if length == full {
                if last && !pickup.is_zero() && !told[bar] {
                    told[bar] = true;
                    let (start, end) = self.bar_place(bar);
                    self.tell(
                        start,
                        end,
                        Kind::Complement {
                            stage: label.to_owned(),
                            number: number(bar),
                            lasts: length,
                            pickup,
                            metre: music.metre,
                        },
                    );
                }
            } else if at == 0 && bar == 0 && !pickup.is_zero() {
                // A pickup; what completes it is checked at the end.
            } else if length < full && completes {
                at += 1;
                let next = music.order[at];
                let ends = at + 1 == music.order.len();
                if ends && !pickup.is_zero() && next != 0 {
                    // The piece ends with another part's pickup: nothing follows it.
                    told[next] = true;
                }
            } else if last && !pickup.is_zero() && length + pickup == full {
                // The short last bar that completes the pickup.
            } else if !told[bar] {
                told[bar] = true;
                let (start, end) = self.bar_place(bar);
                let kind = if last && !pickup.is_zero() && length < full {
                    Kind::Complement {
                        stage: label.to_owned(),
                        number: number(bar),
                        lasts: length,
                        pickup,
                        metre: music.metre,
                    }
                } else {
                    Kind::Bar {
                        stage: label.to_owned(),
                        number: number(bar),
                        lasts: length,
                        metre: music.metre,
                    }
                };
                self.tell(start, end, kind);
            }
            at += 1;
        }
    }

    /// Two equal notes need something between; a gracenote needs a note that can sound it.
    fn check_notes(&mut self, music: &Music) {
        let mut before: Option<(Note, bool)> = None;
        let mut seen = vec![false; music.bars.len()];
        for &index in &music.order {
            let fresh = !std::mem::replace(&mut seen[index], true);
            for (position, written) in music.bars[index].notes.iter().enumerate() {
                let span = self.bar_spans[index][position];
                if self.gaps.contains(&(index, position)) {
                    before = Some((written.note, written.tied));
                    continue;
                }
                let problem = match (&written.group, before) {
                    (_, Some((from, true))) if from != written.note => Some(Kind::TieToOther {
                        from,
                        to: written.note,
                    }),
                    (Group::None, Some((from, false))) if from == written.note => {
                        Some(Kind::Repeated { note: from })
                    }
                    (Group::Spelled(gracenotes), _) => {
                        unplayable(gracenotes, before.map(|(note, _)| note), written.note)
                    }
                    _ => None,
                };
                if let Some(kind) = problem
                    && (fresh || position == 0)
                    && !self
                        .problems
                        .iter()
                        .any(|told| told.start == span.0 && told.kind == kind)
                {
                    self.tell(span.0, span.1, kind);
                }
                before = Some((written.note, written.tied));
            }
            if self.gaps.contains(&(index, music.bars[index].notes.len())) {
                before = None;
            }
        }
        if let Some((_, true)) = before {
            let end = self.signs.len();
            self.tell(end.saturating_sub(1), end, Kind::TieAtEnd);
        }
    }
}

/// The order of play: each repeated part twice, its first ending the first time only.
pub fn body_order(bars: &[Bar]) -> (Vec<usize>, Vec<(usize, Kind)>) {
    let mut told = Vec::new();
    let mut sent_back = vec![false; bars.len()];
    let mut order = Vec::new();
    let mut part = 0;
    let mut again = false;
    let mut at = 0;
    let mut in_second = false;
    while at < bars.len() {
        let Bar {
            repeat_begins,
            repeat_ends,
            ending,
            part_ends,
            ..
        } = bars[at];
        if repeat_begins && !again {
            part = at;
            in_second = false;
        }
        if ending == Some(1) && again {
            let second = (at + 1..bars.len()).find(|b| bars[*b].ending == Some(2));
            again = false;
            if let Some(second) = second {
                at = second;
                in_second = true;
            } else {
                told.push((at, Kind::NoSecondEnding));
                at += 1;
            }
            continue;
        }
        if ending == Some(2) && !in_second {
            told.push((at, Kind::NoFirstEnding));
        }
        order.push(at);
        if repeat_ends && !in_second {
            // Each repeat sign sends back once: after a first ending without a second it would be met
            // unrepeated again and again.
            if again || std::mem::replace(&mut sent_back[at], true) {
                again = false;
                part = at + 1;
            } else {
                again = true;
                at = part;
                continue;
            }
        } else if part_ends && !again {
            part = at + 1;
            in_second = false;
        }
        at += 1;
    }
    (order, told)
}

/// What is wrong with a written group, if anything.
fn unplayable(gracenotes: &[Gracenote], before: Option<Note>, after: Note) -> Option<Kind> {
    let notes: Vec<Note> = gracenotes.iter().map(|gracenote| gracenote.note).collect();
    let all: Vec<Note> = before
        .into_iter()
        .chain(notes.iter().copied())
        .chain([after])
        .collect();
    if let Some(pair) = all.windows(2).find(|pair| pair[0] == pair[1]) {
        return Some(Kind::GracenoteEqual { note: pair[0] });
    }
    let context = Context { before, after };
    if notes.len() == 1 && !is_playable(&notes, context) {
        return Some(Kind::CannotSound {
            gracenote: notes[0],
            held: after,
        });
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reads(text: &str, metre: Metre) -> Music {
        let (music, problems) = read_music(text, metre, metre.default_unit(), "");
        assert_eq!(problems, [], "{text}");
        music
    }

    #[track_caller]
    fn tells(text: &str, metre: Metre, expected: &Kind) {
        let (_, problems) = read_music(text, metre, metre.default_unit(), "");
        assert!(
            problems.iter().any(|problem| problem.kind == *expected),
            "{text}: {problems:?}"
        );
    }

    #[test]
    fn notes_have_their_lengths() {
        let music = reads("{g}d2 G2 {B}G2 A2|", Metre::FourFour);
        let notes: Vec<(Note, Beats)> = music.bars[0]
            .notes
            .iter()
            .map(|written| (written.note, written.length))
            .collect();
        assert_eq!(
            notes,
            [
                (Note::D, Beats::ONE),
                (Note::LowG, Beats::ONE),
                (Note::LowG, Beats::ONE),
                (Note::LowA, Beats::ONE),
            ]
        );
        assert_eq!(
            music.bars[0].notes[2].group,
            Group::Spelled(vec![Gracenote {
                note: Note::B,
                held: None
            }])
        );
    }

    /// ABC 2.1 §4.3: "A2 … A3/2 … A/2 … A/ … A//" and §4.4: "a>b is a3/2 b/".
    #[test]
    fn lengths_and_broken_rhythm_are_those_of_the_standard() {
        let lengths = |text: &str| -> Vec<Beats> {
            let (music, _) = read_music(text, Metre::FourFour, Fraction::new(1, 4), "");
            music.bars[0].notes.iter().map(|note| note.length).collect()
        };
        assert_eq!(
            lengths("A2 B3/2 c/2 d/ e// f/4"),
            [
                Beats::whole(2),
                Beats::new(3, 2),
                Beats::new(1, 2),
                Beats::new(1, 2),
                Beats::new(1, 4),
                Beats::new(1, 4),
            ]
        );
        assert_eq!(lengths("A>B"), [Beats::new(3, 2), Beats::new(1, 2)]);
        assert_eq!(lengths("A<B"), [Beats::new(1, 2), Beats::new(3, 2)]);
        assert_eq!(lengths("A>>B"), [Beats::new(7, 4), Beats::new(1, 4)]);
    }

    /// ABC 2.1 §4.12's own example of pipe music: a taorluath is `{GdGe}`.
    #[test]
    fn the_standards_taorluath_is_read() {
        let (music, problems) =
            read_music("B4 {GdGe}A4|", Metre::FourFour, Fraction::new(1, 8), "");
        assert_eq!(problems, []);
        let Group::Spelled(group) = &music.bars[0].notes[1].group else {
            panic!("gracenotes were expected");
        };
        let notes: Vec<Note> = group.iter().map(|gracenote| gracenote.note).collect();
        assert_eq!(notes, [Note::LowG, Note::D, Note::LowG, Note::E]);
    }

    #[test]
    fn a_long_note_in_a_group_keeps_its_length() {
        let (music, _) = read_music("A8 {ge4d}B8|", Metre::TwoTwo, Fraction::new(1, 16), "");
        let Group::Spelled(group) = &music.bars[0].notes[1].group else {
            panic!("gracenotes were expected");
        };
        assert_eq!(group[0].held, None);
        assert_eq!(group[1].held, Some(Beats::new(1, 2)));
    }

    /// ABC 2.1 §4.8 and §4.9: repeats and first and second endings.
    #[test]
    fn repeats_and_endings_are_played_in_order() {
        let order = |text: &str| reads(text, Metre::TwoFour).order;
        assert_eq!(order("|:A4 B4|c4 d4:|e4 f4|"), [0, 1, 0, 1, 2]);
        assert_eq!(order("|:A4 B4|1c4 d4:|2e4 f4|]"), [0, 1, 0, 2]);
        assert_eq!(order("A4 B4:|:c4 d4:|"), [0, 0, 1, 1]);
        assert_eq!(order("A4 B4|c4 d4||e4 f4:|"), [0, 1, 2, 2]);
        assert_eq!(
            order("|:A4 B4|[1 c4 d4:|[2 e4 f4||B4 c4:|"),
            [0, 1, 0, 2, 3, 3]
        );
    }

    /// This once went round for ever and took all memory.
    #[test]
    fn a_first_ending_of_two_bars_without_a_second_ends() {
        let (music, problems) = read_music(
            "|:A4 B4|1c4 d4|e4 f4:|",
            Metre::TwoFour,
            Metre::TwoFour.default_unit(),
            "",
        );
        assert!(music.order.len() <= 8);
        assert!(
            problems
                .iter()
                .any(|problem| problem.kind == Kind::NoSecondEnding)
        );
    }

    #[test]
    fn a_pickup_and_the_short_bar_that_completes_it_add_up() {
        let music = reads("A2|B4 c4|d4 B2|", Metre::TwoFour);
        assert_eq!(music.pickup(), Beats::new(1, 2));
        assert_eq!(music.length(), Beats::whole(4));
        let parts = reads("A2|B4 c4|d4 B2:|e2|B4 c4|d4 B2:|", Metre::TwoFour);
        assert_eq!(parts.order, [0, 1, 2, 0, 1, 2, 3, 4, 5, 3, 4, 5]);
    }

    #[test]
    fn what_cannot_be_played_is_told() {
        tells(
            "A4 A4|",
            Metre::TwoFour,
            &Kind::Repeated { note: Note::LowA },
        );
        tells(
            "e4 {d}f4|",
            Metre::TwoFour,
            &Kind::CannotSound {
                gracenote: Note::D,
                held: Note::F,
            },
        );
        tells(
            "d4 {d}A4|",
            Metre::TwoFour,
            &Kind::GracenoteEqual { note: Note::D },
        );
        tells("A4 z4|", Metre::TwoFour, &Kind::Rest);
        tells("A4 ^c4|", Metre::TwoFour, &Kind::Accidental);
        tells("A4 [ce]4|", Metre::TwoFour, &Kind::Chord);
        tells("A4 (3ABc|", Metre::TwoFour, &Kind::Tuplet);
        tells("A4 {g", Metre::TwoFour, &Kind::OpenGroup);
        tells("A4 {g}|", Metre::TwoFour, &Kind::GroupWithoutNote);
        tells(
            "A4-B4|",
            Metre::TwoFour,
            &Kind::TieToOther {
                from: Note::LowA,
                to: Note::B,
            },
        );
        tells(
            "A4 b4|",
            Metre::TwoFour,
            &Kind::NoSuchLetter {
                letter: 'b',
                nearest: Some('B'),
            },
        );
        tells(
            "A4 B3|",
            Metre::TwoFour,
            &Kind::Bar {
                stage: String::new(),
                number: 1,
                lasts: Beats::new(7, 4),
                metre: Metre::TwoFour,
            },
        );
    }

    /// Three messages for one slip hide the one that helps, and two of them are wrong.
    #[test]
    fn one_slip_is_one_problem() {
        for text in [
            "{g}c2 H2 c2 B2|A2 {g}B2 A2 c2|",
            "{g}c2 h/ c2 B2|A2 {g}B2 A2 c2|",
            "{g}c2 b2 c2 B2|A2 {g}B2 A2 c2|",
            "{g}c2 B2 A2 z2|A2 {g}B2 A2 c2|",
            "{g}c2 B2 A2 H2|A2 {g}B2 A2 c2|",
            "{g}c2 ^c2 d2 B2|A2 {g}B2 A2 c2|",
            "{g}c2 [ce]2 c2 B2|A2 {g}B2 A2 c2|",
            "{g}c2 (3ABc B2|A2 {g}B2 A2 c2|",
            "{g}c2 B0 A2 B2|A2 {g}B2 A2 c2|",
            "{g}c2 {d B2 c2 B2|A2 {g}B2 A2 c2|",
            "{g}c2 {h}c2 d2 B2|A2 {g}B2 A2 c2|",
            "{g}c2 {}B2 d2 B2|A2 {g}B2 A2 c2|",
            "{g}c2 B2 $2 d2|A2 {g}B2 A2 c2|",
            "H2 B2 A2 d2|A2 {g}B2 A2 c2|",
            "c2 B2 A2 d2|A2 {g}B2 A2 H2|",
        ] {
            let metre = Metre::FourFour;
            let (_, problems) = read_music(text, metre, metre.default_unit(), "");
            assert_eq!(problems.len(), 1, "{text}: {problems:?}");
        }
    }

    #[test]
    fn a_tie_carries_a_note_over_the_bar_line() {
        let music = reads("A4 B4-|B4 c4|", Metre::TwoFour);
        assert!(music.bars[0].notes[1].tied);
    }
}
