//! What a journal says of homework: was it reached, when, and where does the climb stand.

use super::document::{MarkedDay, Question, ReportedDrill};
use crate::planning::{Criterion, Digest, Known, local_day};
use crate::practice::{
    CellKey, Entry, FaultKind, Kind, Mark, Measurement, RecordId, Thresholds, judge,
};
use crate::units::{Bpm, spell_fraction};
use crate::wording;
use jiff::civil::Date;
use std::collections::{BTreeMap, HashMap};

/// A cell to be reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Goal {
    /// The stage, from 0.
    pub stage: usize,
    /// The first rung from the asked tempo up.
    pub tempo: Bpm,
}

/// Why a goal is none for a drill.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GoalError(pub String);

impl std::fmt::Display for GoalError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}
impl std::error::Error for GoalError {}

/// Reads what is to be reached in a drill: `real time at 66`, `real time`, `66`; nothing: the last
/// stage at the top of the ladder.
///
/// # Errors
/// A stage the drill does not have, a tempo above its ladder.
pub fn goal_in(drill: &Known, text: Option<&str>) -> Result<Goal, GoalError> {
    let last_stage = drill.stage_names.len().saturating_sub(1);
    let top = drill.rungs.last().copied();
    let text = text.map(str::trim).unwrap_or_default();
    let (stage, tempo) = match text.rsplit_once(" at ") {
        Some((stage, tempo)) => (Some(stage), Some(tempo)),
        None if text.is_empty() => (None, None),
        None if Bpm::parse(text).is_ok() => (None, Some(text)),
        None => (Some(text), None),
    };
    let plain = |text: &str| text.trim().to_lowercase().replace(['-', '_'], " ");
    let stage = match stage {
        None => last_stage,
        Some(wanted) => {
            let found = drill
                .stage_names
                .iter()
                .position(|name| plain(name) == plain(wanted));
            found.ok_or_else(|| {
                let names: Vec<String> = drill
                    .stage_names
                    .iter()
                    .map(|name| format!("`{name}`"))
                    .collect();
                let near = wording::nearest(wanted, drill.stage_names.iter().map(String::as_str))
                    .map_or_else(String::new, |name| format!("; did you mean `{name}`?"));
                GoalError(format!(
                    "`{}` has no stage `{wanted}`: expected {}{near}",
                    drill.name,
                    wording::choice(&names)
                ))
            })?
        }
    };
    let asked = match tempo {
        None => top,
        Some(text) => Some(Bpm::parse(text).map_err(|error| GoalError(error.to_string()))?),
    };
    let rung = asked.and_then(|asked| drill.rungs.iter().copied().find(|rung| *rung >= asked));
    match (rung, asked, top) {
        (Some(tempo), ..) => Ok(Goal { stage, tempo }),
        (None, Some(asked), Some(top)) => Err(GoalError(format!(
            "{asked} is above the ladder of `{}`, which ends at {top}",
            drill.name
        ))),
        _ => Err(GoalError(format!("`{}` has no ladder", drill.name))),
    }
}

/// The day a goal was reached: its cell, or one of the same stage above it, cleared, or what the
/// teacher asks of it met.
pub fn reached(
    digest: &Digest,
    drill: &Known,
    goal: Goal,
    until: Option<&Criterion>,
) -> Option<Date> {
    let print = *drill.stages.get(goal.stage)?;
    digest
        .cells()
        .filter(|(CellKey { stage, tempo }, _)| *stage == print && *tempo >= goal.tempo)
        .filter_map(|(_, days)| match until {
            None => days.cleared,
            Some(criterion) => {
                let marks: Vec<Mark> = days.marks.iter().map(|(_, mark)| *mark).collect();
                criterion
                    .met(&marks)
                    .and_then(|at| days.marks.get(at))
                    .map(|(day, _)| *day)
            }
        })
        .min()
}

/// One drill's part of a report: what was reached, and, from a day on, marks by day and the two
/// commonest faults.
pub fn report_drill(
    digest: &Digest,
    entries: &[Entry],
    drill: &Known,
    goal: Goal,
    until: Option<&Criterion>,
    limits: &Thresholds,
    from: Date,
) -> ReportedDrill {
    let name = |stage: usize, tempo: Bpm| {
        let stage = drill.stage_names.get(stage).map_or("", String::as_str);
        format!("{stage} at {}", spell_fraction(&tempo.value()))
    };
    let mut days: BTreeMap<Date, MarkedDay> = BTreeMap::new();
    // Where the climb stands: the cell with the latest marks, the highest of that day.
    let mut at: Option<(Date, usize, Bpm, Date)> = None;
    for (key, found) in digest.cells() {
        let Some(stage) = drill.stages.iter().position(|print| *print == key.stage) else {
            continue;
        };
        for day in found.days.iter().filter(|day| day.day >= from) {
            let line = days.entry(day.day).or_insert(MarkedDay {
                day: day.day,
                clean: 0,
                not_clean: 0,
                assumed: 0,
            });
            line.clean += day.clean;
            line.not_clean += day.not_clean;
            line.assumed += day.assumed;
        }
        if let (Some(first), Some(last)) = (found.days.first(), found.days.last()) {
            let this = (last.day, stage, key.tempo, first.day);
            if at.is_none_or(|best| (best.0, best.2, best.1) < (this.0, this.2, this.1)) {
                at = Some(this);
            }
        }
    }
    let reach = format!(
        "{}{}",
        name(goal.stage, goal.tempo),
        until.map_or_else(String::new, |until| format!(", {until}"))
    );
    ReportedDrill {
        drill: drill.name.clone(),
        reach,
        reached: reached(digest, drill, goal, until),
        at: at.map(|(_, stage, tempo, _)| name(stage, tempo)),
        since: at.map(|(_, _, _, first)| first),
        days: days.into_values().collect(),
        faults: commonest(entries, drill, limits, from),
    }
}

