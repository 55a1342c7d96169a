//! The commands for homework: `assign`, `report` and `review`.

pub(crate) mod assign;
mod carried;
mod paper;
pub(crate) mod report;
pub(crate) mod review;

use crate::services::{Failure, output};
use crate::wording;
use std::path::Path;

/// Refuses a target whose name does not end like a YAML file, or that cannot be written.
fn ready(target: &Path, force: bool) -> Result<(), Failure> {
    output::named(target, &["yaml", "yml"])?;
    output::ready_to_write(target, force)
}

/// Returns a text, and refuses one with control characters, which would upset a terminal or a page.
fn plain(what: &str, text: &str) -> Result<String, Failure> {
    if let Some(sign) = text.chars().find(|sign| wording::is_hidden(*sign)) {
        return Err(Failure(format!(
            "the {what} contains U+{:04X}, which is not seen: take it away",
            u32::from(sign)
        )));
    }
    if text.chars().count() > 4000 {
        return Err(Failure(format!(
            "the {what} has more than 4000 characters: make it shorter"
        )));
    }
    Ok(text.to_owned())
}
