//! The one place where the model changes.

use super::effect::Effect;
use super::message::{Action, Message, OpenedDrill};
use super::model::{Model, Overlay, Page, SoundState};
use super::notice::{Notice, sentence};
use super::practising::{Place, Practising, Sent};
use crate::practice::{CellKey, Event, Moment, News, Phase, Plan, step};
use crate::rhythm::{ClickPlan, ReferencePlan, Subdivision};
use crate::sound::{Bus, ClickSound, Command, Cue, Entry, Report, When};
use crate::units::Gain;
use crate::wording;

/// How long before the end of a cycle the next one is decided, beyond the device's own latency,
/// milliseconds (chosen: two drawn frames and a slow disk).
const DECIDE_MS: f64 = 150.0;
/// Rows of an overlay that can be scrolled past; no page is longer.
const MOST_ROWS_READ: i32 = 2000;
/// How much a level moves at a press.
const LEVEL_STEP: f32 = 0.05;

/// Applies a message. Effects are to be carried out in order before the model is shown.
pub fn update(model: &mut Model, at: Moment, message: Message) -> Vec<Effect> {
    let mut effects = Vec::new();
    match message {
        Message::Act(action) => act(model, at, action, &mut effects),
        Message::Opened(opened) => opened_drill(model, at, &opened, &mut effects),
        Message::NotOpened(why) => model.notice = Some(Notice::urgent(why)),
        Message::Listed(drills) => {
            model.choose.drills = drills;
            model.choose.move_by(0);
        }
        Message::Today(lines) => model.choose.today = lines,
        Message::Care(word) => model.notice = Some(Notice::plain(word)),
        Message::Heard(report) => heard(model, at, &report, &mut effects),
        Message::Position {
            serial,
            counting_in,
            cycle,
            beat,
            latency_ms,
        } => {
            if let Some(practising) = &mut model.practising {
                practising.heard = practising.find(serial).map(|sent| Place {
                    serial,
                    stage: sent.stage,
                    timeline: std::sync::Arc::clone(&sent.timeline),
                    counting_in,
                    cycle,
                    beat,
                });
                decide(model, at, latency_ms, &mut effects);
            }
        }
        Message::Sound(state) => sound_state(model, state),
        Message::Underruns(count) => {
            model.notice = Some(Notice::urgent(format!(
                "{} so far: the computer was late with the sound; a larger --buffer helps",
                wording::count(count as usize, "gap", "gaps")
            )));
        }
        Message::Stored { foreign, own } => {
            practise(model, &Event::Stored { foreign, own }, &mut effects);
        }
        Message::NotStored(why) => {
            model.notice = Some(Notice::urgent(format!(
                "the journal cannot be written, marks are kept in memory and tried again: {why}"
            )));
        }
        Message::Terminate => {
            leave_drill(model, at, &mut effects);
            model.quit = true;
            effects.push(Effect::Quit);
        }
    }
    effects
}

/// Lets an event happen to the board, stores what it says and tells the news.
fn practise(model: &mut Model, event: &Event, effects: &mut Vec<Effect>) {
    let Some(practising) = &mut model.practising else {
        return;
    };
    let (state, records) = step(&practising.state, event);
    practising.state = state;
    if !records.is_empty() {
        effects.push(Effect::Store(records));
    }
    let mut notices: Vec<Notice> = Vec::new();
    let staircase = model.options.staircase;
    let marked = practising
        .state
        .news()
        .iter()
        .rev()
        .find_map(|news| match news {
            News::Marked {
                cell,
                repetition,
                mark,
                ..
            } if staircase => Some((*cell, *repetition, *mark)),
            _ => None,
        });
    let climbed =
        marked.and_then(|(cell, repetition, mark)| practising.climb(cell, repetition, mark));
    for news in practising.state.news() {
        notices.extend(sentence(practising, news));
        match news {
            News::Cleared(_) => effects.push(Effect::Sound(Command::Cue(Cue::CellClear))),
            News::StepBackSuggested(_) => {
                effects.push(Effect::Sound(Command::Cue(Cue::StepBack)));
            }
            News::NobodyThere => effects.push(Effect::Pause),
            _ => {}
        }
    }
    if !notices.is_empty() {
        let text: Vec<String> = notices.into_iter().map(|notice| notice.text).collect();
        model.notice = Some(Notice::plain(text.join(" · ")));
    }
    if let Some(cell) = climbed
        && let Event::Press { at, .. }
        | Event::Listened { at, .. }
        | Event::RepetitionEnded { at, .. } = event
    {
        practise(model, &Event::CellChosen { at: *at, cell }, effects);
    }
}

