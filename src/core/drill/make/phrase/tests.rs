use super::*;
use crate::drill::phrases::parts;
use crate::drill::{BUILT_IN, built_in, read};

fn slipway() -> Drill {
    let file = built_in("lamp-on-the-slipway").expect("a tune of our own");
    read(file.text.as_bytes()).0.expect("it reads")
}

fn only_music(drill: &Drill) -> &Music {
    &drill.stages[0].music
}

fn tune(drill: &Drill) -> Tune<'_> {
    Tune {
        drill,
        stage: &drill.stages[0],
    }
}

fn range(text: &str) -> BarRange {
    BarRange::parse(text).expect("bars")
}

/// A phrase begins with its pickup, and its landing includes the next note's movement [P].
#[test]
fn the_third_phrase_of_our_march_is_what_a_piper_would_play() {
    let drill = slipway();
    let made = make_phrase(&tune(&drill), range("3-4")).expect("it is there");
    assert_eq!(made.title, "The Lamp on the Slipway, bars 3 to 4");
    let made = read_back(&made).expect("it reads");
    assert_eq!(
        body(made.metre, &only_music(&made).bars),
        "{g}G2 | {dAe}A2 {g}c2 {gef}e2 {g}c2 | {gBd}B4 {g}B2 e2 | {g}A6 |"
    );
    assert_eq!(made.ladder, drill.ladder);
    assert_eq!(made.clean, drill.clean);
}

