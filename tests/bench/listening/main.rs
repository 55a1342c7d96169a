//! Measures how well the program hears, for each group of recordings: `cargo bench -p
//! gracerung-benches --bench listening`.
//!
//! Our own cases are generated from seeds. Even seeds are for tuning, and odd ones are used only
//! for testing.
//! - `-- --cases DIR` adds recordings with their truth (NAME.flac or .wav beside NAME.json);
//! - `-- --peer SCRIPT` lets another program hear the same recordings for comparison: python3 runs
//!   the script with a folder of recordings and their truth, and the script writes
//!   `NAME.heard.json` there;
//! - `-- --each N` takes N generated cases of each group (6);
//! - `-- --only notes` or `drills` leaves the other part out;
//! - `-- --half tuning` or `testing` leaves the other half out;
//! - `-- --group NAME` takes only one group;
//! - `-- --given` gives low A for the drills too, which is otherwise found as `listen` finds it;
//! - `-- --left-out` uses only the fault of a gracenote that is left out;
//! - `-- --own-sound` hears each recording once more with our own click and drones as loud as the
//!   chanter;
//! - `-- --told` prints each false report and each fault that was not reported;
//! - `-- --write DIR` writes our own cases for other programs to hear.
#![allow(
    clippy::print_stdout,
    missing_docs,
    reason = "a bench prints its table and has no readers of docs"
)]

mod cases;
mod drills;
mod own;
mod scorer;
mod sounds;
mod tables;
mod takes;

use cases::{BESIDE, Case, GROUPS, JUDGED, drill_case, given, made, names};
use drills::{Judged, KINDS, LEFT_OUT, Played};
use gracerung::chanter::{Instrument, Note, Tuning, TuningTable};
use gracerung::listening::{HeardNote, Listener, Repetition, align, hear, hear_piece};
use gracerung::practice::{Thresholds, Verdict, judge};
use gracerung::units::{Hertz, SampleRate};
use scorer::{Calibration, Predicted, Tally};
use serde_json::Value;
use sounds::RATE;
use std::collections::BTreeMap;
use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;
use std::time::Instant;

/// All figures of one set of cases.
#[derive(Default)]
pub(crate) struct Figures {
    pub title: String,
    pub groups: BTreeMap<String, Tally>,
    pub all: Tally,
    pub faultless: Tally,
    /// The results with low A not given: the error of the low A that was found, in cents, and the
    /// notes.
    pub low_a_errors: Vec<f64>,
    pub unaided: Tally,
    /// The results of the other program on the same cases.
    pub peer: BTreeMap<String, Tally>,
    pub peer_all: Tally,
    pub drills: BTreeMap<String, Judged>,
    pub calibration: Calibration,
    /// The results with our own click and drones, for each group.
    pub own_sound: BTreeMap<String, Tally>,
    /// The processor time and the length of the sound, in seconds.
    pub clock: Clock,
}

/// Seconds of processor time, and seconds of sound.
#[derive(Default)]
pub(crate) struct Clock {
    pub cpu: f64,
    pub sound: f64,
}

/// The processor time of this thread in seconds, as the kernel counts it; elsewhere the time that
/// has passed.
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

fn predicted(notes: &[HeardNote]) -> Vec<Predicted> {
    notes
        .iter()
        .filter(|note| note.named)
        .map(|note| Predicted {
            note: note.note,
            start_s: note.start_s,
            end_s: note.end_s,
        })
        .collect()
}

fn heard(case: &Case, clock: &mut Clock) -> Result<Vec<HeardNote>, Box<dyn Error>> {
    let began = cpu_seconds();
    let tuning = Tuning::with_low_a(Hertz(case.la_hz), TuningTable::Modern);
    let mut listener = Listener::new(case.rate, tuning)?;
    let mut notes = Vec::new();
    for piece in case.samples.chunks(4096) {
        listener.push(piece);
        notes.extend(listener.heard());
    }
    notes.extend(listener.finish());
    clock.cpu += cpu_seconds() - began;
    clock.sound += case.samples.len() as f64 / f64::from(case.rate.0);
    notes.retain(|note| note.named);
    Ok(notes)
}