/// What the player wrote in a drill from a day on: words beside marks, with what they stand beside,
/// and questions for the teacher.
pub fn words_of(entries: &[Entry], drill: &Known, from: Date) -> Vec<Question> {
    let marks: HashMap<RecordId, &Entry> = entries
        .iter()
        .filter(|entry| matches!(entry.record.kind, Kind::Mark { .. }))
        .map(|entry| (entry.record.id, entry))
        .collect();
    let beside = |mark: &RecordId| {
        let record = &marks.get(mark)?.record;
        let cell = record.cell?;
        let stage = drill.stages.iter().position(|stage| *stage == cell.stage)?;
        let said = match record.kind {
            Kind::Mark {
                mark: Mark::Clean, ..
            } => "clean",
            _ => "not clean",
        };
        let stage = drill.stage_names.get(stage)?;
        Some(format!(
            "{said}, {stage} at {}",
            spell_fraction(&cell.tempo.value())
        ))
    };
    entries
        .iter()
        .filter_map(|entry| {
            let record = &entry.record;
            let Kind::Word { about, text } = &record.kind else {
                return None;
            };
            let day = local_day(record.utc_us, record.offset_s);
            (day >= from).then(|| Question {
                day: Some(day),
                about: about.as_ref().and_then(beside),
                text: text.clone(),
            })
        })
        .collect()
}

fn commonest(entries: &[Entry], drill: &Known, limits: &Thresholds, from: Date) -> Vec<String> {
    let mut counts: Vec<(FaultKind, usize)> = Vec::new();
    for entry in entries {
        let record = &entry.record;
        let ours = record
            .cell
            .is_some_and(|cell| drill.stages.contains(&cell.stage))
            && local_day(record.utc_us, record.offset_s) >= from;
        let Some(measured) = record
            .measures
            .as_deref()
            .filter(|_| ours)
            .and_then(Measurement::from_json)
        else {
            continue;
        };
        for fault in judge(&measured, limits).faults {
            match counts.iter_mut().find(|(kind, _)| *kind == fault.kind) {
                Some((_, count)) => *count += 1,
                None => counts.push((fault.kind, 1)),
            }
        }
    }
    counts.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    counts
        .into_iter()
        .take(2)
        .map(|(kind, count)| {
            format!(
                "{} ({})",
                words(kind),
                wording::count(count, "time", "times")
            )
        })
        .collect()
}

fn words(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::Missing => "a note not heard",
        FaultKind::Wrong => "another note in its place",
        FaultKind::TooLong => "a gracenote too long",
        FaultKind::Swallowed => "a tone swallowed",
        FaultKind::Crossing => "a crossing noise",
        FaultKind::Late => "landing after the click",
        FaultKind::Early => "landing before the click",
        FaultKind::Uneven => "uneven between the clicks",
        FaultKind::Rushing => "running ahead",
        FaultKind::Dragging => "falling behind",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::practice::{Route, StagePrint};

    fn drill() -> Known {
        Known {
            name: "grip".to_owned(),
            title: "Grip".to_owned(),
            stages: vec![StagePrint(1), StagePrint(2)],
            stage_names: vec!["half beats".to_owned(), "real time".to_owned()],
            beats: vec![8.0, 8.0],
            real_time: vec![false, true],
            rungs: ["60", "65", "68"]
                .map(|tempo| Bpm::parse(tempo).expect("a tempo"))
                .to_vec(),
            clean: 5,
            route: Route::Across,
        }
    }

    #[test]
    fn a_goal_is_the_first_rung_from_its_tempo_up() {
        let drill = drill();
        let goal = |text: Option<&str>| {
            goal_in(&drill, text).map(|goal| (goal.stage, goal.tempo.to_string()))
        };
        assert_eq!(goal(Some("real time at 66")), Ok((1, "68".to_owned())));
        assert_eq!(goal(Some("Half-Beats at 60")), Ok((0, "60".to_owned())));
        assert_eq!(goal(Some("61")), Ok((1, "65".to_owned())));
        assert_eq!(goal(None), Ok((1, "68".to_owned())));
        assert!(goal(Some("real time at 70")).is_err_and(|error| error.0.contains("ends at 68")));
        assert!(
            goal(Some("reel time"))
                .is_err_and(|error| error.0.contains("did you mean `real time`?"))
        );
    }
}
