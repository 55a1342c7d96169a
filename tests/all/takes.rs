//! The command `takes` with the real binary: kept recordings are listed, played beside the
//! reference and at half speed, and removed.

use gracerung::decoding::Recording;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const RATE: u32 = 16_000;

fn takes(home: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .arg("takes")
        .args(arguments)
        .env("HOME", home)
        .env("XDG_DATA_HOME", home)
        .env("XDG_CONFIG_HOME", home)
        .stdin(std::process::Stdio::null())
        .output()
        .expect("the program runs")
}

fn text(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// A home in which the shipped clean recording was kept.
fn home() -> (tempfile::TempDir, usize) {
    let home = tempfile::tempdir().expect("a folder");
    let folder = home.path().join("gracerung/takes");
    std::fs::create_dir_all(&folder).expect("a folder");
    let sample = format!("{}/samples/take-clean.flac", env!("CARGO_MANIFEST_DIR"));
    let file = std::fs::File::open(sample).expect("it is shipped");
    let length = file.metadata().expect("it is there").len();
    let mut recording =
        Recording::open(std::io::BufReader::new(file), length).expect("a recording");
    let samples = recording.read(RATE as usize * 100);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let name = "2026-01-15-203000-grip-from-d";
    let mut writer =
        hound::WavWriter::create(folder.join(format!("{name}.wav")), spec).expect("a file");
    for sample in &samples {
        let whole = (sample * 32_767.0) as i16;
        writer.write_sample(whole).expect("room");
    }
    writer.finalize().expect("room");
    let about =
        r#"{"drill":"grip-from-d","stage":"real time","tempo":"60","la_hz":236.0,"seconds":28.0}"#;
    std::fs::write(folder.join(format!("{name}.json")), about).expect("a file");
    (home, samples.len())
}

fn written(path: &PathBuf) -> (hound::WavSpec, Vec<i16>) {
    let mut reader = hound::WavReader::open(path).expect("a WAV file");
    let spec = reader.spec();
    let samples = reader.samples::<i16>().map(|one| one.expect("whole"));
    (spec, samples.collect())
}

#[test]
fn without_takes_the_way_to_one_is_told() {
    let home = tempfile::tempdir().expect("a folder");
    let none = takes(home.path(), &[]);
    assert_eq!(none.status.code(), Some(0));
    assert!(text(&none).contains("`p` keeps one"), "{}", text(&none));
    let missing = takes(home.path(), &["1"]);
    assert_eq!(missing.status.code(), Some(2));
    assert!(text(&missing).contains("none was kept yet"));
}

/// The recording on the left and the reference on the right must sound at the same times, and at
/// half speed for twice as long and at the same pitch.
#[test]
fn a_take_comes_back_beside_the_reference_and_slowly() {
    let (home, length) = home();
    let list = takes(home.path(), &["--json"]);
    let rows: serde_json::Value = serde_json::from_slice(&list.stdout).expect("JSON");
    assert_eq!(rows[0]["number"], 1);
    assert_eq!(rows[0]["stage"], "real time");
    for (more, frames) in [(&[][..], length), (&["--half"], 2 * length)] {
        let path = home.path().join("heard.wav");
        let mut arguments = vec!["1", "--force", "-o", path.to_str().expect("plain")];
        arguments.extend(more);
        let output = takes(home.path(), &arguments);
        assert_eq!(output.status.code(), Some(0), "{}", text(&output));
        let (spec, samples) = written(&path);
        assert_eq!((spec.channels, spec.sample_rate), (2, RATE));
        assert_eq!(samples.len(), 2 * frames);
        // the first repetition begins at 3.98 s; from there to 8 s both channels play, and before
        // it the right one is silent
        let slower = frames / length;
        let level = |channel: usize, from: f64, to: f64| {
            let place = |second: f64| (second * f64::from(RATE)) as usize * slower;
            let part = (place(from)..place(to)).map(|at| f64::from(samples[2 * at + channel]));
            let count = (place(to) - place(from)) as f64;
            (part.map(|sample| sample * sample).sum::<f64>() / count).sqrt()
        };
        assert!(level(0, 4.2, 8.0) > 500.0 && level(1, 4.2, 8.0) > 500.0);
        assert!(level(1, 1.0, 3.5) < 1.0, "{}", level(1, 1.0, 3.5));
    }
    let alone = home.path().join("alone.wav");
    let path = alone.to_str().expect("plain");
    let output = takes(home.path(), &["1", "--alone", "-o", path]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    assert_eq!(written(&alone).0.channels, 1);
    let kept = takes(home.path(), &["1", "--alone", "-o", path]);
    assert_eq!(kept.status.code(), Some(2), "an existing file is kept");
}

/// The recording of a drill that was renamed must still play.
#[test]
fn a_take_of_a_drill_that_is_gone_comes_back_alone() {
    let (home, length) = home();
    let about = home
        .path()
        .join("gracerung/takes/2026-01-15-203000-grip-from-d.json");
    let text_before = std::fs::read_to_string(&about).expect("a file");
    std::fs::write(&about, text_before.replace("grip-from-d", "nowhere")).expect("a file");
    let path = home.path().join("heard.wav");
    let output = takes(home.path(), &["1", "-o", path.to_str().expect("plain")]);
    assert_eq!(output.status.code(), Some(0), "{}", text(&output));
    assert!(
        text(&output).contains("the take alone"),
        "{}",
        text(&output)
    );
    assert_eq!(written(&path).1.len(), length);
    assert_eq!(
        takes(home.path(), &["1", "--remove"]).status.code(),
        Some(0)
    );
    assert!(text(&takes(home.path(), &[])).contains("no takes yet"));
}

/// The best recording of a cell is sent with a report, as a file small enough for mail, and is
/// named in it, unless the student leaves it out. An older recording of the same cell is not sent.
#[test]
fn a_report_takes_the_kept_take_along() {
    let home = tempfile::tempdir().expect("a folder");
    let run = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_gracerung"))
            .args(arguments)
            .env("XDG_DATA_HOME", home.path())
            .env("XDG_CONFIG_HOME", home.path())
            .current_dir(home.path())
            .output()
            .expect("the program runs");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        (output.status.code(), text)
    };
    let (code, said) = run(&[
        "assign",
        "grip-from-d",
        "--for",
        "Ann",
        "--for",
        "Bo",
        "-o",
        "week.yaml",
    ]);
    assert_eq!(code, Some(0), "{said}");
    let takes = home.path().join("gracerung/takes");
    std::fs::create_dir_all(&takes).expect("a folder");
    for (name, drill) in [
        ("2099-01-02-120000-grip", "grip-from-d"),
        ("2099-01-03-120000-grip", "grip-from-d"),
        ("2099-01-03-120001-birl", "birl"),
        ("2001-01-03-120000-grip", "grip-from-d"),
    ] {
        let (code, said) = run(&[
            "render",
            "grip-from-d",
            "--repeats",
            "1",
            "--force",
            "-o",
            "x.wav",
        ]);
        assert_eq!(code, Some(0), "{said}");
        std::fs::rename(home.path().join("x.wav"), takes.join(format!("{name}.wav")))
            .expect("moved");
        let about = format!(
            "{{\"drill\":\"{drill}\",\"stage\":\"full beats\",\"tempo\":\"50\",\"la_hz\":236.0,\"seconds\":10.0}}"
        );
        std::fs::write(takes.join(format!("{name}.json")), about).expect("written");
    }
    let (code, said) = run(&["report", "week.yaml", "--name", "Ann", "-o", "r.yaml"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("1 take lies beside it: r-take-1.flac"),
        "{said}"
    );
    let size = std::fs::metadata(home.path().join("r-take-1.flac"))
        .expect("it is there")
        .len();
    assert!(size > 1000 && size <= 2_000_000, "{size}");
    let text = std::fs::read_to_string(home.path().join("r.yaml")).expect("written");
    assert!(
        text.contains("r-take-1.flac") && text.contains("homework: "),
        "{text}"
    );
    let (_, said) = run(&["review", "week.yaml", "r.yaml"]);
    assert!(said.contains("1 answered, no report yet from Bo"), "{said}");
    let (_, said) = run(&["report", "week.yaml", "--no-takes", "-o", "s.yaml"]);
    assert!(!said.contains("beside it"), "{said}");
    assert!(!home.path().join("s-take-1.flac").exists());
    let (code, heard) = run(&["listen", "r-take-1.flac", "--la", "236"]);
    assert!(
        code != Some(2) && heard.contains("LG"),
        "what went along is heard: {heard}"
    );
}