fn act(model: &mut Model, at: Moment, action: Action, effects: &mut Vec<Effect>) {
    match action {
        Action::Help => {
            let closing = model.over == Some(Overlay::Keys);
            model.over = (!closing).then_some(Overlay::Keys);
            model.over_scroll = 0;
        }
        Action::Move(lines) if model.over.is_some() => {
            let moved = i32::from(model.over_scroll) - lines;
            model.over_scroll = u16::try_from(moved.clamp(0, MOST_ROWS_READ)).unwrap_or(0);
        }
        Action::End => {
            leave_drill(model, at, effects);
            model.quit = true;
            effects.push(Effect::Quit);
        }
        Action::Suspend => {
            if model.is_moving() {
                pause(model, at, effects);
            }
            effects.push(Effect::Suspend);
        }
        Action::Leave if model.over.is_some() => model.over = None,
        Action::ReadMovement if model.page == Page::Practise => {
            // Reading takes the eyes and the hands: nothing is played into it, no pedal marks.
            if model.is_moving() {
                pause(model, at, effects);
            }
            model.over = Some(Overlay::Movement);
            model.over_scroll = 0;
        }
        Action::Leave => leave(model, at, effects),
        _ => match model.page {
            Page::Choose => act_in_list(model, action, effects),
            Page::Practise => act_at_practice(model, at, action, effects),
        },
    }
}

fn leave(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    match model.page {
        Page::Choose => {
            if model.choose.searching || !model.choose.search.is_empty() {
                model.choose.searching = false;
                model.choose.search.clear();
                model.choose.marked = 0;
                return;
            }
            model.quit = true;
            effects.push(Effect::Quit);
        }
        Page::Practise => {
            leave_drill(model, at, effects);
            if model.straight {
                model.quit = true;
                effects.push(Effect::Quit);
            } else {
                effects.push(Effect::List);
            }
        }
    }
}

fn leave_drill(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    if model.practising.is_none() {
        return;
    }
    effects.push(Effect::Stop);
    practise(model, &Event::Ended { at }, effects);
    model.practising = None;
    model.page = Page::Choose;
    model.notice = None;
}

fn act_in_list(model: &mut Model, action: Action, effects: &mut Vec<Effect>) {
    match action {
        Action::Move(lines) => model.choose.move_by(lines),
        Action::MoveToEnd { last } => model.choose.move_to_end(last),
        Action::SearchBegin => {
            model.notice = None;
            model.choose.searching = true;
        }
        Action::OpenToday => match model.choose.today.first() {
            Some(line) => effects.push(Effect::OpenAt {
                name: line.open.clone(),
                stage: line.stage,
                tempo: line.tempo,
            }),
            None => model.notice = Some(Notice::plain("nothing is due today: choose a drill")),
        },
        Action::Search(letter) => model.choose.search(Some(letter)),
        Action::SearchBack => model.choose.search(None),
        Action::Open => {
            if let Some(drill) = model.choose.current() {
                effects.push(Effect::Open(drill.name.clone()));
            } else {
                model.notice = Some(Notice::plain("no drill has these letters"));
            }
        }
        _ => {}
    }
}

