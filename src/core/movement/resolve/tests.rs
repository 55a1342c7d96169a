use super::*;
use crate::chanter::NOTES;
use crate::chanter::Note::*;
use crate::movement::find;
use crate::movement::pattern::write_parts;

#[track_caller]
fn check(name: &str, school: Option<&str>, from: Note, to: Note, expected: &str, before: usize) {
    let schools = school.map_or(Schools::none(), |school| {
        Schools::none().with(school).expect("a known school")
    });
    let movement = find(name).expect("a known movement");
    match resolve(movement, Context::between(from, to), &schools) {
        Resolution::Played(resolved) => {
            assert_eq!(write_parts(&resolved.parts), expected, "{name} {from} {to}");
            assert_eq!(resolved.before_beat, before, "{name} {from} {to}");
            assert_eq!(resolved.school, school, "{name} {from} {to}");
        }
        Resolution::NotPlayable { why, .. } => panic!("{name} from {from} to {to}: {why}"),
    }
}

#[track_caller]
fn unplayable(name: &str, from: Note, to: Note, why: &str, instead: &str) {
    let movement = find(name).expect("a known movement");
    let resolution = resolve(movement, Context::between(from, to), &Schools::none());
    let Resolution::NotPlayable {
        why: found,
        instead: other,
    } = resolution
    else {
        panic!("{name} from {from} to {to} is played");
    };
    assert_eq!(found, why);
    let other = other.map(|other| format!("{} {}", other.movement, write_parts(&other.parts)));
    assert_eq!(other.as_deref(), Some(instead));
}

/// LilyPond 2.24.1 bagpipe.ly; the forms from D and from low G are common practice, no source.
#[test]
fn grips_taorluaths_and_crunluaths_fall_before_the_beat() {
    check("grip", None, C, LowA, "LG (D) LG", 3);
    check("grip", None, D, LowA, "LG (B) LG", 3);
    check("grip", None, D, D, "LG (B) LG", 3);
    check("grip", None, LowG, LowA, "(D) LG", 2);
    check("grip", None, E, LowG, "LG (D)", 2);
    check("grip", Some("d-from-d"), D, LowA, "LG (D) LG", 3);
    check("grip", Some("grip-on-the-beat"), C, LowA, "LG (D) LG", 0);
    check("taorluath", None, C, LowA, "LG (D) LG (E)", 4);
    check("taorluath", None, D, LowA, "LG (B) LG (E)", 4);
    check("taorluath", None, LowG, LowA, "(D) LA (E)", 3);
    check(
        "taorluath",
        Some("low-g-taorluath"),
        LowG,
        LowA,
        "(D) LG (E)",
        3,
    );
    check("crunluath", None, C, E, "LG (D) LG (E) LA (F) LA", 7);
    check("crunluath", None, D, E, "LG (B) LG (E) LA (F) LA", 7);
    check("crunluath", None, LowG, E, "(D) LA (E) LA (F) LA", 6);
}

/// LilyPond 2.24.1 bagpipe.ly; the places of the beat are common practice, no source.
#[test]
fn the_throw_on_d_has_two_weights_and_three_places() {
    check("throw-on-d", None, LowA, D, "LG (D) C", 0);
    check("throw-on-d", None, LowG, D, "(D) C", 0);
    check("throw-on-d", Some("heavy-throw"), LowA, D, "LG (D) LG C", 0);
    check(
        "throw-on-d",
        Some("throw-d-on-the-beat"),
        LowA,
        D,
        "LG (D) C",
        1,
    );
    check(
        "throw-on-d",
        Some("throw-before-the-beat"),
        LowA,
        D,
        "LG (D) C",
        3,
    );
}

/// LilyPond 2.24.1 bagpipe.ly; the forms after high G and high A are counted in 277 tunes.
#[test]
fn doublings_birls_and_strikes_begin_on_the_beat() {
    check("doubling", None, LowA, E, "(HG) E (F)", 0);
    check("doubling", None, HighG, E, "(HA) E (F)", 0);
    check("doubling", None, HighA, E, "E (F)", 0);
    check("doubling", Some("full-from-ha"), HighA, E, "(HG) E (F)", 0);
    check(
        "catch",
        Some("full-from-ha"),
        HighA,
        D,
        "(HG) D LG (B) LG",
        0,
    );
    check("doubling", None, LowA, HighG, "HG (F)", 0);
    check("doubling", None, LowA, HighA, "HA (HG)", 0);
    check("birl", None, E, LowA, "LA (LG) LA (LG)", 0);
    check("birl", None, LowA, LowA, "(LG) LA (LG)", 0);
    check(
        "birl",
        Some("birl-with-hg"),
        E,
        LowA,
        "(HG) LA (LG) LA (LG)",
        0,
    );
    check("strike", None, D, D, "(LG)", 0);
    check("strike", Some("light-d"), D, D, "(C)", 0);
    check("strike", None, E, E, "(LA)", 0);
}

