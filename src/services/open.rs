//! Opens a drill by name or path, or a file of another program.

use super::{
    Failure,
    drill_files::Opened,
    files,
    finding::{find, unknown},
    homework, output, told,
};
use crate::drill::{how_many, render, write};
use crate::exchange::{self, Format};
use crate::homework::{LARGEST_FILE, kind_of};
use std::path::Path;

/// Opens a drill: by the name of a built-in drill or of a file in the player's own folder, or by a
/// path.
///
/// # Errors
/// No drill has this name, its file cannot be read, or the drill has problems, all of which are
/// listed.
pub(crate) fn open(wanted: &str) -> Result<Opened, Failure> {
    let path = Path::new(wanted);
    if path.is_file()
        && let Ok(bytes) = files::read_bytes(path, LARGEST_FILE)
        && kind_of(&bytes).is_some()
    {
        return homework::open_task(path, &bytes, None);
    }
    let (name, source) = find(wanted)?;
    // What was left out or changed of another program's file is reported once, because nobody would
    // notice it otherwise.
    if source.drill.is_some()
        && !source.problems.is_empty()
        && Format::of_name(wanted).is_some()
        && told::is_new(&source.text)
    {
        let found = render(&source.shown, &source.text, &source.problems);
        output::complain(&format!(
            "{}\nThis is told once; `gracerung check {}` tells it again.",
            found.trim_end(),
            source.shown
        ));
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

/// Opens a drill like [`open`], or all drills of a homework file.
///
/// # Errors
/// The same as of [`open`].
pub(crate) fn open_all(wanted: &str) -> Result<Vec<Opened>, Failure> {
    match homework::drills_of(Path::new(wanted))? {
        Some(drills) => Ok(drills),
        None => open(wanted).map(|opened| vec![opened]),
    }
}

/// A drill with its text as a drill file. For another program's file it is the text that `import`
/// writes.
///
/// # Errors
/// The same as of [`open`]; also a homework file, which holds several drills.
pub(crate) fn open_text(wanted: &str) -> Result<(Opened, String), Failure> {
    if homework::drills_of(Path::new(wanted))?.is_some() {
        return Err(Failure(format!(
            "`{wanted}` is homework and no drill: name the drills that it was made of"
        )));
    }
    let opened = open(wanted)?;
    let text = match Format::of_name(wanted) {
        Some(format) => {
            let bytes = files::read_bytes(Path::new(wanted), exchange::LARGEST_FILE)?;
            let piece = exchange::read(format, &bytes).0;
            let piece = piece.ok_or_else(|| unknown(wanted))?;
            write(&piece.document()).map_err(Failure)?
        }
        None => find(wanted)?.1.text,
    };
    Ok((opened, text))
}
