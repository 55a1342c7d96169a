//! Faults with the real binary: it is killed at any moment, runs twice at once, meets a full or
//! write-protected disk, a wrong clock, and damaged files.
//!
//! `FAULTS_AT_FULL_LENGTH=1` runs the tests at full length (500 kills, a minute of two programs),
//! as `tests/faults.sh` does.

mod clock;
mod disk;
mod killed;
mod spoilt;

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// The longest time that the tests wait for an output.
const PATIENCE: Duration = Duration::from_secs(30);

/// A drill of our own with a mark every 0.4 s: two beats at 300 beats a minute and no breath. Fifty
/// clean repetitions in a row clear it, so that each mark shows the next number.
pub(super) const COUNT: &str = "title: Count\nmetre: 2/4\nunit: 1/8\nbreath: 0\nclean: 50\nstages:\n  - {name: first, music: \"A2 B2|\"}\nladder: {from: 300, to: 300, step: 10}\n";

/// True where the tests are to run at full length.
fn at_full_length() -> bool {
    // the variable's name must not begin with the program's name, or the program would take it for
    // a setting
    std::env::var_os("FAULTS_AT_FULL_LENGTH").is_some_and(|asked| asked == "1")
}

/// A home folder with the drill in it.
pub(super) struct Home(TempDir);

impl Home {
    pub(super) fn new() -> Self {
        let home = Self(TempDir::new().expect("a folder"));
        let drills = home.path("gracerung/drills");
        std::fs::create_dir_all(&drills).expect("a folder");
        std::fs::write(drills.join("count.yaml"), COUNT).expect("a file");
        home
    }

