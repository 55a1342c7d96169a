//! The end of what plays once without a mark.

use super::effect::Effect;
use super::model::Model;
use crate::sound::Command;

/// Sets the player's own levels and clicks again.
fn restore(model: &Model, effects: &mut Vec<Effect>) {
    let options = &model.options;
    effects.extend([
        Effect::Sound(Command::Levels(options.levels)),
        Effect::Sound(Command::Clicks(options.clicks)),
    ]);
}

/// Ends what plays once before its end.
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

/// What plays once came to its end, either by itself or, on a device that was opened anew, at the
/// bar line where another time through begins. The next way on is offered. True where a report was
/// about that.
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
