//! Ends a demonstration, which plays once and takes no mark.

use super::effect::Effect;
use super::model::Model;
use crate::sound::Command;

/// Restores the player's own levels and clicks.
fn restore(model: &Model, effects: &mut Vec<Effect>) {
    let options = &model.options;
    effects.extend([
        Effect::Sound(Command::Levels(options.levels)),
        Effect::Sound(Command::Clicks(options.clicks)),
    ]);
}

/// Stops a demonstration before its end.
pub(super) fn end_demo(model: &mut Model, effects: &mut Vec<Effect>) {
    let Some(practising) = &mut model.practising else {
        return;
    };
    if practising.offers.demo.take().is_some() {
        practising.heard = None;
        effects.push(Effect::Pause);
        restore(model, effects);
    }
}

/// Ends a demonstration that was heard to its end, and moves to the next offer. A demonstration
/// normally ends by itself. On a device that was opened again it would repeat, so it is ended at
/// the bar line where its second cycle begins. Returns true while a demonstration plays.
pub(super) fn demo_heard(
    model: &mut Model,
    ended: bool,
    bar: Option<(u64, u64)>,
    effects: &mut Vec<Effect>,
) -> bool {
    let Some(practising) = &mut model.practising else {
        return false;
    };
    let Some(demo) = practising.offers.demo else {
        return false;
    };
    let again = bar.is_some_and(|(serial, cycle)| serial == demo.serial && cycle > 0);
    if ended || again {
        let offers = &mut practising.offers;
        offers.taken = offers.taken.max(demo.offer.place() + 1);
        end_demo(model, effects);
        model.notice = None;
    }
    true
}
