//! Reads an ABC file into a piece.

use super::lines::{line_place, shown};
use super::tune::{Tune, split};
use crate::drill::{LARGEST_FILE, Place, Problem};
use crate::exchange::piece::{Piece, Section, adopted, adopted_at, foreign};

/// The most tunes that are read from one file, as a drill has at most so many stages.
const MOST_TUNES: usize = 64;

/// The most tunes that are read from a book.
const MOST_IN_BOOK: usize = 2000;

/// The most lines that are read: ten bytes each in the largest file.
const MOST_LINES: usize = 100_000;

/// Reads an ABC file: each tune a stage of one drill, the first one's title the drill's. That tunes
/// of different titles come together is told.
pub fn read(bytes: &[u8]) -> (Option<Piece>, Vec<Problem>) {
    read_tune(bytes, None)
}

/// Reads a file as [`read`] does, but only the tune with this number (`X:`).
pub fn read_tune(bytes: &[u8], number: Option<u32>) -> (Option<Piece>, Vec<Problem>) {
    let mut problems = Vec::new();
    let Some(source) = source_of(bytes, &mut problems) else {
        return (None, problems);
    };
    let mut tunes = split(&source, &mut problems);
    if let Some(number) = number {
        // what stands outside that tune was not asked for
        problems.clear();
        let known: Vec<String> = tunes.iter().filter_map(Tune::number).collect();
        tunes.retain(|tune| tune.number() == Some(number.to_string()));
        if tunes.is_empty() {
            let found = format!("no tune has the number {number}");
            let expected = match known.as_slice() {
                [] => "a tune that begins with `X:1`".to_owned(),
                known => format!("one of {}", crate::wording::list(known)),
            };
            return (None, vec![foreign(Place::WHOLE_FILE, found, expected)]);
        }
    }
    together(tunes, problems)
}

/// A tune of a book.
pub struct InBook {
    /// What stands after `X:`.
    pub number: Option<String>,
    /// Its title.
    pub title: Option<String>,
    /// It, where a drill can be made of it.
    pub piece: Option<Piece>,
    /// What was found in it.
    pub problems: Vec<Problem>,
}

/// Reads each tune of an ABC file by itself, at most `MOST_IN_BOOK`; tunes of one title one after
/// the other are the stages of one drill. The problems are those of the file.
pub fn read_book(bytes: &[u8]) -> (Vec<InBook>, Vec<Problem>) {
    let mut problems = Vec::new();
    let Some(source) = source_of(bytes, &mut problems) else {
        return (Vec::new(), problems);
    };
    let mut groups: Vec<Vec<Tune>> = Vec::new();
    for tune in split(&source, &mut problems) {
        let title = tune.title();
        match groups.last_mut() {
            Some(group) if title.is_some() && group[0].title() == title => group.push(tune),
            _ => groups.push(vec![tune]),
        }
    }
    let more = groups.len().saturating_sub(MOST_IN_BOOK);
    if more > 0 {
        problems.push(adopted(
            crate::wording::count(more, "tune more", "tunes more"),
            format!("left out: only the first {MOST_IN_BOOK} of a book are read"),
        ));
        groups.truncate(MOST_IN_BOOK);
    }
    let read = groups.into_iter().map(|group| {
        let (number, title) = (group[0].number(), group[0].title());
        let (piece, problems) = together(group, Vec::new());
        InBook {
            number,
            title,
            piece,
            problems,
        }
    });
    (read.collect(), problems)
}

/// The text of a file; none where it is too much.
fn source_of(bytes: &[u8], problems: &mut Vec<Problem>) -> Option<String> {
    let mut refuse = |found: String, expected: &str| {
        *problems = vec![foreign(Place::WHOLE_FILE, found, expected)];
        None
    };
    if bytes.len() > LARGEST_FILE {
        return refuse(
            format!("the file has {} bytes", bytes.len()),
            "at most a mebibyte",
        );
    }
    let lines = bytes.split(|byte| *byte == b'\n').count();
    if lines > MOST_LINES {
        return refuse(format!("the file has {lines} lines"), "at most 100,000");
    }
    Some(match std::str::from_utf8(bytes) {
        Ok(source) => source.trim_start_matches('\u{feff}').to_owned(),
        Err(_) => {
            // ABC before 2.1 was written in Latin-1, where every byte is a character.
            problems.push(adopted("text that is not UTF-8", "read as Latin-1"));
            bytes.iter().map(|byte| char::from(*byte)).collect()
        }
    })
}

/// Tunes as the stages of one drill.
fn together(tunes: Vec<Tune>, mut problems: Vec<Problem>) -> (Option<Piece>, Vec<Problem>) {
    let known_titles: Vec<Option<String>> = tunes.iter().map(Tune::title).collect();
    let mut piece: Option<Piece> = None;
    for (place, tune) in tunes.into_iter().enumerate() {
        if place >= MOST_TUNES {
            let at = line_place(tune.first);
            problems.push(adopted_at(at, "a tune after the 64th", "left out"));
            continue;
        }
        let first = tune.first;
        let number = tune.number();
        let title = tune.title();
        let is_stage = known_titles.iter().filter(|other| **other == title).count() > 1;
        let Some(read) = tune.read(is_stage, &mut problems) else {
            continue;
        };
        match &mut piece {
            None => piece = Some(read),
            Some(piece) if piece.metre == read.metre => {
                let mut section = read.sections;
                // a tune of its own keeps its title as the stage's name
                if read.title != piece.title
                    && let [only] = section.as_mut_slice()
                    && only.name == Section::ONLY
                {
                    only.name = read.title;
                    let found = format!("another tune, `{}`", shown(&only.name));
                    let alone = number.map_or(String::new(), |number| {
                        format!("; `import --tune {number}` takes it alone")
                    });
                    let done = format!("it becomes a stage of the same drill{alone}");
                    problems.push(adopted_at(line_place(first), found, done));
                }
                piece.sections.extend(section);
            }
            Some(piece) => problems.push(adopted_at(
                line_place(first),
                format!("a tune in {}", read.metre),
                format!(
                    "left out: the first is in {}, and a drill has one metre",
                    piece.metre
                ),
            )),
        }
    }
    match piece {
        Some(mut piece) => {
            let several = piece.sections.len() > 1;
            if several
                && let Some(first) = piece.sections.first_mut()
                && first.name == Section::ONLY
            {
                first.name.clone_from(&piece.title);
            }
            piece.finished(problems)
        }
        None => {
            if problems
                .iter()
                .all(|problem| problem.severity() == crate::drill::Severity::Note)
            {
                problems.push(foreign(
                    Place::WHOLE_FILE,
                    "no tune was found",
                    "a tune that begins with `X:1` and has music after `K:HP`",
                ));
            }
            (None, problems)
        }
    }
}

#[cfg(test)]
mod tests;
