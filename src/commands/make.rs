//! `make`: writes a drill file of a movement, of the crossings or of one finger.

use super::{Outcome, Ran, arguments};
use crate::chanter::{Finger, Note};
use crate::drill::{Build, DrillDocument, Request, make, make_crossings, make_finger};
use crate::movement::find_said;
use crate::rhythm::Metre;
use crate::services::{
    Failure, folders,
    making::{never_opened, notes, text_of},
    output,
};
use crate::wording;
use std::path::{Path, PathBuf};

/// How a movement is built up, as it is typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum BuildUp {
    /// Tone by tone where there are four tones or more, whole otherwise.
    AsFits,
    /// Every tone from the start, at ever shorter lengths.
    Whole,
    /// The first tone, then one more each time.
    ToneByTone,
    /// The last tone, then one more in front each time.
    LastPartFirst,
    /// The first half, then the second.
    Groups,
}

/// Arguments of `make`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung make taorluath --from LG --to LA\n  \
    gracerung make grip --from D --to LA,D --chain\n  \
    gracerung make crunluath --build last-part-first --bridge\n  gracerung make crossings\n  \
    gracerung make --finger bottom-ring -o ring-finger.yaml\n\n\
    Without -o it goes among your own drills, under a name that says what it is; `-o -` prints it.\n\
    It is yours to read and edit; `gracerung check` reads it."
)]
pub(crate) struct Arguments {
    /// The movement, or `crossings`: all 36 changes of note without gracenotes, worst first.
    #[arg(required_unless_present = "finger", value_name = "MOVEMENT")]
    what: Option<String>,
    /// The note or notes it comes from; left out, where it stands most often, and at the end from
    /// three notes that it comes from in tunes and in a line of a tune.
    #[arg(long, value_name = "NOTES", value_delimiter = ',', value_parser = arguments::note)]
    from: Vec<Note>,
    /// The note or notes it closes on.
    #[arg(long, value_name = "NOTES", value_delimiter = ',', value_parser = arguments::note)]
    to: Vec<Note>,
    /// A school to play it by; may be given several times.
    #[arg(long, value_name = "NAME")]
    school: Vec<String>,
    /// How a movement of several tones is built up.
    #[arg(long, value_enum, default_value = "as-fits")]
    build: BuildUp,
    /// Add a stage of eighths of a beat, where the way to real time is long.
    #[arg(long)]
    bridge: bool,
    /// Chain the movement: four in a row, up and down the scale.
    #[arg(long)]
    chain: bool,
    /// How bars are counted: a number from 1 to 32 over 1, 2, 4, 8 or 16, such as 6/8.
    #[arg(long, default_value = "4/4", value_parser = metre)]
    metre: Metre,
    /// Everything that works one finger: thumb, top-index … bottom-little.
    #[arg(long, value_parser = arguments::finger, conflicts_with_all = ["what", "from", "to"])]
    finger: Option<Finger>,
    /// The file to write, `-` to print it; else one among your own drills.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replace a file that exists.
    #[arg(long)]
    force: bool,
}

fn metre(text: &str) -> Result<Metre, String> {
    Metre::parse(text).map_err(|error| error.to_string())
}

/// Runs `make`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let printed = arguments.output.as_deref() == Some(Path::new("-"));
    if let Some(target) = arguments.output.as_deref().filter(|_| !printed) {
        output::ready_to_write(target, arguments.force)?;
    }
    let document = document(arguments)?;
    let target = match &arguments.output {
        Some(_) if printed => None,
        Some(target) => Some(target.clone()),
        None => {
            let folder = folders::own_drills()?;
            output::make_folder(&folder)?;
            Some(folder.join(format!("{}.yaml", name_of(arguments))))
        }
    };
    put(&document, target.as_deref(), arguments.force)
}

/// A file name that says what the drill is about. It differs from the names of built-in drills,
/// because a drill of the player's own with the same name would hide the built-in one.
fn name_of(arguments: &Arguments) -> String {
    let notes = |word: &str, notes: &[Note]| -> String {
        let names: Vec<String> = notes
            .iter()
            .map(|note| note.name().to_lowercase())
            .collect();
        if names.is_empty() {
            String::new()
        } else {
            format!("-{word}-{}", names.join("-"))
        }
    };
    let name = if let Some(finger) = arguments.finger {
        format!("finger-{}", finger.name())
    } else {
        let what = arguments.what.as_deref().unwrap_or_default();
        let movement = find_said(what).map_or("crossings", |named| named.movement.name());
        let (from, to) = (notes("from", &arguments.from), notes("to", &arguments.to));
        format!("{movement}{from}{to}")
    };
    match crate::drill::built_in(&name) {
        Some(_) => format!("my-{name}"),
        None => name,
    }
}

/// Prints a made drill, or writes it into a file.
///
/// # Errors
/// The target cannot be written.
pub(crate) fn put(document: &DrillDocument, target: Option<&Path>, force: bool) -> Ran {
    let text = text_of(document)?;
    let shut = never_opened(document);
    match target {
        None => output::print(&text)?,
        Some(target) => {
            output::write_bytes(target, force, text.as_bytes())?;
            let stages = document.stages.as_ref().map_or(0, Vec::len);
            let stages = wording::count(stages, "stage", "stages");
            let shut = shut.map_or_else(String::new, |shut| format!("\n{shut}"));
            output::wrote(target, &format!("{}, {stages}{shut}", document.title))?;
            if folders::own_drills().is_ok_and(|own| target.starts_with(own))
                && let Some(name) = target.file_stem()
            {
                output::print(&format!(
                    "`gracerung practise {}` plays it\n",
                    name.to_string_lossy()
                ))?;
            }
        }
    }
    Ok(Outcome::Done)
}

fn document(arguments: &Arguments) -> Result<DrillDocument, Failure> {
    if let Some(finger) = arguments.finger {
        return Ok(make_finger(finger));
    }
    let what = arguments.what.as_deref().unwrap_or_default();
    if ["crossings", "crossing"].contains(&what.trim().to_lowercase().as_str()) {
        return Ok(make_crossings());
    }
    let named = find_said(what).map_err(|error| {
        let near = wording::nearest(what, ["crossings"]).filter(|_| error.nearest.is_none());
        Failure(match near {
            Some(near) => format!("`{what}` is no movement: did you mean `{near}`?"),
            None => error.to_string(),
        })
    })?;
    let or_said = |asked: &[Note], said: Option<Note>| match (asked, said) {
        ([], Some(said)) => vec![said],
        _ => asked.to_vec(),
    };
    let (from, to) = notes(
        named.movement,
        &or_said(&arguments.from, named.from),
        &or_said(&arguments.to, named.to),
    );
    let schools = arguments::schools(&arguments.school)?;
    make(&Request {
        movement: named.movement,
        from,
        to,
        schools: named
            .school
            .map_or(schools.clone(), |school| schools.and(school)),
        build: match arguments.build {
            BuildUp::AsFits => Build::AsFits,
            BuildUp::Whole => Build::Whole,
            BuildUp::ToneByTone => Build::ToneByTone,
            BuildUp::LastPartFirst => Build::LastPartFirst,
            BuildUp::Groups => Build::Groups,
        },
        bridge: arguments.bridge,
        chain: arguments.chain,
        transfer: arguments.from.is_empty(),
        metre: arguments.metre,
    })
    .map_err(|error| Failure(error.to_string()))
}
