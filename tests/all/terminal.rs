//! The real binary under a pseudo-terminal, told as stories.

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::io::{Read, Write};
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// The longest a story waits for something to appear.
const PATIENCE: Duration = Duration::from_secs(30);

/// In the environment of a story: nothing was ever set.
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
        // No device on any machine that runs this: the drill plays silently on the same clock.
        command.env("ALSA_CONFIG_PATH", home.join("no-such-file"));
        command.env_remove("NO_COLOR");
        command.env_remove("RUST_BACKTRACE");
        for (name, value) in environment {
            command.env(name, value);
        }
        if arguments.is_empty() && environment.iter().all(|(name, _)| *name != FIRST) {
            // who has settings is asked nothing at the start
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

/// A quick drill of our own: a bar of two beats at 300, no ladder to speak of.
const QUICK: &str = "title: Quick\nmetre: 2/4\nunit: 1/8\nstages:\n  - {name: first, music: \"A2 B2|\"}\n  - {name: second, music: \"B2 c2|\"}\nladder: {from: 290, to: 300, step: 10}\nclean: 2\n";

fn home_with_quick() -> tempfile::TempDir {
    let home = tempfile::tempdir().expect("a folder");
    let drills = home.path().join("gracerung/drills");
    std::fs::create_dir_all(&drills).expect("a folder");
    std::fs::write(drills.join("quick.yaml"), QUICK).expect("a file");
    home
}

/// Choose, play, mark, the next stage opens, quit: the main job, by hand.
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

/// Marks every repetition clean, a little more than a held pedal apart, until a sentence comes.
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

/// A phrase has a ladder, a streak and a due date of its own, and begins as the tune does: with its
/// pickup, after the count-in.
#[test]
fn bars_of_a_tune_are_practised_and_come_again_like_any_drill() {
    let tune = "title: Tune\nmetre: 2/4\nunit: 1/8\nmusic: \"e2|A2 B2|c2 B2|A2 B2|c2:|\"\n\
                ladder: {from: 290, to: 300, step: 10}\nclean: 2\n";
    let home = tempfile::tempdir().expect("a folder");
    let path = home.path().join("tide.yaml");
    std::fs::write(&path, tune).expect("a file");
    let path = path.to_string_lossy().into_owned();
    let mut story = Story::begin(home.path(), &["practise", &path, "--bars", "2"], 80, 24);
    story.until("Tune, bar 2 · as written");
    story.until("kept as `tide-bars-2`");
    story.press(" ");
    story.until("count-in");
    story.until("pickup");
    mark_until_clear(&mut story, "clear; next: as written at 300");
    let told = |arguments: &[&str]| {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_gracerung"))
            .args(arguments)
            .env("HOME", home.path())
            .env("XDG_DATA_HOME", home.path())
            .env("XDG_CONFIG_HOME", home.path())
            .output()
            .expect("the program runs");
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    let found: serde_json::Value =
        serde_json::from_str(&told(&["progress", "--json"])).expect("JSON");
    let cell = &found["cells"][0];
    assert_eq!(cell["drill"], "tide-bars-2", "{found}");
    assert!(cell["due"].is_string(), "{cell}");
    // where the phrase failed, the tune fails: in its own bar 2
    let end = Instant::now() + PATIENCE;
    while Instant::now() < end && !told(&["tune", &path]).contains("work on bar 2\n") {
        story.press("x");
        std::thread::sleep(Duration::from_millis(750));
    }
    story.press("q");
    story.ends_with(0);
    for command in [["tune", &path], ["progress", &path]] {
        let told = told(&command);
        assert!(told.contains("work on bar 2\n"), "{told}");
    }
    // asked for again, the same drill is taken; what is written down for the tune is the goal
    let again = ["practise", &path, "--bars", "2", "--below-band", "4"];
    let mut story = Story::begin(home.path(), &again, 40, 10);
    story.until("Tune, bar 2 · as written");
    story.until("296");
    story.press("q");
    story.ends_with(0);
    let drills = std::fs::read_dir(home.path().join("gracerung/drills")).expect("a folder");
    assert_eq!(drills.count(), 1);
}

/// Errors are not drilled: three not clean in a row stop play, and every way on can be chosen.
#[test]
fn three_not_clean_in_a_row_stop_play_and_offer_other_ways_on() {
    let home = home_with_quick();
    let mut story = Story::begin(home.path(), &["practise", "quick"], 80, 24);
    story.until("Quick · first");
    story.press(" ");
    story.until("bar 1 of 1");
    let end = Instant::now() + PATIENCE;
    while Instant::now() < end && !story.screen().contains("▸1 hear it") {
        story.press("x");
        std::thread::sleep(Duration::from_millis(750));
    }
    story.until("right/enter hear it");
    // The right pedal.
    story.press("\u{1b}[C");
    story.until("▸2 sing or tap it once with the click");
    story.press("3");
    story.until("nothing here is easier");
    story.press(" ");
    story.until("breathe and mark");
    story.press("q");
    story.ends_with(0);
}

/// A session by two pedals alone; what was interrupted goes on where it was, the same day.
#[test]
fn a_session_is_played_by_two_pedals_and_goes_on_where_it_was() {
    const RIGHT: &str = "\u{1b}[C";
    const LEFT: &str = "\u{1b}[D";
    // A page takes no press as it comes, and a foot that stays down is one press.
    let foot = |story: &mut Story, pedal: &str| {
        std::thread::sleep(Duration::from_millis(800));
        story.press(pedal);
    };
    let home = home_with_quick();
    let session = ["today", "--play", "--minutes", "9"];
    let mut story = Story::begin(home.path(), &session, 80, 24);
    story.until("Session · 1 of 5");
    story.until("warm up the hands");
    foot(&mut story, LEFT);
    story.until("left out: warm up the hands");
    foot(&mut story, RIGHT);
    story.until("count-in");
    story.until("2/5, ");
    story.press("q");
    story.ends_with(0);
    let mut story = Story::begin(home.path(), &session, 40, 10);
    story.until("Session · 2 of 5");
    for part in ["3 of 5", "4 of 5", "5 of 5"] {
        foot(&mut story, LEFT);
        story.until(part);
    }
    foot(&mut story, LEFT);
    story.until("right/left/enter leaves");
    foot(&mut story, LEFT);
    story.ends_with(0);
    let mut story = Story::begin(home.path(), &session, 80, 24);
    story.until("Session · 1 of 5");
    story.press("q");
    story.ends_with(0);
}

/// Homework says what is to be reached all the while, that it is reached at once, and at the end
/// what to do with it.
#[test]
fn homework_says_that_it_is_reached() {
    let home = home_with_quick();
    let file = home.path().join("week.yaml");
    let file = file.to_str().expect("text");
    let assigned = std::process::Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .args(["assign", "quick", "--to-reach", "first at 290", "-o", file])
        .env("HOME", home.path())
        .env("XDG_DATA_HOME", home.path())
        .env("XDG_CONFIG_HOME", home.path())
        .output()
        .expect("it runs");
    assert!(assigned.status.success(), "{assigned:?}");
    let mut story = Story::begin(home.path(), &["practise", file], 80, 24);
    story.until("◎ first at 290");
    story.press(" ");
    story.until("bar 1 of 1");
    let end = Instant::now() + PATIENCE;
    while Instant::now() < end && !story.screen().contains("homework reached: first at 290") {
        story.press("\r");
        std::thread::sleep(Duration::from_millis(700));
    }
    story.until("homework reached: first at 290");
    story.press("q");
    story.ends_with(0);
    story.until("homework reached; send it: gracerung report");
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
    // Not the library's `kill`, which hangs up first: the program would hear that and leave.
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

/// No size may cost the player the program or the terminal.
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

/// With NO_COLOR not one colour is sent (no-color.org).
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

/// A screen reader reads lines as they come; nothing may be drawn over.
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

/// A signal to leave gives the terminal back.
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

/// A terminal window that is closed takes the program with it, and no mark that was shown.
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

/// A panic must be readable and leave a terminal that echoes what is typed.
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

/// `Ctrl-Z` hands the terminal to the shell, and `fg` brings the page back.
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

/// An ear is trained where one sits: from the examples to the end with two pedals on the smallest
/// screen, and then what was found is in `progress`. A test goes on without a device, and its seed
/// says which are clean.
#[test]
fn a_listener_says_which_with_two_pedals_and_finds_it_in_progress() {
    let home = home_with_quick();
    let (right, left) = ("\x1b[6~", "\x1b[5~");
    let mut arguments = vec!["hear", "grip-from-d", "--fault", "unlike"];
    arguments.extend(["--tempo", "300", "--minutes", "0.25"]);
    let seed = &[("SILENT_FOR_A_TEST", "7")];
    let mut story = Story::begin_with(home.path(), &arguments, 40, 10, seed);
    story.until("This is clean.");
    story.until("This has the fault");
    story.until("both again");
    story.press(right);
    let mut random = fastrand::Rng::with_seed(7);
    let mut answers = 0;
    loop {
        story.until_true("a question, or the end", |screen| {
            screen.contains("Clean, or with the fault?") || screen.contains("You hear")
        });
        if story.screen().contains("You hear") {
            break;
        }
        answers += 1;
        let pedal = if random.bool() { left } else { right };
        let end = Instant::now() + PATIENCE;
        while !story.screen().contains("Right:") {
            assert!(Instant::now() < end, "{}", story.screen());
            assert!(!story.screen().contains("No:"), "{}", story.screen());
            story.press(pedal);
            std::thread::sleep(Duration::from_millis(60));
        }
    }
    let all = format!("{answers} of {answers} answers were");
    assert!(story.screen().contains(&all), "{}", story.screen());
    story.press(left);
    story.ends_with(0);
    assert!(!story.in_alternate_screen());
    let told = std::process::Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .args(["progress", "grip-from-d", "--heard-apart", "--csv"])
        .env("HOME", home.path())
        .env("XDG_DATA_HOME", home.path())
        .env("XDG_CONFIG_HOME", home.path())
        .output()
        .expect("it runs");
    let told = String::from_utf8_lossy(&told.stdout).into_owned();
    let line = told.lines().nth(1).unwrap_or_default();
    assert!(
        line.contains(",grip-from-d,unlike,one low G longer than the other,"),
        "{told}"
    );
    assert!(line.ends_with(&format!(",{answers},{answers}")), "{told}");
}

/// Lines for a screen reader, and the way out in the middle of a question.
#[test]
fn hearing_works_in_plain_lines_and_can_be_left() {
    let home = home_with_quick();
    let arguments = ["hear", "doubling-on-e", "--tempo", "300", "--plain"];
    let seed = &[("SILENT_FOR_A_TEST", "1")];
    let mut story = Story::begin_with(home.path(), &arguments, 80, 24, seed);
    story.until("Right pedal or c: clean");
    story.until("This is clean.");
    story.press("c");
    story.until("Clean, or with the fault?");
    assert!(!story.in_alternate_screen());
    story.press("q");
    story.ends_with(0);
}

/// Where nothing sounds there is nothing to hear: that is said, and not played silently.
#[test]
fn without_a_device_nothing_can_be_heard_and_that_is_said() {
    let home = home_with_quick();
    let mut story = Story::begin(home.path(), &["hear", "grip-from-d"], 80, 24);
    story.until("nothing can be heard");
    story.ends_with(2);
    assert!(!story.in_alternate_screen());
}

/// Who starts the program for the first time answers four questions, or none by enter; the answers
/// are the settings, and nobody is asked twice.
#[test]
fn the_first_start_asks_four_things_and_writes_them() {
    let home = tempfile::tempdir().expect("a folder");
    let mut story = Story::begin_with(home.path(), &[], 80, 24, &[(FIRST, "1")]);
    story.until("What do you play on?");
    story.press("\x1b[B\r");
    story.until("Which hand is on top?");
    story.press("\r");
    story.until("How will you say what was clean?");
    story.press("\r");
    story.until("Do you wear headphones?");
    story.press("\x1b[B\r");
    story.until("Today's session");
    story.press("q");
    story.ends_with(0);
    let file = home.path().join("gracerung/settings.toml");
    let text = std::fs::read_to_string(file).expect("it was written");
    let set: Vec<&str> = text
        .lines()
        .filter(|line| line.contains('=') && !line.starts_with('#'))
        .collect();
    assert_eq!(set.len(), 2, "{set:?}");
    assert!(set[0].starts_with("instrument = \"pipes\""), "{set:?}");
    assert!(set[1].starts_with("headphones = true"), "{set:?}");
    let mut story = Story::begin_with(home.path(), &[], 40, 10, &[(FIRST, "1")]);
    story.until("Today's session");
    story.press("q");
    story.ends_with(0);
}
