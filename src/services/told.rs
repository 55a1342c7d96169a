//! Remembers for which files of other programs the notes on their import were shown, so that each
//! is shown once. `check` shows them again.
//!
//! It stores a number for each text and nothing of the text itself.

use super::{folders, output};
use crate::practice::StagePrint;
use std::path::PathBuf;

/// The most texts that are remembered. Beyond that the oldest are forgotten, and their notes are
/// shown again.
const MOST: usize = 500;

fn list() -> Option<PathBuf> {
    Some(folders::data().ok()?.join("told.txt"))
}

/// True the first time it is called with a text, which is then remembered. Where that cannot be
/// stored it is true each time.
pub(crate) fn is_new(text: &str) -> bool {
    let Some(list) = list() else { return true };
    let known = std::fs::read_to_string(&list).unwrap_or_default();
    let own = StagePrint::of(text).to_string();
    if known.lines().any(|line| line == own) {
        return false;
    }
    let mut lines: Vec<&str> = known.lines().chain([own.as_str()]).collect();
    let first = lines.len().saturating_sub(MOST);
    let kept = lines.split_off(first).join("\n") + "\n";
    if let Some(folder) = list.parent()
        && output::make_folder(folder).is_ok()
    {
        // where the list cannot be stored, the notes are merely shown again
        let _ = output::write_bytes(&list, true, kept.as_bytes());
    }
    true
}
