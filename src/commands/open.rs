//! A drill by name or path, and any other file that is read.

use super::{Failure, folders, output};
use crate::decoding::Recording;
use crate::drill::{
    BUILT_IN, Drill, LARGEST_FILE, Problem, built_in, how_many, line_by_line, read_for, render,
    write,
};
use crate::exchange::{self, Format, read_drill};
use crate::homework;
use crate::movement::Schools;
use crate::settings::keys;
use crate::wording;
use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

/// A drill that was read.
#[derive(Debug, Clone)]
pub(crate) struct Opened {
    /// The name it is called by.
    pub(crate) name: String,
    /// The drill.
    pub(crate) drill: Drill,
}

impl Opened {
    /// The drill as it is practised: a tune without a metre line by line.
    pub(crate) fn practised(&self) -> Drill {
        line_by_line(&self.drill).unwrap_or_else(|| self.drill.clone())
    }
}

/// A file's text and what was found in it.
pub(crate) struct Source {
    pub(crate) shown: String,
    pub(crate) text: String,
    pub(crate) drill: Option<Drill>,
    pub(crate) problems: Vec<Problem>,
}

/// Opens DRILL: the name of a built-in or of a file in the player's own folder, or a path.
///
/// # Errors
/// Nothing of that name, a file that cannot be read, or a drill with problems; all are told.
pub(crate) fn open(wanted: &str) -> Result<Opened, Failure> {
    let path = Path::new(wanted);
    if path.is_file()
        && let Ok(bytes) = read_bytes(path, homework::LARGEST_FILE)
        && homework::kind_of(&bytes).is_some()
    {
        return super::homework::open_task(path, &bytes, None);
    }
    let (name, source) = find(wanted)?;
    // of another program's file what was left out or changed is told, or nobody would miss it
    if source.drill.is_some() && !source.problems.is_empty() && Format::of_name(wanted).is_some() {
        output::complain(&render(&source.shown, &source.text, &source.problems));
    }
    match source.drill {
        Some(drill) => Ok(Opened { name, drill }),
        None => Err(Failure(format!(
            "`{wanted}` cannot be played; {} in it:\n{}",
            how_many(&source.problems),
            render(&source.shown, &source.text, &source.problems)
        ))),
    }
}

/// As [`open`]; of homework all of its drills.
///
/// # Errors
/// As [`open`].
pub(crate) fn open_all(wanted: &str) -> Result<Vec<Opened>, Failure> {
    match super::homework::drills_of(Path::new(wanted))? {
        Some(drills) => Ok(drills),
        None => open(wanted).map(|opened| vec![opened]),
    }
}

/// A drill's name and the text of a drill file of it, when nothing keeps it from being played: of
/// another program's file what `import` writes.
///
/// # Errors
/// As [`open`].
pub(crate) fn open_text(wanted: &str) -> Result<(Opened, String), Failure> {
    let opened = open(wanted)?;
    let text = match Format::of_name(wanted) {
        Some(format) => {
            let bytes = read_bytes(Path::new(wanted), exchange::LARGEST_FILE)?;
            let piece = exchange::read(format, &bytes).0;
            let piece = piece.ok_or_else(|| unknown(wanted))?;
            write(&piece.document()).map_err(Failure)?
        }
        None => find(wanted)?.1.text,
    };
    Ok((opened, text))
}

/// A drill's name and its text with what was found in it, by name or path.
///
/// # Errors
/// Nothing of that name, a file that cannot be read.
pub(crate) fn find(wanted: &str) -> Result<(String, Source), Failure> {
    let path = Path::new(wanted);
    let looks_like_path =
        wanted.contains(std::path::MAIN_SEPARATOR) || path.extension().is_some() || path.is_file();
    if !looks_like_path {
        if let Ok(folder) = folders::own_drills() {
            for ending in ["yaml", "yml"] {
                let own = folder.join(format!("{wanted}.{ending}"));
                if own.is_file() {
                    let source = read_source_for(&own, &schools())?;
                    return Ok((wanted.to_owned(), source));
                }
            }
        }
        if let Some(drill) = built_in(wanted) {
            let (value, problems) = read_for(drill.text.as_bytes(), &schools());
            let source = Source {
                shown: drill.name.to_owned(),
                text: drill.text.to_owned(),
                drill: value,
                problems,
            };
            return Ok((wanted.to_owned(), source));
        }
        return Err(unknown(wanted));
    }
    let source = read_source_for(path, &schools())?;
    let name = path.file_stem().map_or_else(
        || wanted.to_owned(),
        |stem| stem.to_string_lossy().into_owned(),
    );
    Ok((name, source))
}

