//! Rules for explanations, tested in every context and under every school. Each forbids a sentence
//! that a teacher would not say.

use super::{Explanation, explain};
use crate::chanter::{NOTES, Note, gracenote_sounds};
use crate::movement::{Context, Lengths, Movement, Schools, find, resolve};
use crate::units::Bpm;
use std::collections::HashSet;
use std::sync::LazyLock;

/// Every movement in every context without a school, and again under each school that decides its
/// form there.
pub(super) fn everywhere() -> impl Iterator<Item = &'static (String, Explanation)> {
    // Computed once for all tests.
    static EVERYWHERE: LazyLock<Vec<(String, Explanation)>> =
        LazyLock::new(|| explain_everywhere().collect());
    EVERYWHERE.iter()
}

fn explain_everywhere() -> impl Iterator<Item = (String, Explanation)> {
    Movement::all().flat_map(|movement| {
        let none = contexts().map(move |context| (context, Schools::none()));
        let each = movement.schools().iter().flat_map(move |school| {
            let schools = Schools::none().and(*school);
            contexts().filter_map(move |context| {
                let resolution = resolve(movement, context, &schools);
                let decides = resolution.played()?.school == Some(school.name);
                decides.then(|| (context, schools.clone()))
            })
        });
        none.chain(each).map(move |(context, schools)| {
            let told = format!("{movement} {context:?} {:?}", schools.names());
            (told, explained(movement, context, &schools))
        })
    })
}

fn contexts() -> impl Iterator<Item = Context> {
    let befores = std::iter::once(None).chain(NOTES.map(Some));
    befores.flat_map(|before| NOTES.map(|after| Context { before, after }))
}

fn explained(movement: Movement, context: Context, schools: &Schools) -> Explanation {
    let tempo = Bpm::whole(60).expect("a tempo");
    explain(movement, context, schools, tempo, &Lengths::default())
}

/// One explanation, found by the movement's name.
pub(super) fn one(name: &str, from: Note, to: Note, school: Option<&str>) -> Explanation {
    let schools = school.map_or(Schools::none(), |school| {
        Schools::none().with(school).expect("a school")
    });
    let movement = find(name).expect("a movement");
    explained(movement, Context::between(from, to), &schools)
}

/// The notes that sound, melody notes included.
pub(super) fn line(explanation: &Explanation) -> Vec<Note> {
    explanation
        .from
        .into_iter()
        .chain(explanation.gracenotes.iter().copied())
        .chain([explanation.to])
        .collect()
}

fn sentences(explanation: &Explanation) -> impl Iterator<Item = &str> {
    explanation
        .why_not
        .iter()
        .chain(&explanation.replaced)
        .chain(&explanation.reasons)
        .chain(&explanation.listen_for)
        .chain(explanation.time.iter().map(|time| &time.sentence))
        .chain(explanation.first.iter().map(|first| &first.what))
        .map(String::as_str)
        .chain([explanation.purpose.as_str()])
}

const NUMBERS: [&str; 7] = ["no", "one", "two", "three", "four", "five", "six"];

/// The number that words such as `twice` and `three times` mean.
fn often(words: &str) -> Option<usize> {
    match words {
        "once" => Some(1),
        "twice" => Some(2),
        _ => NUMBERS.iter().position(|number| {
            words
                .strip_prefix(number)
                .is_some_and(|rest| rest == " times")
        }),
    }
}

#[test]
fn no_sentence_stumbles() {
    for (told, explanation) in everywhere() {
        for sentence in sentences(explanation) {
            assert!(!sentence.is_empty(), "{told}");
            for stumble in [
                "all two",
                "all one",
                "the silence before",
                "one tones",
                " a E ",
            ] {
                assert!(!sentence.contains(stumble), "{told}: {sentence}");
            }
            let words: Vec<&str> = sentence.split(' ').collect();
            assert!(
                words.windows(2).all(|pair| pair[0] != pair[1]),
                "a word twice: {told}: {sentence}"
            );
        }
    }
}

