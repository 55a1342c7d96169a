//! What to practise today, and why.
//!
//! The rule, a choice of our own and editable in the settings: cold tries come first, because a first
//! try of the day cannot be had later; each takes one repetition, and together they take at most a
//! quarter of the time. Then comes homework; then cells that were cleared and are due again; then the cell each drill's climb has come to; then
//! a drill never played, sparingly. A cell cleared once is not learnt: it is asked for again after a
//! gap (a day), each time it holds the next gap is longer (twice), and when it fails the gap is the
//! first again. It fails on a day on which it was not clean and was not held, or on which it fell
//! apart afterwards: three not clean in a row, which is also when practice suggests a step back. A
//! cell stands for the slower ones of its stage. That gaps should grow is common
//! practice; these lengths are chosen, no source.

use super::chances::{Chance, repetitions_needed};
use super::digest::{CellDays, Digest, day_of};
use crate::practice::{
    Candidate, CellKey, ColdTries, Place, PlannedStage, Route, Rung, StagePrint, cold_tries,
    in_route_order, next_cold, reaches,
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// A drill as planning knows it.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// The name it is opened by.
    pub name: String,
    /// Its title.
    pub title: String,
    /// Its stages, each with its rungs.
    pub stages: Vec<PlannedStage>,
    /// Their names.
    pub stage_names: Vec<String>,
    /// Beats of one repetition with its breath, for each stage.
    pub beats: Vec<f64>,
    /// Clean ones in a row that clear a cell.
    pub clean: u32,
    /// Which cell comes next.
    pub route: Route,
}

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
    pub goal: Place,
}

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
    /// Days a gap does not grow beyond.
    pub longest_gap: i32,
    /// Minutes to fill.
    pub minutes: u32,
    /// Drills never played that a day may bring.
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
    // Fallen apart on the very day it was cleared: it is asked for as soon, with another reason.
    let fell = days_from.next().is_some_and(|day| day.fell);
    let (mut gap, mut due, mut failed) = (first, after(cleared, first), fell);
    for day in days_from.filter(|day| day.day > cleared) {
        // What came clean at the first try, alone, needs no row to show that it holds.
        if day.held || (day.cold && !day.fell) {
            // Held too early it is no proof of a longer gap: only the wait begins anew.
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
    /// The fingerprints of its stages' music.
    pub fn prints(&self) -> Vec<StagePrint> {
        self.stages.iter().map(|stage| stage.print).collect()
    }

    /// The cells that are asked cold and were cleared before a date, with what their cold tries come
    /// to.
    pub(super) fn cold_cells(&self, digest: &Digest, date: Date) -> Vec<Candidate> {
        let first = digest.first_tries(&self.prints());
        let asked = |place: &Place| self.stages[place.0].asks_cold(place.1);
        self.route()
            .into_iter()
            .filter(asked)
            .filter_map(|(stage, rung)| {
                let key = CellKey {
                    stage: self.stages[stage].print,
                    rung,
                };
                let cleared = digest.cell(key)?.cleared.filter(|day| *day < date)?;
                let tries: ColdTries = cold_tries(key, day_of(cleared), &first);
                Some(Candidate { stage, rung, tries })
            })
            .collect()
    }

    /// The stage, from 0, that a cell belongs to, also between its rungs.
    pub fn stage_of(&self, cell: CellKey) -> Option<usize> {
        self.stages.iter().position(|stage| stage.has(cell))
    }

    /// `half beats at 52`, `closing up at 104 ms`.
    pub fn cell_name(&self, (stage, rung): Place) -> String {
        let stage = self.stage_names.get(stage).map_or("", String::as_str);
        format!("{stage} at {}", rung.spoken())
    }

    fn days<'digest>(
        &self,
        digest: &'digest Digest,
        (stage, rung): Place,
    ) -> Option<&'digest CellDays> {
        let stage = self.stages.get(stage)?.print;
        digest.cell(CellKey { stage, rung })
    }

    /// Every cell, in the order of the route.
    fn route(&self) -> Vec<Place> {
        let rungs: Vec<Vec<Rung>> = self
            .stages
            .iter()
            .map(|stage| stage.rungs.clone())
            .collect();
        in_route_order(&rungs, self.route)
    }

    /// The first cell of the route that is not clear and lies before no clear one.
    fn frontier(&self, digest: &Digest) -> Option<Place> {
        let route = self.route();
        let is_clear = |place: &Place| {
            let days = self.days(digest, *place);
            days.is_some_and(|days| days.cleared.is_some())
        };
        let clear: Vec<Place> = route.iter().copied().filter(is_clear).collect();
        let done = |place: &Place| clear.iter().any(|clear| reaches(*place, *clear));
        route.into_iter().find(|place| !done(place))
    }

    /// Minutes until a cell is likely clear, 1 to 8.
    fn minutes(&self, (stage, rung): Place, chance: f64) -> u32 {
        let beats = self.beats.get(stage).copied().unwrap_or(8.0);
        let repetitions = repetitions_needed(chance, self.clean).min(60.0);
        let minutes = repetitions * beats / rung.tempo().to_f64();
        minutes.ceil().clamp(1.0, 8.0) as u32
    }

    fn item(&self, kind: Why, place: Place, chance: f64, why: String) -> Item {
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

    fn name_of(&self, place: Place) -> String {
        format!("{}, {}", self.title, self.cell_name(place))
    }
}

