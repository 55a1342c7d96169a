//! Sends the board's decisions to the player, and reports what was heard to the board.

use super::demo::{demo_heard, end_demo};
use super::effect::Effect;
use super::model::Model;
use super::practising::Sent;
use super::stepping::practise;
use crate::practice::{CellKey, Event, Moment, Phase};
use crate::sound::{Bus, Entrance, RendererReport, When};

/// How long before the end of a cycle the next cycle is decided, in milliseconds, in addition to
/// the device's own latency. Chosen: time for two frames on the screen and a slow disk.
const DECIDE_MS: f64 = 150.0;

/// The cell that play is in or will move to.
pub(super) fn wanted(model: &Model) -> Option<CellKey> {
    let practising = model.practising.as_ref()?;
    practising.state.upcoming().or_else(|| practising.cell())
}

pub(super) fn play(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    let Some(cell) = wanted(model) else { return };
    end_demo(model, effects);
    if let Some(practising) = &mut model.practising {
        practising.asked = None;
        practising.heard = None;
    }
    load(model, cell, When::Now, Entrance::CountIn, effects);
    effects.push(Effect::Start);
    practise(model, &Event::Resumed { at }, effects);
    model.notice = None;
}

pub(super) fn pause(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    effects.push(Effect::Pause);
    practise(model, &Event::Cut, effects);
    practise(model, &Event::Paused { at }, effects);
    forget_heard(model);
    // the row of the beats already says that play is paused
    model.notice = None;
}

pub(super) fn forget_heard(model: &mut Model) {
    if let Some(practising) = &mut model.practising {
        practising.heard = None;
        practising.asked = None;
    }
}

/// Runs after the player chose another cell: while playing, it is taken at the next bar line.
pub(super) fn follow_wish(model: &mut Model, effects: &mut Vec<Effect>) {
    if !model.is_moving() {
        return;
    }
    if let Some(cell) = wanted(model) {
        move_to(model, cell, When::BarLine, effects);
    }
}

/// Sends a cell to the player unless that was done already. Another stage gets a count-in; another
/// tempo of the same stage gets none.
fn move_to(model: &mut Model, cell: CellKey, when: When, effects: &mut Vec<Effect>) {
    let asked = model
        .practising
        .as_ref()
        .and_then(|practising| practising.asked);
    if asked == Some(cell) {
        return;
    }
    let entry = if asked.is_some_and(|asked| asked.stage == cell.stage) {
        Entrance::FirstCycle
    } else {
        Entrance::CountIn
    };
    load(model, cell, when, entry, effects);
}

pub(super) fn load(
    model: &mut Model,
    cell: CellKey,
    when: When,
    entry: Entrance,
    effects: &mut Vec<Effect>,
) {
    let options = model.options;
    let Some(practising) = &mut model.practising else {
        return;
    };
    let Some((stage, timeline)) = practising.lay(cell, &options) else {
        return;
    };
    model.sent += 1;
    practising.asked = Some(cell);
    practising.remember(Sent {
        serial: model.sent,
        cell,
        stage,
        timeline: std::sync::Arc::clone(&timeline),
        counts: true,
    });
    effects.push(Effect::Load {
        serial: model.sent,
        timeline,
        when,
        entry,
    });
}

/// Runs close to the end of a cycle: a repetition without a mark counts as nothing, and the next
/// cell is sent.
pub(super) fn decide(model: &mut Model, at: Moment, latency_ms: f64, effects: &mut Vec<Effect>) {
    let Some(practising) = &model.practising else {
        return;
    };
    let Some(place) = &practising.heard else {
        return;
    };
    if place.counting_in || !practising.is_playing() {
        return;
    }
    let left = place.timeline.cycle.to_f64() - place.beat;
    let left_ms = left * place.timeline.tempo.beat().to_f64();
    let key = (place.serial, place.cycle);
    if left_ms > DECIDE_MS + latency_ms || practising.ended == Some(key) {
        return;
    }
    end_repetition(model, at, key, effects);
}

