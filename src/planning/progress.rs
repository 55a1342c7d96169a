//! How the weeks went: the ladder climbed, the clean rate by cell, minutes by day, lengths and
//! landings over time, what is stale.

use super::chances::Chance;
use super::digest::{CellDays, Digest, date_of, local_day};
use super::known::Known;
use super::pointed::{PointedWeek, pointed_weeks};
use super::today::{Rule, due_again};
use crate::practice::{
    Candidate, CellKey, Difference, Discrimination, Entry, Held, Kind, Measurement, NoteKind, Rung,
    StagePrint,
};
use crate::units::Milliseconds;
use jiff::civil::Date;
use serde::Serialize;
use statrs::statistics::{Data, Median};
use std::collections::BTreeMap;

/// A stretch of playing, as the journal has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Played {
    /// When it began, microseconds since 1970.
    pub from_us: i64,
    /// When it ended.
    pub to_us: i64,
    /// The local time's offset, seconds.
    pub offset_s: i32,
    /// The drill's name then.
    pub drill: String,
}

/// One day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DayLine {
    /// The day.
    pub day: Date,
    /// Minutes of playing.
    pub minutes: f64,
    /// Repetitions said to be clean.
    pub clean: u32,
    /// Repetitions said not to be clean.
    pub not_clean: u32,
}

/// One cell.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CellLine {
    /// The drill's name.
    pub drill: String,
    /// The stage's name; [`EARLIER`] for music that the drill no longer has.
    pub stage: String,
    /// The rung: a tempo, or a length of tones at a tempo.
    #[serde(rename = "tempo")]
    pub rung: Rung,
    /// Clean of all that were said, assumed ones left out, and the chance of the next.
    pub chance: Chance,
    /// How many of the clean repetitions were played by heart.
    pub by_heart: u32,
    /// The day on which it became clear.
    pub cleared: Option<Date>,
    /// The last day with marks.
    pub last: Date,
    /// The day on which it is due again, where it is clear and stands for the slower cells of its
    /// stage.
    pub due: Option<Date>,
    /// The day of the cold try by which it is held.
    pub held: Option<Date>,
}

/// How many of the cleared cells that are asked cold are held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct HeldCells {
    /// Held.
    pub held: usize,
    /// How many of these are held by a try that was only assumed to be clean.
    pub assumed: usize,
    /// Cleared and asked cold.
    pub of: usize,
}

/// The highest rung cleared in a stage, from a day on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Climbed {
    /// The day it was reached.
    pub day: Date,
    /// The drill's name.
    pub drill: String,
    /// The stage's name.
    pub stage: String,
    /// The rung: a tempo, or a length of tones at a tempo.
    #[serde(rename = "tempo")]
    pub rung: Rung,
}

/// What listening measured on a day, in medians.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeardOnDay {
    /// The day.
    pub day: Date,
    /// Gracenotes that were heard.
    pub gracenotes: usize,
    /// Their median length.
    #[serde(rename = "gracenote_ms")]
    pub gracenote: Option<Milliseconds>,
    /// The median distance of closing notes from the click, either way.
    #[serde(rename = "landing_ms")]
    pub landing: Option<Milliseconds>,
}

/// What was heard apart in one sitting of `hear`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeardApart {
    /// The day.
    pub day: Date,
    /// The drill's name.
    pub drill: String,
    /// The kind of fault.
    pub difference: Difference,
    /// The difference with the notes of the movement.
    pub what: String,
    /// The smallest fault that is heard; none where not even the widest was.
    #[serde(rename = "threshold_ms")]
    pub threshold: Option<Milliseconds>,
    /// The threshold lies above this with nine chances in ten.
    #[serde(rename = "low_ms")]
    pub low: Milliseconds,
    /// The threshold lies below this with nine chances in ten.
    #[serde(rename = "high_ms")]
    pub high: Milliseconds,
    /// Answers that were right.
    pub right: usize,
    /// Answers.
    pub answers: usize,
}

/// What entries say of telling clean from faulty, for some drills, from a day on (all of it where
/// none is given), in the order of the entries.
pub fn heard_apart(entries: &[Entry], drills: &[Known], since: Option<Date>) -> Vec<HeardApart> {
    let from = since.unwrap_or(Date::MIN);
    let line = |entry: &Entry| {
        let record = &entry.record;
        // Known by its music, so that a drill that was renamed keeps what was heard in it.
        let stage = record.cell?.stage;
        let drill = drills
            .iter()
            .find(|drill| drill.stages.iter().any(|own| own.print == stage))?;
        let found = Discrimination::from_json(record.measures.as_deref()?)?;
        let (right, answers) = found.right();
        Some(HeardApart {
            day: local_day(record.utc_us, record.offset_s),
            drill: drill.name.clone(),
            difference: found.difference,
            threshold: found.is_heard().then_some(found.threshold),
            what: found.what,
            low: found.low,
            high: found.high,
            right,
            answers,
        })
    };
    let told = |entry: &&Entry| entry.record.kind == Kind::Discriminated;
    let lines = entries.iter().filter(told).filter_map(line);
    lines.filter(|line| line.day >= from).collect()
}

