//! Measures how long each reader of text files takes for a mebibyte of the worst text, with its
//! problems printed.
//!
//! `cargo bench -p gracerung-benches --bench worst`. The aim is 200 ms on one core for each.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

use gracerung::drill::{LARGEST_FILE, read, render};
use gracerung::exchange::{Format, read as read_other};
use std::hint::black_box;
use std::time::{Duration, Instant};

fn main() {
    println!("{:<42} {:>9} {:>10}", "a mebibyte of", "problems", "ms");
    for (name, text) in drills() {
        row(name, &text, |bytes| read(bytes).1);
    }
    for (name, text) in tunes() {
        row(name, &text, |bytes| read_other(Format::Abc, bytes).1);
    }
    for (name, text) in scores() {
        row(name, &text, |bytes| read_other(Format::MusicXml, bytes).1);
    }
}

fn row(name: &str, text: &str, read: impl Fn(&[u8]) -> Vec<gracerung::drill::Problem>) {
    let mut best = Duration::MAX;
    let mut found = 0;
    for _ in 0..3 {
        let begin = Instant::now();
        let problems = read(text.as_bytes());
        black_box(render(name, text, &problems));
        found = problems.len();
        best = best.min(begin.elapsed());
        if best > Duration::from_secs(1) {
            break;
        }
    }
    let ms = best.as_secs_f64() * 1000.0;
    let says = if ms > 200.0 { "too slow" } else { "" };
    println!("{name:<42} {found:>9} {ms:>10.1}  {says}");
}

/// A text of the largest size that is read: a head, one piece again and again, and a tail.
fn filled(head: &str, piece: &str, tail: &str) -> String {
    let room = LARGEST_FILE - head.len() - tail.len();
    format!("{head}{}{tail}", piece.repeat(room / piece.len()))
}

/// A text like that of [`filled`], with a number in each piece.
fn numbered(head: &str, piece: impl Fn(usize) -> String, tail: &str) -> String {
    let mut text = head.to_owned();
    for number in 0.. {
        let piece = piece(number);
        if text.len() + piece.len() + tail.len() > LARGEST_FILE {
            break;
        }
        text.push_str(&piece);
    }
    text + tail
}

fn drills() -> Vec<(&'static str, String)> {
    let music = "title: x\nladder: {from: 50, to: 80, step: 4%}\nmusic: |\n";
    let line = format!("{music}  ");
    vec![
        ("drill: open braces", filled(&line, "{", "\n")),
        ("drill: open braces, alone", filled("", "{", "\n")),
        ("drill: open brackets, alone", filled("", "[", "\n")),
        ("drill: signs that are none", filled(&line, "$", "\n")),
        ("drill: one sign a line", filled(music, "  $\n", "")),
        ("drill: equal notes in one bar", filled(&line, "A", "\n")),
        ("drill: a note a bar", filled(&line, "A|", "\n")),
        ("drill: gracenotes", filled(&line, "{gdg}A ", "\n")),
        (
            "drill: a group without end",
            filled(&format!("{line}{{"), "g", "\n"),
        ),
        (
            "drill: first endings",
            filled(&format!("{line}|:A8"), "|1B8:", "\n"),
        ),
        ("drill: repeats", filled(&line, "|:A8:|", "\n")),
        ("drill: ties", filled(&line, "A-", "\n")),
        ("drill: chords", filled(&line, "[ce]", "\n")),
        ("drill: chords left open", filled(&line, "[", "\n")),
        ("drill: broken rhythm", filled(&line, "A>", "\n")),
        (
            "drill: a length of a million digits",
            filled(&format!("{line}A"), "9", "\n"),
        ),
        ("drill: rests", filled(&line, "z", "\n")),
        ("drill: comments", filled(music, "  %\n", "")),
        (
            "drill: unknown fields",
            numbered("title: x\n", |n| format!("k{n}: 1\n"), ""),
        ),
        (
            "drill: one field again and again",
            filled("", "title: x\n", ""),
        ),
        ("drill: a long field", filled("", "k", ": 1\n")),
        ("drill: a long title", filled("title: ", "x", "\n")),
        ("drill: stages", filled("title: x\nstages:\n", "- {}\n", "")),
        (
            "drill: anchors",
            numbered("title: x\nabout: ", |n| format!("&a{n} "), "x\n"),
        ),
        (
            "drill: an anchor a field",
            numbered("", |n| format!("k{n}: &a{n} x\n"), ""),
        ),
        ("drill: tags", filled("title: ", "!x ", "x\n")),
        ("drill: questions", filled("", "? ", "\n")),
        ("drill: dashes", filled("", "- ", "\n")),
        ("drill: dashes, a line each", filled("", "- x\n", "")),
        ("drill: colons", filled("", ": ", "\n")),
        ("drill: colons close", filled("a", ":", "\n")),
        ("drill: spaces", filled("", " ", "\n")),
        ("drill: tabs", filled("", "\t", "\n")),
        ("drill: line feeds", filled("", "\n", "")),
        ("drill: hashes", filled("", "#", "\n")),
        ("drill: a flow list", filled("title: [", "x,", "x]\n")),
        (
            "drill: a flow mapping",
            numbered("title: {", |n| format!("k{n}: 1,"), "x: 1}\n"),
        ),
        (
            "drill: a flow list of pairs",
            filled("title: [", "x: 1,", "x]\n"),
        ),
        (
            "drill: a flow list without an end",
            filled("title: [", "x,", "\n"),
        ),
        (
            "drill: plain words over lines",
            filled("title:\n", "  x\n", ""),
        ),
        (
            "drill: a quoted text over lines",
            filled("title: \"", "x\n  ", "\"\n"),
        ),
        (
            "drill: a quoted text left open",
            filled("title: \"", "x", "\n"),
        ),
        ("drill: escapes", filled("title: \"", "\\x1b", "\"\n")),
        ("drill: documents", filled("", "---\n", "")),
        ("drill: percent signs", filled("", "%\n", "")),
        (
            "drill: block texts",
            numbered("", |n| format!("k{n}: |\n\n"), ""),
        ),
        ("drill: folded texts", filled("title: >\n", "  x\n\n", "")),
        (
            "drill: notes to end on",
            filled("title: x\nmovement: grip\nfrom: [", "D,", "D]\nto: LA\n"),
        ),
        (
            "drill: notes that are none",
            filled("title: x\nmovement: grip\nfrom: [", "Q,", "D]\nto: LA\n"),
        ),
        (
            "drill: schools",
            filled("title: x\nmovement: grip\nschool: [", "Q,", "D]\nto: LA\n"),
        ),
    ]
}

