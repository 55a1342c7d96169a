//! The names of movements: the catalogue's, and those that players use.
//!
//! A name that players use may say more than the movement: the closing note (`E doubling`), both
//! notes (`hodro`) or a school (`heavy throw`).

use super::{Movement, Row};
use crate::chanter::Note;
use crate::movement::school::{HEAVY_THROW, School};
use crate::wording;

/// A movement that was named, with whatever else its name says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Named {
    /// The movement.
    pub movement: Movement,
    /// The note before; none when the name does not say it.
    pub from: Option<Note>,
    /// The closing note; none when the name does not say it.
    pub to: Option<Note>,
    /// The school; none when the name does not say it.
    pub school: Option<School>,
}

impl Named {
    fn only(movement: Movement) -> Self {
        Self {
            movement,
            from: None,
            to: None,
            school: None,
        }
    }
}

/// Why a text is not the name of a movement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownMovement {
    /// The text that was found.
    pub found: String,
    /// The most similar name; none when no name is similar.
    pub nearest: Option<&'static str>,
    /// Where to look, when the text names something else that the program knows.
    pub elsewhere: Option<&'static str>,
}

impl std::fmt::Display for UnknownMovement {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "`{}` is no movement: ", self.found)?;
        match (self.elsewhere, self.nearest) {
            (Some(elsewhere), _) => f.write_str(elsewhere),
            (None, Some(nearest)) => write!(f, "did you mean `{nearest}`?"),
            (None, None) => f.write_str(
                "expected a name such as `grip`, `taorluath` or `throw-on-d`; `gracerung \
                 movements` lists them",
            ),
        }
    }
}
impl std::error::Error for UnknownMovement {}

/// A name that says more than the movement: a note before or after it, or a school.
struct Said {
    name: &'static str,
    movement: &'static str,
    from: Option<Note>,
    to: Option<Note>,
    school: Option<School>,
}

const fn said(
    name: &'static str,
    movement: &'static str,
    from: Option<Note>,
    to: Option<Note>,
    school: Option<School>,
) -> Said {
    Said {
        name,
        movement,
        from,
        to,
        school,
    }
}

/// The sung names are those of the Campbell canntaireachd, whose a-mach forms put `hiotro` on B and
/// `hodro` on C. `rodin`, the grip with the B gracenote, is from memory, unverified.
const SAID: &[Said] = &[
    said("heavy-throw", "throw-on-d", None, None, Some(HEAVY_THROW)),
    said("heavy-d-throw", "throw-on-d", None, None, Some(HEAVY_THROW)),
    said("light-throw", "throw-on-d", None, None, None),
    said("light-d-throw", "throw-on-d", None, None, None),
    said("rodin", "grip", Some(Note::D), Some(Note::LowA), None),
    said("hiotro", "grip", Some(Note::B), Some(Note::B), None),
    said("hodro", "grip", Some(Note::C), Some(Note::C), None),
];

/// Names that are asked for as movements but are something else, and where that is found.
const ELSEWHERE: &[(&[&str], &str)] = &[
    (
        &["crossing", "crossings", "crossing-noise", "crossing-noises"],
        "a crossing is a change of note; `gracerung movements --crossings` lists what slips in, \
         and `gracerung make crossings` makes a drill",
    ),
    (
        &["piobaireachd", "pibroch", "ceol-mor"],
        "it is a kind of music; `gracerung movements pibroch` lists its movements",
    ),
];

fn plain(name: &str) -> String {
    name.trim().to_lowercase().replace([' ', '_'], "-")
}

/// The movement with exactly this name; none when there is none.
pub(in crate::movement) fn named(name: &str) -> Option<Movement> {
    Movement::all().find(|movement| movement.name() == name)
}

/// Finds a movement by name; capitals do not matter, and words may be joined by spaces or hyphens.
/// A name that says more than the movement is an error here, with the plain name as the nearest
/// one.
///
/// # Errors
/// A text that is not a movement's name; the error has the most similar name.
pub fn find(name: &str) -> Result<Movement, UnknownMovement> {
    let plain = plain(name);
    called(&plain).ok_or_else(|| UnknownMovement {
        found: name.to_owned(),
        nearest: with_more(&plain)
            .map(|said| said.movement.name())
            .or_else(|| nearest(&plain)),
        elsewhere: elsewhere(&plain),
    })
}

