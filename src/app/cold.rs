//! The cold try of a cell, which is its first try of the day. It is played without the reference,
//! and afterwards the player is told when the cell comes again. This module also announces a slow
//! stage once.

use super::effect::Effect;
use super::model::Model;
use super::notice::Notice;
use super::practising::Practising;
use crate::drill::SLOW;
use crate::planning::{Digest, Rule, Said, date_of, due_again};
use crate::practice::{CellKey, Mark, Moment, News, RecordId, local_day};
use crate::rhythm::ReferencePlan;
use crate::sound::Command;
use jiff::civil::Date;
use uuid::Uuid;

impl Practising {
    /// In which repetitions the reference sounds, given the player's choice. It never sounds in a
    /// cold try or while the player sings to the click, and always sounds in a demonstration that
    /// is only heard.
    pub fn reference(&self, chosen: ReferencePlan) -> ReferencePlan {
        match self.offers.demo.map(|demo| demo.with_reference) {
            Some(true) => ReferencePlan::Every,
            Some(false) => ReferencePlan::Silent,
            None if self.cold.is_some() || self.cold_repetition.is_some() => ReferencePlan::Silent,
            None if self.is_by_heart() => ReferencePlan::Silent,
            None => chosen,
        }
    }

    /// The day on which a cell comes again after the first try of a day was marked.
    fn comes_again(&self, cell: CellKey, mark: Mark, today: Date, rule: &Rule) -> Date {
        let tomorrow = today.tomorrow().unwrap_or(Date::MAX);
        if mark == Mark::NotClean {
            return tomorrow;
        }
        let session = self.state.session().unwrap_or(Uuid::nil());
        let (repetition, number) = (0, 0);
        let mut days: Digest = self.before.clone();
        days.add([Said::Mark {
            id: RecordId { session, number },
            repetition,
            cell,
            day: today,
            mark,
            assumed: false,
            needed: self.state.plan().needed(),
        }]);
        days.cell(cell)
            .and_then(|days| due_again(days, rule))
            .map_or(tomorrow, |(due, ..)| due.max(tomorrow))
    }

    /// Says when a cell comes again after its first try of the day, such as `comes again in 3 days,
    /// on 2027-01-18`.
    pub(super) fn comes_again_words(
        &self,
        cell: CellKey,
        mark: Mark,
        at: Moment,
        rule: &Rule,
    ) -> String {
        let today = date_of(local_day(at.utc_us, at.offset_s));
        let due = self.comes_again(cell, mark, today, rule);
        match (mark, today.until(due).map_or(0, |span| span.get_days())) {
            (Mark::NotClean, _) | (Mark::Clean, ..=1) => "comes again tomorrow".to_owned(),
            (Mark::Clean, days) => format!("comes again in {days} days, on {due}"),
        }
    }

    /// The sentence for the result of a cold try, with the day on which the cell comes again.
    pub(super) fn cold_words(&self, at: Moment, rule: &Rule) -> Option<String> {
        let news = self.state.news();
        let (cell, mark) = news.iter().find_map(|one| match one {
            News::ColdTry { cell, mark } => Some((*cell, *mark)),
            _ => None,
        })?;
        let when = self.comes_again_words(cell, mark, at, rule);
        let name = self.cell_name(cell);
        Some(match mark {
            Mark::Clean => format!("held: {name}; {when}"),
            Mark::NotClean => format!("not held: {name}; {when}"),
        })
    }
}

/// Runs after each message: decides what the next repetition is and whether the reference sounds in
/// it.
pub(super) fn follow(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    let chosen = model.options.reference;
    let slow = slow_words(model);
    let Some(practising) = &mut model.practising else {
        return;
    };
    practising.cold = practising.state.cold_try(at);
    if !practising.is_playing() {
        practising.cold_repetition = None;
    }
    let plan = practising.reference(chosen);
    if practising.reference_sent != Some(plan) {
        practising.reference_sent = Some(plan);
        effects.push(Effect::Sound(Command::Reference(plan)));
    }
    if let Some(words) = slow {
        model.notice = Some(Notice::plain(words));
    }
}

/// The sentence that announces a slow stage when its count-in is first heard. None where it was
/// announced already.
fn slow_words(model: &mut Model) -> Option<&'static str> {
    // said only where no other notice is shown: it holds for every repetition, while the result of
    // a single repetition is more urgent
    if model.notice.is_some() {
        return None;
    }
    let practising = model.practising.as_mut()?;
    let stage = practising.heard.as_ref()?.stage;
    let slow = practising.drill.stages.get(stage)?.is_slow();
    if !slow || practising.told_slow.contains(&stage) {
        return None;
    }
    practising.told_slow.push(stage);
    Some(SLOW)
}
