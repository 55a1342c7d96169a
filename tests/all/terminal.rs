//! Stories of the real binary on a pseudo-terminal.

mod other_pages;
mod practising;

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// The longest time that a story waits for an output.
const PATIENCE: Duration = Duration::from_secs(30);

/// An environment variable that asks a story to start without a settings file.
const FIRST: &str = "NOTHING_WAS_EVER_SET";

fn cells(count: u16) -> std::num::NonZero<u16> {
    std::num::NonZero::new(count).expect("a size")
}

pub(super) struct Story {
    master: Box<dyn MasterPty + Send>,
    writer: Box<dyn Write + Send>,
    child: Box<dyn Child + Send + Sync>,
    parser: Arc<Mutex<vt100::Parser>>,
    /// Everything that was sent to the terminal.
    sent: Arc<Mutex<Vec<u8>>>,
}

impl Story {
    pub(super) fn begin(home: &Path, arguments: &[&str], columns: u16, rows: u16) -> Self {
        Self::begin_with(home, arguments, columns, rows, &[])
    }

    fn begin_with(
        home: &Path,
        arguments: &[&str],
        columns: u16,
        rows: u16,
        environment: &[(&str, &str)],
    ) -> Self {
        let size = PtySize {
            rows,
            cols: columns,
            pixel_width: 0,
            pixel_height: 0,
        };
        let pair = native_pty_system()
            .openpty(size)
            .expect("a pseudo-terminal");
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_gracerung"));
        command.args(arguments);
        command.env("HOME", home);
        command.env("XDG_DATA_HOME", home);
        command.env("XDG_CONFIG_HOME", home);
        command.env("TERM", "xterm-256color");
        // no device exists on any machine that runs this, so the drill plays silently on the same
        // clock
        command.env("ALSA_CONFIG_PATH", home.join("no-such-file"));
        command.env_remove("NO_COLOR");
        command.env_remove("RUST_BACKTRACE");
        for (name, value) in environment {
            command.env(name, value);
        }
        if arguments.is_empty() && environment.iter().all(|(name, _)| *name != FIRST) {
            // a player with a settings file is asked nothing at the start
            let folder = home.join("gracerung");
            std::fs::create_dir_all(&folder).expect("a folder");
            let file = folder.join("settings.toml");
            if !file.exists() {
                std::fs::write(file, "").expect("a file");
            }
        }
        let child = pair
            .slave
            .spawn_command(command)
            .expect("the program starts");
        drop(pair.slave);
        let parser = Arc::new(Mutex::new(vt100::Parser::new(
            cells(rows),
            cells(columns),
            0,
        )));
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        let shared = Arc::clone(&parser);
        let sent = Arc::new(Mutex::new(Vec::new()));
        let kept = Arc::clone(&sent);
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count) = reader.read(&mut bytes) {
                if count == 0 {
                    break;
                }
                kept.lock()
                    .expect("not poisoned")
                    .extend_from_slice(&bytes[..count]);
                shared
                    .lock()
                    .expect("not poisoned")
                    .process(&bytes[..count]);
            }
        });
        let writer = pair.master.take_writer().expect("a writer");
        Self {
            master: pair.master,
            writer,
            child,
            parser,
            sent,
        }
    }

    fn screen(&self) -> String {
        self.parser
            .lock()
            .expect("not poisoned")
            .screen()
            .contents()
    }

    fn in_alternate_screen(&self) -> bool {
        self.parser
            .lock()
            .expect("not poisoned")
            .screen()
            .alternate_screen()
    }

    pub(super) fn press(&mut self, keys: &str) {
        self.writer.write_all(keys.as_bytes()).expect("keys go in");
        self.writer.flush().expect("keys go in");
    }

    pub(super) fn sent(&self) -> String {
        String::from_utf8_lossy(&self.sent.lock().expect("not poisoned")).into_owned()
    }

    #[track_caller]
    pub(super) fn until(&self, what: &str) {
        self.until_true(what, |screen| screen.contains(what));
    }

    #[track_caller]
    fn until_true(&self, what: &str, holds: impl Fn(&str) -> bool) {
        let end = Instant::now() + PATIENCE;
        while Instant::now() < end {
            if holds(&self.screen()) {
                return;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("`{what}` never came:\n{}", self.screen());
    }

    fn resize(&self, columns: u16, rows: u16) {
        self.parser
            .lock()
            .expect("not poisoned")
            .screen_mut()
            .set_size(cells(rows), cells(columns));
        self.master
            .resize(PtySize {
                rows,
                cols: columns,
                pixel_width: 0,
                pixel_height: 0,
            })
            .expect("the size changes");
    }

    #[track_caller]
    pub(super) fn ends_with(&mut self, code: u32) {
        let end = Instant::now() + PATIENCE;
        while Instant::now() < end {
            if let Some(status) = self.child.try_wait().expect("it can be waited for") {
                assert_eq!(status.exit_code(), code, "{}", self.screen());
                return;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("it never ended:\n{}", self.screen());
    }
}

/// A short drill of our own: a bar of two beats at 300 beats a minute, and almost no ladder.
const QUICK: &str = "title: Quick\nmetre: 2/4\nunit: 1/8\nstages:\n  - {name: first, music: \"A2 B2|\"}\n  - {name: second, music: \"B2 c2|\"}\nladder: {from: 290, to: 300, step: 10}\nclean: 2\n";

fn home_with_quick() -> tempfile::TempDir {
    let home = tempfile::tempdir().expect("a folder");
    let drills = home.path().join("gracerung/drills");
    std::fs::create_dir_all(&drills).expect("a folder");
    std::fs::write(drills.join("quick.yaml"), QUICK).expect("a file");
    home
}

/// The main job by hand: choose, play, mark, the next stage opens, quit.
#[test]
fn a_player_chooses_plays_marks_and_the_next_cell_opens() {
    let home = home_with_quick();
    let mut story = Story::begin(home.path(), &[], 80, 24);
    story.until("Today's session");
    story.press("uick");
    story.until("▸ Quick");
    story.press("\r");
    story.until("Quick · first");
    story.press(" ");
    story.until("bar 1 of 1");
    mark_until_clear(&mut story, "clear; next: first at 300");
    story.until("Quick · second");
    story.press("q");
    story.until("1 of 4 cells clear");
    story.until("1 of 4 cells clear");
    story.press("q");
    story.ends_with(0);
    assert!(!story.in_alternate_screen());
}

/// Marks every repetition clean, a little further apart than a held pedal, until a sentence
/// appears.
#[track_caller]
fn mark_until_clear(story: &mut Story, what: &str) {
    let end = Instant::now() + PATIENCE;
    let mut seen = false;
    while Instant::now() < end && !seen {
        story.press("\r");
        let pause = Instant::now() + Duration::from_millis(750);
        while Instant::now() < pause && !seen {
            seen = story.screen().contains(what) || story.screen().contains("Quick · second");
            std::thread::sleep(Duration::from_millis(10));
        }
    }
    assert!(seen, "{}", story.screen());
}

/// Every mark that was shown is in the journal, and the next start is where the last one ended.
#[test]
fn kill_9_loses_nothing_that_was_shown() {
    let home = home_with_quick();
    let mut story = Story::begin(home.path(), &["practise", "quick"], 80, 24);
    story.until("Quick · first");
    story.press(" ");
    mark_until_clear(&mut story, "clear; next: first at 300");
    story.until("Quick · second");
    // the library's own `kill` sends a hang-up first, upon which the program would leave normally
    let id = story.child.process_id().expect("it runs").to_string();
    let killed = std::process::Command::new("kill")
        .args(["-9", &id])
        .status();
    assert!(killed.expect("kill runs").success());
    let _ = story.child.wait();
    let mut again = Story::begin(home.path(), &["practise", "quick"], 80, 24);
    again.until("Quick · second");
    again.until("■");
    again.press("q");
    again.ends_with(0);
}

/// No size of window may crash the program or spoil the terminal.
#[test]
fn every_size_is_drawn() {
    let home = home_with_quick();
    let mut story = Story::begin(home.path(), &["practise", "grip-from-d"], 120, 40);
    story.until("Grip from D");
    story.press(" ");
    for (columns, rows, what) in [
        (80, 24, "clean"),
        (40, 10, "0/5 clean"),
        (30, 8, "40×10"),
        (1, 1, ""),
        (120, 40, "listen for"),
    ] {
        story.resize(columns, rows);
        story.until(what);
    }
    story.press("?");
    story.until("take the last mark back");
    story.press("?q");
    story.ends_with(0);
}

/// With NO_COLOR no colour is sent (no-color.org).
#[test]
fn no_colour_is_sent_where_none_is_wanted() {
    for (environment, coloured) in [(&[][..], true), (&[("NO_COLOR", "1")][..], false)] {
        let home = home_with_quick();
        let mut story = Story::begin_with(home.path(), &["practise", "quick"], 80, 24, environment);
        story.until("Quick · first");
        story.press(" ");
        story.until("count-in");
        let colours = || {
            let parser = story.parser.lock().expect("not poisoned");
            let all = (0..24).flat_map(|row| (0..80).map(move |column| (row, column)));
            all.filter_map(|(row, column)| parser.screen().cell(row, column))
                .filter(|cell| cell.fgcolor() != vt100::Color::Default)
                .count()
        };
        // the page may be sent in pieces; where colours are wanted they come
        let end = Instant::now() + PATIENCE;
        while coloured && colours() == 0 && Instant::now() < end {
            std::thread::sleep(Duration::from_millis(10));
        }
        let colours = colours();
        assert_eq!(colours > 0, coloured, "{environment:?}: {colours}");
        story.press("q");
        story.ends_with(0);
    }
}

/// A screen reader reads lines as they come, so nothing may be drawn over.
#[test]
fn plain_lines_say_what_changes() {
    let home = home_with_quick();
    let mut story = Story::begin(home.path(), &["practise", "quick", "--plain"], 80, 24);
    story.until("Stage: first at 290.");
    story.until("Music: LA 1 B 1");
    assert!(!story.in_alternate_screen());
    story.press(" ");
    story.until("Playing.");
    story.until("Breathe and mark.");
    story.press("q");
    story.ends_with(0);
}

/// A signal that ends the program gives the terminal back.
#[cfg(unix)]
#[test]
fn a_signal_gives_the_terminal_back() {
    let home = home_with_quick();
    let mut story = Story::begin(home.path(), &["practise", "quick"], 80, 24);
    story.until("Quick · first");
    assert!(story.in_alternate_screen());
    let id = story.child.process_id().expect("it runs").to_string();
    let killed = std::process::Command::new("kill")
        .args(["-TERM", &id])
        .status()
        .expect("kill runs");
    assert!(killed.success());
    story.ends_with(0);
    let end = Instant::now() + PATIENCE;
    while story.in_alternate_screen() && Instant::now() < end {
        std::thread::sleep(Duration::from_millis(10));
    }
    assert!(!story.in_alternate_screen());
}

/// Closing the terminal window ends the program and loses no mark that was shown.
#[cfg(unix)]
#[test]
fn a_window_that_is_closed_ends_the_program_and_keeps_the_marks() {
    let home = home_with_quick();
    let mut story = Story::begin(home.path(), &["practise", "quick"], 80, 24);
    story.until("Quick · first");
    story.press(" ");
    mark_until_clear(&mut story, "clear; next: first at 300");
    let Story {
        master,
        writer,
        mut child,
        ..
    } = story;
    let id = child.process_id().expect("it runs").to_string();
    let hung_up = std::process::Command::new("kill")
        .args(["-HUP", &id])
        .status()
        .expect("kill runs");
    assert!(hung_up.success());
    drop(writer);
    drop(master);
    let end = Instant::now() + PATIENCE;
    while child.try_wait().expect("it can be waited for").is_none() {
        assert!(Instant::now() < end, "it runs on without a terminal");
        std::thread::sleep(Duration::from_millis(10));
    }
    let mut again = Story::begin(home.path(), &["practise", "quick"], 80, 24);
    again.until("Quick · second");
    again.until("■");
    again.press("q");
    again.ends_with(0);
}

/// A panic must be readable, and the terminal must echo again afterwards.
#[cfg(debug_assertions)]
#[test]
fn a_panic_leaves_the_terminal_sane() {
    let home = home_with_quick();
    let mut story = Story::begin_with(
        home.path(),
        &["practise", "quick"],
        80,
        24,
        &[("PANIC_FOR_A_TEST", "1")],
    );
    story.until("a panic was asked for");
    story.ends_with(101);
    assert!(!story.in_alternate_screen());
    let parser = story.parser.lock().expect("not poisoned");
    assert!(!parser.screen().hide_cursor());
}

/// `Ctrl-Z` gives the terminal to the command shell, and `fg` restores the page.
#[cfg(unix)]
#[test]
fn suspended_and_continued_the_page_comes_back() {
    let home = home_with_quick();
    let mut story = Story::begin(home.path(), &["practise", "quick"], 80, 24);
    story.until("Quick · first");
    story.press("\u{1a}");
    let end = Instant::now() + PATIENCE;
    while story.in_alternate_screen() && Instant::now() < end {
        std::thread::sleep(Duration::from_millis(10));
    }
    assert!(!story.in_alternate_screen());
    let id = story.child.process_id().expect("it runs").to_string();
    let continued = std::process::Command::new("kill")
        .args(["-CONT", &id])
        .status()
        .expect("kill runs");
    assert!(continued.success());
    let end = Instant::now() + PATIENCE;
    while !story.in_alternate_screen() && Instant::now() < end {
        std::thread::sleep(Duration::from_millis(10));
    }
    assert!(story.in_alternate_screen());
    story.until("Quick · first");
    story.press("q");
    story.ends_with(0);
}