/// A sentence such as `the D gracenote ends with the D gracenote` says nothing. And what a movement
/// is said to end with must be what this note cannot sound.
#[test]
fn nothing_is_explained_by_itself() {
    for (told, explanation) in everywhere() {
        let Some(why) = &explanation.why_not else {
            continue;
        };
        let name = explanation.movement.spoken();
        // The page puts a colon before this text, so the text itself has none.
        assert!(!why.contains(": "), "{told}: {why}");
        assert!(
            !why.contains(&format!("the {name} ends with the {name}")),
            "{told}: {why}"
        );
        if let Some((_, rest)) = why.split_once("ends with the ")
            && let Some((gracenote, _)) = rest.split_once(" gracenote")
        {
            let gracenote = Note::parse(gracenote).expect("a note");
            assert!(
                !gracenote_sounds(gracenote, explanation.to),
                "{told}: {why}"
            );
            assert!(
                explanation
                    .movement
                    .closes_on()
                    .into_iter()
                    .all(|on| gracenote_sounds(gracenote, on)),
                "{told}: {why}"
            );
        }
    }
}

/// No foundation changes a note into itself, and none is listed twice.
#[test]
fn what_comes_first_is_possible_and_said_once() {
    for (told, explanation) in everywhere() {
        let mut seen = HashSet::new();
        for first in &explanation.first {
            assert!(seen.insert(&first.what), "twice: {told}: {}", first.what);
            if let Some(rest) = first.what.strip_prefix("the change from ") {
                let rest = rest.trim_end_matches(" without any gracenote");
                let (from, to) = rest.split_once(" to ").expect("two notes");
                assert_ne!(from, to, "{told}");
            }
            let placed = explanation
                .first
                .iter()
                .find(|other| first.on.is_none() && other.on.is_some());
            assert!(
                placed.is_none_or(|other| other.movement != first.movement),
                "{told}: {} and where it stands",
                first.what
            );
        }
    }
    let cadence = one("short-cadence", Note::C, Note::LowA, None);
    let first: Vec<&str> = cadence
        .first
        .iter()
        .map(|first| first.what.as_str())
        .collect();
    assert_eq!(first, ["the high G gracenote on E"]);
    assert!(one("strike", Note::E, Note::E, None).first.is_empty());
}

/// A tone that is said to lead upwards does not lead down.
#[test]
fn passing_tones_go_the_way_they_are_said_to_go() {
    let mut passing = 0;
    for (told, explanation) in everywhere() {
        let line = line(explanation);
        let start = usize::from(explanation.from.is_some());
        for (place, reason) in explanation.reasons.iter().enumerate() {
            let Some(way) = reason.strip_prefix("a passing tone, ") else {
                continue;
            };
            let (note, next) = (line[start + place], line[start + place + 1]);
            let (word, to) = way.split_once(" to ").expect("a way");
            assert_eq!(word == "up", next > note, "{told}: {reason}");
            assert_eq!(to.trim_start_matches("the closing "), next.spoken());
            passing += 1;
        }
    }
    assert!(passing > 50, "{passing}");
}

/// The number of times that a note is said to sound is compared with the notes.
#[test]
fn what_is_counted_is_there() {
    let mut counted = 0;
    for (told, explanation) in everywhere().filter(|(_, explanation)| explanation.playable) {
        let purpose = &explanation.purpose;
        if explanation.movement.name() == "crunluath" {
            let inside = explanation
                .parts
                .iter()
                .filter(|part| part.sounding && part.note == Note::LowA)
                .count();
            let (_, rest) = purpose.split_once("low A ").expect("low As");
            let words = rest.split([',', '.']).next().expect("words");
            let words = words.trim_end_matches(" under an E and an F gracenote");
            assert_eq!(often(words), Some(inside), "{told}: {purpose}");
            counted += 1;
        }
        // When no gracenote opens the note, the same note before it sounds together with it.
        let line = line(explanation);
        let first = &explanation.parts[0];
        let opened = !first.sounding && first.note > explanation.to;
        let from = usize::from(opened && explanation.from.is_some());
        let heard = line[from..]
            .iter()
            .filter(|note| **note == explanation.to)
            .count();
        if let Some((_, rest)) = purpose.split_once(": it is heard ") {
            let words = rest.split([',', '.']).next().expect("words");
            assert_eq!(often(words), Some(heard), "{told}: {purpose}");
            counted += 1;
        }
        if let Some((_, rest)) = purpose.split_once("sounds low G twice: ") {
            let row = rest.split('.').next().expect("a row of notes");
            let row = row.split(", ").filter_map(|word| Note::parse(word).ok());
            let opening = usize::from(!first.sounding && first.note > Note::LowA);
            let held = explanation.from == Some(Note::LowA) && !first.sounding && opening == 0;
            let start = usize::from(explanation.from.is_some() && !held) + opening;
            assert!(row.eq(line[start..].iter().copied()), "{told}: {purpose}");
            let counts = purpose.contains("the note already held");
            assert_eq!(counts, held, "{told}: {purpose}");
            counted += 1;
        }
    }
    assert!(counted > 300, "{counted}");
    let from_low_g = one("crunluath", Note::LowG, Note::E, None);
    assert!(from_low_g.purpose.contains("low A three times"));
}

