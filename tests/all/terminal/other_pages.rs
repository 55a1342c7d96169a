//! Stories of the pages beside practice: `hear` and the first start.

use super::*;

/// The ear is trained from the examples to the end with two pedals on the smallest screen, and the
/// result is in `progress`. The test runs without a device, and its seed decides which pieces are
/// clean.
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

/// Lines for a screen reader, and leaving in the middle of a question.
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

/// Where there is no sound there is nothing to hear, so the page reports that and does not play
/// silently.
#[test]
fn without_a_device_nothing_can_be_heard_and_that_is_said() {
    let home = home_with_quick();
    let mut story = Story::begin(home.path(), &["hear", "grip-from-d"], 80, 24);
    story.until("nothing can be heard");
    story.ends_with(2);
    assert!(!story.in_alternate_screen());
}

/// A player who starts the program for the first time answers four questions, or accepts all by
/// Enter. The answers become settings, and nobody is asked twice.
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
