//! `handout`: writes a drill as one page for a browser.

use super::{Outcome, Ran, arguments, tune};
use crate::services::{
    Failure,
    drill_files::Opened,
    open::open_all,
    output,
    phrases::{self, Which},
    settings, stages,
};
use crate::sheet::{LARGEST_HANDOUT, handout_with_map};
use crate::units::Hertz;
use crate::wording;
use std::path::PathBuf;

/// Arguments of `handout`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung handout grip-from-d\n  \
    gracerung handout grip-from-d --la 238 -o grip.html\n  \
    gracerung handout week3.yaml --task grip --stage 1 --stage \"real time\"\n  \
    gracerung handout my-march.abc --phrase 3\n\n\
    The page needs no network: it lays the music out for a phone, a tablet or a desk, plays each stage\n\
    at every rung, keeps the line that sounds in view and the screen on, repeats a bar or a phrase at a\n\
    tap, shows the count and, if wanted, the fingers, takes ticks that stay on the device, and prints.\n\
    An existing file is kept unless --force is given.")]
pub(crate) struct Arguments {
    /// A built-in drill's name, or a path.
    #[arg(value_name = "DRILL")]
    drill: String,
    /// Of homework with several drills, the one that the page is of.
    #[arg(long, value_name = "DRILL")]
    task: Option<String>,
    /// A stage for the page, by number from 1 or by name; once for each, all when left out. With --bars,
    /// --part or --phrase the stage that holds the tune.
    #[arg(long = "stage", value_name = "STAGE")]
    stages: Vec<String>,
    #[command(flatten)]
    of_tune: arguments::OfTune,
    /// Pitch of low A in hertz: as in the settings when left out.
    #[arg(long, value_parser = arguments::low_a)]
    la: Option<Hertz>,
    /// The pitch of the pipe chanter instead of the practice chanter's.
    #[arg(long)]
    pipes: bool,
    /// Under the staves of a tune where you failed lately, from your journal.
    #[arg(long)]
    where_it_fails: bool,
    /// Where to write; else a page of the drill's name in this folder.
    #[arg(short, long, value_name = "FILE.html")]
    output: Option<PathBuf>,
    /// Replace a file that exists.
    #[arg(long)]
    force: bool,
}

/// The drill that the page shows.
fn chosen(arguments: &Arguments) -> Result<Opened, Failure> {
    let mut drills = open_all(&arguments.drill)?;
    let names: Vec<String> = drills.iter().map(|one| format!("`{}`", one.name)).collect();
    let place = match &arguments.task {
        None if drills.len() == 1 => Some(0),
        None => None,
        Some(wanted) => drills.iter().position(|one| one.name == *wanted),
    };
    place.map(|place| drills.swap_remove(place)).ok_or_else(|| {
        Failure(format!(
            "a page is of one drill: name it with --task, {}",
            wording::choice(&names)
        ))
    })
}

/// The chosen bars of the tune as a drill.
fn taken(arguments: &Arguments, opened: &Opened, which: &Which) -> Result<Opened, Failure> {
    let stage = match arguments.stages.as_slice() {
        [] => None,
        [stage] => Some(stage.as_str()),
        _ => {
            return Err(Failure(
                "bars are those of one stage: give --stage once".to_owned(),
            ));
        }
    };
    let (drill, _) = phrases::choose(opened, stage, which)?.with_file()?;
    Ok(drill)
}

/// Runs `handout`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let target = output::or_named(arguments.output.as_deref(), &arguments.drill, "html");
    output::named(&target, &["html", "htm"])?;
    output::ready_to_write(&target, arguments.force)?;
    let mut opened = chosen(arguments)?;
    let which = arguments.of_tune.which();
    if which.is_given() {
        opened = taken(arguments, &opened, &which)?;
    }
    let stages = arguments.stages.iter().filter(|_| !which.is_given());
    let wanted = stages
        .map(|wanted| stages::stage(&opened.drill, wanted).map(|found| found.0))
        .collect::<Result<Vec<usize>, Failure>>()?;
    if !wanted.is_empty() {
        let mut place = 0..;
        opened
            .drill
            .stages
            .retain(|_| place.next().is_some_and(|place| wanted.contains(&place)));
    }
    let own = settings::sounding(arguments.la, arguments.pipes, false)?;
    let bars = if arguments.where_it_fails {
        tune::bars_that_fail(&opened)
    } else {
        Vec::new()
    };
    let page = handout_with_map(&opened.drill, settings::tuning(&own), &bars);
    if page.len() > LARGEST_HANDOUT {
        return Err(Failure(format!(
            "the handout of `{}` would be {} kB, more than the {} kB a tablet opens at once: \
             hand out fewer stages with --stage, once for each",
            opened.name,
            page.len() / 1000,
            LARGEST_HANDOUT / 1000
        )));
    }
    output::write_bytes(&target, arguments.force, page.as_bytes())?;
    let size = format!("{}, {} kB", opened.drill.title, page.len().div_ceil(1000));
    output::wrote(&target, &size)?;
    Ok(Outcome::Done)
}
