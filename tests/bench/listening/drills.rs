//! A simulated player plays a drill with exact faults, and the judging must name these faults and
//! nothing else.
//!
//! Clean repetitions stay well within the thresholds and faults lie well beyond them. What lies
//! between is a matter of taste and not of hearing.

use super::takes::{Kind, Sounding, Take, between, normal};
use fastrand::Rng;
use gracerung::chanter::{NOTES, Note, crossing, gracenote_sounds};
use gracerung::drill::{BUILT_IN, read};
use gracerung::listening::{ExpectedStage, Repetition};
use gracerung::practice::{FaultKind, Mark, NoteKind, Thresholds, Verdict};
use gracerung::score::resolve_music;
use gracerung::timeline::{Layout, lay};
use gracerung::units::{Bpm, Fraction, Milliseconds, SampleRate};
use std::collections::BTreeMap;

/// The least length of a case in seconds.
const LASTS: f64 = 24.0;

/// A fault that was put into a repetition.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Planted {
    /// The number of the repetition, from 0.
    pub repetition: usize,
    pub kind: FaultKind,
    /// The index of the note that the fault concerns; for a crossing noise, of the note before.
    pub at: usize,
}

/// A drill as it was played.
pub(crate) struct Played {
    pub drill: &'static str,
    pub stage: usize,
    pub piece: ExpectedStage,
    pub take: Take,
    pub planted: Vec<Planted>,
    /// Where each repetition begins by the player's clock, in seconds of the recording.
    pub starts: Vec<f64>,
}

/// A note as the player intends to play it.
#[derive(Clone, Copy)]
struct Meant {
    note: Note,
    length: f64,
}

/// A melody note with its gracenotes: those before the written beat and those on it.
struct Figure {
    at: usize,
    before: Vec<usize>,
    on: Vec<usize>,
    lands: f64,
}

/// Chooses a stage of a built-in drill, at a tempo of its ladder at which no movement is crowded.
fn choose(rng: &mut Rng) -> (&'static str, usize, ExpectedStage) {
    loop {
        let built_in = &BUILT_IN[rng.usize(..BUILT_IN.len())];
        let Some(drill) = read(built_in.text.as_bytes()).0 else {
            continue;
        };
        let stage = rng.usize(..drill.stages.len());
        let breath = drill.metre.bar() * Fraction::from_integer(i128::from(drill.breath));
        let score = resolve_music(&drill.stages[stage].music, breath, &drill.schools);
        let (low, high) = (drill.ladder.from().to_f64(), drill.ladder.to().to_f64());
        let Ok(tempo) = Bpm::whole(between(rng, low, high).round() as i128) else {
            continue;
        };
        let layout = Layout {
            lengths: drill.lengths,
            ..Layout::at(tempo, SampleRate::USUAL)
        };
        let timeline = lay(&score, &layout);
        let piece = ExpectedStage::of(&score, &timeline);
        let short = piece.notes.iter().any(|note| {
            note.length_s < 0.022 || (note.part == NoteKind::Tone && note.length_s < 0.034)
        });
        if timeline.crowded.is_empty() && !short && piece.cycle.0 < LASTS {
            return (built_in.name, stage, piece);
        }
    }
}

fn figures(piece: &ExpectedStage) -> Vec<Figure> {
    let mut all = Vec::new();
    let mut waiting: Vec<usize> = Vec::new();
    for (at, note) in piece.notes.iter().enumerate() {
        if note.part != NoteKind::Melody {
            waiting.push(at);
            continue;
        }
        let on = waiting.split_off(waiting.len() - note.begun_by.min(waiting.len()));
        let lands = on
            .first()
            .map_or(note.start_s, |at| piece.notes[*at].start_s);
        all.push(Figure {
            at,
            before: std::mem::take(&mut waiting),
            on,
            lands,
        });
    }
    all
}

/// The kinds of faults that are used. A likelier kind is listed twice.
pub(crate) const KINDS: [usize; 7] = [0, 1, 2, 3, 4, 5, 5];
/// Only the fault of a gracenote that is left out.
pub(crate) const LEFT_OUT: [usize; 1] = [2];