/// A gracenote is said to open a note only when it does.
#[test]
fn an_opening_is_spoken_of_where_there_is_one() {
    for (told, explanation) in everywhere().filter(|(_, explanation)| explanation.playable) {
        let first = &explanation.parts[0];
        let lifted = !first.sounding
            && first.note
                > explanation
                    .parts
                    .get(1)
                    .map_or(explanation.to, |next| next.note);
        let says = |words: &str| explanation.purpose.contains(words);
        if says("a gracenote opens it")
            || says("A gracenote opens the")
            || says("one gracenote opens it")
        {
            assert!(
                lifted && first.note == Note::HighG,
                "{told}: {}",
                explanation.purpose
            );
        }
        if says("the thumb opens it")
            || says("The thumb opens")
            || says("opened by the thumb: used")
        {
            assert_eq!(first.note, Note::HighA, "{told}: {}", explanation.purpose);
        }
        let lands = explanation.listen_for.last().expect("where it lands");
        let gracenotes = explanation
            .parts
            .iter()
            .enumerate()
            .filter(|(place, part)| {
                let next = explanation.parts.get(place + 1);
                !part.sounding && part.note > next.map_or(explanation.to, |next| next.note)
            });
        let gracenotes = gracenotes.count();
        if lands.starts_with("the first gracenote") {
            assert!(lifted && gracenotes > 1, "{told}: {lands}");
        }
        if lands.starts_with("the opening gracenote") {
            assert!(lifted && gracenotes == 1, "{told}: {lands}");
        }
        if lands.starts_with("the first, short") {
            assert!(
                first.sounding && first.note == explanation.to,
                "{told}: {lands}"
            );
        }
    }
}

/// A school is listed only where its form differs from that of the others.
#[test]
fn other_schools_are_listed_where_they_decide() {
    for (told, explanation) in everywhere() {
        let played = explanation.explains.expect("something sounds");
        let context = Context {
            before: explanation.from,
            after: explanation.to,
        };
        for school in &explanation.schools {
            let schools = Schools::none().with(school.name).expect("a school");
            let there = explained(played, context, &schools);
            assert_eq!(there.school, Some(school.name), "{told}");
            assert_eq!(there.gracenotes, school.gracenotes, "{told}");
        }
    }
}

/// The first note of a tachum is a melody note and has the beat (common practice, no source).
#[test]
fn the_tachum_has_its_first_note_on_the_beat() {
    let tachum = one("tachum", Note::C, Note::LowA, None);
    let time = tachum.time.as_ref().expect("it takes time");
    assert_eq!(time.on_the_beat, Note::C);
    assert!(time.sentence.starts_with("The short C is on the beat"));
    assert_eq!(tachum.parts[0].begins, 125);
    assert!(tachum.write(80).contains("(HG) C (D) LA"));
}

/// No way of playing a birl is called a fault (common practice, no source).
#[test]
fn no_way_of_playing_a_birl_is_faulted() {
    for name in ["birl", "thumb-birl", "hiharin"] {
        let page = one(name, Note::E, Note::LowA, None).write(80);
        let page = page.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(page.contains("draw a seven"), "{page}");
        assert!(!page.contains("dragged"), "{page}");
    }
}

/// The doubling on high G after high G and high A is (F), as 104 times in the 277 counted tunes.
#[test]
fn the_doubling_on_high_g_from_above_is_the_half_form() {
    let full: [(Note, &[Note]); 2] = [
        (Note::HighG, &[Note::HighA, Note::HighG, Note::F]),
        (Note::HighA, &[Note::HighG, Note::F]),
    ];
    for (from, full) in full {
        let half = one("doubling", from, Note::HighG, None);
        assert_eq!(half.gracenotes, [Note::F]);
        assert!(half.replaced.expect("why").ends_with("the half form"));
        let listed = half
            .schools
            .iter()
            .find(|school| school.name == "full-on-hg");
        assert_eq!(listed.expect("it decides").gracenotes, full);
    }
}