/// Finds a movement by the names that players use: its plain names, as in [`find`], or a name that
/// also says the closing note, both notes or the school.
///
/// # Errors
/// A text that is not such a name; the error has the most similar name.
pub fn find_said(name: &str) -> Result<Named, UnknownMovement> {
    let plain = plain(name);
    called(&plain)
        .map(Named::only)
        .or_else(|| with_more(&plain))
        .ok_or_else(|| UnknownMovement {
            found: name.to_owned(),
            nearest: nearest(&plain),
            elsewhere: elsewhere(&plain),
        })
}

/// One name for each movement and school that a name can say together. Such a name has a drill that
/// differs from the movement's own drill.
pub fn names_of_schools() -> Vec<(&'static str, Named)> {
    let mut known: Vec<(&'static str, Named)> = Vec::new();
    for own in SAID.iter().filter(|own| own.school.is_some()) {
        let Some(named) = with_more(own.name) else {
            continue;
        };
        if !known.iter().any(|(_, other)| *other == named) {
            known.push((own.name, named));
        }
    }
    known
}

/// The movement with this plain name; none when there is none.
fn called(plain: &str) -> Option<Movement> {
    named(plain).or_else(|| {
        Movement::all().find(|movement| {
            movement.also().contains(&plain)
                || movement.spoken().to_lowercase().replace(' ', "-") == plain
        })
    })
}

/// The movement of a name that says more than the movement.
fn with_more(plain: &str) -> Option<Named> {
    let table = SAID
        .iter()
        .find(|said| said.name == plain)
        .and_then(|said| {
            Some(Named {
                movement: named(said.movement)?,
                from: said.from,
                to: said.to,
                school: said.school,
            })
        });
    table
        .or_else(|| on_a_note(plain))
        .or_else(|| between_notes(plain))
}

/// Reads `taorluath-from-low-g`, `grip-from-d-to-low-a`, `grip-to-d`.
fn between_notes(plain: &str) -> Option<Named> {
    let (rest, to) = match plain.rsplit_once("-to-") {
        Some((rest, to)) => (rest, Some(Note::parse(to).ok()?)),
        None => (plain, None),
    };
    let (movement, from) = match rest.rsplit_once("-from-") {
        Some((movement, from)) => (movement, Some(Note::parse(from).ok()?)),
        None => (rest, None),
    };
    if from.is_none() && to.is_none() {
        return None;
    }
    let named = called(movement)
        .map(Named::only)
        .or_else(|| on_a_note(movement))?;
    Some(Named {
        from,
        to: to.or(named.to),
        ..named
    })
}

/// Reads `e-doubling`, `doubling-on-e`.
fn on_a_note(plain: &str) -> Option<Named> {
    let written = plain.rsplit_once("-on-");
    let spoken = ["high-g-", "high-a-", "low-g-", "low-a-"]
        .into_iter()
        .find_map(|note| Some((plain.strip_prefix(note)?, note)))
        .or_else(|| {
            plain
                .split_once('-')
                .map(|(note, movement)| (movement, note))
        });
    [written, spoken]
        .into_iter()
        .flatten()
        .find_map(|(movement, note)| {
            let movement = called(movement)?;
            let to = Note::parse(note).ok()?;
            movement.closes_on().contains(&to).then_some(Named {
                to: Some(to),
                ..Named::only(movement)
            })
        })
}

fn elsewhere(plain: &str) -> Option<&'static str> {
    ELSEWHERE
        .iter()
        .find(|(names, _)| names.contains(&plain))
        .map(|(_, where_to)| *where_to)
}

