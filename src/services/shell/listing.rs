//! Makes the list of the start page: the drills with their progress from the journal, and the
//! movements of the catalogue.

use super::Shell;
use crate::app::{Listed, Opens, score_of};
use crate::movement::{Movement, names_of_schools};
use crate::planning::{Digest, Due, Known, ago, date_of, homework_item};
use crate::practice::{Board, Cell, CellStatus, Plan, Rung, replay_all};
use crate::screen::{board_rows, music_line};
use crate::services::drill_files::{self, Opened};
use crate::services::homework::Kept;
use crate::services::{library, phrases, plan};
use crate::wording::{self, capital, visible};
use std::collections::BTreeSet;

impl Shell {
    /// The lines of all drills. With `progress` each has the state of its board and the music where
    /// practice would begin. A list without progress is made first and keeps its drills for the one
    /// with progress.
    pub(crate) fn list(&mut self, progress: bool) -> Vec<Listed> {
        let read = self.shelf.take().filter(|_| progress);
        let shelf = read.unwrap_or_else(|| library::shelf(&drill_files::schools()));
        let mut known = Vec::new();
        let lines = shelf
            .iter()
            .map(|one| {
                let listed = &one.listed;
                let tempi = listed
                    .tempi
                    .as_ref()
                    .map_or_else(String::new, |(from, to)| format!(", {from} to {to}"));
                let stages = wording::count(listed.stages.len(), "stage", "stages");
                let mut line = Listed {
                    about: visible(listed.about.as_deref().unwrap_or_default()).into_owned(),
                    extent: format!("{stages}{tempi}"),
                    problems: listed
                        .told
                        .iter()
                        .map(|text| visible(text).into_owned())
                        .collect(),
                    in_full: visible(&listed.in_full).into_owned(),
                    ..Listed::new(Opens::Drill, &listed.name, &visible(&listed.title))
                };
                if let Some(opened) = one.opened.as_ref().filter(|_| progress) {
                    let its = plan::known(opened);
                    self.look_into(&mut line, opened, &its);
                    known.push(its);
                }
                line
            })
            .collect();
        if progress {
            self.known = Some(known);
        } else {
            self.shelf = Some(shelf);
        }
        lines
    }

    /// All movements of the catalogue, and the forms of schools that have names of their own, for
    /// the search.
    pub(crate) fn movements() -> Vec<Listed> {
        let line = |movement: Movement, name: &str, title: &str| Listed {
            about: movement.family().heading().to_owned(),
            also: movement.also().join(" "),
            extent: "a movement: enter makes its drill".to_owned(),
            ..Listed::new(Opens::Movement, name, title)
        };
        let own = Movement::all()
            .map(|movement| line(movement, movement.name(), &capital(movement.spoken())));
        let of_schools = names_of_schools()
            .into_iter()
            .map(|(name, named)| line(named.movement, name, &capital(&name.replace('-', " "))));
        own.chain(of_schools).collect()
    }

    /// Adds to a line how much of the drill's board is done, where practice would begin, and the
    /// music there.
    fn look_into(&mut self, line: &mut Listed, opened: &Opened, known: &Known) {
        if let Some(pieces) = phrases::pieces(&opened.drill) {
            line.bars = Some(pieces.bars);
            let named = pieces.named.iter();
            line.pieces = named
                .map(|(title, bars)| line.piece(title, *bars))
                .collect();
            if let Some(pointing) = pieces.pointing {
                line.pieces.push(line.held_dots(&pointing));
            }
        }
        let stages = known.stages.clone();
        let music: Vec<_> = stages.iter().map(|stage| stage.print).collect();
        let (entries, place) = match &mut self.journal {
            Some(journal) => (
                journal.board(&music).unwrap_or_default(),
                journal.last_place_in(&music).ok().flatten(),
            ),
            None => (Vec::new(), None),
        };
        let played = !entries.is_empty() || place.is_some();
        if let Some(day) = entries.iter().map(|entry| entry.record.day()).max() {
            line.last = format!("last played {}", ago(date_of(day), plan::date()));
        }
        let stage = place
            .as_ref()
            .and_then(|place| stages.iter().position(|stage| stage.has(place.cell)))
            .unwrap_or(0);
        let rung = place.map(|place| place.cell.rung);
        let state = replay_all(Plan::new(&opened.name, stages), entries);
        if played {
            line.progress = done(state.board());
            line.share = Some(clear_of(state.board()));
        }
        line.board = board_rows(state.board());
        let drill = opened.practised();
        let Some(written) = drill.stages.get(stage) else {
            return;
        };
        let score = score_of(&drill, stage);
        let rung = rung.unwrap_or(Rung::Tempo(drill.ladder.from()));
        line.preview = vec![
            format!("{} at {}", visible(&written.name), rung.spoken()),
            music_line(&score, &BTreeSet::new()),
        ];
    }
}

/// Homework as lines of the start page: each task that is not reached, or how it is sent.
pub(super) fn homework(kept: &Kept, digest: &Digest) -> Vec<Listed> {
    let file = kept.path.display().to_string();
    if kept.open.is_empty() {
        let title = format!("Homework: {}", visible(&kept.title));
        return vec![Listed {
            extent: "reached: send it".to_owned(),
            preview: vec![visible(&format!("gracerung report {file} -o report.yaml")).into_owned()],
            ..Listed::new(Opens::Homework, &file, &title)
        }];
    }
    let today = plan::date();
    let line = |due: &Due| {
        let title = format!("Homework: {}", visible(&due.drill.title));
        Listed {
            task: due.task.clone(),
            also: visible(&due.title).into_owned(),
            extent: due.when(today).unwrap_or_default(),
            preview: vec![visible(&homework_item(digest, due, today).why).into_owned()],
            ..Listed::new(Opens::Homework, &due.open, &title)
        }
    };
    kept.open.iter().map(line).collect()
}

/// The number of clear cells, and the number of all cells.
fn clear_of(board: &Board) -> (usize, usize) {
    let is_clear = |cell: &&Cell| matches!(cell.status, CellStatus::Clear | CellStatus::Passed);
    (
        board.cells().filter(is_clear).count(),
        board.cells().count(),
    )
}

/// The state of a board in words: `5 of 52 cells clear`.
fn done(board: &Board) -> String {
    let (clear, all) = clear_of(board);
    let held = match board.cells().filter(|cell| cell.held.is_held()).count() {
        0 => String::new(),
        held => format!(", {held} held"),
    };
    if clear == all {
        format!("all clear{held}")
    } else {
        format!("{clear} of {all} cells clear{held}")
    }
}
