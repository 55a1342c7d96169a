//! Reads drill files and finds their problems.
use super::{Failure, files, settings};
use crate::drill::{Drill, LARGEST_FILE, Problem, line_by_line, read_for};
use crate::exchange::{self, Format, read_drill};
use crate::movement::Schools;
use crate::settings::keys;
use std::path::Path;

/// A drill that was read.
#[derive(Debug, Clone)]
pub(crate) struct Opened {
    /// The name that the drill is opened by.
    pub(crate) name: String,
    /// The drill.
    pub(crate) drill: Drill,
}

impl Opened {
    /// The drill as it is practised: a tune without a metre is practised line by line.
    pub(crate) fn practised(&self) -> Drill {
        line_by_line(&self.drill).unwrap_or_else(|| self.drill.clone())
    }
}

/// A file's text with the drill and the problems found in it.
pub(crate) struct Source {
    pub(crate) shown: String,
    pub(crate) text: String,
    pub(crate) drill: Option<Drill>,
    pub(crate) problems: Vec<Problem>,
}

/// Reads a file, up to one byte more than a drill file may have.
///
/// # Errors
/// The file cannot be read.
pub(crate) fn read_source(path: &Path) -> Result<Source, Failure> {
    read_source_for(path, &Schools::none())
}

/// The player's schools, for drills that name none. Problems of the settings file are not reported
/// here, because the command that opens the screen reports them.
pub(crate) fn schools() -> Schools {
    settings::load(&[], &[&[keys::SCHOOL.id()]])
        .map_or_else(|_| Schools::none(), |settings| settings::schools(&settings))
}

/// Reads a file for a player of these schools.
///
/// # Errors
/// The file cannot be read.
pub(crate) fn read_source_for(path: &Path, schools: &Schools) -> Result<Source, Failure> {
    let format = Format::of_name(&path.to_string_lossy());
    // a file of another program may be as large as `import` allows
    let most = match format {
        Some(_) => exchange::LARGEST_FILE,
        None => LARGEST_FILE,
    };
    let bytes = files::read_bytes(path, most)?;
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
