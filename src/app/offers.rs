//! What is offered where play has stopped after three repetitions in a row that were not clean:
//! hear it, sing or tap it, or take something easier. The purpose is that errors are not drilled
//! in.

use super::demo::end_demo;
use super::effect::Effect;
use super::model::Model;
use super::notice::Notice;
use super::offer::{Demo, Offer};
use super::playing::play;
use super::practising::{Practising, Sent};
use super::stepping::practise;
use crate::practice::{Event, Mark, Moment, Phase};
use crate::rhythm::ClickPlan;
use crate::sound::{Bus, Command, Entrance, Levels, When};
use std::sync::Arc;

/// The level of a bus in a demonstration where the player has turned it down, as a share of full
/// level. Chosen.
const HEARD: f32 = 0.35;

impl Practising {
    /// True where play has stopped by itself and offers are shown.
    pub fn is_offering(&self) -> bool {
        self.state.phase() == Phase::Offering
    }

    /// The offer whose demonstration plays now, if any.
    pub fn plays_once(&self) -> Option<Offer> {
        self.offers.demo.map(|demo| demo.offer)
    }

    /// The offer that the key for clean and the right pedal take now: the one after the
    /// demonstration that plays. None once both demonstrations were taken, because then the same
    /// cell is played again.
    pub fn next_offer(&self) -> Option<Offer> {
        let playing = self.offers.demo.map_or(0, |demo| demo.offer.place() + 1);
        let next = self.offers.taken.max(playing);
        [Offer::Hear, Offer::Sing].get(next).copied()
    }

    /// An offer in words. None for the easier cell where there is none.
    pub fn offer_words(&self, offer: Offer) -> Option<String> {
        Some(match offer {
            Offer::Hear => "hear it".to_owned(),
            Offer::Sing => "sing or tap it once with the click".to_owned(),
            Offer::Easier => format!("easier: {}", self.cell_name(self.state.easier()?)),
        })
    }
}

/// A press while something is offered: clean takes the next in order, not clean the easier cell. Where
/// nothing is left in order, or nothing is easier, the cell is played again.
pub(super) fn chosen(model: &mut Model, at: Moment, mark: Mark, effects: &mut Vec<Effect>) {
    let next = model.practising.as_ref().and_then(Practising::next_offer);
    match (mark, next) {
        (Mark::Clean, Some(offer)) => take(model, at, offer, effects),
        (Mark::Clean, None) => play(model, at, effects),
        (Mark::NotClean, _) if !has_easier(model) => play(model, at, effects),
        (Mark::NotClean, _) => take(model, at, Offer::Easier, effects),
    }
}

fn has_easier(model: &Model) -> bool {
    let practising = model.practising.as_ref();
    practising.is_some_and(|practising| practising.state.easier().is_some())
}

pub(super) fn take(model: &mut Model, at: Moment, offer: Offer, effects: &mut Vec<Effect>) {
    let Some(practising) = &model.practising else {
        return;
    };
    if !practising.is_offering() {
        model.notice = Some(Notice::plain(
            "1, 2 and 3 choose when three not clean in a row have stopped play",
        ));
        return;
    }
    match offer {
        Offer::Hear => play_once(model, offer, true, effects),
        Offer::Sing => play_once(model, offer, false, effects),
        Offer::Easier if practising.state.easier().is_none() => {
            model.notice = Some(Notice::plain(
                "this is the first cell: nothing here is easier",
            ));
        }
        Offer::Easier => {
            end_demo(model, effects);
            practise(model, &Event::Advance { at }, effects);
            let said = model.notice.take();
            play(model, at, effects);
            model.notice = said;
        }
    }
}

/// Plays the cell once as a demonstration. No repetition begins, so nothing can be marked.
fn play_once(model: &mut Model, offer: Offer, with_reference: bool, effects: &mut Vec<Effect>) {
    end_demo(model, effects);
    let options = model.options;
    let Some(practising) = &mut model.practising else {
        return;
    };
    let Some(cell) = practising.cell() else {
        return;
    };
    let Some((stage, timeline)) = practising.lay(cell, &options) else {
        return;
    };
    model.sent += 1;
    practising.asked = None;
    practising.heard = None;
    practising.remember(Sent {
        serial: model.sent,
        cell,
        stage,
        timeline: Arc::clone(&timeline),
        counts: false,
    });
    practising.offers.demo = Some(Demo {
        offer,
        with_reference,
        serial: model.sent,
    });
    effects.extend([
        Effect::Sound(Command::Levels(audible(options.levels))),
        Effect::Sound(Command::Clicks(ClickPlan::Every)),
        Effect::Load {
            serial: model.sent,
            timeline,
            when: When::Now,
            entry: Entrance::CountIn,
        },
        Effect::PlayOnce,
    ]);
    model.notice = Some(Notice::plain(match offer {
        Offer::Sing => "sing it or tap it, once, with the click; nothing is marked",
        _ => "listen: once, and nothing is marked",
    }));
}

/// Levels at which reference and click can be heard, even where the player had muted them.
fn audible(mut levels: Levels) -> Levels {
    for bus in [Bus::Reference, Bus::Click] {
        levels.mute(bus, false);
        if levels.of(bus).0 <= 0.0 {
            levels.set(bus, crate::units::Gain(HEARD));
        }
    }
    levels
}

/// Runs after each message: stops a demonstration once nothing is offered any more.
pub(super) fn follow(model: &mut Model, effects: &mut Vec<Effect>) {
    if let Some(practising) = &model.practising
        && practising.offers.demo.is_some()
        && !practising.is_offering()
    {
        end_demo(model, effects);
    }
}
