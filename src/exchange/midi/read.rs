//! A MIDI file to a piece.

use super::line::by_ear;
use super::write::text_of;
use super::{CLICK, LADDER, METRE, MUSIC, STAGE};
use crate::chanter::Note;
use crate::drill::{LARGEST_FILE, Music, Place, Problem, TuneHead, read_music};
use crate::exchange::piece::{
    Piece, Practice, Section, adopted, beats_a_minute, counted_by, foreign, ladder_of,
};
use crate::movement::Lengths;
use crate::rhythm::Metre;
use crate::score::Score;
use crate::units::{Bpm, Fraction, parse_fraction};
use midly::{MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};
use std::collections::BTreeMap;

/// The largest file that is read, bytes: half an hour of our own is a tenth of it.
const LARGEST: usize = 4 * LARGEST_FILE;
/// The most notes that are read.
const MOST_NOTES: usize = 100_000;

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
    let piece = Piece {
        title: file.title.clone(),
        head: TuneHead::default(),
        about: None,
        metre,
        tempo: file.tempo(metre),
        ladder: file.ladder.clone(),
        practice: Practice::default(),
        lengths: Lengths::default(),
        sections,
    };
    piece.finished(problems)
}

/// A note of the line: ticks and key.
#[derive(Debug, Clone, Copy)]
pub(super) struct Key {
    pub(super) from: u64,
    /// None where nothing ends it.
    pub(super) to: Option<u64>,
    pub(super) key: u8,
}

/// A stage as its texts have it.
#[derive(Debug, Default)]
struct Told {
    tick: u64,
    name: String,
    metre: Option<(Metre, Fraction)>,
    music: Option<String>,
}

#[derive(Debug, Default)]
pub(super) struct File {
    title: String,
    /// Ticks a quarter.
    pub(super) division: u16,
    keys: Vec<Key>,
    /// The last tick of any track.
    pub(super) end: u64,
    /// Tick and microseconds a quarter, in order.
    pub(super) tempi: Vec<(u64, u32)>,
    metres: Vec<(u64, u32, u32)>,
    told: Vec<Told>,
    ladder: Option<crate::drill::Ladder>,
}

impl File {
    fn of(smf: &Smf, division: u16, problems: &mut Vec<Problem>) -> Self {
        let mut file = Self {
            division,
            ..Self::default()
        };
        let mut lines: BTreeMap<(usize, u8), Vec<Key>> = BTreeMap::new();
        let mut count = 0;
        let mut bends = false;
        let mut names = Vec::new();
        for (place, track) in smf.tracks.iter().enumerate() {
            let mut tick = 0_u64;
            // by channel and key, where in its line the note stands that sounds
            let mut open: BTreeMap<(u8, u8), usize> = BTreeMap::new();
            for event in track {
                tick += u64::from(event.delta.as_int());
                match event.kind {
                    TrackEventKind::Meta(message) => file.meta(tick, message, &mut names),
                    TrackEventKind::Midi { channel, message } => {
                        let channel = channel.as_int();
                        let line = lines.entry((place, channel)).or_default();
                        let mut close = |key: u8, line: &mut Vec<Key>| {
                            let sounding = open.remove(&(channel, key));
                            if let Some(own) = sounding.and_then(|own| line.get_mut(own)) {
                                own.to = Some(tick);
                            }
                        };
                        match message {
                            MidiMessage::NoteOn { key, vel } => {
                                close(key.as_int(), line);
                                if vel.as_int() > 0 {
                                    count += 1;
                                    if count <= MOST_NOTES {
                                        open.insert((channel, key.as_int()), line.len());
                                        line.push(Key {
                                            from: tick,
                                            to: None,
                                            key: key.as_int(),
                                        });
                                    }
                                }
                            }
                            MidiMessage::NoteOff { key, .. } => close(key.as_int(), line),
                            MidiMessage::PitchBend { .. } => bends = true,
                            _ => {}
                        }
                    }
                    TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => {}
                }
            }
            file.end = file.end.max(tick);
        }
        if count > MOST_NOTES {
            problems.push(adopted(
                format!("{count} notes"),
                format!("only the first {MOST_NOTES} are read"),
            ));
        }
        if bends && file.told.is_empty() {
            problems.push(adopted(
                "pitch bend",
                "left out: the chanter has its own tuning",
            ));
        }
        lines.retain(|(_, channel), keys| *channel != CLICK && !keys.is_empty());
        let mut lines = lines.into_values();
        if let Some(line) = lines.next() {
            file.keys = line;
        }
        let others = lines.count();
        if others > 0 {
            problems.push(adopted(
                crate::wording::count(others, "other line of notes", "other lines of notes"),
                "left out: the chanter plays one line",
            ));
        }
        file.tempi.sort_by_key(|tempo| tempo.0);
        file.metres.sort_by_key(|metre| metre.0);
        file.title = names.into_iter().next().unwrap_or_default();
        file
    }

