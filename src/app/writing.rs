//! Begins the text that a player writes, and keeps it.

use super::effect::Effect;
use super::model::Model;
use super::notice::Notice;
use super::playing::pause;
use super::stepping::practise;
use super::words::Words;
use crate::practice::{Event, Moment};

/// Begins a text. Play pauses, because writing needs the hands. Where no repetition is marked yet
/// the text stands alone, like a question: if writing were refused, its letters would be taken for
/// keys.
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
