//! A MIDI file to a piece.

use super::file::{File, HEAD, Key};
use super::line::by_ear;
use super::{ALSO, COMPOSER, KIND, ORIGIN};
use crate::chanter::Note;
use crate::drill::{LARGEST_FILE, Place, Problem, TuneHead};
use crate::exchange::piece::{Piece, Practice, Section, adopted, beats_a_minute, foreign};
use crate::movement::Lengths;
use crate::rhythm::Metre;
use crate::score::Score;
use crate::units::{Bpm, Fraction};
use midly::{Smf, Timing};

/// The largest file that is read, bytes: half an hour of our own is a tenth of it.
const LARGEST: usize = 4 * LARGEST_FILE;
/// Reads a MIDI file: by its texts when this program wrote it, else by its notes.
pub fn read(bytes: &[u8]) -> (Option<Piece>, Vec<Problem>) {
    let mut problems = Vec::new();
    let refuse =
        |found: String, expected: &str| (None, vec![foreign(Place::WHOLE_FILE, found, expected)]);
    if bytes.len() > LARGEST {
        return refuse(
            format!("the file has {} bytes", bytes.len()),
            "at most 4 MiB",
        );
    }
    // A header's frame rate is negative in its byte, and -128 has no positive: midly 0.5 overflows.
    if bytes.get(12) == Some(&0x80) {
        return refuse(
            "-128 frames of film a second".to_owned(),
            "ticks of a quarter note",
        );
    }
    let smf = match Smf::parse(bytes) {
        Ok(smf) => smf,
        Err(error) => {
            return refuse(
                format!("this is no MIDI file: {error}"),
                "a standard MIDI file",
            );
        }
    };
    let Timing::Metrical(division) = smf.header.timing else {
        return refuse(
            "times in frames of film".to_owned(),
            "ticks of a quarter note",
        );
    };
    if division.as_int() == 0 {
        return refuse("0 ticks a quarter note".to_owned(), "at least 1");
    }
    if matches!(smf.header.format, midly::Format::Sequential) {
        problems.push(adopted(
            "a file of independent tracks (format 2)",
            "the first with notes is read",
        ));
    }
    let file = File::of(&smf, division.as_int(), &mut problems);
    let sections = file.sections(&mut problems);
    let metre = sections
        .first()
        .map_or(Metre::FOUR_FOUR, |section| section.music.metre);
    let mut piece = Piece {
        title: file.title.clone(),
        head: file.head(),
        about: None,
        metre,
        tempo: file.tempo(metre),
        ladder: None,
        practice: Practice::default(),
        lengths: Lengths::default(),
        sections,
    };
    for (name, said) in &file.said {
        if !HEAD.contains(name) && !piece.take_remark(name, said) {
            problems.push(unread(name, said));
        }
    }
    piece.finished(problems)
}

/// A text of ours that does not read any more.
fn unread(name: &str, said: &str) -> Problem {
    let said: String = said.escape_debug().take(40).collect();
    adopted(
        format!("the text `{name} {said}`, which does not read"),
        "left out",
    )
}

impl File {
    /// What stands at the head of the tune, from our own texts.
    fn head(&self) -> TuneHead {
        let mut head = TuneHead::default();
        for (name, said) in &self.said {
            match *name {
                KIND => head.kind = Some(said.clone()),
                COMPOSER => head.composer = Some(said.clone()),
                ORIGIN => head.origin = Some(said.clone()),
                ALSO => head.also.push(said.clone()),
                _ => {}
            }
        }
        head
    }

    /// The first tempo, to a whole beat a minute where it lies within a thousandth of one.
    fn tempo(&self, metre: Metre) -> Option<Bpm> {
        let value = self.tempi.first().map_or(500_000, |tempo| tempo.1);
        let quarters = Fraction::new(60_000_000, i128::from(value.max(1)));
        let exact = beats_a_minute(metre, Fraction::new(1, 4), quarters)?.value();
        let halves = (exact * Fraction::from_integer(2)).round() / Fraction::from_integer(2);
        let off = if exact > halves {
            exact - halves
        } else {
            halves - exact
        };
        let tempo = if off < Fraction::new(1, 1000) {
            halves
        } else {
            (exact * Fraction::from_integer(100)).round() / Fraction::from_integer(100)
        };
        Bpm::new(tempo).ok()
    }

    fn sections(&self, problems: &mut Vec<Problem>) -> Vec<Section> {
        if self.told.is_empty() {
            let music = by_ear(self, &self.keys, 0, problems);
            return music
                .map(|music| Section::new(Section::ONLY.to_owned(), music))
                .into_iter()
                .collect();
        }
        // a drill has one metre to begin with
        let metre = self.told.iter().find_map(|told| told.metre);
        let metre = metre.map(|told| told.0);
        let mut sections = Vec::new();
        for (place, told) in self.told.iter().enumerate() {
            let end = self.told.get(place + 1).map_or(u64::MAX, |next| next.tick);
            let keys: Vec<Key> = self
                .keys
                .iter()
                .filter(|key| (told.tick..end).contains(&key.from))
                .copied()
                .collect();
            let written = told.written(metre);
            let mut section = written.map(|music| Section::new(told.name.clone(), music));
            for (name, said) in &told.said {
                if let Some(section) = &mut section
                    && !section.take_remark(name, said)
                {
                    problems.push(unread(name, said));
                }
            }
            match section {
                Some(section) if agrees(&section.score, &keys) => sections.push(section),
                _ => {
                    problems.push(adopted(
                        format!(
                            "the notes of `{}` are not those of its text",
                            told.name.escape_debug()
                        ),
                        "the notes are read",
                    ));
                    let music = by_ear(self, &keys, told.tick, problems);
                    sections.extend(music.map(|music| Section::new(told.name.clone(), music)));
                }
            }
        }
        sections
    }
}

/// True when the notes that were played are those of the score, in order, over and over; the key
/// may stand in another octave.
fn agrees(score: &Score, keys: &[Key]) -> bool {
    let line: Vec<Note> = score
        .notes
        .iter()
        .filter(|note| !note.continues)
        .flat_map(|note| {
            note.group
                .parts
                .iter()
                .map(|part| part.note)
                .chain([note.note])
        })
        .collect();
    let opening = score.notes.first().map_or(0, |note| note.group.parts.len());
    if line.is_empty() || keys.is_empty() {
        return false;
    }
    // the very first note may have other gracenotes before it: nothing sounded before
    let same = |key: &Key, note: Note| {
        i32::from(key.key) % 12 == i32::from(note.midi_key()) % 12
            && (i32::from(key.key) - i32::from(keys[0].key)).abs() <= 14
    };
    let start = (0..keys.len().min(12)).find(|at| same(&keys[*at], line[opening]));
    let Some(_) = start else { return false };
    (0..keys.len().min(12)).any(|at| {
        let rest = &keys[at..];
        let cycle = line.iter().cycle().skip(opening);
        rest.len() + opening >= line.len()
            && (rest.len() + opening).is_multiple_of(line.len())
            && rest.iter().zip(cycle).all(|(key, note)| same(key, *note))
    })
}
