//! Rules for every refusal, and for what is said of single gracenotes, the short birl and the
//! tachum. Each forbids a sentence that a teacher would not say.

use super::laws::{everywhere, line, one};
use crate::chanter::{Finger, Note, Shape, gracenote_sounds};
use crate::movement::{Family, Movement};

/// The notes that a strike on each note may tap to (LilyPond 2.24.1 bagpipe.ly). On D low G is
/// usual and C a school's; on high A the thumb taps (common practice, no source).
fn taps(on: Note) -> &'static [Note] {
    match on {
        Note::LowG => &[],
        Note::LowA | Note::B | Note::C => &[Note::LowG],
        Note::D => &[Note::LowG, Note::C],
        Note::E => &[Note::LowA],
        Note::F => &[Note::E],
        Note::HighG => &[Note::F],
        Note::HighA => &[Note::HighG],
    }
}

/// From the note of the tap nothing new would sound; from a lower note the tap would be a step up.
#[test]
fn a_strike_from_below_is_refused_for_what_would_be_heard() {
    let mut refused = 0;
    for (told, explanation) in everywhere() {
        let (Some(why), Some(from)) = (&explanation.why_not, explanation.from) else {
            continue;
        };
        let heard = why.split(';').next().unwrap_or_default();
        assert!(
            !why.contains("from below there is nothing"),
            "{told}: {why}"
        );
        if let Some(tap) = heard.strip_suffix(" sounds already, so a tap to it would not be heard")
        {
            assert_eq!(tap, from.spoken(), "{told}: {why}");
            assert!(taps(explanation.to).contains(&from), "{told}: {why}");
            refused += 1;
        } else if let Some((_, rest)) = heard.split_once(" a tap to ") {
            let tap = rest.split_once(" would").map_or("", |(tap, _)| tap);
            let tap = Note::parse(tap).expect("a note");
            assert!(heard.contains("as a step up"), "{told}: {why}");
            assert!(taps(explanation.to).contains(&tap), "{told}: {why}");
            assert!(from < tap, "{told}: {why}");
            refused += 1;
        } else if explanation.to > Note::LowG {
            assert_ne!(explanation.movement.name(), "strike", "{told}: {why}");
        }
    }
    assert!(refused > 20, "{refused}");
}

/// The birl is played by the little finger, from low A to low G (common practice, no source). What
/// this finger can do on another note follows from the fingering chart.
#[test]
fn a_birl_is_refused_for_what_the_little_finger_can_do() {
    let mut refused = 0;
    for (told, explanation) in everywhere() {
        let birl = explanation.movement.family() == Family::Birl
            || explanation.movement.name() == "hiharin";
        if !birl || explanation.to == Note::LowA {
            continue;
        }
        let why = explanation.why_not.as_ref().expect("it is refused");
        let shape = Shape::of(explanation.to);
        let down = shape.covers(Finger::LowerLittle);
        assert_eq!(why.contains("is down already"), down, "{told}: {why}");
        assert_eq!(why.contains("makes no low G"), !down, "{told}: {why}");
        if !down {
            assert_ne!(shape.covered(Finger::LowerLittle), Shape::of(Note::LowG));
        }
        for finger in Finger::ALL {
            if why.contains(&format!("{} is off", finger.spoken())) {
                assert!(!shape.covers(finger), "{told}: {why}");
            }
        }
        assert!(!why.contains("gracenote"), "{told}: {why}");
        refused += 1;
    }
    assert!(refused > 200, "{refused}");
    let on_b = one("birl", Note::E, Note::B, None)
        .why_not
        .expect("refused");
    assert!(
        on_b.starts_with("on B the bottom hand's ring finger is off too"),
        "{on_b}"
    );
}

/// A finger that is already off cannot come off: the sentence agrees with the finger steps.
#[test]
fn a_gracenote_s_finger_is_said_to_do_what_it_does() {
    let mut stays_off = 0;
    for (told, explanation) in everywhere().filter(|(_, explanation)| explanation.playable) {
        if explanation.movement.family() != Family::Gracenote {
            continue;
        }
        let stays = explanation.fingers[0].sentence.contains("stays off");
        let purpose = &explanation.purpose;
        assert_eq!(purpose.contains("off already"), stays, "{told}: {purpose}");
        assert_eq!(
            purpose.contains("straight back"),
            !stays,
            "{told}: {purpose}"
        );
        let same = explanation.from == Some(explanation.to);
        assert_eq!(purpose.contains("parts two"), same, "{told}: {purpose}");
        stays_off += usize::from(stays);
    }
    assert!(stays_off > 30, "{stays_off}");
}

