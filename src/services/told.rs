//! What was told of files of other programs already: once is enough, and `check` tells it again.
//!
//! Keeps a number for each text that was told of, and nothing of the text itself.

use super::{folders, output};
use crate::practice::StagePrint;
use std::path::PathBuf;

/// So many texts are known; of more the oldest are told anew.
const MOST: usize = 500;

fn list() -> Option<PathBuf> {
    Some(folders::data().ok()?.join("told.txt"))
}

/// True the first time that something is told of a text, which is then known. Where that cannot be
/// kept, it is told each time.
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
        // what cannot be kept costs a line of text the next time
        let _ = output::write_bytes(&list, true, kept.as_bytes());
    }
    true
}