    fn meta(&mut self, tick: u64, message: MetaMessage, names: &mut Vec<String>) {
        match message {
            MetaMessage::TrackName(name) => names.push(text_of(name).into_owned()),
            MetaMessage::Tempo(value) => self.tempi.push((tick, value.as_int())),
            MetaMessage::TimeSignature(above, below, ..) => {
                let below = 1_u32.checked_shl(u32::from(below)).unwrap_or(0);
                self.metres.push((tick, u32::from(above), below));
            }
            MetaMessage::Text(text) => {
                let text = text_of(text);
                if let Some(name) = text.strip_prefix(STAGE) {
                    self.told.push(Told {
                        tick,
                        name: name.to_owned(),
                        ..Told::default()
                    });
                } else if let Some(ladder) = text.strip_prefix(LADDER) {
                    self.ladder = ladder_of(ladder);
                } else if let Some(told) = self.told.last_mut() {
                    if let Some(rest) = text.strip_prefix(METRE) {
                        told.metre = metre_of(rest);
                    } else if let Some(music) = text.strip_prefix(MUSIC) {
                        told.music = Some(music.to_owned());
                    }
                }
            }
            _ => {}
        }
    }

    /// Every metre with the tick where it begins, the first from the first tick on.
    pub(super) fn metres_of(&self, problems: &mut Vec<Problem>) -> Vec<(u64, Metre)> {
        let mut metres: Vec<(u64, Metre)> = Vec::new();
        for (tick, above, below) in &self.metres {
            let Some(metre) = Metre::of(*above, *below) else {
                problems.push(foreign(
                    Place::WHOLE_FILE,
                    format!("the time signature {above}/{below}"),
                    Metre::EXPECTED,
                ));
                continue;
            };
            match metres.last_mut() {
                Some(last) if last.1 == metre => {}
                Some(last) if last.0 == *tick => last.1 = metre,
                _ => metres.push((*tick, metre)),
            }
        }
        match metres.first_mut() {
            Some(first) => first.0 = 0,
            None => {
                problems.push(adopted("no time signature", "read as 4/4"));
                metres.push((0, Metre::FOUR_FOUR));
            }
        }
        metres
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
            let section = written.map(|music| Section::new(told.name.clone(), music));
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

/// Metre and unit, and a beat that is not the usual one, from our own text.
fn metre_of(text: &str) -> Option<(Metre, Fraction)> {
    let mut words = text.split(' ');
    let metre = Metre::parse(words.next()?).ok()?;
    let unit = parse_fraction(words.next()?).ok()?;
    let counted = words
        .next()
        .map_or(Some(metre), |beat| counted_by(metre, beat));
    Some((counted?, unit))
}

impl Told {
    fn written(&self, first: Option<Metre>) -> Option<Music> {
        let (metre, unit) = self.metre?;
        let text = self.music.as_deref()?;
        let fits = unit > Fraction::from_integer(0) && unit <= Fraction::from_integer(1);
        if Some(metre) != first || !fits || text.len() > LARGEST_FILE {
            return None;
        }
        let (music, problems) = read_music(text, metre, unit, "");
        (problems.is_empty() && !music.bars.is_empty()).then_some(music)
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
