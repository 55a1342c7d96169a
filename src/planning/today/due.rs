//! Homework that is not reached, as something to practise.

use super::{Item, Why, chance, days_between};
use crate::planning::digest::Digest;
use crate::planning::known::Known;
use crate::practice::CellPlace;
use jiff::civil::Date;

/// Homework that is not done.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// The homework's title.
    pub title: String,
    /// What to open: a drill's name or a file.
    pub open: String,
    /// Which drill of the file, where it holds several.
    pub task: Option<String>,
    /// By when, where a day was set.
    pub by: Option<Date>,
    /// The drill, where it is one of those known.
    pub drill: Known,
    /// The stage and rung to be reached.
    pub goal: CellPlace,
}

impl Due {
    /// When it is due, as seen from a date: `due in 3 days`; nothing where no day was set.
    pub fn when(&self, date: Date) -> Option<String> {
        Some(match days_between(date, self.by?) {
            0 => "due today".to_owned(),
            1 => "due tomorrow".to_owned(),
            -1 => "a day over".to_owned(),
            days if days < 0 => format!("{} days over", -days),
            days => format!("due in {days} days"),
        })
    }
}

/// Homework as something to practise on a date: where its climb stands, and why.
pub fn homework_item(digest: &Digest, homework: &Due, date: Date) -> Item {
    let goal = homework.goal;
    let drill = &homework.drill;
    let when = homework.when(date);
    let when = when.map_or_else(|| "homework".to_owned(), |when| format!("homework, {when}"));
    let no_quicker = |at: &CellPlace| at.1.tempo() <= goal.1.tempo();
    let at = drill.frontier(digest).filter(no_quicker).unwrap_or(goal);
    let why = format!(
        "{}: {when}; to reach {}",
        drill.name_of(at),
        drill.cell_name(goal)
    );
    let mut item = drill.item(Why::Homework, at, chance(digest, drill, at), why);
    item.open.clone_from(&homework.open);
    item.task.clone_from(&homework.task);
    item
}
