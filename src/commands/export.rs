//! `export`: writes a drill as a file for other programs.

use super::{Outcome, Ran, arguments};
use crate::drill::{Drill, StageKind};
use crate::exchange::midi::MidiPitch;
use crate::exchange::{Format, Piece, abc, midi, musicxml};
use crate::practice::Rung;
use crate::services::{Failure, open::open, output, settings, stages};
use crate::units::Hertz;
use crate::wording;
use std::path::{Path, PathBuf};

/// Arguments of `export`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung export grip-from-d -o grip.musicxml\n  \
    gracerung export grip-from-d --stage \"real time\" --tempo 66 --repeats 4 -o grip.mid\n  \
    gracerung export my-tune.abc --sounding --pipes -o my-tune.mid\n\n\
    The file's ending tells the format: .abc, .mid or .musicxml. Without --stage every stage is\n\
    written: in ABC as a tune each, in MusicXML one after another under rehearsal marks, in MIDI\n\
    one after another, each with its count-in. A stage that closes the movement up goes out as\n\
    one of its rungs, and its lengths are lost: export says so. Without --tempo a tune goes out at\n\
    the tempo it is practised up to, a movement taken apart at its first. An existing file is kept\n\
    unless --force is given."
)]
pub(crate) struct Arguments {
    /// A built-in drill's name, or a path.
    #[arg(value_name = "DRILL")]
    drill: String,
    /// One stage, by number from 1 or by name; all when left out.
    #[arg(long)]
    stage: Option<String>,
    #[command(flatten)]
    at: arguments::AtRung,
    /// Repetitions in a MIDI file, each with its breath.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=1000))]
    repeats: u32,
    /// MIDI at the chanter's own pitch and tuning, by pitch bend.
    #[arg(long)]
    sounding: bool,
    /// Pitch of low A in hertz, with --sounding: 236 when left out, 480 with --pipes.
    #[arg(long, value_parser = arguments::low_a, requires = "sounding")]
    la: Option<Hertz>,
    /// The pipe chanter instead of the practice chanter, with --sounding.
    #[arg(long, requires = "sounding")]
    pipes: bool,
    /// Where to write: FILE.abc, FILE.mid or FILE.musicxml.
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Replace a file that exists.
    #[arg(long)]
    force: bool,
}

/// The format that the file name's extension asks for.
pub(crate) fn format_of(path: &Path) -> Result<Format, Failure> {
    Format::of_name(&path.to_string_lossy()).ok_or_else(|| {
        Failure(format!(
            "`{}` tells no format: expected a name that ends in .abc, .mid, .musicxml or .mxl",
            path.display()
        ))
    })
}

/// Runs `export`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let format = format_of(&arguments.output)?;
    if arguments
        .output
        .extension()
        .is_some_and(|end| end.eq_ignore_ascii_case("mxl"))
    {
        return Err(Failure(
            "packed MusicXML is read and not written: name the file .musicxml".to_owned(),
        ));
    }
    output::ready_to_write(&arguments.output, arguments.force)?;
    let opened = open(&arguments.drill)?;
    let stage = match &arguments.stage {
        Some(wanted) => Some(stages::stage(&opened.drill, wanted)?.0),
        None => None,
    };
    let asked = arguments.at.tempo.is_some() || arguments.at.tone.is_some();
    let rung = match stage {
        Some(stage) if asked || opened.drill.movement.is_some() => {
            Some(arguments.at.rung(&opened.drill, stage)?)
        }
        _ => arguments.at.tempo.map(Rung::Tempo),
    };
    let piece = Piece::of(&opened.drill, stage, rung);
    let bytes = match format {
        Format::Abc => abc::write(&piece),
        Format::MusicXml => musicxml::write(&piece),
        Format::Midi => {
            let sounding = if arguments.sounding {
                let own = settings::sounding(arguments.la, arguments.pipes, false)?;
                MidiPitch::Tuned(settings::tuning(&own))
            } else {
                MidiPitch::AsWritten
            };
            midi::write(&piece, arguments.repeats, sounding)
        }
    };
    output::write_bytes(&arguments.output, arguments.force, &bytes)?;
    let what = match stage.and_then(|stage| opened.drill.stages.get(stage)) {
        Some(stage) => stage.name.clone(),
        None => wording::count(opened.drill.stages.len(), "stage", "stages"),
    };
    output::wrote(
        &arguments.output,
        &format!("{}, {what}", opened.drill.title),
    )?;
    for name in openings(&opened.drill, stage) {
        output::complain(&format!(
            "stage `{name}`: no other program's file holds the lengths on which it closes up; read \
             back it is the movement in real time"
        ));
    }
    Ok(Outcome::Done)
}

/// The names of the stages that open a movement, among the stages that are written.
fn openings(drill: &Drill, only: Option<usize>) -> Vec<&str> {
    drill
        .stages
        .iter()
        .enumerate()
        .filter(|(at, _)| only.is_none_or(|only| only == *at))
        .filter(|(_, stage)| matches!(stage.kind, StageKind::Opening { .. }))
        .map(|(_, stage)| stage.name.as_str())
        .collect()
}
