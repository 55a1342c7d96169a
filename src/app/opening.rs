//! Opens a drill: decides where it begins and what the first notice says.

use super::course;
use super::effect::Effect;
use super::model::{Model, Page};
use super::notice::Notice;
use super::opened::OpenedDrill;
use super::practising::Practising;
use super::stepping::practise;
use crate::practice::{CellKey, Event, Moment, Rung};
use crate::sound::Command;
use crate::wording;

pub(super) fn opened_drill(
    model: &mut Model,
    at: Moment,
    opened: &mut OpenedDrill,
    effects: &mut Vec<Effect>,
) {
    let mut practising = Practising::new(opened, &model.options);
    let edited = practising.edited(opened);
    let asked = asked_place(&practising, opened, at);
    practising.asked = None;
    model.practising = Some(practising);
    model.page = Page::Practise;
    model.over = None;
    model.notice = None;
    model.choose.search.clear();
    model.choose.mark(&opened.name);
    practise(
        model,
        &Event::Started {
            at,
            session: opened.session,
            place: asked,
        },
        effects,
    );
    model.notice = opened
        .says
        .clone()
        .map(Notice::plain)
        .or(model.notice.take());
    if let Some(practising) = &model.practising
        && !edited.is_empty()
    {
        let names: Vec<String> = edited
            .iter()
            .filter_map(|stage| practising.drill.stages.get(*stage))
            .map(|stage| format!("`{}`", stage.name))
            .collect();
        model.notice = Some(Notice::plain(format!(
            "the music of {} is new since you last played this drill and starts afresh; \
             earlier marks are kept with the old music",
            wording::list(&names)
        )));
    }
    let options = model.options;
    if let Some(practising) = model.practising.as_mut().filter(|_| options.from_memory) {
        model.notice = Some(Notice::plain(practising.hide_more()));
    }
    effects.extend([
        Effect::Sound(Command::Levels(options.levels)),
        Effect::Sound(Command::Tune(options.tuning)),
        Effect::Sound(Command::Drones(options.drones)),
        Effect::Sound(Command::ClickSound(options.click_sound)),
        Effect::Sound(Command::Clicks(options.clicks)),
    ]);
    course::opened(model, at, effects);
}

/// The cell to begin in: the one that the command line names, else the one that is due for its cold
/// try today, else the one in which the last session ended.
fn asked_place(practising: &Practising, opened: &OpenedDrill, at: Moment) -> Option<CellKey> {
    // the journal may know the same bar from another drill, at a tempo that this drill does not
    // have
    let ladder = &practising.drill.ladder;
    let known = |cell: &CellKey| (ladder.from()..=ladder.to()).contains(&cell.rung.tempo());
    let opened_place = opened.place.filter(known);
    if opened.stage.is_none() && opened.rung.is_none() {
        return practising.state.due_cold(at).or(opened_place);
    }
    let plan = practising.state.plan();
    let last = opened_place.filter(|cell| plan.stage_of(*cell).is_some());
    let of_last = || last.and_then(|cell| plan.stage_of(cell));
    let stage = opened.stage.or_else(of_last).unwrap_or(0);
    let near = last.map_or(Rung::Tempo(ladder.from()), |cell| cell.rung);
    let planned = plan.stages.get(stage)?;
    let asked = opened.rung.map(|rung| CellKey {
        stage: planned.print,
        rung,
    });
    // a cell that was asked for is played exactly, even where its tempo lies between two rungs
    let exact = asked.filter(|cell| planned.has(*cell));
    exact.or_else(|| plan.in_stage(stage, opened.rung.unwrap_or(near)))
}