fn opened_drill(model: &mut Model, at: Moment, opened: &OpenedDrill, effects: &mut Vec<Effect>) {
    let mut practising = Practising::new(opened, &model.options);
    let edited = practising.edited(opened);
    let asked = asked_place(&practising, opened);
    practising.asked = None;
    model.practising = Some(practising);
    model.page = Page::Practise;
    model.over = None;
    model.notice = None;
    practise(
        model,
        &Event::Started {
            at,
            session: opened.session,
            place: asked,
        },
        effects,
    );
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
    effects.extend([
        Effect::Sound(Command::Levels(options.levels)),
        Effect::Sound(Command::Tune(options.tuning)),
        Effect::Sound(Command::Drones(options.drones)),
        Effect::Sound(Command::ClickSound(options.click_sound)),
        Effect::Sound(Command::Reference(options.reference)),
        Effect::Sound(Command::Clicks(options.clicks)),
    ]);
}

/// Where the command line or the last session wants to begin.
fn asked_place(practising: &Practising, opened: &OpenedDrill) -> Option<CellKey> {
    if opened.stage.is_none() && opened.tempo.is_none() {
        return opened.place;
    }
    let last = opened
        .place
        .filter(|cell| practising.stage_of(*cell).is_some());
    let stage = match opened.stage {
        Some(stage) => practising.state.plan().stages.get(stage).copied()?,
        None => match last {
            Some(cell) => cell.stage,
            None => practising.state.plan().stages.first().copied()?,
        },
    };
    let tempo = opened
        .tempo
        .or_else(|| last.map(|cell| cell.tempo))
        .unwrap_or(practising.drill.ladder.from);
    Some(CellKey { stage, tempo })
}