/// A repetition and its breath are over, so the board decides which cell comes next.
fn end_repetition(model: &mut Model, at: Moment, key: (u64, u64), effects: &mut Vec<Effect>) {
    let Some(practising) = &mut model.practising else {
        return;
    };
    practising.ended = Some(key);
    let Some(repetition) = practising.repetition(key.0, key.1) else {
        return;
    };
    practise(model, &Event::RepetitionEnded { at, repetition }, effects);
    if let Some(practising) = &mut model.practising {
        practising.cold_repetition = None;
    }
    let Some(practising) = &model.practising else {
        return;
    };
    if practising.state.phase() != Phase::Playing {
        return;
    }
    if let Some(cell) = practising.state.upcoming() {
        move_to(model, cell, When::CycleEnd, effects);
    }
}

pub(super) fn heard(
    model: &mut Model,
    at: Moment,
    report: &RendererReport,
    effects: &mut Vec<Effect>,
) {
    let bar = match *report {
        RendererReport::Bar { serial, cycle, .. } => Some((serial, cycle)),
        _ => None,
    };
    let ended = matches!(report, RendererReport::Stopped(_));
    if (bar.is_some() || ended) && demo_heard(model, ended, bar, effects) {
        return;
    }
    match *report {
        RendererReport::Bar {
            serial,
            cycle,
            bar: 0,
            ..
        } => {
            let Some(practising) = &model.practising else {
                return;
            };
            if let Some(before) = cycle.checked_sub(1).map(|before| (serial, before))
                && practising.ended != Some(before)
                && practising.repetition(before.0, before.1).is_some()
            {
                end_repetition(model, at, before, effects);
            }
            practise(model, &Event::BarHeard { at }, effects);
            begin_repetition(model, at, serial, cycle, effects);
        }
        RendererReport::Bar { .. } => practise(model, &Event::BarHeard { at }, effects),
        RendererReport::Closing { serial, cycle, .. } => {
            model.notice = model.notice.take().filter(|notice| !notice.passes);
            let repetition = model
                .practising
                .as_ref()
                .and_then(|practising| practising.repetition(serial, cycle));
            if let Some(repetition) = repetition {
                let by_heart = model
                    .practising
                    .as_ref()
                    .is_some_and(|practising| practising.closes_by_heart(repetition));
                let event = Event::ClosingNoteHeard {
                    at,
                    repetition,
                    by_heart,
                };
                practise(model, &event, effects);
            }
        }
        RendererReport::Cut { serial, cycle, .. } => {
            let known = model
                .practising
                .as_ref()
                .is_some_and(|practising| practising.repetition(serial, cycle).is_some());
            if known {
                practise(model, &Event::Cut, effects);
            }
        }
        RendererReport::Took { serial, .. } => {
            if let Some(practising) = &mut model.practising {
                while practising
                    .sent
                    .front()
                    .is_some_and(|sent| sent.serial < serial)
                {
                    practising.sent.pop_front();
                }
            }
        }
        RendererReport::Paused(_) | RendererReport::Stopped(_) | RendererReport::Missed(_) => {}
    }
}

/// How many repetitions can still be found by their cycle. The state machine remembers as many.
const REMEMBERED: usize = 64;

fn begin_repetition(
    model: &mut Model,
    at: Moment,
    serial: u64,
    cycle: u64,
    effects: &mut Vec<Effect>,
) {
    let options = model.options;
    let Some(practising) = &mut model.practising else {
        return;
    };
    let Some(cell) = practising
        .find(serial)
        .filter(|sent| sent.counts)
        .map(|sent| sent.cell)
    else {
        return;
    };
    if practising.is_offering() {
        return;
    }
    let id = practising.state.next_repetition();
    if practising.began.len() == REMEMBERED {
        practising.began.pop_front();
    }
    practising.began.push_back(((serial, cycle), id));
    practising.begin_from_memory(id);
    let sounds = practising.reference(options.reference).factor(cycle) > 0.0
        && options.levels.of(Bus::Reference).0 > 0.0
        && !options.levels.muted[Bus::Reference as usize];
    practise(
        model,
        &Event::RepetitionBegan {
            at,
            id,
            cell,
            reference: sounds,
        },
        effects,
    );
    if let Some(practising) = &mut model.practising
        && practising.state.cold_try(at).is_some()
    {
        practising.cold_repetition = Some(id);
    }
}
