//! What to practise today, and why.
//!
//! The rule is a choice of our own and can be changed in the settings. Cold tries come first,
//! because a first try of the day cannot be had later; each takes one repetition, and together they
//! take at most a quarter of the time. Then comes homework, then cells that were cleared and are
//! due again, then the cell that each drill's climb has come to, then, sparingly, a drill that was
//! never played. A cell cleared once is not learnt, so it is asked for again after a gap of a day.
//! Each time it holds the next gap is twice as long, and when it fails the gap is a day again. It
//! holds on a day whose first try of it was clean, or on which it was cleared once more. It fails on
//! any other day on which it was not clean, and on one on which it fell apart afterwards: three not
//! clean in a row, which is also when practice suggests a step back. A cell stands for
//! the slower ones of its stage. That gaps should grow is common practice; these lengths are
//! chosen, no source.

mod due;

pub use due::{Due, homework_item};

use super::chances::{Chance, repetitions_needed};
use super::digest::{CellDays, Digest, day_of};
use super::known::Known;
use crate::practice::{CellPlace, Mark, PlannedStage, Rung, next_cold};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// How drills follow each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Order {
    /// One drill after the other.
    #[default]
    Block,
    /// Turn about.
    Mix,
}

/// The rule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rule {
    /// Days until a cleared cell is asked for again.
    pub first_gap: i32,
    /// How many times longer each next gap is, 1 upward.
    pub growth: f64,
    /// The longest gap, days.
    pub longest_gap: i32,
    /// Minutes to fill.
    pub minutes: u32,
    /// How many drills that were never played a day may bring.
    pub new: usize,
    /// How drills follow each other.
    pub order: Order,
}

impl Default for Rule {
    fn default() -> Self {
        Self {
            first_gap: 1,
            growth: 2.0,
            longest_gap: 60,
            minutes: 20,
            new: 1,
            order: Order::Block,
        }
    }
}

/// Why an item is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Why {
    /// Cleared, and to be held by the first try of a day.
    Cold,
    /// Homework.
    Homework,
    /// Cleared before, and due again.
    Again,
    /// Begun and not cleared yet.
    Climbing,
    /// Never played.
    New,
}

/// One thing to practise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Item {
    /// What to open with `practise`.
    pub open: String,
    /// Which drill of a homework file, where it holds several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub task: Option<String>,
    /// The drill's title.
    pub title: String,
    /// The stage's name.
    pub stage: String,
    /// The stage's number, from 1.
    pub stage_number: usize,
    /// The rung: a tempo, or a length of tones at a tempo.
    #[serde(rename = "tempo")]
    pub rung: Rung,
    /// Minutes to plan for it.
    pub minutes: u32,
    /// What kind of reason.
    pub kind: Why,
    /// The reason, one sentence.
    pub why: String,
}

/// When a cleared cell is due again, the gap that led there, and whether it failed last; nothing
/// for a cell that was never clear.
pub fn due_again(days: &CellDays, rule: &Rule) -> Option<(Date, i32, bool)> {
    let cleared = days.cleared?;
    let first = rule.first_gap.max(1);
    let after = |day: Date, gap: i32| {
        day.checked_add(jiff::Span::new().days(gap.clamp(1, 3650)))
            .unwrap_or(Date::MAX)
    };
    let mut days_from = days.days.iter().skip_while(|day| day.day < cleared);
    // A cell that fell apart on the day it was cleared is asked for as soon as any, for another
    // reason.
    let fell = days_from.next().is_some_and(|day| day.fell);
    let (mut gap, mut due, mut failed) = (first, after(cleared, first), fell);
    for day in days_from.filter(|day| day.day > cleared) {
        // A first try of the day that is clean answers by itself; it needs no streak.
        let answered = days.first_of(day.day) == Some(Mark::Clean);
        if day.held || (answered && !day.fell) {
            // A cell that held before it was due proves no longer gap: the same gap begins anew.
            if day.day >= due && !failed {
                let longer = (f64::from(gap) * rule.growth.max(1.0)).round() as i32;
                gap = longer.clamp(first, rule.longest_gap.max(first));
            }
            failed = false;
            due = after(day.day, gap);
        } else if day.not_clean > 0 {
            gap = first;
            failed = true;
            due = after(day.day, first);
        }
    }
    Some((due, gap, failed))
}

