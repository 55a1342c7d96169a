//! The command `listen` with the real binary: unusual recordings get a sentence, and the shipped
//! recordings get the faults that were put into them.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const RATE: u32 = 16_000;
const GRIP: [&str; 6] = [
    "--drill",
    "grip-from-d",
    "--stage",
    "real time",
    "--tempo",
    "60",
];

fn sample(name: &str) -> String {
    format!("{}/samples/{name}", env!("CARGO_MANIFEST_DIR"))
}

fn write(folder: &Path, rate: u32, samples: &[f32]) -> PathBuf {
    let path = folder.join("recording.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("the folder is ours");
    for sample in samples {
        writer.write_sample(*sample).expect("there is room");
    }
    writer.finalize().expect("there is room");
    path
}

fn listen(file: &str, more: &[&str]) -> Output {
    let home = tempfile::tempdir().expect("a folder");
    Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .args(["listen", file])
        .args(more)
        .env("HOME", home.path())
        .env("XDG_DATA_HOME", home.path())
        .env("XDG_CONFIG_HOME", home.path())
        .stdin(std::process::Stdio::null())
        .output()
        .expect("the program runs")
}

fn document(file: &str, more: &[&str]) -> (Option<i32>, Value) {
    let mut arguments = vec!["--json"];
    arguments.extend(more);
    let output = listen(file, &arguments);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let value = serde_json::from_str(&text).unwrap_or_else(|error| {
        panic!("{error}: {text}{}", String::from_utf8_lossy(&output.stderr))
    });
    (output.status.code(), value)
}

/// Runs `listen` on samples with the drill and without. Neither run may panic, and both must end
/// with `code` and print the remark.
#[track_caller]
fn odd(rate: u32, samples: &[f32], code: i32, what: &str) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = write(folder.path(), rate, samples);
    let file = path.to_str().expect("a plain name");
    for more in [&[][..], &GRIP] {
        let output = listen(file, more);
        let all = String::from_utf8_lossy(&output.stdout).into_owned()
            + &String::from_utf8_lossy(&output.stderr);
        assert!(!all.contains("panicked"), "{all}");
        assert_eq!(output.status.code(), Some(code), "{more:?}: {all}");
        assert!(all.contains(what), "{more:?}: {all}");
    }
}

/// Reproducible noise between −1 and 1.
struct Noise(u32);

impl Noise {
    fn next(&mut self) -> f32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.0 >> 8) as f32 / 8_388_608.0 - 1.0
    }
}

/// The samples of a shipped recording.
fn take(name: &str) -> Vec<f32> {
    let file = std::fs::File::open(sample(name)).expect("it is shipped");
    let length = file.metadata().expect("it is there").len();
    let mut recording = gracerung::decoding::Recording::open(std::io::BufReader::new(file), length)
        .expect("it is a recording");
    assert_eq!(recording.rate().0, RATE);
    let mut samples = Vec::new();
    loop {
        let piece = recording.read(65_536);
        if piece.is_empty() {
            return samples;
        }
        samples.extend(piece);
    }
}

#[test]
fn silence_and_an_empty_file_get_a_sentence() {
    odd(48_000, &vec![0.0; 96_000], 1, "the recording is silent");
    odd(48_000, &[], 1, "the recording is empty");
    odd(
        48_000,
        &vec![0.0003; 96_000],
        1,
        "next to nothing was recorded",
    );
}

/// A running tap or a fan must not be heard as a tune.
#[test]
fn noise_is_no_chanter() {
    let mut noise = Noise(1);
    let hiss: Vec<f32> = (0..RATE * 8).map(|_| 0.3 * noise.next()).collect();
    odd(RATE, &hiss, 1, "no chanter was heard");
}