/// Plays a drill. `faulty` is the share of repetitions with a fault of one of these `kinds`.
pub(crate) fn play(rng: &mut Rng, faulty: f64, pipes: bool, kinds: &[usize]) -> Played {
    let (drill, stage, piece) = choose(rng);
    let limits = if pipes {
        Thresholds::for_pipes()
    } else {
        Thresholds::default()
    };
    let limit = limits.offset_limit(Milliseconds(piece.beat.0 * 1e3)).0 * 1e-3;
    let figures = figures(&piece);
    let repetitions = (LASTS / piece.cycle.0).ceil().max(2.0) as usize;
    let lead = between(rng, -0.01, 0.06);
    let wander = between(rng, 0.05, 0.16) * limit;
    let clock = 1.0 + between(rng, -2e-4, 2e-4);
    let holds = rng.bool();
    let first = between(rng, 0.4, 2.5);
    let mut planted = Vec::new();
    let mut sounding: Vec<Sounding> = Vec::new();
    let mut starts = Vec::new();
    for repetition in 0..repetitions {
        let start = first + repetition as f64 * piece.cycle.0 * clock;
        starts.push(start);
        let mut chosen: Vec<usize> = Vec::new();
        if rng.f64() < faulty {
            chosen.push(rng.usize(..figures.len()));
            let other = rng.usize(..figures.len());
            if rng.f64() < 0.35 && other.abs_diff(chosen[0]) > 1 {
                chosen.push(other);
            }
        }
        for (number, figure) in figures.iter().enumerate() {
            let lands = start - lead
                + figure.lands * clock
                + (normal(rng) * wander).clamp(-0.45 * limit, 0.45 * limit);
            let before = sounding.last().copied();
            let next_lands = figures
                .get(number + 1)
                .map_or(piece.length.0, |next| next.lands);
            let room = next_lands - figure.lands;
            let mut scene = Scene {
                piece: &piece,
                figure,
                before: before.map(|note| note.note),
                lands,
                room,
                earliest: before.map_or(0.05, |note| note.start_s + 0.07),
                early: meant(rng, &piece, &figure.before),
                late: meant(rng, &piece, &figure.on),
                crossing: None,
                note: piece.notes[figure.at].note,
                next: figures.get(number + 1).map(|next| first_of(&piece, next)),
                limit,
                pipes,
            };
            if chosen.contains(&number) {
                // the first kind that is possible here is taken
                let mut kinds = kinds.to_vec();
                rng.shuffle(&mut kinds);
                if let Some((kind, at)) = kinds.iter().find_map(|kind| scene.plant(rng, *kind)) {
                    planted.push(Planted {
                        repetition,
                        kind,
                        at,
                    });
                }
            }
            scene.sound(&mut sounding);
        }
        // the last note is held through the breath, or ends with the repetition
        if let Some(last) = sounding.last_mut() {
            let ends = start + piece.length.0;
            let next = start + piece.cycle.0 * clock;
            last.end_s = if repetition + 1 == repetitions || (!holds && next - ends > 0.3) {
                ends.max(last.start_s + 0.2)
            } else {
                f64::INFINITY
            };
        }
    }
    Played {
        drill,
        stage,
        take: Take {
            bpm: 60.0 / piece.beat.0,
            first_click_s: first,
            notes: sounding,
            movements: Vec::new(),
        },
        piece,
        planted,
        starts,
    }
}

fn first_of(piece: &ExpectedStage, figure: &Figure) -> Note {
    let at = figure.before.first().or(figure.on.first());
    piece.notes[at.copied().unwrap_or(figure.at)].note
}

/// Gracenotes as a good player plays them: near their written length, and never too long.
fn meant(rng: &mut Rng, piece: &ExpectedStage, which: &[usize]) -> Vec<Option<Meant>> {
    which
        .iter()
        .map(|at| {
            let expected = &piece.notes[*at];
            let mut length = expected.length_s * between(rng, 0.8, 1.25);
            if expected.tap {
                length = length.clamp(0.029, 0.050);
            } else if expected.part == NoteKind::Gracenote {
                length = length.clamp(0.021, 0.050);
            }
            Some(Meant {
                note: expected.note,
                length,
            })
        })
        .collect()
}

/// A figure that is about to be played, into which a fault can be put.
struct Scene<'a> {
    piece: &'a ExpectedStage,
    figure: &'a Figure,
    before: Option<Note>,
    lands: f64,
    room: f64,
    earliest: f64,
    early: Vec<Option<Meant>>,
    late: Vec<Option<Meant>>,
    crossing: Option<Meant>,
    note: Note,
    next: Option<Note>,
    limit: f64,
    pipes: bool,
}

