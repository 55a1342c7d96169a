//! Judges whether pairs (a dot with its cut, or a snap) were played as round or as sharp as wanted.
//!
//! The ratio is long to short by onsets. So a gracenote belongs to the note it begins, and a
//! changing tempo has little effect. A pair may have a range ([`PairWanted`]); otherwise its
//! written place and the offset limit are its range. There are two kinds of fault. One pair may be
//! outside its range by more than the offset limit. All pairs together may have a median that is
//! outside by more than its error.
//!
//! A movement may take its time from a dot: a grip or taorluath to its cut, or to the note behind
//! the pair when the cut is too short for it. Such a dot is never called too short (from
//! experience, 55 to 65 % sure). When the pair has no range of its own and is off its written
//! place, only the short note is reported.

use super::melody::Melody;
use super::words::{bar_words, the};
use super::{Fault, FaultKind, HEAVIEST, weight};
use crate::practice::measurement::{Measurement, NoteKind};
use serde::{Deserialize, Serialize};

/// A note written at least this many times as long as its neighbour is a dot beside a cut. 2 to 1
/// is the roundest written pointing; the value leaves a margin for rounding. Chosen.
const POINTED: f64 = 1.9;
/// The best possible accuracy of the median of many pairs, in milliseconds: a length lies between
/// two onsets, each detected to 1.5 ms.
const MEASURED_MS: f64 = 3.0;
/// The least number of pairs for a fault of all pairs together. Chosen.
const SEVERAL: usize = 4;
/// How many times as much a fault of all pairs weighs as a fault of one pair. Chosen.
const ALL_THROUGH: f64 = 2.0;
/// How many standard errors the median must be outside the range. 2: about 95 %.
const ERRORS: f64 = 2.0;

/// One pair as it was played.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PairPlayed {
    /// The score's id of its second note.
    pub id: u32,
    /// The bar it stands in, from 1; 0 in a pickup.
    pub bar: u32,
    /// The ratio of long to short by onsets.
    pub ratio: f64,
    /// The roundest and the sharpest ratio that are equally good.
    pub range: (f64, f64),
    /// True when a movement takes its time from the pair, so that the long note need not be longer.
    pub taken: bool,
}

/// The dots of a repetition, or its snaps, as they were played.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PointingHeard {
    /// True for dots, whose long note comes first; false for snaps.
    pub long_first: bool,
    /// The median ratio of long to short. It covers the pairs from which no movement takes time; so
    /// do the spread and the range.
    pub ratio: f64,
    /// The spread: half of the pairs lie at most this far from the median ratio.
    pub spread: f64,
    /// The wanted range of these pairs: the median of their lower ends and the median of their
    /// upper ends.
    pub range: (f64, f64),
    /// Each pair, in order.
    pub pairs: Vec<PairPlayed>,
}

impl PointingHeard {
    /// A short text: `dots 3.8 : 1`.
    pub fn short(&self) -> String {
        let what = if self.long_first { "dots" } else { "snaps" };
        format!("{what} {}", spaced(self.long_first, self.ratio))
    }

    /// A text with all figures: `dots 3.8 : 1, half of 16 within 0.4; wanted 3 to 6`.
    pub fn spoken(&self) -> String {
        format!(
            "{}, half of {} within {:.1}; wanted {}",
            self.short(),
            self.pairs.iter().filter(|pair| !pair.taken).count(),
            self.spread,
            wanted(self.range)
        )
    }
}

/// The ratio as text: `2.1 : 1` for a dot, `1 : 2.1` for a snap.
fn spaced(long_first: bool, ratio: f64) -> String {
    if long_first {
        format!("{ratio:.1} : 1")
    } else {
        format!("1 : {ratio:.1}")
    }
}

/// The range as text: `3 to 6`, `2.5 to 4`.
fn wanted((least, most): (f64, f64)) -> String {
    let shown = |edge: f64| (edge * 10.0).round() / 10.0;
    format!("{} to {}", shown(least), shown(most))
}

/// On which side of its range a pair was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Rounder,
    Sharper,
}