/// How the weeks went.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Progress {
    /// Days with playing or marks, rising.
    pub days: Vec<DayLine>,
    /// Rungs as they were reached, rising by day.
    pub climbed: Vec<Climbed>,
    /// Cells with marks, drill by drill.
    pub cells: Vec<CellLine>,
    /// How many of them are held, of all days.
    pub held: HeldCells,
    /// What was heard, day by day.
    pub heard: Vec<HeardOnDay>,
    /// How tunes were pointed, week by week.
    pub pointed: Vec<PointedWeek>,
    /// What was heard apart; [`progress`] leaves it empty, [`heard_apart`] gives it.
    pub heard_apart: Vec<HeardApart>,
    /// A sentence for each figure of which too little is known.
    pub too_little: Vec<String>,
}

/// Marks below which a clean rate says hardly anything. Chosen: at ten the interval of Beta still
/// spans about half the scale.
const FEW: u32 = 10;

fn median(values: Vec<f64>) -> Option<f64> {
    (!values.is_empty()).then(|| Data::new(values).median())
}

/// A stage that was marked under a drill's name and that the drill no longer has, because its music
/// was changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Earlier {
    /// The drill's name.
    pub drill: String,
    /// The stage's written music.
    pub stage: StagePrint,
}

/// The name that stands for an earlier stage, whose own name was not kept.
pub const EARLIER: &str = "as it was written earlier";

/// What marks, measures and stretches of playing come to for some drills, from a day on (all of it
/// where none is given). What the drills had earlier is shown as history: nothing of it is due.
/// Days are the player's own calendar days.
pub fn progress(
    digest: &Digest,
    measured: &[Entry],
    played: &[Played],
    drills: &[Known],
    earlier: &[Earlier],
    since: Option<Date>,
    rule: &Rule,
) -> Progress {
    let from = since.unwrap_or(Date::MIN);
    let mut days = minutes_by_day(played);
    let mut cells = Vec::new();
    let mut climbed = Vec::new();
    let mut held_cells = HeldCells::default();
    for drill in drills {
        let cold = drill.cold_cells(digest, Date::MAX);
        for one in &cold {
            held_cells.of += 1;
            held_cells.held += usize::from(one.tries.held.is_held());
            held_cells.assumed += usize::from(one.tries.held == Held::Assumed);
        }
        let gone = earlier.iter().filter(|one| one.drill == drill.name);
        let stages = drill
            .stages
            .iter()
            .map(|planned| (planned.print, Some(planned)));
        let stages = stages.chain(gone.map(|one| (one.stage, None)));
        for (stage, (print, planned)) in stages.enumerate() {
            let of_stage: Vec<(CellKey, &CellDays)> = digest
                .cells()
                .filter(|(key, _)| planned.map_or(key.stage == print, |planned| planned.has(**key)))
                .map(|(key, found)| (*key, found))
                .collect();
            let cold: Vec<Candidate> = cold
                .iter()
                .filter(|one| one.stage == stage)
                .copied()
                .collect();
            let named = NamedStage {
                drill: &drill.name,
                stage: drill.stage_names.get(stage).map_or(EARLIER, String::as_str),
                is_planned: planned.is_some(),
            };
            for (_, found) in &of_stage {
                for day in found.days.iter().filter(|day| day.day >= from) {
                    let of_day = days.entry(day.day).or_insert_with(|| DayLine::of(day.day));
                    of_day.clean += day.clean;
                    of_day.not_clean += day.not_clean;
                }
            }
            cells.extend(cell_lines(&named, &of_stage, &cold, from, rule));
            climbed.extend(climb_of(&named, &of_stage));
        }
    }
    climbed.retain(|rung| rung.day >= from);
    climbed.sort_by_key(|rung| rung.day);
    let days: Vec<DayLine> = days.into_values().filter(|day| day.day >= from).collect();
    let heard = heard(measured, from);
    let too_little = too_little(&days, &cells, &heard);
    Progress {
        days,
        climbed,
        cells,
        held: held_cells,
        heard,
        pointed: pointed_weeks(measured, drills, from),
        heard_apart: Vec::new(),
        too_little,
    }
}

impl DayLine {
    /// A day on which nothing happened yet.
    fn of(day: Date) -> Self {
        Self {
            day,
            minutes: 0.0,
            clean: 0,
            not_clean: 0,
        }
    }
}

fn minutes_by_day(played: &[Played]) -> BTreeMap<Date, DayLine> {
    let mut days: BTreeMap<Date, DayLine> = BTreeMap::new();
    for stretch in played {
        let day = local_day(stretch.from_us, stretch.offset_s);
        // A clock set back gives no negative minutes.
        let minutes = (stretch.to_us - stretch.from_us).max(0) as f64 / 60e6;
        days.entry(day).or_insert_with(|| DayLine::of(day)).minutes += minutes;
    }
    days
}

/// A stage by its names, of now or of earlier.
struct NamedStage<'a> {
    drill: &'a str,
    stage: &'a str,
    /// The drill still has it.
    is_planned: bool,
}

