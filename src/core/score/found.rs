//! Finds the movements in a score.

use super::notes::{Score, ScoreGroup};
use crate::chanter::Note;
use crate::movement::{Context, Movement, Part, difficulty, recognise};

/// A group of gracenotes with the notes around it, and every place where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// The movement, when it is a known one.
    pub movement: Option<Movement>,
    /// Its parts.
    pub parts: Vec<Part>,
    /// The notes before and after it.
    pub context: Context,
    /// Every place where it stands: written bar (from 1, a pickup is 0) and melody note in that bar
    /// (from 1), in the order of the music.
    pub places: Vec<(u16, u8)>,
    /// Its difficulty; a larger number is harder.
    pub difficulty: u32,
}

impl Found {
    /// The notes of its parts, in order.
    pub fn gracenotes(&self) -> Vec<Note> {
        self.parts.iter().map(|part| part.note).collect()
    }
}

/// Every movement of a score in each of its contexts, the hardest first. The same group between the
/// same notes is listed once with all its places. Music that is played again in a repeat counts
/// once.
pub fn movements(score: &Score) -> Vec<Found> {
    let mut found: Vec<Found> = Vec::new();
    let mut before: Option<Note> = None;
    for note in score.notes.iter().filter(|note| !note.continues) {
        let context = Context {
            before: before.replace(note.note),
            after: note.note,
        };
        let parts = parts(&note.group);
        if parts.is_empty() {
            continue;
        }
        let place = (note.id.bar, note.id.note);
        match found
            .iter_mut()
            .find(|known| known.context == context && known.parts == parts)
        {
            Some(known) => {
                if !known.places.contains(&place) {
                    known.places.push(place);
                }
            }
            None => found.push(Found {
                // A stage's own opening gracenote is not an exercise in a movement, but it has a
                // movement's name.
                movement: note.group.movement.or_else(|| {
                    let gracenotes: Vec<Note> = parts.iter().map(|part| part.note).collect();
                    recognise(&gracenotes, context).names.first().copied()
                }),
                difficulty: difficulty(&parts, context),
                parts,
                context,
                places: vec![place],
            }),
        }
    }
    found.sort_by_key(|known| {
        let times = known.places.len();
        (
            std::cmp::Reverse(known.difficulty),
            std::cmp::Reverse(times),
        )
    });
    found
}

fn parts(group: &ScoreGroup) -> Vec<Part> {
    group
        .parts
        .iter()
        .map(|part| Part {
            note: part.note,
            role: part.role,
            held: part.held.is_some(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::read_music;
    use crate::movement::Schools;
    use crate::rhythm::Metre;
    use crate::score::resolve_music;
    use crate::units::Beats;

    /// A drill's own opening gracenote is a known movement and is listed under its name.
    #[test]
    fn every_gracenote_of_the_built_in_drills_has_a_name() {
        let mut groups = 0;
        for file in crate::drill::BUILT_IN {
            let drill = crate::drill::read(file.text.as_bytes())
                .0
                .expect("it reads");
            for stage in &drill.stages {
                let score = resolve_music(&stage.music, Beats::ZERO, &drill.schools);
                for found in movements(&score) {
                    assert!(found.movement.is_some(), "{}: {found:?}", file.name);
                    groups += 1;
                }
            }
        }
        assert!(groups > 100);
    }

    /// The list shows the hardest movement first (a taorluath before a gracenote) and counts a
    /// repeated part once.
    #[test]
    fn the_hardest_comes_first_and_a_repeat_counts_once() {
        let text = "|:{g}A2 {GdGe}A2 {gcd}c2 e2|{g}A2 {GdGe}A2 {GdG}c4:|";
        let metre = Metre::FOUR_FOUR;
        let (music, problems) = read_music(text, metre, metre.default_unit(), "");
        assert_eq!(problems, []);
        let score = resolve_music(&music, Beats::ZERO, &Schools::none());
        let found = movements(&score);
        let names: Vec<&str> = found
            .iter()
            .filter_map(|found| found.movement.map(Movement::name))
            .collect();
        assert_eq!(names[..3], ["taorluath", "grip", "doubling"]);
        assert_eq!(names.last(), Some(&"hg-gracenote"));
        let taorluath = found
            .iter()
            .find(|found| {
                found
                    .movement
                    .is_some_and(|name| name.name() == "taorluath")
            })
            .expect("it is there");
        assert_eq!(taorluath.places, [(1, 2), (2, 2)]);
        assert_eq!(
            taorluath.gracenotes(),
            [Note::LowG, Note::D, Note::LowG, Note::E]
        );
    }
}
