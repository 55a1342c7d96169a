//! `assign`: writes homework that a teacher gives.

use super::{plain, ready};
use crate::commands::{Outcome, Ran, arguments, today};
use crate::homework::{Assignment, Task, goal_in, write_assignment};
use crate::planning::Criterion;
use crate::practice::Rung;
use crate::services::{Failure, drill_files::Opened, open, output, phrases, plan};
use crate::units::Bpm;
use crate::wording;
use jiff::civil::Date;
use std::path::PathBuf;

/// Arguments of `assign`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung assign grip-from-d --to-reach \"real time at 66\" --by 2027-01-15 \\\n    \
    --note \"listen to the B gracenote\" -o week3.yaml\n  \
    gracerung assign birl grip --until \"9 of 10\" -o week4.yaml\n  \
    gracerung assign birl my-march.abc --bars 5-8 --to-reach \"birl: real time at 60\" \\\n    \
    --to-reach \"my-march-bars-5-8: 66\" -o week5.yaml\n\n\
    Reached means: cleared at the first rung from the tempo up. The file holds the drills \
    themselves and a checksum; nothing is sent anywhere."
)]
pub(crate) struct Arguments {
    /// Drills, by name or path.
    #[arg(required = true, value_name = "DRILL")]
    drills: Vec<String>,
    #[command(flatten)]
    of_tune: arguments::OfTune,
    /// With --bars, --part or --phrase the stage that holds the tune, by number from 1 or by name.
    #[arg(long)]
    stage: Option<String>,
    /// Stage and rung to reach, such as "real time at 66" or "closing up at 104 ms"; else the top of
    /// the stage that goes highest. Of one drill among several "birl: real time at 66", once for each.
    #[arg(long, value_name = "GOAL")]
    to_reach: Vec<String>,
    /// What counts: "5 in a row", "9 of 10", "80 % sure of 80 %"; else the drill's own number in a row.
    #[arg(long, value_name = "WHAT", value_parser = criterion)]
    until: Option<Criterion>,
    /// By when, such as 2027-01-15.
    #[arg(long, value_name = "DATE", value_parser = today::day)]
    by: Option<Date>,
    /// Your words to the student.
    #[arg(long)]
    note: Option<String>,
    /// What it is called; else the file's name.
    #[arg(long, value_parser = arguments::name)]
    title: Option<String>,
    /// For whom, as it is to stand there; once for each.
    #[arg(long = "for", value_name = "NAME", value_parser = arguments::name)]
    whom: Vec<String>,
    /// The file.
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Replace the file when it exists.
    #[arg(long)]
    force: bool,
}

fn criterion(text: &str) -> Result<Criterion, String> {
    Criterion::parse(text).map_err(|error| error.to_string())
}

/// The drills with the texts of their files. Where bars of a tune are asked for, a drill of those
/// bars replaces the tune.
fn drills(arguments: &Arguments) -> Result<Vec<(Opened, String)>, Failure> {
    let named = arguments.drills.iter();
    let mut given = named
        .map(|wanted| open::open_text(wanted))
        .collect::<Result<Vec<_>, Failure>>()?;
    let which = arguments.of_tune.which();
    if which.is_given() {
        let among: Vec<&Opened> = given.iter().map(|(opened, _)| opened).collect();
        let (place, chosen) = phrases::choose_among(&among, arguments.stage.as_deref(), &which)?;
        given[place] = chosen.with_file()?;
    } else if arguments.stage.is_some() {
        return Err(Failure(
            "--stage says which stage is the tune, with --bars, --part, --phrase or --held-dots; the \
             stage to reach stands in --to-reach"
                .to_owned(),
        ));
    }
    Ok(given)
}

/// The goal of each drill: the one given under the drill's name, or else the one given for all
/// drills.
///
/// # Errors
/// Two goals are given for all drills, or two for the same drill.
fn goals(said: &[String], drills: &[&str]) -> Result<Vec<Option<String>>, Failure> {
    let mut goals: Vec<Option<String>> = vec![None; drills.len()];
    let mut of_all = None;
    for text in said {
        let named = text.split_once(':').and_then(|(name, goal)| {
            let place = drills.iter().position(|drill| *drill == name.trim())?;
            Some((place, goal.trim()))
        });
        let (slot, goal) = match named {
            Some((place, goal)) => (&mut goals[place], goal),
            None => (&mut of_all, text.as_str()),
        };
        if let Some(before) = slot.replace(goal.to_owned()) {
            let each: Vec<String> = drills.iter().map(|drill| format!("`{drill}: …`")).collect();
            return Err(Failure(format!(
                "`--to-reach` says `{before}` and `{goal}` of the same: name the drill of each, {}",
                wording::choice(&each)
            )));
        }
    }
    let goal = |own: Option<String>| own.or_else(|| of_all.clone());
    Ok(goals.into_iter().map(goal).collect())
}

