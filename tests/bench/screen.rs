//! Times the real binary on a pseudo-terminal: start, keys, rest, play and memory.
//!
//! `cargo bench -p gracerung-benches --bench screen` prints a table. Nothing is asserted, because
//! times on a busy machine are no fault of the program.

use gracerung_benches::{Run, program};
use std::io::Write;
use std::time::{Duration, Instant};

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times.get(times.len() / 2).copied().unwrap_or(0.0)
}

fn row(what: &str, figure: f64, unit: &str, aim: &str) {
    let _ = writeln!(
        std::io::stdout(),
        "{what:<44} {figure:>8.1} {unit:<22} aim {aim}"
    );
}

fn main() {
    let home = tempfile::tempdir().expect("a folder");
    let starts: Vec<f64> = (0..15)
        .map(|_| {
            let run = Run::start(home.path(), &[]);
            let time = run.until(run.started, |screen| screen.contains("letters find"));
            run.end();
            time.as_secs_f64() * 1000.0
        })
        .collect();
    row(
        "start to first complete screen, median",
        median(starts),
        "ms",
        "30",
    );

    let mut run = Run::start(home.path(), &[]);
    run.until(run.started, |screen| screen.contains("letters find"));
    std::thread::sleep(Duration::from_secs(1));
    let keys: Vec<f64> = (0..40)
        .map(|at| {
            let before = run.screen();
            let pressed = Instant::now();
            run.press(if at % 2 == 0 { "j" } else { "k" });
            run.until(pressed, |screen| screen != before).as_secs_f64() * 1000.0
        })
        .collect();
    row("key to changed screen, median", median(keys), "ms", "2");
    let before = run.cpu_ms();
    std::thread::sleep(Duration::from_secs(20));
    row(
        "CPU a minute when stopped",
        (run.cpu_ms() - before) * 3.0,
        "ms",
        "20",
    );
    run.end();

    let mut run = Run::start(home.path(), &["practise", "grip-from-d"]);
    run.until(run.started, |screen| screen.contains("Grip from D"));
    run.press(" ");
    run.until(Instant::now(), |screen| screen.contains("bar 1"));
    let before = run.cpu_ms();
    std::thread::sleep(Duration::from_secs(10));
    row(
        "CPU of a core while playing without a device",
        (run.cpu_ms() - before) / 100.0,
        "%",
        "5",
    );
    row("memory at most", run.memory(), "MiB", "40");
    run.end();

    let versions: Vec<f64> = (0..40)
        .map(|_| {
            let started = Instant::now();
            let _ = std::process::Command::new(program())
                .arg("--version")
                .output();
            started.elapsed().as_secs_f64() * 1000.0
        })
        .collect();
    row("--version, median", median(versions), "ms", "2");
}
