//! Where a tune fails, bar by bar: what the ear found in each bar, and what hands said was not clean,
//! in the tune itself and in every drill made of its bars.
//!
//! Knows music and entries; knows no journal file and no screen.

use crate::chanter::Note;
use crate::practice::{
    By, Entry, Kind, Mark, Measurement, RecordId, StagePrint, Thresholds, judge,
};
use crate::score::{Score, ScoreGroup, ScoreNote};
use crate::wording;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// How many of the last repetitions of a bar count (chosen, so that a fault that was mended long
/// ago does not).
const RECENT: u32 = 20;
/// A bar is to be worked on when it failed at least `OFTEN` times and in at least `SHARE` of its
/// repetitions (chosen).
const OFTEN: f64 = 2.0;
const SHARE: f64 = 0.2;
/// The most bars that are named (chosen: nobody works on everything at once).
const MOST: usize = 3;

/// How a bar went.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BarLine {
    /// Its number; a pickup is 0.
    pub bar: u16,
    /// How many repetitions were marked or judged, counting the last 20 at most.
    pub of: u32,
    /// In how many of them it failed. A repetition marked not clean by hand says only that some bar
    /// failed, so each of its bars gets an equal share.
    pub failed: f64,
}

impl BarLine {
    /// The share that failed, 0 to 1.
    pub fn share(&self) -> f64 {
        if self.of == 0 {
            0.0
        } else {
            self.failed / f64::from(self.of)
        }
    }
}

/// What is known of one repetition.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Repetition {
    stage: StagePrint,
    /// Bars of the stage with a fault.
    faults: Vec<u16>,
    /// True where it was not clean and nothing says in which bar.
    somewhere: bool,
}

/// What one entry says of a repetition. Its measures are judged once, because reading them is most
/// of the work.
#[derive(Debug, Clone)]
struct Saying {
    id: RecordId,
    stage: StagePrint,
    repetition: u64,
    /// The mark of a hand.
    by_hand: Option<Mark>,
    /// The bars in which the ear found a fault; nothing where it did not judge.
    faults: Option<Vec<u16>>,
}

impl Saying {
    fn of(entry: &Entry) -> Option<Self> {
        let record = &entry.record;
        let (repetition, mark) = match record.kind {
            Kind::Mark {
                repetition, mark, ..
            } => (repetition, Some(mark)),
            Kind::Measured { repetition } => (repetition, None),
            _ => return None,
        };
        Some(Self {
            id: record.id,
            stage: record.cell?.stage,
            repetition,
            by_hand: mark.filter(|_| record.by.is_some_and(By::is_hand)),
            faults: faults(entry),
        })
    }
}

/// The mark that an entry takes back.
fn undone(entry: &Entry) -> Option<RecordId> {
    match entry.record.kind {
        Kind::Undo { mark } => Some(mark),
        _ => None,
    }
}

/// What was said lately of each stage's repetitions: each entry is read once, and only the last of
/// each stage are kept.
#[derive(Debug, Clone, Default)]
pub struct Lately {
    stages: BTreeMap<StagePrint, VecDeque<Saying>>,
}

impl Lately {
    /// How many of a stage's last entries are kept: those of twenty repetitions, each with what the
    /// ear and the hand said and what was corrected.
    pub const MOST: u32 = 60;

    /// Takes entries in, in fold order. Gives the stages that they say something of.
    pub fn take_in(&mut self, entries: &[Entry]) -> BTreeSet<StagePrint> {
        let mut told = BTreeSet::new();
        for entry in entries {
            if let Some(saying) = Saying::of(entry) {
                told.insert(saying.stage);
                let kept = self.stages.entry(saying.stage).or_default();
                if kept.len() >= Self::MOST as usize {
                    kept.pop_front();
                }
                kept.push_back(saying);
            } else if let Some(mark) = undone(entry) {
                for (stage, kept) in &mut self.stages {
                    if let Some(at) = kept.iter().rposition(|saying| saying.id == mark) {
                        kept.remove(at);
                        told.insert(*stage);
                    }
                }
            }
        }
        told
    }

