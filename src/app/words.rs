//! Words the player writes while practising: beside the last mark, or a question for the teacher.

use crate::practice::RecordId;
use crate::wording::is_unseen;

/// Signs that are kept. Chosen: two rows of a terminal and a bit, a remark and no diary.
const LONGEST: usize = 200;

/// What is being written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// The mark they stand beside; none for a question.
    pub about: Option<RecordId>,
    /// The words so far.
    pub text: String,
}

impl Words {
    pub(super) fn beside(about: Option<RecordId>) -> Self {
        Self {
            about,
            text: String::new(),
        }
    }

    /// The line that tells the player what the words are for.
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