/// A pair as wanted and as played. Lengths are from onset to onset, in milliseconds.
pub(super) struct Pair {
    number: usize,
    long_first: bool,
    /// Lengths of the first and the second note as played.
    first: f64,
    second: f64,
    /// Lengths of both notes in the timeline.
    expected: (f64, f64),
    /// The pair's own range; none when only its written place defines it.
    range: Option<(f64, f64)>,
    taken: bool,
    /// True when the note behind the pair was as far off its place as the pair's second note.
    together: bool,
    /// True when the end of the pair was heard.
    ended: bool,
}

impl Pair {
    /// The pair whose second note is the melody note with index `number`. None when that is not the
    /// second note of a pair or one of the two notes was not heard. `Err` when the pair is never
    /// judged.
    pub(super) fn at(
        measured: &Measurement,
        melody: &[Melody],
        number: usize,
        limit: f64,
    ) -> Option<Result<Self, ()>> {
        let own = &melody[number];
        let before = &melody[number.checked_sub(1)?];
        let next = melody.get(number + 1);
        let (from, here) = (before.note.place_ms?.0, own.note.place_ms?.0);
        let end = next
            .and_then(|next| next.note.place_ms)
            .map_or(here + own.note.expected_ms.0, |place| place.0);
        let expected = (here - from, end - here);
        if expected.0 <= 0.0 || expected.1 <= 0.0 {
            return None;
        }
        let (long_first, range) = match own.note.pair {
            Some(pair) => match pair.range {
                Some(range) => (pair.long_first, Some(range)),
                None => return Some(Err(())),
            },
            None if own.note.on_click => return None,
            None if expected.0 >= POINTED * expected.1 => (true, None),
            None if expected.1 >= POINTED * expected.0 => (false, None),
            None => return None,
        };
        let sounded = |melody: &Melody| melody.note.heard == Some(melody.note.written);
        if !sounded(own) || (range.is_some() && !sounded(before)) {
            return None;
        }
        let begun = before.offset.unwrap_or(0.0);
        let by = own.offset? - begun;
        let next_off = next.and_then(|next| next.offset);
        let together = next_off.is_some_and(|off| (off - own.offset.unwrap_or(0.0)).abs() <= limit);
        // A gracenote or tone between two melody notes that begins before the written place of the
        // second takes its time from the first. Those that begin on that place (`begun_by`) take
        // theirs from the second.
        let takes = |from: &Melody, to: &Melody| {
            let first = to.at - to.note.begun_by.min(to.at);
            let notes = measured.notes.get(from.at..first).unwrap_or(&[]);
            notes.iter().any(|note| note.part != NoteKind::Melody)
        };
        let from_first = takes(before, own);
        let from_second = next.is_some_and(|next| takes(own, next));
        let taken = match range {
            // A movement that takes its time from the cut leaves less time for the dot.
            Some(_) => from_first || from_second,
            None if long_first => from_first,
            None => from_second,
        };
        let (first, second) = (
            expected.0 + by,
            expected.1 - by + next_off.map_or(0.0, |off| off - begun),
        );
        Some(Ok(Self {
            number,
            long_first,
            first: first.max(1.0),
            second: second.max(1.0),
            expected,
            range,
            taken,
            together,
            ended: next_off.is_some() && next.is_some_and(sounded),
        }))
    }

    /// True when the pair has a range of its own.
    pub(super) fn has_range(&self) -> bool {
        self.range.is_some()
    }

    /// True when the pair is rounder than its range by more than `limit` and this may be reported.
    /// The place of the note inside it is then not reported too.
    pub(super) fn is_round(&self, limit: f64) -> bool {
        self.off(limit)
            .is_some_and(|(side, _)| side == Side::Rounder)
    }

    /// On which side, and by how many milliseconds, the pair is outside its range by more than the
    /// offset limit; none when it is not, or when this is not reported.
    fn off(&self, limit: f64) -> Option<(Side, f64)> {
        let (side, by) = self.outside(self.judged_by(limit))?;
        // For a written place the offset limit is already the range.
        let by = if self.range.is_some() { by } else { by + limit };
        let forgiven = self.taken && side == Side::Rounder && self.has_range();
        (by > limit && !forgiven && !self.together).then_some((side, by))
    }