/// Bars of a tune have its phrases, and the landing note belongs to the last phrase. Phrases in the
/// tune's file take precedence.
#[test]
fn bars_of_a_tune_keep_its_phrases() {
    let mut drill = slipway();
    let phrases = |drill: &Drill, text: &str| {
        let made = make_phrase(&tune(drill), range(text)).expect("it is there");
        let made = read_back(&made).expect("it reads").phrases;
        made.iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    assert_eq!(phrases(&drill, "1-8"), ["1-4", "5-9"]);
    // These bars begin in the middle of one phrase and end in the middle of another.
    assert_eq!(phrases(&drill, "7-14"), ["7-8", "9-12", "13-15"]);
    assert_eq!(phrases(&drill, "5-8"), ["5-9"]);
    assert_eq!(phrases(&drill, "13-16"), ["13-17"]);
    drill.phrases = vec![range("1-3"), range("4-8")];
    assert_eq!(phrases(&drill, "1-8"), ["1-3", "4-9"]);
}

/// Every range of bars of every tune in the program can be practised, and every bar in it is as in
/// the tune.
#[test]
fn any_bars_of_any_written_stage_read_back() {
    let mut made = 0;
    for built in BUILT_IN {
        let drill = read(built.text.as_bytes()).0.expect("built-in drills read");
        for stage in &drill.stages {
            let tune = Tune {
                drill: &drill,
                stage,
            };
            let last = stage.music.bar_numbers().into_iter().max().expect("bars");
            for first in 1..=last {
                for last in first..=last.min(first + 4) {
                    let range = BarRange { first, last };
                    let document = make_phrase(&tune, range).expect(built.name);
                    let phrase = read_back(&document).expect("it reads");
                    let bars = &only_music(&phrase).bars;
                    assert!(bars.len() >= usize::from(last - first), "{}", built.name);
                    made += 1;
                }
            }
        }
    }
    assert!(made > 400, "{made}");
}

/// The whole stage is the tune itself, so marks of the tune count in it.
#[test]
fn a_tune_is_built_up_to_itself() {
    let drill = slipway();
    let tune = tune(&drill);
    let found = drill.phrasing(tune.stage);
    assert_eq!(found.doubt, None);
    let document = make_joined(&tune, &found.phrases, None).expect("it can be joined");
    let made = read_back(&document).expect("it reads");
    let names: Vec<&str> = made
        .stages
        .iter()
        .map(|stage| stage.name.as_str())
        .collect();
    assert_eq!(
        names,
        [
            "phrase 1, bars 1 to 4",
            "phrase 2, bars 5 to 8",
            "phrase 3, bars 9 to 12",
            "phrase 4, bars 13 to 16",
            "phrases 1 and 2, bars 1 to 8",
            "phrases 2 and 3, bars 5 to 12",
            "phrases 3 and 4, bars 9 to 16",
            "from phrase 2 to the end, bars 5 to 16",
            "whole",
        ]
    );
    let whole = &made.stages.last().expect("a stage").music;
    assert_eq!(whole, only_music(&drill));
    let climbed = made.stages.iter().filter(|stage| stage.up_to.is_none());
    assert_eq!(climbed.count(), 1, "only the whole goes to the top");
    let part = parts(&tune.stage.music)[1];
    let own: Vec<BarRange> = found.phrases[2..].to_vec();
    assert_eq!(own[0].first, part.first);
    let made = make_joined(&tune, &own, Some(2)).expect("it can be joined");
    let names: Vec<String> = made
        .stages
        .expect("stages")
        .into_iter()
        .map(|s| s.name)
        .collect();
    assert_eq!(
        names,
        [
            "phrase 1, bars 9 to 12",
            "phrase 2, bars 13 to 16",
            "whole part"
        ]
    );
}

/// Phrases that do not cover all of the tune are joined too.
#[test]
fn phrases_that_leave_bars_out_are_joined_before_the_whole() {
    let drill = slipway();
    let names = |phrases: &[&str], part| -> Vec<String> {
        let phrases: Vec<BarRange> = phrases.iter().map(|text| range(text)).collect();
        let made = make_joined(&tune(&drill), &phrases, part).expect("it can be joined");
        let stages = made.stages.expect("stages").into_iter();
        stages.map(|stage| stage.name).collect()
    };
    assert_eq!(
        names(&["1-2", "3-4"], None),
        [
            "phrase 1, bars 1 to 2",
            "phrase 2, bars 3 to 4",
            "phrases 1 and 2, bars 1 to 4",
            "whole",
        ]
    );
    assert_eq!(
        names(&["1-2", "3-4", "5-6"], Some(1))[3..],
        [
            "phrases 1 and 2, bars 1 to 4",
            "phrases 2 and 3, bars 3 to 6",
            "phrases 1 to 3, bars 1 to 6",
            "whole part",
        ]
    );
    let two = [range("1-2"), range("3-4")];
    let error = make_joined(&tune(&drill), &two, Some(3)).expect_err("it has two");
    assert_eq!(error.0, "the tune has no part 3");
}

#[test]
fn one_phrase_is_not_joined_and_too_many_are_told() {
    let drill = slipway();
    let tune = tune(&drill);
    let error = make_joined(&tune, &[range("1-4")], None).expect_err("one phrase");
    assert!(error.0.contains("two phrases"), "{error}");
    let many: Vec<BarRange> = (1..=30).map(|bar| range(&bar.to_string())).collect();
    // The error comes before any stage is made: the tune does not have these bars.
    let error = make_joined(&tune, &many, None).expect_err("too many");
    assert!(error.0.contains("30 phrases make 88 stages"), "{error}");
    let error = make_phrase(&tune, range("15-20")).expect_err("no such bars");
    assert_eq!(error.0, "there is no bar 20: the tune has bars 1 to 16");
}

/// Bars of a tune have the numbers that are printed on the tune's sheet.
#[test]
fn bars_of_a_tune_keep_their_numbers_and_its_head() {
    let text = "title: Ours\nkind: march\ncomposer: A player\norigin: our shed\nmetre: 2/4\nunit: 1/8\n\
        music: \"{g}e|{g}A2 {g}c2|{g}e2 {g}c2|{g}A2 {g}e2|{g}c3:|{g}e|{g}A2 {g}c2|{g}e2 {g}c2|{g}A2 {g}e2|{g}c3:|\"\n\
        ladder: {from: 50, to: 80, step: 4%}\n";
    let drill = read(text.as_bytes()).0.expect("it reads");
    let tune = Tune {
        drill: &drill,
        stage: &drill.stages[0],
    };
    let range = |text| BarRange::parse(text).expect("bars");
    let made = |bars| {
        let document = make_phrase(&tune, range(bars)).expect("bars of the tune");
        read_back(&document).expect("it reads")
    };
    let numbers = |drill: &Drill, stage: usize| drill.stages[stage].music.bar_numbers();
    let later = made("5-8");
    assert_eq!(numbers(&later, 0), [0, 5, 6, 7, 8, 9]);
    assert_eq!(later.head, drill.head);
    assert_eq!(later.phrases, [range("5-6"), range("7-9")]);
    assert_eq!(
        later.about.as_deref(),
        Some(
            "Bars 5 to 8 of Ours: begun with the pickup, ended on the next note with its movement."
        )
    );
    assert_eq!(all_bars(&later.stages[0].music), range("5-9"));
    assert_eq!(numbers(&made("1-2"), 0), [0, 1, 2, 3]);
    // Bars of these bars have the numbers of the tune too.
    let again = Tune {
        drill: &later,
        stage: &later.stages[0],
    };
    let inner = make_phrase(&again, range("6-7")).expect("bars of the bars");
    assert_eq!(inner.first_bar, Some(6));
    let told = make_phrase(&again, range("1-2")).expect_err("not among them");
    assert!(
        told.0
            .contains("there is no bar 2: the tune has bars 5 to 9"),
        "{told}"
    );
    let joined = make_joined(&tune, &[range("1-4"), range("5-8")], None).expect("phrases");
    let joined = read_back(&joined).expect("it reads");
    assert_eq!(numbers(&joined, 1)[1], 5);
}
