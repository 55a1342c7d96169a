//! Parts and phrases of tunes, and bars that stand alone with their pickup and landing.

use super::*;
use crate::drill::read_music;

fn music(text: &str, metre: Metre) -> Music {
    let (music, problems) = read_music(text, metre, metre.default_unit(), "");
    assert_eq!(problems, [], "{text}");
    music
}

/// A part composed for this test: a pickup of a beat, then eight bars with two endings.
const ENDINGS: &str = "|:e2|A2 B2 c2 d2|e2 d2 c2 e2|A2 B2 c2 d2|e2 d2 c2 B2|\
    A2 B2 c2 d2|e2 d2 c2 e2|A2 B2 c2 d2|1e2 d2 c2:|2e2 d2 A2||";

fn bars(texts: &[&str]) -> Vec<BarRange> {
    texts
        .iter()
        .map(|text| BarRange::parse(text).expect("bars"))
        .collect()
}

/// Parts of eight bars are 4 + 4 and parts of four bars 2 + 2; in doubt nothing is decided [P]. The
/// expected values are common practice, no source.
#[test]
fn a_part_divides_as_it_is_usual_and_in_doubt_not_at_all() {
    let plain = TuneHead::default();
    let eight = music(ENDINGS, Metre::FOUR_FOUR);
    assert_eq!(parts(&eight), bars(&["1-9"]));
    let found = phrases(&eight, &plain);
    assert_eq!((found.phrases, found.doubt), (bars(&["1-4", "5-9"]), None));
    let four = music(
        "|:A4 B4|c4 d4|e4 d4|c4 B4:|:A4 c4|d4 e4|d4 c4|B4 c4:|",
        Metre::TWO_FOUR,
    );
    assert_eq!(parts(&four), bars(&["1-4", "5-8"]));
    assert_eq!(
        phrases(&four, &plain).phrases,
        bars(&["1-2", "3-4", "5-6", "7-8"])
    );
    let six = music("A4 B4|c4 d4|e4 d4|c4 d4|e4 d4|c4 A4||", Metre::TWO_FOUR);
    let found = phrases(&six, &plain);
    assert_eq!(found.phrases, bars(&["1-6"]));
    assert!(found.doubt.is_some_and(|doubt| doubt.contains("6 bars")));
    // Gaelic names of pibroch and of its ground, with and without accents.
    for kind in [
        "pibroch ground",
        "slow air",
        "Ceòl Mòr",
        "ùrlar",
        "Pìobaireachd",
        "piobaireachd",
        "u\u{300}rlar",
    ] {
        let head = TuneHead {
            kind: Some(kind.to_owned()),
            ..TuneHead::default()
        };
        assert!(phrases(&eight, &head).doubt.is_some(), "{kind}");
    }
}

fn text(bars: &[Bar]) -> Vec<String> {
    bars.iter()
        .map(|bar| {
            bar.notes
                .iter()
                .map(|note| format!("{}{} ", note.note.abc_letter(), note.length))
                .collect()
        })
        .collect()
}

const WHOLE: Around = Around {
    run_in: true,
    landing: true,
};

/// A phrase begins with its pickup, and its landing includes the next note's movement [P].
#[test]
fn a_phrase_begins_with_its_pickup_and_lands_on_the_next_note() {
    let tune = music(ENDINGS, Metre::FOUR_FOUR);
    let taken = |text: &str| {
        let range = BarRange::parse(text).expect("bars");
        excerpt(&tune, range, WHOLE).expect("they are there")
    };
    assert_eq!(
        text(&taken("3-4")),
        ["e1 ", "A1 B1 c1 d1 ", "e1 d1 c1 B1 ", "A3 "]
    );
    // The pickup of the repeat completes the short last bar, and the repeat's first note is the
    // landing.
    assert_eq!(text(&taken("8")), ["d1 ", "e1 d1 c1 e1 ", "A3 "]);
    // The second ending follows bar 7 the second time, and nothing follows the ending.
    assert_eq!(text(&taken("7-9")), ["e1 ", "A1 B1 c1 d1 ", "e1 d1 A1 "]);
    for bars in ["1-2", "1-4", "5-9", "2-7", "1-9"] {
        let bars = taken(bars);
        let full = Metre::FOUR_FOUR.bar();
        let (first, last) = (bars[0].length(), bars[bars.len() - 1].length());
        assert_eq!(first + last, full);
        assert!(
            bars[1..bars.len() - 1]
                .iter()
                .all(|bar| bar.length() == full)
        );
    }
}

