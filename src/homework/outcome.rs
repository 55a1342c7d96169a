//! Reads from a journal whether homework was reached, when, and which cell the climb has come to.

use super::document::{HomeworkQuestion, MarkedDay, ReportedDrill};
use crate::planning::{Criterion, Digest, Known, local_day};
use crate::practice::{
    CellPlace, Entry, FaultKind, Kind, Mark, Measurement, PlannedStage, RecordId, Rung, Thresholds,
    judge, reaches,
};
use crate::units::{Bpm, Millis, parse_fraction};
use crate::wording;
use jiff::civil::Date;
use std::collections::{BTreeMap, HashMap};

/// The reason why a text is no goal for a drill.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GoalError(pub String);

impl std::fmt::Display for GoalError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}
impl std::error::Error for GoalError {}

/// Reads the goal for a drill, such as `real time at 66`, `real time`, `66` or `closing up at 104
/// ms`. Without a text or a stage, it is in the last of the stages that reach the highest tempo.
/// The cell is the stage's first rung that is at least as fast, or as short, as the text says.
///
/// # Errors
/// The drill does not have the stage, the tempo is above its ladder, or the tone length is below
/// it.
pub fn goal_in(drill: &Known, text: Option<&str>) -> Result<CellPlace, GoalError> {
    let top = |stage: &PlannedStage| stage.rungs.last().map(|rung| rung.tempo());
    let tops = drill.stages.iter().map(top).enumerate();
    // of several stages with the highest top the last is taken: it is real time, and not one of the
    // stages after it that end at a lower tempo
    let highest = tops
        .max_by_key(|(_, top)| *top)
        .map_or(0, |(stage, _)| stage);
    let text = text.map(str::trim).unwrap_or_default();
    let (stage, rung) = match text.rsplit_once(" at ") {
        Some((stage, rung)) => (Some(stage), Some(rung)),
        None if text.is_empty() => (None, None),
        None if Bpm::parse(text).is_ok() => (None, Some(text)),
        None => (Some(text), None),
    };
    let plain = |text: &str| text.trim().to_lowercase().replace(['-', '_'], " ");
    let stage = match stage {
        None => highest,
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
    let planned = drill.stages.get(stage);
    let Some((planned, top)) = planned.and_then(|planned| Some((planned, *planned.rungs.last()?)))
    else {
        return Err(GoalError(format!("`{}` has no ladder", drill.name)));
    };
    let Some(asked) = rung else {
        return Ok((stage, top));
    };
    let found = if planned.is_opened() {
        as_short(planned, asked)?
    } else {
        let asked = Bpm::parse(asked).map_err(|error| GoalError(error.to_string()))?;
        let mut rungs = planned.rungs.iter().copied();
        rungs.find(|rung| rung.tempo() >= asked)
    };
    let rung = found.ok_or_else(|| {
        let name = drill.stage_names.get(stage).map_or("", String::as_str);
        let (beyond, ends) = if planned.is_opened() {
            ("below the lengths", top.spoken())
        } else {
            ("above the ladder", top.spoken())
        };
        GoalError(format!(
            "{asked} is {beyond} of `{name}` in `{}`, which ends at {ends}",
            drill.name
        ))
    })?;
    Ok((stage, rung))
}

/// The first rung of an opened movement that is at least as short as the text says, such as `104
/// ms` or `104`.
fn as_short(planned: &PlannedStage, text: &str) -> Result<Option<Rung>, GoalError> {
    let number = text.trim().trim_end_matches("ms");
    let tone = parse_fraction(number).map(Millis).map_err(|_| {
        GoalError(format!(
            "`{text}` is no length: this stage closes the movement up, so expected milliseconds such as `104 ms`"
        ))
    })?;
    let mut rungs = planned.rungs.iter().copied();
    Ok(rungs.find(|rung| rung.tone().is_some_and(|own| own <= tone)))
}

/// The day on which a goal was reached: the teacher's criterion was met there, or its cell or a
/// higher one of the same stage was cleared. None where it is not reached.
pub fn reached(
    digest: &Digest,
    drill: &Known,
    goal: CellPlace,
    until: Option<&Criterion>,
) -> Option<Date> {
    let planned = drill.stages.get(goal.0)?;
    digest
        .cells()
        .filter(|(key, _)| planned.has(**key) && reaches(goal, (goal.0, key.rung)))
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

/// The part of a report about one drill: the goal, the marks of each day since a day, and the two
/// commonest faults.
pub fn report_drill(
    digest: &Digest,
    entries: &[Entry],
    drill: &Known,
    goal: CellPlace,
    until: Option<&Criterion>,
    limits: &Thresholds,
    from: Date,
) -> ReportedDrill {
    let mut days: BTreeMap<Date, MarkedDay> = BTreeMap::new();
    // the climb has come to the cell with the latest marks; of several on that day, to the highest
    let mut at: Option<(Date, CellPlace, Date)> = None;
    for (key, found) in digest.cells() {
        let Some(stage) = drill.stage_of(*key) else {
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
            let height = |(stage, rung): CellPlace| (rung.tempo(), stage, rung);
            let this = (stage, key.rung);
            if at.is_none_or(|(day, best, _)| (day, height(best)) < (last.day, height(this))) {
                at = Some((last.day, this, first.day));
            }
        }
    }
    let reach = format!(
        "{}{}",
        drill.cell_name(goal),
        until.map_or_else(String::new, |until| format!(", {until}"))
    );
    ReportedDrill {
        drill: drill.name.clone(),
        reach,
        reached: reached(digest, drill, goal, until),
        at: at.map(|(_, place, _)| drill.cell_name(place)),
        since: at.map(|(_, _, first)| first),
        days: days.into_values().collect(),
        faults: commonest(entries, drill, limits, from),
    }
}

/// The texts that the player wrote in a drill since a day: remarks with the marks that they are
/// about, and questions for the teacher.
pub fn words_of(entries: &[Entry], drill: &Known, from: Date) -> Vec<HomeworkQuestion> {
    let marks: HashMap<RecordId, &Entry> = entries
        .iter()
        .filter(|entry| matches!(entry.record.kind, Kind::Mark { .. }))
        .map(|entry| (entry.record.id, entry))
        .collect();
    let beside = |mark: &RecordId| {
        let record = &marks.get(mark)?.record;
        let cell = record.cell?;
        let place = (drill.stage_of(cell)?, cell.rung);
        let said = match record.kind {
            Kind::Mark {
                mark: Mark::Clean, ..
            } => "clean",
            _ => "not clean",
        };
        Some(format!("{said}, {}", drill.cell_name(place)))
    };
    entries
        .iter()
        .filter_map(|entry| {
            let record = &entry.record;
            let Kind::Word { about, text } = &record.kind else {
                return None;
            };
            let day = local_day(record.utc_us, record.offset_s);
            (day >= from).then(|| HomeworkQuestion {
                day: Some(day),
                about: about.as_ref().and_then(beside),
                text: text.clone(),
            })
        })
        .collect()
}

fn commonest(entries: &[Entry], drill: &Known, limits: &Thresholds, from: Date) -> Vec<String> {
    let mut counts: Vec<(FaultKind, usize)> = Vec::new();
    let tempi = PlannedStage::tempi(&drill.stages);
    for entry in entries {
        let record = &entry.record;
        let ours = record
            .cell
            .filter(|cell| drill.stage_of(*cell).is_some())
            .filter(|_| local_day(record.utc_us, record.offset_s) >= from);
        let measured = record.measures.as_deref().and_then(Measurement::from_json);
        let Some((cell, measured)) = ours.zip(measured) else {
            continue;
        };
        for fault in judge(&measured, &limits.on(cell.rung, &tempi)).faults {
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
        FaultKind::Crushed => "a tone crushed",
        FaultKind::Dragged => "a tone dragged",
        FaultKind::Unlike => "like tones not alike",
        FaultKind::Crossing => "a crossing noise",
        FaultKind::Late => "landing after the click",
        FaultKind::Early => "landing before the click",
        FaultKind::Pointing => "dots and cuts not as they are pointed",
        FaultKind::Uneven => "uneven between the clicks",
        FaultKind::Rushing => "running ahead",
        FaultKind::Dragging => "falling behind",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::practice::{Route, StagePrint};

    /// A drill with three stages: half beats, closing up at 60, and real time.
    fn drill() -> Known {
        let stage = |print, rungs: &[&str]| PlannedStage {
            print: StagePrint(print),
            rungs: rungs
                .iter()
                .map(|rung| Rung::parse(rung).expect("a rung"))
                .collect(),
            real_time: false,
        };
        let names = ["half beats", "closing up", "real time"];
        Known {
            name: "grip".to_owned(),
            title: "Grip".to_owned(),
            stages: vec![
                stage(1, &["60", "65"]),
                stage(2, &["300 ms at 60", "148 ms at 60", "73 ms at 60"]),
                stage(2, &["60", "65", "68"]),
            ],
            stage_names: names.map(str::to_owned).to_vec(),
            beats: vec![crate::units::Beats::whole(8); 3],
            clean: 5,
            route: Route::Across,
        }
    }

    #[test]
    fn a_goal_is_the_first_rung_from_its_tempo_up() {
        let drill = drill();
        let goal = |text: Option<&str>| {
            goal_in(&drill, text).map(|(stage, rung)| (stage, rung.to_string()))
        };
        assert_eq!(goal(Some("real time at 66")), Ok((2, "68".to_owned())));
        assert_eq!(goal(Some("Half-Beats at 60")), Ok((0, "60".to_owned())));
        assert_eq!(goal(Some("61")), Ok((2, "65".to_owned())));
        assert_eq!(goal(None), Ok((2, "68".to_owned())));
        let mut carried_over = drill.clone();
        carried_over.stages.push(drill.stages[0].clone());
        carried_over.stage_names.push("a line of a tune".to_owned());
        let found = goal_in(&carried_over, Some("66")).map(|(stage, _)| stage);
        assert_eq!(found, Ok(2), "the tune ends at 65");
        assert!(goal(Some("real time at 70")).is_err_and(|error| error.0.contains("ends at 68")));
        assert!(goal(Some("half beats at 68")).is_err_and(|error| error.0.contains("ends at 65")));
        assert!(
            goal(Some("reel time"))
                .is_err_and(|error| error.0.contains("did you mean `real time`?"))
        );
    }

    #[test]
    fn a_goal_of_an_opened_movement_is_the_first_length_as_short() {
        let drill = drill();
        let goal =
            |text: &str| goal_in(&drill, Some(text)).map(|(stage, rung)| (stage, rung.to_string()));
        assert_eq!(
            goal("closing up at 150 ms"),
            Ok((1, "148 ms at 60".to_owned()))
        );
        assert_eq!(
            goal("closing up at 148"),
            Ok((1, "148 ms at 60".to_owned()))
        );
        assert_eq!(goal("closing up"), Ok((1, "73 ms at 60".to_owned())));
        assert!(goal("closing up at 50 ms").is_err_and(|error| error.0.contains("ends at 73 ms")));
        assert!(
            goal("closing up at fast").is_err_and(|error| error.0.contains("such as `104 ms`"))
        );
    }

    /// Real time at the same tempo has the same music. Its marks must not count for the opened
    /// movement, nor the reverse.
    #[test]
    fn an_opened_movement_is_reached_by_its_own_marks() {
        use crate::planning::Said;
        use crate::practice::CellKey;
        let drill = drill();
        let day = jiff::civil::date(2027, 1, 9);
        let marks = |rung: &str| {
            let cell = CellKey {
                stage: StagePrint(2),
                rung: Rung::parse(rung).expect("a rung"),
            };
            Digest::of((0..5).map(|number| Said::Mark {
                id: RecordId {
                    session: uuid::Uuid::from_u128(1),
                    number,
                },
                repetition: number,
                cell,
                day,
                mark: Mark::Clean,
                assumed: false,
                needed: 5,
            }))
        };
        let goal = |text| goal_in(&drill, Some(text)).expect("a goal");
        let (opened, whole) = (marks("73 ms at 60"), marks("60"));
        assert_eq!(
            reached(&opened, &drill, goal("closing up at 148 ms"), None),
            Some(day)
        );
        assert_eq!(
            reached(&opened, &drill, goal("real time at 60"), None),
            None
        );
        assert_eq!(reached(&whole, &drill, goal("closing up"), None), None);
        let limits = Thresholds::default();
        let report = report_drill(&opened, &[], &drill, goal("real time"), None, &limits, day);
        assert_eq!(report.at.as_deref(), Some("closing up at 73 ms"));
    }
}
