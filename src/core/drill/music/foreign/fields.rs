//! Inline fields in the music, such as `[L:1/16]` and `[V:2]`, and the keys with the signature of
//! the pipes.

use crate::drill::music::{ProblemKind, Reader};
use crate::rhythm::Metre;
use crate::units::{Fraction, parse_fraction};

impl Reader {
    pub(in crate::drill::music) fn is_field_at(&self, at: usize) -> bool {
        self.signs.get(at).is_some_and(char::is_ascii_alphabetic)
            && self.signs.get(at + 1) == Some(&':')
            // `[A:|` is an unfinished chord before a bar line, not a field.
            && self.signs.get(at + 2) != Some(&'|')
    }

    pub(in crate::drill::music) fn inline_field(&mut self) {
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
                    self.unit_part = unit;
                    self.unit = self.metre.beats_of(unit);
                }
                _ => self.tell(
                    start,
                    self.at,
                    ProblemKind::BadLength {
                        found: value.to_owned(),
                    },
                ),
            },
            'M' => self.change_metre(start, value),
            'Q' if self.takes_equal_notes(value) => {}
            'Q' if self.foreign.is_none() => self.tell(
                start,
                self.at,
                ProblemKind::Foreign {
                    found: format!("`[Q:{}]` in the music", short(value)),
                    expected:
                        "at a change of metre the note before and the one that lasts as long, \
                               such as `[M:6/8][Q:1/8=1/8]`"
                            .to_owned(),
                },
            ),
            'Q' if self.keeps_the_beat(value) || self.takes_tempo(value) => {}
            'Q' => self.tell_note(
                start,
                format!("the tempo changes to `{}`", short(value)),
                "left out: a beat lasts as long as before",
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

    /// Changes the metre from here on; the length of the beat stays the same.
    fn change_metre(&mut self, start: usize, value: &str) {
        let read = Metre::parse(value).map(|metre| {
            // The drill's own beat applies to all bars with the drill's figures.
            let own = metre.printed() == self.first.printed();
            let counted = if own { self.first } else { metre };
            counted.with_pace(self.metre.pace()).unwrap_or(counted)
        });
        match read {
            Ok(metre) if metre == self.metre => {}
            Ok(metre) if self.bar.notes.is_empty() => {
                self.metre_before = self.metre;
                self.metre = metre;
                self.unit = metre.beats_of(self.unit_part);
                self.bar.metre = Some(metre);
            }
            Ok(_) => self.tell(
                start,
                self.at,
                ProblemKind::Foreign {
                    found: "the metre changes inside a bar".to_owned(),
                    expected: "a change where a bar begins".to_owned(),
                },
            ),
            Err(_) => self.tell(
                start,
                self.at,
                ProblemKind::Foreign {
                    found: format!("the metre changes to `{}`", short(value)),
                    expected: Metre::EXPECTED.to_owned(),
                },
            ),
        }
    }

    /// True for a tempo such as `3/8=60` that does not change the length of the beat.
    fn keeps_the_beat(&self, value: &str) -> bool {
        let tempo = self.foreign.as_ref().and_then(|own| own.tempo);
        let said = || -> Option<Fraction> {
            let (part, count) = value.split_once('=')?;
            let (part, count) = (parse_fraction(part).ok()?, parse_fraction(count).ok()?);
            Some(self.metre.beats_of(part).0 * count * self.metre.pace())
        };
        tempo.is_some() && said() == tempo
    }

    /// Reads a remark such as `1/8=1/8` that says which note keeps its length at the preceding
    /// change of metre. The note of the old metre comes first. True when it is such a remark.
    fn takes_equal_notes(&mut self, value: &str) -> bool {
        let notes = value.split_once('=').and_then(|(before, after)| {
            let (before, after) = (parse_fraction(before).ok()?, parse_fraction(after).ok()?);
            Some((before, after))
        });
        let metre = notes.and_then(|notes| self.metre.where_equal(self.metre_before, notes));
        self.paced(metre)
    }

    /// Finds the note that keeps its length from a tempo given at the change of metre. True when a
    /// note fits within the rounding of the tempo.
    fn takes_tempo(&mut self, value: &str) -> bool {
        let tempo = self.foreign.as_ref().and_then(|own| own.tempo);
        let said = || -> Option<Fraction> {
            let (part, count) = value.split_once('=')?;
            let (part, count) = (parse_fraction(part).ok()?, parse_fraction(count).ok()?);
            let rate = self.metre.beats_of(part).0 * count;
            (rate > Fraction::from_integer(0)).then_some(rate)
        };
        let (Some(tempo), Some(rate)) = (tempo, said()) else {
            return false;
        };
        let metre = self.metre.at_about(self.metre_before, tempo / rate);
        self.paced(metre)
    }

    /// Replaces the metre that begins in this bar by one with beats of another length.
    fn paced(&mut self, metre: Option<Metre>) -> bool {
        let begins = self.bar.notes.is_empty() && self.bar.metre.is_some();
        let Some(metre) = metre.filter(|_| begins) else {
            return false;
        };
        self.metre = metre;
        self.bar.metre = Some(metre);
        true
    }

    fn voice(&mut self, start: usize, value: &str) {
        let id = value.split_whitespace().next().unwrap_or("").to_owned();
        let Some(foreign) = &mut self.foreign else {
            return;
        };
        let main = foreign.voice.get_or_insert_with(|| id.clone());
        foreign.skipping = *main != id;
        if foreign.skipping && foreign.told.insert(id.clone()) {
            self.tell_note(
                start,
                format!("the voice `{}`", short(&id)),
                "left out: the chanter plays one line",
            );
        }
    }
}

/// True for keys with the signature of the pipes: two sharps, or the pipe keys themselves.
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
