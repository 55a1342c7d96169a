//! The real stream through a real sound server, recorded from its monitor. Run by
//! `tests/device.sh`, which starts a server without hardware; not part of a plain `cargo test`.

use gracerung::drill::{built_in, read};
use gracerung::live::{Asked, DeviceError, DeviceState, Heard, Playback, Player};
use gracerung::score::resolve_music;
use gracerung::sound::{Bus, Entrance, Levels, RendererReport, Sound, When};
use gracerung::timeline::{Layout, Timeline, lay};
use gracerung::units::{Beats, Bpm, Gain, SampleRate};
use std::io::Read;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// The monitor of the software card, as it plays.
struct Recording {
    recorder: Child,
    reader: JoinHandle<Vec<u8>>,
}

impl Recording {
    fn begin() -> Self {
        let mut recorder = Command::new("parec")
            .args([
                "--device=card.monitor",
                "--format=float32le",
                "--rate=48000",
            ])
            .args(["--channels=2", "--latency-msec=50"])
            .stdout(Stdio::piped())
            .spawn()
            .expect("parec, from pulseaudio-utils");
        let mut pipe = recorder.stdout.take().expect("a pipe");
        let reader = std::thread::spawn(move || {
            let mut bytes = Vec::new();
            let _ = pipe.read_to_end(&mut bytes);
            bytes
        });
        Self { recorder, reader }
    }

    /// The left channel.
    fn end(mut self) -> Vec<f32> {
        let _ = self.recorder.kill();
        let _ = self.recorder.wait();
        let bytes = self.reader.join().expect("the reader ends with the pipe");
        bytes
            .chunks_exact(8)
            .map(|frame| f32::from_le_bytes([frame[0], frame[1], frame[2], frame[3]]))
            .collect()
    }
}

/// Where sound begins after at least a tenth of a second of silence.
fn onsets(samples: &[f32]) -> Vec<usize> {
    let mut quiet = 0;
    let mut found = Vec::new();
    for (frame, sample) in samples.iter().enumerate() {
        if sample.abs() < 1e-7 {
            quiet += 1;
        } else {
            if quiet >= 4800 {
                found.push(frame);
            }
            quiet = 0;
        }
    }
    found
}

fn intervals(samples: &[f32]) -> Vec<usize> {
    onsets(samples)
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .collect()
}

fn timeline() -> Arc<Timeline> {
    let file = built_in("grip-from-d").expect("built in");
    let drill = read(file.text.as_bytes()).0.expect("no problem");
    let score = resolve_music(&drill.stages[0].music, Beats::whole(4), &drill.schools);
    // 120 a minute at 48000: a beat is 24000 frames exactly.
    let tempo = Bpm::whole(120).expect("in range");
    Arc::new(lay(&score, &Layout::at(tempo, SampleRate(48_000))))
}

fn clicks_only() -> Sound {
    let mut levels = Levels::FULL;
    levels.mute(Bus::Reference, true);
    Sound {
        levels,
        ..Sound::default()
    }
}

/// Polls for a while.
fn listen(player: &mut Player, time: Duration) -> Vec<Heard> {
    let until = Instant::now() + time;
    let mut all = Vec::new();
    while Instant::now() < until {
        all.extend(player.poll(Instant::now()));
        std::thread::sleep(Duration::from_millis(5));
    }
    all
}

/// Polls until a state is reached; ten seconds at most.
fn wait_for(player: &mut Player, wanted: impl Fn(&DeviceState) -> bool) -> Vec<Heard> {
    let until = Instant::now() + Duration::from_secs(10);
    let mut all = Vec::new();
    while !wanted(player.state()) {
        assert!(Instant::now() < until, "instead: {:?}", player.state());
        all.extend(player.poll(Instant::now()));
        std::thread::sleep(Duration::from_millis(5));
    }
    all
}

fn server(what: &str) {
    let status = Command::new("tests/virtual-sound.sh")
        .arg(what)
        .stdout(Stdio::null())
        .status()
        .expect("the script runs");
    assert!(status.success(), "tests/virtual-sound.sh {what}");
}