/// `today`, `yesterday`, `4 days ago`.
fn ago(day: Date, today: Date) -> String {
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
        fill_for_a_newcomer(&mut items, drills, rule);
    }
    ordered(items, rule.order)
}

/// Nothing was ever cleared: there is nothing to come back to.
fn is_newcomer(digest: &Digest) -> bool {
    digest.cells().all(|(_, days)| days.cleared.is_none())
}

/// Fills the minutes that are left with what nobody has to have played before: the stages of the first
/// drill one after the other, then how each further drill begins, all at the foot of the ladder. The
/// last is as long as there is time. With `new` at 0 nothing is added.
fn fill_for_a_newcomer(items: &mut Vec<Item>, drills: &[Known], rule: &Rule) {
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
        let why = format!("{}: new to you", drill.name_of(place));
        let mut item = drill.item(Why::New, place, 0.7, why);
        item.minutes = item.minutes.min(left);
        left -= item.minutes;
        items.push(item);
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

/// Cold tries take at most this part of the minutes: a quarter, chosen, so that who comes back after
/// weeks still climbs.
const COLD_SHARE: u32 = 4;

fn homework_item(digest: &Digest, homework: &Due, date: Date) -> Item {
    let goal = homework.goal;
    let drill = &homework.drill;
    let when = match homework.by.map(|by| days_between(date, by)) {
        None => "homework".to_owned(),
        Some(0) => "homework, due today".to_owned(),
        Some(1) => "homework, due tomorrow".to_owned(),
        Some(-1) => "homework, a day over".to_owned(),
        Some(days) if days < 0 => format!("homework, {} days over", -days),
        Some(days) => format!("homework, due in {days} days"),
    };
    let no_quicker = |at: &Place| at.1.tempo() <= goal.1.tempo();
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

fn chance(digest: &Digest, drill: &Known, place: Place) -> f64 {
    drill.days(digest, place).map_or(0.7, |days| {
        let (clean, of) = days.lately(20);
        Chance::of(clean, of).mean
    })
}

/// The highest cleared cell of each stage, where it is due; with how far over it is in gaps.
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

/// With fewer marks than this the chance lies anywhere (chosen: ten leave half of all open).
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
mod tests {
    use super::*;
    use crate::planning::Said;
    use crate::practice::{Mark, RecordId};
    use crate::units::Bpm;
    use jiff::civil::date;
    use uuid::Uuid;

    fn planned<const COUNT: usize>(stages: [u128; COUNT], tempi: &[i128]) -> Vec<PlannedStage> {
        let rung = |tempo: &i128| Rung::Tempo(Bpm::whole(*tempo).expect("a tempo"));
        stages
            .map(|stage| PlannedStage {
                print: StagePrint(stage),
                rungs: tempi.iter().map(rung).collect(),
                real_time: stages.last() == Some(&stage),
            })
            .to_vec()
    }

    fn drill(name: &str, stage: u128) -> Known {
        Known {
            name: name.to_owned(),
            title: name.to_owned(),
            stages: planned([stage, stage + 1], &[60, 62]),
            stage_names: vec!["full beats".to_owned(), "real time".to_owned()],
            beats: vec![8.0, 8.0],
            clean: 2,
            route: Route::Across,
        }
    }

    /// Marks of one cell: a day and signs, `c` clean and `n` not.
    fn marks(stage: u128, tempo: &str, days: &[(Date, &str)]) -> Vec<Said> {
        let mut all = Vec::new();
        for (session, (day, signs)) in days.iter().enumerate() {
            for (number, sign) in signs.chars().enumerate() {
                let number = number as u64;
                all.push(Said::Mark {
                    id: RecordId {
                        session: Uuid::from_u128(stage * 1000 + session as u128),
                        number,
                    },
                    repetition: number,
                    cell: CellKey {
                        stage: StagePrint(stage),
                        rung: Rung::parse(tempo).expect("a rung"),
                    },
                    day: *day,
                    mark: if sign == 'c' {
                        Mark::Clean
                    } else {
                        Mark::NotClean
                    },
                    assumed: false,
                    needed: 2,
                });
            }
        }
        all
    }

    fn due(days: &[(Date, &str)]) -> Option<(Date, i32, bool)> {
        let digest = Digest::of(marks(1, "60", days));
        let (_, days) = digest.cells().next()?;
        due_again(days, &Rule::default())
    }

    /// Without growing gaps a cell cleared in October would be asked for every day till May.
    #[test]
    fn a_cell_that_holds_waits_twice_as_long_each_time() {
        let (a, b, c) = (date(2024, 2, 27), date(2024, 2, 28), date(2024, 3, 1));
        assert_eq!(due(&[(a, "c")]), None, "never clear");
        assert_eq!(due(&[(a, "cc")]), Some((b, 1, false)));
        // Over the leap day: two days from the 28th is the 1st of March.
        assert_eq!(due(&[(a, "cc"), (b, "cc")]), Some((c, 2, false)));
        assert_eq!(
            due(&[(a, "cc"), (b, "cc"), (c, "ncc")]),
            Some((date(2024, 3, 5), 4, false))
        );
    }

    #[test]
    fn a_cell_that_fails_comes_back_the_next_day_and_begins_again() {
        let (a, b, c) = (date(2027, 1, 1), date(2027, 1, 2), date(2027, 1, 4));
        assert_eq!(
            due(&[(a, "cc"), (b, "cc"), (c, "nn")]),
            Some((date(2027, 1, 5), 1, true))
        );
        let early = date(2027, 1, 3);
        assert_eq!(
            due(&[(a, "cc"), (b, "cc"), (early, "cc")]),
            Some((date(2027, 1, 5), 2, false))
        );
    }

    /// Five clean and then nothing but slips once counted as held, and the gap doubled.
    #[test]
    fn a_day_counts_by_how_it_ended() {
        let (a, b) = (date(2027, 1, 1), date(2027, 1, 2));
        let tomorrow = date(2027, 1, 3);
        // Two slips after it was held are two slips; three are what a step back is suggested for.
        assert_eq!(
            due(&[(a, "cc"), (b, "ccnn")]),
            Some((date(2027, 1, 4), 2, false))
        );
        assert_eq!(due(&[(a, "cc"), (b, "ccnnn")]), Some((tomorrow, 1, true)));
        assert_eq!(
            due(&[(a, "cc"), (b, "ccnnncc")]),
            Some((date(2027, 1, 4), 2, false))
        );
        // On the day it was cleared.
        assert_eq!(due(&[(a, "ccnnn")]), Some((b, 1, true)));
        assert_eq!(due(&[(a, "nnncc")]), Some((b, 1, false)));
        // Slips of two days are no row.
        assert_eq!(
            due(&[(a, "ccnn"), (b, "ncc")]),
            Some((date(2027, 1, 4), 2, false))
        );
    }

    #[test]
    fn each_item_says_why_in_one_sentence() {
        let mut said = marks(1, "60", &[(date(2027, 1, 1), "cc")]);
        said.extend(marks(2, "60", &[(date(2027, 1, 1), "cncn")]));
        let digest = Digest::of(said);
        let drills = [drill("birl", 1), drill("grip", 10)];
        let rule = Rule {
            minutes: 60,
            ..Rule::default()
        };
        let items = today(&digest, &drills, &[], date(2027, 1, 5), &rule);
        let why: Vec<&str> = items.iter().map(|item| item.why.as_str()).collect();
        assert_eq!(
            why,
            [
                "birl, full beats at 60: clean 4 days ago, due again",
                "birl, real time at 60: clean 2 of the last 4 times, 4 days ago; not cleared yet",
                "grip, full beats at 60: new to you",
            ]
        );
    }

    /// A first try on a day of a cell: alone, and what was said.
    fn tried(stage: u128, tempo: &str, day: Date, sign: &str) -> Vec<Said> {
        let mut said = marks(stage, tempo, &[(day, sign)]);
        for one in &mut said {
            if let Said::Mark { id, .. } = one {
                id.session = Uuid::from_u128(stage * 1_000_000 + super::day_of(day) as u128);
            }
        }
        let Some(Said::Mark {
            id,
            repetition,
            cell,
            ..
        }) = said.first().copied()
        else {
            panic!("a mark");
        };
        said.push(Said::Tried {
            session: id.session,
            repetition,
            cell,
            day,
            alone: true,
        });
        said
    }

    /// A first try cannot be had later in the day, so it stands before everything else, and once it
    /// was clean the cell waits as one that held.
    #[test]
    fn a_cell_that_was_cleared_is_tried_cold_first() {
        let day = |day| date(2027, 1, day);
        let drills = [drill("birl", 1), drill("grip", 10)];
        let homework = Due {
            title: "week".to_owned(),
            open: "week.yaml".to_owned(),
            task: None,
            by: Some(day(3)),
            drill: drills[1].clone(),
            goal: (1, drills[1].stages[1].rungs[1]),
        };
        let top = marks(2, "62", &[(day(1), "cc")]);
        let kinds = |said: &[Said], on: Date| -> Vec<(Why, String)> {
            let digest = Digest::of(said.iter().copied());
            let due = std::slice::from_ref(&homework);
            today(&digest, &drills, due, on, &Rule::default())
                .into_iter()
                .map(|item| (item.kind, item.why))
                .collect()
        };
        assert_eq!(kinds(&top, day(1))[0].0, Why::Homework, "cleared today");
        let next = kinds(&top, day(2));
        assert_eq!(
            next[0],
            (
                Why::Cold,
                "birl, real time at 62: cleared yesterday, not held yet; try it cold: once, first \
                 thing, without reference"
                    .to_owned()
            )
        );
        assert_eq!(next[1].0, Why::Homework);
        let again = |items: &[(Why, String)]| items.iter().any(|(kind, _)| *kind == Why::Again);
        assert!(!again(&next), "not asked twice");

        let mut held = top.clone();
        held.extend(tried(2, "62", day(2), "c"));
        assert!(
            kinds(&held, day(3))
                .iter()
                .all(|(kind, _)| *kind != Why::Cold)
        );
        assert!(!again(&kinds(&held, day(3))), "it waits two days");
        assert!(again(&kinds(&held, day(4))));

        let mut failed = top.clone();
        failed.extend(tried(2, "62", day(2), "n"));
        assert!(
            kinds(&failed, day(2))
                .iter()
                .all(|(kind, _)| *kind != Why::Cold)
        );
        let (kind, why) = kinds(&failed, day(3)).remove(0);
        assert_eq!(kind, Why::Cold);
        assert!(why.contains("last tried cold yesterday"), "{why}");
    }

    /// Who comes back after weeks still climbs: cold tries take a quarter of the time at most.
    #[test]
    fn cold_tries_leave_time_for_the_rest() {
        let drills: Vec<Known> = (0..30)
            .map(|at| drill(&format!("drill {at}"), at * 10 + 1))
            .collect();
        let said: Vec<Said> = (0..30)
            .flat_map(|at| marks(at * 10 + 1, "62", &[(date(2027, 1, 1), "cc")]))
            .collect();
        let digest = Digest::of(said);
        let cold = |minutes: u32| {
            let rule = Rule {
                minutes,
                ..Rule::default()
            };
            today(&digest, &drills, &[], date(2027, 2, 1), &rule)
                .iter()
                .take_while(|item| item.kind == Why::Cold)
                .count()
        };
        assert_eq!([cold(1), cold(20), cold(60)], [1, 5, 15]);
    }

    /// `0 of the last 1` is no way to speak, and four marks are no chance.
    #[test]
    fn how_often_it_was_clean_is_said_as_people_say_it() {
        assert_eq!(times(0, 1), "played once, not clean");
        assert_eq!(times(0, 3), "played 3 times, never clean");
        assert_eq!(times(3, 3), "clean all 3 times");
        let why = |signs: &str| {
            let digest = Digest::of(marks(1, "60", &[(date(2027, 1, 1), signs)]));
            let drills = [drill("birl", 1)];
            let items = today(&digest, &drills, &[], date(2027, 1, 2), &Rule::default());
            items[0].why.clone()
        };
        assert_eq!(
            why("n"),
            "birl, full beats at 60: played once, not clean, yesterday; not cleared yet"
        );
        // Beta(6, 6) of scipy.stats 1.17.1: 0.234 to 0.766.
        assert_eq!(
            why("cncncncncn"),
            "birl, full beats at 60: clean 5 of the last 10 times, yesterday; not cleared yet; \
             the chance that the next is clean: 23 to 77 %"
        );
    }

    #[test]
    fn the_minutes_are_kept_and_one_thing_always_comes() {
        let drills: Vec<Known> = (0..9)
            .map(|at| drill(&format!("drill {at}"), at * 10 + 1))
            .collect();
        let said: Vec<Said> = (0..9)
            .flat_map(|at| marks(at * 10 + 1, "60", &[(date(2027, 1, 1), "cc")]))
            .collect();
        let digest = Digest::of(said);
        for minutes in [1, 3, 10, 60] {
            let rule = Rule {
                minutes,
                ..Rule::default()
            };
            let items = today(&digest, &drills, &[], date(2027, 3, 1), &rule);
            assert!(!items.is_empty());
            assert!(items.iter().map(|item| item.minutes).sum::<u32>() <= minutes);
        }
        let mixed = Rule {
            order: Order::Mix,
            minutes: 60,
            ..Rule::default()
        };
        let blocked = Rule {
            minutes: 60,
            ..Rule::default()
        };
        let names = |rule: &Rule| {
            let items = today(&digest, &drills, &[], date(2027, 3, 1), rule);
            items.into_iter().map(|item| item.open).collect::<Vec<_>>()
        };
        let block = names(&blocked);
        assert!(block.windows(2).any(|pair| pair[0] == pair[1]));
        let mix = names(&mixed);
        assert_ne!(mix[0], mix[1]);
    }

    /// Somebody who asked for fifteen minutes on the first day once got four. Each of these cells takes
    /// a minute, and a newcomer's are ten: the first drill's two and one of each other.
    #[test]
    fn a_newcomers_minutes_are_filled() {
        let drills: Vec<Known> = (0..9)
            .map(|at| drill(&format!("drill {at}"), at * 10 + 1))
            .collect();
        let plan = |digest: &Digest, minutes, new| {
            let rule = Rule {
                minutes,
                new,
                ..Rule::default()
            };
            today(digest, &drills, &[], date(2027, 1, 5), &rule)
        };
        let sum = |items: &[Item]| items.iter().map(|item| item.minutes).sum::<u32>();
        let empty = Digest::default();
        for minutes in [1, 5, 10] {
            let items = plan(&empty, minutes, 1);
            assert_eq!(sum(&items), minutes);
            for (at, item) in items.iter().enumerate() {
                let same = |other: &&Item| {
                    other.open == item.open && other.stage_number == item.stage_number
                };
                assert_eq!(items.iter().filter(same).count(), 1, "{at}: {items:?}");
            }
        }
        // first the first drill, stage by stage
        let items = plan(&empty, 10, 1);
        let named = |item: &Item| (item.open.clone(), item.stage_number);
        let named: Vec<_> = items.iter().take(3).map(named).collect();
        assert_eq!(
            named,
            [("drill 0", 1), ("drill 0", 2), ("drill 1", 1)].map(|(a, b)| (a.to_owned(), b))
        );
        // begun and not cleared: still new to it all, and what was begun is asked for once
        let begun = Digest::of(marks(1, "60", &[(date(2027, 1, 4), "cn")]));
        assert_eq!(sum(&plan(&begun, 8, 1)), 8);
        // who wants nothing new gets nothing new
        assert_eq!(plan(&empty, 10, 0), []);
        // and with something cleared the plan is the usual one
        let cleared = Digest::of(marks(1, "60", &[(date(2027, 1, 4), "cc")]));
        let new = |item: &&Item| item.kind == Why::New;
        assert_eq!(plan(&cleared, 60, 1).iter().filter(new).count(), 1);
    }

    /// A mark taken back or corrected once counted in the plan although the board had dropped it.
    #[test]
    fn what_was_taken_back_counts_nowhere() {
        let mut said = marks(1, "60", &[(date(2027, 1, 1), "cc")]);
        let Said::Mark { id, .. } = said[1] else {
            panic!("a mark");
        };
        said.push(Said::Undo(id));
        let digest = Digest::of(said);
        let (_, days) = digest.cells().next().expect("a cell");
        assert_eq!(days.cleared, None);
        assert_eq!(days.said(), (1, 0));
    }

    /// A demo student (invented, seeded) who does what the plan says for a leap year: every day has
    /// a plan within its minutes, every cleared cell comes back, and the gaps do grow.
    #[test]
    fn a_year_of_a_student_who_follows_the_plan() {
        let drills: Vec<Known> = (0..6)
            .map(|at| Known {
                stages: planned([at * 10 + 1, at * 10 + 2], &[50, 52, 54, 57, 60, 62, 66]),
                clean: 5,
                ..drill(&format!("drill {at}"), at * 10 + 1)
            })
            .collect();
        let rule = Rule::default();
        let mut said: Vec<Said> = Vec::new();
        let mut state = 2_463_534_242_u64;
        let mut played: std::collections::BTreeMap<CellKey, u32> =
            std::collections::BTreeMap::new();
        let mut date = date(2024, 1, 1);
        let mut kinds = std::collections::BTreeSet::new();
        for day in 0..366_u32 {
            let digest = Digest::of(said.iter().copied());
            let items = today(&digest, &drills, &[], date, &rule);
            assert!(items.iter().map(|item| item.minutes).sum::<u32>() <= rule.minutes);
            // A free day is earned: only where every cell was cleared once and none is due.
            let cleared = digest
                .cells()
                .filter(|(_, days)| days.cleared.is_some())
                .count();
            let all: usize = drills.iter().map(|drill| drill.route().len()).sum();
            assert!(
                !items.is_empty() || cleared == all,
                "nothing to do on {date} with {cleared} of {all} cells cleared"
            );
            for (at, item) in items.iter().enumerate() {
                kinds.insert(format!("{:?}", item.kind));
                let drill = drills
                    .iter()
                    .find(|drill| drill.name == item.open)
                    .expect("a drill");
                let cell = CellKey {
                    stage: drill.stages[item.stage_number - 1].print,
                    rung: item.rung,
                };
                for number in 0..12_u64 {
                    state ^= state << 13;
                    state ^= state >> 7;
                    state ^= state << 17;
                    let times = played.entry(cell).or_default();
                    let clean = (state >> 11) % 100 < u64::from((60 + *times).min(95));
                    *times += 1;
                    said.push(Said::Mark {
                        id: RecordId {
                            session: Uuid::from_u128(u128::from(day) * 100 + at as u128),
                            number,
                        },
                        repetition: number,
                        cell,
                        day: date,
                        mark: if clean { Mark::Clean } else { Mark::NotClean },
                        assumed: false,
                        needed: 5,
                    });
                }
            }
            date = date.tomorrow().expect("another day");
        }
        let digest = Digest::of(said);
        let cleared = digest
            .cells()
            .filter(|(_, days)| days.cleared.is_some())
            .count();
        assert!(cleared > 40, "{cleared} of 84 cells");
        let longest = digest
            .cells()
            .filter_map(|(_, days)| due_again(days, &rule))
            .map(|(_, gap, _)| gap)
            .max();
        assert!(longest >= Some(16), "{longest:?}");
        for kind in ["Again", "Climbing", "New"] {
            assert!(kinds.contains(kind), "{kinds:?}");
        }
    }
}
