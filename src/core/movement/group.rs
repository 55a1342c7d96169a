//! A written-out group of gracenotes: which parts are tones, and where the beat falls.

use super::catalogue::Movement;
use super::context::Context;
use super::parts::{Part, Role};
use super::pattern::strikes;
use super::recognise::matches;
use super::resolve::{Resolved, resolve};
use super::school::Schools;
use crate::chanter::{Note, gracenote_sounds};

/// A written-out group in its context.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlacedGroup {
    /// The movement that it is; none when it is not a known one.
    pub movement: Option<Movement>,
    /// The notes before and after it.
    pub context: Context,
    /// Its parts, exactly the written gracenotes.
    pub parts: Vec<Part>,
    /// How many parts, from the first, sound before the beat.
    pub before_beat: usize,
    /// The school whose form of the movement has these gracenotes; none for the usual form.
    pub school: Option<&'static str>,
}

/// Places a written-out group. A known movement is placed as its catalogue row says, under the
/// chosen schools. In an unknown group every note that is lifted or tapped and put back separates.
/// Such a group sounds before the beat when it contains a tone, and on the beat otherwise.
pub fn place_group(gracenotes: &[Note], context: Context, schools: &Schools) -> PlacedGroup {
    if let Some(known) = known(gracenotes, context, schools) {
        return PlacedGroup {
            movement: Some(known.movement),
            context,
            parts: known.parts,
            before_beat: known.before_beat,
            school: known.school,
        };
    }
    let parts = roles(gracenotes, context);
    let runs = parts
        .first()
        .is_some_and(|part| part.role == Role::Sounding && part.note != context.after);
    PlacedGroup {
        movement: None,
        context,
        before_beat: if runs { parts.len() } else { 0 },
        parts,
        school: None,
    }
}

/// The movement that a chosen school plays with these gracenotes, or otherwise the likeliest one.
/// The chosen schools set its timing when they do not change its gracenotes. Whether a tone is held
/// belongs to the written music, which must not change when the catalogue learns new names. So a
/// school removes no held tone, and a school that is not chosen holds none.
///
/// The same gracenotes may be two movements, one that holds a tone and one that does not, as the
/// hiharin and the birl with D are (LilyPond 2.24.1 bagpipe.ly, birls). Then the kind of tune
/// decides. The notes around them cannot decide: in 277 counted tunes these gracenotes stand 31
/// times, each time between E and low A.
fn known(gracenotes: &[Note], context: Context, schools: &Schools) -> Option<Resolved> {
    let found = matches(gracenotes, context);
    if schools.holds_nothing() {
        return by_schools(
            found.iter().filter(|found| !holds(found)),
            gracenotes,
            schools,
        )
        .or_else(|| by_schools(found.iter(), gracenotes, schools).map(let_go));
    }
    by_schools(found.iter(), gracenotes, schools)
}

/// The one of `found` that a chosen school plays; none when no school decides.
fn by_schools<'a>(
    found: impl Iterator<Item = &'a Resolved> + Clone,
    gracenotes: &[Note],
    schools: &Schools,
) -> Option<Resolved> {
    let decides = |found: &Resolved| {
        let school = found.school.filter(|school| schools.chooses(school))?;
        chosen(found, gracenotes, schools).filter(|resolved| resolved.school == Some(school))
    };
    found
        .clone()
        .take_while(|found| !holds(found))
        .find_map(decides)
        .or_else(|| {
            found
                .clone()
                .find_map(|found| chosen(found, gracenotes, schools))
        })
        .or_else(|| {
            found
                .clone()
                .next()
                .filter(|found| found.school.is_none() || !holds(found))
                .cloned()
        })
}

fn holds(found: &Resolved) -> bool {
    found.parts.iter().any(|part| part.held)
}

/// The resolved movement with no gracenote held.
fn let_go(mut resolved: Resolved) -> Resolved {
    for part in &mut resolved.parts {
        part.held = false;
    }
    resolved
}

/// The movement under the chosen schools; none when they change its gracenotes.
fn chosen(found: &Resolved, gracenotes: &[Note], schools: &Schools) -> Option<Resolved> {
    resolve(found.movement, found.context, schools)
        .played()
        .filter(|resolved| resolved.gracenotes() == gracenotes)
        .cloned()
}