/// The click that is heard is the click that was laid out: 24000 frames, never 23999.
#[test]
fn clicks_are_heard_at_exactly_their_period() {
    let recording = Recording::begin();
    std::thread::sleep(Duration::from_millis(500));
    let mut player = Player::new(Asked::default(), clicks_only());
    player.load(timeline(), When::Now, Entrance::CountIn);
    player.start();
    listen(&mut player, Duration::from_secs(12));
    let DeviceState::Sounding { rate, latency, .. } = player.state().clone() else {
        panic!("no device: {:?}", player.state());
    };
    assert_eq!(rate, SampleRate(48_000));
    assert!(latency > Duration::ZERO && latency < Duration::from_millis(200));
    player.stop();
    wait_for(&mut player, |state| *state == DeviceState::Closed);
    let intervals = intervals(&recording.end());
    assert!(intervals.len() >= 20, "{intervals:?}");
    assert!(
        intervals.iter().all(|interval| *interval == 24_000),
        "{intervals:?}"
    );
}

/// Nothing is open before the start and nothing after the stop: other programs keep the device.
#[test]
fn the_stream_is_open_only_while_something_plays() {
    let streams = || {
        let list = Command::new("pactl")
            .args(["list", "short", "sink-inputs"])
            .output()
            .expect("pactl, from pulseaudio-utils");
        String::from_utf8_lossy(&list.stdout).lines().count()
    };
    let mut player = Player::new(Asked::default(), clicks_only());
    player.load(timeline(), When::Now, Entrance::CountIn);
    listen(&mut player, Duration::from_millis(300));
    assert_eq!(streams(), 0);
    player.start();
    wait_for(&mut player, |state| {
        matches!(state, DeviceState::Sounding { .. })
    });
    assert_eq!(streams(), 1);
    player.pause();
    wait_for(&mut player, |state| *state == DeviceState::Closed);
    assert_eq!(streams(), 0);
}

/// A server that dies in mid-drill: it is told, the broken repetition is void, the place goes on
/// silently without a jump, and sound comes back with the server, on the beat.
#[test]
fn a_dead_server_is_told_played_through_and_found_again() {
    let mut player = Player::new(Asked::default(), clicks_only());
    player.load(timeline(), When::Now, Entrance::CountIn);
    player.start();
    let mut heard = wait_for(&mut player, |state| {
        matches!(state, DeviceState::Sounding { .. })
    });
    heard.extend(listen(&mut player, Duration::from_secs(3)));
    server("kill");
    let killed = Instant::now();
    heard.extend(wait_for(&mut player, |state| {
        matches!(state, DeviceState::Silent { .. })
    }));
    // While it is silent the position goes on with the clock on the wall.
    let position = |player: &Player| player.position(Instant::now()).expect("it plays");
    heard.extend(listen(&mut player, Duration::from_millis(200)));
    let (before, moment) = (position(&player), Instant::now());
    heard.extend(listen(&mut player, Duration::from_secs(2)));
    let (after, later) = (position(&player), Instant::now());
    let frames = (after.frame.0 - before.frame.0) as f64;
    let seconds = (later - moment).as_secs_f64();
    assert!(
        (frames / 48_000.0 - seconds).abs() < 0.1,
        "{frames} frames in {seconds} s"
    );
    server("start");
    heard.extend(wait_for(&mut player, |state| {
        matches!(state, DeviceState::Sounding { .. })
    }));
    let recording = Recording::begin();
    heard.extend(listen(&mut player, Duration::from_secs(6)));
    let intervals = intervals(&recording.end());
    assert!(intervals.len() >= 8, "{intervals:?}");
    assert!(
        intervals.iter().all(|interval| *interval == 24_000),
        "{intervals:?}"
    );
    assert!(killed.elapsed() < Duration::from_secs(20));
    let cut = heard
        .iter()
        .any(|heard| matches!(heard, Heard::Report(RendererReport::Cut { .. })));
    assert!(cut, "the repetition that broke is void");
    // Every bar line still stands on the one grid of beats: nothing moved.
    let bars: Vec<u64> = heard
        .iter()
        .filter_map(|heard| match heard {
            Heard::Report(RendererReport::Bar { frame, .. }) => Some(frame.0),
            _ => None,
        })
        .collect();
    assert!(bars.len() >= 5, "{bars:?}");
    assert!(
        bars.windows(2).all(|pair| pair[1] - pair[0] == 96_000),
        "{bars:?}"
    );
}

