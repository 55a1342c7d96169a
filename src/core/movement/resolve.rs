//! From a movement and its context to the gracenotes that are played.
//!
//! Whatever the catalogue says, nothing leaves here that a chanter cannot play: no two equal notes
//! side by side, no gracenote that its held shape cannot sound.

use super::catalogue::{Family, Movement, ReadForm, Timing, named};
use super::context::Context;
use super::parts::{Part, Role};
use super::pattern::{separates, strikes};
use super::refusal::{already_sounding, half_from_its_own_note, no_form, very_note};
use super::school::Schools;
use crate::chanter::{Note, gracenote_sounds};

/// What is played for a movement in a context.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Resolution {
    /// It can be played.
    Played(Resolved),
    /// It cannot.
    NotPlayable {
        /// Why not, in a sentence without a full stop.
        why: String,
        /// What is played instead.
        instead: Option<Resolved>,
    },
}

impl Resolution {
    /// What sounds: the movement, or what is played instead of it.
    pub fn sounds(&self) -> Option<&Resolved> {
        match self {
            Self::Played(resolved) => Some(resolved),
            Self::NotPlayable { instead, .. } => instead.as_ref(),
        }
    }

    /// The movement itself, when it can be played.
    pub fn played(&self) -> Option<&Resolved> {
        match self {
            Self::Played(resolved) => Some(resolved),
            Self::NotPlayable { .. } => None,
        }
    }
}

/// A movement in its context, as it is played.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resolved {
    /// Which movement.
    pub movement: Movement,
    /// Between which notes.
    pub context: Context,
    /// Its parts in order.
    pub parts: Vec<Part>,
    /// How many parts, from the first, sound before the beat and take their time from the note
    /// before; the others begin on the beat and take time from the closing note.
    pub before_beat: usize,
    /// None when played as usual; else why this context changes it, in a sentence without a full
    /// stop.
    pub replaced: Option<String>,
    /// The school that decided the notes, or else where the time falls.
    pub school: Option<&'static str>,
}

impl Resolved {
    /// True where there is a tone inside that can be opened: one that is heard as a note and is not
    /// held long anyway.
    pub fn can_be_opened(&self) -> bool {
        let open = |part: &Part| part.role == Role::Sounding && !part.held;
        self.parts.iter().any(open)
    }

    /// The notes of the parts.
    pub fn gracenotes(&self) -> Vec<Note> {
        self.parts.iter().map(|part| part.note).collect()
    }
}

/// What is played for a movement in a context, by the chosen schools.
pub fn resolve(movement: Movement, context: Context, schools: &Schools) -> Resolution {
    match own(movement, context, schools) {
        Ok(resolved) => Resolution::Played(resolved),
        Err(why) => Resolution::NotPlayable {
            why,
            instead: instead(movement, context, schools),
        },
    }
}

/// The movement itself, or why it cannot be played.
pub(super) fn own(
    movement: Movement,
    context: Context,
    schools: &Schools,
) -> Result<Resolved, String> {
    own_or_fault(movement, context, schools).map_err(|first_fault| {
        let half = movement.name().starts_with("half-") && context.before == Some(context.after);
        match first_fault {
            Some(_) if half => half_from_its_own_note(movement, context.after),
            Some(fault) => fault,
            None => no_form(movement, context, schools),
        }
    })
}

/// The movement itself, or what is wrong with the first form of it that stands here; nothing where
/// none does. Why it is so is not put into words: whoever tries all movements asks for no reasons.
pub(super) fn own_or_fault(
    movement: Movement,
    context: Context,
    schools: &Schools,
) -> Result<Resolved, Option<String>> {
    let fits =
        |form: &&ReadForm| form.from.holds(context.before) && form.to.holds(Some(context.after));
    let chosen = movement
        .forms()
        .iter()
        .filter(fits)
        .filter(|form| form.school.is_some_and(|school| schools.chooses(school)));
    let usual = movement
        .forms()
        .iter()
        .filter(fits)
        .filter(|form| form.school.is_none());
    let mut first_fault = None;
    for form in chosen.chain(usual) {
        let Some((parts, beat)) = form.pattern.on(context.after) else {
            continue;
        };
        if let Some(fault) = fault(&parts, context) {
            first_fault.get_or_insert(fault);
            continue;
        }
        let (timing, timed_by) = movement
            .row()
            .timings
            .iter()
            .find(|(school, _)| schools.chooses(school.name))
            .map_or((movement.row().timing, None), |(school, timing)| {
                (*timing, Some(school.name))
            });
        return Ok(Resolved {
            movement,
            context,
            before_beat: beat.unwrap_or_else(|| parts_before_beat(&parts, timing)),
            parts,
            replaced: form.replaced.map(str::to_owned),
            school: form.school.or(timed_by),
        });
    }
    Err(first_fault)
}

