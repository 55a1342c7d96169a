//! `tune`: lists the movements of a tune, the hardest first, and makes a drill of a bar or a
//! movement of it.

use super::{Outcome, Ran, arguments, make};
use crate::app::{planned, prints, scores};
use crate::chanter::Note;
use crate::drill::{BarRange, InPlace, Tune, all_bars, make_in_place, make_joined};
use crate::movement::{Context, Movement, write_parts};
use crate::planning::{BarLine, Lately, bar_lines, work_on, work_on_words};
use crate::practice::{CellStatus, Plan, replay};
use crate::score::{Found, Score, movements};
use crate::services::{
    Failure,
    drill_files::Opened,
    folders,
    library::{self, playable},
    open::open,
    output, phrases, plan, stages,
    table::table,
};
use crate::units::Bpm;
use crate::wording;
use serde::Serialize;
use std::collections::HashMap;
use std::path::PathBuf;

/// Arguments of `tune`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung tune lamp-on-the-slipway\n  \
    gracerung tune my-march.yaml --bar 3 -o bar-3.yaml\n  \
    gracerung tune my-march.yaml --movement 1 -o grip-in-its-place.yaml\n  \
    gracerung tune my-march.abc --phrases -o my-march-built-up.yaml\n  \
    gracerung tune my-march.abc --phrases=1-2,3-4 --part 1\n\n\
    A tune from its phrases: each by itself, each with the next, from the end backwards, whole; the\n\
    board opens one after the other. `practise FILE --bars 5-8` takes any bars.\n\n\
    JSON: {\"title\":…,\"movements\":[{\"number\":1,\"name\":…,\"gracenotes\":[…],\"from\":…,\"to\":…,\
    \"places\":[…],\"difficulty\":…,\"cleared\":…}],\n\
    \"bars\":[{\"bar\":…,\"of\":…,\"failed\":…}],\"work_on\":[…]}; name is null for an unknown group, cleared null \
    or the\nhighest tempo at which a cell with this movement between these notes is clear.\n\n\
    Exit 0: the tune was read.")]
pub(crate) struct Arguments {
    /// A built-in drill's name, or a path to a drill or tune.
    #[arg(value_name = "FILE")]
    file: String,
    /// Stage by number from 1, or by name.
    #[arg(long, default_value = "1")]
    stage: String,
    /// Make a drill of this bar, from 1 (a pickup is 0), with the bars around it.
    #[arg(long, value_name = "NUMBER")]
    bar: Option<u16>,
    /// Make a drill of this movement of the list, taken apart where it first stands.
    #[arg(long, value_name = "NUMBER", conflicts_with = "bar")]
    movement: Option<usize>,
    /// Make a drill that builds the tune up from its phrases; by the usual rule, or these bars.
    #[arg(long, value_name = "BARS", value_delimiter = ',', num_args = 0.., require_equals = true,
          value_parser = arguments::bars, conflicts_with_all = ["bar", "movement"])]
    phrases: Option<Vec<BarRange>>,
    /// With --phrases, this part of the tune alone.
    #[arg(long, value_name = "NUMBER", requires = "phrases")]
    part: Option<usize>,
    /// The file to write; the drill is printed when left out.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replace a file that exists.
    #[arg(long)]
    force: bool,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
}

/// A movement in the form for other programs.
#[derive(Serialize)]
struct Row {
    number: usize,
    name: Option<&'static str>,
    gracenotes: Vec<Note>,
    from: Option<Note>,
    to: Note,
    places: Vec<String>,
    difficulty: u32,
    cleared: Option<Bpm>,
}

#[derive(Serialize)]
struct Document<'a> {
    title: &'a str,
    movements: Vec<Row>,
    bars: &'a [BarLine],
    work_on: &'a [u16],
}