/// Speech before the microphone must not be judged as the drill. Buzzes of varying pitch through
/// moving resonances, in syllables, are no repetition.
#[test]
fn talk_is_no_repetition() {
    let mut noise = Noise(2);
    let (mut phase, mut pitch, mut aim, mut gain) = (0.0f32, 120.0f32, 120.0f32, 0.0f32);
    let mut centres = [500.0f32, 1500.0];
    let mut memory = [[0.0f32; 2]; 2];
    let mut loud = 1.0;
    let talk: Vec<f32> = (0..RATE * 12)
        .map(|at| {
            if at % (RATE / 5) == 0 {
                aim = 150.0 + 60.0 * noise.next();
                centres = [550.0 + 250.0 * noise.next(), 1600.0 + 700.0 * noise.next()];
                loud = (0.5 + 0.7 * noise.next()).clamp(0.0, 1.0);
            }
            pitch += (aim - pitch) * 0.001;
            gain += (loud - gain) * 0.003;
            phase += pitch / RATE as f32;
            let pulse = if phase >= 1.0 {
                1.0
            } else {
                0.01 * noise.next()
            };
            phase = phase.fract();
            let mut sum = 0.0;
            for (memory, centre) in memory.iter_mut().zip(centres) {
                let radius = (-std::f32::consts::PI * 100.0 / RATE as f32).exp();
                let turn = std::f32::consts::TAU * centre / RATE as f32;
                let now =
                    pulse + 2.0 * radius * turn.cos() * memory[0] - radius * radius * memory[1];
                *memory = [now, memory[0]];
                sum += now;
            }
            0.05 * gain * sum
        })
        .collect();
    let folder = tempfile::tempdir().expect("a folder");
    let path = write(folder.path(), RATE, &talk);
    let (code, heard) = document(path.to_str().expect("a plain name"), &GRIP);
    assert_eq!(code, Some(1));
    assert_eq!(heard["repetitions"].as_array().map(Vec::len), Some(0));
    let remarks = heard["remarks"].to_string();
    assert!(
        remarks.contains("no chanter") || remarks.contains("not this stage"),
        "{remarks}"
    );
}

/// Other music must not be judged as the drill. Chords in a key of their own are no repetition.
#[test]
fn other_music_is_no_repetition() {
    let chords = [
        [220.0, 277.2, 329.6],
        [196.0, 246.9, 293.7],
        [174.6, 220.0, 261.6],
    ];
    let music: Vec<f32> = (0..RATE * 12)
        .map(|at| {
            let time = at as f32 / RATE as f32;
            let beat = time.fract();
            let chord = chords[time as usize % 3];
            let tone = |hertz: f32| {
                (1..5u8)
                    .map(|k| {
                        (std::f32::consts::TAU * hertz * f32::from(k) * time).sin() / f32::from(k)
                    })
                    .sum::<f32>()
            };
            0.1 * (-2.0 * beat).exp() * chord.into_iter().map(tone).sum::<f32>()
        })
        .collect();
    let folder = tempfile::tempdir().expect("a folder");
    let path = write(folder.path(), RATE, &music);
    let (code, heard) = document(path.to_str().expect("a plain name"), &GRIP);
    assert_eq!(code, Some(1));
    assert_eq!(heard["repetitions"].as_array().map(Vec::len), Some(0));
    assert!(!heard["remarks"].to_string().is_empty());
}

#[test]
fn another_drill_or_tempo_gets_a_sentence() {
    for more in [
        ["--drill", "birl", "--stage", "1", "--tempo", "60"],
        [
            "--drill",
            "grip-from-d",
            "--stage",
            "real time",
            "--tempo",
            "75",
        ],
    ] {
        let (code, heard) = document(&sample("take-clean.flac"), &more);
        assert_eq!(code, Some(1), "{more:?}");
        let remarks = heard["remarks"].to_string();
        assert!(
            remarks.contains("is it another drill, stage or tempo?"),
            "{more:?}: {remarks}"
        );
    }
}

/// A player whose metronome is a little off must not be told that nothing was played.
#[test]
fn at_a_tempo_a_little_off_the_repetitions_are_found() {
    let more = [
        "--drill",
        "grip-from-d",
        "--stage",
        "real time",
        "--tempo",
        "61",
    ];
    let (_, heard) = document(&sample("take-clean.flac"), &more);
    assert_eq!(heard["repetitions"].as_array().map(Vec::len), Some(2));
}

