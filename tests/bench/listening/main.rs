//! The figures of the listener, per group: `cargo bench --bench listening`.
//!
//! Own cases are made from seeds; even seeds are for tuning, odd ones only ever for testing.
//! `-- --cases DIR` adds recordings with their truth (NAME.flac or .wav beside NAME.json);
//! `-- --write DIR` writes the own cases in the same form, for other programs to hear.
#![allow(
    clippy::print_stdout,
    missing_docs,
    reason = "a bench prints its table and has no readers of docs"
)]

mod scorer;
mod sounds;
mod takes;

use fastrand::Rng;
use gracerung::chanter::{Note, Tuning, TuningTable};
use gracerung::listening::{HeardNote, Listener, Recording};
use gracerung::units::{Hertz, SampleRate};
use scorer::{Predicted, Tally, percentile_ms};
use serde_json::{Value, json};
use sounds::{Conditions, RATE, record};
use std::collections::BTreeMap;
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use std::time::Instant;
use takes::{Kind, Sounding, Take, between, make};

const GROUPS: [&str; 8] = [
    "clean", "pipes", "rough", "noise", "reverb", "clicks", "drones", "no fault",
];

fn case(group: &str, seed: u64) -> (Take, Conditions) {
    let mut rng = Rng::with_seed(seed.wrapping_mul(0x9E37_79B9) ^ (group.len() as u64 * 77));
    let pipes = match group {
        "pipes" | "drones" => true,
        "clean" => false,
        _ => rng.f64() < 0.4,
    };
    let la_hz = if pipes {
        between(&mut rng, 466.0, 484.0)
    } else {
        between(&mut rng, 231.0, 242.0)
    };
    let mut conditions = Conditions {
        la_hz,
        pipes,
        ..Conditions::default()
    };
    match group {
        "rough" => conditions.rough = between(&mut rng, 0.3, 1.0),
        "noise" => conditions.noise = Some((between(&mut rng, 10.0, 25.0), rng.u8(0..3))),
        "reverb" => {
            conditions.room = Some((between(&mut rng, 0.2, 0.6), between(&mut rng, 3.0, 9.0)));
        }
        "clicks" => conditions.clicks = Some((between(&mut rng, -6.0, 10.0), rng.u8(0..3))),
        "drones" => conditions.drones = Some(between(&mut rng, -10.0, 3.0)),
        _ => {}
    }
    let faulty = if group == "no fault" { 0.0 } else { 0.45 };
    (make(&mut rng, faulty, 16), conditions)
}

#[derive(Default)]
struct Clock {
    cpu: f64,
    sound: f64,
}

/// Seconds this thread has computed, by the kernel's account; by the wall clock elsewhere.
fn cpu_seconds() -> f64 {
    static BEGAN: LazyLock<Instant> = LazyLock::new(Instant::now);
    fs::read_to_string("/proc/thread-self/schedstat")
        .ok()
        .and_then(|line| line.split(' ').next()?.parse::<f64>().ok())
        .map_or_else(
            || BEGAN.elapsed().as_secs_f64(),
            |nanoseconds| nanoseconds * 1e-9,
        )
}

/// The same with low A not given: how far off it was found, cents, and the notes.
fn hear_unaided(
    samples: &[f32],
    rate: SampleRate,
    la_hz: f64,
    found: &mut Found,
    take: &Take,
) -> Result<(), Box<dyn Error>> {
    let mut pieces = samples.chunks(65_536);
    let hearing = gracerung::listening::hear(rate, None, TuningTable::Modern, || {
        pieces.next().unwrap_or_default().to_vec()
    })?;
    let low_a = hearing.low_a.map_or(1.0, |hertz| hertz.0);
    found.errors.push((1200.0 * (low_a / la_hz).log2()).abs());
    found.tally.add(take, &predicted(&hearing.notes));
    Ok(())
}

#[derive(Default)]
struct Found {
    errors: Vec<f64>,
    tally: Tally,
}

impl Found {
    fn print(&mut self, given: Option<&Tally>) {
        self.errors.sort_by(f64::total_cmp);
        let count = self.errors.len();
        println!(
            "  low A found by itself: median error {:.1} cents, {} of {count} over 50 cents; all notes F1 at 10 ms {:.3} (given: {:.3})",
            self.errors.get(count / 2).copied().unwrap_or(0.0),
            self.errors.iter().filter(|error| **error > 50.0).count(),
            self.tally.f1(1, 0),
            given.map_or(0.0, |tally| tally.f1(1, 0)),
        );
    }
}

fn predicted(notes: &[HeardNote]) -> Vec<Predicted> {
    notes
        .iter()
        .map(|note| Predicted {
            note: note.note,
            start_s: note.start_s,
            end_s: note.end_s,
        })
        .collect()
}

