//! ABC files read: what is taken, and what is told.

use super::*;
use crate::drill::render;
use crate::score::resolve_music;
use crate::units::{Beats, Bpm};

fn told(source: &str) -> (Option<Piece>, String) {
    let (piece, problems) = read(source.as_bytes());
    (piece, render("x.abc", source, &problems))
}

#[test]
fn a_tune_of_the_trade_is_read_without_a_word() {
    let (piece, told) = told(
        "X:1\nT:The Grey Gate\nC:Trad.\nM:6/8\nL:1/8\nQ:3/8=96\nK:Hp\n\
         {g}A3 {d}B3|{g}c3 {GdGe}A3:|\n",
    );
    assert_eq!(told, "");
    let piece = piece.expect("it is read");
    assert_eq!(piece.title, "The Grey Gate");
    assert_eq!(piece.tempo, Bpm::whole(96).ok());
    assert_eq!(piece.sections[0].music.order, [0, 1, 0, 1]);
}

/// The movement that some gracenotes are depends on the kind of tune: in a march or a reel they are
/// a birl, and its low A is held in a ground alone.
#[test]
fn a_birl_with_d_is_held_in_a_ground_alone() {
    let row = |kind: &str, metre: &str| {
        let source =
            format!("X:1\nT:x\n{kind}M:{metre}\nL:1/8\nK:HP\n{{g}}A4 {{g}}e4|{{dAGAG}}A8|]\n");
        let (piece, told) = told(&source);
        // that nobody said it is told
        assert_eq!(told.is_empty(), !kind.is_empty(), "{told}");
        let drill = piece.and_then(|piece| piece.drill().0).expect("a drill");
        let music = &drill.stages[0].music;
        let score = resolve_music(music, Beats::ZERO, &drill.schools);
        let group = &score.notes[2].group;
        let held = group.parts.iter().filter(|part| part.held.is_some());
        (group.movement.expect("a name").name(), held.count())
    };
    assert_eq!(row("R:march\n", "4/4"), ("birl", 0));
    assert_eq!(row("R:reel\n", "2/2"), ("birl", 0));
    assert_eq!(row("R:ground\n", "none"), ("hiharin", 1));
    assert_eq!(row("R:pibroch\n", "4/4"), ("hiharin", 1));
    // nobody said: as earlier versions have it, so that no mark is lost
    assert_eq!(row("", "4/4"), ("hiharin", 1));
}

/// Without it a header line would vanish, and a player would wonder where it went.
#[test]
fn every_line_that_is_not_understood_is_told() {
    let (piece, told) = told(
        "%%scale 0.7\n\nX:1\nT:x\nR:march\nH:old\nM:4/4\nK:G clef=treble\n%%MIDI transpose 2\n%%vskip 1\nA4 B4|\nw:la la\nP:B\nc4 d4|\n",
    );
    assert!(piece.is_some());
    let lines: Vec<&str> = told.lines().filter(|line| line.contains("x.abc")).collect();
    assert_eq!(
        lines,
        [
            "x.abc:6:1: note: the field `H:`: left out: a drill has no place for it",
            "x.abc:8:1: note: the key `G`: the letters are kept; the chanter plays C and F sharp and G natural",
            "x.abc:9:1: note: the directive `%%transpose`: left out",
            "x.abc:12:1: note: the field `w:` in the music: left out",
            "x.abc:13:1: note: the field `P:` in the music: left out",
        ]
    );
}

#[test]
fn a_short_bar_is_an_error_at_its_place() {
    let (piece, told) = told("X:1\nT:x\nM:4/4\nK:HP\nA4 B4|\nc4 d2|e4 f4|\n");
    assert_eq!(piece, None);
    assert!(told.starts_with("x.abc:6:1: bar 2 lasts 3 beats"), "{told}");
}

/// Two tunes once became one drill without a word.
#[test]
fn another_tune_is_told_and_can_be_taken_alone() {
    let source = "X:1\nT:one\nM:4/4\nK:HP\nA4 B4|\n\nX:7\nT:two\nM:4/4\nK:HP\nc4 d4|\n";
    let (piece, said) = told(source);
    assert_eq!(piece.expect("it is read").sections.len(), 2);
    assert_eq!(
        said.lines().next(),
        Some(
            "x.abc:7:1: note: another tune, `two`: it becomes a stage of the same drill; \
             `import --tune 7` takes it alone"
        )
    );
    let (piece, problems) = read_tune(source.as_bytes(), Some(7));
    assert_eq!(problems, []);
    assert_eq!(piece.expect("it is read").title, "two");
    let (piece, problems) = read_tune(source.as_bytes(), Some(2));
    assert_eq!(piece, None);
    assert!(problems[0].kind.to_string().ends_with("one of 1 and 7"));
}

#[test]
fn tunes_of_one_metre_are_stages_of_one_drill() {
    let (piece, told) = told(
        "X:1\nT:d\nT:one\nM:4/4\nK:HP\nA4 B4|\n\nX:2\nT:d\nT:two\nM:4/4\nK:HP\nc4 d4|\n\nX:3\nT:e\nM:2/4\nK:HP\nA4 B4|\n",
    );
    let names: Vec<String> = piece
        .expect("it is read")
        .sections
        .into_iter()
        .map(|section| section.name)
        .collect();
    assert_eq!(names, ["one", "two"]);
    assert!(told.contains("a tune in 2/4: left out"), "{told}");
}

/// Five quavers whose bars divide after the third were counted as two and three.
#[test]
fn quavers_are_counted_as_the_bars_divide() {
    let tune = |metre: &str, music: &str| {
        let text = format!("X:1\nT:A\nM:{metre}\nL:1/8\nK:HP\n{music}\n");
        let (piece, problems) = read(text.as_bytes());
        let told = problems.iter().map(|own| own.kind.to_string());
        let told: Vec<String> = told.collect();
        (piece.expect("it is read").metre.printed(), told.join("; "))
    };
    let (metre, told) = tune("5/8", "A3 d2|e3 A2|c3 d2|A3 e2|]");
    assert_eq!(metre, "3+2/8");
    assert!(
        told.contains("divide as 3 + 2: counted so; `M:2+3/8`"),
        "{told}"
    );
    for (metre, music, counted) in [
        ("5/8", "A2 d3|e2 A3|c2 d3|A2 e3|]", "5/8"),
        ("2+3/8", "A3 d2|e3 A2|c3 d2|A3 e2|]", "5/8"),
        ("3+2/8", "A2 d3|e2 A3|c2 d3|A2 e3|]", "3+2/8"),
        ("5/8", "AdeAd|cdedA|]", "5/8"),
        ("5/4", "A6 d4|e6 A4|]", "5/4"),
        ("3+2/4", "A6 d4|e6 A4|]", "3+2/4"),
        ("6/8", "A2 d2 e2|c2 d2 A2|]", "6/8"),
    ] {
        assert_eq!(
            tune(metre, music),
            (counted.to_owned(), String::new()),
            "{metre}"
        );
    }
    assert_eq!(tune("7/8", "A3 d2 e2|c3 d2 A2|]").0, "3+2+2/8");
}

/// A tempo behind the key and before the music is the tune's.
#[test]
fn a_tempo_behind_the_key_is_the_tempo() {
    let text = "X:1\nT:A\nM:6/8\nL:1/8\nK:HP\nQ:1/4=90\nA3 d3|e3 A3|]\n";
    let (piece, problems) = read(text.as_bytes());
    assert_eq!(problems, []);
    assert_eq!(piece.expect("it is read").tempo, Bpm::whole(60).ok());
}