fn tunes() -> Vec<(&'static str, String)> {
    let head = "X:1\nT:x\nM:4/4\nK:HP\n";
    vec![
        ("ABC: open braces", filled(head, "{", "\n")),
        ("ABC: slurs", filled(head, "(", "\n")),
        ("ABC: signs", filled(head, "]", "\n")),
        ("ABC: equal notes in one bar", filled(head, "A", "\n")),
        ("ABC: notes of other octaves", filled(head, "b'''", "\n")),
        ("ABC: a note a bar", filled(head, "A|", "\n")),
        ("ABC: accidentals", filled(head, "^c", "\n")),
        (
            "ABC: decorations",
            numbered(head, |n| format!("!d{n}!"), "A8|\n"),
        ),
        ("ABC: a decoration left open", filled(head, "+!", "\n")),
        (
            "ABC: voices in the line",
            numbered(head, |n| format!("[V:{n}]"), "A8|\n"),
        ),
        (
            "ABC: voices",
            numbered(head, |n| format!("V:{n}\n"), "A8|\n"),
        ),
        (
            "ABC: fields of the head",
            filled("X:1\n", "R:x\n", "K:HP\nA8|\n"),
        ),
        (
            "ABC: directives",
            numbered("X:1\n", |n| format!("%%d{n}\n"), "K:HP\nA8|\n"),
        ),
        ("ABC: titles", filled("X:1\n", "T:x\n", "K:HP\nA8|\n")),
        ("ABC: composers", filled("X:1\n", "C:x\n", "K:HP\nA8|\n")),
        (
            "ABC: lines outside a tune",
            filled("X:1\nK:HP\nA8|\n\n", "x\n", ""),
        ),
        ("ABC: tunes", filled("", "X:1\nK:HP\nA8|\n\n", "")),
        (
            "ABC: tunes of slurs",
            filled("", &format!("X:1\nK:HP\n{}A8|\n\n", "(".repeat(16_000)), ""),
        ),
        (
            "ABC: words in the key",
            numbered("X:1\nK:HP ", |n| format!("a={n} "), "\nA8|\n"),
        ),
        ("ABC: words to the music", filled(head, "w:x\n", "A8|\n")),
        ("ABC: rests", filled(head, "z", "A8|\n")),
        ("ABC: tuplets", filled(head, "(3", "A8|\n")),
        ("ABC: chords", filled(head, "[ce]", "A8|\n")),
        ("ABC: a chord left open", filled(head, "[c", "A8|\n")),
        ("ABC: ties", filled(head, "A-B-", "\n")),
        (
            "ABC: bars of gracenotes",
            filled(head, "{g}A4 {d}B4|", "\n"),
        ),
    ]
}

fn scores() -> Vec<(&'static str, String)> {
    let head = "<score-partwise><part><measure>";
    let tail = "</measure></part></score-partwise>";
    let note = "<note><pitch><step>A</step><octave>4</octave></pitch><duration>1</duration></note>";
    vec![
        ("MusicXML: open elements", filled("", "<a>", "")),
        ("MusicXML: empty elements", filled(head, "<a/>", tail)),
        (
            "MusicXML: attributes",
            numbered("<score-partwise ", |n| format!("a{n}='' "), "/>"),
        ),
        ("MusicXML: notes", filled(head, note, tail)),
        (
            "MusicXML: notes that are none",
            filled(head, "<note/>", tail),
        ),
        (
            "MusicXML: measures",
            filled(
                "<score-partwise><part>",
                "<measure/>",
                "</part></score-partwise>",
            ),
        ),
        (
            "MusicXML: parts",
            filled("<score-partwise>", "<part/>", "</score-partwise>"),
        ),
        ("MusicXML: references", filled(head, "&amp;", tail)),
        ("MusicXML: line feeds", filled(head, "\n", tail)),
        ("MusicXML: a long name", filled("<", "a", "/>")),
    ]
}
