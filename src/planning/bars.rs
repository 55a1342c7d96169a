//! Where a tune fails, bar by bar: what the ear found in each bar, and what hands said was not clean,
//! in the tune itself and in every drill made of its bars.
//!
//! Knows music and entries; knows no journal file and no screen.

use crate::practice::{By, Entry, Kind, Mark, Measurement, StagePrint, Thresholds, judge};
use crate::score::{Score, ScoreGroup, ScoreNote};
use crate::wording;
use serde::Serialize;
use std::collections::BTreeMap;

/// The last so many repetitions of a bar count (chosen: what was mended long ago is no failing).
const RECENT: u32 = 20;
/// A bar is to be worked on when it failed so many times and in so large a share of them (chosen).
const OFTEN: f64 = 2.0;
const SHARE: f64 = 0.2;
/// At most so many bars are named (chosen: nobody works on everything at once).
const MOST: usize = 3;

/// How a bar went.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BarLine {
    /// Its number; a pickup is 0.
    pub bar: u16,
    /// Repetitions that said something of it, 20 at most, the last ones.
    pub of: u32,
    /// In how many of them it failed. One that was marked not clean by hand says only that some bar
    /// failed: each of its bars has its share.
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
    /// Not clean, and nothing says where.
    somewhere: bool,
}