/// A recording that was too loud must be neither refused nor praised.
#[test]
fn a_clipped_take_is_told_and_still_heard() {
    let loud: Vec<f32> = take("take-clean.flac")
        .iter()
        .map(|sample| (8.0 * sample).clamp(-1.0, 1.0))
        .collect();
    odd(RATE, &loud, 0, "the recording clips");
}

/// One invalid sample must not silence the rest.
#[test]
fn samples_that_are_no_numbers_are_told_and_the_rest_is_heard() {
    let mut samples = take("take-clean.flac");
    let middle = samples.len() / 2;
    for at in [100, middle, middle + 1] {
        samples[at] = f32::NAN;
    }
    samples[middle + 2] = f32::INFINITY;
    let folder = tempfile::tempdir().expect("a folder");
    let path = write(folder.path(), RATE, &samples);
    let (_, heard) = document(path.to_str().expect("a plain name"), &GRIP);
    assert!(
        heard["remarks"]
            .to_string()
            .contains("4 samples are no numbers")
    );
    assert_eq!(heard["repetitions"].as_array().map(Vec::len), Some(2));
}

/// A telephone's recording must be accepted. It is simulated by every second sample, after a mean
/// of two.
#[test]
fn a_take_at_8_kilohertz_is_judged_the_same() {
    let half: Vec<f32> = take("take-clean.flac")
        .chunks_exact(2)
        .map(|two| 0.5 * (two[0] + two[1]))
        .collect();
    odd(RATE / 2, &half, 0, "");
}

/// A recording that ends during a note must keep what was complete and count nothing else.
#[test]
fn a_take_cut_in_a_note_is_judged_as_far_as_it_is_whole() {
    let samples = take("take-clean.flac");
    let (_, whole) = document(&sample("take-clean.flac"), &GRIP);
    let second = whole["repetitions"][1]["start_s"]
        .as_f64()
        .expect("two repetitions");
    let cut = ((second + 3.0) * f64::from(RATE)) as usize;
    let folder = tempfile::tempdir().expect("a folder");
    let path = write(folder.path(), RATE, &samples[..cut]);
    let (code, heard) = document(path.to_str().expect("a plain name"), &GRIP);
    assert_eq!(code, Some(0), "{}", heard["faults"]);
    assert_eq!(heard["repetitions"].as_array().map(Vec::len), Some(1));
    assert!(
        heard["remarks"]
            .to_string()
            .contains("1 repetition was cut short")
    );
}

/// In the clean recording no fault may be found, and in the other exactly the three faults that its
/// maker put into it, all in the first repetition.
#[test]
fn the_shipped_takes_get_the_report_that_was_planted() {
    let (code, clean) = document(&sample("take-clean.flac"), &GRIP);
    assert_eq!(code, Some(0), "{}", clean["faults"]);
    assert_eq!(clean["faults"], Value::Array(Vec::new()));
    assert_eq!(clean["repetitions"].as_array().map(Vec::len), Some(2));

    let (code, faulty) = document(&sample("take-faults.flac"), &GRIP);
    assert_eq!(code, Some(1));
    let mut told: Vec<(&str, &str, u64)> = faulty["faults"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|fault| {
            (
                fault["kind"].as_str().expect("a word"),
                fault["id"].as_str().expect("a note"),
                fault["repetition"].as_u64().expect("a number"),
            )
        })
        .collect();
    told.sort_unstable();
    assert_eq!(
        told,
        [
            ("late", "2.2", 1),
            ("too_long", "1.2g2", 1),
            ("wrong", "2.2g2", 1)
        ]
    );
    let report = listen(&sample("take-faults.flac"), &GRIP);
    let report = String::from_utf8_lossy(&report.stdout).into_owned();
    assert!(report.contains("repetition 1, from"), "{report}");
    assert!(report.contains("1 of 2 repetitions clean"), "{report}");
}

