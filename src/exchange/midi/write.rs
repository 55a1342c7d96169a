//! Writes a piece as a MIDI file.

use super::tempo::{Alternating, division, quarter};
use super::{ALSO, CHANTER, CLICK, COMPOSER, KIND, METRE, MUSIC, ORIGIN, SAID, STAGE};
use crate::chanter::{Note, Tuning};
use crate::drill::plain_body;
use crate::exchange::piece::{BEAT, Piece};
use crate::rhythm::{ClickWeight, Metre};
use crate::score::Score;
use crate::timeline::{EventKind, Layout, SoundPart, Timeline, lay};
use crate::units::{Beats, Bpm, Cents, Fraction, Hertz, SampleRate, write_fraction};
use midly::num::{u4, u7, u15, u24, u28};
use midly::{
    Format, Header, MetaMessage, MidiMessage, PitchBend, Smf, Timing, TrackEvent, TrackEventKind,
};
use std::borrow::Cow;

/// General MIDI "Bag pipe" is program 110 counted from 1.
const PROGRAM: u8 = 109;
/// High and low wood block of General MIDI's percussion.
const HIGH_BLOCK: u8 = 76;
const LOW_BLOCK: u8 = 77;
/// How far pitch bend reaches, semitones: an octave, so that any chanter's pitch is reached.
const BEND_RANGE: u8 = 12;

/// The pitch a file sounds at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MidiPitch {
    /// The written keys, in equal temperament at A = 440 Hz.
    AsWritten,
    /// The chanter's own pitch and tuning: keys moved by octaves, the rest by pitch bend.
    Tuned(Tuning),
}

/// An event at a tick; the number orders events of the same tick.
type Timed<'a> = (u64, u8, TrackEventKind<'a>);

/// Metre, unit, and a beat that is not the usual one.
fn metre_text(metre: Metre, unit: Fraction) -> String {
    let beat = metre.own_beat();
    let beat = beat.map_or_else(String::new, |beat| format!(" {}", write_fraction(&beat)));
    format!("{METRE}{} {}{beat}", metre.printed(), write_fraction(&unit))
}

/// Writes each section with a bar of count-in and so many repetitions, one after another.
pub fn write(piece: &Piece, repetitions: u32, sounding: MidiPitch) -> Vec<u8> {
    let tempo = piece.played_at();
    let metres = piece
        .sections
        .iter()
        .flat_map(|section| section.music.metres());
    let division = metres
        .chain([piece.metre])
        .map(|metre| division(metre, tempo))
        .max()
        .unwrap_or(30_720);
    let mut counted = Counted::new(division);
    let texts: Vec<Vec<String>> = piece
        .sections
        .iter()
        .map(|section| {
            let unit = piece.metre.default_unit();
            let music = [
                format!("{STAGE}{}", section.name),
                metre_text(piece.metre, unit),
                format!("{MUSIC}{}", plain_body(&section.music, unit)),
            ];
            let said = section.remarks().into_iter();
            let said = said.map(|(name, said)| format!("{SAID}{name} {said}"));
            music.into_iter().chain(said).collect()
        })
        .collect();
    let beside = beside(piece);
    let mut conductor: Vec<Timed> =
        vec![(0, 0, meta(MetaMessage::TrackName(piece.title.as_bytes())))];
    for text in &beside {
        conductor.push((0, 2, meta(MetaMessage::Text(text.as_bytes()))));
    }
    let mut chanter: Vec<Timed> = opening(&sounding);
    let mut click: Vec<Timed> = vec![(0, 0, meta(MetaMessage::TrackName(b"click")))];
    let mut origin = Beats::ZERO;
    for (section, texts) in piece.sections.iter().zip(&texts) {
        let layout = Layout {
            lengths: piece.lengths,
            ..Layout::at(tempo, SampleRate::USUAL)
        };
        let timeline = lay(&section.score, &layout);
        counted.section(&section.score, &timeline, origin, repetitions);
        let tick = |beat: Beats| counted.tick(origin + beat);
        let start = tick(Beats::ZERO);
        for (order, text) in texts.iter().enumerate() {
            conductor.push((
                start,
                3 + order as u8,
                meta(MetaMessage::Text(text.as_bytes())),
            ));
        }
        conductor.push((start, 9, meta(MetaMessage::Marker(section.name.as_bytes()))));
        sounds(
            &timeline,
            repetitions,
            sounding,
            tick,
            (&mut chanter, &mut click),
        );
        origin = origin + end_of(&timeline, repetitions);
    }
    counted.signatures(&mut conductor, origin);
    counted.tempi(&mut conductor, tempo, origin);
    let end = counted.tick(origin);
    let tracks = [conductor, chanter, click]
        .into_iter()
        .map(|events| in_order(events, end))
        .collect();
    let header = Header::new(Format::Parallel, Timing::Metrical(u15::new(division)));
    let smf = Smf { header, tracks };
    let mut bytes = Vec::new();
    // writing into memory does not fail
    let _ = smf.write_std(&mut bytes);
    bytes
}