    /// One line for each bar of a stage, in order.
    pub fn bar_lines(&self, print: StagePrint, score: &Score) -> Vec<BarLine> {
        let kept = self.stages.get(&print).into_iter().flatten();
        lines(score, &[(print, score)], kept)
    }
}

/// One line for each bar of a tune, in order. `stages` are the tune's own stage and any other music;
/// what is no part of the tune is left out. `entries` are in fold order.
pub fn bar_lines(tune: &Score, stages: &[(StagePrint, &Score)], entries: &[Entry]) -> Vec<BarLine> {
    let undone: BTreeSet<RecordId> = entries.iter().filter_map(undone).collect();
    let stands = |entry: &&Entry| !undone.contains(&entry.record.id);
    let said: Vec<Saying> = entries
        .iter()
        .filter(stands)
        .filter_map(Saying::of)
        .collect();
    lines(tune, stages, &said)
}

fn lines<'a>(
    tune: &Score,
    stages: &[(StagePrint, &Score)],
    said: impl IntoIterator<Item = &'a Saying>,
) -> Vec<BarLine> {
    let places: BTreeMap<StagePrint, Vec<Place>> = stages
        .iter()
        .map(|(print, score)| (*print, places(tune, score)))
        .filter(|(_, places)| !places.is_empty())
        .collect();
    let mut lines: BTreeMap<u16, BarLine> = tune
        .bars
        .iter()
        .map(|bar| {
            let line = BarLine {
                bar: bar.number,
                of: 0,
                failed: 0.0,
            };
            (bar.number, line)
        })
        .collect();
    for repetition in repetitions(said).iter().rev() {
        let Some(places) = places.get(&repetition.stage) else {
            continue;
        };
        let whole = places.iter().filter(|place| place.whole).count();
        let share = 1.0 / whole.max(1) as f64;
        for place in places {
            let here = repetition.faults.contains(&place.own);
            let counts = |line: &&mut BarLine| line.of < RECENT && (place.whole || here);
            let Some(line) = lines.get_mut(&place.bar).filter(counts) else {
                continue;
            };
            line.of += 1;
            if here {
                line.failed += 1.0;
            } else if repetition.somewhere {
                line.failed += share;
            }
        }
    }
    lines.into_values().collect()
}

/// True where the notes of a stage stand in a tune one after the other.
pub fn is_part_of(tune: &Score, stage: &Score) -> bool {
    !places(tune, stage).is_empty()
}

/// The bars to work on, in the order of the tune: those that fail most, three at most.
pub fn work_on(lines: &[BarLine]) -> Vec<u16> {
    let fails = |line: &&BarLine| line.failed >= OFTEN && line.share() >= SHARE;
    let mut worst: Vec<&BarLine> = lines.iter().filter(fails).collect();
    worst.sort_by(|one, other| other.share().total_cmp(&one.share()));
    worst.truncate(MOST);
    let mut bars: Vec<u16> = worst.iter().map(|line| line.bar).collect();
    bars.sort_unstable();
    bars
}

/// `work on bars 5 and 13`; nothing where no bar is to be worked on.
pub fn work_on_words(bars: &[u16]) -> Option<String> {
    let numbers: Vec<String> = bars
        .iter()
        .filter(|bar| **bar > 0)
        .map(u16::to_string)
        .collect();
    let bars_named = match numbers.len() {
        0 => None,
        1 => Some(format!("bar {}", numbers[0])),
        _ => Some(format!("bars {}", wording::list(&numbers))),
    };
    let pickup = bars.contains(&0).then(|| "the pickup".to_owned());
    let named: Vec<String> = pickup.into_iter().chain(bars_named).collect();
    (!named.is_empty()).then(|| format!("work on {}", wording::list(&named)))
}

/// A bar of a stage that is a bar of the tune.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Place {
    /// Its number in the stage.
    own: u16,
    /// Its number in the tune.
    bar: u16,
    /// True where the whole bar is played in the stage; of a pickup or a landing only a note or two
    /// are.
    whole: bool,
}