    /// The ratio of long to short, for two lengths in the order in which they were played.
    fn ratio(&self, first: f64, second: f64) -> f64 {
        if self.long_first {
            first / second
        } else {
            second / first
        }
    }

    fn played(&self) -> f64 {
        self.ratio(self.first, self.second)
    }

    /// The range by which the pair is judged: its own, or the written ratio with the offset limit
    /// `limit`. In the second case only a rounder pair is a fault of pointing.
    fn judged_by(&self, limit: f64) -> (f64, f64) {
        self.range.unwrap_or_else(|| {
            let (first, second) = self.expected;
            let by = if self.long_first { -limit } else { limit };
            (self.ratio(first + by, second - by), f64::INFINITY)
        })
    }

    /// On which side its inner onset is outside a range, and by how many milliseconds; none when it
    /// is inside.
    fn outside(&self, (least, most): (f64, f64)) -> Option<(Side, f64)> {
        let whole = self.first + self.second;
        let long = if self.long_first {
            self.first
        } else {
            self.second
        };
        // The length of the long note of a pair as long as this one at a given ratio.
        let at = |ratio: f64| whole * (1.0 - 1.0 / (1.0 + ratio));
        if long < at(least) {
            Some((Side::Rounder, at(least) - long))
        } else if long > at(most) {
            Some((Side::Sharper, long - at(most)))
        } else {
            None
        }
    }

    /// The fault of this single pair: it is outside its range by more than the offset limit.
    fn fault(
        &self,
        measured: &Measurement,
        melody: &[Melody],
        limit: f64,
    ) -> Option<(Side, Fault)> {
        let (side, by) = self.off(limit)?;
        let (before, own) = (&melody[self.number - 1], &melody[self.number]);
        let earlier = the(&measured.notes, before.at);
        let later = the(&measured.notes, own.at);
        let bar = bar_words(&measured.notes, own.note.bar);
        let advice = match (side, self.long_first) {
            (Side::Rounder, true) if self.taken => format!("cut {later}{bar} shorter"),
            (Side::Rounder, false) if self.taken => format!("cut {earlier}{bar} shorter"),
            (Side::Rounder, true) => format!("hold {earlier}{bar}, cut {later} shorter"),
            (Side::Rounder, false) => format!("cut {earlier}{bar} shorter, hold {later}"),
            (Side::Sharper, true) => format!("let {later}{bar} sound"),
            (Side::Sharper, false) => format!("let {earlier}{bar} sound"),
        };
        let told = |ratio: f64| {
            if self.long_first {
                format!("{ratio:.1} to 1")
            } else {
                format!("1 to {ratio:.1}")
            }
        };
        let asked = match self.range {
            Some(range) => format!("wanted {}", wanted(range)),
            None => {
                let (first, second) = self.expected;
                format!("written {}", told(self.ratio(first, second)))
            }
        };
        let fault = Fault {
            kind: FaultKind::Pointing,
            id: Some(own.note.id),
            measured: Some(self.played()),
            limit: Some(edge(self.judged_by(limit), side)),
            weight: weight(by, limit),
            words: format!("{advice}: played {}, {asked}", told(self.played())),
        };
        Some((side, fault))
    }
}

fn edge((least, most): (f64, f64), side: Side) -> f64 {
    match side {
        Side::Rounder => least,
        Side::Sharper => most,
    }
}

/// The dots and then the snaps of the pairs that have a range and were heard to their end. A kind
/// is left out when movements take time from all of its pairs.
pub(super) fn heard(melody: &[Melody], pairs: &[Pair]) -> Vec<PointingHeard> {
    let of = |long_first: bool| {
        let played: Vec<PairPlayed> = pairs
            .iter()
            .filter(|pair| pair.long_first == long_first && pair.ended)
            .filter_map(|pair| {
                let own = melody[pair.number].note;
                Some(PairPlayed {
                    id: own.id,
                    bar: own.bar,
                    ratio: pair.played(),
                    range: pair.range?,
                    taken: pair.taken,
                })
            })
            .collect();
        let judged = || played.iter().filter(|pair| !pair.taken);
        let ratio = middle(judged().map(|pair| pair.ratio))?;
        Some(PointingHeard {
            long_first,
            ratio,
            spread: middle(judged().map(|pair| (pair.ratio - ratio).abs()))?,
            range: (
                middle(judged().map(|pair| pair.range.0))?,
                middle(judged().map(|pair| pair.range.1))?,
            ),
            pairs: played,
        })
    };
    [of(true), of(false)].into_iter().flatten().collect()
}