fn act_at_practice(model: &mut Model, at: Moment, action: Action, effects: &mut Vec<Effect>) {
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
        Action::Advance => {
            let named = model.practising.as_ref().and_then(|practising| {
                let state = &practising.state;
                state.suggestion().or_else(|| state.named())
            });
            practise(model, &Event::Advance { at }, effects);
            if named.is_none() {
                model.notice = Some(Notice::plain(
                    "the next cell is named when this one is clear; +/- and tab choose freely",
                ));
            }
        }
        Action::Again => {
            if model.is_moving() {
                practise(model, &Event::Touched, effects);
                if let Some(cell) = wanted(model) {
                    load(model, cell, When::BarLine, Entry::FirstCycle, effects);
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
        _ => act_on_options(model, action, effects),
    }
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

fn act_on_options(model: &mut Model, action: Action, effects: &mut Vec<Effect>) {
    let options = &mut model.options;
    let mut say = None;
    match action {
        Action::Level(bus, up) => {
            let step = if up { LEVEL_STEP } else { -LEVEL_STEP };
            let gain = Gain((options.levels.of(bus).0 + step).clamp(0.0, 1.0));
            options.levels.set(bus, gain);
            effects.push(Effect::Sound(Command::Level(bus, options.levels.of(bus))));
            say = Some(format!("{} at {:.0} %", bus_name(bus), gain.0 * 100.0));
        }
        Action::Mute(bus) => {
            let muted = !options.levels.muted[bus as usize];
            options.levels.mute(bus, muted);
            effects.push(Effect::Sound(Command::Mute(bus, muted)));
            let how = if muted { "silent" } else { "sounding" };
            say = Some(format!("{} {how}", bus_name(bus)));
        }
        Action::Drones => {
            options.drones = !options.drones;
            effects.push(Effect::Sound(Command::Drones(options.drones)));
            say = Some(
                if options.drones {
                    "drones on"
                } else {
                    "drones off"
                }
                .to_owned(),
            );
        }
        Action::Reference => {
            options.reference = match options.reference {
                ReferencePlan::Every => ReferencePlan::Alternate,
                ReferencePlan::Alternate => ReferencePlan::Fading(6),
                ReferencePlan::Fading(_) => ReferencePlan::Silent,
                ReferencePlan::Silent => ReferencePlan::Every,
            };
            effects.push(Effect::Sound(Command::Reference(options.reference)));
            say = Some(reference_words(options.reference).to_owned());
        }
        Action::Clicks => {
            options.clicks = match options.clicks {
                ClickPlan::Every => ClickPlan::OneAndThree,
                ClickPlan::OneAndThree => ClickPlan::OnePerBar,
                ClickPlan::OnePerBar => ClickPlan::SilentBars { play: 2, rest: 2 },
                ClickPlan::SilentBars { .. } => ClickPlan::Every,
            };
            effects.push(Effect::Sound(Command::Clicks(options.clicks)));
            say = Some(click_words(options.clicks).to_owned());
        }
        Action::ClickSound => {
            let place = ClickSound::ALL
                .iter()
                .position(|sound| *sound == options.click_sound)
                .unwrap_or(0);
            options.click_sound = ClickSound::ALL[(place + 1) % ClickSound::ALL.len()];
            effects.push(Effect::Sound(Command::ClickSound(options.click_sound)));
            say = Some(format!("click: {}", options.click_sound.name()));
        }
        Action::Subdivision => {
            options.subdivision = match options.subdivision {
                Subdivision::Beats => Subdivision::Halves,
                Subdivision::Halves => Subdivision::Thirds,
                Subdivision::Thirds => Subdivision::Quarters,
                Subdivision::Quarters => Subdivision::Beats,
            };
            say = Some(subdivision_words(options.subdivision).to_owned());
            model.notice = say.take().map(Notice::plain);
            if let Some(cell) = wanted(model)
                && model.is_moving()
            {
                load(model, cell, When::BarLine, Entry::SamePlace, effects);
            }
        }
        Action::Staff => options.staff = !options.staff,
        Action::Handed => {
            options.left_handed = !options.left_handed;
            say = Some(
                if options.left_handed {
                    "the picture is for a left-handed player"
                } else {
                    "the picture is for a right-handed player"
                }
                .to_owned(),
            );
        }
        Action::Explain => {
            options.explain = !options.explain;
        }
        _ => {}
    }
    if let Some(text) = say {
        model.notice = Some(Notice::plain(text));
    }
}

/// The name of a bus in a sentence.
fn bus_name(bus: Bus) -> &'static str {
    match bus {
        Bus::Reference => "reference",
        Bus::Drones => "drones",
        Bus::Click => "click",
        Bus::Cue => "cues",
    }
}

fn reference_words(plan: ReferencePlan) -> &'static str {
    match plan {
        ReferencePlan::Every => "reference in every repetition",
        ReferencePlan::Alternate => "reference in every other repetition, you alone in between",
        ReferencePlan::Fading(_) => "reference fades out over six repetitions",
        ReferencePlan::Silent => "no reference: you alone with the click",
    }
}

fn click_words(plan: ClickPlan) -> &'static str {
    match plan {
        ClickPlan::Every => "a click on every beat",
        ClickPlan::OneAndThree => "clicks on beats 1 and 3",
        ClickPlan::OnePerBar => "one click a bar",
        ClickPlan::SilentBars { .. } => "two bars with clicks, two without",
    }
}

fn subdivision_words(subdivision: Subdivision) -> &'static str {
    match subdivision {
        Subdivision::Beats => "no clicks between the beats",
        Subdivision::Halves => "clicks on half beats",
        Subdivision::Thirds => "clicks on thirds of a beat",
        Subdivision::Quarters => "clicks on quarters of a beat",
    }
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
    Some(CellKey {
        stage: *practising.state.plan().stages.get(wanted)?,
        ..cell
    })
}

/// The cell that play is in or moves to.
fn wanted(model: &Model) -> Option<CellKey> {
    let practising = model.practising.as_ref()?;
    practising.state.upcoming().or_else(|| practising.cell())
}

fn play(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    let Some(cell) = wanted(model) else { return };
    if let Some(practising) = &mut model.practising {
        practising.asked = None;
        practising.heard = None;
    }
    load(model, cell, When::Now, Entry::CountIn, effects);
    effects.push(Effect::Start);
    practise(model, &Event::Resumed { at }, effects);
    model.notice = None;
}

fn pause(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    effects.push(Effect::Pause);
    practise(model, &Event::Cut, effects);
    practise(model, &Event::Paused { at }, effects);
    forget_heard(model);
    model.notice = Some(Notice::plain("paused"));
}

