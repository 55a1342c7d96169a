//! Reads the fields of a mapping, and plain values: texts, words, numbers, notes.

use super::{LONGEST_NAME, Reader};
use crate::chanter::Note;
use crate::drill::problem::{Place, ProblemKind};
use crate::drill::value::TuneHead;
use crate::drill::yaml::{Text, Tree, Value, shortened};
use crate::units::{Fraction, parse_fraction};
use crate::wording;

/// The most unknown fields of one mapping that are compared with the known fields.
const MOST_SLIPS: usize = 50;

/// The entries of a mapping that have known names.
pub(super) struct Fields<'a> {
    pub(super) place: Place,
    entries: Vec<(&'static str, &'a Tree)>,
}

impl<'a> Fields<'a> {
    pub(super) fn get(&self, name: &str) -> Option<&'a Tree> {
        self.entries
            .iter()
            .find(|(field, _)| *field == name)
            .map(|(_, tree)| *tree)
            .filter(|tree| !tree.is_nothing())
    }
}

impl Reader {
    pub(super) fn fields<'a>(
        &mut self,
        tree: &'a Tree,
        known: &'static [&'static str],
        of: &'static str,
        field: &str,
    ) -> Option<Fields<'a>> {
        let Value::Map(entries) = &tree.value else {
            self.tell(
                tree.place,
                ProblemKind::WrongShape {
                    field: field.to_owned(),
                    found: tree.described(),
                    expected: "a mapping of fields",
                },
            );
            return None;
        };
        let mut found = Vec::new();
        let mut misspelt = Vec::new();
        for (key, value) in entries {
            let name = match &key.value {
                Value::Scalar(text) => text.string.as_str(),
                _ => "",
            };
            if let Some(field) = known.iter().find(|field| **field == name) {
                found.push((*field, value));
            } else {
                // Thousands of unknown fields are not spelling mistakes but a hostile file.
                let nearest = (misspelt.len() < MOST_SLIPS)
                    .then(|| wording::nearest(name, known.iter().copied()))
                    .flatten();
                misspelt.push((nearest, value));
                self.tell(
                    key.place,
                    ProblemKind::UnknownField {
                        field: shortened(name),
                        of,
                        nearest,
                        known,
                    },
                );
            }
        }
        // A misspelt field is read as the field it was meant to be, so that field is not reported
        // as missing.
        for (nearest, value) in misspelt {
            if let Some(meant) = nearest
                && found.iter().all(|(field, _)| *field != meant)
            {
                found.push((meant, value));
            }
        }
        Some(Fields {
            place: tree.place,
            entries: found,
        })
    }

    pub(super) fn scalar<'a>(
        &mut self,
        tree: &'a Tree,
        field: &'static str,
        expected: &'static str,
    ) -> Option<&'a Text> {
        if let Value::Scalar(text) = &tree.value {
            return Some(text);
        }
        self.tell(
            tree.place,
            ProblemKind::WrongShape {
                field: field.to_owned(),
                found: tree.described(),
                expected,
            },
        );
        None
    }

    /// Reads a text that can be shown on a terminal.
    pub(super) fn text(&mut self, tree: &Tree, field: &'static str, most: usize) -> Option<String> {
        let text = self.scalar(tree, field, "text")?;
        let shown = text.string.trim();
        if shown.is_empty() {
            self.tell(tree.place, ProblemKind::BlankText { field });
            return None;
        }
        let length = shown.chars().count();
        if length > most {
            self.tell(
                tree.place,
                ProblemKind::LongText {
                    field,
                    length,
                    most,
                },
            );
            return None;
        }
        let unsafe_sign = shown
            .chars()
            .find(|sign| wording::is_unseen(*sign) && *sign != '\n');
        if let Some(sign) = unsafe_sign {
            self.tell(
                tree.place,
                ProblemKind::Control {
                    field,
                    code: u32::from(sign),
                },
            );
            return None;
        }
        Some(shown.split_whitespace().collect::<Vec<_>>().join(" "))
    }

    pub(super) fn optional_text(
        &mut self,
        fields: &Fields,
        field: &'static str,
        most: usize,
    ) -> Option<String> {
        let tree = fields.get(field)?;
        self.text(tree, field, most)
    }

    /// Reads the fields at the head of a tune other than its title.
    pub(super) fn head(&mut self, fields: &Fields) -> TuneHead {
        let mut also = Vec::new();
        if let Some(tree) = fields.get("also") {
            let items: Vec<&Tree> = match &tree.value {
                Value::List(items) => items.iter().collect(),
                _ => vec![tree],
            };
            for item in items {
                also.extend(self.text(item, "also", LONGEST_NAME));
            }
        }
        TuneHead {
            also,
            kind: self.optional_text(fields, "kind", LONGEST_NAME),
            composer: self.optional_text(fields, "composer", LONGEST_NAME),
            origin: self.optional_text(fields, "origin", LONGEST_NAME),
        }
    }

    pub(super) fn one_of<T: Copy>(
        &mut self,
        fields: &Fields,
        field: &'static str,
        choices: &'static [&'static str],
        values: &[T],
    ) -> Option<T> {
        let tree = fields.get(field)?;
        let found = self.scalar(tree, field, "a word")?.string.trim().to_owned();
        let plain = |text: &str| text.to_lowercase().replace(['-', '_'], " ");
        if let Some(at) = choices.iter().position(|c| plain(c) == plain(&found)) {
            return values.get(at).copied();
        }
        self.tell(
            tree.place,
            ProblemKind::NotOneOf {
                field,
                nearest: wording::nearest(&found, choices.iter().copied()),
                found: shortened(&found),
                choices,
            },
        );
        None
    }

    pub(super) fn fraction(&mut self, tree: &Tree, field: &'static str) -> Option<Fraction> {
        let text = self.scalar(tree, field, "a number")?;
        match parse_fraction(&text.string) {
            Ok(value) => Some(value),
            Err(error) => {
                self.tell(tree.place, ProblemKind::BadNumber { field, error });
                None
            }
        }
    }

    pub(super) fn fraction_between(
        &mut self,
        tree: &Tree,
        field: &'static str,
        range: std::ops::RangeInclusive<Fraction>,
        words: &'static str,
    ) -> Option<Fraction> {
        let value = self.fraction(tree, field)?;
        if range.contains(&value) {
            return Some(value);
        }
        self.tell(
            tree.place,
            ProblemKind::OutOfRange {
                field,
                found: tree.described(),
                range: words,
            },
        );
        None
    }

    pub(super) fn whole(
        &mut self,
        fields: &Fields,
        field: &'static str,
        range: std::ops::RangeInclusive<u32>,
        words: &'static str,
        usual: u32,
    ) -> u32 {
        let Some(tree) = fields.get(field) else {
            return usual;
        };
        let found = self
            .scalar(tree, field, words)
            .map(|text| text.string.trim().parse::<u32>());
        match found {
            Some(Ok(value)) if range.contains(&value) => value,
            Some(_) => {
                self.tell(
                    tree.place,
                    ProblemKind::OutOfRange {
                        field,
                        found: tree.described(),
                        range: words,
                    },
                );
                usual
            }
            None => usual,
        }
    }

    pub(super) fn names<'a>(
        &mut self,
        tree: &'a Tree,
        field: &'static str,
    ) -> Vec<(&'a Tree, String)> {
        let items: Vec<&Tree> = match &tree.value {
            Value::List(items) => items.iter().collect(),
            _ => vec![tree],
        };
        let mut names = Vec::new();
        for item in items {
            if let Some(text) = self.scalar(item, field, "a name or a list of names") {
                names.push((item, text.string.trim().to_owned()));
            }
        }
        names
    }

    pub(super) fn notes(&mut self, fields: &Fields, field: &'static str) -> Option<Vec<Note>> {
        let tree = fields.get(field)?;
        let mut notes = Vec::new();
        for (item, name) in self.names(tree, field) {
            match Note::parse(&name) {
                Ok(note) => notes.push(note),
                Err(mut error) => {
                    error.found = shortened(&error.found);
                    self.tell(item.place, ProblemKind::BadNote { error });
                }
            }
        }
        Some(notes).filter(|notes| !notes.is_empty())
    }
}