/// The median; of two middle values the lower one.
fn middle(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len().checked_sub(1)? / 2).copied()
}

/// The faults of pointing in a repetition: all dots or all snaps together when their median is
/// outside its range, and single pairs that are not covered by that.
pub(super) fn faults(
    measured: &Measurement,
    melody: &[Melody],
    pairs: &[Pair],
    limit: f64,
) -> Vec<Fault> {
    let together: Vec<(bool, Side, Fault)> = [true, false]
        .into_iter()
        .filter_map(|long_first| all_together(melody, pairs, long_first))
        .collect();
    let single = pairs.iter().filter_map(|pair| {
        let (side, fault) = pair.fault(measured, melody, limit)?;
        let said = together
            .iter()
            .any(|(long_first, told, _)| (*long_first, *told) == (pair.long_first, side));
        (!(said && pair.has_range())).then_some(fault)
    });
    let mut all: Vec<Fault> = single.collect();
    all.extend(together.into_iter().map(|(.., fault)| fault));
    all
}

fn all_together(
    melody: &[Melody],
    pairs: &[Pair],
    long_first: bool,
) -> Option<(bool, Side, Fault)> {
    // How far each pair is outside: positive is rounder than its roundest ratio, negative is
    // sharper than its sharpest.
    let told: Vec<(&Pair, (f64, f64))> = pairs
        .iter()
        .filter(|pair| pair.long_first == long_first && pair.ended && !pair.taken)
        .filter_map(|pair| Some((pair, pair.range?)))
        .collect();
    if told.len() < SEVERAL {
        return None;
    }
    let beyond = |side: Side| -> Vec<f64> {
        told.iter()
            .map(|(pair, range)| {
                let whole = pair.first + pair.second;
                let long = whole * (1.0 - 1.0 / (1.0 + pair.played()));
                let at = whole * (1.0 - 1.0 / (1.0 + edge(*range, side)));
                match side {
                    Side::Rounder => at - long,
                    Side::Sharper => long - at,
                }
            })
            .collect()
    };
    for side in [Side::Rounder, Side::Sharper] {
        let off = beyond(side);
        let by = middle(off.iter().copied())?;
        let deviation = 1.4826 * middle(off.iter().map(|off| (off - by).abs()))?;
        // The standard error of a median of normally distributed values.
        let error = 1.2533 * deviation / (off.len() as f64).sqrt();
        if by <= MEASURED_MS + ERRORS * error {
            continue;
        }
        let ratio = middle(told.iter().map(|(pair, _)| pair.played()))?;
        let range = (
            middle(told.iter().map(|(_, range)| range.0))?,
            middle(told.iter().map(|(_, range)| range.1))?,
        );
        let worst = off.iter().zip(&told);
        let worst = worst.max_by(|one, other| one.0.total_cmp(other.0));
        let (_, (worst, _)) = worst?;
        let limit = edge(range, side);
        let how = match (side, long_first) {
            (Side::Rounder, true) => "hold the dots",
            (Side::Rounder, false) => "cut the short notes of the snaps",
            (Side::Sharper, true) => "let the short notes sound, the dots are too long",
            (Side::Sharper, false) => "let the short notes of the snaps sound",
        };
        let fault = Fault {
            kind: FaultKind::Pointing,
            id: Some(melody[worst.number].note.id),
            measured: Some(ratio),
            limit: Some(limit),
            weight: HEAVIEST.min(match side {
                Side::Rounder => ALL_THROUGH * weight(limit, ratio),
                Side::Sharper => ALL_THROUGH * weight(ratio, limit),
            }),
            words: format!(
                "{how}: {}, wanted {}",
                spaced(long_first, ratio),
                wanted(range)
            ),
        };
        return Some((long_first, side, fault));
    }
    None
}