impl Scene<'_> {
    fn graces(&self) -> Vec<usize> {
        self.figure
            .before
            .iter()
            .chain(&self.figure.on)
            .copied()
            .collect()
    }

    fn slot(&mut self, which: usize) -> &mut Option<Meant> {
        let count = self.early.len();
        if which < count {
            &mut self.early[which]
        } else {
            &mut self.late[which - count]
        }
    }

    /// The notes in order, including the note before and the melody note.
    fn row(&self) -> Vec<Note> {
        let mut row: Vec<Note> = self.before.into_iter().collect();
        row.extend(self.crossing.iter().map(|meant| meant.note));
        row.extend(
            self.early
                .iter()
                .chain(&self.late)
                .flatten()
                .map(|meant| meant.note),
        );
        row.push(self.note);
        row
    }

    fn flows(&self) -> bool {
        self.row().windows(2).all(|two| two[0] != two[1])
    }

    /// True where there is enough time for all sounds of the figure.
    fn fits(&self) -> bool {
        let sum =
            |all: &[Option<Meant>]| all.iter().flatten().map(|meant| meant.length).sum::<f64>();
        let crossing = self.crossing.map_or(0.0, |meant| meant.length);
        self.lands - sum(&self.early) - crossing > self.earliest
            && sum(&self.late) < self.room - 0.12 - self.limit
    }

    fn plant(&mut self, rng: &mut Rng, kind: usize) -> Option<(FaultKind, usize)> {
        let kept = (
            self.early.clone(),
            self.late.clone(),
            self.crossing,
            self.note,
            self.lands,
        );
        let planted = self.try_to_plant(rng, kind);
        // without the gracenote between them, two equal notes sound as one
        let one = planted.is_some_and(|(kind, _)| kind == FaultKind::Missing);
        if planted.is_some() && (one || self.flows()) && self.fits() {
            return planted;
        }
        (self.early, self.late, self.crossing, self.note, self.lands) = kept;
        None
    }

    fn try_to_plant(&mut self, rng: &mut Rng, kind: usize) -> Option<(FaultKind, usize)> {
        let graces = self.graces();
        let part = |which: usize| self.piece.notes[graces[which]].part;
        let of = |wanted: NoteKind| -> Vec<usize> {
            (0..graces.len())
                .filter(|which| part(*which) == wanted)
                .collect()
        };
        let pick =
            |rng: &mut Rng, all: &[usize]| (!all.is_empty()).then(|| all[rng.usize(..all.len())]);
        match kind {
            0 => {
                let which = pick(rng, &of(NoteKind::Gracenote))?;
                // a tap is not a gracenote that can last too long
                if self.piece.notes[graces[which]].tap {
                    return None;
                }
                let length = between(rng, 0.075, 0.15);
                self.slot(which).as_mut()?.length = length;
                Some((FaultKind::TooLong, graces[which]))
            }
            1 => {
                let which = pick(rng, &of(NoteKind::Tone))?;
                if rng.bool() {
                    *self.slot(which) = None;
                } else {
                    self.slot(which).as_mut()?.length = between(rng, 0.005, 0.015);
                }
                Some((FaultKind::Swallowed, graces[which]))
            }
            2 => {
                let which = pick(rng, &of(NoteKind::Gracenote))?;
                *self.slot(which) = None;
                Some((FaultKind::Missing, graces[which]))
            }
            3 => {
                let grace = pick(rng, &of(NoteKind::Gracenote));
                if let Some(which) = grace.filter(|_| rng.f64() < 0.7) {
                    let held = self.piece.notes.get(graces[which] + 1)?.note;
                    let written = self.piece.notes[graces[which]].note;
                    let other: Vec<Note> = NOTES
                        .into_iter()
                        .filter(|note| *note != written && gracenote_sounds(*note, held))
                        .collect();
                    let note = other.get(rng.usize(..other.len().max(1)))?;
                    self.slot(which).as_mut()?.note = *note;
                    return Some((FaultKind::Wrong, graces[which]));
                }
                let step = if rng.bool() { 1 } else { -1 };
                let other = self.note.index() as i32 + step;
                self.note = *NOTES.get(usize::try_from(other).ok()?)?;
                if Some(self.note) == self.next {
                    return None;
                }
                Some((FaultKind::Wrong, self.figure.at))
            }
            4 => {
                let before = self.before?;
                let to = self.row()[1];
                let way = crossing(before, to);
                let note = way
                    .hand_first_note
                    .or(way.falling_first_note)
                    .unwrap_or(NOTES[rng.usize(..9)]);
                let length = if self.pipes {
                    between(rng, 0.009, 0.024)
                } else {
                    between(rng, 0.015, 0.028)
                };
                self.crossing = Some(Meant { note, length });
                let first = graces.first().copied().unwrap_or(self.figure.at);
                Some((FaultKind::Crossing, first.checked_sub(1)?))
            }
            _ => {
                let by = between(rng, 1.5, 2.6) * self.limit;
                let late = rng.bool();
                self.lands += if late { by } else { -by };
                if self.room < by + 0.15 {
                    return None;
                }
                let kind = match (self.piece.notes[self.figure.at].on_click, late) {
                    (true, true) => FaultKind::Late,
                    (true, false) => FaultKind::Early,
                    (false, _) => FaultKind::Uneven,
                };
                // the judging names the first gracenote of a movement of several
                let begins = (self.figure.on.len() > 1)
                    .then(|| self.figure.on.first().copied())
                    .flatten();
                Some((kind, begins.unwrap_or(self.figure.at)))
            }
        }
    }

    fn sound(&self, sounding: &mut Vec<Sounding>) {
        let sum: f64 = self.early.iter().flatten().map(|meant| meant.length).sum();
        let crossing = self.crossing.map_or(0.0, |meant| meant.length);
        let mut start = self.lands - sum;
        let mut row: Vec<(Note, f64, Kind)> = Vec::new();
        if let Some(meant) = self.crossing {
            // a blip lies on both sides of the moment at which the note would change
            start -= 0.5 * crossing;
            row.push((meant.note, meant.length, Kind::Crossing));
        }
        let graces = self.early.iter().chain(&self.late).flatten();
        row.extend(graces.map(|meant| (meant.note, meant.length, Kind::Grace)));
        row.push((self.note, f64::INFINITY, Kind::Melody));
        for (note, length, kind) in row {
            if let Some(last) = sounding.last_mut()
                && last.end_s > start
            {
                last.end_s = start;
            }
            // where the gracenote between equal notes is missing, the first note goes on
            match sounding.last() {
                Some(last) if last.note == note && last.end_s >= start => {
                    if let Some(last) = sounding.last_mut() {
                        last.end_s = f64::INFINITY;
                    }
                }
                _ => sounding.push(Sounding {
                    note,
                    start_s: start,
                    end_s: f64::INFINITY,
                    kind,
                }),
            }
            start += length;
        }
    }
}

