//! Writes, lists and reads the recordings ("takes") kept while practising.
use super::{
    Failure,
    files::{self, read_bytes, recording},
    folders,
    open::open,
    output,
    stages::stage,
};
use crate::app::score_of;
use crate::chanter::TuningTable;
use crate::drill::LARGEST_FILE;
use crate::listening::{ExpectedStage, Repetition, align, hear_piece};
use crate::practice::{Mark, Rung, Thresholds, judge};
use crate::timeline::{Layout, Timeline, lay};
use crate::units::{Hertz, SampleRate};
use serde::{Deserialize, Serialize};
use std::path::Path;
use std::sync::Arc;

/// The description of a take, which is stored beside its sound.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct About {
    /// The name of the drill.
    pub(crate) drill: String,
    /// The stage's name.
    pub(crate) stage: String,
    /// The rung: a tempo in beats a minute, or a tone length at a tempo.
    #[serde(rename = "tempo")]
    pub(crate) rung: Rung,
    /// The low A of the tuning, in hertz.
    pub(crate) la_hz: f64,
    /// The length in seconds.
    pub(crate) seconds: f64,
}

/// Stores a take as a WAV file with its description. Returns its name.
///
/// # Errors
/// The files cannot be written.
pub(crate) fn keep(samples: &[f32], rate: SampleRate, about: &About) -> Result<String, Failure> {
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
    // two takes may be kept within the same second
    let name = files::free_name(&folder, &format!("{now}-{drill}"), "wav");
    let target = folder.join(format!("{name}.wav"));
    write(&target, true, &[samples], rate)?;
    let text = serde_json::to_string_pretty(about)
        .map_err(|error| Failure(format!("cannot write JSON: {error}")))?;
    let beside = folder.join(format!("{name}.json"));
    output::write_bytes(&beside, true, format!("{text}\n").as_bytes())?;
    Ok(name)
}

/// Writes channels of equal length into a WAV file with 16 bits a sample.
///
/// # Errors
/// The file cannot be written.
pub(crate) fn write(
    target: &Path,
    force: bool,
    channels: &[&[f32]],
    rate: SampleRate,
) -> Result<(), Failure> {
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

/// The name and description of every take, the newest first.
///
/// # Errors
/// No home folder is known.
pub(crate) fn all() -> Result<Vec<(String, About)>, Failure> {
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
    // names begin with the date and time
    found.sort_by(|a, b| b.0.cmp(&a.0));
    Ok(found)
}

/// A take, with its name and description.
pub(crate) struct Kept {
    name: String,
    about: About,
}

/// The best take of each cell of some drills, from those made since a day, the newest cell first.
/// The best take has the most clean repetitions; among equal ones it is the newest.
///
/// # Errors
/// No home folder is known, or a take cannot be read.
pub(crate) fn best(drills: &[String], from: jiff::civil::Date) -> Result<Vec<Kept>, Failure> {
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

/// The sound of a take, with its sample rate.
///
/// # Errors
/// The file cannot be read.
pub(crate) fn sound(kept: &Kept) -> Result<(Vec<f32>, SampleRate), Failure> {
    read(&folders::takes()?.join(format!("{}.wav", kept.name)))
}

/// The number of repetitions in a take that are clean by the usual thresholds; 0 where the take
/// cannot be judged.
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

/// The samples of a recording, with their rate.
///
/// # Errors
/// The file cannot be read.
pub(crate) fn read(path: &Path) -> Result<(Vec<f32>, SampleRate), Failure> {
    let mut recording = recording(path)?;
    // a little more than the longest take, so that a file that has become larger is not read whole
    let most = (1.1 * crate::listening::LONGEST_S) as usize * recording.rate().0 as usize;
    let samples = recording.read(most);
    Ok((samples, recording.rate()))
}

/// The music that was to be played in a take.
///
/// # Errors
/// The drill or its stage no longer exists.
pub(crate) fn piece(about: &About) -> Result<(Arc<Timeline>, ExpectedStage), Failure> {
    let opened = open(&about.drill)?;
    let (stage, _) = stage(&opened.drill, &about.stage)?;
    let score = score_of(&opened.drill, stage);
    let layout = Layout {
        lengths: about.rung.lengths(opened.drill.lengths),
        ..Layout::at(about.rung.tempo(), SampleRate::USUAL)
    };
    let timeline = lay(&score, &layout);
    let piece = ExpectedStage::of(&score, &timeline);
    Ok((Arc::new(timeline), piece))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without this rule the second of two takes kept within one second would replace the first.
    #[test]
    fn two_takes_of_one_second_have_names_of_their_own() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        for expected in ["grip", "grip-2", "grip-3"] {
            let name = files::free_name(folder.path(), "grip", "wav");
            assert_eq!(name, expected);
            let file = folder.path().join(format!("{name}.wav"));
            std::fs::write(file, []).expect("it can be written");
        }
    }
}
