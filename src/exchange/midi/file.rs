//! The contents of a MIDI file, in ticks: keys of one line, tempi, time signatures, and our own
//! texts.

use super::write::text_of;
use super::{ALSO, CLICK, COMPOSER, KIND, METRE, MUSIC, ORIGIN, SAID, STAGE};
use crate::drill::{LARGEST_FILE, MOST_BARS, Music, Place, Problem, Severity, read_music};
use crate::exchange::piece::{REMARKS, REMARKS_HERE, adopted, counted_by, foreign};
use crate::rhythm::Metre;
use crate::units::{Fraction, parse_fraction};
use midly::{MetaMessage, MidiMessage, Smf, TrackEventKind};
use std::collections::BTreeMap;

/// The most notes that are read.
const MOST_NOTES: usize = 100_000;

/// The most that is said beside the music.
const MOST_SAID: usize = 50;

/// Names of what stands at the head of a tune.
pub(super) const HEAD: [&str; 4] = [KIND, COMPOSER, ORIGIN, ALSO];

/// What a text of ours says beside the music, where its name is one of `names`.
fn said(text: &str, names: &[&'static str]) -> Option<(&'static str, String)> {
    let rest = text.strip_prefix(SAID)?;
    names.iter().find_map(|name| {
        let said = rest.strip_prefix(name)?.strip_prefix(' ')?;
        Some((*name, said.to_owned()))
    })
}

/// A note of the line: ticks and key.
#[derive(Debug, Clone, Copy)]
pub(super) struct Key {
    pub(super) from: u64,
    /// The tick at which it ends; none where the track has no note-off for it, nor a later note-on of
    /// the same key and channel.
    pub(super) to: Option<u64>,
    pub(super) key: u8,
}

/// A stage as its texts have it.
#[derive(Debug, Default)]
pub(super) struct Told {
    pub(super) tick: u64,
    pub(super) name: String,
    pub(super) metre: Option<(Metre, Fraction)>,
    pub(super) music: Option<String>,
    /// What it says beside its music, each under its name.
    pub(super) said: Vec<(&'static str, String)>,
}

#[derive(Debug, Default)]
pub(super) struct File {
    pub(super) title: String,
    /// Ticks a quarter.
    pub(super) division: u16,
    pub(super) keys: Vec<Key>,
    /// The last tick of any track.
    pub(super) end: u64,
    /// Tick and microseconds a quarter, in order.
    pub(super) tempi: Vec<(u64, u32)>,
    metres: Vec<(u64, u32, u32)>,
    pub(super) told: Vec<Told>,
    /// What the drill says beside its music, and the head of its tune, each under its name.
    pub(super) said: Vec<(&'static str, String)>,
}

impl File {
    pub(super) fn of(smf: &Smf, division: u16, problems: &mut Vec<Problem>) -> Self {
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
                } else if let Some(said) = said(&text, &HEAD).or_else(|| said(&text, &REMARKS)) {
                    if self.said.len() < MOST_SAID {
                        self.said.push(said);
                    }
                } else if let Some(told) = self.told.last_mut() {
                    if let Some(rest) = text.strip_prefix(METRE) {
                        told.metre = metre_of(rest);
                    } else if let Some(music) = text.strip_prefix(MUSIC) {
                        told.music = Some(music.to_owned());
                    } else if told.said.len() < MOST_SAID {
                        told.said.extend(said(&text, &REMARKS_HERE));
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
        if metres.len() > MOST_BARS {
            problems.push(adopted(
                format!("{} changes of metre", metres.len()),
                format!("only the first {MOST_BARS} are read"),
            ));
            metres.truncate(MOST_BARS);
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
    pub(super) fn written(&self, first: Option<Metre>) -> Option<Music> {
        let (metre, unit) = self.metre?;
        let text = self.music.as_deref()?;
        let fits = unit > Fraction::from_integer(0) && unit <= Fraction::from_integer(1);
        if Some(metre) != first || !fits || text.len() > LARGEST_FILE {
            return None;
        }
        let (music, problems) = read_music(text, metre, unit, "");
        // a gracenote that is played early is told of and read
        let reads = problems
            .into_iter()
            .all(|own| Problem::new(Place::WHOLE_FILE, own.kind).severity() != Severity::Error);
        (reads && !music.bars.is_empty()).then_some(music)
    }
}