/// Counts of faults and of clean repetitions.
#[derive(Debug, Clone, Default)]
pub(crate) struct Judged {
    /// For each kind of fault, how often it was put in, found, and falsely reported.
    pub kinds: BTreeMap<&'static str, [usize; 3]>,
    pub clean: (usize, usize),
    /// The number of repetitions played, and the number not found.
    pub lost: (usize, usize),
    /// The number of repetitions that were found and not judged because of too many other sounds.
    /// Their faults count as not found, and a clean one counts as not called clean.
    pub refused: usize,
}

/// The notes of a repetition as they were played and as they were heard, in words.
fn row(played: &Played, start: f64, found: &[(Repetition, Verdict)]) -> String {
    let ends = start + played.piece.length.0;
    let notes = played.take.notes.iter();
    let sounded: Vec<String> = notes
        .filter(|note| note.start_s > start - 0.5 && note.start_s < ends)
        .map(|note| format!("{} {:.3}", note.note, note.start_s - start))
        .collect();
    let near = |begins: f64| (begins - start).abs() < 0.5 * played.piece.cycle.0;
    let heard: Vec<String> = found
        .iter()
        .filter(|(repetition, _)| near(repetition.start.0))
        .flat_map(|(repetition, _)| {
            let begins = repetition.start.0;
            repetition.measured.notes.iter().map(move |note| {
                let heard = note.heard.map_or("-", gracerung::chanter::Note::name);
                let length = note.length_ms.unwrap_or_default().0;
                let offset = note.offset_ms.unwrap_or_default().0 + 1e3 * (begins - start);
                format!("{}:{heard} {offset:+.0}/{length:.0}", note.written)
            })
        })
        .collect();
    format!(
        "    played {}; heard {}",
        sounded.join(", "),
        heard.join(", ")
    )
}

