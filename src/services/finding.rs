//! Finds a drill's file by name or path, and names similar drills where there is none.

use super::drill_files::{Source, read_source_for, schools};
use super::{Failure, folders, library};
use crate::drill::{built_in, read_for};
use crate::movement::find_said;
use crate::wording;
use std::path::Path;

/// The name of a drill, with its file's text and the problems in it.
///
/// # Errors
/// No drill has this name, or the file cannot be read.
pub(crate) fn find(wanted: &str) -> Result<(String, Source), Failure> {
    let path = Path::new(wanted);
    let looks_like_path =
        wanted.contains(std::path::MAIN_SEPARATOR) || path.extension().is_some() || path.is_file();
    if !looks_like_path {
        let folder = folders::own_drills().ok();
        if let Some(own) = folder.and_then(|folder| library::file_in(&folder, wanted)) {
            let source = read_source_for(&own, &schools())?;
            return Ok((wanted.to_owned(), source));
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

/// How many similar drills are named.
const NAMED: usize = 4;

/// The error for a name that no drill has, with the names that may have been meant.
pub(crate) fn unknown(wanted: &str) -> Failure {
    let all = library::list();
    let meant = |is_meant: &dyn Fn(&str) -> bool| -> Vec<String> {
        let called = |one: &&library::Listed| is_meant(&format!("{} {}", one.name, one.title));
        let found = all.iter().filter(called);
        found.map(|one| format!("`{}`", one.name)).collect()
    };
    let mut found = meant(&|names| wording::has_words(wanted, names));
    if found.is_empty() {
        found = meant(&|names| wording::nearly_has_words(wanted, names));
    }
    let names = all.iter().map(|one| one.name.as_str());
    let hint = if (1..=NAMED).contains(&found.len()) {
        format!("; did you mean {}?", wording::choice(&found))
    } else if let Ok(named) = find_said(wanted) {
        // the words may include a note or a school, which the movement's own name does not
        let more = named.from.is_some() || named.to.is_some() || named.school.is_some();
        let said = wanted.trim().to_lowercase().replace(' ', "-");
        let name = if more { &said } else { named.movement.name() };
        format!("; `gracerung make {name}` makes one")
    } else if let Some(nearest) = wording::nearest(wanted, names) {
        format!("; did you mean `{nearest}`?")
    } else {
        "; `gracerung drills` lists the names, and a path to a file works too".to_owned()
    };
    Failure(format!("there is no drill called `{wanted}`{hint}"))
}
