//! Text that the player writes while practising: a remark on the last mark, or a question for the
//! teacher.

use crate::practice::RecordId;
use crate::wording::is_unseen;

/// The most characters that are kept. Chosen: a bit more than two rows of a terminal, enough for a
/// remark.
const LONGEST: usize = 200;

/// What is being written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// The mark that the text is about; none for a question.
    pub about: Option<RecordId>,
    /// The text so far.
    pub text: String,
}

impl Words {
    pub(super) fn beside(about: Option<RecordId>) -> Self {
        Self {
            about,
            text: String::new(),
        }
    }

    /// The prompt that tells the player what the text is for.
    pub fn prompt(&self) -> &'static str {
        match self.about {
            Some(_) => "beside the last mark",
            None => "for your teacher",
        }
    }

    pub(super) fn add(&mut self, letter: char) {
        if !is_unseen(letter) && self.text.chars().count() < LONGEST {
            self.text.push(letter);
        }
    }
}
