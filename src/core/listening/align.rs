//! Notes heard against the notes of a score: which is which.
//!
//! The melody notes vote for where the first repetition lies in the sound; each later one is looked
//! for where the few before it lead one to expect it. Inside a repetition the two rows of notes are
//! aligned by the cheapest edits (Needleman & Wunsch, J. Mol. Biol. 48, 1970); a gracenote in
//! another's place is one edit and not two. The clocks' offset and the player's constant lead are
//! one number, because no recording without the click can tell them apart: it is where most notes
//! of the repetition agree (`lead`), or those of its neighbours where its own do not. The clocks'
//! drift is the slope of a line through all repetitions.

use super::heard::HeardNote;
use super::lead::{Witness, lead};
use super::measuring::{measure, offsets};
use super::pairing::{ENOUGH, pair};
use super::piece::{Expected, ExpectedStage};
use super::vote::vote;
use crate::practice::{Measurement, NoteKind, Thresholds};
use crate::units::{Seconds, median};
use std::collections::VecDeque;

/// A repetition found in the sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Repetition {
    /// Where its first beat would be in the sound.
    pub start: Seconds,
    /// For each note of the piece its index among the notes heard; none where it was not heard.
    pub pairs: Vec<Option<usize>>,
    /// Indices of the notes heard that no note of the piece explains.
    pub extra: Vec<usize>,
    /// The figures.
    pub measured: Measurement,
}

/// Where the piece was found in the sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Alignment {
    /// The whole repetitions, in order.
    pub repetitions: Vec<Repetition>,
    /// How many repetitions have a beginning or an end only: they are not measured.
    pub cut_short: usize,
    /// How long a repetition lasted, divided by how long it should, 1 or near it: it holds what the
    /// two clocks differ by, and the player's own tempo where no click held it.
    pub pace: f64,
}

/// Below this likeness what was heard is another piece or another tempo. Chosen: a try with every
/// other note wrong is more like it.
const LIKENESS: f64 = 0.2;
/// How many repetitions on each side are asked where a repetition's own notes do not agree: a lead
/// may change slowly.
const AROUND: usize = 2;
/// Weight of a neighbouring repetition's notes beside its own, 1: the four neighbours together
/// weigh a little less than it does.
const NEIGHBOUR: f64 = 0.2;
/// Weight of a note that a movement of several notes begins or leads to, beside 1 for a plain note:
/// it is the movement that goes wrong, and the plain note that tells the lead.
const AFTER_MOVEMENT: f64 = 0.7;
/// How many of the last repetitions say where the next one is expected: of five two may be late,
/// and the median still holds.
const RECENT: usize = 5;
/// Farthest the pace may be from 1; beyond it is another tempo, and a click keeps a player nearer.
/// Chosen.
const PACE: f64 = 0.04;

/// Finds the repetitions of a piece and measures them. Nothing when the sound is no such piece at
/// such a tempo.
pub fn align(piece: &ExpectedStage, heard: &[HeardNote]) -> Alignment {
    let (placed, cut_short, pace) = placed(piece, heard);
    let repetitions = placed
        .into_iter()
        .map(|(start_s, row)| {
            let measured = measure(piece, heard, start_s, &row.pairs, &row.extra);
            Repetition {
                start: Seconds(start_s),
                pairs: row.pairs,
                extra: row.extra,
                measured,
            }
        })
        .collect();
    Alignment {
        repetitions,
        cut_short,
        pace,
    }
}

/// The whole repetitions with their starts, how many more were cut short, and the pace.
fn placed(piece: &ExpectedStage, heard: &[HeardNote]) -> (Vec<(f64, Row)>, usize, f64) {
    let mut rows = rows(piece, heard);
    // some notes of any piece fit any other, so a few that fit prove nothing
    if likeness_of(piece, heard, &rows) < LIKENESS {
        rows.clear();
    }
    let (whole, part): (Vec<Row>, Vec<Row>) =
        rows.into_iter().partition(|row| whole(piece, heard, row));
    let (starts, pace) = fitted(piece, heard, &whole);
    (starts.into_iter().zip(whole).collect(), part.len(), pace)
}

/// The repetitions that [`align`] finds, without their measures: where each begins, seconds, and
/// for each note of the piece its index among the notes heard.
pub(super) fn places(piece: &ExpectedStage, heard: &[HeardNote]) -> Vec<(f64, Vec<Option<usize>>)> {
    let (placed, ..) = placed(piece, heard);
    placed
        .into_iter()
        .map(|(start_s, row)| (start_s, row.pairs))
        .collect()
}

