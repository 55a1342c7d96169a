//! Runs the real binary on a pseudo-terminal for the benches.

#![expect(clippy::expect_used, reason = "a bench that cannot run says so")]

use portable_pty::{CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::num::NonZero;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// The path of the program, which is beside the bench. `cargo build --release` builds it.
///
/// # Panics
/// Panics where the program was not built.
pub fn program() -> PathBuf {
    let beside = std::env::current_exe().expect("a bench has a file");
    let folder = beside.ancestors().nth(2).expect("benches lie in deps/");
    let program = folder.join(format!("gracerung{}", std::env::consts::EXE_SUFFIX));
    assert!(
        program.is_file(),
        "{} is not there: `cargo build --release` first",
        program.display()
    );
    program
}

const COLUMNS: u16 = 80;
const ROWS: u16 = 24;

/// A run of the program.
pub struct Run {
    _master: Box<dyn MasterPty + Send>,
    writer: Box<dyn Write + Send>,
    child: Box<dyn portable_pty::Child + Send + Sync>,
    parser: Arc<Mutex<vt100::Parser>>,
    /// The moment at which the program was started.
    pub started: Instant,
}

impl Run {
    /// Starts the program in `home`, with 80 columns and 24 rows and without a sound device. Where
    /// `home` has no settings file one is written, because the first start would ask questions.
    pub fn start(home: &Path, arguments: &[&str]) -> Self {
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
        let mut command = CommandBuilder::new(program());
        command.args(arguments);
        for name in ["HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME"] {
            command.env(name, home);
        }
        command.env("TERM", "xterm-256color");
        command.env("ALSA_CONFIG_PATH", home.join("no-such-file"));
        let settings = home.join("gracerung/settings.toml");
        if !settings.exists() {
            std::fs::create_dir_all(home.join("gracerung")).expect("a folder");
            std::fs::write(&settings, "name = \"student\"\n").expect("settings");
        }
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

    /// The text that the screen shows now.
    pub fn screen(&self) -> String {
        self.parser
            .lock()
            .expect("not poisoned")
            .screen()
            .contents()
    }

    /// Waits until `holds` is true for the screen. Returns the time since `from`.
    ///
    /// # Panics
    /// Panics after 20 s, because a wrong screen must not be reported as a time.
    pub fn until(&self, from: Instant, holds: impl Fn(&str) -> bool) -> Duration {
        while !holds(&self.screen()) {
            assert!(
                from.elapsed() < Duration::from_secs(20),
                "20 s went by and the screen says:\n{}",
                self.screen()
            );
            std::thread::sleep(Duration::from_micros(100));
        }
        from.elapsed()
    }

    /// Types these keys.
    pub fn press(&mut self, keys: &str) {
        self.writer.write_all(keys.as_bytes()).expect("keys go in");
        self.writer.flush().expect("keys go in");
    }

    /// The user and system time of the program so far in milliseconds; 0 where the system does not
    /// tell.
    pub fn cpu_ms(&self) -> f64 {
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
        // fields 14 and 15 of proc(5), in ticks of 10 ms
        (ticks(11) + ticks(12)) * 10.0
    }

    /// The most memory that the program has held so far, in mebibytes.
    pub fn memory(&self) -> f64 {
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

    /// Quits the program and waits for its end.
    pub fn end(mut self) {
        self.press("qq");
        let _ = self.child.wait();
    }
}