impl Known {
    /// Minutes until a cell is likely clear, 1 to 8.
    fn minutes(&self, (stage, rung): CellPlace, chance: f64) -> u32 {
        let beats = self.beats.get(stage).map_or(8.0, |beats| beats.to_f64());
        let repetitions = repetitions_needed(chance, self.clean).min(60.0);
        let minutes = repetitions * beats / rung.tempo().to_f64();
        minutes.ceil().clamp(1.0, 8.0) as u32
    }

    fn item(&self, kind: Why, place: CellPlace, chance: f64, why: String) -> Item {
        let (stage, rung) = place;
        Item {
            open: self.name.clone(),
            task: None,
            title: self.title.clone(),
            stage: self.stage_names.get(stage).cloned().unwrap_or_default(),
            stage_number: stage + 1,
            rung,
            minutes: self.minutes(place, chance),
            kind,
            why,
        }
    }
}

/// `today`, `yesterday`, `4 days ago`.
pub fn ago(day: Date, today: Date) -> String {
    match days_between(day, today) {
        i32::MIN..=0 => "today".to_owned(),
        1 => "yesterday".to_owned(),
        days => format!("{days} days ago"),
    }
}

/// Whole days from one date to another.
fn days_between(from: Date, to: Date) -> i32 {
    from.until(to).map_or(0, |span| span.get_days())
}

/// What to practise on a day, in order; a pure function of what the journal holds, the drills, the
/// homework and the date. Never more than fits the minutes, but at least one thing where there is
/// any.
pub fn today(digest: &Digest, drills: &[Known], due: &[Due], date: Date, rule: &Rule) -> Vec<Item> {
    let mut items = cold_items(digest, drills, date, rule);
    let mut due: Vec<&Due> = due.iter().collect();
    due.sort_by_key(|homework| homework.by.unwrap_or(Date::MAX));
    for homework in due {
        items.push(homework_item(digest, homework, date));
    }
    let mut again: Vec<(f64, Item)> = drills
        .iter()
        .flat_map(|drill| again_items(digest, drill, date, rule))
        .collect();
    again.sort_by(|one, other| other.0.total_cmp(&one.0));
    let asked = |item: &Item, cold: &Item| {
        (&item.open, item.stage_number, item.rung) == (&cold.open, cold.stage_number, cold.rung)
    };
    again.retain(|(_, item)| !items.iter().any(|cold| asked(item, cold)));
    items.extend(again.into_iter().map(|(_, item)| item));
    let mut climbing: Vec<(Date, Item)> = drills
        .iter()
        .filter_map(|drill| climbing_item(digest, drill, date))
        .collect();
    climbing.sort_by_key(|(last, _)| std::cmp::Reverse(*last));
    // homework brings its own copy of a drill, with the same cells
    let copy = |item: &Item, homework: &Item| {
        let cell = |one: &Item| (one.stage_number, one.rung);
        homework.kind == Why::Homework
            && homework.title == item.title
            && cell(homework) == cell(item)
    };
    climbing.retain(|(_, item)| !items.iter().any(|homework| copy(item, homework)));
    items.extend(climbing.into_iter().map(|(_, item)| item));
    let never = drills
        .iter()
        .filter(|drill| last_played(digest, drill).is_none());
    for drill in never.take(rule.new) {
        let first = drill.stages.first().and_then(|stage| stage.rungs.first());
        if let Some(place) = first.map(|rung| (0, *rung)) {
            let why = format!("{}: new to you", drill.name_of(place));
            items.push(drill.item(Why::New, place, 0.7, why));
        }
    }
    let mut items = fitting(items, rule.minutes);
    if is_newcomer(digest) {
        fill_for_a_newcomer(&mut items, digest, drills, rule);
    }
    ordered(items, rule.order)
}

/// True where no cell was ever cleared, so that none can be due again.
pub fn is_newcomer(digest: &Digest) -> bool {
    digest.cells().all(|(_, days)| days.cleared.is_none())
}