/// What stands at the head of a tune and what is said beside its music, each as a text. The beat stands
/// beside the metre already.
fn beside(piece: &Piece) -> Vec<String> {
    let head = &piece.head;
    let also = head.also.iter().map(|title| (ALSO, title.clone()));
    let said = [
        (KIND, &head.kind),
        (COMPOSER, &head.composer),
        (ORIGIN, &head.origin),
    ];
    let said = said
        .into_iter()
        .filter_map(|(name, said)| Some((name, said.clone()?)));
    let remarks = piece
        .remarks()
        .into_iter()
        .filter(|(name, _)| *name != BEAT);
    let all = also.chain(said).chain(remarks);
    all.map(|(name, said)| format!("{SAID}{name} {said}"))
        .collect()
}

/// The events of chanter and click of a section, at the ticks that `tick` gives its beats.
fn sounds(
    timeline: &Timeline,
    repetitions: u32,
    sounding: MidiPitch,
    tick: impl Fn(Beats) -> u64,
    (chanter, click): (&mut Vec<Timed>, &mut Vec<Timed>),
) {
    for placed in timeline.played(u64::from(repetitions)) {
        match placed.event.kind {
            EventKind::Hush => {}
            EventKind::Click(own) => {
                let (key, vel) = match own.weight {
                    ClickWeight::Bar => (HIGH_BLOCK, 112),
                    ClickWeight::Beat => (LOW_BLOCK, 96),
                    ClickWeight::Part => (LOW_BLOCK, 56),
                };
                let length = Beats::new(1, 16);
                strike(
                    click,
                    CLICK,
                    key,
                    vel,
                    tick(placed.beat),
                    tick(placed.beat + length),
                );
            }
            EventKind::Sound(sounded) => {
                let (key, bend) = pitch(sounded.note, &sounding);
                let at = tick(placed.beat);
                if let Some(bend) = bend {
                    chanter.push((at, 1, channel(CHANTER, MidiMessage::PitchBend { bend })));
                }
                let vel = match sounded.part {
                    SoundPart::Melody { .. } => 96,
                    SoundPart::Gracenote(_) => 88,
                };
                strike(
                    chanter,
                    CHANTER,
                    key,
                    vel,
                    at,
                    tick(placed.beat + sounded.length),
                );
            }
        }
    }
}

fn end_of(timeline: &Timeline, repetitions: u32) -> Beats {
    timeline.cycle_start(u64::from(repetitions))
}

fn meta(message: MetaMessage) -> TrackEventKind {
    TrackEventKind::Meta(message)
}

fn channel(channel: u8, message: MidiMessage) -> TrackEventKind<'static> {
    TrackEventKind::Midi {
        channel: u4::new(channel),
        message,
    }
}

/// A part of a semibreve as the figures of a bar; none where no note value names it.
fn figures(part: Fraction) -> Option<(u32, u32)> {
    let above = u32::try_from(*part.numer())
        .ok()
        .filter(|above| *above < 256)?;
    let below = u32::try_from(*part.denom()).ok()?;
    (above > 0 && below.is_power_of_two()).then_some((above, below))
}

fn time_signature((above, below): (u32, u32), metre: Metre) -> TrackEventKind<'static> {
    // MIDI clocks in a beat: 24 a quarter
    let clocks = (metre.beat_of_semibreve() * Fraction::from_integer(96)).to_integer();
    meta(MetaMessage::TimeSignature(
        above as u8,
        below.trailing_zeros() as u8,
        u8::try_from(clocks).unwrap_or(u8::MAX),
        8,
    ))
}

