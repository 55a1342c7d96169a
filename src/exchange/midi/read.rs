//! A MIDI file to a piece.

use super::recognise::{Played, recognise};
use super::write::text_of;
use super::{CLICK, LADDER, METRE, MUSIC, STAGE};
use crate::chanter::{NOTES, Note};
use crate::drill::{
    Kind, LARGEST_FILE, MOST_BARS, Music, Place, Problem, TuneHead, mend_music, read_music,
};
use crate::exchange::piece::{
    Piece, Practice, Section, adopted, beats_a_minute, counted_by, foreign, ladder_of,
};
use crate::movement::Lengths;
use crate::rhythm::Metre;
use crate::score::Score;
use crate::units::{Beats, Bpm, Fraction, parse_fraction};
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
    let file = File::of(&smf, &mut problems);
    let metre = file.metre(&mut problems);
    let piece = Piece {
        title: file.title.clone(),
        head: TuneHead::default(),
        about: None,
        metre,
        tempo: file.tempo(metre),
        ladder: file.ladder.clone(),
        practice: Practice::default(),
        lengths: Lengths::default(),
        sections: Vec::new(),
    };
    let ticks = Fraction::from_integer(i128::from(division.as_int()));
    let sections = file.sections(metre, ticks, &mut problems);
    Piece { sections, ..piece }.finished(problems)
}

/// A note of the line: ticks and key.
#[derive(Debug, Clone, Copy)]
struct Key {
    from: u64,
    to: u64,
    key: u8,
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
struct File {
    title: String,
    keys: Vec<Key>,
    /// Tick and microseconds a quarter.
    tempi: Vec<(u64, u32)>,
    metres: Vec<(u64, u32, u32)>,
    told: Vec<Told>,
    ladder: Option<crate::drill::Ladder>,
}

impl File {
    fn of(smf: &Smf, problems: &mut Vec<Problem>) -> Self {
        let mut file = Self::default();
        let mut lines: BTreeMap<(usize, u8), Vec<Key>> = BTreeMap::new();
        let mut count = 0;
        let mut bends = false;
        let mut names = Vec::new();
        for (place, track) in smf.tracks.iter().enumerate() {
            let mut tick = 0_u64;
            let mut open: BTreeMap<(u8, u8), u64> = BTreeMap::new();
            for event in track {
                tick += u64::from(event.delta.as_int());
                match event.kind {
                    TrackEventKind::Meta(message) => file.meta(tick, message, &mut names),
                    TrackEventKind::Midi { channel, message } => {
                        let channel = channel.as_int();
                        let mut close = |key: u8, lines: &mut BTreeMap<(usize, u8), Vec<Key>>| {
                            if let Some(from) = open.remove(&(channel, key)) {
                                count += 1;
                                if count <= MOST_NOTES && tick > from {
                                    lines.entry((place, channel)).or_default().push(Key {
                                        from,
                                        to: tick,
                                        key,
                                    });
                                }
                            }
                        };
                        match message {
                            MidiMessage::NoteOn { key, vel } => {
                                close(key.as_int(), &mut lines);
                                if vel.as_int() > 0 {
                                    open.insert((channel, key.as_int()), tick);
                                }
                            }
                            MidiMessage::NoteOff { key, .. } => close(key.as_int(), &mut lines),
                            MidiMessage::PitchBend { .. } => bends = true,
                            _ => {}
                        }
                    }
                    TrackEventKind::SysEx(_) | TrackEventKind::Escape(_) => {}
                }
            }
            if !open.is_empty() {
                problems.push(adopted("a note that never ends", "left out"));
            }
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
        lines.retain(|(_, channel), _| *channel != CLICK);
        let mut lines = lines.into_values();
        if let Some(line) = lines.next() {
            file.keys = line;
            file.keys.sort_by_key(|key| (key.from, key.to));
        }
        let others = lines.count();
        if others > 0 {
            problems.push(adopted(
                crate::wording::count(others, "other line of notes", "other lines of notes"),
                "left out: the chanter plays one line",
            ));
        }
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

    fn metre(&self, problems: &mut Vec<Problem>) -> Metre {
        if let Some((metre, _)) = self.told.iter().find_map(|told| told.metre) {
            return metre;
        }
        let of = |above: u32, below: u32| Metre::of(above, below);
        let mut first = None;
        for (_, above, below) in &self.metres {
            match (of(*above, *below), first) {
                (Some(metre), None) => first = Some(metre),
                (Some(metre), Some(other)) if metre == other => {}
                _ => problems.push(foreign(
                    Place::WHOLE_FILE,
                    format!("the time signature {above}/{below}"),
                    format!("one metre throughout: {}", Metre::EXPECTED),
                )),
            }
        }
        first.unwrap_or_else(|| {
            if problems.is_empty() {
                problems.push(adopted("no time signature", "read as 4/4"));
            }
            Metre::FOUR_FOUR
        })
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

    fn sections(&self, metre: Metre, ticks: Fraction, problems: &mut Vec<Problem>) -> Vec<Section> {
        if self.told.is_empty() {
            let music = self.by_ear(self.keys.clone(), 0, metre, ticks, problems);
            return music
                .map(|music| Section::new(Section::ONLY.to_owned(), music))
                .into_iter()
                .collect();
        }
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
                    let music = self.by_ear(keys, told.tick, metre, ticks, problems);
                    sections.extend(music.map(|music| Section::new(told.name.clone(), music)));
                }
            }
        }
        sections
    }

