//! Imports a book of tunes, or a folder of files from other programs, into a folder of drills, and
//! prints one report of all of them.

use super::{Outcome, Ran};
use crate::drill::{Problem, how_many, render, write};
use crate::exchange::{Format, LARGEST_FILE, Piece, abc, read, text_of};
use crate::services::{Failure, files::read_bytes, output};
use crate::wording;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// The most files of a folder that are read.
const MOST_FILES: usize = 2000;
/// The longest file name of a drill, in characters.
const LONGEST_NAME: usize = 60;

/// Counts of what was imported so far, and how.
#[derive(Default)]
struct Report {
    /// The file names that are taken already.
    names: BTreeSet<String>,
    written: usize,
    changed: usize,
    refused: usize,
    told: String,
}

/// What is read, and the folder that the drills are written into.
pub(super) struct Book<'a> {
    pub(super) file: &'a Path,
    /// The kind of all tunes, such as march, where the command line gives one.
    pub(super) kind: Option<&'a str>,
    pub(super) folder: &'a Path,
    pub(super) force: bool,
}

/// Imports every tune of a file or a folder into the folder of drills.
pub(super) fn run(book: &Book) -> Ran {
    let files = files(book.file)?;
    output::make_folder(book.folder)?;
    let mut report = Report::default();
    for (file, format) in files {
        let shown = file.display().to_string();
        let bytes = match read_bytes(&file, LARGEST_FILE) {
            Ok(bytes) => bytes,
            Err(failure) => {
                report.refuse(&shown, &failure.to_string());
                continue;
            }
        };
        let text = text_of(format, &bytes);
        let told = |problems: &[Problem]| render(&shown, &text, problems);
        if format == Format::Abc {
            let (tunes, problems) = abc::read_book(&bytes);
            if !problems.is_empty() {
                let _ = writeln!(report.told, "{}", told(&problems).trim_end());
            }
            if tunes.is_empty() {
                report.refuse(&shown, "no tune was found: a tune begins with `X:1`");
            }
            for tune in tunes {
                let number = tune.number.unwrap_or_default();
                let title = tune.title.unwrap_or_else(|| "without a title".to_owned());
                let name = format!("{shown}, tune {number}, {title}");
                report.put(book, &name, tune.piece, &tune.problems, &told)?;
            }
        } else {
            let (piece, problems) = read(format, &bytes);
            report.put(book, &shown, piece, &problems, &told)?;
        }
    }
    report.finish(book.folder)
}

/// The files to read, sorted by name.
fn files(from: &Path) -> Result<Vec<(PathBuf, Format)>, Failure> {
    if !from.is_dir() {
        return Ok(vec![(from.to_owned(), super::export::format_of(from)?)]);
    }
    let entries = std::fs::read_dir(from)
        .map_err(|error| Failure(format!("cannot read `{}`: {error}", from.display())))?;
    let mut files: Vec<(PathBuf, Format)> = entries
        .flatten()
        .map(|entry| entry.path())
        .filter(|path| path.is_file())
        .filter_map(|path| {
            let format = Format::of_name(&path.to_string_lossy())?;
            Some((path, format))
        })
        .collect();
    files.sort_by(|one, other| one.0.cmp(&other.0));
    match files.len() {
        0 => Err(Failure(format!(
            "`{}` has no file that ends in .abc, .mid, .musicxml or .mxl",
            from.display()
        ))),
        count if count > MOST_FILES => Err(Failure(format!(
            "`{}` has {count} files of other programs; at most {MOST_FILES} are read at once",
            from.display()
        ))),
        _ => Ok(files),
    }
}

impl Report {
    fn refuse(&mut self, name: &str, why: &str) {
        self.refused += 1;
        let _ = writeln!(self.told, "{name}: not imported\n  {}", why.trim_end());
    }

    /// Writes one drill and reports it, or reports why it was not written.
    fn put(
        &mut self,
        book: &Book,
        name: &str,
        piece: Option<Piece>,
        problems: &[Problem],
        told: &dyn Fn(&[Problem]) -> String,
    ) -> Result<(), Failure> {
        let Some(piece) = piece else {
            self.refuse(name, &told(problems));
            return Ok(());
        };
        let (piece, problems) = match book.kind {
            Some(kind) => piece.of_kind(kind, problems.to_vec()),
            None => (piece, problems.to_vec()),
        };
        let document = piece.document();
        let text = write(&document).map_err(Failure)?;
        let path = self.path(book.folder, &document.title);
        if let Err(failure) = output::write_bytes(&path, book.force, text.as_bytes()) {
            self.refuse(name, &failure.to_string());
            return Ok(());
        }
        self.written += 1;
        if !problems.is_empty() {
            self.changed += 1;
            let file = path.file_name().unwrap_or_default().to_string_lossy();
            let _ = writeln!(
                self.told,
                "{name}: {} in {file}\n{}",
                how_many(&problems),
                told(&problems).trim_end()
            );
        }
        Ok(())
    }

    /// A file path named after a title. No two drills get the same path.
    fn path(&mut self, folder: &Path, title: &str) -> PathBuf {
        let mut plain = String::new();
        for sign in wording::without_accents(&title.to_lowercase()).chars() {
            if sign.is_alphanumeric() {
                plain.push(sign);
            } else if !plain.ends_with('-') && !plain.is_empty() {
                plain.push('-');
            }
            if plain.chars().count() >= LONGEST_NAME {
                break;
            }
        }
        let plain = match plain.trim_end_matches('-') {
            "" => "untitled",
            plain => plain,
        };
        let mut name = plain.to_owned();
        let mut number = 2;
        while !self.names.insert(name.clone()) {
            name = format!("{plain}-{number}");
            number += 1;
        }
        folder.join(format!("{name}.yaml"))
    }

    fn finish(self, folder: &Path) -> Ran {
        let changed = match self.changed {
            0 => String::new(),
            count => format!(", {count} with changes"),
        };
        let refused = match self.refused {
            0 => String::new(),
            count => format!(", {count} not imported"),
        };
        let head = format!(
            "{}: {}{changed}{refused}\n",
            folder.display(),
            wording::count(self.written, "drill", "drills")
        );
        if self.told.is_empty() {
            output::print(&head)?;
            return Ok(Outcome::Done);
        }
        if self.written == 0 {
            return Err(Failure(format!("nothing was imported\n{}", self.told)));
        }
        output::print(&format!("{head}\n{}", self.told))?;
        Ok(Outcome::Findings)
    }
}