/// The real binary on a pseudo-terminal, the monitor of the card as its microphone.
struct Practice {
    home: tempfile::TempDir,
    writer: Box<dyn std::io::Write + Send>,
    child: Box<dyn portable_pty::Child + Send + Sync>,
    screen: Arc<std::sync::Mutex<vt100::Parser>>,
    _master: Box<dyn portable_pty::MasterPty + Send>,
}

impl Practice {
    fn begin(flags: &[&str]) -> Self {
        Self::begin_after(flags, |_| ())
    }

    /// `before` may put something into the home.
    fn begin_after(flags: &[&str], before: impl FnOnce(&std::path::Path)) -> Self {
        let practise = ["practise", "grip-from-d", "--stage", "real time"];
        let by_ear = ["--tempo", "66", "--mark-by", "ear"];
        let practice = Self::run(&[&practise, &by_ear, flags].concat(), before);
        practice.until("Grip from D");
        practice
    }

    fn run(arguments: &[&str], before: impl FnOnce(&std::path::Path)) -> Self {
        let home = tempfile::tempdir().expect("a folder");
        before(home.path());
        let size = portable_pty::PtySize {
            rows: 30,
            cols: 110,
            pixel_width: 0,
            pixel_height: 0,
        };
        let pair = portable_pty::native_pty_system()
            .openpty(size)
            .expect("a pseudo-terminal");
        let mut command = portable_pty::CommandBuilder::new(env!("CARGO_BIN_EXE_gracerung"));
        command.args(arguments);
        command.env("XDG_DATA_HOME", home.path());
        command.env("XDG_CONFIG_HOME", home.path());
        command.env("TERM", "xterm-256color");
        let child = pair.slave.spawn_command(command).expect("it starts");
        drop(pair.slave);
        let parser = vt100::Parser::new(
            std::num::NonZero::new(30).expect("rows"),
            std::num::NonZero::new(110).expect("columns"),
            0,
        );
        let screen = Arc::new(std::sync::Mutex::new(parser));
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        let shared = Arc::clone(&screen);
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut bytes) {
                let mut parser = shared.lock().expect("not poisoned");
                parser.process(&bytes[..count]);
            }
        });
        let writer = pair.master.take_writer().expect("a writer");
        Self {
            home,
            writer,
            child,
            screen,
            _master: pair.master,
        }
    }

    fn press(&mut self, keys: &str) {
        self.writer.write_all(keys.as_bytes()).expect("keys go in");
        self.writer.flush().expect("keys go in");
    }

    #[track_caller]
    fn until(&self, what: &str) {
        let end = Instant::now() + Duration::from_secs(60);
        loop {
            let screen = self.screen.lock().expect("not poisoned");
            let shown = screen.screen().contents();
            drop(screen);
            if shown.contains(what) {
                return;
            }
            assert!(Instant::now() < end, "`{what}` never came:\n{shown}");
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    /// Leaves; what the journal holds, a line an entry.
    fn end(mut self) -> String {
        self.press("q");
        let _ = self.child.wait();
        let output = Command::new(env!("CARGO_BIN_EXE_gracerung"))
            .args(["journal", "export"])
            .env("XDG_DATA_HOME", self.home.path())
            .env("XDG_CONFIG_HOME", self.home.path())
            .output()
            .expect("it runs");
        String::from_utf8(output.stdout).expect("text")
    }
}

/// A test that fails leaves nothing sounding for the next.
impl Drop for Practice {
    fn drop(&mut self) {
        let _ = self.child.kill();
    }
}

fn marks_by_ear(journal: &str) -> Vec<&str> {
    journal
        .lines()
        .filter(|line| line.contains("\"ear\"") && line.contains("clean"))
        .collect()
}

/// Our own reference with nobody playing earns nothing: not where the player said that headphones
/// keep it from the microphone, and not without.
#[test]
fn a_loudspeaker_earns_nothing() {
    let mut practice = Practice::begin(&["--headphones"]);
    practice.press(" ");
    practice.until("not marked by ear: the microphone heard the reference");
    let journal = practice.end();
    assert!(marks_by_ear(&journal).is_empty(), "{journal}");
    let mut practice = Practice::begin(&[]);
    practice.press(" ");
    practice.until("reference in the microphone");
    practice.until("not marked by ear: the microphone heard the reference");
    let journal = practice.end();
    assert!(marks_by_ear(&journal).is_empty(), "{journal}");
}

/// The fault this drill is there for: D for B in the grip from D, played by somebody else beside a
/// silent reference, is told and marked not clean.
#[test]
fn a_wrong_gracenote_in_the_microphone_is_told_and_marked() {
    let folder = tempfile::tempdir().expect("a folder");
    let drill = folder.path().join("wrong.yaml");
    let wrong = "title: Wrong\nmetre: 4/4\nunit: 1/8\nstages:\n- name: wrong\n  music: |\n    \
                 {g}d4 {GdG}A4|{g}d4 {GBG}d4|]\nladder: {from: 60, to: 70, step: 2}\n";
    std::fs::write(&drill, wrong).expect("a file");
    let take = folder.path().join("take.wav");
    let rendered = Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .arg("render")
        .arg(&drill)
        .args(["--tempo", "66", "--repeats", "4", "--no-click", "-o"])
        .arg(&take)
        .status()
        .expect("it runs");
    assert!(rendered.success());
    let mut practice = Practice::begin(&["--alone"]);
    practice.press(" ");
    practice.until("count-in");
    let mut player = Command::new("paplay")
        .arg("--latency-msec=50")
        .arg(&take)
        .spawn()
        .expect("paplay, from pulseaudio-utils");
    practice.until("sounded as D");
    let _ = player.kill();
    let _ = player.wait();
    let journal = practice.end();
    assert!(!marks_by_ear(&journal).is_empty(), "{journal}");
}

/// `calibrate` with a home of its own: exit code, and everything it said.
fn calibrate(home: &std::path::Path, more: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .arg("calibrate")
        .args(more)
        .env("XDG_DATA_HOME", home)
        .env("XDG_CONFIG_HOME", home)
        .output()
        .expect("it runs");
    let said = String::from_utf8_lossy(&output.stdout).into_owned()
        + &String::from_utf8_lossy(&output.stderr);
    (output.status.code(), said)
}

fn pactl(arguments: &[&str]) {
    let status = Command::new("pactl").args(arguments).status();
    assert!(status.expect("pactl, from pulseaudio-utils").success());
}

/// The monitor hears what the card plays when the card says it does: measured, that is within a few
/// milliseconds of nothing, kept for the pair, and the reference in the microphone is on the click.
#[test]
fn a_calibrated_pair_knows_where_the_click_is() {
    let (code, said) = {
        let home = tempfile::tempdir().expect("a folder");
        let (code, said) = calibrate(home.path(), &["--json"]);
        assert_eq!(code, Some(0), "{said}");
        let (_, listed) = calibrate(home.path(), &["--list", "--json"]);
        assert!(listed.contains(said.trim()), "{listed}");
        (code, said)
    };
    assert_eq!(code, Some(0), "{said}");
    let found: serde_json::Value = serde_json::from_str(&said).expect("JSON");
    let of = |name: &str| found[name].as_f64().expect("a number");
    println!("{said}");
    assert!(of("later_ms").abs() < 10.0, "{said}");
    assert!(of("spread_ms") <= 6.0, "{said}");
    assert!(of("round_trip_ms") > 0.0 && of("round_trip_ms") < 300.0);
    assert_eq!(found["sweeps"].as_u64(), Some(9));
    let mut practice = Practice::begin_after(&["--headphones"], |home| {
        assert_eq!(calibrate(home, &[]).0, Some(0));
    });
    practice.press(" ");
    practice.until("on the click");
    // what was just heard can be kept, and comes back beside the reference
    practice.press("p");
    practice.until("kept the last");
    let heard = practice.home.path().join("heard.wav");
    let output = Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .args(["takes", "1", "-o"])
        .arg(&heard)
        .env("XDG_DATA_HOME", practice.home.path())
        .env("XDG_CONFIG_HOME", practice.home.path())
        .output()
        .expect("it runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && said.is_empty(), "{said}");
    let reader = hound::WavReader::open(&heard).expect("a WAV file");
    assert_eq!(reader.spec().channels, 2);
    practice.end();
}

/// The page for blowing evenly hears the card as practising does.
#[test]
fn a_held_note_is_shown_for_blowing_evenly() {
    let practice = Practice::run(&["blow"], |_| ());
    practice.until("nothing is heard");
    let playback: Playback =
        Playback::open::<DeviceError>(&Asked::default(), Gain(1.0), false, |rate| {
            Ok(reeds(rate, &[236.0 * 2f64.powf(-10.0 / 1200.0)], 8.0))
        })
        .expect("the card plays");
    practice.until("low A  -10 cents");
    practice.until("even within ±");
    drop(playback);
    practice.end();
}

/// A delay measured from noise, silence or a clipped microphone would be a lead of every repetition
/// from then on: each is refused with a sentence, and nothing is kept.
#[test]
fn what_cannot_be_measured_is_refused_with_a_sentence() {
    let home = tempfile::tempdir().expect("a folder");
    pactl(&["set-source-mute", "card.monitor", "1"]);
    let deaf = calibrate(home.path(), &[]);
    pactl(&["set-source-mute", "card.monitor", "0"]);
    assert_eq!(deaf.0, Some(1), "{}", deaf.1);
    assert!(deaf.1.contains("hears nothing at all"), "{}", deaf.1);
    // a volume of 800 % is 54 dB: even the softest sweep is over full scale
    pactl(&["set-source-volume", "card.monitor", "800%"]);
    let clipped = calibrate(home.path(), &[]);
    pactl(&["set-source-volume", "card.monitor", "100%"]);
    assert_eq!(clipped.0, Some(1), "{}", clipped.1);
    assert!(clipped.1.contains("clips"), "{}", clipped.1);
    let noise = home.path().join("noise.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&noise, spec).expect("a file");
    let mut random = fastrand::Rng::with_seed(3);
    for _ in 0..48_000 * 20 {
        writer.write_sample(random.i16(-9000..9000)).expect("room");
    }
    writer.finalize().expect("room");
    let mut player = Command::new("paplay").arg(&noise).spawn().expect("paplay");
    std::thread::sleep(Duration::from_millis(500));
    let noisy = calibrate(home.path(), &[]);
    let _ = player.kill();
    let _ = player.wait();
    assert_eq!(noisy.0, Some(1), "{}", noisy.1);
    assert!(noisy.1.contains("too noisy"), "{}", noisy.1);
    let (_, listed) = calibrate(home.path(), &["--list"]);
    assert!(listed.contains("nothing is calibrated yet"), "{listed}");
}

/// A reed by formula on these pitches in turn, so many seconds each.
fn reeds(rate: SampleRate, pitches: &[f64], seconds: f64) -> Vec<[f32; 2]> {
    let mut phase = 0.0f64;
    let mut frames = Vec::new();
    for pitch in pitches {
        for _ in 0..(seconds * f64::from(rate.0)) as usize {
            phase += pitch / f64::from(rate.0);
            let sum: f64 = (1..12)
                .map(|k| (std::f64::consts::TAU * phase * f64::from(k)).sin() * 0.7f64.powi(k))
                .sum();
            frames.push([(0.15 * sum) as f32; 2]);
        }
    }
    frames
}

/// A tone in the microphone is on the screen with its note, its cents and how even it is; how soon
/// after it sounds is printed (`tests/device.sh sound_to_screen --nocapture`), not asserted.
#[test]
fn from_sound_to_screen() {
    const EACH: f64 = 0.7;
    let practice = Practice::begin(&["--alone"]);
    let low_a = 236.0;
    let sharp = 2f64.powf(10.0 / 1200.0);
    let pitches: Vec<f64> = [low_a, low_a * 1.5].repeat(12);
    let playback: Playback =
        Playback::open::<DeviceError>(&Asked::default(), Gain(1.0), false, |rate| {
            Ok(reeds(rate, &pitches, EACH))
        })
        .expect("the card plays");
    let mut delays = Vec::new();
    for change in 1..pitches.len() {
        let frame = (change as f64 * (EACH * f64::from(playback.rate.0)).floor()) as u64;
        let wanted = if change % 2 == 0 {
            "hears LA"
        } else {
            "hears E "
        };
        let until = Instant::now() + Duration::from_secs(10);
        let sounded = loop {
            assert!(Instant::now() < until, "the card plays no more");
            std::thread::sleep(Duration::from_millis(1));
            if playback.played() > frame {
                break playback.heard_at(frame).expect("it plays");
            }
        };
        practice.until(wanted);
        delays.push(
            Instant::now()
                .saturating_duration_since(sounded)
                .as_secs_f64()
                * 1e3,
        );
    }
    delays.sort_by(f64::total_cmp);
    println!(
        "from sound to screen, ms: median {:.0}, least {:.0}, most {:.0} of {}",
        delays[delays.len() / 2],
        delays[0],
        delays[delays.len() - 1],
        delays.len()
    );
    drop(playback);
    let held: Playback =
        Playback::open::<DeviceError>(&Asked::default(), Gain(1.0), false, |rate| {
            Ok(reeds(rate, &[low_a * sharp], 8.0))
        })
        .expect("the card plays");
    practice.until("+10 cents");
    practice.until(" ±");
    drop(held);
    practice.until("nothing is heard");
    practice.end();
}

/// A take is heard at the pitch it was played, whatever the microphone's rate was; at half speed for
/// twice as long.
#[test]
fn a_take_is_heard_again_at_its_pitch() {
    let home = tempfile::tempdir().expect("a folder");
    let folder = home.path().join("gracerung/takes");
    std::fs::create_dir_all(&folder).expect("a folder");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let path = folder.join("2026-01-15-203000-gone.wav");
    let mut writer = hound::WavWriter::create(&path, spec).expect("a file");
    for [sample, _] in reeds(SampleRate(16_000), &[240.0], 2.0) {
        writer
            .write_sample((sample * 32_767.0) as i16)
            .expect("room");
    }
    writer.finalize().expect("room");
    let about = r#"{"drill":"gone","stage":"gone","tempo":"60","la_hz":240.0,"seconds":2.0}"#;
    std::fs::write(path.with_extension("json"), about).expect("a file");
    for (more, seconds) in [(&[][..], 2.0), (&["--half"], 4.0)] {
        let recording = Recording::begin();
        std::thread::sleep(Duration::from_millis(500));
        let output = Command::new(env!("CARGO_BIN_EXE_gracerung"))
            .args(["takes", "1"])
            .args(more)
            .env("XDG_DATA_HOME", home.path())
            .env("XDG_CONFIG_HOME", home.path())
            .output()
            .expect("it runs");
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(0), "{said}");
        assert!(said.contains("the take alone"), "{said}");
        std::thread::sleep(Duration::from_millis(300));
        let heard = recording.end();
        let loud: Vec<usize> = (0..heard.len())
            .filter(|at| heard[*at].abs() > 0.02)
            .collect();
        let (first, last) = (loud[0], loud[loud.len() - 1]);
        let length = (last - first) as f64 / 48_000.0;
        assert!((length - seconds).abs() < 0.1, "{length} s");
        let middle = &heard[usize::midpoint(first, last)..][..12_000];
        let likeness =
            |lag: usize| -> f32 { middle.iter().zip(&middle[lag..]).map(|(a, b)| a * b).sum() };
        let period = (150..300usize)
            .max_by(|a, b| likeness(*a).total_cmp(&likeness(*b)))
            .expect("lags");
        // 48000 / 240
        assert!(period.abs_diff(200) <= 1, "{period}");
    }
}
