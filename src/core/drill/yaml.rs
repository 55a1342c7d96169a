//! Reads YAML text into a tree with positions, and writes documents as YAML. No other file knows
//! YAML.
//!
//! Reading uses a maintained event parser that gives positions; writing uses serde. Depth, aliases
//! and size are limited, so that no file can exhaust memory or crash the program.

use super::problem::{Place, Problem, ProblemKind, tell};
use crate::wording::is_unseen;
use saphyr_parser::{Event, Parser, ScalarStyle, Span};
use serde::Serialize;
use std::collections::HashSet;

/// The deepest nesting that is read; a drill needs four levels.
const DEEPEST: usize = 64;
/// The most values that are read; the longest drill that can be played needs a tenth.
const MOST_VALUES: usize = 20_000;

/// A value with its place in the file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tree {
    pub(super) place: Place,
    pub(super) value: Value,
}

/// A YAML value before its meaning is known.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    /// Any scalar; a quoted one is always text.
    Scalar(Text),
    List(Vec<Tree>),
    Map(Vec<(Tree, Tree)>),
}

/// A scalar's text, and where its characters are in the file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Text {
    pub(super) string: String,
    pub(super) plain: bool,
    /// The first line and column of the content, and the column at which later lines begin.
    start: (usize, usize),
    indent: usize,
}

impl Text {
    /// Finds the places of ranges of characters in one pass; ranges must come in ascending order of
    /// their beginnings.
    pub(super) fn places(&self) -> Places<'_> {
        Places {
            text: self,
            signs: self.string.chars(),
            offset: 0,
            line: 0,
            column: 0,
        }
    }
}

/// Finds where characters of a text are in the file. Queries must come in ascending order.
pub(super) struct Places<'a> {
    text: &'a Text,
    signs: std::str::Chars<'a>,
    offset: usize,
    line: usize,
    column: usize,
}

impl Places<'_> {
    /// The place of a range of characters that does not begin before the previous one.
    pub(super) fn of(&mut self, start: usize, end: usize) -> Place {
        while self.offset < start
            && let Some(sign) = self.signs.next()
        {
            self.offset += 1;
            self.column += 1;
            if sign == '\n' {
                self.line += 1;
                self.column = 0;
            }
        }
        let first = if self.line == 0 {
            self.text.start.1
        } else {
            self.text.indent
        };
        Place {
            line: self.text.start.0 + self.line,
            column: first + self.column,
            width: end.saturating_sub(start).max(1),
        }
    }
}

impl Tree {
    /// The kind of value that this is, for a message.
    pub(super) fn described(&self) -> String {
        match &self.value {
            Value::Scalar(text) if is_null(text) => "nothing".to_owned(),
            Value::Scalar(text) => format!("`{}`", shortened(&text.string)),
            Value::List(_) => "a list".to_owned(),
            Value::Map(_) => "a mapping".to_owned(),
        }
    }

    /// True when the value is empty or null.
    pub(super) fn is_nothing(&self) -> bool {
        matches!(&self.value, Value::Scalar(text) if is_null(text))
    }
}

fn is_null(text: &Text) -> bool {
    text.plain && matches!(text.string.as_str(), "" | "~" | "null")
}

/// A text shortened to fit into a message.
pub(super) fn shortened(text: &str) -> String {
    const MOST: usize = 40;
    let clean = text
        .chars()
        .map(|sign| if is_unseen(sign) { '·' } else { sign });
    if text.chars().nth(MOST).is_none() {
        clean.collect()
    } else {
        clean.take(MOST - 1).chain(['…']).collect()
    }
}

/// A list or mapping whose end is not reached yet.
struct Open {
    tree: Tree,
    key: Option<Tree>,
    /// The keys read so far, to find duplicates.
    keys: HashSet<String>,
}