fn unknown(wanted: &str) -> Failure {
    let names: Vec<&str> = BUILT_IN.iter().map(|drill| drill.name).collect();
    let nearest = wording::nearest(wanted, names.iter().copied());
    let hint = match nearest {
        Some(nearest) => format!("; did you mean `{nearest}`?"),
        None => "; `gracerung drills` lists the names, and a path to a file works too".to_owned(),
    };
    Failure(format!("there is no drill called `{wanted}`{hint}"))
}

/// Reads a file, at most a byte more than a drill may have.
///
/// # Errors
/// A file that cannot be read.
pub(crate) fn read_source(path: &Path) -> Result<Source, Failure> {
    read_source_for(path, &Schools::none())
}

/// The player's schools, for drills that name none. A settings file with problems is told by
/// whoever opens the screen.
pub(crate) fn schools() -> Schools {
    super::settings::load(&[], &[&[keys::SCHOOL.id()]]).map_or_else(
        |_| Schools::none(),
        |settings| super::settings::schools(&settings),
    )
}

/// Reads a file for a player of these schools.
///
/// # Errors
/// A file that cannot be read.
pub(crate) fn read_source_for(path: &Path, schools: &Schools) -> Result<Source, Failure> {
    let format = Format::of_name(&path.to_string_lossy());
    // as much of other programs as `import` takes
    let most = match format {
        Some(_) => exchange::LARGEST_FILE,
        None => LARGEST_FILE,
    };
    let bytes = read_bytes(path, most)?;
    let (drill, problems) = match format {
        Some(format) => read_drill(format, &bytes),
        None => read_for(&bytes, schools),
    };
    Ok(Source {
        shown: path.display().to_string(),
        text: match format {
            Some(format) => exchange::text_of(format, &bytes),
            None => String::from_utf8_lossy(&bytes).into_owned(),
        },
        drill,
        problems,
    })
}

/// Opens a file to read it.
///
/// # Errors
/// It cannot be read, or is a folder.
pub(crate) fn open_file(path: &Path) -> Result<File, Failure> {
    if path.is_dir() {
        return Err(Failure(format!(
            "`{}` is a folder; name a file in it",
            path.display()
        )));
    }
    File::open(path).map_err(|error| unread(path, &error))
}

/// The one sentence for a file that cannot be read.
pub(crate) fn unread(path: &Path, error: &std::io::Error) -> Failure {
    let shown = path.display();
    Failure(match error.kind() {
        std::io::ErrorKind::NotFound => format!("there is no file `{shown}`"),
        std::io::ErrorKind::PermissionDenied => format!("`{shown}` may not be read"),
        _ => format!("cannot read `{shown}`: {error}"),
    })
}

/// Reads a file's bytes, at most one more than `most`.
///
/// # Errors
/// A file that cannot be read.
pub(crate) fn read_bytes(path: &Path, most: usize) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    open_file(path)?
        .take(most as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| unread(path, &error))?;
    Ok(bytes)
}

/// Opens a recording.
///
/// # Errors
/// A file that cannot be read, or is no recording.
pub(crate) fn recording(path: &Path) -> Result<Recording<BufReader<File>>, Failure> {
    let file = open_file(path)?;
    let length = file.metadata().map_err(|error| unread(path, &error))?.len();
    Recording::open(BufReader::new(file), length)
        .map_err(|error| Failure(format!("`{}`: {error}", path.display())))
}
