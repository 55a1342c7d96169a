//! `takes`: lists the recordings kept while practising, plays them beside the reference or at half
//! speed, and writes them to files.

use super::{Outcome, Ran};
use crate::chanter::{Tuning, TuningTable};
use crate::listening::{align, hear_piece};
use crate::live::{Asked, DeviceError, Playback, Quiet, Stereo};
use crate::services::{
    Failure, folders, output, settings, signals,
    table::table,
    takes::{About, all, piece, read, write},
    terminal,
};
use crate::settings::keys;
use crate::sound::{at_rate, beside, half_speed, level_out};
use crate::units::{Gain, Hertz, SampleRate, Seconds};
use crate::wording;
use serde::Serialize;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Arguments of `takes`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung takes\n  gracerung takes 1\n  \
    gracerung takes 1 --half --alone\n  gracerung takes 1 --half -o slow.wav\n  gracerung takes 3 --remove\n\n\
    `p` keeps a take while you practise with --mark-by ear: what the microphone heard since you\n\
    began to play, at most the last 90 seconds or a repetition that is longer. 1 is the newest. It is\n\
    played on the left with the reference of the same stage and tempo on the right, each repetition\n\
    where you played it.\n\n\
    JSON: [{\"number\":1,\"name\":…,\"drill\":…,\"stage\":…,\"tempo\":…,\"la_hz\":…,\"seconds\":…}]")]
pub(crate) struct Arguments {
    /// Which take: its number, 1 the newest, or its name; the list when left out.
    #[arg(value_name = "TAKE")]
    take: Option<String>,
    /// The take alone, in both ears.
    #[arg(long, requires = "take")]
    alone: bool,
    /// Take and reference both in both ears.
    #[arg(long, requires = "take", conflicts_with = "alone")]
    mixed: bool,
    /// At half speed, the pitch kept.
    #[arg(long, requires = "take")]
    half: bool,
    /// Write into this WAV file and play nothing.
    #[arg(short, long, value_name = "FILE", requires = "take")]
    output: Option<PathBuf>,
    /// Replace a file that exists.
    #[arg(long)]
    force: bool,
    /// Remove the take.
    #[arg(long, requires = "take", conflicts_with_all = ["output", "half", "alone"])]
    remove: bool,
    /// Sound device, by the name that `devices` prints.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Print the list as JSON.
    #[arg(long, conflicts_with = "take")]
    json: bool,
}

#[derive(Serialize)]
struct Row<'a> {
    number: usize,
    name: &'a str,
    #[serde(flatten)]
    about: &'a About,
}

/// Runs `takes`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let takes = all()?;
    let Some(wanted) = &arguments.take else {
        return list(&takes, arguments.json);
    };
    let number = wanted.parse::<usize>().ok().filter(|number| *number > 0);
    let found = match number {
        Some(number) => takes.get(number - 1),
        None => takes.iter().find(|(name, _)| name == wanted),
    };
    let (name, about) = found.ok_or_else(|| {
        Failure(format!(
            "no take `{wanted}`: {}",
            match takes.len() {
                0 =>
                    "none was kept yet; `p` keeps one while you practise with --mark-by ear".into(),
                count => format!("expected a number from 1 to {count}, or a name of the list"),
            }
        ))
    })?;
    let path = folders::takes()?.join(format!("{name}.wav"));
    if arguments.remove {
        return remove(&path);
    }
    if let Some(target) = &arguments.output {
        output::named(target, &["wav"])?;
        output::ready_to_write(target, arguments.force)?;
    }
    let (samples, rate) = read(&path)?;
    let reference = if arguments.alone {
        None
    } else {
        reference(&samples, rate, about)?
    };
    let mut channels = vec![samples];
    channels.extend(reference);
    if arguments.half {
        for channel in &mut channels {
            *channel = half_speed(channel, rate);
        }
    }
    level_out(&mut channels);
    if arguments.mixed && channels.len() == 2 {
        let reference = channels.remove(1);
        for (sample, other) in channels[0].iter_mut().zip(reference) {
            *sample = 0.5 * (*sample + other);
        }
    }
    if let Some(target) = &arguments.output {
        let channels: Vec<&[f32]> = channels.iter().map(Vec::as_slice).collect();
        write(target, arguments.force, &channels, rate)?;
        output::wrote(
            target,
            &format!(
                "{}, {} at {}",
                about.drill,
                about.stage,
                about.rung.spoken()
            ),
        )?;
        return Ok(Outcome::Done);
    }
    play(arguments.device.as_deref(), channels, rate)
}

