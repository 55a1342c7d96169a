//! `render`: writes a stage into a WAV file.

use super::{Outcome, Ran, arguments};
use crate::app::score_of;
use crate::rhythm::{ClickPlan, ReferencePlan};
use crate::services::{open::open, output, settings, stages};
use crate::sound::{Bounce, Bus, Sound};
use crate::timeline::{Layout, lay};
use crate::units::{Hertz, SampleRate};
use crate::wording;
use indicatif::{ProgressBar, ProgressStyle};
use std::io::{BufWriter, IsTerminal};
use std::path::PathBuf;
use std::sync::Arc;

/// Arguments of `render`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung render grip-from-d\n  \
    gracerung render grip-from-d --stage \"real time\" --tempo 66 --repeats 8 --drones -o grip.wav\n\n\
    The file holds one bar of count-in, then each repetition with its breath. An existing file is\n\
    kept unless --force is given. Pitch, tuning, drones, click and the balance of the levels are\n\
    those of `gracerung settings`.")]
pub(crate) struct Arguments {
    /// A built-in drill's name, or a path.
    #[arg(value_name = "DRILL")]
    drill: String,
    /// Stage by number from 1, or by name.
    #[arg(long, default_value = "1")]
    stage: String,
    #[command(flatten)]
    at: arguments::AtRung,
    /// Repetitions, each with its breath.
    #[arg(long, default_value_t = 4, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    repeats: u32,
    /// Frames a second.
    #[arg(long, default_value = "48000", value_parser = arguments::rate)]
    rate: SampleRate,
    /// Pitch of low A in hertz: that of the settings when left out, else 236, 480 with --pipes.
    #[arg(long, value_parser = arguments::low_a)]
    la: Option<Hertz>,
    /// The pipe chanter instead of the practice chanter.
    #[arg(long)]
    pipes: bool,
    /// Drones beside the chanter.
    #[arg(long)]
    drones: bool,
    /// The chanter line alone.
    #[arg(long)]
    no_click: bool,
    /// The click alone.
    #[arg(long)]
    no_reference: bool,
    /// Where to write; else a file of the drill's name in this folder.
    #[arg(short, long, value_name = "FILE.wav")]
    output: Option<PathBuf>,
    /// Replace a file that exists.
    #[arg(long)]
    force: bool,
}

/// Runs `render`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let target = output::or_named(arguments.output.as_deref(), &arguments.drill, "wav");
    output::named(&target, &["wav"])?;
    output::ready_to_write(&target, arguments.force)?;
    let opened = open(&arguments.drill)?;
    let (stage, written) = stages::stage(&opened.drill, &arguments.stage)?;
    let rung = arguments.at.rung(&opened.drill, stage)?;
    let layout = Layout {
        lengths: rung.lengths(opened.drill.lengths),
        ..Layout::at(rung.tempo(), arguments.rate)
    };
    let own = settings::sounding(arguments.la, arguments.pipes, arguments.drones)?;
    let options = settings::options(&own);
    let mut levels = settings::balance(&own);
    levels.mute(Bus::Click, arguments.no_click);
    levels.mute(Bus::Reference, arguments.no_reference);
    let bounce = Bounce {
        timeline: Arc::new(lay(&score_of(&opened.drill, stage), &layout)),
        repetitions: u64::from(arguments.repeats),
        rate: arguments.rate,
        sound: Sound {
            levels,
            ..options.sound()
        },
        reference: ReferencePlan::Every,
        clicks: ClickPlan::Every,
    };
    let bar = progress(bounce.frames().seconds(arguments.rate).0);
    output::write_file(&target, arguments.force, |file| {
        bounce
            .write(BufWriter::new(file), |done, total| {
                bar.set_length(total.0);
                bar.set_position(done.0);
            })
            .map(|_| ())
            .map_err(|error| output::cannot_write(&target, &error))
    })?;
    bar.finish_and_clear();
    let seconds = bounce.frames().seconds(arguments.rate).0.round() as usize;
    output::wrote(
        &target,
        &format!(
            "{}, {} at {}, {}",
            opened.drill.title,
            written.name,
            rung.spoken(),
            wording::count(seconds, "second", "seconds")
        ),
    )?;
    Ok(Outcome::Done)
}

/// The length of sound in seconds from which a progress bar is shown. It takes about two seconds to
/// compute.
const LONG: f64 = 600.0;

fn progress(seconds: f64) -> ProgressBar {
    if seconds < LONG || !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(1);
    if let Ok(style) = ProgressStyle::with_template("rendering [{bar:30}] {percent} %") {
        bar.set_style(style.progress_chars("=> "));
    }
    bar
}
