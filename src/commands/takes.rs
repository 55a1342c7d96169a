//! `takes`: what was kept while practising: list, play beside the reference, at half speed, write.

use super::open::{open, read_bytes, recording};
use super::table::table;
use super::timeline::score_of;
use super::{Failure, Outcome, Ran, arguments, folders, output, settings, terminal};
use crate::chanter::{Tuning, TuningTable};
use crate::drill::LARGEST_FILE;
use crate::listening::{ExpectedStage, Repetition, align, hear_piece};
use crate::live::{Asked, DeviceError, Playback, Quiet, Stereo};
use crate::practice::{Mark, Rung, Thresholds, judge};
use crate::settings::keys;
use crate::sound::{at_rate, beside, half_speed, level_out};
use crate::timeline::{Layout, Timeline, lay};
use crate::units::{Gain, Hertz, SampleRate};
use crate::wording;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

/// Arguments of `takes`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung takes\n  gracerung takes 1\n  \
    gracerung takes 1 --half --alone\n  gracerung takes 1 --half -o slow.wav\n  gracerung takes 3 --remove\n\n\
    `p` keeps a take while you practise with --mark-by ear: what the microphone heard since you\n\
    began to play, at most the last 90 seconds. 1 is the newest. It is played on the left with the\n\
    reference of the same stage and tempo on the right, each repetition where you played it.\n\n\
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

/// What is known of a take, kept beside its sound.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct About {
    /// The drill as it was called.
    pub(super) drill: String,
    /// The stage's name.
    pub(super) stage: String,
    /// The rung: beats a minute, or a length of tones at a tempo.
    #[serde(rename = "tempo")]
    pub(super) rung: Rung,
    /// Low A that was tuned to, hertz.
    pub(super) la_hz: f64,
    /// Its length, seconds.
    pub(super) seconds: f64,
}

#[derive(Serialize)]
struct Row<'a> {
    number: usize,
    name: &'a str,
    #[serde(flatten)]
    about: &'a About,
}

/// Keeps a take: a WAV file and what is known of it. Gives its name.
///
/// # Errors
/// It cannot be written.
pub(super) fn keep(samples: &[f32], rate: SampleRate, about: &About) -> Result<String, Failure> {
    let folder = folders::takes()?;
    output::make_folder(&folder)?;
    let now = jiff::ZonedDateTime::now()
        .strftime("%Y-%m-%d-%H%M%S")
        .to_string();
    let drill: String = Path::new(&about.drill)
        .file_stem()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default()
        .chars()
        .filter(|sign| sign.is_ascii_alphanumeric() || *sign == '-')
        .collect();
    // two may be kept within a second
    let name = free_name(&folder, &format!("{now}-{drill}"));
    let target = folder.join(format!("{name}.wav"));
    write(&target, true, &[samples], rate)?;
    let text = serde_json::to_string_pretty(about)
        .map_err(|error| Failure(format!("cannot write JSON: {error}")))?;
    let beside = folder.join(format!("{name}.json"));
    output::write_bytes(&beside, true, format!("{text}\n").as_bytes())?;
    Ok(name)
}

/// A name that no take in the folder has: two may be kept within a second.
fn free_name(folder: &Path, wanted: &str) -> String {
    let mut name = wanted.to_owned();
    let mut number = 1;
    while folder.join(format!("{name}.wav")).exists() {
        number += 1;
        name = format!("{wanted}-{number}");
    }
    name
}

/// Writes channels of equal length into a WAV file of 16 bits.
fn write(target: &Path, force: bool, channels: &[&[f32]], rate: SampleRate) -> Result<(), Failure> {
    let spec = hound::WavSpec {
        channels: channels.len() as u16,
        sample_rate: rate.0,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let told =
        |error: hound::Error| Failure(format!("cannot write `{}`: {error}", target.display()));
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).map_err(told)?;
    let length = channels.iter().map(|channel| channel.len()).max();
    for at in 0..length.unwrap_or(0) {
        for channel in channels {
            let sample = channel.get(at).copied().unwrap_or(0.0).clamp(-1.0, 1.0);
            let whole = (sample * f32::from(i16::MAX)).round() as i16;
            writer.write_sample(whole).map_err(told)?;
        }
    }
    writer.finalize().map_err(told)?;
    output::write_bytes(target, force, &bytes.into_inner())
}

