//! Reads what all stages are made from: metre, unit, schools, and the movement in its contexts.

use super::fields::Fields;
use super::{Ground, Reader};
use crate::chanter::Note;
use crate::drill::problem::{Place, ProblemKind};
use crate::drill::stages::timed;
use crate::drill::value::MovementLine;
use crate::drill::yaml::shortened;
use crate::movement::{Context, Resolution, Resolved, Schools, find, resolve, write_parts};
use crate::rhythm::Metre;
use crate::units::Fraction;

impl Reader {
    pub(super) fn metre(&mut self, fields: &Fields) -> Metre {
        let Some(tree) = fields.get("metre") else {
            return Metre::FOUR_FOUR;
        };
        let Some(text) = self.scalar(tree, "metre", "a metre such as 4/4") else {
            return Metre::FOUR_FOUR;
        };
        Metre::parse(&text.string).unwrap_or_else(|error| {
            self.tell(
                tree.place,
                ProblemKind::BadMetre {
                    found: shortened(&error.0),
                },
            );
            Metre::FOUR_FOUR
        })
    }

    /// The metre with the drill's own beat, when it has one.
    pub(super) fn beat(&mut self, fields: &Fields, metre: Metre) -> Metre {
        let Some(tree) = fields.get("beat") else {
            return metre;
        };
        let Some(value) = self.fraction(tree, "beat") else {
            return metre;
        };
        metre.with_beat(value).unwrap_or_else(|| {
            self.tell(
                tree.place,
                ProblemKind::BadBeat {
                    found: tree.described(),
                    metre,
                },
            );
            metre
        })
    }

    pub(super) fn unit(&mut self, fields: &Fields, metre: Metre) -> Fraction {
        let usual = metre.default_unit();
        let Some(tree) = fields.get("unit") else {
            return usual;
        };
        let Some(value) = self.fraction(tree, "unit") else {
            return usual;
        };
        let known = [1, 2, 4, 8, 16, 32].map(|below| Fraction::new(1, below));
        if known.contains(&value) {
            return value;
        }
        self.tell(
            tree.place,
            ProblemKind::OutOfRange {
                field: "unit",
                found: tree.described(),
                range: "1, 1/2, 1/4, 1/8, 1/16 or 1/32",
            },
        );
        usual
    }

    pub(super) fn schools(&mut self, fields: &Fields) -> Schools {
        let Some(tree) = fields.get("school") else {
            return self.usual.clone();
        };
        let mut schools = Schools::default();
        for (item, name) in self.names(tree, "school") {
            match schools.clone().with(&name) {
                Ok(more) => schools = more,
                Err(error) => self.tell(
                    item.place,
                    ProblemKind::UnknownSchool {
                        message: error.to_string(),
                    },
                ),
            }
        }
        schools
    }

    pub(super) fn movement(&mut self, fields: &Fields) -> Option<MovementLine> {
        let from = self.notes(fields, "from");
        let to = self.notes(fields, "to");
        let tree = fields.get("movement")?;
        let name = self
            .scalar(tree, "movement", "a movement's name")?
            .string
            .trim()
            .to_owned();
        let movement = match find(&name) {
            Ok(movement) => movement,
            Err(error) => {
                self.tell(
                    tree.place,
                    ProblemKind::UnknownMovement {
                        message: error.to_string(),
                    },
                );
                return None;
            }
        };
        for (field, notes, mend) in [
            (
                "from",
                &from,
                "add `from:`, the note the movement comes from",
            ),
            ("to", &to, "add `to:`, the note or notes it closes on"),
        ] {
            if notes.is_none() && fields.get(field).is_none() {
                self.tell(
                    tree.place,
                    ProblemKind::Missing {
                        field,
                        of: "the movement".to_owned(),
                        mend,
                    },
                );
            }
        }
        Some(MovementLine {
            movement,
            from: from?,
            to: to?,
        })
    }

    /// The movement in each of its contexts: every note before with every closing note.
    pub(super) fn contexts(&mut self, place: Place, ground: &Ground) -> Vec<(Note, Resolved)> {
        let mut contexts = Vec::new();
        let Some(line) = &ground.line else {
            return contexts;
        };
        for from in &line.from {
            for to in &line.to {
                let context = Context::between(*from, *to);
                match resolve(line.movement, context, &ground.schools) {
                    Resolution::Played(resolved) => {
                        contexts.push((*from, timed(resolved, ground.begins)));
                    }
                    Resolution::NotPlayable { why, instead } => self.tell(
                        place,
                        ProblemKind::NotPlayable {
                            movement: line.movement.spoken().to_owned(),
                            from: *from,
                            to: *to,
                            why,
                            instead: instead.map(|instead| {
                                let played = write_parts(&instead.parts);
                                format!("played instead: {}, {played}", instead.movement.spoken())
                            }),
                        },
                    ),
                }
            }
        }
        contexts
    }
}
