//! The whole catalogue in every context with every choice of its schools, compared with the
//! sequences of LilyPond's bagpipe.ly.

use gracerung::chanter::{NOTES, Note};
use gracerung::movement::{
    Context, Movement, Resolution, Resolved, Role, Schools, find, recognise, resolve, write_parts,
};
use std::collections::BTreeSet;

/// The notes that may come before: silence, and the nine notes.
fn befores() -> impl Iterator<Item = Option<Note>> {
    std::iter::once(None).chain(NOTES.map(Some))
}

fn contexts() -> impl Iterator<Item = Context> {
    befores().flat_map(|before| NOTES.map(|after| Context { before, after }))
}

/// Every subset of a movement's schools.
fn choices(movement: Movement) -> Vec<Schools> {
    movement
        .schools()
        .iter()
        .fold(vec![Schools::none()], |choices, school| {
            let with: Vec<Schools> = choices
                .iter()
                .map(|choice| choice.clone().with(school.name).expect("a listed school"))
                .collect();
            choices.into_iter().chain(with).collect()
        })
}

/// Every movement in every context with every choice of its schools.
fn space() -> impl Iterator<Item = (Movement, Context, Resolution)> {
    Movement::all().flat_map(|movement| {
        choices(movement).into_iter().flat_map(move |schools| {
            contexts()
                .map(|context| (movement, context, resolve(movement, context, &schools)))
                .collect::<Vec<_>>()
        })
    })
}

fn sounding(resolution: &Resolution) -> impl Iterator<Item = &Resolved> {
    resolution.sounds().into_iter()
}

/// A second copy of the fingering chart, written by hand, from thumb to little finger; `x` is
/// closed. It was checked against three partial published descriptions. The finger of a gracenote
/// is its place in `LIFTED`.
const CHART: [&[u8; 8]; 9] = [
    b"xxxxxxxx",
    b"xxxxxxxo",
    b"xxxxxxoo",
    b"xxxxxoox",
    b"xxxxooox",
    b"xxxoxxxo",
    b"xxooxxxo",
    b"xoooxxxo",
    b"oooxxxxo",
];
/// The gracenote of each finger: thumb; top index, middle and ring; bottom index, middle, ring and
/// little.
const LIFTED: [Note; 8] = [
    Note::HighA,
    Note::HighG,
    Note::F,
    Note::E,
    Note::D,
    Note::C,
    Note::B,
    Note::LowA,
];
/// The half strikes of LilyPond 2.24.1 bagpipe.ly; the one on high A is common practice, no source.
const STRIKES: [(Note, Note); 9] = [
    (Note::LowA, Note::LowG),
    (Note::B, Note::LowG),
    (Note::C, Note::LowG),
    (Note::D, Note::LowG),
    (Note::D, Note::C),
    (Note::E, Note::LowA),
    (Note::F, Note::E),
    (Note::HighG, Note::F),
    (Note::HighA, Note::HighG),
];

fn lifts(gracenote: Note, held: Note) -> bool {
    let place = LIFTED.iter().position(|note| *note == gracenote);
    gracenote > held && place.is_some_and(|place| CHART[held.index()][place] == b'x')
}

/// No movement may contain what no chanter plays: two equal notes side by side, which sound as one,
/// or a gracenote whose finger is already open.
#[test]
fn nothing_unplayable_leaves_the_table() {
    let mut cases = 0;
    for (movement, context, resolution) in space() {
        cases += 1;
        for resolved in sounding(&resolution) {
            let told = format!("{movement} {context:?} {}", write_parts(&resolved.parts));
            assert_eq!(resolved.context, context, "{told}");
            assert!(!resolved.parts.is_empty(), "{told}");
            assert!(resolved.before_beat <= resolved.parts.len(), "{told}");
            let line: Vec<Note> = context
                .before
                .into_iter()
                .chain(resolved.gracenotes())
                .chain([context.after])
                .collect();
            assert!(line.windows(2).all(|pair| pair[0] != pair[1]), "{told}");
            for (place, part) in resolved.parts.iter().enumerate() {
                if part.role == Role::Sounding {
                    continue;
                }
                let next = resolved.parts.get(place + 1);
                assert!(
                    next.is_none_or(|next| next.role == Role::Sounding),
                    "two gracenotes in a row with no tone between: {told}"
                );
                assert!(!part.held, "{told}");
                let held = next.map_or(context.after, |next| next.note);
                // in the school that plays a gracenote early, its held shape is that of the note
                // before
                let early = resolved.school == Some("early-gracenote")
                    && context
                        .before
                        .is_some_and(|before| lifts(part.note, before));
                assert!(
                    lifts(part.note, held) || STRIKES.contains(&(held, part.note)) || early,
                    "{} cannot sound on {held}: {told}",
                    part.note
                );
            }
        }
    }
    assert!(cases >= 10_000, "{cases} cases only");
}

/// Every movement that a player can ask for must sound.
#[test]
fn what_cannot_be_played_says_why_and_what_is_played_instead() {
    for (movement, context, resolution) in space() {
        if let Resolution::NotPlayable { why, instead } = resolution {
            assert!(!why.is_empty() && !why.ends_with('.'), "{movement}: {why}");
            let instead = instead.unwrap_or_else(|| panic!("{movement} {context:?}: no other"));
            assert_ne!(instead.movement, movement);
        }
    }
}