impl Figures {
    fn add(
        &mut self,
        case: &Case,
        peer: Option<&Path>,
        arguments: &Arguments,
    ) -> Result<(), Box<dyn Error>> {
        let told = arguments.told;
        let notes = heard(case, &mut self.clock)?;
        let confidence: Vec<f64> = notes.iter().map(|note| note.confidence).collect();
        let notes = predicted(&notes);
        self.calibration.add(&case.take, &notes, &confidence);
        let group = self.groups.entry(case.group.clone()).or_default();
        group.add(&case.take, &notes);
        self.all.add(&case.take, &notes);
        if told {
            for line in scorer::slips(&case.take, &notes) {
                println!("{} {}: {line}", case.group, case.name);
            }
        }
        if case.faultless {
            self.faultless.add(&case.take, &notes);
        }
        let mut pieces = case.samples.chunks(65_536);
        let hearing = hear(case.rate, None, TuningTable::Modern, || {
            pieces.next().unwrap_or_default().to_vec()
        })?;
        let low_a = hearing.low_a.map_or(1.0, |hertz| hertz.0);
        let off = 1200.0 * (low_a / case.la_hz).log2();
        if told && off.abs() > 20.0 {
            println!("{} {}: low A off by {off:.0} cents", case.group, case.name);
        }
        self.low_a_errors.push(off.abs());
        self.unaided.add(&case.take, &predicted(&hearing.notes));
        if arguments.own_sound {
            let unison = own::drones_are_notes(case);
            let mut with = |drones: bool, name: &str| -> Result<(), Box<dyn Error>> {
                let beside = Case {
                    samples: own::beside(case, drones)?,
                    take: case.take.clone(),
                    group: case.group.clone(),
                    name: case.name.clone(),
                    ..*case
                };
                let notes = predicted(&heard(&beside, &mut Clock::default())?);
                let group = self.own_sound.entry(name.to_owned()).or_default();
                group.add(&case.take, &notes);
                Ok(())
            };
            with(!unison, &case.group)?;
            if unison {
                with(true, "drones on a practice chanter")?;
            }
        }
        if let Some(folder) = peer {
            let path = folder.join(format!("{}.heard.json", case.name));
            let notes = read_heard(&serde_json::from_slice(&fs::read(path)?)?)?;
            let group = self.peer.entry(case.group.clone()).or_default();
            group.add(&case.take, &notes);
            self.peer_all.add(&case.take, &notes);
        }
        Ok(())
    }
}

fn read_heard(value: &Value) -> Result<Vec<Predicted>, Box<dyn Error>> {
    let notes = value["notes"].as_array().ok_or("`notes` is no list")?;
    notes
        .iter()
        .map(|note| {
            let time = |key: &str| note[key].as_f64().ok_or(format!("`{key}` is no number"));
            Ok(Predicted {
                note: Note::parse(note["note"].as_str().ok_or("`note` is no text")?)?,
                start_s: time("start_s")?,
                end_s: time("end_s")?,
            })
        })
        .collect()
}

/// A repetition that was found, with its verdict.
type Heard = (Repetition, Verdict);

/// Judges a played drill in the same way as the command `listen`.
fn judged(
    played: &Played,
    low_a: Option<Hertz>,
    samples: &[f32],
) -> Result<(Option<Hertz>, Vec<Heard>), Box<dyn Error>> {
    let mut pieces = samples.chunks(65_536);
    let rate = SampleRate(RATE as u32);
    let hearing = hear_piece(rate, low_a, TuningTable::Modern, &played.piece, || {
        pieces.next().unwrap_or_default().to_vec()
    })?;
    let pipes = hearing.low_a.is_some_and(|low_a| {
        Tuning::with_low_a(low_a, TuningTable::Modern).instrument == Instrument::PipeChanter
    });
    let limits = if pipes {
        Thresholds::for_pipes()
    } else {
        Thresholds::default()
    };
    let found = align(&played.piece, &hearing.notes)
        .repetitions
        .into_iter()
        .map(|repetition| {
            let verdict = judge(&repetition.measured, &limits);
            (repetition, verdict)
        })
        .collect();
    Ok((hearing.low_a, found))
}

fn ask_peer(script: &Path, folder: &Path) -> Result<(), Box<dyn Error>> {
    let status = Command::new("python3").arg(script).arg(folder).status()?;
    if status.success() {
        Ok(())
    } else {
        Err(format!("`{}` ended with {status}", script.display()).into())
    }
}

struct Arguments {
    cases: Option<PathBuf>,
    written: Option<PathBuf>,
    peer: Option<PathBuf>,
    each: u64,
    notes: bool,
    drills: bool,
    halves: Vec<u64>,
    group: Option<String>,
    told: bool,
    given: bool,
    left_out: bool,
    own_sound: bool,
}

