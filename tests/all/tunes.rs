//! The catalogue compared with the gracenotes in real tunes.

use gracerung::chanter::Note;
use gracerung::movement::{Context, Recognition, Schools, recognise, resolve};

struct Row {
    gracenotes: Vec<Note>,
    context: Context,
    count: u32,
}

/// 277 tunes of the public repository svenax/bagpipemusic, commit b02aaac of 2025-12-22: counts
/// only.
fn rows() -> Vec<Row> {
    let note = |text: &str| Note::parse(text).expect("a note");
    include_str!("../../src/core/movement/catalogue/tunes.tsv")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| {
            let fields: Vec<&str> = line.split('\t').collect();
            Row {
                gracenotes: fields[0].split(' ').map(note).collect(),
                context: Context::between(note(fields[1]), note(fields[2])),
                count: fields[3].parse().expect("a count"),
            }
        })
        .collect()
}

/// True where `resolve` gives exactly the written gracenotes for the recognised name and school.
fn agrees(row: &Row, recognition: &Recognition) -> bool {
    let schools = recognition.school.map_or(Schools::none(), |school| {
        Schools::none()
            .with(school)
            .expect("a school that is taken")
    });
    recognition.names.first().is_some_and(|movement| {
        resolve(*movement, row.context, &schools)
            .played()
            .is_some_and(|resolved| resolved.gracenotes() == row.gracenotes)
    })
}

/// Rows without a name although they could be played, each with the explanation.
const EXPLAINED: [(&str, &str, &str, &str); 13] = [
    (
        "HG D E",
        "D",
        "C",
        "the doubling on D before another closing note: a join over a part end",
    ),
    (
        "E",
        "F",
        "HG",
        "an E gracenote whose finger is open on both notes: a slip",
    ),
    (
        "E",
        "HG",
        "HG",
        "an E gracenote on a note that leaves its finger open: a slip",
    ),
    (
        "LA",
        "B",
        "B",
        "a tap to low A, 2 times; a strike taps to low G 571 times there",
    ),
    (
        "LA",
        "C",
        "C",
        "a tap to low A, once; a strike taps to low G",
    ),
    (
        "LA",
        "D",
        "D",
        "a tap to low A, once; a strike taps to low G",
    ),
    (
        "LG",
        "F",
        "E",
        "a tap from E to low G closes two fingers, once; a strike on E taps to low A",
    ),
    (
        "D HG",
        "LG",
        "E",
        "two gracenotes with no tone between: a join",
    ),
    (
        "HG LA",
        "E",
        "E",
        "a high G gracenote and a strike with no tone between: a slip",
    ),
    (
        "HG E F",
        "F",
        "LG",
        "the doubling on E before another closing note: a join",
    ),
    (
        "HG E F",
        "C",
        "LG",
        "the doubling on E before another closing note: a join",
    ),
    (
        "HG F HG",
        "E",
        "HA",
        "the doubling on F before another closing note: a join",
    ),
    (
        "D LG E LG F LA",
        "B",
        "E",
        "mixes low G and low A in one crunluath; both schools are held apart here",
    ),
];

/// The catalogue must not drift away from what pipers play.
#[test]
fn real_tunes_are_recognised_and_resolved() {
    let (mut total, mut named, mut exact, mut repeats) = (0, 0, 0, 0);
    let mut named_rows = 0;
    let mut unnamed = Vec::new();
    for row in rows() {
        total += row.count;
        let recognition = recognise(&row.gracenotes, row.context);
        if agrees(&row, &recognition) {
            exact += row.count;
        }
        if !recognition.names.is_empty() {
            named += row.count;
            named_rows += 1;
            continue;
        }
        let Context { before, after } = row.context;
        let line: Vec<Note> = before
            .into_iter()
            .chain(row.gracenotes.iter().copied())
            .chain([after])
            .collect();
        if line.windows(2).any(|pair| pair[0] == pair[1]) {
            assert!(!recognition.playable);
            repeats += row.count;
            continue;
        }
        let words: Vec<&str> = line.iter().map(|note| note.name()).collect();
        unnamed.push((
            words[1..words.len() - 1].join(" "),
            words[0].to_owned(),
            words[words.len() - 1].to_owned(),
        ));
    }
    assert_eq!(total, 30_054);
    // of 436; the others are explained below, or have two equal notes side by side
    assert_eq!(named_rows, 399);
    assert!(f64::from(named) >= 0.99 * f64::from(total), "{named} named");
    assert!(f64::from(exact) >= 0.97 * f64::from(total), "{exact} exact");
    // about 0.26 % of the rows have two equal notes side by side: slips or joins
    assert!(
        f64::from(repeats) <= 0.003 * f64::from(total),
        "{repeats} repeats"
    );
    unnamed.sort();
    let mut explained: Vec<(String, String, String)> = EXPLAINED
        .iter()
        .map(|(gracenotes, before, after, why)| {
            assert!(!why.is_empty());
            (
                (*gracenotes).to_owned(),
                (*before).to_owned(),
                (*after).to_owned(),
            )
        })
        .collect();
    explained.sort();
    assert_eq!(unnamed, explained);
}
