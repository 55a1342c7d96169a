//! Words the player writes while practising: beside the last mark, or a question for the teacher.

use super::effect::Effect;
use super::model::Model;
use super::notice::Notice;
use super::playing::pause;
use super::update::practise;
use crate::practice::{Event, Moment, RecordId};
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

    /// What they are, for the player.
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

/// The hands leave the chanter to write, so nothing plays on meanwhile. Where nothing is marked yet
/// the words stand by themselves, as a question does: refused, their letters would be taken for keys.
pub(super) fn write(model: &mut Model, at: Moment, question: bool, effects: &mut Vec<Effect>) {
    let Some(practising) = &model.practising else {
        return;
    };
    let about = practising.state.last_mark().filter(|_| !question);
    if model.is_moving() {
        pause(model, at, effects);
    }
    model.words = Some(Words::beside(about));
}

pub(super) fn keep_words(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    let Some(Words { about, text }) = model.words.take() else {
        return;
    };
    let text = text.trim().to_owned();
    if text.is_empty() {
        return;
    }
    model.notice = Some(Notice::plain(format!(
        "kept; `gracerung report --words` takes it along: {text}"
    )));
    practise(model, &Event::Word { at, about, text }, effects);
}