fn hear(
    samples: &[f32],
    rate: SampleRate,
    la_hz: f64,
    clock: &mut Clock,
) -> Result<Vec<Predicted>, Box<dyn Error>> {
    let began = cpu_seconds();
    let tuning = Tuning::with_low_a(Hertz(la_hz), TuningTable::Modern);
    let mut listener = Listener::new(rate, tuning)?;
    let mut notes = Vec::new();
    for piece in samples.chunks(4096) {
        listener.push(piece);
        notes.extend(listener.heard());
    }
    notes.extend(listener.finish());
    clock.cpu += cpu_seconds() - began;
    clock.sound += samples.len() as f64 / f64::from(rate.0);
    Ok(predicted(&notes))
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

fn print(title: &str, tallies: &BTreeMap<String, Tally>) {
    println!("{title}");
    println!(
        "  {:10} {:>5} | all F1 5/10/25   | gracenotes 10 | crossing 10 | onset med/p95 ms | gracenote length ms | extra/min | movements",
        "group", "notes"
    );
    for (group, tally) in tallies {
        println!(
            "  {:10} {:>5} | {:.3} {:.3} {:.3} | {:13.3} | {:11.3} | {:7.2} {:8.2} | {:19.2} | {:9.2} | {:.3}",
            group.trim_start_matches('~'),
            tally.truth[0],
            tally.f1(0, 0),
            tally.f1(1, 0),
            tally.f1(2, 0),
            tally.f1(1, 2),
            tally.f1(1, 3),
            percentile_ms(&tally.errors, 0.5),
            percentile_ms(&tally.errors, 0.95),
            percentile_ms(&tally.grace_lengths, 0.5),
            tally.extra_a_minute(),
            tally.movements.0 as f64 / tally.movements.1.max(1) as f64,
        );
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let (mut folder, mut written) = (None, None);
    let mut each = 6;
    while let Some(argument) = arguments.next() {
        match argument.as_str() {
            "--cases" => folder = arguments.next().map(PathBuf::from),
            "--write" => written = arguments.next().map(PathBuf::from),
            "--each" => {
                each = arguments
                    .next()
                    .and_then(|n| n.parse().ok())
                    .unwrap_or(each);
            }
            _ => {}
        }
    }
    let mut clock = Clock::default();
    for (half, title) in [
        (0, "own cases, for tuning"),
        (1, "own cases, for testing only"),
    ] {
        let mut tallies: BTreeMap<String, Tally> = BTreeMap::new();
        let mut found = Found::default();
        for group in GROUPS {
            for number in 0..each {
                let seed = 2 * number + half;
                let (take, conditions) = case(group, seed);
                let mut rng = Rng::with_seed(seed + 1000);
                let samples = record(&mut rng, &take, &conditions);
                if let Some(written) = &written {
                    let name = format!("{}-{seed:02}", group.replace(' ', "-"));
                    let folder = written.join(if half == 0 { "tuning" } else { "testing" });
                    write_case(
                        &folder,
                        &name,
                        &samples,
                        &truth_json(&name, group, &take, &conditions),
                    )?;
                }
                let heard = hear(
                    &samples,
                    SampleRate(RATE as u32),
                    conditions.la_hz,
                    &mut clock,
                )?;
                hear_unaided(
                    &samples,
                    SampleRate(RATE as u32),
                    conditions.la_hz,
                    &mut found,
                    &take,
                )?;
                tallies
                    .entry(group.to_owned())
                    .or_default()
                    .add(&take, &heard);
                tallies
                    .entry("~all".to_owned())
                    .or_default()
                    .add(&take, &heard);
            }
        }
        print(title, &tallies);
        found.print(tallies.get("~all"));
    }
    if let Some(folder) = folder {
        let mut tallies: BTreeMap<String, Tally> = BTreeMap::new();
        let mut found = Found::default();
        let mut names: Vec<PathBuf> = fs::read_dir(&folder)?
            .filter_map(|entry| entry.ok().map(|e| e.path()))
            .collect();
        names.sort();
        for path in names
            .iter()
            .filter(|path| path.extension().is_some_and(|e| e == "flac" || e == "wav"))
        {
            let truth: Value = serde_json::from_slice(&fs::read(path.with_extension("json"))?)?;
            let (group, la_hz, take) = read_truth(&truth)?;
            let (samples, rate) = read_samples(path)?;
            let heard = hear(&samples, rate, la_hz, &mut clock)?;
            hear_unaided(&samples, rate, la_hz, &mut found, &take)?;
            tallies.entry(group).or_default().add(&take, &heard);
            tallies
                .entry("~all".to_owned())
                .or_default()
                .add(&take, &heard);
        }
        print(&folder.display().to_string(), &tallies);
        found.print(tallies.get("~all"));
    }
    println!(
        "CPU seconds a second of sound, one core: {:.4}",
        clock.cpu / clock.sound.max(1e-9)
    );
    Ok(())
}