/// Which bars of a stage are which of a tune: nothing where the stage's notes do not stand in the
/// tune one after the other. Bars that are alike in all that is practised of them are each told.
fn places(tune: &Score, stage: &Score) -> Vec<Place> {
    let (tune, stage) = (sounded(tune), sounded(stage));
    let alike = |window: &[&ScoreNote]| {
        let mut both = window.iter().zip(&stage).enumerate();
        both.all(|(at, (one, other))| {
            // the gracenotes of the first note depend on what is played before it, so they may
            // differ
            let grouped = at == 0 || gracenotes(&one.group).eq(gracenotes(&other.group));
            one.note == other.note && grouped
        })
    };
    let in_tune = notes_of_bars(&tune);
    let mut found: BTreeMap<(u16, u16), Place> = BTreeMap::new();
    let windows = tune.windows(stage.len().max(1));
    for window in windows.filter(|window| alike(window)) {
        let in_window = notes_of_bars(window);
        let mut begun = None;
        for (there, own) in window.iter().zip(&stage) {
            // a bar that closes with the pickup of the next is the bar that it begins as
            if begun.replace(own.bar) == Some(own.bar) {
                continue;
            }
            let (own, bar) = (own.id.bar, there.id.bar);
            let part = Place {
                own,
                bar,
                whole: false,
            };
            let place = found.entry((own, bar)).or_insert(part);
            place.whole |= in_window.get(&there.bar) == in_tune.get(&there.bar);
        }
    }
    found.into_values().collect()
}

/// The notes of a score that have an onset of their own, in order.
fn sounded(score: &Score) -> Vec<&ScoreNote> {
    score.notes.iter().filter(|note| !note.continues).collect()
}

fn gracenotes(group: &ScoreGroup) -> impl Iterator<Item = Note> {
    group.parts.iter().map(|part| part.note)
}

/// For each bar how many of the notes it has.
fn notes_of_bars(notes: &[&ScoreNote]) -> BTreeMap<usize, usize> {
    let mut bars = BTreeMap::new();
    for note in notes {
        *bars.entry(note.bar).or_default() += 1;
    }
    bars
}

/// What was said of each repetition, in the order they were played: a hand overrules the ear.
fn repetitions<'a>(said: impl IntoIterator<Item = &'a Saying>) -> Vec<Repetition> {
    let mut order = Vec::new();
    let mut all = BTreeMap::new();
    for saying in said {
        let key = (saying.id.session, saying.repetition);
        let (_, heard, by_hand) = all.entry(key).or_insert_with(|| {
            order.push(key);
            (saying.stage, None, None)
        });
        *heard = saying.faults.as_ref().or(*heard);
        *by_hand = saying.by_hand.or(*by_hand);
    }
    order
        .iter()
        .filter_map(|key| {
            let (stage, heard, said): (StagePrint, Option<&Vec<u16>>, Option<Mark>) =
                all.remove(key)?;
            let (faults, somewhere) = match (heard, said) {
                (_, Some(Mark::Clean)) => (Vec::new(), false),
                (Some(faults), said) => (faults.clone(), faults.is_empty() && said.is_some()),
                (None, Some(Mark::NotClean)) => (Vec::new(), true),
                (None, None) => return None,
            };
            Some(Repetition {
                stage,
                faults,
                somewhere,
            })
        })
        .collect()
}

/// The bars in which the ear found a fault; nothing where it did not judge.
fn faults(entry: &Entry) -> Option<Vec<u16>> {
    let record = &entry.record;
    let measures = record.measures.as_deref()?;
    #[cfg(test)]
    tests::READ.with(|read| read.set(read.get() + 1));
    let measured = Measurement::from_json(measures)?;
    let limits = record
        .thresholds
        .as_deref()
        .and_then(Thresholds::from_json)
        .unwrap_or_default();
    let verdict = judge(&measured, &limits);
    verdict.mark?;
    let bar = |id: u32| measured.notes.iter().find(|note| note.id == id);
    let mut bars: Vec<u16> = verdict
        .faults
        .iter()
        .filter_map(|fault| bar(fault.id?))
        .filter_map(|note| u16::try_from(note.bar).ok())
        .collect();
    bars.sort_unstable();
    bars.dedup();
    Some(bars)
}

#[cfg(test)]
pub(crate) mod tests;
