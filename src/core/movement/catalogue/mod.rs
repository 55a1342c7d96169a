//! The catalogue of movements in three tables, one row for each movement.
//!
//! A row says which parts stand between which notes, under which school, how the movement is
//! taught, and what its source is. It does not check that the parts can be played; `resolve` does
//! that.

mod gracenotes;
mod light;
mod names;
mod pibroch;
mod teaching;
mod tunes;

pub(super) use names::named;
pub use names::{Named, UnknownMovement, find, find_said, names_of_schools};
pub(super) use teaching::{Pace, Teaching, When};
pub use tunes::{TuneCount, tune_counts};

use super::pattern::{NoteSet, Pattern};
use super::school::School;
use crate::chanter::Note;
use std::sync::LazyLock;

/// The kind of a movement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Family {
    /// One gracenote.
    Gracenote,
    /// A note sounded twice, opened and closed by gracenotes.
    Doubling,
    /// Taps of fingers.
    Strike,
    /// A note sounded twice, with a tap.
    Shake,
    /// A note sounded three times, each time with another gracenote.
    Triplet,
    /// A note opened and closed by a grip.
    Catch,
    /// A run of gracenotes into one note.
    Throw,
    /// Two taps of the little finger on low A.
    Birl,
    /// Two low Gs and the movements that are built on them.
    Grip,
    /// Movements of pibroch.
    Pibroch,
    /// A figure of melody notes, not one gracenote group.
    Figure,
}

impl Family {
    /// The plural for headings: `gracenotes`, `doublings` …
    pub fn heading(self) -> &'static str {
        match self {
            Self::Gracenote => "single gracenotes",
            Self::Doubling => "doublings",
            Self::Strike => "strikes",
            Self::Shake => "shakes",
            Self::Triplet => "triplets",
            Self::Catch => "catches",
            Self::Throw => "throws",
            Self::Birl => "birls",
            Self::Grip => "grips, taorluaths and crunluaths",
            Self::Pibroch => "movements of pibroch",
            Self::Figure => "figures of melody notes",
        }
    }
}

/// Which part of the movement falls on the beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Timing {
    /// The first part is on the beat: the movement takes its time from the closing note.
    From,
    /// The closing note is on the beat: the movement takes its time from the note before.
    Until,
    /// The first separating gracenote is on the beat.
    AtFirstSeparating,
}

/// A form of a movement: its parts in some contexts.
#[derive(Debug, Clone, Copy)]
pub(super) struct Form {
    from: &'static str,
    to: &'static str,
    parts: &'static str,
    school: Option<&'static str>,
    replaced: Option<&'static str>,
}

/// The form with these parts between these sets of notes.
const fn form(from: &'static str, to: &'static str, parts: &'static str) -> Form {
    Form {
        from,
        to,
        parts,
        school: None,
        replaced: None,
    }
}

impl Form {
    /// Makes this form one that only one school plays.
    const fn school(mut self, school: School) -> Self {
        self.school = Some(school.name);
        self
    }

    /// Makes this form one that replaces the usual form, and gives the reason.
    const fn because(mut self, why: &'static str) -> Self {
        self.replaced = Some(why);
        self
    }
}

/// One movement.
#[derive(Debug)]
pub(super) struct Row {
    pub(super) name: &'static str,
    pub(super) spoken: &'static str,
    /// Other names the trade has for it.
    pub(super) also: &'static [&'static str],
    pub(super) family: Family,
    pub(super) source: &'static str,
    forms: &'static [Form],
    pub(super) timing: Timing,
    pub(super) timings: &'static [(School, Timing)],
    pub(super) schools: &'static [School],
    /// Movements to play when this one cannot be played, the best first.
    pub(super) instead: &'static [&'static str],
    pub(super) teaching: Teaching,
}

impl Row {
    /// The same row with this teaching.
    const fn taught(mut self, teaching: Teaching) -> Self {
        self.teaching = teaching;
        self
    }
}

/// A form in the catalogue's notation. A set of notes is `any`, `not LG D`, `LG..F` or a list of
/// notes. In the parts `N` is the closing note, `(c)` the gracenote that closes a doubling on it,
/// `(i)` the one inside a shake, `(s)` the shake's strike, `~` a held tone, and `|` the beat when
/// it differs from the row's timing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub struct FormRow {
    /// The set of notes before the movement.
    pub from: &'static str,
    /// The set of closing notes.
    pub to: &'static str,
    /// The pattern of its parts.
    pub parts: &'static str,
    /// The only school that plays it; none when it belongs to no school.
    pub school: Option<&'static str>,
    /// Why it replaces the usual form; none when it is the usual form.
    pub why: Option<&'static str>,
}

/// A form whose sets and pattern have been parsed.
#[derive(Debug)]
pub(super) struct ReadForm {
    pub(super) from: NoteSet,
    pub(super) to: NoteSet,
    pub(super) pattern: Pattern,
    pub(super) school: Option<&'static str>,
    pub(super) replaced: Option<&'static str>,
}

