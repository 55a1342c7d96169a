//! The notation of the catalogue: sets of notes, and the parts of a movement with the beat.
//!
//! A set is `any`, `not LG D`, `LG..F` or a list of notes. `any` and `not …` include the silence
//! before the first note. A pattern is a line such as `LG (D) LG |`: a bare note is a tone, a note
//! in brackets separates, `E~` is held, `|` is the beat. `N` is the closing note. `(c)` is the
//! gracenote that closes a doubling on the closing note, `(i)` the one inside a shake on it, `(s)`
//! the strike on it.

use super::parts::{Part, Role};
use crate::chanter::{NOTES, Note, gracenote_sounds};

/// A set of notes that may include the silence before the first note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct NoteSet {
    bits: u16,
    silence: bool,
}

impl NoteSet {
    /// Reads a set; none when a word is not a note.
    pub(super) fn read(text: &str) -> Option<Self> {
        const ALL: u16 = (1 << 9) - 1;
        if text == "any" {
            return Some(Self {
                bits: ALL,
                silence: true,
            });
        }
        if let Some(rest) = text.strip_prefix("not ") {
            return Some(Self {
                bits: ALL & !Self::read(rest)?.bits,
                silence: true,
            });
        }
        let mut bits = 0;
        for word in text.split(' ') {
            if let Some((low, high)) = word.split_once("..") {
                let (low, high) = (Note::parse(low).ok()?, Note::parse(high).ok()?);
                for note in NOTES {
                    if note >= low && note <= high {
                        bits |= 1 << note.index();
                    }
                }
            } else {
                bits |= 1 << Note::parse(word).ok()?.index();
            }
        }
        Some(Self {
            bits,
            silence: false,
        })
    }

    /// True when the note is in the set; `None` asks for the silence before the first note.
    pub(super) fn holds(self, note: Option<Note>) -> bool {
        note.map_or(self.silence, |note| self.bits & (1 << note.index()) != 0)
    }