/// The notes of one repetition beside the notes heard.
#[derive(Debug, Clone)]
struct Row {
    /// Where its first beat would be by its own notes, seconds.
    start_s: f64,
    /// Its number within its run, from 0, and the number of the run: a run ends where the playing
    /// breaks off.
    cycle: i64,
    run: usize,
    pairs: Vec<Option<usize>>,
    extra: Vec<usize>,
}

/// How like the piece the sound is: the share of the notes of the repetitions found that are
/// themselves, less the share of what is extra; 0 where there are none.
pub(super) fn likeness(piece: &ExpectedStage, heard: &[HeardNote]) -> f64 {
    likeness_of(piece, heard, &rows(piece, heard))
}

fn likeness_of(piece: &ExpectedStage, heard: &[HeardNote], rows: &[Row]) -> f64 {
    let (mut right, mut all) = (0.0, 0.0);
    for row in rows {
        let own = piece.notes.iter().zip(&row.pairs);
        right += own
            .filter(|(expected, pair)| pair.is_some_and(|at| heard[at].note == expected.note))
            .count() as f64;
        right -= row.extra.len() as f64;
        all += piece.notes.len() as f64;
    }
    if all > 0.0 { right / all } else { 0.0 }
}

/// All repetitions, each found from the one before; where the playing broke off and began anew, the
/// melody notes vote again.
fn rows(piece: &ExpectedStage, heard: &[HeardNote]) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    let Some(end) = heard.last().map(|note| note.end_s) else {
        return rows;
    };
    let (mut from, mut run) = (0, 0);
    while from < heard.len() {
        let opens = heard[from].start_s;
        let to = heard.partition_point(|note| note.start_s < opens + 2.5 * piece.cycle.0);
        let earliest = rows.last().map_or(f64::NEG_INFINITY, |row: &Row| {
            row.start_s + 0.75 * piece.length.0
        });
        let offset = vote(piece, &heard[from..to]);
        let mut start_s = offset.map_or(f64::INFINITY, |offset| {
            let first = (opens - 0.6 * piece.length.0).max(earliest);
            offset + ((first - offset) / piece.cycle.0).ceil() * piece.cycle.0
        });
        let (mut cycle, mut misses, mut period) = (0, 0, piece.cycle.0);
        // the last few repetitions: their median holds where one was late
        let mut recent: VecDeque<(i64, f64)> = VecDeque::new();
        while start_s < end && misses < 2 {
            if let Some(row) = row(piece, heard, start_s, cycle, run) {
                // so far from where it was expected, the playing began anew
                if !recent.is_empty()
                    && (row.start_s - start_s).abs() > (0.15 * piece.beat.0).max(0.1)
                {
                    break;
                }
                if let Some((before, began)) = recent.front() {
                    let lasted = (row.start_s - began) / (cycle - before) as f64;
                    let off = PACE * piece.cycle.0;
                    let lasted = lasted.clamp(piece.cycle.0 - off, piece.cycle.0 + off);
                    period += 0.4 * (lasted - period);
                }
                recent.push_back((cycle, row.start_s));
                if recent.len() > RECENT {
                    recent.pop_front();
                }
                misses = 0;
                rows.push(row);
            } else {
                misses += 1;
            }
            cycle += 1;
            let lines = recent
                .iter()
                .map(|(before, began)| began + (cycle - before) as f64 * period);
            start_s = median(&mut lines.collect::<Vec<_>>()).unwrap_or(start_s + period);
        }
        run += 1;
        let used = rows
            .last()
            .and_then(|row| row.pairs.iter().flatten().max())
            .map_or(0, |at| at + 1);
        // where nothing was found, the next search begins a cycle later
        let later = heard.partition_point(|note| note.start_s < opens + piece.cycle.0);
        from = if recent.is_empty() { later } else { used }.max(from + 1);
    }
    rows
}

fn row(
    piece: &ExpectedStage,
    heard: &[HeardNote],
    start_s: f64,
    cycle: i64,
    run: usize,
) -> Option<Row> {
    let (pairs, _) = pair(piece, heard, start_s)?;
    let own = |pairs: &[Option<usize>]| {
        let all: Vec<Witness> = witnesses(piece, heard, start_s, pairs).collect();
        start_s + lead(&all, tolerance(piece)).unwrap_or(0.0)
    };
    // paired once more, from where its own notes say it began
    let start_s = own(&pairs);
    let (pairs, extra) = pair(piece, heard, start_s)?;
    // at another tempo a few notes fit, and most lie far from their places
    let all = offsets(piece, heard, start_s, &pairs);
    let near = all
        .iter()
        .filter(|(_, offset)| offset.abs() < 0.3 * piece.beat.0)
        .count();
    if near as f64 <= ENOUGH * all.len() as f64 {
        return None;
    }
    Some(Row {
        start_s,
        cycle,
        run,
        pairs,
        extra,
    })
}