/// Movements that in some context have the same gracenotes as another, which recognition names
/// first.
const HOMONYMS: &[(&str, &str)] = &[
    // the form after high G is the thumb form, and after high A the half form
    ("doubling", "thumb-doubling"),
    ("doubling", "half-doubling"),
    ("gracenote-strike", "thumb-strike"),
    ("gracenote-strike", "half-strike"),
    ("shake", "thumb-shake"),
    ("shake", "half-shake"),
    ("catch", "thumb-catch"),
    ("catch", "half-catch"),
    ("double-strike", "half-double-strike"),
    ("birl", "thumb-birl"),
    // on high G and high A the last gracenote of the doubling is a strike
    ("doubling", "strike"),
    ("doubling", "half-strike"),
    ("half-doubling", "strike"),
    ("half-doubling", "doubling"),
    ("half-double-strike", "double-strike"),
    ("half-strike", "doubling"),
    ("thumb-strike", "thumb-doubling"),
    ("thumb-shake", "shake"),
    // where D is kept, the catch on D has the same notes as a double strike
    ("catch", "double-strike"),
    ("catch", "half-double-strike"),
    ("half-catch", "half-double-strike"),
    ("thumb-catch", "double-strike"),
    ("grip", "half-double-strike"),
    // from high A to low G nothing opens the triplet
    ("gde-triplet", "taorluath"),
    // from low G to D, and closing on low G, only little of the grip and the throw is left
    ("grip", "half-strike"),
    ("grip", "half-doubling"),
    ("half-strike", "throw-on-d"),
    // the same gracenotes, with one tone held or in another kind of music
    ("birl", "hiharin"),
    ("double-echo", "shake"),
    ("double-echo", "half-shake"),
    ("double-echo", "thumb-shake"),
    ("short-cadence", "e-gracenote"),
    ("crunluath-fosgailte", "throw-on-e"),
    ("throw-on-e", "crunluath-fosgailte"),
    // a figure of melody notes has only one gracenote, so it cannot be told from that gracenote
    // alone
    ("tachum", "d-gracenote"),
];

/// A written-out movement must not lose its name or get another one unnoticed.
#[test]
fn what_is_resolved_is_recognised_or_a_listed_homonym() {
    let figures = ["tachum"];
    let mut homonyms = BTreeSet::new();
    for (movement, context, resolution) in space() {
        let Some(resolved) = resolution.played() else {
            continue;
        };
        let recognition = recognise(&resolved.gracenotes(), context);
        assert!(recognition.playable, "{movement} {context:?}");
        let first = recognition.names.first().expect("a name");
        if !figures.contains(&movement.name()) {
            assert!(
                recognition.names.contains(&movement),
                "{movement} {context:?} {}",
                write_parts(&resolved.parts)
            );
        }
        if *first != movement {
            homonyms.insert((movement.name(), first.name()));
        }
    }
    let listed: BTreeSet<(&str, &str)> = HOMONYMS.iter().copied().collect();
    assert_eq!(homonyms, listed);
}

/// A dot adds half of the length, and a second dot half of that half: 1 + ½ + ¼ = 1¾ beats.
#[test]
fn a_built_in_stage_is_named_by_its_dots() {
    let mut dotted = 0;
    for file in gracerung::drill::BUILT_IN {
        for line in file.text.lines().filter(|line| line.contains("tone: 1/4")) {
            if line.contains("before: 1 3/4") {
                assert!(line.contains("double-dotted"), "{}: {line}", file.name);
                dotted += 1;
            } else {
                assert!(!line.contains("double-dotted"), "{}: {line}", file.name);
            }
        }
    }
    assert!(dotted > 0, "no built-in stage is double-dotted");
}

/// Every sequence of LilyPond 2.24.1 bagpipe.ly is produced in the context that the file names, or
/// is missing for the reason that the file gives.
#[test]
fn all_165_sequences_of_lilypond_are_accounted_for() {
    let (mut produced, mut refused) = (0, 0);
    let lines = include_str!("../reference/gracenote-sequences.tsv").lines();
    for line in lines.filter(|line| !line.starts_with('#')) {
        let fields: Vec<&str> = line.split('\t').collect();
        let [label, gracenotes, movement, before, after, school, reason] = fields[..] else {
            panic!("seven fields: {line}");
        };
        let gracenotes: Vec<Note> = gracenotes
            .split(' ')
            .map(|note| Note::parse(note).expect("a note"))
            .collect();
        if movement == "-" {
            refused += 1;
            assert!(reason.len() > 10, "{label} gives no reason");
            let named = contexts().any(|context| !recognise(&gracenotes, context).names.is_empty());
            assert!(!named, "{label} is produced after all");
            continue;
        }
        produced += 1;
        let movement = find(movement).expect("a movement");
        let context = Context::between(
            Note::parse(before).expect("a note"),
            Note::parse(after).expect("a note"),
        );
        let schools = match school {
            "-" => Schools::none(),
            name => Schools::none().with(name).expect("a school"),
        };
        let resolution = resolve(movement, context, &schools);
        let resolved = resolution
            .played()
            .unwrap_or_else(|| panic!("{label}: {resolution:?}"));
        assert_eq!(resolved.gracenotes(), gracenotes, "{label}");
    }
    assert_eq!((produced, refused), (156, 9));
}
