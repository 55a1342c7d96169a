//! Times the real binary on a pseudo-terminal: start, keys, rest, play, memory.
//!
//! `cargo bench --bench screen` prints a table; nothing is asserted, because a busy machine is no
//! fault of the program.

use portable_pty::{CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::num::NonZero;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

const COLUMNS: u16 = 80;
const ROWS: u16 = 24;

struct Run {
    _master: Box<dyn MasterPty + Send>,
    writer: Box<dyn Write + Send>,
    child: Box<dyn portable_pty::Child + Send + Sync>,
    parser: Arc<Mutex<vt100::Parser>>,
    started: Instant,
}

impl Run {
    fn start(home: &Path, arguments: &[&str]) -> Self {
        let pair = native_pty_system()
            .openpty(PtySize {
                rows: ROWS,
                cols: COLUMNS,
                pixel_width: 0,
                pixel_height: 0,
            })
            .expect("a pseudo-terminal");
        let cells = |count| NonZero::new(count).expect("a size");
        let parser = Arc::new(Mutex::new(vt100::Parser::new(
            cells(ROWS),
            cells(COLUMNS),
            0,
        )));
        let shared = Arc::clone(&parser);
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut bytes) {
                shared
                    .lock()
                    .expect("not poisoned")
                    .process(&bytes[..count]);
            }
        });
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_gracerung"));
        command.args(arguments);
        for name in ["HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME"] {
            command.env(name, home);
        }
        command.env("TERM", "xterm-256color");
        command.env("ALSA_CONFIG_PATH", home.join("no-such-file"));
        let started = Instant::now();
        let child = pair.slave.spawn_command(command).expect("it starts");
        Self {
            writer: pair.master.take_writer().expect("a writer"),
            _master: pair.master,
            child,
            parser,
            started,
        }
    }

    fn screen(&self) -> String {
        self.parser
            .lock()
            .expect("not poisoned")
            .screen()
            .contents()
    }

    /// Waits until the screen holds, and gives the time since `from`.
    fn until(&self, from: Instant, holds: impl Fn(&str) -> bool) -> Duration {
        while !holds(&self.screen()) && from.elapsed() < Duration::from_secs(20) {
            std::thread::sleep(Duration::from_micros(100));
        }
        from.elapsed()
    }

    fn press(&mut self, keys: &str) {
        self.writer.write_all(keys.as_bytes()).expect("keys go in");
        self.writer.flush().expect("keys go in");
    }

    /// User and system time so far, milliseconds; 0 where the system does not say.
    fn cpu_ms(&self) -> f64 {
        let Some(id) = self.child.process_id() else {
            return 0.0;
        };
        let stat = std::fs::read_to_string(format!("/proc/{id}/stat")).unwrap_or_default();
        let after = stat.rsplit(')').next().unwrap_or_default();
        let fields: Vec<&str> = after.split_whitespace().collect();
        let ticks = |at: usize| {
            fields
                .get(at)
                .and_then(|f| f.parse::<f64>().ok())
                .unwrap_or(0.0)
        };
        // Fields 14 and 15 of proc(5), in ticks of 10 ms.
        (ticks(11) + ticks(12)) * 10.0
    }

    /// The most memory held so far, mebibytes.
    fn memory(&self) -> f64 {
        let Some(id) = self.child.process_id() else {
            return 0.0;
        };
        let status = std::fs::read_to_string(format!("/proc/{id}/status")).unwrap_or_default();
        status
            .lines()
            .find_map(|line| line.strip_prefix("VmHWM:"))
            .and_then(|rest| rest.split_whitespace().next()?.parse::<f64>().ok())
            .map_or(0.0, |kib| kib / 1024.0)
    }

    fn end(mut self) {
        self.press("qq");
        let _ = self.child.wait();
    }
}

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
            let time = run.until(run.started, |screen| screen.contains("enter practise"));
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
    run.until(run.started, |screen| screen.contains("enter practise"));
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
            let _ = std::process::Command::new(env!("CARGO_BIN_EXE_gracerung"))
                .arg("--version")
                .output();
            started.elapsed().as_secs_f64() * 1000.0
        })
        .collect();
    row("--version, median", median(versions), "ms", "2");
}