fn word(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::Missing => "missing",
        FaultKind::Wrong => "wrong",
        FaultKind::TooLong => "too long",
        FaultKind::Swallowed | FaultKind::Crushed => "swallowed",
        FaultKind::Dragged => "dragged",
        FaultKind::Unlike => "not alike",
        FaultKind::Crossing => "crossing",
        FaultKind::Late | FaultKind::Early => "late or early",
        FaultKind::Uneven | FaultKind::Pointing => "uneven",
        FaultKind::Rushing | FaultKind::Dragging => "tempo",
    }
}

impl Judged {
    /// Adds the result of one recording. Returns the false and the missing reports in words.
    pub(crate) fn add(&mut self, played: &Played, found: &[(Repetition, Verdict)]) -> Vec<String> {
        let mut words = Vec::new();
        for (number, start) in played.starts.iter().enumerate() {
            let planted: Vec<&Planted> = played
                .planted
                .iter()
                .filter(|planted| planted.repetition == number)
                .collect();
            let verdict = found
                .iter()
                .find(|(repetition, _)| {
                    (repetition.start.0 - start).abs() < 0.5 * played.piece.cycle.0
                })
                .map(|(_, verdict)| verdict);
            self.lost.0 += 1;
            self.lost.1 += usize::from(verdict.is_none());
            self.refused += usize::from(verdict.is_some_and(|verdict| verdict.mark.is_none()));
            if planted.is_empty() {
                self.clean.1 += 1;
                self.clean.0 +=
                    usize::from(verdict.is_some_and(|verdict| verdict.mark == Some(Mark::Clean)));
            }
            let mut told: Vec<bool> =
                vec![false; verdict.map_or(0, |verdict| verdict.faults.len())];
            for planted in &planted {
                let row = self.kinds.entry(word(planted.kind)).or_default();
                row[0] += 1;
                let place = verdict.and_then(|verdict| {
                    verdict
                        .faults
                        .iter()
                        .enumerate()
                        .position(|(place, fault)| {
                            !told[place]
                                && word(fault.kind) == word(planted.kind)
                                && fault.id == u32::try_from(planted.at).ok()
                        })
                });
                if let Some(place) = place {
                    told[place] = true;
                    row[1] += 1;
                } else {
                    words.push(format!(
                        "repetition {} from {start:.2} s: {:?} at {} ({}) not told",
                        number + 1,
                        planted.kind,
                        planted.at,
                        played.piece.notes[planted.at].note
                    ));
                }
            }
            for (told, fault) in told
                .iter()
                .zip(verdict.iter().flat_map(|verdict| &verdict.faults))
            {
                if !told {
                    self.kinds.entry(word(fault.kind)).or_default()[2] += 1;
                    words.push(row(played, *start, found));
                    words.push(format!(
                        "repetition {} from {start:.2} s: told in vain, {:?} at {:?}: {}",
                        number + 1,
                        fault.kind,
                        fault.id,
                        fault.words
                    ));
                }
            }
        }
        words
    }

    /// Adds the counts of another group.
    pub(crate) fn join(&mut self, other: &Self) {
        for (kind, counts) in &other.kinds {
            let row = self.kinds.entry(kind).or_default();
            for (sum, count) in row.iter_mut().zip(counts) {
                *sum += count;
            }
        }
        self.clean.0 += other.clean.0;
        self.clean.1 += other.clean.1;
        self.lost.0 += other.lost.0;
        self.lost.1 += other.lost.1;
        self.refused += other.refused;
    }

    /// The precision and the recall over all kinds of faults.
    pub(crate) fn rates(&self) -> (f64, f64) {
        let sum = |which: usize| self.kinds.values().map(|row| row[which]).sum::<usize>() as f64;
        let (planted, found, vain) = (sum(0), sum(1), sum(2));
        (found / (found + vain).max(1.0), found / planted.max(1.0))
    }
}