    pub(super) fn folder(&self) -> &Path {
        self.0.path()
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(super) fn journal(&self) -> PathBuf {
        self.path("gracerung/journal.sqlite")
    }

    /// Runs the program, directly or through other programs, and returns its output.
    fn run_through(&self, through: &[&str], arguments: &[&str]) -> Output {
        let binary = env!("CARGO_BIN_EXE_gracerung");
        let all: Vec<&str> = through.iter().copied().chain([binary]).collect();
        Command::new(all[0])
            .args(&all[1..])
            .args(arguments)
            .current_dir(self.folder())
            .env("HOME", self.folder())
            .env("XDG_DATA_HOME", self.folder())
            .env("XDG_CONFIG_HOME", self.folder())
            .env("TZ", "UTC")
            .stdin(std::process::Stdio::null())
            .output()
            .expect("it runs")
    }

    pub(super) fn run(&self, arguments: &[&str]) -> Output {
        self.run_through(&[], arguments)
    }

    #[track_caller]
    pub(super) fn said(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!(
            output.status.code(),
            Some(0),
            "{arguments:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
        String::from_utf8(output.stdout).expect("text")
    }
}

/// The program in plain lines on a pseudo-terminal, with everything that it has printed.
pub(super) struct Lines {
    _master: Box<dyn MasterPty + Send>,
    writer: Box<dyn Write + Send>,
    child: Box<dyn Child + Send + Sync>,
    bytes: Arc<Mutex<Vec<u8>>>,
    began: Instant,
}

impl Lines {
    /// Practises in a home, directly or through other programs.
    pub(super) fn practise(
        home: &Path,
        through: &[&str],
        what: &[&str],
        environment: &[(&str, &str)],
    ) -> Self {
        let pair = native_pty_system()
            .openpty(PtySize {
                rows: 24,
                cols: 250,
                pixel_width: 0,
                pixel_height: 0,
            })
            .expect("a pseudo-terminal");
        let binary = env!("CARGO_BIN_EXE_gracerung");
        let all: Vec<&str> = through.iter().copied().chain([binary]).collect();
        let mut command = CommandBuilder::new(all[0]);
        command.args(&all[1..]);
        command.args(["practise"]);
        command.args(what);
        command.args(["--plain"]);
        for name in ["HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME"] {
            command.env(name, home);
        }
        command.cwd(home);
        command.env("TERM", "xterm-256color");
        command.env("TZ", "UTC");
        // the sound library finds no device, so the program plays silently on the same clock
        command.env("ALSA_CONFIG_PATH", home.join("no-such-file"));
        for (name, value) in environment {
            command.env(name, value);
        }
        let began = Instant::now();
        let child = pair.slave.spawn_command(command).expect("it starts");
        drop(pair.slave);
        let bytes = Arc::new(Mutex::new(Vec::new()));
        let shared = Arc::clone(&bytes);
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        std::thread::spawn(move || {
            let mut some = [0; 4096];
            while let Ok(count @ 1..) = reader.read(&mut some) {
                shared
                    .lock()
                    .expect("not poisoned")
                    .extend_from_slice(&some[..count]);
            }
        });
        Self {
            writer: pair.master.take_writer().expect("a writer"),
            _master: pair.master,
            child,
            bytes,
            began,
        }
    }

    pub(super) fn said(&self) -> String {
        let bytes = self.bytes.lock().expect("not poisoned");
        String::from_utf8_lossy(&bytes).into_owned()
    }

    /// The lengths of the streak as they were shown, one for each mark, however often each was
    /// printed.
    pub(super) fn numbers(&self) -> Vec<u32> {
        let said = self.said();
        let mut numbers: Vec<u32> = said
            .match_indices("clean: ")
            .filter_map(|(at, word)| {
                let (number, rest) = said[at + word.len()..].split_once(' ')?;
                rest.starts_with("of 50").then(|| number.parse().ok())?
            })
            .collect();
        numbers.dedup();
        numbers
    }

    pub(super) fn press(&mut self, keys: &str) {
        // a program that was killed reads nothing, so an error is expected here
        let _ = self.writer.write_all(keys.as_bytes());
        let _ = self.writer.flush();
    }

    #[track_caller]
    pub(super) fn until(&self, what: &str) {
        self.until_true(what, |said| said.contains(what));
    }

    #[track_caller]
    pub(super) fn until_true(&self, what: &str, holds: impl Fn(&str) -> bool) {
        let end = Instant::now() + PATIENCE;
        while Instant::now() < end {
            if holds(&self.said()) {
                return;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        panic!("`{what}` never came:\n{}", self.said());
    }

    /// Marks this many repetitions clean. The presses are further apart than those of a held pedal,
    /// and each mark is shown before the next press.
    #[track_caller]
    pub(super) fn mark_clean(&mut self, count: usize) {
        let wanted = self.numbers().len() + count;
        let end = Instant::now() + PATIENCE;
        while self.numbers().len() < wanted && Instant::now() < end {
            self.press("c");
            std::thread::sleep(Duration::from_millis(650));
        }
        assert!(self.numbers().len() >= wanted, "{}", self.said());
    }

    /// Sends `kill -9`. The library's own `kill` sends a hang-up first, which the program handles.
    #[cfg(unix)]
    fn kill(&mut self) {
        let id = self.child.process_id().expect("it runs").to_string();
        let killed = Command::new("kill").args(["-9", &id]).status();
        assert!(killed.expect("kill runs").success());
        let _ = self.child.wait();
    }

    #[track_caller]
    pub(super) fn ends_with(&mut self, code: u32) {
        let end = Instant::now() + PATIENCE;
        while Instant::now() < end {
            if let Some(status) = self.child.try_wait().expect("it can be waited for") {
                // the last output may still be on its way through the pseudo-terminal
                std::thread::sleep(Duration::from_millis(50));
                assert_eq!(status.exit_code(), code, "{}", self.said());
                return;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("it never ended:\n{}", self.said());
    }
}

/// Asserts that nothing panicked, and that the error was reported in a sentence of ours with exit
/// code 2.
#[track_caller]
fn told(output: &Output, what: &[&str]) -> String {
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{what:?}: {said}");
    assert!(said.starts_with("gracerung: "), "{what:?}: {said}");
    assert!(!said.contains("panicked"), "{what:?}: {said}");
    said
}