    /// Written music from notes alone.
    fn by_ear(
        &self,
        keys: Vec<Key>,
        origin: u64,
        metre: Metre,
        ticks: Fraction,
        problems: &mut Vec<Problem>,
    ) -> Option<Music> {
        let notes = Self::one_line(&keys, problems);
        let beats = |tick: u64| {
            let quarters = Fraction::from_integer(i128::from(tick)) / ticks;
            metre.beats_of(quarters / Fraction::from_integer(4))
        };
        // a bar of count-in, or whole bars of silence, lead to the same downbeats
        let full = metre.bar();
        let first = beats(notes.first()?.0.from.saturating_sub(origin));
        let skipped = Beats((first.0 / full.0 + Fraction::new(1, 64)).floor() * full.0);
        let played: Vec<Played> = notes
            .iter()
            .enumerate()
            .map(|(place, (key, note))| {
                let next = notes.get(place + 1).map_or(key.to, |next| next.0.from);
                Played {
                    start: beats(key.from.saturating_sub(origin)) - skipped,
                    end: beats(next.saturating_sub(origin)) - skipped,
                    note: *note,
                    lasts: self.millis(next, ticks) - self.millis(key.from, ticks),
                }
            })
            .collect();
        // hours of silence are no music: refused before they are written out bar by bar
        let bars = played
            .last()
            .map_or(Fraction::ZERO, |last| last.end.0 / full.0);
        if bars > Fraction::from_integer(MOST_BARS as i128) {
            problems.push(Problem::new(
                Place::WHOLE_FILE,
                Kind::TooManyBars {
                    found: bars.to_integer() as usize,
                    most: MOST_BARS,
                },
            ));
            return None;
        }
        let (mut music, worst) = recognise(&played, metre);
        if worst.to_f64() > 0.02 {
            problems.push(adopted(
                "notes beside the beat",
                "moved to the nearest 64th",
            ));
        }
        problems.extend(
            mend_music(&mut music)
                .into_iter()
                .map(|mended| Problem::new(Place::WHOLE_FILE, mended.kind())),
        );
        Some(music)
    }

    /// Milliseconds of a tick, by the tempo map.
    fn millis(&self, tick: u64, ticks: Fraction) -> f64 {
        let mut time = 0.0;
        let (mut from, mut value) = (0_u64, 500_000_u32);
        let a_tick = |value: u32| f64::from(value) / (*ticks.numer() as f64) / 1000.0;
        for (at, next) in self.tempi.iter().take_while(|(at, _)| *at <= tick) {
            time += at.saturating_sub(from) as f64 * a_tick(value);
            from = *at;
            value = *next;
        }
        time + tick.saturating_sub(from) as f64 * a_tick(value)
    }

    /// One note at a time, moved as a whole to where the most keys are the chanter's.
    fn one_line(keys: &[Key], problems: &mut Vec<Problem>) -> Vec<(Key, Note)> {
        let mut line: Vec<Key> = Vec::new();
        for key in keys {
            match line.last_mut() {
                Some(last) if last.from == key.from => {
                    problems.push(adopted("notes at once", "the highest is kept"));
                    if key.key > last.key {
                        *last = *key;
                    }
                }
                _ => line.push(*key),
            }
        }
        let note_of = |key: i32| {
            NOTES
                .into_iter()
                .find(|note| i32::from(note.midi_key()) == key)
        };
        let fits = |shift: i32| {
            line.iter()
                .filter(|key| note_of(i32::from(key.key) + shift).is_some())
                .count()
        };
        let shift = (-36..=36)
            .max_by_key(|shift| (fits(*shift), -i32::abs(*shift)))
            .unwrap_or(0);
        if shift != 0 && shift % 12 != 0 {
            problems.push(adopted(
                format!("keys {} semitones from the chanter's written ones", -shift),
                "moved to those",
            ));
        }
        line.into_iter()
            .map(|key| {
                let wanted = i32::from(key.key) + shift;
                let note = note_of(wanted).unwrap_or_else(|| {
                    let near = nearest(wanted);
                    problems.push(adopted(
                        format!("the key {} is not one of the chanter's nine notes", key.key),
                        format!("moved to {}", near.spoken()),
                    ));
                    near
                });
                (key, note)
            })
            .collect()
    }
}

/// The nearest of the nine, an octave away if need be.
fn nearest(key: i32) -> Note {
    let folded = [key, key - 12, key + 12, key - 24, key + 24]
        .into_iter()
        .find(|key| (67..=81).contains(key))
        .unwrap_or(key);
    NOTES
        .into_iter()
        .min_by_key(|note| (i32::from(note.midi_key()) - folded).abs())
        .unwrap_or(Note::LowA)
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
    fn written(&self, metre: Metre) -> Option<Music> {
        let (own, unit) = self.metre?;
        let text = self.music.as_deref()?;
        let fits = unit > Fraction::from_integer(0) && unit <= Fraction::from_integer(1);
        if own != metre || !fits || text.len() > LARGEST_FILE {
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