    /// The notes, low to high.
    pub(super) fn notes(self) -> impl Iterator<Item = Note> {
        NOTES
            .into_iter()
            .filter(move |note| self.holds(Some(*note)))
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Symbol {
    Fixed(Part),
    Closing { held: bool },
    ClosingGracenote,
    InnerGracenote,
    Strike,
    Beat,
}

/// The parts of a movement before its closing note is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Pattern(Vec<Symbol>);

impl Pattern {
    /// Reads a pattern; none when a word is not a part.
    pub(super) fn read(text: &str) -> Option<Self> {
        text.split(' ')
            .map(|word| {
                Some(match word {
                    "|" => Symbol::Beat,
                    "N" => Symbol::Closing { held: false },
                    "N~" => Symbol::Closing { held: true },
                    "(c)" => Symbol::ClosingGracenote,
                    "(i)" => Symbol::InnerGracenote,
                    "(s)" => Symbol::Strike,
                    _ => Symbol::Fixed(if let Some(held) = word.strip_suffix('~') {
                        Part::held(Note::parse(held).ok()?)
                    } else if let Some(inner) = word.strip_prefix('(') {
                        Part::separating(Note::parse(inner.strip_suffix(')')?).ok()?)
                    } else {
                        Part::tone(Note::parse(word).ok()?)
                    }),
                })
            })
            .collect::<Option<Vec<Symbol>>>()
            .map(Self)
    }

    /// The parts for one closing note, and the place of the beat when the pattern has one. None
    /// when a gracenote of the pattern is not defined on that note.
    pub(super) fn on(&self, closing: Note) -> Option<(Vec<Part>, Option<usize>)> {
        let mut parts = Vec::with_capacity(self.0.len());
        let mut beat = None;
        for symbol in &self.0 {
            parts.push(match *symbol {
                Symbol::Fixed(part) => part,
                Symbol::Closing { held: false } => Part::tone(closing),
                Symbol::Closing { held: true } => Part::held(closing),
                Symbol::ClosingGracenote => Part::separating(closing_gracenote(closing)?),
                Symbol::InnerGracenote => Part::separating(inner_gracenote(closing)?),
                Symbol::Strike => Part::separating(*strikes(closing).first()?),
                Symbol::Beat => {
                    beat = Some(parts.len());
                    continue;
                }
            });
        }
        Some((parts, beat))
    }
}

/// The gracenote that closes a doubling: D on low G to C, the next higher note on the others
/// (LilyPond 2.24.1 bagpipe.ly, doublings).
fn closing_gracenote(on: Note) -> Option<Note> {
    match on {
        Note::LowG | Note::LowA | Note::B | Note::C => Some(Note::D),
        Note::D => Some(Note::E),
        Note::E => Some(Note::F),
        Note::F => Some(Note::HighG),
        Note::HighG | Note::HighA => None,
    }
}

/// The gracenote inside a shake: E on low A to D, the next higher note on the others (LilyPond
/// 2.24.1 bagpipe.ly, shakes).
fn inner_gracenote(on: Note) -> Option<Note> {
    match on {
        Note::LowA | Note::B | Note::C | Note::D => Some(Note::E),
        Note::E => Some(Note::F),
        Note::F => Some(Note::HighG),
        Note::HighG => Some(Note::HighA),
        Note::LowG | Note::HighA => None,
    }
}

/// The notes that a strike on this note may tap to, the usual one first (LilyPond 2.24.1
/// bagpipe.ly, half strikes). On high A the thumb falls and high G sounds (common practice, no
/// source).
pub(super) fn strikes(on: Note) -> &'static [Note] {
    match on {
        Note::LowG => &[],
        Note::LowA | Note::B | Note::C => &[Note::LowG],
        Note::D => &[Note::LowG, Note::C],
        Note::E => &[Note::LowA],
        Note::F => &[Note::E],
        Note::HighG => &[Note::F],
        Note::HighA => &[Note::HighG],
    }
}

/// True when a separating gracenote sounds: lifted from the note that follows, tapped down from it,
/// or lifted from the end of the note before.
pub(super) fn separates(gracenote: Note, before: Option<Note>, after: Note) -> bool {
    gracenote_sounds(gracenote, after)
        || strikes(after).contains(&gracenote)
        || before.is_some_and(|before| gracenote_sounds(gracenote, before) && gracenote < after)
}

/// Writes parts in the catalogue's notation: `LG (D) LG`.
pub fn write_parts(parts: &[Part]) -> String {
    let words: Vec<String> = parts
        .iter()
        .map(|part| match (part.role, part.held) {
            (Role::Separating, _) => format!("({})", part.note),
            (Role::Sounding, true) => format!("{}~", part.note),
            (Role::Sounding, false) => part.note.to_string(),
        })
        .collect();
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_read_lists_ranges_and_exceptions() {
        let notes = |text| -> Vec<Note> { NoteSet::read(text).expect(text).notes().collect() };
        assert_eq!(notes("LG..B"), [Note::LowG, Note::LowA, Note::B]);
        assert_eq!(notes("not LG..F"), [Note::HighG, Note::HighA]);
        assert!(NoteSet::read("any").expect("any").holds(None));
        assert!(!NoteSet::read("LG").expect("LG").holds(None));
        assert_eq!(NoteSet::read("LG X"), None);
    }

    #[test]
    fn a_pattern_is_filled_in_from_the_closing_note() {
        let pattern = Pattern::read("(HG) N | (c)").expect("a pattern");
        let (parts, beat) = pattern.on(Note::E).expect("E has a closing gracenote");
        assert_eq!(write_parts(&parts), "(HG) E (F)");
        assert_eq!(beat, Some(2));
        assert_eq!(pattern.on(Note::HighA), None);
        assert_eq!(Pattern::read("(HG N"), None);
    }
}
