//! Archives a drill of the player's own and restores it. The drill's file is moved, and its marks
//! stay in the journal.

use crate::commands::{Outcome, Ran};
use crate::drill::built_in;
use crate::services::{Failure, files, folders, library, output};
use crate::wording;
use std::io::{IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};

/// The folder of archived drills.
fn away() -> Result<PathBuf, Failure> {
    folders::own_drills().map(|folder| folder.join("archive"))
}

/// Names the drill of a folder that the player may have meant, as the end of a sentence.
fn meant(folder: &Path, name: &str) -> String {
    let names: Vec<String> = library::files_in(folder)
        .iter()
        .filter_map(|file| Some(file.file_stem()?.to_string_lossy().into_owned()))
        .collect();
    wording::nearest(name, names.iter().map(String::as_str))
        .map_or_else(String::new, |near| format!("; did you mean `{near}`?"))
}

/// Archives a drill. At a terminal the player is asked first, unless `yes` is set.
pub(super) fn put_away(name: &str, yes: bool) -> Ran {
    let folder = folders::own_drills()?;
    let Some(file) = library::file_in(&folder, name) else {
        return Err(Failure(match built_in(name) {
            Some(_) => format!("`{name}` came with the program and stays"),
            None => format!(
                "none of your own drills is called `{name}`{}",
                meant(&folder, name)
            ),
        }));
    };
    if !yes && !is_agreed(name)? {
        output::print("nothing was changed\n")?;
        return Ok(Outcome::Done);
    }
    let away = away()?;
    output::make_folder(&away)?;
    let ending = file.extension().unwrap_or_default().to_string_lossy();
    let kept = files::free_name(&away, name, &ending);
    let target = away.join(format!("{kept}.{ending}"));
    moved(&file, &target)?;
    output::print(&format!(
        "{}: put away, out of the list and of the plan; its marks stay in the journal\n\
         `gracerung drills --restore {kept}` takes it back\n",
        target.display()
    ))?;
    Ok(Outcome::Done)
}

/// Restores an archived drill.
pub(super) fn take_back(name: &str) -> Ran {
    let away = away()?;
    let Some(file) = library::file_in(&away, name) else {
        return Err(Failure(format!(
            "no drill called `{name}` was put away{}",
            meant(&away, name)
        )));
    };
    let folder = folders::own_drills()?;
    if let Some(there) = library::file_in(&folder, name) {
        return Err(Failure(format!(
            "`{}` is there already: put it away first, or give one of the two another name",
            there.display()
        )));
    }
    let target = folder.join(file.file_name().unwrap_or_default());
    moved(&file, &target)?;
    output::print(&format!(
        "{}: taken back; `gracerung practise {name}` plays it\n",
        target.display()
    ))?;
    Ok(Outcome::Done)
}

fn moved(from: &Path, to: &Path) -> Result<(), Failure> {
    std::fs::rename(from, to).map_err(|error| {
        Failure(format!(
            "cannot move `{}` to `{}`: {error}",
            from.display(),
            to.display()
        ))
    })
}

/// Asks at the terminal and returns true where the player agrees.
///
/// # Errors
/// There is no terminal at which the player could be asked.
fn is_agreed(name: &str) -> Result<bool, Failure> {
    let mut asked = std::io::stderr();
    if !std::io::stdin().is_terminal() || !asked.is_terminal() {
        return Err(Failure(format!(
            "nobody can be asked here: `gracerung drills --archive {name} --yes` puts it away"
        )));
    }
    let name = wording::visible(name);
    let _ = write!(
        asked,
        "put `{name}` away? Its marks stay, and it can be taken back. [y/N] "
    );
    let _ = asked.flush();
    let mut answer = String::new();
    let read = std::io::stdin().read_line(&mut answer);
    let yes = ["y", "yes"].contains(&answer.trim().to_lowercase().as_str());
    Ok(read.is_ok() && yes)
}