struct ReadRow {
    row: &'static Row,
    forms: Vec<ReadForm>,
}

static CATALOGUE: LazyLock<Vec<ReadRow>> = LazyLock::new(|| {
    [gracenotes::ROWS, light::ROWS, pibroch::ROWS]
        .into_iter()
        .flatten()
        .map(|row| ReadRow {
            row,
            // A form that cannot be parsed is left out; a test checks that there are none.
            forms: row.forms.iter().filter_map(read).collect(),
        })
        .collect()
});

fn read(form: &Form) -> Option<ReadForm> {
    Some(ReadForm {
        from: NoteSet::read(form.from)?,
        to: NoteSet::read(form.to)?,
        pattern: Pattern::read(form.parts)?,
        school: form.school,
        replaced: form.replaced,
    })
}

/// A row of the catalogue.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Movement(u8);

impl Movement {
    /// Every movement, in the order of the catalogue.
    pub fn all() -> impl Iterator<Item = Self> {
        (0..CATALOGUE.len() as u8).map(Self)
    }

    /// The name in kebab-case: `grip`, `throw-on-d`, `d-gracenote`.
    pub fn name(self) -> &'static str {
        self.row().name
    }

    /// Its name inside a sentence: `grip`, `throw on D`, `D gracenote`.
    pub fn spoken(self) -> &'static str {
        self.row().spoken
    }

    /// Other names that `find` understands.
    pub fn also(self) -> &'static [&'static str] {
        self.row().also
    }

    /// Its kind.
    pub fn family(self) -> Family {
        self.row().family
    }

    /// The schools whose forms or timing differ.
    pub fn schools(self) -> &'static [School] {
        self.row().schools
    }

    /// The source of the row.
    pub fn source(self) -> &'static str {
        self.row().source
    }

    /// The closing notes it can have without any school, low to high.
    pub fn closes_on(self) -> Vec<Note> {
        let notes: std::collections::BTreeSet<Note> = self
            .forms()
            .iter()
            .filter(|form| form.school.is_none())
            .flat_map(|form| form.to.notes())
            .collect();
        notes.into_iter().collect()
    }

    /// Its forms as the catalogue has them; the schools' forms come first.
    pub fn table(self) -> Vec<FormRow> {
        let row = self.row();
        row.forms
            .iter()
            .map(|form| FormRow {
                from: form.from,
                to: form.to,
                parts: form.parts,
                school: form.school,
                why: form.replaced,
            })
            .collect()
    }

    /// What its row says about teaching it.
    pub(super) fn teaching(self) -> &'static Teaching {
        &self.row().teaching
    }

    pub(super) fn row(self) -> &'static Row {
        CATALOGUE[usize::from(self.0)].row
    }

    pub(super) fn forms(self) -> &'static [ReadForm] {
        &CATALOGUE[usize::from(self.0)].forms
    }
}

impl serde::Serialize for Movement {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}
impl std::fmt::Display for Movement {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A mistake in the notation would silently remove a form from the catalogue.
    #[test]
    fn every_form_reads() {
        for movement in Movement::all() {
            for form in movement.row().forms {
                assert!(read(form).is_some(), "{movement}: {form:?}");
            }
        }
    }

    /// A misspelled name would silently drop out of the movements to practise first, or of those to
    /// play instead.
    #[test]
    fn every_movement_that_a_row_names_is_in_the_catalogue() {
        for movement in Movement::all() {
            let row = movement.row();
            let made_of = row.teaching.made_of.iter().flat_map(|(_, names)| *names);
            for name in row.instead.iter().chain(made_of) {
                let found = find(name).expect("a row names it");
                assert_eq!(found.name(), *name, "{movement}");
                assert_ne!(found, movement, "{movement} comes before itself");
            }
        }
    }

    #[test]
    fn every_name_finds_its_row_and_no_other() {
        let mut seen = std::collections::HashSet::new();
        for movement in Movement::all() {
            for name in std::iter::once(movement.name()).chain(movement.also().iter().copied()) {
                assert_eq!(find(name), Ok(movement), "{name}");
                assert!(seen.insert(name), "{name} stands twice");
            }
            assert_eq!(
                find(movement.spoken()),
                Ok(movement),
                "{}",
                movement.spoken()
            );
            assert!(!movement.source().is_empty(), "{movement} cites nothing");
        }
    }

    /// A player chooses from the schools in this list. A form or timing of an unlisted school could
    /// never be chosen, and a listed school without effect would mislead.
    #[test]
    fn a_row_lists_exactly_the_schools_it_knows() {
        for movement in Movement::all() {
            let row = movement.row();
            let used: std::collections::BTreeSet<&str> = row
                .forms
                .iter()
                .filter_map(|form| form.school)
                .chain(row.timings.iter().map(|(school, _)| school.name))
                .collect();
            let listed: std::collections::BTreeSet<&str> =
                row.schools.iter().map(|school| school.name).collect();
            assert_eq!(used, listed, "{movement}");
        }
    }
}
