//! Applies the board's news to the running part of a session.

use super::model::Model;
use super::notice::Notice;
use super::practising::Practising;
use super::session::{Came, Present, Stands};
use crate::planning::Why;
use crate::practice::{CellKey, CellStatus, Mark, Moment, News};

/// True while a part of a session runs.
pub(super) fn is_going(model: &Model) -> bool {
    model
        .session
        .as_ref()
        .is_some_and(|session| session.stands == Stands::Going)
}

/// The names of the cells that became clear in the present part and still are.
pub(super) fn climbed(present: &Present, practising: &Practising) -> Vec<String> {
    let board = practising.state.board();
    let is_clear = |key: &&CellKey| {
        board
            .cells()
            .any(|cell| cell.key == **key && cell.status == CellStatus::Clear)
    };
    let clear = present.climbed.iter().filter(is_clear);
    clear.map(|key| practising.cell_name(*key)).collect()
}

/// Applies the news of the last event to the present part, right after the event.
pub(super) fn noted(model: &mut Model, at: Moment) {
    if !is_going(model) {
        return;
    }
    let (Some(session), Some(practising)) = (&mut model.session, &mut model.practising) else {
        return;
    };
    let Some(item) = session.item().cloned() else {
        return;
    };
    let first = session.present.marked.is_empty();
    let marked = |news: &News| matches!(news, News::Marked { .. });
    practising.due &= !practising.state.news().iter().any(marked);
    let needed = practising.state.plan().needed();
    for news in practising.state.news() {
        match news {
            News::Marked {
                mark,
                cell,
                repetition,
                ..
            } => {
                session.present.marked.insert((*cell, *repetition));
                // a cell that is due again is decided by its first try, or else by as many clean
                // repetitions in a row as clear it
                let answers = first || practising.state.streak() >= needed;
                if item.kind == Why::Again && *mark == Mark::Clean && answers {
                    let words = practising.comes_again_words(*cell, *mark, at, &model.options.rule);
                    session.present.came = Some(Came::StillClean(words));
                } else if item.kind == Why::Again && first {
                    model.notice = Some(Notice::plain(format!(
                        "not clean: {needed} clean in a row settle it, else it {}",
                        practising.comes_again_words(*cell, *mark, at, &model.options.rule)
                    )));
                }
            }
            News::ColdTry { mark, cell } => {
                let words = practising.comes_again_words(*cell, *mark, at, &model.options.rule);
                session.present.came = Some(match mark {
                    Mark::Clean => Came::Held(words),
                    Mark::NotClean => Came::NotHeld(words),
                });
            }
            News::Cleared(cell) => {
                session.present.climbed.push(*cell);
                if let Some(file) = practising.goal_cleared() {
                    session.present.came = Some(Came::Reached(file));
                }
            }
            News::Complete => {
                let climbed = climbed(&session.present, practising);
                session.present.came.get_or_insert(Came::Climbed(climbed));
            }
            _ => {}
        }
    }
}

/// Ends the running part because its homework goal was reached.
pub(super) fn reached(model: &mut Model, file: &str) {
    if let Some(session) = &mut model.session {
        session.present.came = Some(Came::Reached(file.to_owned()));
    }
}