/// Nothing can be tapped from a note that leaves the finger open (computed from the fingering
/// chart). Only the school of early gracenotes sounds such a note, and it lifts it from the note
/// before.
#[test]
fn nothing_is_tapped_from_below() {
    for (told, explanation) in everywhere().filter(|(_, explanation)| explanation.playable) {
        let first = &explanation.parts[0];
        let next = explanation
            .parts
            .get(1)
            .map_or(explanation.to, |next| next.note);
        let from_below = explanation.from.is_some_and(|from| from < first.note);
        if !first.sounding && first.note < next && from_below {
            assert_eq!(explanation.school, Some("early-gracenote"), "{told}");
        }
    }
    let refused = one("strike", Note::LowG, Note::E, None);
    assert_eq!(
        refused.explains.map(Movement::name),
        Some("gracenote-strike")
    );
    let on_high_a = one("strike", Note::C, Note::HighA, None);
    assert_eq!(on_high_a.gracenotes, [Note::HighA, Note::HighG]);
}

/// A held tone has no length in milliseconds. A movement with its own time takes none from its
/// neighbours and has no pulse to keep or miss (common practice, no source).
#[test]
fn what_has_its_own_time_takes_none_from_a_neighbour() {
    for (told, explanation) in everywhere() {
        let sentence = &explanation.time.as_ref().expect("it takes time").sentence;
        let whole: u32 = explanation.parts.iter().map(|part| part.milliseconds).sum();
        let held = explanation.parts.iter().any(|part| part.held);
        if held || whole >= 900 {
            assert!(!sentence.contains("taken from"), "{told}: {sentence}");
            assert!(!sentence.contains("before the beat"), "{told}: {sentence}");
        }
        assert!(!sentence.contains("no pulse"), "{told}: {sentence}");
        assert!(
            explanation.from.is_some() || !sentence.contains("the theme note before it"),
            "{told}: {sentence}"
        );
        // Lengths are a choice, so no sentence gives one as a fact.
        assert!(
            !sentence.contains(" ms") || sentence.contains(" as set"),
            "{told}: {sentence}"
        );
    }
}

/// Words that would be untrue for some movements do not appear there. A chanter has no dynamics
/// (published: records of the National Museums Scotland); the rest is common practice, no source.
#[test]
fn nothing_is_said_that_was_once_wrong() {
    for (told, explanation) in everywhere() {
        let steps = explanation
            .fingers
            .iter()
            .map(|step| step.sentence.as_str());
        for sentence in sentences(explanation).chain(steps) {
            for wrong in [
                "equally strong",
                "even triplet",
                "the first low G is left out",
                "the theme note instead",
                "the note itself",
                "used coming down from high A",
                "would only say it again",
                "opens the closing",
                "ground under",
                "lighter edge",
                "and falls at once",
                "Tapped down",
                "of it are heard",
            ] {
                assert!(!sentence.contains(wrong), "{told}: {sentence}");
            }
        }
    }
    let thumb = one("ha-gracenote", Note::B, Note::C, None);
    assert!(thumb.purpose.starts_with("The thumb off"));
}

/// A movement is called a grip only when it has two low Gs, and `straight` only when it passes no
/// other note.
#[test]
fn a_name_is_used_of_what_is_played() {
    for (told, explanation) in everywhere().filter(|(_, explanation)| explanation.playable) {
        let low_gs = line(explanation)
            .into_iter()
            .filter(|note| *note == Note::LowG)
            .count();
        let purpose = &explanation.purpose;
        if explanation.movement.name() == "taorluath" {
            let grip = purpose.contains("grip");
            assert!(!grip || low_gs >= 2, "{told}: {purpose}");
            let first = explanation
                .first
                .iter()
                .any(|first| first.what == "the grip");
            assert!(!first || low_gs >= 2, "{told}");
        }
        if purpose.contains(" straight to ") {
            assert!(
                explanation.parts[0].note > explanation.to,
                "{told}: {purpose}"
            );
        }
    }
    // A gracenote is said to separate two low Gs only when it stands between two.
    for (told, explanation) in everywhere() {
        let between = |pair: &[Note]| pair[0] == Note::LowG && pair[2] == Note::LowG;
        let two = line(explanation).windows(3).any(between);
        let replaced = explanation.replaced.as_deref().unwrap_or_default();
        assert!(two || !replaced.contains("separates the low Gs"), "{told}");
    }
    let older = one("taorluath", Note::E, Note::LowA, Some("low-a-taorluath"));
    assert!(older.purpose.contains("one low G"), "{}", older.purpose);
    let kept = one("bubbly-note", Note::D, Note::LowA, None);
    assert!(
        kept.replaced
            .expect("why")
            .contains("keeps its D gracenote")
    );
}