/// Runs `tune`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let opened = open(&arguments.file)?;
    let (stage, _) = stages::stage(&opened.drill, &arguments.stage)?;
    let all = scores(&opened.drill);
    let score = &all[stage];
    if let Some(given) = &arguments.phrases {
        return joined(arguments, &opened, stage, given);
    }
    let known = playable();
    let bars = failing(&opened, stage, &known);
    let found = where_it_fails_first(movements(score), &bars);
    let work_on = work_on(&bars);
    if arguments.bar.is_some() || arguments.movement.is_some() {
        return place(arguments, &opened, stage, score, &found);
    }
    let cleared = cleared(&known);
    let rows: Vec<Row> = found
        .iter()
        .enumerate()
        .map(|(index, found)| Row {
            number: index + 1,
            name: found.movement.map(Movement::name),
            gracenotes: found.gracenotes(),
            from: found.context.before,
            to: found.context.after,
            places: found
                .places
                .iter()
                .map(|(bar, note)| format!("{bar}.{note}"))
                .collect(),
            difficulty: found.difficulty,
            cleared: cleared.get(&(found.gracenotes(), found.context)).copied(),
        })
        .collect();
    if arguments.json {
        output::print_json(&Document {
            title: &opened.drill.title,
            movements: rows,
            bars: &bars,
            work_on: &work_on,
        })?;
    } else {
        // a drill's first stage may hold only single notes, while a later stage holds the movement
        let title = match opened.drill.stages.as_slice() {
            [_] => opened.drill.title.clone(),
            stages => format!(
                "{}, stage {} of {}, {}",
                opened.drill.title,
                stage + 1,
                stages.len(),
                stages[stage].name
            ),
        };
        output::print(&told(&title, &rows, &found, !work_on.is_empty()))?;
        output::print(&map(&bars, &work_on))?;
    }
    Ok(Outcome::Done)
}

/// A movement's name as players say it.
fn spoken(found: &Found) -> String {
    let movement = found.movement.map(Movement::spoken);
    movement.unwrap_or("unknown").to_owned()
}

fn told(title: &str, rows: &[Row], found: &[Found], fails: bool) -> String {
    let places: usize = rows.iter().map(|row| row.places.len()).sum();
    let open = rows.iter().filter(|row| row.cleared.is_none()).count();
    let order = if fails {
        "What stands where it fails first, then the hardest"
    } else {
        "The hardest first"
    };
    let head = format!(
        "{title}: {}, {} in all; {open} not cleared yet\n{order}; at says where, as bar.note.\n\n",
        wording::count(rows.len(), "movement", "movements"),
        wording::count(places, "place", "places"),
    );
    let cells: Vec<[String; 6]> = rows
        .iter()
        .zip(found)
        .map(|(row, found)| {
            let from = row.from.map_or("start", Note::name);
            [
                format!("{:>3}", row.number),
                spoken(found),
                format!("{from} to {}", row.to),
                row.cleared
                    .map_or_else(|| "not yet".to_owned(), |tempo| format!("at {tempo}")),
                row.places.join(" "),
                write_parts(&found.parts),
            ]
        })
        .collect();
    head + &table(
        ["no.", "movement", "context", "cleared", "at", "gracenotes"],
        &cells,
    )
}

/// The results of each bar of a stage, from this drill and from every known drill made of its bars.
pub(crate) fn failing(opened: &Opened, stage: usize, drills: &[Opened]) -> Vec<BarLine> {
    let own = scores(&opened.drill);
    let Some(tune) = own.get(stage) else {
        return Vec::new();
    };
    let mut known: Vec<Score> = own.clone();
    known.extend(drills.iter().flat_map(|other| scores(&other.drill)));
    let named: Vec<_> = prints(&known).into_iter().zip(&known).collect();
    let all: Vec<_> = named.iter().map(|(print, _)| *print).collect();
    let journal = plan::journal().ok().flatten();
    let entries = journal.and_then(|journal| journal.latest(&all, Lately::MOST).ok());
    bar_lines(tune, &named, &entries.unwrap_or_default())
}

/// The results of each bar of a tune, from the tune itself and from every playable drill made of
/// its bars. Empty where the drill is not a tune.
pub(super) fn bars_that_fail(opened: &Opened) -> Vec<BarLine> {
    if opened.drill.is_tune() {
        failing(opened, 0, &library::playable())
    } else {
        Vec::new()
    }
}

/// Puts the movements in bars to work on first, those of the worst bar at the front. The other
/// movements keep their order.
fn where_it_fails_first(mut found: Vec<Found>, bars: &[BarLine]) -> Vec<Found> {
    let work_on = work_on(bars);
    let worst = |found: &Found| {
        let lines = bars.iter().filter(|line| {
            work_on.contains(&line.bar) && found.places.iter().any(|(bar, _)| *bar == line.bar)
        });
        lines.map(BarLine::share).fold(0.0, f64::max)
    };
    found.sort_by(|one, other| worst(other).total_cmp(&worst(one)));
    found
}