/// Finds the tones and separating gracenotes of an unnamed group, from left to right. A lone
/// gracenote separates. In a longer group a note separates when it can sound, the part before it
/// does not separate, and it is either higher than both its neighbours or a tap between two equal
/// notes.
fn roles(gracenotes: &[Note], context: Context) -> Vec<Part> {
    let mut parts: Vec<Part> = Vec::with_capacity(gracenotes.len());
    for (place, note) in gracenotes.iter().copied().enumerate() {
        let before = if place == 0 {
            context.before
        } else {
            Some(gracenotes[place - 1])
        };
        let after = gracenotes.get(place + 1).copied().unwrap_or(context.after);
        let follows_a_tone = parts.last().is_none_or(|part| part.role == Role::Sounding);
        let lifted = note > after && before.is_none_or(|before| note > before);
        let tapped = note < after && before == Some(after);
        let lone = gracenotes.len() == 1;
        let sounds = gracenote_sounds(note, after) || strikes(after).contains(&note);
        parts.push(
            if lone || (follows_a_tone && sounds && (lifted || tapped)) {
                Part::separating(note)
            } else {
                Part::tone(note)
            },
        );
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::Note::*;
    use crate::movement::pattern::write_parts;

    #[test]
    fn a_known_group_is_placed_by_its_row() {
        let grip = place_group(
            &[LowG, D, LowG],
            Context::between(C, LowA),
            &Schools::none(),
        );
        assert_eq!(write_parts(&grip.parts), "LG (D) LG");
        assert_eq!(grip.before_beat, 3);
        let on_beat = Schools::none().with("grip-on-the-beat").expect("a school");
        let grip = place_group(&[LowG, D, LowG], Context::between(C, LowA), &on_beat);
        assert_eq!(grip.before_beat, 0);
    }

    #[test]
    fn an_unknown_group_keeps_its_notes_and_gets_a_sensible_place() {
        let group = place_group(
            &[LowG, D, LowG, D],
            Context::between(C, LowA),
            &Schools::none(),
        );
        assert_eq!(group.movement, None);
        assert_eq!(write_parts(&group.parts), "LG (D) LG (D)");
        assert_eq!(group.before_beat, 4);
        let lone = place_group(&[D], Context::between(B, D), &Schools::none());
        assert_eq!(lone.parts.len(), 1);
        assert_eq!(lone.before_beat, 0);
    }

    /// From D to D the same gracenotes are a grip under one school and two taps otherwise.
    #[test]
    fn a_chosen_school_decides_which_of_two_names_is_meant() {
        let place = |schools: &Schools| {
            let group = place_group(&[LowG, D, LowG], Context::between(D, D), schools);
            (group.movement.expect("a name").name(), group.before_beat)
        };
        assert_eq!(place(&Schools::none()), ("half-double-strike", 0));
        let kept = Schools::none().with("d-from-d").expect("a school");
        assert_eq!(place(&kept), ("grip", 3));
    }

    /// D, low A, low G, low A, low G is a birl in a march and a hiharin in a ground. Both stand
    /// between E and low A, and only the hiharin holds its first low A.
    #[test]
    fn the_kind_of_tune_tells_a_birl_from_a_hiharin() {
        let place = |gracenotes: &[Note], after: Note, light: bool| {
            let schools = Schools::none().in_light_music(light);
            let group = place_group(gracenotes, Context::between(E, after), &schools);
            (
                group.movement.expect("a name").name(),
                write_parts(&group.parts),
            )
        };
        let row = [D, LowA, LowG, LowA, LowG];
        let told = |name, parts: &str| (name, parts.to_owned());
        assert_eq!(
            place(&row, LowA, false),
            told("hiharin", "(D) LA~ (LG) LA (LG)")
        );
        assert_eq!(place(&row, LowA, true), told("birl", "(D) LA (LG) LA (LG)"));
        // In light music a cadence keeps its name but holds no tone.
        let row = [HighG, E, D];
        assert_eq!(place(&row, C, false), told("cadence", "(HG) E~ D"));
        assert_eq!(place(&row, C, true), told("cadence", "(HG) E D"));
    }

    /// Otherwise a new name would change the written music, and marks would be lost.
    #[test]
    fn a_school_that_is_not_chosen_holds_no_tone() {
        let context = Context::between(LowA, C);
        let plain = place_group(&[E, D], context, &Schools::none());
        assert_eq!(write_parts(&plain.parts), "(E) D");
        let schools = Schools::none()
            .with("cadence-without-hg")
            .expect("a school");
        let held = place_group(&[E, D], context, &schools);
        assert_eq!(write_parts(&held.parts), "E~ D");
    }
}