/// Reads one document. It stops at the first syntax error, because the parser would return the same
/// error endlessly. Other problems are reported and reading continues.
pub(super) fn read_tree(source: &str, problems: &mut Vec<Problem>) -> Option<Tree> {
    let lines: Vec<&str> = source.lines().collect();
    let mut open: Vec<Open> = Vec::new();
    let mut root = None;
    let mut documents = 0;
    let mut values = 0;
    for event in Parser::new_from_str(source) {
        let (event, span) = match event {
            Ok(event) => event,
            Err(error) => {
                let marker = error.marker();
                let kind = if error.info().contains("recursion limit") {
                    ProblemKind::TooDeep
                } else {
                    ProblemKind::Syntax {
                        found: error.info().to_owned(),
                    }
                };
                problems.push(Problem::new(
                    Place {
                        line: marker.line().max(1),
                        column: marker.col() + 1,
                        width: 1,
                    },
                    kind,
                ));
                return None;
            }
        };
        let place = place_of(span);
        values += 1;
        if values > MOST_VALUES {
            let kind = ProblemKind::TooManyValues { most: MOST_VALUES };
            tell(problems, Problem::new(place, kind));
            return None;
        }
        match event {
            Event::DocumentStart(_) => {
                documents += 1;
                if documents > 1 {
                    problems.push(Problem::new(place, ProblemKind::SecondDocument));
                    return root;
                }
            }
            Event::Alias(_) => {
                problems.push(Problem::new(place, ProblemKind::Alias));
                return None;
            }
            Event::Scalar(text, style, _, _) => {
                let text = scalar(&text, style, span, &lines);
                close(
                    &mut open,
                    &mut root,
                    Tree {
                        place,
                        value: Value::Scalar(text),
                    },
                    problems,
                );
            }
            Event::SequenceStart(..) | Event::MappingStart(..) => {
                if open.len() >= DEEPEST {
                    problems.push(Problem::new(place, ProblemKind::TooDeep));
                    return None;
                }
                let value = if matches!(event, Event::SequenceStart(..)) {
                    Value::List(Vec::new())
                } else {
                    Value::Map(Vec::new())
                };
                open.push(Open {
                    tree: Tree { place, value },
                    key: None,
                    keys: HashSet::new(),
                });
            }
            Event::SequenceEnd | Event::MappingEnd => {
                if let Some(done) = open.pop() {
                    close(&mut open, &mut root, done.tree, problems);
                }
            }
            Event::Nothing | Event::StreamStart | Event::StreamEnd | Event::DocumentEnd => {}
        }
    }
    root
}

/// Adds a finished value to the list or mapping that contains it.
fn close(open: &mut [Open], root: &mut Option<Tree>, tree: Tree, problems: &mut Vec<Problem>) {
    let Some(parent) = open.last_mut() else {
        *root = Some(tree);
        return;
    };
    match &mut parent.tree.value {
        Value::List(items) => items.push(tree),
        Value::Map(entries) => match parent.key.take() {
            None => parent.key = Some(tree),
            Some(key) => {
                let again = match &key.value {
                    Value::Scalar(text) => !parent.keys.insert(text.string.clone()),
                    _ => false,
                };
                if again {
                    let kind = ProblemKind::DuplicateField {
                        field: key.described(),
                    };
                    tell(problems, Problem::new(key.place, kind));
                } else {
                    entries.push((key, tree));
                }
            }
        },
        Value::Scalar(_) => {}
    }
}

fn place_of(span: Span) -> Place {
    let width = if span.end.line() == span.start.line() {
        span.end.col().saturating_sub(span.start.col())
    } else {
        1
    };
    Place {
        line: span.start.line().max(1),
        column: span.start.col() + 1,
        width: width.max(1),
    }
}

fn scalar(text: &str, style: ScalarStyle, span: Span, lines: &[&str]) -> Text {
    let line = span.start.line().max(1);
    let column = span.start.col() + 1;
    let (start, indent) = match style {
        ScalarStyle::Plain => ((line, column), column),
        ScalarStyle::SingleQuoted | ScalarStyle::DoubleQuoted => ((line, column + 1), column),
        ScalarStyle::Literal | ScalarStyle::Folded => {
            // The span begins with the content. Blank lines at its beginning do not show the
            // indent.
            let first = (line - 1..lines.len())
                .find(|index| {
                    lines
                        .get(*index)
                        .is_some_and(|text| !text.trim().is_empty())
                })
                .unwrap_or(line - 1);
            let indent = lines.get(first).map_or(0, |text| {
                text.chars().take_while(|sign| *sign == ' ').count()
            });
            ((line, indent + 1), indent + 1)
        }
    };
    Text {
        string: text.to_owned(),
        plain: style == ScalarStyle::Plain,
        start,
        indent,
    }
}