/// Fills the minutes that are left with cells that nothing must come before: the stages of the
/// first drill one after the other, then the first stage of each further drill, all at the foot of
/// the ladder. The last item is as long as there is time. With `new` at 0 nothing is added.
fn fill_for_a_newcomer(items: &mut Vec<Item>, digest: &Digest, drills: &[Known], rule: &Rule) {
    let mut left = rule
        .minutes
        .saturating_sub(items.iter().map(|item| item.minutes).sum());
    let begins = drills.iter().enumerate().flat_map(|(at, drill)| {
        let stages = if at == 0 { drill.stages.len() } else { 1 };
        let begin = move |(stage, planned): (usize, &PlannedStage)| {
            let first = planned.rungs.first()?;
            Some((drill, (stage, *first)))
        };
        let first = drill.stages.iter().enumerate().take(stages);
        first.filter_map(begin)
    });
    for (drill, place) in begins {
        if left == 0 || rule.new == 0 {
            return;
        }
        let planned = |item: &Item| item.open == drill.name && item.stage_number == place.0 + 1;
        if items.iter().any(planned) {
            continue;
        }
        let why = format!(
            "{}: {}",
            drill.name_of(place),
            known_words(digest, drill, place)
        );
        let mut item = drill.item(Why::New, place, 0.7, why);
        item.minutes = item.minutes.min(left);
        left -= item.minutes;
        items.push(item);
    }
}

/// What the journal has of a cell that is to fill a newcomer's minutes.
fn known_words(digest: &Digest, drill: &Known, place: CellPlace) -> String {
    let played = drill
        .days(digest, place)
        .filter(|days| !days.days.is_empty());
    match (played, last_played(digest, drill)) {
        (Some(days), _) => {
            let (clean, of) = days.lately(20);
            format!("{}; not cleared yet", times(clean, of))
        }
        (None, Some(_)) => "a stage that you have not played yet".to_owned(),
        (None, None) => "new to you".to_owned(),
    }
}

/// One cold try for each drill that was not played today, the longest cleared first.
fn cold_items(digest: &Digest, drills: &[Known], date: Date, rule: &Rule) -> Vec<Item> {
    let mut items: Vec<(Option<Date>, Item)> = drills
        .iter()
        .filter(|drill| {
            let tried = digest.first_tries(&drill.prints());
            let today = |one: &crate::practice::Try| one.day == day_of(date);
            !tried.iter().any(today) && last_played(digest, drill) != Some(date)
        })
        .filter_map(|drill| {
            let next = next_cold(&drill.cold_cells(digest, date))?;
            let place = (next.stage, next.rung);
            let cleared = drill.days(digest, place)?.cleared;
            let name = drill.name_of(place);
            let before = match next.tries.last {
                None => {
                    cleared.map_or_else(String::new, |day| format!("cleared {}", ago(day, date)))
                }
                Some(day) => format!("last tried cold {}", ago(super::date_of(day), date)),
            };
            let why = format!(
                "{name}: {before}, not held yet; try it cold: once, first thing, without reference"
            );
            let mut item = drill.item(Why::Cold, place, 1.0, why);
            item.minutes = 1;
            Some((cleared, item))
        })
        .collect();
    items.sort_by_key(|(cleared, _)| *cleared);
    items.truncate((rule.minutes / COLD_SHARE).max(1) as usize);
    items.into_iter().map(|(_, item)| item).collect()
}

/// One minute in this many may go to cold tries: a quarter, chosen so that a player who comes back
/// after weeks still climbs.
const COLD_SHARE: u32 = 4;

fn chance(digest: &Digest, drill: &Known, place: CellPlace) -> f64 {
    drill.days(digest, place).map_or(0.7, |days| {
        let (clean, of) = days.lately(20);
        Chance::of(clean, of).mean
    })
}