fn opening(sounding: &MidiPitch) -> Vec<Timed<'static>> {
    let control = |controller: u8, value: u8| {
        channel(
            CHANTER,
            MidiMessage::Controller {
                controller: u7::new(controller),
                value: u7::new(value),
            },
        )
    };
    let mut events = vec![
        (0, 0, meta(MetaMessage::TrackName(b"chanter"))),
        (
            0,
            0,
            channel(
                CHANTER,
                MidiMessage::ProgramChange {
                    program: u7::new(PROGRAM),
                },
            ),
        ),
    ];
    if matches!(sounding, MidiPitch::Tuned(_)) {
        // registered parameter 0: pitch bend sensitivity
        for (controller, value) in [(101, 0), (100, 0), (6, BEND_RANGE), (38, 0)] {
            events.push((0, 0, control(controller, value)));
        }
    }
    events
}

fn strike(events: &mut Vec<Timed>, on: u8, key: u8, vel: u8, from: u64, to: u64) {
    let (key, vel) = (u7::new(key), u7::new(vel));
    let to = to.max(from + 1);
    events.push((from, 2, channel(on, MidiMessage::NoteOn { key, vel })));
    let off = MidiMessage::NoteOff {
        key,
        vel: u7::new(64),
    };
    events.push((to, 0, channel(on, off)));
}

/// The key and the bend a note sounds with.
fn pitch(note: Note, sounding: &MidiPitch) -> (u8, Option<PitchBend>) {
    let written = note.midi_key();
    let MidiPitch::Tuned(tuning) = sounding else {
        return (written, None);
    };
    let whole = Cents::between(Hertz(440.0), tuning.low_a).0;
    let octaves = (whole / 1200.0).round();
    let key = f64::from(written) + 12.0 * octaves;
    let equal = Hertz(440.0).shifted(Cents((key - 69.0) * 100.0));
    let cents = Cents::between(equal, tuning.hertz(note)).0;
    let bend = cents / (100.0 * f64::from(BEND_RANGE));
    (key as u8, Some(PitchBend::from_f64(bend)))
}

/// The metres of a piece and where each begins: a beat lasts as long in all of them and is another
/// note in each.
struct Counted {
    /// Ticks a quarter.
    division: u16,
    /// Where it begins, in beats and in quarters of the file, and its metre.
    spans: Vec<(Beats, Fraction, Metre)>,
    /// Where bars begin as they are counted, and their metre: a pickup belongs to the bar before it,
    /// and the end of a part and the pickup that follows are one bar.
    bars: Vec<(Beats, Metre)>,
}

impl Counted {
    fn new(division: u16) -> Self {
        Self {
            division,
            spans: Vec::new(),
            bars: Vec::new(),
        }
    }

    /// Another metre from there on, where it is another.
    fn from(&mut self, beat: Beats, metre: Metre) {
        if self.spans.last().is_some_and(|last| last.2 == metre) {
            return;
        }
        let quarters = self.quarters(beat);
        self.spans.push((beat, quarters, metre));
    }

    /// Writes a section with its count-in, its repetitions and their breaths.
    fn section(&mut self, score: &Score, timeline: &Timeline, origin: Beats, repetitions: u32) {
        self.from(origin, score.metre);
        let first = score.bars.first().map_or(Beats::ZERO, |bar| bar.start);
        let downbeat = first + score.pickup;
        self.bars_up_to(
            origin,
            origin + timeline.cycle_start(0) + downbeat,
            score.metre,
        );
        for cycle in 0..u64::from(repetitions) {
            let start = origin + timeline.cycle_start(cycle);
            for bar in &score.bars {
                self.from(start + bar.start, bar.metre);
                let at = start + bar.start;
                // a pickup and the second half of a divided bar are no bars of their own
                let open = self.bars.last().map_or(Beats::ZERO, |last| at - last.0);
                let full = bar.metre.bar_of_time();
                let completes = open < full && open + bar.length == full;
                if bar.start >= downbeat && !completes {
                    self.bars.push((at, bar.metre));
                }
            }
            self.from(start + score.length, score.metre);
            let next = origin + timeline.cycle_start(cycle + 1);
            self.bars_up_to(start + score.length, next + downbeat, score.metre);
        }
    }

