//! What is left: a page, a drill, or a session that goes on the same day.

use super::effect::Effect;
use super::model::{Model, Page};
use super::notice::Notice;
use super::practising::Practising;
use super::session::{Session, Stands};
use super::stepping::leave_drill;
use crate::planning::{Item, SessionPart, Why};
use crate::practice::{CellKey, Moment};

/// Leaves the page: a search on the start page, the start page and with it the program, or a drill or
/// session for the start page.
pub(super) fn leave(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    match model.page {
        Page::Choose => {
            if !model.choose.search.is_empty() {
                model.choose.search.clear();
                model.choose.marked = 0;
                return;
            }
            model.quit = true;
            effects.push(Effect::Quit);
        }
        Page::Practise | Page::Session => {
            let goes_on = model
                .session
                .as_ref()
                .is_some_and(|one| one.stands != Stands::Over);
            left(model, effects);
            leave_drill(model, at, effects);
            model.page = Page::Choose;
            model.left_session |= goes_on;
            if goes_on {
                model.choose.marked = 0;
                model.notice = Some(Notice::plain(
                    "left: today's session goes on where it stands",
                ));
            }
            if model.straight {
                model.quit = true;
                effects.push(Effect::Quit);
            } else {
                effects.push(Effect::List);
            }
        }
    }
}

/// Parts from one on whose cells were begun meanwhile say so, and no longer that they are new.
pub(super) fn tell_begun(session: &mut Session, practising: &Practising, from: usize) {
    let Some(open) = session.item().map(|item| item.open.clone()) else {
        return;
    };
    let state = &practising.state;
    for part in session.parts.iter_mut().skip(from) {
        if let SessionPart::Cell(item) = part
            && item.open == open
            && item.kind == Why::New
            && let Some(cell) = cell_of(practising, item)
        {
            let tally = state.tally(cell);
            let marked = tally.clean + tally.not_clean;
            if marked > 0 {
                item.why = format!("begun just now: clean {} of {marked}", tally.clean);
            }
        }
    }
}

/// The cell that a part of the drill asks for.
pub(super) fn cell_of(practising: &Practising, item: &Item) -> Option<CellKey> {
    let stages = &practising.state.plan().stages;
    let stage = stages.get(item.stage_number.saturating_sub(1))?;
    Some(CellKey {
        stage: stage.print,
        rung: item.rung,
    })
}

/// The player leaves the session: it goes on where it stands, the same day.
fn left(model: &mut Model, effects: &mut Vec<Effect>) {
    let Some(mut session) = model.session.take() else {
        return;
    };
    if session.stands == Stands::Over {
        return;
    }
    if let Some(practising) = &model.practising {
        let at = session.at;
        tell_begun(&mut session, practising, at);
    }
    effects.push(Effect::KeepSession(Box::new(session)));
}
