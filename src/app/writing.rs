//! Writing begins and is kept.

use super::effect::Effect;
use super::model::Model;
use super::notice::Notice;
use super::playing::pause;
use super::stepping::practise;
use super::words::Words;
use crate::practice::{Event, Moment};

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