/// Without a metre no bar has a full length, so two short bars are not two halves of one bar.
#[test]
fn bars_without_a_metre_stay_as_they_stand() {
    let tune = music("A2 B2|c4|d2 e4 f2|e8||", Metre::FREE);
    assert_eq!(parts(&tune), bars(&["1-4"]));
    let taken = |text: &str| {
        let range = BarRange::parse(text).expect("bars");
        excerpt(&tune, range, WHOLE).expect("they are there")
    };
    assert_eq!(text(&taken("1-2")), ["A1 B1 ", "c2 ", "d1 "]);
    assert_eq!(text(&taken("2-3")), ["c2 ", "d1 e2 f1 ", "e4 "]);
    assert_eq!(text(&taken("4")), ["e4 "]);
}

/// The range goes from one part into the next, past a repeat with different endings. No pass plays
/// these bars in a row.
#[test]
fn bars_go_on_past_a_repeat_with_endings() {
    let tune = music("|:A4 B4|c4 d4:|:e4 d4|1c4 B4:|2c4 A4||", Metre::TWO_FOUR);
    let range = BarRange { first: 2, last: 5 };
    let bars = excerpt(&tune, range, WHOLE).expect("they follow each other");
    assert_eq!(
        text(&bars),
        ["c1 d1 ", "e1 d1 ", "c1 A1 "],
        "bar 4 is the first ending"
    );
}

/// The landing includes its movement, and a movement at the beginning keeps the note before from
/// which it takes its time.
#[test]
fn movements_at_both_ends_keep_the_note_they_need() {
    let tune = music(
        "{g}A4 {g}d4|{GBG}A4 B4|{GdG}c4 d4|{g}e8||",
        Metre::FOUR_FOUR,
    );
    let range = BarRange { first: 2, last: 2 };
    let bars = excerpt(&tune, range, WHOLE).expect("they are there");
    assert_eq!(text(&bars), ["d1 ", "A2 B2 ", "c3 "]);
    assert_eq!(bars[1].notes[0].group.len(), 3);
    assert_eq!(bars[2].notes[0].group.len(), 3);
}

/// Each bar keeps its own metre.
#[test]
fn a_change_of_metre_is_taken_along() {
    let tune = music("A4 B4|c4 d4|[M:6/8] e6 d6|c6 e6|A6 B6||", Metre::TWO_FOUR);
    let range = BarRange { first: 2, last: 4 };
    let bars = excerpt(&tune, range, WHOLE).expect("they are there");
    let metres: Vec<Option<Metre>> = bars.iter().map(|bar| bar.metre).collect();
    assert_eq!(metres, [None, Some(Metre::SIX_EIGHT), None, None]);
    let range = BarRange { first: 4, last: 4 };
    let bars = excerpt(&tune, range, WHOLE).expect("they are there");
    assert_eq!(bars[0].metre, Some(Metre::SIX_EIGHT));
}

#[test]
fn bars_that_are_not_there_are_told() {
    let tune = music(ENDINGS, Metre::FOUR_FOUR);
    let told = |text: &str| {
        let range = BarRange::parse(text).expect("bars");
        excerpt(&tune, range, WHOLE).expect_err("not there")
    };
    assert_eq!(told("8-12"), "there is no bar 12: the tune has bars 1 to 9");
    assert_eq!(
        told("20-22"),
        "there is no bar 22: the tune has bars 1 to 9"
    );
    assert!(told("8-9").contains("first ending"));
}