fn parts_before_beat(parts: &[Part], timing: Timing) -> usize {
    match timing {
        Timing::From => 0,
        Timing::Until => parts.len(),
        Timing::AtFirstSeparating => parts
            .iter()
            .position(|part| part.role == Role::Separating)
            .unwrap_or(0),
    }
}

/// What is wrong with a row of parts between two notes: two equal notes side by side, or a
/// gracenote that cannot sound.
pub(super) fn fault(parts: &[Part], context: Context) -> Option<String> {
    if parts.is_empty() {
        return Some("there is nothing to play".to_owned());
    }
    for (place, part) in parts.iter().enumerate() {
        let before = if place == 0 {
            context.before
        } else {
            Some(parts[place - 1].note)
        };
        let after = parts.get(place + 1).map_or(context.after, |next| next.note);
        if before == Some(part.note) {
            let lifted = part.role == Role::Separating && gracenote_sounds(part.note, after);
            return Some(if place == 0 && lifted {
                very_note(part.note)
            } else if place == 0 {
                already_sounding(part.note)
            } else {
                format!(
                    "{} would stand beside {}, and the same note twice is heard as one",
                    part.note.spoken(),
                    part.note.spoken()
                )
            });
        }
        if part.role == Role::Separating && !separates(part.note, before, after) {
            return Some(format!(
                "the {} gracenote cannot sound on {}",
                part.note.spoken(),
                after.spoken()
            ));
        }
    }
    let last = parts.last()?.note;
    (last == context.after).then(|| {
        format!(
            "{} would stand beside the closing {}, and the same note twice is heard as one",
            last.spoken(),
            last.spoken()
        )
    })
}

fn instead(movement: Movement, context: Context, schools: &Schools) -> Option<Resolved> {
    let gracenote = movement.family() == Family::Gracenote;
    // on a note that is struck with this gracenote, the strike sounds it
    let tapped = movement
        .forms()
        .first()
        .and_then(|form| form.pattern.on(Note::LowG))
        .filter(|(parts, _)| gracenote && strikes(context.after).contains(&parts[0].note))
        .map(|_| "strike");
    tapped
        .into_iter()
        .chain(movement.row().instead.iter().copied())
        // a doubling can be played in every context
        .chain(["doubling"])
        .filter_map(named)
        .find_map(|other| own(other, context, schools).ok())
}

/// The gracenote that opens a bar's first note: high G; the thumb where high G sounds before or
/// is itself the note; none after or on high A, but between two high As, which nothing else would
/// separate, the thumb's tap to high G (502 of 504 times in 277 counted tunes). Never equal to the
/// note before; always one that the note can sound.
pub fn opening_gracenote(before: Option<Note>, on: Note) -> Option<Note> {
    if before == Some(Note::HighA) && on == Note::HighA {
        return Some(Note::HighG);
    }
    if before == Some(Note::HighA) || on == Note::HighA {
        return None;
    }
    if before == Some(Note::HighG) || on == Note::HighG {
        return Some(Note::HighA);
    }
    Some(Note::HighG)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::NOTES;
    use crate::chanter::Note::*;
    use crate::movement::find;
    use crate::movement::pattern::write_parts;

    #[track_caller]
    fn check(
        name: &str,
        school: Option<&str>,
        from: Note,
        to: Note,
        expected: &str,
        before: usize,
    ) {
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

    /// LilyPond 2.24.1 bagpipe.ly; from D and from low G: common practice, no source.
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

    /// LilyPond 2.24.1 bagpipe.ly; where the time falls: common practice, no source.
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

    /// LilyPond 2.24.1 bagpipe.ly; after high G and high A: counted in 277 tunes.
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

    /// What is wrong with a row of parts, told by where in it and by what the part is for.
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
        // a tone is no gracenote even where its finger could be lifted, nor a tap a lift
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

    /// A gracenote that a note cannot lift is tapped there: a strike.
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

    /// That its first note sounds already, so that the full form is needed, is said of a half form from
    /// its own note and of nothing else.
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
}