/// Runs `assign`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    ready(&arguments.output, arguments.force)?;
    let today = plan::date();
    if let Some(by) = arguments.by.filter(|by| *by < today) {
        return Err(Failure(format!(
            "`--by {by}` is over: today is {today}; name today or a day to come"
        )));
    }
    let mut tasks = Vec::new();
    let mut said = Vec::new();
    let given = drills(arguments)?;
    let names: Vec<&str> = given
        .iter()
        .map(|(opened, _)| opened.name.as_str())
        .collect();
    let twice = names
        .iter()
        .enumerate()
        .find(|(place, name)| names[..*place].contains(name));
    if let Some((_, twice)) = twice {
        return Err(Failure(format!(
            "`{twice}` is named twice: name each drill once"
        )));
    }
    let goals = goals(&arguments.to_reach, &names)?;
    for ((opened, text), reach) in given.into_iter().zip(goals) {
        let known = plan::known(&opened);
        let goal = goal_in(&known, reach.as_deref()).map_err(|error| Failure(error.to_string()))?;
        let named = known.cell_name(goal);
        let next = if is_a_rung(reach.as_deref(), goal.1) {
            ""
        } else {
            ", the next rung of that stage"
        };
        said.push(format!("  {}: to reach {named}{next}\n", opened.name));
        tasks.push(Task {
            drill: opened.name,
            reach,
            until: arguments.until.map(|until| until.to_string()),
            file: text,
        });
    }
    let stem = arguments
        .output
        .file_stem()
        .map(|stem| stem.to_string_lossy().into_owned());
    let assignment = Assignment {
        homework: 1,
        title: plain(
            "title",
            &arguments.title.clone().or(stem).unwrap_or_default(),
        )?,
        whom: arguments
            .whom
            .iter()
            .map(|name| plain("name", name))
            .collect::<Result<_, _>>()?,
        given: today,
        by: arguments.by,
        note: arguments
            .note
            .as_deref()
            .map(|note| plain("note", note))
            .transpose()?,
        tasks,
    };
    let text = write_assignment(&assignment).map_err(Failure)?;
    output::write_bytes(&arguments.output, arguments.force, text.as_bytes())?;
    output::print(&format!(
        "{}: {}; the student opens it with `gracerung practise {0}`\n",
        arguments.output.display(),
        wording::count(assignment.tasks.len(), "drill", "drills"),
    ))?;
    output::print(&said.concat())?;
    Ok(Outcome::Done)
}

/// False where a goal names a tempo between two rungs. The higher rung must be reached then.
fn is_a_rung(reach: Option<&str>, goal: Rung) -> bool {
    let asked = reach.and_then(|text| text.rsplit(" at ").next());
    let asked = asked.and_then(|text| Bpm::parse(text).ok());
    asked.is_none_or(|asked| goal.tone().is_some() || asked == goal.tempo())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_drill_has_its_own_goal_or_that_of_all() {
        let goals = |said: &[&str]| {
            let said: Vec<String> = said.iter().map(|text| (*text).to_owned()).collect();
            let found = goals(&said, &["birl", "grip"]);
            found.map_err(|error| error.0).map(|goals| {
                let shown = goals.into_iter().map(Option::unwrap_or_default);
                shown.collect::<Vec<String>>().join(" | ")
            })
        };
        assert_eq!(goals(&[]).as_deref(), Ok(" | "));
        assert_eq!(
            goals(&["real time"]).as_deref(),
            Ok("real time | real time")
        );
        let each = goals(&["grip: real time at 66", "birl: 60"]);
        assert_eq!(each.as_deref(), Ok("60 | real time at 66"));
        assert_eq!(goals(&["66", "grip: 70"]).as_deref(), Ok("66 | 70"));
        let told = goals(&["66", "70"]).expect_err("two for all");
        assert!(told.contains("`birl: …` or `grip: …`"), "{told}");
        goals(&["grip: 66", "grip: 70"]).expect_err("two for one");
    }
}
