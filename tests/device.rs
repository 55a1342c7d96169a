//! The real stream through a real sound server, recorded from its monitor. Run by
//! `tests/device.sh`, which starts a server without hardware; not part of a plain `cargo test`.

use gracerung::drill::{built_in, read};
use gracerung::live::{Asked, Heard, Player, State};
use gracerung::score::resolve_music;
use gracerung::sound::{Bus, Entry, Levels, Report, Sound, When};
use gracerung::timeline::{Layout, Timeline, lay};
use gracerung::units::{Beats, Bpm, SampleRate};
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
fn wait_for(player: &mut Player, wanted: impl Fn(&State) -> bool) -> Vec<Heard> {
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
    player.load(timeline(), When::Now, Entry::CountIn);
    player.start();
    listen(&mut player, Duration::from_secs(12));
    let State::Sounding { rate, latency, .. } = player.state().clone() else {
        panic!("no device: {:?}", player.state());
    };
    assert_eq!(rate, SampleRate(48_000));
    assert!(latency > Duration::ZERO && latency < Duration::from_millis(200));
    player.stop();
    wait_for(&mut player, |state| *state == State::Closed);
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
    player.load(timeline(), When::Now, Entry::CountIn);
    listen(&mut player, Duration::from_millis(300));
    assert_eq!(streams(), 0);
    player.start();
    wait_for(&mut player, |state| matches!(state, State::Sounding { .. }));
    assert_eq!(streams(), 1);
    player.pause();
    wait_for(&mut player, |state| *state == State::Closed);
    assert_eq!(streams(), 0);
}

/// A server that dies in mid-drill: it is told, the broken repetition is void, the place goes on
/// silently without a jump, and sound comes back with the server, on the beat.
#[test]
fn a_dead_server_is_told_played_through_and_found_again() {
    let mut player = Player::new(Asked::default(), clicks_only());
    player.load(timeline(), When::Now, Entry::CountIn);
    player.start();
    let mut heard = wait_for(&mut player, |state| matches!(state, State::Sounding { .. }));
    heard.extend(listen(&mut player, Duration::from_secs(3)));
    server("kill");
    let killed = Instant::now();
    heard.extend(wait_for(&mut player, |state| {
        matches!(state, State::Silent { .. })
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
        matches!(state, State::Sounding { .. })
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
        .any(|heard| matches!(heard, Heard::Report(Report::Cut { .. })));
    assert!(cut, "the repetition that broke is void");
    // Every bar line still stands on the one grid of beats: nothing moved.
    let bars: Vec<u64> = heard
        .iter()
        .filter_map(|heard| match heard {
            Heard::Report(Report::Bar { frame, .. }) => Some(frame.0),
            _ => None,
        })
        .collect();
    assert!(bars.len() >= 5, "{bars:?}");
    assert!(
        bars.windows(2).all(|pair| pair[1] - pair[0] == 96_000),
        "{bars:?}"
    );
}
