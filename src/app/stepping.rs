//! Applies events to the board, stores the records that follow, and shows and plays the news.

use super::effect::Effect;
use super::model::{Model, Page};
use super::notice::{Notice, Others, told};
use super::noting;
use super::offer::Offers;
use super::practising::Practising;
use crate::practice::{CellKey, Event, Mark, Moment, News, PointingHeard, Verdict, step};
use crate::sound::{Command, Cue};

/// The pointing in words: `dots 3.8 : 1, snaps 1 : 4.1`. None where the music has no pair with a
/// wanted ratio.
fn pointed(verdict: &Verdict) -> Option<String> {
    let all: Vec<String> = verdict.pointing.iter().map(PointingHeard::short).collect();
    (!all.is_empty()).then(|| all.join(", "))
}

/// Applies an event to the board, stores the records that follow and tells the news.
pub(super) fn practise(model: &mut Model, event: &Event, effects: &mut Vec<Effect>) {
    let Some(practising) = &mut model.practising else {
        return;
    };
    let (state, records) = step(&practising.state, event);
    practising.state = state;
    if !records.is_empty() {
        effects.push(Effect::Store(records));
    }
    let marked = marked(practising).filter(|_| model.options.staircase);
    let climbed =
        marked.and_then(|(cell, repetition, mark)| practising.climb(cell, repetition, mark));
    let judged = practising.state.news().iter().find_map(|news| match news {
        News::Judged { verdict, .. } => Some((verdict.worst_shape().to_vec(), pointed(verdict))),
        _ => None,
    });
    if let Some((shape, pointing)) = judged {
        practising.shape = shape;
        practising.pointing = pointing;
    }
    let at = event.at();
    let cold = at.and_then(|at| practising.cold_words(at, &model.options.rule));
    let mut said = cold.map(Notice::plain).or_else(|| told(practising));
    if let Some(hidden) = practising.follow_marks() {
        said = Some(match said {
            Some(said) => Notice::plain(format!("{}; {hidden}", said.text)),
            None => Notice::plain(hidden),
        });
    }
    if let Some(file) = practising.goal_cleared() {
        if let Some(said) = &mut said
            && model.session.is_none()
        {
            said.text.push_str(model.choose.more_asked());
        }
        if !model.reached.contains(&file) {
            model.reached.push(file);
        }
    }
    let mut chosen = None;
    for news in practising.state.news() {
        match news {
            News::Cleared(_)
            | News::ColdTry {
                mark: Mark::Clean, ..
            } => effects.push(Effect::Sound(Command::Cue(Cue::CellClear))),
            News::StepBackSuggested(_) | News::StopsSoon => {
                effects.push(Effect::Sound(Command::Cue(Cue::StepBack)));
            }
            News::NobodyThere | News::Offers => effects.push(Effect::Pause),
            News::Chosen(mark) => chosen = Some(*mark),
            _ => {}
        }
    }
    if practising.state.news().contains(&News::Offers) {
        practising.offers = Offers::default();
        practising.heard = None;
        practising.asked = None;
        model.notice = None;
    }
    if said.is_some() {
        model.notice = said;
    }
    if let Some(at) = at {
        noting::noted(model, at);
    }
    if let Some((cell, at)) = climbed.zip(at) {
        practise(model, &Event::CellChosen { at, cell }, effects);
    }
    model.chosen = chosen.or(model.chosen);
}

/// The mark that the last event brought: its cell, its repetition and what it says.
fn marked(practising: &Practising) -> Option<(CellKey, u64, Mark)> {
    let news = practising.state.news().iter().rev();
    let mut marks = news.filter_map(|news| match news {
        News::Marked {
            cell,
            repetition,
            mark,
            ..
        } => Some((*cell, *repetition, *mark)),
        _ => None,
    });
    marks.next()
}

/// Leaves the drill and ends its session.
pub(super) fn leave_drill(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    if model.practising.is_none() {
        return;
    }
    effects.push(Effect::Stop);
    practise(model, &Event::Ended { at }, effects);
    model.practising = None;
    model.words = None;
    model.page = Page::Choose;
    model.notice = None;
    model.others = Others::default();
}
