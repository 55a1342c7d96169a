//! `assign`, `report`, `review`.

pub(crate) mod assign;
mod carried;
mod paper;
pub(crate) mod report;
pub(crate) mod review;

use crate::services::Failure;
use crate::wording;

/// A text without signs that would upset a terminal or a page.
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