/// The highest cleared cell of each stage, where it is due, and for how many gaps it has been due.
fn again_items(digest: &Digest, drill: &Known, date: Date, rule: &Rule) -> Vec<(f64, Item)> {
    let mut items = Vec::new();
    for (stage, planned) in drill.stages.iter().enumerate() {
        let highest = planned.rungs.iter().rev().find_map(|rung| {
            let days = drill.days(digest, (stage, *rung))?;
            days.cleared.is_some().then_some(((stage, *rung), days))
        });
        let Some((place, days)) = highest else {
            continue;
        };
        let Some((due, gap, failed)) = due_again(days, rule) else {
            continue;
        };
        if due > date {
            continue;
        }
        let last = days.days.last().map_or(due, |day| day.day);
        let name = drill.name_of(place);
        let why = if failed {
            format!(
                "{name}: not clean {}, so it comes back sooner",
                ago(last, date)
            )
        } else {
            format!("{name}: clean {}, due again", ago(last, date))
        };
        let over = f64::from(days_between(due, date) + 1) / f64::from(gap.max(1));
        let at = chance(digest, drill, place);
        items.push((over, drill.item(Why::Again, place, at, why)));
    }
    items
}

fn last_played(digest: &Digest, drill: &Known) -> Option<Date> {
    let stages = drill.stages.iter().enumerate();
    stages
        .flat_map(|(stage, planned)| planned.rungs.iter().map(move |rung| (stage, *rung)))
        .filter_map(|place| drill.days(digest, place))
        .filter_map(|days| days.days.last().map(|day| day.day))
        .max()
}

/// With fewer marks than this the chance is not told (chosen: the interval of ten still spans half
/// of all chances).
const TELLING: u32 = 10;

/// How many times it came clean.
fn times(clean: u32, of: u32) -> String {
    match (clean, of) {
        (_, 0) => "played, nothing marked".to_owned(),
        (0, 1) => "played once, not clean".to_owned(),
        (1, 1) => "played once, clean".to_owned(),
        (0, of) => format!("played {of} times, never clean"),
        (clean, of) if clean == of => format!("clean all {of} times"),
        (clean, of) => format!("clean {clean} of the last {of} times"),
    }
}

fn climbing_item(digest: &Digest, drill: &Known, date: Date) -> Option<(Date, Item)> {
    let last = last_played(digest, drill)?;
    let place = drill.frontier(digest)?;
    let days = drill.days(digest, place);
    let name = drill.name_of(place);
    let why = match days {
        Some(days) => {
            let (clean, of) = days.lately(20);
            let last = ago(days.days.last().map_or(last, |day| day.day), date);
            let chance = if of >= TELLING {
                let words = Chance::of(clean, of).words();
                format!("; the chance that the next is clean: {words}")
            } else {
                String::new()
            };
            format!(
                "{name}: {}, {last}; not cleared yet{chance}",
                times(clean, of)
            )
        }
        None => format!(
            "{name}: this comes next on its ladder; the drill was last played {}",
            ago(last, date)
        ),
    };
    let at = chance(digest, drill, place);
    Some((last, drill.item(Why::Climbing, place, at, why)))
}

fn fitting(items: Vec<Item>, minutes: u32) -> Vec<Item> {
    let mut left = minutes;
    let mut taken: Vec<Item> = Vec::new();
    for mut item in items {
        if taken.is_empty() {
            item.minutes = item.minutes.min(minutes.max(1));
        }
        if item.minutes <= left || taken.is_empty() {
            left = left.saturating_sub(item.minutes);
            taken.push(item);
        }
    }
    taken
}

fn ordered(items: Vec<Item>, order: Order) -> Vec<Item> {
    let (cold, items): (Vec<Item>, Vec<Item>) =
        items.into_iter().partition(|item| item.kind == Why::Cold);
    let rest = grouped(items, order);
    cold.into_iter().chain(rest).collect()
}

fn grouped(items: Vec<Item>, order: Order) -> Vec<Item> {
    let mut groups: Vec<Vec<Item>> = Vec::new();
    for item in items {
        match groups.iter_mut().find(|group| group[0].open == item.open) {
            Some(group) => group.push(item),
            None => groups.push(vec![item]),
        }
    }
    match order {
        Order::Block => groups.into_iter().flatten().collect(),
        Order::Mix => {
            let longest = groups.iter().map(Vec::len).max().unwrap_or(0);
            (0..longest)
                .flat_map(|turn| groups.iter().filter_map(move |group| group.get(turn)))
                .cloned()
                .collect()
        }
    }
}

#[cfg(test)]
mod tests;