/// One line for each bar of a tune, in order. `stages` are the tune's own stage and any other music;
/// what is no part of the tune is left out. `entries` are in fold order.
pub fn bar_lines(tune: &Score, stages: &[(StagePrint, &Score)], entries: &[Entry]) -> Vec<BarLine> {
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
    for repetition in repetitions(entries).iter().rev() {
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
    /// All of it is played there; a pickup or a landing is a note or two of it.
    whole: bool,
}

/// Which bars of a stage are which of a tune: nothing where the stage's notes do not stand in the
/// tune one after the other. Bars that are alike in all that is practised of them are each told.
fn places(tune: &Score, stage: &Score) -> Vec<Place> {
    let sounded = |score: &Score| -> Vec<ScoreNote> {
        let notes = score.notes.iter().filter(|note| !note.continues);
        notes.cloned().collect()
    };
    let gracenotes =
        |group: &ScoreGroup| -> Vec<_> { group.parts.iter().map(|part| part.note).collect() };
    let (tune, stage) = (sounded(tune), sounded(stage));
    let alike = |window: &[ScoreNote]| {
        window
            .iter()
            .zip(&stage)
            .enumerate()
            .all(|(at, (one, other))| {
                // how a piece begins depends on what is played before it
                let grouped = at == 0 || gracenotes(&one.group) == gracenotes(&other.group);
                one.note == other.note && grouped
            })
    };
    let mut found: Vec<Place> = Vec::new();
    for window in tune
        .windows(stage.len().max(1))
        .filter(|window| alike(window))
    {
        let mut begun = None;
        for (there, own) in window.iter().zip(&stage) {
            // a bar that closes with the pickup of what follows is the bar it begins as
            if begun.replace(own.bar) == Some(own.bar) {
                continue;
            }
            let notes =
                |all: &[ScoreNote], bar: usize| all.iter().filter(|note| note.bar == bar).count();
            let place = Place {
                own: own.id.bar,
                bar: there.id.bar,
                whole: notes(window, there.bar) == notes(&tune, there.bar),
            };
            let known =
                (found.iter_mut()).find(|known| (known.own, known.bar) == (place.own, place.bar));
            match known {
                Some(known) => known.whole |= place.whole,
                None => found.push(place),
            }
        }
    }
    found
}

/// What was said of each repetition, in the order they were played: a hand overrules the ear, and
/// what was taken back says nothing.
fn repetitions(entries: &[Entry]) -> Vec<Repetition> {
    let undone: Vec<_> = entries
        .iter()
        .filter_map(|entry| match entry.record.kind {
            Kind::Undo { mark } => Some(mark),
            _ => None,
        })
        .collect();
    let mut order = Vec::new();
    let mut all = BTreeMap::new();
    for entry in entries {
        let record = &entry.record;
        let (repetition, mark) = match record.kind {
            Kind::Mark {
                repetition, mark, ..
            } => (repetition, Some(mark)),
            Kind::Measured { repetition } => (repetition, None),
            _ => continue,
        };
        let Some(cell) = record.cell.filter(|_| !undone.contains(&record.id)) else {
            continue;
        };
        let key = (record.id.session, repetition);
        let (_, heard, said) = all.entry(key).or_insert_with(|| {
            order.push(key);
            (cell.stage, None, None)
        });
        if let Some(faults) = faults(entry) {
            *heard = Some(faults);
        }
        if record.by.is_some_and(By::is_hand) {
            *said = mark.or(*said);
        }
    }
    order
        .iter()
        .filter_map(|key| {
            let (stage, heard, said): (StagePrint, Option<Vec<u16>>, Option<Mark>) =
                all.remove(key)?;
            let (faults, somewhere) = match (heard, said) {
                (_, Some(Mark::Clean)) => (Vec::new(), false),
                (Some(faults), said) => {
                    let somewhere = faults.is_empty() && said.is_some();
                    (faults, somewhere)
                }
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
    let measured = record
        .measures
        .as_deref()
        .and_then(Measurement::from_json)?;
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
pub(crate) mod tests {
    use super::*;
    use crate::chanter::Note;
    use crate::drill::read_music;
    use crate::movement::Schools;
    use crate::practice::{CellKey, NoteMeasure, Part, Record, RecordId, Rung};
    use crate::rhythm::Metre;
    use crate::score::resolve_music;
    use crate::units::{Beats, Bpm};
    use uuid::Uuid;

    const TUNE: StagePrint = StagePrint(1);
    const PHRASE: StagePrint = StagePrint(2);
    const OTHER: StagePrint = StagePrint(3);

    fn score(text: &str) -> Score {
        let metre = Metre::TWO_FOUR;
        let (music, problems) = read_music(text, metre, metre.default_unit(), "");
        assert_eq!(problems, [], "{text}");
        resolve_music(&music, Beats::ZERO, &Schools::none())
    }

    fn entry(
        number: u64,
        stage: StagePrint,
        kind: Kind,
        by: By,
        measures: Option<String>,
    ) -> Entry {
        Entry {
            journal: Uuid::from_u128(1),
            seq: number + 1,
            record: Record {
                id: RecordId {
                    session: Uuid::from_u128(2),
                    number,
                },
                utc_us: number.cast_signed(),
                offset_s: 0,
                kind,
                drill: "ours".to_owned(),
                cell: Some(CellKey {
                    stage,
                    rung: Rung::Tempo(Bpm::EIGHTY),
                }),
                by: Some(by),
                thresholds: None,
                measures,
                version: "test".to_owned(),
            },
        }
    }

    fn marked(number: u64, stage: StagePrint, mark: Mark) -> Entry {
        let kind = Kind::Mark {
            repetition: number,
            mark,
            needed: 5,
            free: false,
        };
        entry(number, stage, kind, By::Key, None)
    }

    /// A repetition in which one note of a bar was not heard.
    pub(crate) fn missed(number: u64, stage: StagePrint, bar: u32) -> Entry {
        let note = |id: u32, bar: u32, heard: Option<Note>| NoteMeasure {
            id,
            bar,
            part: Part::Melody,
            written: Note::LowA,
            heard,
            length_ms: heard.map(|_| 500.0),
            expected_ms: 500.0,
            offset_ms: heard.map(|_| 0.0),
            place_ms: None,
            on_click: true,
            begun_by: 0,
            tap: false,
            movement: None,
            cents: None,
        };
        let measured = Measurement {
            playing: true,
            beat_ms: 750.0,
            notes: vec![note(0, 1, Some(Note::LowA)), note(1, bar, None)],
            extra: Vec::new(),
            lead_ms: 0.0,
            drift_percent: 0.0,
            confidence: None,
        };
        let kind = Kind::Mark {
            repetition: number,
            mark: Mark::NotClean,
            needed: 5,
            free: false,
        };
        entry(number, stage, kind, By::Ear, measured.to_json())
    }

    /// What was found in a phrase counts for the bars of the tune that it is; what is no part of the
    /// tune counts for nothing.
    #[test]
    fn faults_in_a_phrase_are_faults_of_its_bars_in_the_tune() {
        let tune = score("A4 B4|c4 d4|e4 d4|c4 e4|");
        let phrase = score("e4 d4|c4 e4|");
        let other = score("f4 e4|f4 e4|");
        let stages = [(TUNE, &tune), (PHRASE, &phrase), (OTHER, &other)];
        let entries = [
            missed(0, PHRASE, 2),
            missed(1, PHRASE, 2),
            missed(2, OTHER, 1),
            missed(3, TUNE, 2),
            marked(4, PHRASE, Mark::Clean),
        ];
        let lines = bar_lines(&tune, &stages, &entries);
        let told: Vec<(u16, u32, f64)> = lines
            .iter()
            .map(|line| (line.bar, line.of, line.failed))
            .collect();
        assert_eq!(told, [(1, 1, 0.0), (2, 1, 1.0), (3, 4, 0.0), (4, 4, 2.0)]);
        assert_eq!(work_on(&lines), [4]);
    }

    /// A hand that says clean overrules the ear; not clean by hand says that one of the bars failed;
    /// what was taken back says nothing.
    #[test]
    fn a_hand_overrules_and_shares_between_the_bars() {
        let tune = score("A4 B4|c4 d4|");
        let stages = [(TUNE, &tune)];
        let mut overruled = marked(1, TUNE, Mark::Clean);
        overruled.record.kind = Kind::Mark {
            repetition: 0,
            mark: Mark::Clean,
            needed: 5,
            free: false,
        };
        let taken_back = marked(3, TUNE, Mark::NotClean);
        let undo = Kind::Undo {
            mark: taken_back.record.id,
        };
        let entries = [
            missed(0, TUNE, 2),
            overruled,
            marked(2, TUNE, Mark::NotClean),
            taken_back,
            entry(4, TUNE, undo, By::Key, None),
        ];
        let lines = bar_lines(&tune, &stages, &entries);
        for line in &lines {
            assert_eq!((line.of, line.failed), (2, 0.5), "{line:?}");
        }
        assert!(work_on(&lines).is_empty());
    }

    #[test]
    fn what_to_work_on_reads_as_english() {
        let words = |bars: &[u16]| work_on_words(bars).unwrap_or_default();
        assert_eq!(words(&[]), "");
        assert_eq!(words(&[0]), "work on the pickup");
        assert_eq!(words(&[5]), "work on bar 5");
        assert_eq!(words(&[5, 13]), "work on bars 5 and 13");
        assert_eq!(words(&[0, 2, 4]), "work on the pickup and bars 2 and 4");
    }

    /// What was mended long ago is no failing.
    #[test]
    fn only_the_last_twenty_count() {
        let tune = score("A4 B4|c4 d4|");
        let old = (0..10).map(|number| missed(number, TUNE, 2));
        let new = (10..40).map(|number| marked(number, TUNE, Mark::Clean));
        let entries: Vec<Entry> = old.chain(new).collect();
        let lines = bar_lines(&tune, &[(TUNE, &tune)], &entries);
        assert_eq!((lines[1].of, lines[1].failed), (20, 0.0));
        assert!(work_on(&lines).is_empty());
    }
}