    /// Bars that are counted without music, so that one begins at `until`.
    fn bars_up_to(&mut self, from: Beats, until: Beats, metre: Metre) {
        let full = metre.bar_of_time();
        let count = ((until - from).0 / full.0).floor().to_integer();
        let begin = until - full * Fraction::from_integer(count);
        let bars = (0..count).map(|bar| begin + full * Fraction::from_integer(bar));
        self.bars.extend(bars.map(|beat| (beat, metre)));
    }

    /// A time signature where a bar is of another length than the one before, so that who counts
    /// them by these alone has each bar line where it is: a bar that a repetition cuts short has one
    /// of its own.
    fn signatures(&self, conductor: &mut Vec<Timed>, end: Beats) {
        let mut now = None;
        for (index, (from, metre)) in self.bars.iter().enumerate() {
            if metre.is_free() {
                now = None;
                continue;
            }
            let to = self.bars.get(index + 1).map_or(end, |next| next.0);
            let lasts = (self.quarters(to) - self.quarters(*from)) / Fraction::from_integer(4);
            let full = metre.semibreves_of(metre.bar());
            let last = index + 1 == self.bars.len();
            let own = if lasts == full || last {
                Some(metre.figures())
            } else {
                figures(lasts)
            };
            let Some(own) = own else { continue };
            if now != Some(own) {
                now = Some(own);
                let signature = time_signature(own, *metre);
                conductor.push((self.tick(*from), 1, signature));
            }
        }
    }

    fn quarters(&self, beat: Beats) -> Fraction {
        let index = self.spans.partition_point(|span| span.0 <= beat);
        let Some((from, quarters, metre)) = self.spans.get(index.saturating_sub(1)) else {
            return Fraction::from_integer(0);
        };
        let beats = Beats((beat - *from).0 / metre.pace());
        quarters + metre.semibreves_of(beats) * Fraction::from_integer(4)
    }

    fn tick(&self, beat: Beats) -> u64 {
        let ticks = self.quarters(beat) * Fraction::from_integer(i128::from(self.division));
        let nearest = (ticks + Fraction::new(1, 2)).floor().to_integer();
        u64::try_from(nearest).unwrap_or(0)
    }

    /// A set-tempo event at each bar where the value changes.
    fn tempi(&self, conductor: &mut Vec<Timed>, tempo: Bpm, end: Beats) {
        let mut now = None;
        for (index, (from, _, metre)) in self.spans.iter().enumerate() {
            let until = self.spans.get(index + 1).map_or(end, |next| next.0);
            let begins = self.tick(*from);
            let mut alternating = Alternating::new(quarter(*metre, tempo));
            let (mut at, mut tick) = (*from, begins);
            while at < until || now.is_none() {
                at = at + metre.bar_of_time();
                let to = self.tick(at.min(until.max(*from + metre.bar_of_time())));
                let quarters = Fraction::new(i128::from(to - tick), i128::from(self.division));
                let value = alternating.next(quarters);
                if now != Some(value) {
                    now = Some(value);
                    conductor.push((tick, 2, meta(MetaMessage::Tempo(u24::new(value)))));
                }
                tick = to;
            }
        }
    }
}

fn in_order(mut events: Vec<Timed>, end: u64) -> Vec<TrackEvent> {
    events.sort_by_key(|(tick, order, _)| (*tick, *order));
    let mut last = 0;
    let mut track: Vec<TrackEvent> = Vec::with_capacity(events.len() + 1);
    for (tick, _, kind) in events {
        track.push(TrackEvent {
            delta: u28::new(u32::try_from(tick - last).unwrap_or(0)),
            kind,
        });
        last = tick;
    }
    track.push(TrackEvent {
        delta: u28::new(u32::try_from(end.saturating_sub(last)).unwrap_or(0)),
        kind: meta(MetaMessage::EndOfTrack),
    });
    track
}

/// Text of a meta event, whatever its encoding.
pub(super) fn text_of(bytes: &[u8]) -> Cow<'_, str> {
    String::from_utf8_lossy(bytes)
}