/// A picture must have the format of its file's extension and show every fault: the same recording
/// as SVG, PNG and PDF, with each fault's words in the SVG.
#[test]
fn a_picture_is_written_as_its_ending_says() {
    let folder = tempfile::tempdir().expect("a folder");
    let (_, document) = document(&sample("take-faults.flac"), &GRIP);
    for (ending, begins) in [
        ("svg", &b"<?xml"[..]),
        ("png", b"\x89PNG"),
        ("pdf", b"%PDF"),
    ] {
        let path = folder.path().join(format!("take.{ending}"));
        let mut more = GRIP.to_vec();
        more.extend(["--picture", path.to_str().expect("a plain name")]);
        let output = listen(&sample("take-faults.flac"), &more);
        assert_eq!(output.status.code(), Some(1));
        let bytes = std::fs::read(&path).expect("it was written");
        assert!(bytes.starts_with(begins), "{ending}");
        if ending == "svg" {
            let text = String::from_utf8(bytes).expect("text");
            for fault in document["faults"].as_array().expect("a list") {
                let words = fault["words"].as_str().expect("words");
                assert!(text.contains(words), "{words}");
            }
        }
    }
    let mut more = GRIP.to_vec();
    let path = folder.path().join("take.bmp");
    more.extend(["--picture", path.to_str().expect("a plain name")]);
    let output = listen(&sample("take-faults.flac"), &more);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains(".pdf, .svg or .png"));
}

/// The most memory that `listen` used for a file, in KiB, as the system counts its pages.
#[cfg(target_os = "linux")]
fn peak_of(file: &Path) -> u64 {
    let home = tempfile::tempdir().expect("a folder");
    let mut child = Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .arg("listen")
        .arg(file)
        .args(["--la", "236", "--json"])
        .env("HOME", home.path())
        .env("XDG_DATA_HOME", home.path())
        .env("XDG_CONFIG_HOME", home.path())
        .stdin(std::process::Stdio::null())
        .stdout(std::process::Stdio::null())
        .spawn()
        .expect("the program runs");
    let status = format!("/proc/{}/status", child.id());
    let mut peak = 0;
    while child.try_wait().expect("it is ours").is_none() {
        let text = std::fs::read_to_string(&status).unwrap_or_default();
        let most = text
            .lines()
            .find_map(|line| line.strip_prefix("RssAnon:"))
            .and_then(|rest| rest.trim().strip_suffix("kB")?.trim().parse().ok());
        peak = peak.max(most.unwrap_or(0));
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
    assert!(peak > 0, "the system tells no peak");
    peak
}

/// A synthesised reed on low A and E in turn, half a second each.
#[cfg(target_os = "linux")]
fn reeds(seconds: usize) -> Vec<f32> {
    let mut phase = 0.0f32;
    (0..RATE as usize * seconds)
        .map(|at| {
            let pitch = if (at / (RATE as usize / 2)).is_multiple_of(2) {
                236.0
            } else {
                354.0
            };
            phase = (phase + pitch / RATE as f32).fract();
            let sum: f32 = (1..9u8)
                .map(|k| (std::f32::consts::TAU * phase * f32::from(k)).sin() / f32::from(k))
                .sum();
            0.2 * sum
        })
        .collect()
}

/// A long recording must be read as a stream. Two minutes more are 7.7 MB more of samples, and take
/// 4 to 16 KiB more memory. Pages of the program's own file are left out, because their number
/// varies by a megabyte from run to run. The buffer of earlier sound is full after the first
/// minute. `tests/two-hours.sh` does the same with two hours.
#[test]
#[cfg(target_os = "linux")]
fn a_longer_recording_takes_no_more_memory() {
    let folder = tempfile::tempdir().expect("a folder");
    let peak = |seconds: usize| peak_of(&write(folder.path(), RATE, &reeds(seconds)));
    let (short, long) = (peak(70), peak(190));
    assert!(long < short + 200, "{short} KiB, then {long} KiB");
}