fn forget_heard(model: &mut Model) {
    if let Some(practising) = &mut model.practising {
        practising.heard = None;
        practising.asked = None;
    }
}

/// After the player chose another cell: take it at the next bar line while playing.
fn follow_wish(model: &mut Model, effects: &mut Vec<Effect>) {
    if !model.is_moving() {
        return;
    }
    let Some(cell) = wanted(model) else { return };
    let Some(practising) = &model.practising else {
        return;
    };
    if practising.asked == Some(cell) {
        return;
    }
    let same_stage = practising
        .asked
        .is_some_and(|asked| asked.stage == cell.stage);
    let entry = if same_stage {
        Entry::FirstCycle
    } else {
        Entry::CountIn
    };
    load(model, cell, When::BarLine, entry, effects);
}

fn load(model: &mut Model, cell: CellKey, when: When, entry: Entry, effects: &mut Vec<Effect>) {
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
    });
    effects.push(Effect::Load {
        timeline,
        when,
        entry,
    });
}

/// Close to the end of a cycle: what is not marked counts as nothing, and the next cell is sent.
fn decide(model: &mut Model, at: Moment, latency_ms: f64, effects: &mut Vec<Effect>) {
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

/// A repetition and its breath are over: the board says which cell comes next.
fn end_repetition(model: &mut Model, at: Moment, key: (u64, u64), effects: &mut Vec<Effect>) {
    let Some(practising) = &mut model.practising else {
        return;
    };
    practising.ended = Some(key);
    let Some(repetition) = practising.repetition(key.0, key.1) else {
        return;
    };
    practise(model, &Event::RepetitionEnded { at, repetition }, effects);
    let Some(practising) = &model.practising else {
        return;
    };
    if practising.state.phase() != Phase::Playing {
        return;
    }
    let Some(cell) = practising.state.upcoming() else {
        return;
    };
    if practising.asked == Some(cell) {
        return;
    }
    let same_stage = practising
        .asked
        .is_some_and(|asked| asked.stage == cell.stage);
    let entry = if same_stage {
        Entry::FirstCycle
    } else {
        Entry::CountIn
    };
    load(model, cell, When::CycleEnd, entry, effects);
}

fn heard(model: &mut Model, at: Moment, report: &Report, effects: &mut Vec<Effect>) {
    match *report {
        Report::Bar {
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
            begin_repetition(model, at, serial, cycle, effects);
        }
        Report::Closing { serial, cycle, .. } => {
            let repetition = model
                .practising
                .as_ref()
                .and_then(|practising| practising.repetition(serial, cycle));
            if let Some(repetition) = repetition {
                practise(model, &Event::ClosingNoteHeard { at, repetition }, effects);
            }
        }
        Report::Cut { serial, cycle, .. } => {
            let known = model
                .practising
                .as_ref()
                .is_some_and(|practising| practising.repetition(serial, cycle).is_some());
            if known {
                practise(model, &Event::Cut, effects);
            }
        }
        Report::Took { serial, .. } => {
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
        Report::Bar { .. } | Report::Paused(_) | Report::Stopped(_) | Report::Missed(_) => {}
    }
}

/// How many repetitions are kept by cycle; the machine remembers as many.
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
    let Some(cell) = practising.find(serial).map(|sent| sent.cell) else {
        return;
    };
    let id = practising.state.next_repetition();
    if practising.began.len() == REMEMBERED {
        practising.began.pop_front();
    }
    practising.began.push_back(((serial, cycle), id));
    let sounds = options.reference.factor(cycle) > 0.0
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
}

fn sound_state(model: &mut Model, state: SoundState) {
    let notice = match (&model.sound, &state) {
        (_, SoundState::Silent { why }) => Some(Notice::urgent(format!(
            "silent (`gracerung devices` lists what there is): {why}"
        ))),
        (SoundState::Silent { .. }, SoundState::Sounding { device, .. }) => {
            Some(Notice::plain(format!("sound is back, on {device}")))
        }
        _ => None,
    };
    if notice.is_some() {
        model.notice = notice;
    }
    model.sound = state;
}