/// A map of where the tune failed, with eight bars a line; empty where no bar has a result yet.
fn map(bars: &[BarLine], work_on: &[u16]) -> String {
    use std::fmt::Write as _;
    if bars.iter().all(|line| line.of == 0) {
        return String::new();
    }
    let mut text = String::from(
        "\nwhere it failed, of the last 20 times each bar was played (· never, – not played)\n",
    );
    let counted: Vec<&BarLine> = bars.iter().filter(|line| line.bar > 0).collect();
    for row in counted.chunks(8) {
        text.push_str("  bar  ");
        for line in row {
            let _ = write!(text, "{:>6}", line.bar);
        }
        text.push_str("\n       ");
        for line in row {
            let said = match line.of {
                0 => "–".to_owned(),
                _ if line.failed == 0.0 => "·".to_owned(),
                of => format!("{:.0}/{of}", line.failed.max(1.0)),
            };
            let _ = write!(text, "{said:>6}");
        }
        text.push('\n');
    }
    if let Some(words) = work_on_words(work_on) {
        let _ = writeln!(text, "{words}");
    }
    text
}

/// The highest tempo at which the player cleared each movement between two notes, from every known
/// drill. A cleared cell counts for every movement that its stage plays in real time.
fn cleared(drills: &[Opened]) -> HashMap<(Vec<Note>, Context), Bpm> {
    let mut cleared: HashMap<(Vec<Note>, Context), Bpm> = HashMap::new();
    // without a journal nothing was practised yet; merely asking must not create one
    let Some(mut journal) = folders::data()
        .ok()
        .map(|folder| folder.join("journal.sqlite"))
        .filter(|path| path.is_file())
        .and_then(|path| plan::to_read(&path).ok())
    else {
        return cleared;
    };
    for opened in drills {
        let scores = scores(&opened.drill);
        let entries = journal.board(&prints(&scores)).unwrap_or_default();
        if entries.is_empty() {
            continue;
        }
        let stages = planned(&opened.drill, &scores);
        let state = replay(Plan::new(&opened.name, stages), &entries);
        for (stage, score) in scores.iter().enumerate() {
            let cells = state.board().stage(stage).iter();
            // a cell of an opened movement does not count as one in real time
            let highest = cells
                .filter(|cell| cell.status == CellStatus::Clear && !cell.key.rung.is_opened())
                .map(|cell| cell.key.rung.tempo())
                .max();
            let Some(highest) = highest else { continue };
            for found in movements(score) {
                let best = cleared
                    .entry((found.gracenotes(), found.context))
                    .or_insert(highest);
                *best = highest.max(*best);
            }
        }
    }
    cleared
}

/// Makes the drill that builds the tune up from its phrases.
fn joined(arguments: &Arguments, opened: &Opened, stage: usize, given: &[BarRange]) -> Ran {
    let tune = Tune {
        drill: &opened.drill,
        stage: &opened.drill.stages[stage],
    };
    let part = arguments
        .part
        .map(|number| phrases::part(&tune, number))
        .transpose()?;
    let in_order = match given {
        [] => phrases::in_order(&tune, part, "name them, such as `--phrases=1-3,4-6`")?,
        given => {
            phrases::check(&tune, part, given)?;
            given.to_vec()
        }
    };
    let document = make_joined(&tune, &in_order, arguments.part)
        .map_err(|error| Failure(error.to_string()))?;
    make::put(&document, arguments.output.as_deref(), arguments.force)
}

/// Makes the drill of a bar, or of a movement at its place in the tune.
fn place(
    arguments: &Arguments,
    opened: &Opened,
    stage: usize,
    score: &Score,
    found: &[Found],
) -> Ran {
    let (bar, note) = match (arguments.bar, arguments.movement) {
        (_, Some(number)) => {
            let (bar, note) = number
                .checked_sub(1)
                .and_then(|index| found.get(index)?.places.first().copied())
                .ok_or_else(|| {
                    Failure(format!(
                        "there is no movement {number}: the list has {}",
                        found.len()
                    ))
                })?;
            (bar, Some(usize::from(note) - 1))
        }
        (bar, None) => (bar.unwrap_or(1), None),
    };
    let written = score
        .bars
        .iter()
        .find(|known| known.number == bar)
        .map(|known| known.written)
        .ok_or_else(|| {
            let all = all_bars(&opened.drill.stages[stage].music);
            Failure(format!(
                "`{}` has no bar {bar}: it has {}",
                opened.drill.title,
                all.spoken()
            ))
        })?;
    let document = make_in_place(&InPlace {
        tune: Tune {
            drill: &opened.drill,
            stage: &opened.drill.stages[stage],
        },
        bar: written,
        note,
    })
    .map_err(|error| Failure(error.to_string()))?;
    let about = document
        .about
        .clone()
        .filter(|_| arguments.output.is_some());
    let ran = make::put(&document, arguments.output.as_deref(), arguments.force)?;
    // a drill that goes into a file is not visible, so a sentence says what was made
    if let Some(about) = about {
        output::print(&format!("{about}\n"))?;
    }
    Ok(ran)
}