#[test]
fn what_cannot_be_played_says_why_and_what_is_played_instead() {
    unplayable(
        "taorluath",
        B,
        E,
        "the taorluath ends with the E gracenote, which E cannot sound; it closes on low G, \
         low A, B, C and D only",
        "grip LG (D) LG",
    );
    unplayable(
        "d-gracenote",
        D,
        B,
        "the D gracenote is the very note that is sounding, so nothing new would be heard",
        "hg-gracenote (HG)",
    );
    unplayable(
        "hg-gracenote",
        HighG,
        B,
        "the high G gracenote is the very note that is sounding, so nothing new would be heard",
        "ha-gracenote (HA)",
    );
}

/// The message says where in the row the fault is and what the faulty part is for.
#[test]
fn each_fault_of_a_row_of_parts_is_told_as_what_it_is() {
    let told = |parts: &[Part], from: Note, to: Note| fault(parts, Context::between(from, to));
    let (tone, lifted) = (Part::tone, Part::separating);
    let twice = |note: &str| {
        Some(format!(
            "{note} would stand beside {note}, and the same note twice is heard as one"
        ))
    };
    let sounding = |note: &str| {
        Some(format!(
            "{note} is already sounding, and the same note twice is heard as one"
        ))
    };
    assert_eq!(told(&[tone(LowG), lifted(D), tone(LowG)], C, LowA), None);
    assert_eq!(
        told(&[tone(LowG), lifted(D), tone(LowG)], LowG, LowA),
        sounding("low G")
    );
    // A tone is not treated as a gracenote even where its finger could be lifted, nor a tap as a
    // lift.
    assert_eq!(told(&[tone(LowA)], LowA, LowG), sounding("low A"));
    assert_eq!(told(&[lifted(LowG)], LowG, D), sounding("low G"));
    assert_eq!(
        told(&[lifted(D)], D, B),
        Some(
            "the D gracenote is the very note that is sounding, so nothing new would be heard"
                .to_owned()
        )
    );
    assert_eq!(told(&[tone(LowG), tone(LowG)], C, LowA), twice("low G"));
    assert_eq!(told(&[tone(D), lifted(D)], LowA, B), twice("D"));
    assert_eq!(
        told(&[tone(LowG), tone(LowA)], C, LowA),
        Some(
            "low A would stand beside the closing low A, and the same note twice is heard as \
             one"
            .to_owned()
        )
    );
    assert_eq!(
        told(&[lifted(D)], HighG, E),
        Some("the D gracenote cannot sound on E".to_owned())
    );
    assert_eq!(
        told(&[], LowA, E),
        Some("there is nothing to play".to_owned())
    );
}

/// On a note from which it cannot be lifted, a gracenote is tapped, which is a strike.
#[test]
fn a_gracenote_that_cannot_be_lifted_is_struck() {
    unplayable(
        "e-gracenote",
        F,
        F,
        "on F, E is tapped, not lifted; the E gracenote stands on low G, low A, B, C and D only",
        "strike (E)",
    );
}

/// Only for a half form from its own note does the refusal say that its first note sounds already
/// and that the full form is needed.
#[test]
fn only_a_half_form_from_its_own_note_is_sent_to_the_full_one() {
    let mut sent = 0;
    for movement in Movement::all() {
        for (from, to) in NOTES
            .into_iter()
            .flat_map(|from| NOTES.map(|to| (from, to)))
        {
            let Err(why) = own(movement, Context::between(from, to), &Schools::none()) else {
                continue;
            };
            if why.contains("which sounds already, and the same note twice") {
                assert!(
                    movement.name().starts_with("half-"),
                    "{movement} {from} {to}"
                );
                assert_eq!(from, to, "{movement}");
                sent += 1;
            }
        }
    }
    assert!(sent > 5, "{sent}");
}

#[test]
fn the_opening_gracenote_never_repeats_the_note_before() {
    assert_eq!(opening_gracenote(None, LowA), Some(HighG));
    for on in NOTES {
        for before in NOTES {
            if let Some(opening) = opening_gracenote(Some(before), on) {
                assert_ne!(opening, before);
                assert!(separates(opening, None, on), "{opening} on {on}");
            } else {
                assert_ne!(before, on, "nothing separates {on} from {on}");
            }
        }
    }
}

/// The tones of grip, taorluath and crunluath are played longer at slow tempi; separating
/// gracenotes are not [P]. A strike has no tone, and the E of a short cadence is held long anyway.
#[test]
fn what_has_a_tone_inside_can_be_opened() {
    for (name, opens) in [
        ("grip", true),
        ("taorluath", true),
        ("crunluath", true),
        ("birl", true),
        ("strike", false),
        ("hg-gracenote", false),
        ("short-cadence", false),
    ] {
        let movement = find(name).expect("a known movement");
        let context = |from: Note, to: Note| Context::between(from, to);
        let contexts = NOTES
            .into_iter()
            .flat_map(|from| NOTES.map(|to| context(from, to)));
        let mut played = 0;
        for context in contexts {
            if let Resolution::Played(resolved) = resolve(movement, context, &Schools::none()) {
                played += 1;
                assert_eq!(resolved.can_be_opened(), opens, "{name} {context:?}");
            }
        }
        assert!(played > 0, "{name}");
    }
}
