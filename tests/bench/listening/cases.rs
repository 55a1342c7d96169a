//! The cases: generated from seeds, read from a folder, or written for other programs.

use super::drills::{Played, play};
use super::sounds::{Conditions, RATE, record};
use super::takes::{Kind, Sounding, Take, between, make};
use fastrand::Rng;
use gracerung::chanter::Note;
use gracerung::decoding::Recording;
use gracerung::units::SampleRate;
use serde_json::{Value, json};
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

/// The groups of generated recordings.
pub(crate) const GROUPS: [&str; 8] = [
    "clean", "pipes", "rough", "noise", "reverb", "clicks", "drones", "no fault",
];
/// The groups whose faults count in the result. The others are printed beside it.
pub(crate) const JUDGED: [&str; 5] = ["clean", "pipes", "rough", "clicks", "drones"];
pub(crate) const BESIDE: [&str; 4] = ["noise", "reverb", "loud noise", "wet room"];

fn conditions(rng: &mut Rng, group: &str) -> Conditions {
    let pipes = match group {
        "pipes" | "drones" => true,
        "clean" => false,
        _ => rng.f64() < 0.4,
    };
    let la_hz = if pipes {
        between(rng, 466.0, 484.0)
    } else {
        between(rng, 231.0, 242.0)
    };
    let mut conditions = Conditions {
        la_hz,
        pipes,
        ..Conditions::default()
    };
    match group {
        "rough" => conditions.rough = between(rng, 0.3, 1.0),
        "noise" => conditions.noise = Some((between(rng, 10.0, 25.0), rng.u8(0..3))),
        "loud noise" => conditions.noise = Some((between(rng, 10.0, 12.0), rng.u8(0..3))),
        "wet room" => conditions.room = Some((between(rng, 0.5, 0.6), between(rng, 3.0, 6.0))),
        "drowned" => {
            conditions.noise = Some((between(rng, -10.0, 6.0), rng.u8(0..3)));
            if rng.bool() {
                conditions.room = Some((between(rng, 0.6, 2.0), between(rng, -6.0, 2.0)));
            }
        }
        "reverb" => {
            conditions.room = Some((between(rng, 0.2, 0.6), between(rng, 3.0, 9.0)));
        }
        "clicks" => conditions.clicks = Some((between(rng, -6.0, 10.0), rng.u8(0..3))),
        "drones" => conditions.drones = Some(between(rng, -10.0, 3.0)),
        _ => {}
    }
    conditions
}

fn case(group: &str, seed: u64) -> (Take, Conditions) {
    let mut rng = Rng::with_seed(seed.wrapping_mul(0x9E37_79B9) ^ (group.len() as u64 * 77));
    let conditions = conditions(&mut rng, group);
    let faulty = if group == "no fault" { 0.0 } else { 0.45 };
    (make(&mut rng, faulty, 16), conditions)
}

/// A played drill as a recording.
pub(crate) fn drill_case(
    group: &str,
    seed: u64,
    kinds: &[usize],
) -> (Played, Conditions, Vec<f32>) {
    // each group gets different music, by a hash of its name
    let name = group.bytes().fold(7, |sum: u64, letter| {
        sum.wrapping_mul(31).wrapping_add(u64::from(letter))
    });
    let mut rng = Rng::with_seed(seed.wrapping_mul(0xD1B5_4A33) ^ name);
    let conditions = conditions(&mut rng, group);
    let played = play(&mut rng, 0.5, conditions.pipes, kinds);
    let samples = record(&mut rng, &played.take, &conditions);
    (played, conditions, samples)
}

/// A recording with its samples and its truth.
pub(crate) struct Case {
    pub name: String,
    pub group: String,
    pub la_hz: f64,
    pub take: Take,
    pub rate: SampleRate,
    pub samples: Vec<f32>,
    /// True where no fault was put into the recording.
    pub faultless: bool,
}

/// A generated case. Where there is a folder it is written there too.
pub(crate) fn made(group: &str, seed: u64, folder: Option<&Path>) -> Result<Case, Box<dyn Error>> {
    let (take, conditions) = case(group, seed);
    let mut rng = Rng::with_seed(seed + 1000);
    let samples = record(&mut rng, &take, &conditions);
    let name = format!("{}-{seed:02}", group.replace(' ', "-"));
    if let Some(folder) = folder {
        let truth = truth_json(&name, group, &take, &conditions);
        write_case(folder, &name, &samples, &truth)?;
    }
    Ok(Case {
        name,
        group: group.to_owned(),
        la_hz: conditions.la_hz,
        take,
        rate: SampleRate(RATE as u32),
        samples,
        faultless: group == "no fault",
    })
}

