//! Carries out the actions of keys and pedals on the page of a drill.

use super::course;
use super::effect::Effect;
use super::message::Action;
use super::model::Model;
use super::notice::Notice;
use super::offer::Offer;
use super::offers;
use super::playing::{follow_wish, forget_heard, load, pause, play, wanted};
use super::practising::Practising;
use super::stepping::practise;
use super::switching::act_on_options;
use crate::practice::{Advance, CellKey, Event, Hand, Mark, Moment, Plan};
use crate::sound::{Entrance, When};

pub(super) fn act_at_practice(
    model: &mut Model,
    at: Moment,
    action: Action,
    effects: &mut Vec<Effect>,
) {
    match action {
        Action::PlayOrPause => {
            if model.is_moving() {
                pause(model, at, effects);
            } else {
                play(model, at, effects);
            }
        }
        Action::Stop => {
            effects.push(Effect::Stop);
            practise(model, &Event::Stopped { at }, effects);
            forget_heard(model);
        }
        Action::NextPart if model.session.is_none() => {
            model.notice = Some(Notice::plain(
                "no session runs: `q`, then its first line begins one",
            ));
        }
        Action::NextPart => course::leave_out(model, at, effects),
        Action::Mark(mark, Hand::Pedal) if pedal_plays(model) => {
            pedal_on_the_way(model, at, mark, effects);
        }
        Action::Mark(mark, by) => practise(
            model,
            &Event::Press {
                at,
                mark,
                by,
                repetition: None,
            },
            effects,
        ),
        Action::KeepTake => keep_take(model, effects),
        Action::Undo => practise(model, &Event::Undo { at }, effects),
        Action::Tempo { up } => {
            practise(model, &Event::TempoStep { at, up }, effects);
            follow_wish(model, effects);
        }
        Action::Stage { next } => {
            if let Some(cell) = neighbour_stage(model, next) {
                practise(model, &Event::CellChosen { at, cell }, effects);
                follow_wish(model, effects);
            } else {
                model.notice = Some(Notice::plain("there is no further stage that way"));
            }
        }
        Action::Offer(offer) => offers::take(model, at, offer, effects),
        Action::Advance
            if model
                .practising
                .as_ref()
                .is_some_and(Practising::is_offering) =>
        {
            offers::take(model, at, Offer::Easier, effects);
        }
        Action::Advance => {
            let named = model.practising.as_ref().and_then(|practising| {
                let state = &practising.state;
                state.suggestion().or_else(|| state.named())
            });
            practise(model, &Event::Advance { at }, effects);
            if named.is_none() {
                model.notice = Some(Notice::plain(
                    "the next cell is named when this one is clear; + and tab choose freely",
                ));
            }
        }
        Action::Again => {
            if model.is_moving() {
                practise(model, &Event::Touched, effects);
                if let Some(cell) = wanted(model) {
                    load(model, cell, When::BarLine, Entrance::FirstCycle, effects);
                }
            } else {
                play(model, at, effects);
            }
        }
        Action::HandsFree => {
            model.options.hands_free = !model.options.hands_free;
            let hands_free = model.options.hands_free;
            change_plan(model, at, effects, |plan| plan.hands_free = hands_free);
            model.notice = Some(Notice::plain(if hands_free {
                "hands free: a repetition counts as clean unless a pedal or key says otherwise"
            } else {
                "hands free is off: unmarked repetitions count as nothing"
            }));
        }
        Action::HidePhrase | Action::OtherPhrase => {
            let practising = model.practising.as_mut();
            let said = practising.map(|practising| match action {
                Action::HidePhrase => practising.hide_more(),
                _ => practising.hide_elsewhere(),
            });
            model.notice = said.map(Notice::plain);
        }
        _ => act_on_options(model, action, effects),
    }
}

impl Practising {
    /// The cell that the right pedal moves on to where it means "play": the next cell of a drill in
    /// which the player decides when to move on. None anywhere else.
    pub fn goes_on_to(&self) -> Option<CellKey> {
        let state = &self.state;
        let asks = state.plan().advance != Advance::ByItself;
        let named = state
            .named()
            .filter(|_| asks && state.suggestion().is_none())?;
        self.pedal_plays().then_some(named)
    }

    /// The suggested easier cell that the left pedal goes back to where it means "play". None where
    /// no step back is suggested.
    pub fn goes_back_to(&self) -> Option<CellKey> {
        let back = self.state.suggestion()?;
        self.pedal_plays().then_some(back)
    }
}

/// Handles a pedal press while nothing sounds and no repetition waits for its mark. The right pedal
/// starts play, and first moves to the next cell where the player decides when to move on. The left
/// pedal takes the suggested step back, or goes one rung down.
fn pedal_on_the_way(model: &mut Model, at: Moment, mark: Mark, effects: &mut Vec<Effect>) {
    let practising = model.practising.as_ref();
    let on = practising.and_then(Practising::goes_on_to).is_some();
    let back = practising.and_then(Practising::goes_back_to).is_some();
    match mark {
        Mark::Clean => {
            if on {
                practise(model, &Event::Advance { at }, effects);
            }
            play(model, at, effects);
        }
        Mark::NotClean if back => practise(model, &Event::Advance { at }, effects),
        Mark::NotClean => practise(model, &Event::TempoStep { at, up: false }, effects),
    }
}

fn pedal_plays(model: &Model) -> bool {
    model
        .practising
        .as_ref()
        .is_some_and(Practising::pedal_plays)
}

fn change_plan(
    model: &mut Model,
    at: Moment,
    effects: &mut Vec<Effect>,
    change: impl FnOnce(&mut Plan),
) {
    let Some(practising) = &model.practising else {
        return;
    };
    let mut plan = practising.state.plan().clone();
    change(&mut plan);
    practise(model, &Event::PlanChanged { at, plan }, effects);
}

fn neighbour_stage(model: &Model, next: bool) -> Option<CellKey> {
    let practising = model.practising.as_ref()?;
    let cell = practising.state.upcoming().or_else(|| practising.cell())?;
    let stage = practising.stage_of(cell)?;
    let wanted = if next {
        stage + 1
    } else {
        stage.checked_sub(1)?
    };
    practising.state.plan().in_stage(wanted, cell.rung)
}

fn keep_take(model: &mut Model, effects: &mut Vec<Effect>) {
    let Some(practising) = &model.practising else {
        return;
    };
    if !model.options.by_ear {
        model.notice = Some(Notice::plain(
            "a take needs the microphone: begin with --mark-by ear",
        ));
        return;
    }
    let stage = practising.drill.stages.get(practising.stage());
    effects.push(Effect::KeepTake {
        drill: practising.name.clone(),
        stage: stage.map_or_else(String::new, |stage| stage.name.clone()),
        rung: practising.rung(),
    });
}
