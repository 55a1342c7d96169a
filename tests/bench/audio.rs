//! Measures the speed of the player: a minute of chanter, three drones and click, and the slowest
//! callback.
//!
//! `cargo bench -p gracerung-benches --bench audio`. The aims are at least 250 times real time on
//! one core, and no callback of 64 frames that takes more than a tenth of its 1.33 ms.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

use gracerung::drill::{built_in, read};
use gracerung::score::resolve_music;
use gracerung::sound::{Command, Controls, Entrance, Levels, Load, Renderer, Sound, Timed, When};
use gracerung::timeline::{Layout, Timeline, lay};
use gracerung::units::{Beats, Bpm, Frames, SampleRate};
use std::hint::black_box;
use std::sync::Arc;
use std::time::{Duration, Instant};

const RATE: SampleRate = SampleRate(48_000);
const SECONDS: usize = 60;
const FRAMES: usize = SECONDS * RATE.0 as usize;
const RUNS: usize = 15;
const CALLBACK: usize = 64;

/// The timeline of a drill's last stage. It has the most gracenotes and no breath, so that the
/// chanter never rests.
fn timeline() -> Option<Arc<Timeline>> {
    let file = built_in("crunluath")?;
    let drill = read(file.text.as_bytes()).0?;
    let stage = drill.stages.last()?;
    let score = resolve_music(&stage.music, Beats::ZERO, &drill.schools);
    let tempo = Bpm::whole(80).ok()?;
    Some(Arc::new(lay(&score, &Layout::at(tempo, RATE))))
}

fn started(timeline: &Arc<Timeline>) -> (Renderer, Controls) {
    let sound = Sound {
        drones: true,
        levels: Levels::FULL,
        ..Sound::default()
    };
    let (renderer, mut controls) = Renderer::new(RATE, sound);
    let load = Load {
        timeline: Arc::clone(timeline),
        serial: 0,
        when: When::Now,
        entry: Entrance::CountIn,
    };
    for command in [Command::Load(load), Command::Play { repetitions: None }] {
        let at = Frames(0);
        let _ = controls.commands.push(Timed { at, command });
    }
    (renderer, controls)
}

/// Renders a minute in blocks of `length` frames. Returns the time that each block took.
fn minute(timeline: &Arc<Timeline>, length: usize) -> Vec<Duration> {
    let (mut renderer, mut controls) = started(timeline);
    let mut block = vec![0.0_f32; length];
    let mut times = Vec::with_capacity(FRAMES / length);
    for _ in 0..FRAMES / length {
        let begin = Instant::now();
        renderer.fill(black_box(&mut block));
        times.push(begin.elapsed());
        while controls.reports.pop().is_ok() {}
    }
    times
}

fn main() {
    let Some(timeline) = timeline() else {
        println!("the built-in drill cannot be read");
        std::process::exit(2);
    };
    let mut speeds: Vec<f64> = (0..RUNS)
        .map(|_| {
            let total: Duration = minute(&timeline, 1024).iter().sum();
            SECONDS as f64 / total.as_secs_f64()
        })
        .collect();
    speeds.sort_by(f64::total_cmp);
    println!(
        "a minute of chanter, three drones and click: {:.0} times real time (median of {RUNS}; \
         {:.0} to {:.0}); asked for: 250",
        speeds[RUNS / 2],
        speeds[0],
        speeds[RUNS - 1]
    );
    // Other programs on the machine interrupt any thread now and then. A block's own time is
    // therefore the smallest of its times over all runs; the largest time seen is printed beside
    // it.
    let runs: Vec<Vec<Duration>> = (0..RUNS).map(|_| minute(&timeline, CALLBACK)).collect();
    let own = (0..FRAMES / CALLBACK)
        .filter_map(|n| runs.iter().map(|run| run[n]).min())
        .max()
        .unwrap_or_default();
    let seen = runs.iter().flatten().max().copied().unwrap_or_default();
    let share = |time: Duration| 100.0 * time.as_secs_f64() * f64::from(RATE.0) / CALLBACK as f64;
    println!(
        "the worst of {} callbacks of {CALLBACK} frames: {:.1} µs of its own, {:.1} % of its time \
         (seen, interruptions included: {:.1} µs, {:.1} %); asked for: under 10 %",
        FRAMES / CALLBACK,
        own.as_secs_f64() * 1e6,
        share(own),
        seen.as_secs_f64() * 1e6,
        share(seen)
    );
    let begin = Instant::now();
    black_box(started(&timeline));
    println!(
        "voices and rings built in {:.1} ms",
        begin.elapsed().as_secs_f64() * 1e3
    );
}