/// Plays a recording as it is, in both ears.
///
/// # Errors
/// The recording cannot be read or played.
pub(super) fn play_file(file: &Path) -> Result<(), Failure> {
    let (samples, rate) = read(file)?;
    let mut channels = vec![samples];
    level_out(&mut channels);
    output::print(&format!("{}: ", file.display()))?;
    play(None, channels, rate).map(|_| ())
}

fn list(takes: &[(String, About)], json: bool) -> Ran {
    if json {
        let rows: Vec<Row<'_>> = takes
            .iter()
            .enumerate()
            .map(|(place, (name, about))| Row {
                number: place + 1,
                name,
                about,
            })
            .collect();
        output::print_json(&rows)?;
    } else if takes.is_empty() {
        output::print("no takes yet: `p` keeps one while you practise with --mark-by ear\n")?;
    } else {
        let rows: Vec<[String; 5]> = takes
            .iter()
            .enumerate()
            .map(|(place, (name, about))| {
                [
                    (place + 1).to_string(),
                    name.clone(),
                    about.stage.clone(),
                    about.rung.spoken(),
                    format!("{:.0} s", about.seconds),
                ]
            })
            .collect();
        output::print(&table(["", "take", "stage", "at", "length"], &rows))?;
    }
    Ok(Outcome::Done)
}

fn remove(path: &Path) -> Ran {
    let told =
        |error: std::io::Error| Failure(format!("cannot remove `{}`: {error}", path.display()));
    std::fs::remove_file(path).map_err(told)?;
    let _ = std::fs::remove_file(path.with_extension("json"));
    output::print(&format!("{}: removed\n", path.display()))?;
    Ok(Outcome::Done)
}

/// The reference, laid beside the repetitions that are found in the recording. Where there are
/// none, the reason is given.
fn reference(
    samples: &[f32],
    rate: SampleRate,
    about: &About,
) -> Result<Option<Vec<f32>>, Failure> {
    let Ok((timeline, piece)) = piece(about) else {
        output::complain(&format!(
            "the take alone: its drill `{}` with the stage `{}` is not there any more",
            about.drill, about.stage
        ));
        return Ok(None);
    };
    let low_a = Hertz(about.la_hz);
    let table = TuningTable::default();
    let mut whole = Some(samples.to_vec());
    let heard = hear_piece(rate, Some(low_a), table, &piece, || {
        whole.take().unwrap_or_default()
    })
    .map_err(|error| Failure(error.to_string()))?;
    let starts: Vec<Seconds> = align(&piece, &heard.notes)
        .repetitions
        .iter()
        .map(|repetition| repetition.start)
        .collect();
    if starts.is_empty() {
        output::complain("the take alone: no whole repetition of the stage was heard in it");
        return Ok(None);
    }
    let tuning = Tuning::with_low_a(low_a, table);
    Ok(Some(beside(samples, rate, &timeline, tuning, &starts)))
}

fn play(device: Option<&str>, channels: Vec<Vec<f32>>, rate: SampleRate) -> Ran {
    let own = settings::load(&[], &[&[keys::DEVICE.id()]])?;
    let asked = Asked {
        device: device.or(own.given(keys::DEVICE)).map(str::to_owned),
        buffer: None,
    };
    let apart = channels.len() == 2;
    let log = terminal::log_file();
    let quiet = Quiet::into_file(log.as_ref()).ok();
    let playback = Playback::open::<Failure>(&asked, Gain(1.0), false, |device| {
        let mut moved = Vec::with_capacity(channels.len());
        for channel in channels {
            moved.push(at_rate(channel, rate, device).map_err(Failure)?);
        }
        let right = moved.len() - 1;
        let stereo: Stereo = (0..moved[0].len())
            .map(|at| [moved[0][at], moved[right].get(at).copied().unwrap_or(0.0)])
            .collect();
        Ok(stereo)
    });
    drop(quiet);
    let playback = playback?;
    let seconds = playback.seconds();
    let how = if apart {
        "you on the left, the reference on the right; "
    } else {
        ""
    };
    output::print(&format!(
        "{how}{} on `{}`, ctrl-c ends it\n",
        wording::count(seconds.0.round() as usize, "second", "seconds"),
        playback.name
    ))?;
    let terminate = signals::termination(terminal::give_back);
    while !playback.is_over(Instant::now()) && !terminate.load(Ordering::Relaxed) {
        std::thread::sleep(Duration::from_millis(20));
    }
    if playback.has_failed() {
        return Err(Failure(
            DeviceError::Open {
                device: playback.name.clone(),
                reason: "it ended while it played".to_owned(),
            }
            .to_string(),
        ));
    }
    Ok(Outcome::Done)
}
