//! Stories of practising: bars of a tune, the stop after three repetitions that are not clean,
//! sessions and homework.

use super::*;

/// A phrase has its own ladder, streak and due date, and begins like the tune, with its pickup
/// after the count-in.
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
    // where the phrase failed, the tune fails too: in its own bar 2
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
    // the same drill is used again when asked for again; the tempo written in the tune is the goal
    let again = ["practise", &path, "--bars", "2", "--below-band", "4"];
    let mut story = Story::begin(home.path(), &again, 40, 10);
    story.until("Tune, bar 2 · as written");
    story.until("296");
    story.press("q");
    story.ends_with(0);
    let drills = std::fs::read_dir(home.path().join("gracerung/drills")).expect("a folder");
    assert_eq!(drills.count(), 1);
}

/// Errors are not drilled in: three repetitions in a row that are not clean stop play, and every
/// offer can be chosen.
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
    // the right pedal
    story.press("\u{1b}[C");
    story.until("▸2 sing or tap it once with the click");
    story.press("3");
    story.until("nothing here is easier");
    story.press(" ");
    story.until("breathe and mark");
    story.press("q");
    story.ends_with(0);
}

/// A session with two pedals alone. After an interruption it continues at the same place on the
/// same day.
#[test]
fn a_session_is_played_by_two_pedals_and_goes_on_where_it_was() {
    const RIGHT: &str = "\u{1b}[C";
    const LEFT: &str = "\u{1b}[D";
    // a page takes no press at the moment it appears, and a foot that stays down is one press
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

/// The page of homework shows the goal all the time, says at once that it is reached, and at the
/// end says what to do then.
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