/// The lines of a stage's cells that were marked from a day on.
fn cell_lines(
    named: &NamedStage<'_>,
    cells: &[(CellKey, &CellDays)],
    cold: &[Candidate],
    from: Date,
    rule: &Rule,
) -> Vec<CellLine> {
    // The plan asks only for the highest cleared cell of a stage.
    let highest = cells
        .iter()
        .filter(|(_, found)| found.cleared.is_some())
        .map(|(key, _)| key.rung)
        .max();
    let line = |(key, found): &(CellKey, &CellDays)| {
        let rung = key.rung;
        let recent = || found.days.iter().filter(|day| day.day >= from);
        let clean: u32 = recent().map(|day| day.clean).sum();
        let not: u32 = recent().map(|day| day.not_clean).sum();
        let last = recent().next_back()?;
        Some(CellLine {
            drill: named.drill.to_owned(),
            stage: named.stage.to_owned(),
            rung,
            chance: Chance::of(clean, clean + not),
            by_heart: recent().map(|day| day.by_heart).sum(),
            cleared: found.cleared,
            last: last.day,
            due: due_again(found, rule)
                .filter(|_| named.is_planned && highest == Some(rung))
                .map(|(due, ..)| due),
            held: cold
                .iter()
                .find(|one| one.rung == rung)
                .filter(|one| one.tries.held.is_held())
                .and_then(|one| one.tries.last)
                .map(date_of),
        })
    };
    cells.iter().filter_map(line).collect()
}

/// The rungs of a stage that were cleared above all that were cleared before, as they were reached.
fn climb_of(named: &NamedStage<'_>, cells: &[(CellKey, &CellDays)]) -> Vec<Climbed> {
    let mut reached: Vec<(Date, Rung)> = cells
        .iter()
        .filter_map(|(key, found)| found.cleared.map(|day| (day, key.rung)))
        .collect();
    reached.sort();
    let mut highest: Option<Rung> = None;
    let mut climbed = Vec::new();
    for (day, rung) in reached {
        if highest.is_none_or(|highest| rung > highest) {
            highest = Some(rung);
            climbed.push(Climbed {
                day,
                drill: named.drill.to_owned(),
                stage: named.stage.to_owned(),
                rung,
            });
        }
    }
    climbed
}

fn heard(entries: &[Entry], from: Date) -> Vec<HeardOnDay> {
    let mut days: BTreeMap<Date, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
    for entry in entries {
        let record = &entry.record;
        if !matches!(record.kind, Kind::Mark { .. } | Kind::Measured { .. }) {
            continue;
        }
        let Some(measured) = record.measures.as_deref().and_then(Measurement::from_json) else {
            continue;
        };
        if !measured.playing {
            continue;
        }
        let (lengths, landings) = days
            .entry(local_day(record.utc_us, record.offset_s))
            .or_default();
        for note in &measured.notes {
            match note.part {
                NoteKind::Gracenote => lengths.extend(note.length_ms.map(|length| length.0)),
                NoteKind::Melody if note.on_click => {
                    landings.extend(note.offset_ms.map(|offset| offset.0.abs()));
                }
                NoteKind::Melody | NoteKind::Tone => {}
            }
        }
    }
    days.into_iter()
        .filter(|(day, _)| *day >= from)
        .map(|(day, (lengths, landings))| HeardOnDay {
            day,
            gracenotes: lengths.len(),
            gracenote: median(lengths).map(Milliseconds),
            landing: median(landings).map(Milliseconds),
        })
        .collect()
}

fn too_little(days: &[DayLine], cells: &[CellLine], heard: &[HeardOnDay]) -> Vec<String> {
    let mut said = Vec::new();
    if days.len() < 2 {
        said.push("too early for a curve: that needs two days or more".to_owned());
    }
    let few = cells.iter().filter(|cell| cell.chance.of < FEW).count();
    if few > 0 && few == cells.len() {
        said.push(format!(
            "no cell has {FEW} marks yet: the chances are wide, five in a row prove little"
        ));
    }
    if heard.is_empty() {
        said.push("no lengths and landings: nothing was measured by listening yet".to_owned());
    }
    said
}

/// By how many per cent this week's minutes (the seven days to a date) are above the mean of the
/// four weeks before; nothing where those hold less than half an hour a week, which says nothing.
/// A sudden rise in playing load is the named trigger of strain (Chan & Ackermann 2014); how much
/// is sudden is chosen.
pub fn rise(played: &[Played], today: Date) -> Option<f64> {
    let minutes = |from: i32, to: i32| -> f64 {
        played
            .iter()
            .filter(|stretch| {
                let day = local_day(stretch.from_us, stretch.offset_s);
                let ago = day.until(today).map_or(i32::MAX, |span| span.get_days());
                (from..to).contains(&ago)
            })
            .map(|stretch| (stretch.to_us - stretch.from_us).max(0) as f64 / 60e6)
            .sum()
    };
    let before = minutes(7, 35) / 4.0;
    (before >= 30.0).then(|| (minutes(0, 7) / before - 1.0) * 100.0)
}

#[cfg(test)]
mod tests;