/// The recordings of a folder, sorted by name.
pub(crate) fn names(folder: &Path) -> Result<Vec<PathBuf>, Box<dyn Error>> {
    let mut names: Vec<PathBuf> = fs::read_dir(folder)?
        .filter_map(|entry| entry.ok().map(|e| e.path()))
        .filter(|path| path.extension().is_some_and(|e| e == "flac" || e == "wav"))
        .collect();
    names.sort();
    Ok(names)
}

/// A recording with the truth from the file beside it.
pub(crate) fn given(path: &Path) -> Result<Case, Box<dyn Error>> {
    let truth: Value = serde_json::from_slice(&fs::read(path.with_extension("json"))?)?;
    let (group, la_hz, take) = read_truth(&truth)?;
    let (samples, rate) = read_samples(path)?;
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    Ok(Case {
        name: name.into_owned(),
        group,
        la_hz,
        take,
        rate,
        samples,
        faultless: truth["conditions"]["fault_rate"].as_f64() == Some(0.0),
    })
}

fn truth_json(name: &str, group: &str, take: &Take, conditions: &Conditions) -> Value {
    let kind = |kind| match kind {
        Kind::Melody => "melody",
        Kind::Grace => "grace",
        Kind::Crossing => "crossing",
    };
    let notes: Vec<Value> = take
        .notes
        .iter()
        .map(|n| json!({"note": n.note.name(), "start_s": n.start_s, "end_s": n.end_s, "kind": kind(n.kind)}))
        .collect();
    let movements: Vec<Value> = take
        .movements
        .iter()
        .map(|m| json!({"start_s": m.0, "end_s": m.1}))
        .collect();
    json!({
        "name": name, "group": group, "timbre": "made", "la_hz": conditions.la_hz, "bpm": take.bpm,
        "first_click_s": take.first_click_s, "notes": notes, "movements": movements, "faults": [],
        "conditions": {"pipe": conditions.pipes, "fault_rate": f64::from(u8::from(group != "no fault")),
            "clicks_db": conditions.clicks.map(|c| c.0), "snr_db": conditions.noise.map(|c| c.0),
            "noise_kind": conditions.noise.map(|c| c.1)},
    })
}

fn read_truth(value: &Value) -> Result<(String, f64, Take), Box<dyn Error>> {
    let number =
        |value: &Value, key: &str| value[key].as_f64().ok_or(format!("`{key}` is no number"));
    let mut take = Take {
        bpm: number(value, "bpm")?,
        first_click_s: number(value, "first_click_s")?,
        notes: Vec::new(),
        movements: Vec::new(),
    };
    for note in value["notes"].as_array().ok_or("`notes` is no list")? {
        take.notes.push(Sounding {
            note: Note::parse(note["note"].as_str().ok_or("`note` is no text")?)?,
            start_s: number(note, "start_s")?,
            end_s: number(note, "end_s")?,
            kind: match note["kind"].as_str() {
                Some("grace") => Kind::Grace,
                Some("crossing") => Kind::Crossing,
                _ => Kind::Melody,
            },
        });
    }
    for movement in value["movements"]
        .as_array()
        .ok_or("`movements` is no list")?
    {
        take.movements
            .push((number(movement, "start_s")?, number(movement, "end_s")?));
    }
    let group = value["group"].as_str().unwrap_or("other").to_owned();
    Ok((group, number(value, "la_hz")?, take))
}

fn read_samples(path: &Path) -> Result<(Vec<f32>, SampleRate), Box<dyn Error>> {
    let file = fs::File::open(path)?;
    let length = file.metadata()?.len();
    let mut recording = Recording::open(std::io::BufReader::new(file), length)?;
    let rate = recording.rate();
    let mut samples = Vec::new();
    loop {
        let piece = recording.read(65_536);
        if piece.is_empty() {
            return Ok((samples, rate));
        }
        samples.extend(piece);
    }
}

fn write_case(
    folder: &Path,
    name: &str,
    samples: &[f32],
    truth: &Value,
) -> Result<(), Box<dyn Error>> {
    fs::create_dir_all(folder)?;
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE as u32,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(folder.join(format!("{name}.wav")), spec)?;
    for sample in samples {
        writer.write_sample((sample * 32767.0) as i16)?;
    }
    writer.finalize()?;
    fs::write(folder.join(format!("{name}.json")), truth.to_string())?;
    Ok(())
}
