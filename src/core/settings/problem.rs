//! The problems of settings: the place, what was found, what was expected, and how to mend it.

use super::table::Id;
use crate::drill::{Place, render_line};

/// One problem, from a file or from the environment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SettingProblem {
    /// The setting that keeps its default because of this problem; none when no setting is known.
    pub about: Option<Id>,
    /// The place in the file; none for a variable of the environment.
    pub place: Option<Place>,
    /// What was found and what was expected.
    pub says: String,
    /// How to mend it.
    pub mend: Option<String>,
}

impl SettingProblem {
    /// The problem as text: file, line and column, the line with a caret, how to mend.
    pub fn render(&self, file: &str, source: &str) -> String {
        match self.place {
            Some(place) => render_line(file, source, place, "", &self.says, self.mend.as_deref()),
            None => {
                let mend = self
                    .mend
                    .as_ref()
                    .map_or_else(String::new, |mend| format!("     {mend}\n"));
                format!("{}\n{mend}", self.says)
            }
        }
    }
}