/// Every take, the newest first: its name, and what is known of it.
fn all() -> Result<Vec<(String, About)>, Failure> {
    let folder = folders::takes()?;
    let Ok(entries) = std::fs::read_dir(&folder) else {
        return Ok(Vec::new());
    };
    let mut found = Vec::new();
    for path in entries.flatten().map(|entry| entry.path()) {
        let wav = path.extension().is_some_and(|ending| ending == "wav");
        let (true, Some(name)) = (wav, path.file_stem()) else {
            continue;
        };
        let about = read_bytes(&path.with_extension("json"), LARGEST_FILE)
            .ok()
            .and_then(|bytes| serde_json::from_slice(&bytes).ok());
        if let Some(about) = about {
            found.push((name.to_string_lossy().into_owned(), about));
        }
    }
    // names begin with the moment
    found.sort_by(|a, b| b.0.cmp(&a.0));
    Ok(found)
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

/// A kept take: its name, and what is known of it.
pub(super) struct Kept {
    name: String,
    about: About,
}

/// The best kept take of each cell of some drills, made from a day on, the newest cell first: the one
/// with most clean repetitions, among equals the newer.
///
/// # Errors
/// No folder is known, or a take cannot be read.
pub(super) fn best(drills: &[String], from: jiff::civil::Date) -> Result<Vec<Kept>, Failure> {
    let mut found: Vec<(Kept, usize)> = Vec::new();
    for (name, about) in all()? {
        let made = name
            .get(..10)
            .and_then(|day| day.parse::<jiff::civil::Date>().ok());
        if !drills.contains(&about.drill) || made.is_none_or(|made| made < from) {
            continue;
        }
        let same = |(kept, _): &(Kept, usize)| {
            let other = &kept.about;
            (&other.drill, &other.stage, other.rung) == (&about.drill, &about.stage, about.rung)
        };
        let place = found.iter().position(same);
        let kept = Kept { name, about };
        let clean = clean_in(&kept);
        match place {
            Some(place) if found[place].1 >= clean => {}
            Some(place) => found[place] = (kept, clean),
            None => found.push((kept, clean)),
        }
    }
    Ok(found.into_iter().map(|(kept, _)| kept).collect())
}

/// The sound of a kept take.
///
/// # Errors
/// It cannot be read.
pub(super) fn sound(kept: &Kept) -> Result<(Vec<f32>, SampleRate), Failure> {
    read(&folders::takes()?.join(format!("{}.wav", kept.name)))
}

/// Repetitions of a take that are clean by the usual limits; none where it cannot be told.
fn clean_in(kept: &Kept) -> usize {
    let clean = || -> Option<usize> {
        let (samples, rate) = sound(kept).ok()?;
        let (_, piece) = piece(&kept.about).ok()?;
        let low_a = Some(Hertz(kept.about.la_hz));
        let mut whole = Some(samples);
        let heard = hear_piece(rate, low_a, TuningTable::default(), &piece, || {
            whole.take().unwrap_or_default()
        });
        let limits = Thresholds::default();
        let clean = |repetition: &Repetition| {
            judge(&repetition.measured, &limits).mark == Some(Mark::Clean)
        };
        let all = align(&piece, &heard.ok()?.notes).repetitions;
        Some(all.iter().filter(|one| clean(one)).count())
    };
    clean().unwrap_or(0)
}

/// Plays a recording as it is, in both ears.
///
/// # Errors
/// It cannot be read or played.
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

fn read(path: &Path) -> Result<(Vec<f32>, SampleRate), Failure> {
    let mut recording = recording(path)?;
    // no more than `p` ever keeps, whatever the file has become
    let most = (2.0 * crate::listening::KEPT_S) as usize * recording.rate().0 as usize;
    let samples = recording.read(most);
    Ok((samples, recording.rate()))
}

/// The reference beside the repetitions that are found in the take; none, with a word why, where
/// there are none.
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
    let starts: Vec<f64> = align(&piece, &heard.notes)
        .repetitions
        .iter()
        .map(|repetition| repetition.start_s)
        .collect();
    if starts.is_empty() {
        output::complain("the take alone: no whole repetition of the stage was heard in it");
        return Ok(None);
    }
    let tuning = Tuning::with_low_a(low_a, table);
    Ok(Some(beside(samples, rate, &timeline, tuning, &starts)))
}

fn piece(about: &About) -> Result<(Arc<Timeline>, ExpectedStage), Failure> {
    let opened = open(&about.drill)?;
    let (stage, _) = arguments::stage(&opened.drill, &about.stage)?;
    let score = score_of(&opened.drill, stage);
    let layout = Layout {
        lengths: about.rung.lengths(opened.drill.lengths),
        ..Layout::at(about.rung.tempo(), SampleRate::USUAL)
    };
    let timeline = lay(&score, &layout);
    let piece = ExpectedStage::of(&score, &timeline);
    Ok((Arc::new(timeline), piece))
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
        wording::count(seconds.round() as usize, "second", "seconds"),
        playback.name
    ))?;
    let terminate = super::signals::termination(super::terminal::give_back);
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Without it the second of two takes kept within a second would replace the first.
    #[test]
    fn two_takes_of_one_second_have_names_of_their_own() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        for expected in ["grip", "grip-2", "grip-3"] {
            let name = free_name(folder.path(), "grip");
            assert_eq!(name, expected);
            let file = folder.path().join(format!("{name}.wav"));
            std::fs::write(file, []).expect("it can be written");
        }
    }
}