fn nearest(plain: &str) -> Option<&'static str> {
    let names = || {
        let own = Movement::all().flat_map(|movement| {
            let Row { name, also, .. } = movement.row();
            std::iter::once(*name).chain(also.iter().copied())
        });
        own.chain(SAID.iter().map(|said| said.name))
    };
    // More words may follow the movement's name, as in `tarluath low g`. So shorter and shorter
    // beginnings are tried too, each without the last hyphen and what follows it.
    let shorter = |less: &str| less.rsplit_once('-').map(|(less, _)| less.len());
    let less = || {
        let ends = std::iter::successors(shorter(plain), |end| shorter(&plain[..*end]));
        ends.map(|end| &plain[..end])
    };
    wording::nearest(plain, names())
        .or_else(|| less().find_map(called).map(Movement::name))
        .or_else(|| {
            let near = |less| Some((less, wording::nearest(less, names())?));
            let mut found = less().filter_map(near);
            let telling = |(less, name): &(&str, &str)| name.contains('-') || less.len() > 3;
            found.find(telling).map(|(_, name)| name)
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use Note::{B, C, D, E, HighG, LowA, LowG};

    #[track_caller]
    fn check(name: &str, movement: &str, from: Option<Note>, to: Option<Note>) {
        let found = find_said(name).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(found.movement.name(), movement, "{name}");
        assert_eq!((found.from, found.to), (from, to), "{name}");
    }

    /// All these names that players use are found.
    #[test]
    fn what_players_say_is_found() {
        check("E doubling", "doubling", None, Some(E));
        check("doubling on E", "doubling", None, Some(E));
        check("High G doubling", "doubling", None, Some(HighG));
        check("strike on C", "strike", None, Some(C));
        check("throw on D", "throw-on-d", None, None);
        check("D throw", "throw-on-d", None, None);
        check("light throw", "throw-on-d", None, None);
        check("G strike", "gracenote-strike", None, None);
        check("half grip", "half-catch", None, None);
        check("tap", "strike", None, None);
        check("GDE", "gde-triplet", None, None);
        check("rodin", "grip", Some(D), Some(LowA));
        check("hiotro", "grip", Some(B), Some(B));
        check("hodro", "grip", Some(C), Some(C));
        check("peel", "shake", None, None);
        check("lemluath", "grip", None, None);
        check("taorluadh", "taorluath", None, None);
        check("breabach", "taorluath", None, None);
        check("crunluath breabach", "crunluath", None, None);
        check("heavy throw", "throw-on-d", None, None);
        check("taorluath from low G", "taorluath", Some(LowG), None);
        check("grip from D to low A", "grip", Some(D), Some(LowA));
        check("grip to D", "grip", None, Some(D));
        check("E doubling from C", "doubling", Some(C), Some(E));
        let heavy = find_said("heavy throw").expect("a name").school;
        assert_eq!(heavy.map(|school| school.name), Some("heavy-throw"));
        assert_eq!(find_said("light throw").expect("a name").school, None);
    }

    /// A name that says a school is listed once, so that a search for the heavy throw finds its own
    /// drill.
    #[test]
    fn a_school_that_a_name_says_has_one_name_to_be_listed_by() {
        let names: Vec<&str> = names_of_schools().iter().map(|own| own.0).collect();
        assert_eq!(names, ["heavy-throw"]);
    }

    /// A drill file has fields for notes and schools, so its movement must have the plain name.
    #[test]
    fn a_name_that_says_more_is_no_plain_name() {
        let error = find("heavy throw").expect_err("it says a school");
        assert_eq!(error.nearest, Some("throw-on-d"));
        let error = find("E doubling").expect_err("it says a note");
        assert_eq!(error.nearest, Some("doubling"));
    }

    #[test]
    fn what_is_no_movement_is_answered_by_where_to_look() {
        for (name, answer) in [
            ("crossing", "make crossings"),
            ("piobaireachd", "movements pibroch"),
            ("taorluat", "did you mean `taorluath`?"),
            ("hevy throw", "did you mean `heavy-throw`?"),
            ("tarluath low g", "did you mean `taorluath`?"),
            ("taorluath low g", "did you mean `taorluath`?"),
            ("taorluath high a", "did you mean `taorluath`?"),
            ("taorluth D", "did you mean `taorluath`?"),
            ("qqqqqq", "lists them"),
        ] {
            let told = find_said(name).expect_err(name).to_string();
            assert!(told.contains(answer), "{told}");
        }
        // The E gracenote is a movement of its own, and there is no doubling on something that is
        // not a note.
        assert_eq!(find_said("E gracenote").expect("a name").to, None);
        assert!(find_said("H doubling").is_err());
    }
}
