//! How tunes were pointed, week by week: one figure for each tune and week, with the range that half of
//! its pairs lie in and the range that was wanted.
//!
//! It judges nothing anew: what counts as a pair, and which pairs a movement takes its time from, is
//! the verdict's to say.

use super::digest::local_day;
use super::known::Known;
use crate::practice::{Entry, Kind, Measurement, StagePrint, Thresholds, judge};
use jiff::civil::Date;
use serde::Serialize;
use statrs::statistics::{Data, Median, OrderStatistics};
use std::collections::BTreeMap;

/// How the pairs of one stage of a drill were pointed in one week. Ratios are long to short by onsets.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PointedWeek {
    /// The Monday that the week begins with.
    pub week: Date,
    /// The last day of it on which pairs were heard.
    pub last: Date,
    /// The drill's name.
    pub drill: String,
    /// The stage's name; nothing where the drill has one stage, as a tune has.
    pub stage: Option<String>,
    /// Dots, long note first; else snaps.
    pub dots: bool,
    /// Pairs that were heard and that no movement takes its time from.
    pub pairs: usize,
    /// Their median.
    pub ratio: f64,
    /// A quarter of them are rounder than this.
    pub low: f64,
    /// A quarter of them are sharper than this.
    pub high: f64,
    /// The roundest and the sharpest that were wanted, medians.
    pub wanted: (f64, f64),
}

impl PointedWeek {
    /// True for another week of the same music.
    pub fn is_of_the_music_of(&self, other: &Self) -> bool {
        (&self.drill, &self.stage, self.dots) == (&other.drill, &other.stage, other.dots)
    }

    /// `dots` or `snaps`.
    pub fn what(&self) -> &'static str {
        if self.dots { "dots" } else { "snaps" }
    }

    /// `3.8 : 1`, of snaps `1 : 3.8`.
    pub fn spoken(&self) -> String {
        if self.dots {
            format!("{:.1} : 1", self.ratio)
        } else {
            format!("1 : {:.1}", self.ratio)
        }
    }

    /// `3 to 6`.
    pub fn wanted_words(&self) -> String {
        let shown = |edge: f64| (edge * 10.0).round() / 10.0;
        format!("{} to {}", shown(self.wanted.0), shown(self.wanted.1))
    }
}

/// What was heard of one stage in a week: its last day, and each pair's ratio with the range that
/// was wanted.
struct Week {
    last: Date,
    ratios: Vec<f64>,
    least: Vec<f64>,
    most: Vec<f64>,
}

/// How the tunes among some drills were pointed, from a day on, drill by drill and stage by stage, dots
/// before snaps, the weeks rising. Nothing of what is never judged, as airs and grounds are.
pub fn pointed_weeks(entries: &[Entry], drills: &[Known], from: Date) -> Vec<PointedWeek> {
    let mut weeks: BTreeMap<(usize, usize, bool, Date), Week> = BTreeMap::new();
    let mut places: BTreeMap<StagePrint, (usize, usize)> = BTreeMap::new();
    for (drill, known) in drills.iter().enumerate() {
        for (stage, print) in known.prints().into_iter().enumerate() {
            // two drills with the same music: the first of them
            places.entry(print).or_insert((drill, stage));
        }
    }
    for entry in entries {
        let record = &entry.record;
        if !matches!(record.kind, Kind::Mark { .. } | Kind::Measured { .. }) {
            continue;
        }
        let day = local_day(record.utc_us, record.offset_s);
        let place = record.cell.and_then(|cell| places.get(&cell.stage));
        let (Some((drill, stage)), true) = (place.copied(), day >= from) else {
            continue;
        };
        let Some(measured) = record.measures.as_deref().and_then(Measurement::from_json) else {
            continue;
        };
        // most of what was measured has no pairs, and judging it would be for nothing
        if measured.notes.iter().all(|note| note.pair.is_none()) {
            continue;
        }
        for heard in judge(&measured, &Thresholds::default()).pointing {
            let key = (drill, stage, !heard.long_first, monday(day));
            let week = weeks.entry(key).or_insert_with(|| Week {
                last: day,
                ratios: Vec::new(),
                least: Vec::new(),
                most: Vec::new(),
            });
            week.last = week.last.max(day);
            for pair in heard.pairs.iter().filter(|pair| !pair.taken) {
                week.ratios.push(pair.ratio);
                week.least.push(pair.range.0);
                week.most.push(pair.range.1);
            }
        }
    }
    let line = |((drill, stage, snaps, monday), week): ((usize, usize, bool, Date), Week)| {
        let known = drills.get(drill)?;
        let pairs = week.ratios.len();
        let mut ratios = Data::new(week.ratios);
        Some(PointedWeek {
            week: monday,
            last: week.last,
            drill: known.name.clone(),
            stage: (known.stages.len() > 1)
                .then(|| known.stage_names.get(stage).cloned())
                .flatten(),
            dots: !snaps,
            pairs,
            ratio: ratios.median(),
            low: ratios.lower_quartile(),
            high: ratios.upper_quartile(),
            wanted: (
                Data::new(week.least).median(),
                Data::new(week.most).median(),
            ),
        })
    };
    weeks
        .into_iter()
        .filter(|(_, week)| !week.ratios.is_empty())
        .filter_map(line)
        .collect()
}

/// The Monday of a day's week.
fn monday(day: Date) -> Date {
    let since = day.weekday().to_monday_zero_offset();
    day.checked_sub(jiff::Span::new().days(since))
        .unwrap_or(day)
}

#[cfg(test)]
mod tests;