/// A note's own gracenote on it would be the same note again. From D a high G gracenote is played,
/// and from high G the thumb's gracenote (facts of the trade, common practice).
#[test]
fn the_note_that_sounds_is_no_gracenote_and_another_is_named() {
    let mut refused = 0;
    for (told, explanation) in everywhere().filter(|(_, explanation)| !explanation.playable) {
        let why = explanation.why_not.as_ref().expect("why");
        assert!(!why.contains("is already off, so"), "{told}: {why}");
        if let Some((gracenote, _)) = why.split_once(" gracenote is the very note") {
            let gracenote = gracenote.trim_start_matches("the ");
            let from = explanation.from.map(Note::spoken);
            assert_eq!(Some(gracenote), from, "{told}: {why}");
            refused += 1;
            if explanation.movement.family() == Family::Gracenote {
                let expected = match (explanation.from, explanation.to) {
                    (Some(Note::HighG), _) => [Note::HighA],
                    // From high A neither finger can open high G, so only a strike is possible.
                    (Some(Note::HighA), Note::HighG) => [Note::F],
                    // When a low gracenote cannot sound, the next gracenote of the bottom hand
                    // takes its place.
                    (Some(Note::LowA | Note::B | Note::C), _) => [Note::D],
                    _ => [Note::HighG],
                };
                assert_eq!(explanation.gracenotes, expected, "{told}");
            }
        }
        let instead = explanation.explains.expect("something is played instead");
        let page = explanation.refusal().expect("a refusal");
        let named = format!("Play the {} instead", instead.spoken());
        assert!(page.contains(&named), "{told}: {page}");
        assert_ne!(instead, explanation.movement, "{told}");
    }
    assert!(refused > 70, "{refused}");
    let from_c = one("d-gracenote", Note::C, Note::B, None);
    let from_d = from_c
        .elsewhere
        .iter()
        .find(|there| there.from == [Note::D]);
    let instead = from_d.and_then(|there| there.instead).map(Movement::name);
    assert_eq!(instead, Some("hg-gracenote"));
    let page = from_c
        .write(80)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    assert!(
        page.contains("; play the high G gracenote instead"),
        "{page}"
    );
    // Every lone gracenote on high A is replaced by the same doubling, under the same name.
    for name in ["hg-gracenote", "d-gracenote", "ha-gracenote"] {
        let on_high_a = one(name, Note::C, Note::HighA, None);
        assert_eq!(on_high_a.explains.map(Movement::name), Some("doubling"));
    }
    let on_high_g = one("gracenote-strike", Note::E, Note::HighG, None);
    let instead = on_high_g.explains.map(Movement::name);
    assert_eq!(instead, Some("thumb-strike"));
}

/// A half form from its own note is refused with an alternative, and the alternative separates the
/// two notes.
#[test]
fn a_half_form_on_equal_notes_names_what_parts_them() {
    let mut refused = 0;
    for (told, explanation) in everywhere().filter(|(_, explanation)| !explanation.playable) {
        let half = explanation.movement.name().starts_with("half-");
        if !half || explanation.from != Some(explanation.to) || explanation.to == Note::LowG {
            continue;
        }
        let why = explanation.why_not.as_ref().expect("why");
        let first = &explanation.parts[0];
        let lifted = !first.sounding && gracenote_sounds(first.note, explanation.to);
        let full = why.contains("the full form, whose opening gracenote parts them");
        if why.contains("sounds already") {
            assert_eq!(full, lifted, "{told}: {why}");
            assert_eq!(
                why.contains("its tap is left"),
                first.note == Note::HighG && !lifted
            );
            let grip = why.contains("the first low G parts them");
            assert_eq!(
                grip,
                first.sounding && first.note == Note::LowG,
                "{told}: {why}"
            );
            refused += 1;
        }
    }
    assert!(refused > 25, "{refused}");
    let on_high_g = one("half-strike", Note::HighG, Note::HighG, None);
    assert_eq!(on_high_g.gracenotes, [Note::HighA, Note::HighG, Note::F]);
}

/// That a movement closes on other notes is not a reason. When there is no other reason, the
/// sentence names custom.
#[test]
fn every_refusal_has_a_reason() {
    for (told, explanation) in everywhere() {
        let Some(why) = &explanation.why_not else {
            continue;
        };
        let name = explanation.movement.spoken();
        assert!(
            !why.starts_with(&format!("the {name} closes on")),
            "{told}: {why}"
        );
        assert!(!why.contains("low G gracenote"), "{told}: {why}");
        if let Some((beside, _)) = why.split_once(" of the movement would be heard as one") {
            // The form from this note has the closing note at the place where the two would meet.
            let theme = explanation.movement.name() == "crunluath-fosgailte";
            assert!(
                !theme || explanation.from == Some(explanation.to),
                "{told}: {why}"
            );
            assert!(beside.starts_with(explanation.to.spoken()), "{told}: {why}");
        }
    }
    let why = |name: &str, from: Note, to: Note| {
        one(name, from, to, None).why_not.expect("it is refused")
    };
    assert!(why("catch", Note::B, Note::F).contains("common practice"));
    assert!(why("throw-on-d", Note::B, Note::E).contains("runs up into D"));
    assert!(why("cadence", Note::B, Note::F).contains("falls from E"));
}