/// True where something sounded at the first and at the closing note of the repetition. If not, the
/// playing or the recording began later or ended sooner.
fn whole(piece: &ExpectedStage, heard: &[HeardNote], row: &Row) -> bool {
    let melody = |note: &&Expected| note.part == NoteKind::Melody;
    let first = piece.notes.iter().find(melody);
    let closing = piece.notes.iter().rev().find(melody);
    let around = (0.25 * piece.beat.0).max(0.15);
    let sounds = |note: &Expected| {
        let at = row.start_s + note.start_s;
        heard
            .iter()
            .any(|heard| heard.start_s < at + around && heard.end_s > at)
    };
    first.is_some_and(sounds) && closing.is_some_and(sounds)
}

/// The sum of the notes' distances from lines of a slope, seconds; each run of repetitions has a
/// line of its own.
fn off_the_line(piece: &ExpectedStage, heard: &[HeardNote], rows: &[Row], slope: f64) -> f64 {
    rows.chunk_by(|one, other| one.run == other.run)
        .map(|run| {
            let mut places: Vec<f64> = run
                .iter()
                .flat_map(|row| {
                    let line = row.start_s - row.cycle as f64 * slope;
                    let own = offsets(piece, heard, row.start_s, &row.pairs);
                    own.into_iter().map(move |(_, offset)| line + offset)
                })
                .collect();
            let middle = median(&mut places).unwrap_or(0.0);
            places
                .iter()
                .map(|place| (place - middle).abs())
                .sum::<f64>()
        })
        .sum()
}

/// The melody notes of a repetition as witnesses of its lead.
fn witnesses(
    piece: &ExpectedStage,
    heard: &[HeardNote],
    start_s: f64,
    pairs: &[Option<usize>],
) -> impl Iterator<Item = Witness> {
    offsets(piece, heard, start_s, pairs)
        .into_iter()
        .map(|(at, offset_s)| Witness {
            offset_s,
            weight: if piece.notes[at].movement.is_some() {
                AFTER_MOVEMENT
            } else {
                1.0
            },
        })
}

/// Offsets that differ by no more than this agree, seconds: it is the limit from which a note off
/// its place is a fault.
fn tolerance(piece: &ExpectedStage) -> f64 {
    Thresholds::default()
        .offset_limit(piece.beat.milliseconds())
        .seconds()
        .0
}

/// Where each repetition would begin if the player had kept his lead: a line through the starts
/// (the median of the slopes between all pairs, Theil 1950) and around it the lead that its notes
/// and its neighbours' agree on; and the pace of the line.
fn fitted(piece: &ExpectedStage, heard: &[HeardNote], rows: &[Row]) -> (Vec<f64>, f64) {
    let mut slopes = Vec::new();
    // fifty neighbours of each tell the slope as well as all of them
    for (place, one) in rows.iter().enumerate() {
        for other in rows[place + 1..].iter().take(50) {
            if one.run == other.run {
                slopes.push((other.start_s - one.start_s) / (other.cycle - one.cycle) as f64);
            }
        }
    }
    // of few repetitions one late one tilts the line, and the written period fits better
    let period = median(&mut slopes)
        .filter(|slope| {
            off_the_line(piece, heard, rows, *slope)
                < off_the_line(piece, heard, rows, piece.cycle.0)
        })
        .unwrap_or(piece.cycle.0);
    let starts = rows
        .iter()
        .enumerate()
        .map(|(place, row)| {
            let near = place.saturating_sub(AROUND)..(place + AROUND + 1).min(rows.len());
            let all: Vec<Witness> = rows[near]
                .iter()
                .filter(|other| other.run == row.run)
                .flat_map(|other| {
                    let line = other.start_s + (row.cycle - other.cycle) as f64 * period;
                    let worth = if other.cycle == row.cycle {
                        1.0
                    } else {
                        NEIGHBOUR
                    };
                    witnesses(piece, heard, other.start_s, &other.pairs).map(move |witness| {
                        Witness {
                            offset_s: line + witness.offset_s,
                            weight: worth * witness.weight,
                        }
                    })
                })
                .collect();
            lead(&all, tolerance(piece)).unwrap_or(row.start_s)
        })
        .collect();
    (starts, period / piece.cycle.0)
}

#[cfg(test)]
mod tests;