fn arguments() -> Arguments {
    let mut all = Arguments {
        cases: None,
        written: None,
        peer: None,
        each: 6,
        notes: true,
        drills: true,
        halves: vec![0, 1],
        group: None,
        told: false,
        given: false,
        left_out: false,
        own_sound: false,
    };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        match word.as_str() {
            "--cases" => all.cases = words.next().map(PathBuf::from),
            "--write" => all.written = words.next().map(PathBuf::from),
            "--peer" => all.peer = words.next().map(PathBuf::from),
            "--group" => all.group = words.next(),
            "--told" => all.told = true,
            "--given" => all.given = true,
            "--left-out" => all.left_out = true,
            "--own-sound" => all.own_sound = true,
            "--each" => {
                all.each = words
                    .next()
                    .and_then(|n| n.parse().ok())
                    .unwrap_or(all.each);
            }
            "--only" => match words.next().as_deref() {
                Some("notes") => all.drills = false,
                _ => all.notes = false,
            },
            "--half" => match words.next().as_deref() {
                Some("tuning") => all.halves = vec![0],
                _ => all.halves = vec![1],
            },
            _ => {}
        }
    }
    all
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments = arguments();
    let mut columns: Vec<Figures> = Vec::new();
    let wanted = |group: &str| arguments.group.as_deref().is_none_or(|only| only == group);
    let scratch = tempfile::tempdir()?;
    let written = arguments
        .written
        .clone()
        .or_else(|| arguments.peer.is_some().then(|| scratch.path().to_owned()));
    for half in &arguments.halves {
        let (word, title) = [
            ("tuning", "own, for tuning"),
            ("testing", "own, for testing only"),
        ][*half as usize];
        let mut figures = Figures {
            title: title.to_owned(),
            ..Figures::default()
        };
        let folder = written.as_ref().map(|written| written.join(word));
        let seeds = (0..arguments.each).map(|number| 2 * number + half);
        if arguments.notes {
            let cases: Vec<(&str, u64)> = GROUPS
                .into_iter()
                .filter(|group| wanted(group))
                .flat_map(|group| seeds.clone().map(move |seed| (group, seed)))
                .collect();
            if let Some(folder) = &folder {
                for (group, seed) in &cases {
                    made(group, *seed, Some(folder))?;
                }
            }
            let peer = folder.as_deref().filter(|_| arguments.peer.is_some());
            if let (Some(script), Some(folder)) = (&arguments.peer, peer) {
                ask_peer(script, folder)?;
            }
            for (group, seed) in cases {
                figures.add(&made(group, seed, None)?, peer, &arguments)?;
            }
        }
        if arguments.drills {
            for group in JUDGED
                .into_iter()
                .chain(BESIDE)
                .chain(["drowned"])
                .filter(|g| wanted(g))
            {
                for seed in seeds.clone() {
                    let kinds: &[usize] = if arguments.left_out {
                        &LEFT_OUT
                    } else {
                        &KINDS
                    };
                    let (played, conditions, samples) = drill_case(group, seed, kinds);
                    let given = arguments.given.then_some(Hertz(conditions.la_hz));
                    let (low_a, found) = judged(&played, given, &samples)?;
                    let tally = figures.drills.entry(group.to_owned()).or_default();
                    let words = tally.add(&played, &found);
                    if arguments.told {
                        println!(
                            "{group}-{seed}: {} {} at {:.0}, low A {:.1} heard as {:.1}, {} repetitions, {} found, lasting {:.0} s",
                            played.drill,
                            played.stage + 1,
                            played.take.bpm,
                            conditions.la_hz,
                            low_a.map_or(0.0, |low_a| low_a.0),
                            played.starts.len(),
                            found.len(),
                            samples.len() as f64 / RATE as f64,
                        );
                        for line in words {
                            println!("    {line}");
                        }
                    }
                }
            }
        }
        columns.push(figures);
    }
    if let Some(folder) = arguments.cases.as_ref().filter(|_| arguments.notes) {
        let mut figures = Figures {
            title: "given cases".to_owned(),
            ..Figures::default()
        };
        let mut peer = None;
        if let Some(script) = &arguments.peer {
            let copies = scratch.path().join("given");
            fs::create_dir_all(&copies)?;
            for path in names(folder)? {
                for path in [path.with_extension("json"), path] {
                    fs::copy(&path, copies.join(path.file_name().unwrap_or_default()))?;
                }
            }
            ask_peer(script, &copies)?;
            peer = Some(copies);
        }
        for path in names(folder)? {
            figures.add(&given(&path)?, peer.as_deref(), &arguments)?;
        }
        columns.push(figures);
    }
    for figures in &mut columns {
        tables::print(figures);
    }
    tables::print_aims(&columns);
    Ok(())
}