/// The first low G of a short birl is the hand falling on it, not a tap (common practice).
#[test]
fn the_short_birl_has_one_tap() {
    for from in [Note::B, Note::C, Note::E, Note::HighA] {
        let short = one("birl", from, Note::LowA, Some("short-birl"));
        let purpose = &short.purpose;
        assert!(
            purpose
                .starts_with("Low G is heard twice, once as the hand falls on it and once tapped"),
            "{purpose}"
        );
        assert!(!purpose.contains("Some tap twice"), "{purpose}");
        let row: Vec<&str> = line(&short)[1..].iter().map(|note| note.spoken()).collect();
        assert!(
            purpose.ends_with(&format!(": {}.", row.join(", "))),
            "{purpose}"
        );
        for sentence in &short.listen_for {
            let two_taps = sentence.contains("first tap") || sentence.contains("two taps");
            assert!(!two_taps, "{sentence}");
        }
    }
}

/// Both gracenotes of a tachum are listed, including the one that opens its first note.
#[test]
fn a_tachum_has_every_gracenote_in_its_times() {
    let tachum = one("tachum", Note::C, Note::LowA, None);
    let sentence = &tachum.time.as_ref().expect("it takes time").sentence;
    for gracenote in ["high G gracenote", "D gracenote"] {
        assert!(sentence.contains(gracenote), "{sentence}");
    }
    assert!(tachum.listen_for[0].starts_with("every gracenote a point"));
    // C lasts 125 ms, including the gracenote's 35 ms.
    let page = tachum.write(80);
    assert!(page.contains("│ (HG) C  (D) LA"), "{page}");
    assert!(page.contains("35   90 35 ms"), "{page}");
    let from_high_a = one("tachum", Note::HighA, Note::LowA, None);
    let sentence = &from_high_a.time.as_ref().expect("it takes time").sentence;
    assert!(
        sentence.starts_with("The short high A is on the beat; "),
        "{sentence}"
    );
    assert!(from_high_a.listen_for[0].starts_with("the gracenote a point"));
}

/// A gracenote after a held tone is not called `still` short, and nothing is said to be tapped when
/// no note sounds before it.
#[test]
fn what_comes_before_is_not_forgotten() {
    for (told, explanation) in everywhere().filter(|(_, explanation)| explanation.playable) {
        for (place, part) in explanation.parts.iter().enumerate() {
            let held = explanation.parts[..place]
                .iter()
                .any(|before| before.held && before.note == part.note);
            assert!(!held || !part.reason.contains("still short"), "{told}");
        }
        let first = &explanation.fingers[0];
        if explanation.from.is_none() {
            assert!(
                !first.sentence.starts_with("The tap"),
                "{told}: {}",
                first.sentence
            );
            assert!(!explanation.parts[0].reason.contains("tap"), "{told}");
            let purpose = &explanation.purpose;
            assert!(!purpose.contains("divides two notes"), "{told}: {purpose}");
            for sentence in &explanation.listen_for {
                assert!(!sentence.starts_with("the tap on"), "{told}: {sentence}");
            }
        }
    }
}

/// When the fingering chart says why a movement cannot close on a note, the page says it on every
/// such note.
#[test]
fn the_chart_is_told_wherever_it_decides() {
    let why = |name: &str, to: Note| one(name, Note::B, to, None).why_not.expect("it is refused");
    for (name, to, expected) in [
        ("taorluath", Note::F, "tapped, not lifted"),
        ("taorluath", Note::E, "which E cannot sound"),
        ("long-variation-to-c", Note::D, "tapped, not lifted"),
        ("gde-triplet", Note::D, "D cannot sound the D gracenote"),
        (
            "gracenote-strike",
            Note::HighG,
            "high G cannot sound the high G gracenote",
        ),
        ("gracenote-strike", Note::HighA, "tapped, not lifted"),
        ("thumb-strike", Note::HighA, "the thumb is already off"),
        ("shake", Note::HighA, "no gracenote above it"),
        ("double-strike", Note::LowA, "are the birl"),
        ("catch", Note::LowG, "heard as one"),
        (
            "c-gracenote",
            Note::D,
            "can only be tapped, and the usual tap is to low G",
        ),
    ] {
        let why = why(name, to);
        assert!(why.contains(expected), "{name} to {to}: {why}");
    }
}