/// Writes a document as YAML.
///
/// # Errors
/// The document has a value that YAML cannot hold; none of the program's documents has one.
pub fn write<T: Serialize>(document: &T) -> Result<String, String> {
    serde_yaml::to_string(document).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tree(source: &str) -> (Option<Tree>, Vec<Problem>) {
        let mut problems = Vec::new();
        let tree = read_tree(source, &mut problems);
        (tree, problems)
    }

    #[test]
    fn a_block_of_text_keeps_its_places() {
        let (tree, problems) = tree("title: x\nmusic: |\n  {g}d2 G2|\n  A4|\n");
        assert!(problems.is_empty());
        let Some(Value::Map(entries)) = tree.map(|tree| tree.value) else {
            panic!("a mapping was expected");
        };
        let Value::Scalar(text) = &entries[1].1.value else {
            panic!("a scalar was expected");
        };
        let offset = text.string.find("A4").expect("it is there");
        assert_eq!(text.string, "{g}d2 G2|\nA4|\n");
        assert_eq!(
            text.places().of(offset, offset + 2),
            Place {
                line: 4,
                column: 3,
                width: 2
            }
        );
        assert_eq!(
            text.places().of(0, 3),
            Place {
                line: 3,
                column: 3,
                width: 3
            }
        );
    }

    /// Places are found in one pass. Counting each place from the beginning would take minutes for
    /// a large file.
    #[test]
    fn places_are_found_in_one_pass() {
        let line = "$$$$$$$$$\n";
        let text = Text {
            string: line.repeat(1000),
            plain: false,
            start: (3, 3),
            indent: 3,
        };
        let mut places = text.places();
        for offset in 0..text.string.len() {
            let place = places.of(offset, offset + 1);
            assert_eq!(
                (place.line, place.column),
                (3 + offset / 10, 3 + offset % 10)
            );
            assert_eq!(places.offset, offset, "no sign is gone through twice");
        }
    }

    #[test]
    fn a_drill_of_a_million_values_is_read_no_further_than_any_drill() {
        let (tree, problems) = tree(&"- x\n".repeat(100_000));
        assert!(tree.is_none());
        assert_eq!(
            problems[0].kind,
            ProblemKind::TooManyValues { most: MOST_VALUES }
        );
        assert!(problems[0].place.line <= MOST_VALUES);
    }

    /// If two YAML readers differed on our own files, the schema would describe other values than
    /// those read.
    #[test]
    fn serde_reads_every_built_in_drill_to_the_same_values() {
        for built in crate::drill::BUILT_IN {
            let document: crate::drill::DrillDocument =
                serde_yaml::from_str(built.text).expect("serde reads it");
            let (drill, _) = crate::drill::read(built.text.as_bytes());
            let drill = drill.expect("it reads");
            assert_eq!(document.title, drill.title);
            assert_eq!(document.listen_for, drill.listen_for);
            assert_eq!(document.clean.unwrap_or(5), drill.clean);
            if let Some(stages) = &document.stages {
                let names: Vec<&str> = stages.iter().map(|stage| stage.name.as_str()).collect();
                let read: Vec<&str> = drill.stages.iter().map(|s| s.name.as_str()).collect();
                assert_eq!(names, read, "{}", built.name);
            }
            if let Some(ladder) = &document.ladder {
                assert_eq!(ladder.from.text(), drill.ladder.from().to_string());
                assert_eq!(ladder.to.text(), drill.ladder.to().to_string());
            }
        }
    }

    #[test]
    fn an_alias_bomb_costs_one_message() {
        let (tree, problems) = tree("a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n");
        assert!(tree.is_none());
        assert_eq!(problems.len(), 1);
        assert_eq!(problems[0].kind, ProblemKind::Alias);
    }

    #[test]
    fn a_thousand_brackets_are_too_deep() {
        let (tree, problems) = tree(&"[".repeat(1000));
        assert!(tree.is_none());
        assert_eq!(problems[0].kind, ProblemKind::TooDeep);
    }
}
