//! Rules for sentences that are true under one school or on one closing note but not on others.
//! Each forbids a sentence that is right in most contexts and wrong in some.

use super::laws::{everywhere, one};
use crate::chanter::{NOTES, Note, gracenote_sounds};
use crate::movement::{Context, Family, Movement, Resolution, Role, Schools, counted, resolve};

/// Every refusal without a school and under each of the movement's own schools.
fn refused() -> impl Iterator<Item = (Movement, Context, Schools, String)> {
    Movement::all().flat_map(|movement| {
        let each = movement
            .schools()
            .iter()
            .map(|school| Schools::none().and(*school));
        std::iter::once(Schools::none())
            .chain(each)
            .flat_map(move |schools| {
                let befores = std::iter::once(None).chain(NOTES.map(Some));
                befores
                    .flat_map(|before| NOTES.map(|after| Context { before, after }))
                    .filter_map(|context| match resolve(movement, context, &schools) {
                        Resolution::NotPlayable { why, .. } => {
                            Some((movement, context, schools.clone(), why))
                        }
                        Resolution::Played(_) => None,
                    })
                    .collect::<Vec<_>>()
            })
    })
}

fn why_not(name: &str, from: Note, to: Note, school: Option<&str>) -> String {
    one(name, from, to, school).why_not.expect("it is refused")
}

/// The tone that a refusal says would meet the closing note is one that this school plays.
#[test]
fn a_tone_beside_the_closing_note_is_one_of_the_setting_s_own() {
    let mut told = 0;
    for (movement, context, schools, why) in refused() {
        if !why.contains(" of the movement would be heard as one") {
            continue;
        }
        let played = movement.closes_on().into_iter().find_map(|after| {
            let context = Context { after, ..context };
            resolve(movement, context, &schools).played().cloned()
        });
        // From some notes the movement cannot be played at all.
        let Some(played) = played else {
            continue;
        };
        // The same form with this closing note in place of the other.
        let tones = played.parts.iter().map(|part| {
            let closing = part.role == Role::Sounding && part.note == played.context.after;
            if closing { context.after } else { part.note }
        });
        let row: Vec<Note> = tones.chain([context.after]).collect();
        let beside = row.windows(2).any(|pair| pair == [context.after; 2]);
        assert!(
            beside,
            "{movement} {context:?} {:?}: {why}",
            schools.names()
        );
        told += 1;
    }
    assert!(told > 300, "{told}");
    let open = why_not("throw-on-e", Note::B, Note::LowA, Some("open-throw-on-e"));
    assert_eq!(
        open,
        "the throw on E is thrown up into E, and closes on no other note"
    );
    let open = why_not("throw-on-e", Note::B, Note::D, Some("open-throw-on-e"));
    assert!(open.starts_with("D beside the D of the movement"), "{open}");
    let over = why_not("barluath", Note::B, Note::LowG, Some("long-over-low-g"));
    assert!(over.starts_with("low G beside the low G"), "{over}");
    let over = why_not("barluath", Note::B, Note::LowA, Some("long-over-low-g"));
    assert!(over.contains("common practice"), "{over}");
}

/// In the heavy throw the D gracenote stands on a low G and the C has no gracenote (LilyPond 2.24.1
/// bagpipe.ly).
#[test]
fn each_throw_on_d_is_listened_to_for_its_own_c() {
    for (told, explanation) in everywhere() {
        if explanation.explains.map(Movement::name) != Some("throw-on-d") {
            continue;
        }
        let heavy = explanation.gracenotes.ends_with(&[Note::LowG, Note::C]);
        let light = explanation.gracenotes.ends_with(&[Note::D, Note::C]);
        assert_ne!(heavy, light, "{told}");
        let fault = &explanation.listen_for[0];
        assert_eq!(fault.contains("the C is lost"), heavy, "{told}: {fault}");
        let runs = fault.contains("the D gracenote runs into the D");
        assert_eq!(runs, light, "{told}: {fault}");
    }
}

/// The low Gs of a grip and the low A of a long variation stand there whatever note follows, so
/// they do not prepare that note (common practice, no source).
#[test]
fn a_tone_is_the_closing_note_s_own_only_where_it_changes_with_it() {
    let (mut own, mut low_gs) = (0, 0);
    for (told, explanation) in everywhere().filter(|(_, explanation)| explanation.playable) {
        let family = explanation.movement.family();
        let name = explanation.movement.name();
        for part in explanation.parts.iter().filter(|part| part.sounding) {
            let reason = &part.reason;
            if reason.contains("itself, once short") {
                let written = explanation.school == Some("low-a-written");
                let grip = family == Family::Grip && name != "half-taorluath" && !written;
                let long = name.starts_with("long-variation");
                assert!(!grip && !long, "{told}: {reason}");
                own += 1;
            } else if family == Family::Grip && part.note == Note::LowG {
                low_gs += usize::from(explanation.to == Note::LowG);
                assert!(!reason.contains("once more"), "{told}: {reason}");
            }
        }
    }
    assert!(own > 80 && low_gs > 15, "{own} {low_gs}");
    let reasons = |school, to| one("long-variation-to-d", Note::B, to, school).reasons;
    assert_eq!(
        reasons(None, Note::LowG)[0],
        "all fingers down: the low sound that gives the movement its weight"
    );
    assert_eq!(
        reasons(Some("long-over-low-g"), Note::LowA)[2],
        "low A, a tone of its own between the gracenotes"
    );
}

