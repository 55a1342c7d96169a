//! Body text as other programs write it: what a drill cannot hold is told, with what was done.
//!
//! The same reader as for drills; only the signs that drills refuse are dealt with here.

use super::{Kind, MusicProblem, Reader};
use crate::chanter::Note;
use crate::drill::written::{Group, Music, Written};
use crate::rhythm::Metre;
use crate::units::{Beats, Fraction, parse_fraction, write_fraction};

/// What stands between the signs of foreign body text.
#[derive(Debug, Default)]
pub(super) struct Foreign {
    /// The voice that is read: the first one named.
    voice: Option<String>,
    /// Inside another voice.
    skipping: bool,
    /// Voices told of.
    told: Vec<String>,
    /// The tuplet's factor and how many notes it still holds.
    tuplet: Option<(Fraction, u32)>,
    /// A rest at the very start, given to the first note.
    owed: Beats,
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

/// Reads body text that another program wrote. Inline fields `[L:1/16]`, `[V:2]` and the like are
/// understood; rests, chords, tuplets, other octaves, accidentals, slurs and decorations are dealt
/// with and told as [`Kind::Adopted`]. What remains as another kind is an error, as in a drill.
pub fn adopt_music(
    text: &str,
    metre: Metre,
    unit: Fraction,
    label: &str,
) -> (Music, Vec<MusicProblem>) {
    let mut reader = Reader::new(text, metre, unit);
    reader.foreign = Some(Foreign::default());
    reader.read();
    reader.finish(label)
}

fn note(found: impl Into<String>, done: impl Into<String>) -> Kind {
    Kind::Adopted {
        found: found.into(),
        done: done.into(),
        times: 1,
    }
}

/// What a drill refuses and foreign text may hold.
pub(super) fn adopted(kind: Kind) -> Kind {
    match kind {
        Kind::GroupSign { sign } => note(
            format!("`{}` among gracenotes", sign.escape_debug()),
            "left out",
        ),
        Kind::UnknownSign { sign } => note(format!("the sign `{sign}`"), "left out"),
        Kind::EmptyGroup => note("`{}` without a gracenote", "left out"),
        Kind::GroupWithoutNote => note("gracenotes before no note", "left out"),
        Kind::TieAtEnd => note("a tie that leads to no note", "left out"),
        other => other,
    }
}

impl Reader {
    /// Deals with a sign that only foreign text has; false where it is an ordinary one.
    pub(super) fn foreign_sign(&mut self, sign: char) -> bool {
        let start = self.at;
        let voice_follows = sign == '[' && self.is_field_at(self.at + 1);
        let skipping = self.foreign.as_ref().is_some_and(|own| own.skipping);
        match sign {
            '[' if voice_follows => self.inline_field(),
            _ if skipping => self.at += 1,
            '[' if matches!(self.peek_next(), Some('|' | '1' | '2')) => return self.odd_ending(),
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
                self.tell_note(
                    start,
                    format!("the decoration `{}`", text.escape_debug()),
                    "left out",
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

    fn is_field_at(&self, at: usize) -> bool {
        self.signs.get(at).is_some_and(char::is_ascii_alphabetic)
            && self.signs.get(at + 1) == Some(&':')
            // `[A:|` is a chord left open before a bar line, not a field
            && self.signs.get(at + 2) != Some(&'|')
    }

    /// Endings beyond the second, or several passes on one.
    fn odd_ending(&mut self) -> bool {
        let digit = self.peek_next().is_some_and(|sign| sign.is_ascii_digit());
        let more = self.signs.get(self.at + 2);
        if digit && matches!(more, Some(',' | '-')) {
            let start = self.at;
            self.tell(
                start,
                start + 3,
                Kind::Foreign {
                    found: "an ending for several passes".to_owned(),
                    expected: "first and second endings only".to_owned(),
                },
            );
        }
        false
    }

    fn inline_field(&mut self) {
        let start = self.at;
        let letter = self.signs.get(start + 1).copied().unwrap_or(' ');
        self.at += 3;
        let from = self.at;
        self.skip_past(']');
        let value: String = self.signs[from..self.at]
            .iter()
            .filter(|sign| **sign != ']' && **sign != '\n')
            .collect();
        let value = value.trim();
        let skipping = self.foreign.as_ref().is_some_and(|own| own.skipping);
        match letter {
            'V' => self.voice(start, value),
            'r' => {}
            _ if skipping => {}
            'L' => match parse_fraction(value) {
                Ok(unit)
                    if unit > Fraction::from_integer(0) && unit <= Fraction::from_integer(1) =>
                {
                    self.unit = self.metre.beats_of(unit);
                }
                _ => self.tell(
                    start,
                    self.at,
                    Kind::BadLength {
                        found: value.to_owned(),
                    },
                ),
            },
            'M' if Metre::parse(value) == Ok(self.metre) => {}
            'M' => self.tell(
                start,
                self.at,
                Kind::Foreign {
                    found: format!("the metre changes to `{}`", short(value)),
                    expected: format!("{} throughout: a drill has one metre", self.metre),
                },
            ),
            'K' if is_pipe_key(value) => {}
            'K' => self.tell_note(
                start,
                format!("the key changes to `{}`", short(value)),
                "the letters are kept; C and F stay sharp",
            ),
            _ => self.tell_note(
                start,
                format!("the field `{letter}:` in the music"),
                "left out",
            ),
        }
    }

    fn voice(&mut self, start: usize, value: &str) {
        let id = value.split_whitespace().next().unwrap_or("").to_owned();
        let Some(foreign) = &mut self.foreign else {
            return;
        };
        let main = foreign.voice.get_or_insert_with(|| id.clone());
        foreign.skipping = *main != id;
        if foreign.skipping && !foreign.told.contains(&id) {
            foreign.told.push(id.clone());
            self.tell_note(
                start,
                format!("the voice `{}`", short(&id)),
                "left out: the chanter plays one line",
            );
        }
    }

    /// `(3`, `(3:2:3` (ABC 2.1 §4.13).
    fn tuplet(&mut self, start: usize) {
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
            self.tell(start, self.at, Kind::Tuplet);
            return;
        }
        let factor = Fraction::new(i128::from(time), i128::from(notes));
        if let Some(foreign) = &mut self.foreign {
            foreign.tuplet = Some((factor, count));
        }
        self.tell_note(
            start,
            format!("a tuplet of {notes} in the time of {time}"),
            format!(
                "each note is read as {} of its written length",
                write_fraction(&factor)
            ),
        );
    }

    /// The chanter has no rests: the note before sounds on, or the first begins early.
    fn rest(&mut self, start: usize, length: Beats) {
        let length = self.lasting(length);
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
        } else {
            if let Some(foreign) = &mut self.foreign {
                foreign.owed = foreign.owed + length;
            }
            self.tell_note(start, "a rest at the start", "the first note begins there");
        }
    }

    /// Time owed by rests at the start.
    pub(super) fn owed(&mut self) -> Beats {
        self.foreign
            .as_mut()
            .map_or(Beats::ZERO, |own| std::mem::take(&mut own.owed))
    }

    fn accidental(&mut self) {
        let start = self.at;
        while matches!(self.peek(), Some('^' | '_' | '=')) {
            self.at += 1;
        }
        let mut found: String = self.signs[start..self.at].iter().collect();
        match self.peek() {
            Some(letter @ ('a'..='g' | 'A'..='G')) => {
                found.push(letter);
                // K:HP has these two sharp already
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

    /// A letter with its octave marks, moved by octaves into the nine notes where need be.
    pub(super) fn foreign_letter(&mut self, letter: char) -> Note {
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

    /// `[ceg]2`: the highest note that the chanter has.
    fn chord(&mut self) {
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
    // `G` an octave up is `g`, `a` an octave down is `A`
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

/// Keys whose signature is the pipes' own: two sharps, or the pipe keys themselves.
pub fn is_pipe_key(value: &str) -> bool {
    let first: String = value
        .split_whitespace()
        .take_while(|word| !word.contains('='))
        .collect::<Vec<_>>()
        .join("")
        .to_lowercase();
    matches!(
        first.as_str(),
        "hp" | "d"
            | "dmaj"
            | "dmajor"
            | "dion"
            | "bm"
            | "bmin"
            | "bminor"
            | "baeo"
            | "amix"
            | "amixolydian"
            | "edor"
            | "edorian"
            | "glyd"
            | "glydian"
            | "f#phr"
            | "f#phrygian"
            | "c#loc"
    )
}

fn short(text: &str) -> String {
    text.escape_debug().take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn adopts(text: &str, metre: Metre, told: &[&str]) -> Music {
        let (music, problems) = adopt_music(text, metre, Fraction::new(1, 8), "");
        let found: Vec<String> = problems.iter().map(|p| p.kind.to_string()).collect();
        assert_eq!(found, told, "{text}");
        music
    }

    fn letters(music: &Music) -> String {
        music
            .bars
            .iter()
            .flat_map(|bar| &bar.notes)
            .map(|note| note.note.abc_letter())
            .collect()
    }

    /// Without it a piece for another instrument would lose notes, or time, without a word.
    #[test]
    fn nothing_foreign_is_dropped_without_a_word() {
        let music = adopts(
            "A4 z4|",
            Metre::FourFour,
            &["a rest: the note before sounds on"],
        );
        assert!(music.bars[0].notes[0].tied);
        assert_eq!(music.bars[0].length(), Beats::whole(4));
        let music = adopts(
            "[ce]4 b4|",
            Metre::FourFour,
            &[
                "a chord: E of it is kept",
                "the note `b` is not one of the chanter's nine: moved by an octave, to B",
            ],
        );
        assert_eq!(letters(&music), "eB");
        let music = adopts(
            "(3ABc d2 e4|",
            Metre::FourFour,
            &["a tuplet of 3 in the time of 2: each note is read as 2/3 of its written length"],
        );
        assert_eq!(music.bars[0].notes[0].length, Beats::new(1, 3));
        adopts(
            "=c4 ^g4|",
            Metre::FourFour,
            &[
                "the accidental in `=c`: left out: `c` as the chanter has it",
                "the accidental in `^g`: left out: `g` as the chanter has it",
            ],
        );
    }

    #[test]
    fn only_the_first_voice_is_read() {
        let music = adopts(
            "[V:1] A4 B4|\n[V:2] c4 d4|\n[V:1] c4 B4|",
            Metre::FourFour,
            &["the voice `2`: left out: the chanter plays one line"],
        );
        assert_eq!(letters(&music), "ABcB");
    }

    #[test]
    fn what_the_chanter_cannot_play_is_mended() {
        let music = adopts(
            "A4 A4|e4 {d}f4-|",
            Metre::FourFour,
            &[
                "low A follows low A with nothing between: the gracenote high G separates them",
                "the gracenote D cannot sound on F: high G is played instead",
                "F is tied to no note: the tie is left out",
            ],
        );
        assert_eq!(letters(&music), "AAef");
    }

    #[test]
    fn a_full_bar_before_a_pickup_gives_it_room() {
        let music = adopts(
            "A2|B4 c4|d4 B4|",
            Metre::FourFour,
            &["a full bar stands before a pickup: its last note is shortened by the pickup"],
        );
        assert_eq!(music.length(), Beats::whole(8));
    }

    #[test]
    fn the_unit_can_change_on_the_way() {
        let music = adopts("A4 B4|[L:1/16]A8 B8|", Metre::FourFour, &[]);
        assert_eq!(music.bars[1].length(), Beats::whole(4));
        let (_, problems) = adopt_music(
            "A4 B4|[M:3/4]A4 B2|",
            Metre::FourFour,
            Fraction::new(1, 8),
            "",
        );
        assert!(matches!(problems[0].kind, Kind::Foreign { .. }));
    }

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