/// When the school of early gracenotes cannot play one here, the refusal says why.
#[test]
fn a_gracenote_that_cannot_be_played_early_says_so() {
    let mut told = 0;
    for (movement, context, schools, why) in refused() {
        if movement.family() != Family::Gracenote || why.contains("very note") {
            continue;
        }
        let early = schools.chooses("early-gracenote");
        let says_so = why.contains("before it") || why.contains("begun early");
        let told_of = format!("{movement} {context:?}: {why}");
        assert_eq!(says_so, early, "{told_of}");
        let Some(before) = context.before.filter(|_| early) else {
            continue;
        };
        let gracenote = movement.spoken().trim_end_matches(" gracenote");
        let gracenote = Note::parse(gracenote).expect("a note");
        let sounds = gracenote_sounds(gracenote, before);
        assert_eq!(why.contains("begun early"), sounds, "{told_of}");
        assert!(!sounds || gracenote == context.after, "{told_of}");
        told += 1;
    }
    assert!(told > 37, "{told}");
    let from_c = why_not("c-gracenote", Note::C, Note::E, Some("early-gracenote"));
    assert_eq!(
        from_c,
        "E cannot sound the C gracenote, and neither can the C before it; the C gracenote stands on \
         low G, low A and B only"
    );
}

/// From D the B gracenote separates the low Gs, in the grip and in every movement with a grip
/// inside (facts of the trade, common practice).
#[test]
fn a_b_gracenote_in_a_grip_is_told_of() {
    let mut told = 0;
    for (told_of, explanation) in everywhere().filter(|(_, explanation)| explanation.playable) {
        let grips = [Family::Grip, Family::Catch].contains(&explanation.movement.family());
        let by_choice = explanation.school == Some("b-grip");
        let b = explanation
            .parts
            .iter()
            .any(|part| !part.sounding && part.note == Note::B);
        if grips && !by_choice {
            let replaced = explanation.replaced.as_deref().unwrap_or_default();
            let says = format!("{} {replaced}", explanation.purpose);
            assert_eq!(b, says.contains("the B gracenote"), "{told_of}: {says}");
            told += usize::from(b);
        }
    }
    assert!(told > 50, "{told}");
}

/// When a chosen school cannot be followed here, the page says why.
#[test]
fn the_birl_with_d_says_why_it_has_none_from_d() {
    let from_d = one("birl", Note::D, Note::LowA, Some("birl-with-d"));
    let usual = one("birl", Note::D, Note::LowA, None);
    assert_eq!(from_d.gracenotes, usual.gracenotes);
    assert_eq!(usual.replaced, None);
    let why = from_d.replaced.expect("why");
    assert!(why.starts_with("D is already sounding"), "{why}");
}

/// A refusal does not appeal to custom against movements that the 277 counted tunes hardly have.
#[test]
fn of_a_rare_movement_less_is_claimed() {
    for (movement, context, _, why) in refused() {
        if ["barluath", "embari", "chedari"].contains(&movement.name()) {
            assert!(counted(movement).is_none_or(|usage| usage.count < 3));
            assert!(
                !why.contains("as the trade"),
                "{movement} {context:?}: {why}"
            );
        }
    }
}

/// The refusal says why high A has only the tap where high G has a full form.
#[test]
fn the_half_strike_on_high_a_says_why_only_its_tap_is_left() {
    let on_high_a = why_not("half-strike", Note::HighA, Note::HighA, None);
    assert!(
        on_high_a.contains("no gracenote opens high A"),
        "{on_high_a}"
    );
}

/// A movement with its own time is not called late, and when the theme note has the beat, nothing
/// is called square on it.
#[test]
fn what_to_listen_for_agrees_with_when_it_sounds() {
    for (told, explanation) in everywhere().filter(|(_, explanation)| explanation.playable) {
        let when = &explanation.time.as_ref().expect("it takes time").sentence;
        let lands = explanation.listen_for.last().expect("where it lands");
        let own_time = when.contains("has its own time");
        assert!(!own_time || !lands.contains("late"), "{told}: {lands}");
        let theme = when.contains("the theme note before it has the beat");
        let both = when.contains("in light music");
        assert!(
            !theme || both || !lands.contains("square on its beat"),
            "{told}: {lands}"
        );
    }
}
