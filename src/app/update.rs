//! The one place where the model changes.

use super::choose::Opens;
use super::cold;
use super::effect::Effect;
use super::message::{Action, Message, OpenedDrill};
use super::model::{Model, Overlay, Page, SoundState};
use super::notice::{Notice, told};
use super::offers::{self, Offer, Offers};
use super::options::act_on_options;
use super::playing::{decide, follow_wish, forget_heard, heard, load, pause, play, wanted};
use super::practising::{Place, Practising};
use super::session::{self, Session, Stands};
use super::words::{keep_words, write};
use crate::listening::{Attended, SoundTrouble};
use crate::practice::{
    CellKey, Event, HELD_MS, Hand, Mark, Moment, News, Plan, PointingHeard, Rung, Verdict, step,
};
use crate::sound::{Command, Cue, Entrance, When};
use crate::wording;

/// Rows of an overlay that can be scrolled past; no page is longer.
const MOST_ROWS_READ: i32 = 2000;

/// Applies a message. Effects are to be carried out in order before the model is shown.
pub fn update(model: &mut Model, at: Moment, message: Message) -> Vec<Effect> {
    let mut effects = Vec::new();
    apply(model, at, message, &mut effects);
    offers::follow(model, &mut effects);
    cold::follow(model, at, &mut effects);
    session::follow(model, at, &mut effects);
    effects
}

fn apply(model: &mut Model, at: Moment, message: Message, effects: &mut Vec<Effect>) {
    match message {
        Message::Act(action) => act(model, at, action, effects),
        Message::Opened(mut opened) => opened_drill(model, at, &mut opened, effects),
        Message::NotOpened(why) if model.session.is_some() => {
            session::not_opened(model, at, why, effects);
        }
        Message::NotOpened(why) => model.notice = Some(Notice::urgent(why)),
        Message::Session(plan) => {
            model.session = Some(Session::new(plan, at));
            model.page = Page::Session;
        }
        Message::MoreOfToday(parts) => session::more(model, at, parts, effects),
        Message::AsideOver(trouble) => session::aside_over(model, at, trouble, effects),
        Message::Tick => {}
        Message::Listed(drills) => {
            model.choose.drills = drills;
            model.choose.move_by(0);
        }
        Message::Today(lines) => model.choose.set_today(&lines),
        Message::Care(word) => model.notice = Some(Notice::plain(word)),
        Message::Heard(report) => heard(model, at, &report, effects),
        Message::Position {
            serial,
            counting_in,
            cycle,
            beat,
            latency_ms,
        } => {
            if let Some(practising) = &mut model.practising
                && practising.is_sounding()
            {
                practising.heard = practising.find(serial).map(|sent| Place {
                    serial,
                    stage: sent.stage,
                    rung: sent.cell.rung,
                    timeline: std::sync::Arc::clone(&sent.timeline),
                    counting_in,
                    cycle,
                    beat,
                });
                decide(model, at, latency_ms, effects);
            }
        }
        Message::Ear(now) => model.ear = now,
        Message::Listened {
            serial,
            cycle,
            attended,
        } => listened(model, at, (serial, cycle), *attended, effects),
        Message::Sound(state) => sound_state(model, state),
        Message::Underruns(count) => {
            let gaps = wording::count(count as usize, "gap", "gaps");
            model.notice = Some(Notice::urgent(format!(
                "{gaps} so far: the computer was late with the sound"
            )));
            practise(model, &Event::SoundLost, effects);
            if model.lateness.late(at.heard_ms) {
                effects.push(Effect::LargerBuffer);
            }
        }
        Message::Stored { foreign, own } => {
            let before = model.notice.take();
            let reached = model.practising.as_mut().and_then(|practising| {
                let met = practising.take_in(&own);
                let file = practising.goal.as_ref()?.file.clone();
                Some((file, practising.goal_words()?)).filter(|_| met)
            });
            practise(model, &Event::Stored { foreign, own }, effects);
            let after = model.notice.take();
            let again = std::mem::take(&mut model.unstored);
            // What was said of the mark stands; what storing it brought in is told where nothing was.
            let again = again.then(|| Notice::plain(STORED_AGAIN));
            let own = before.filter(|before| !before.urgent);
            model.notice = again.or(own).or(after);
            if let Some((file, words)) = reached {
                model.notice = Some(Notice::plain(format!("homework reached: {words}")));
                session::reached(model, &file);
                if !model.reached.contains(&file) {
                    model.reached.push(file);
                }
            }
        }
        Message::NotStored(why) => {
            let known = std::mem::replace(&mut model.unstored, true);
            let own = model.notice.take().filter(|own| !own.urgent);
            model.notice = Some(Notice::urgent(match own {
                Some(own) if known => format!("{}; not stored yet", own.text),
                Some(own) => format!("{}; not stored, kept in memory: {why}", own.text),
                None => format!(
                    "the journal cannot be written, marks are kept in memory and tried again: {why}"
                ),
            }));
        }
        Message::Kept(kept) => {
            model.notice = Some(match kept {
                Ok(seconds) => Notice::plain(format!(
                    "kept the last {seconds:.0} s: `gracerung takes 1` plays them beside the reference, --half slowly"
                )),
                Err(why) => Notice::urgent(format!("nothing was kept: {why}")),
            });
        }
        Message::Terminate => {
            leave_drill(model, at, effects);
            model.quit = true;
            effects.push(Effect::Quit);
        }
    }
}

/// Said when it can be again.
const STORED_AGAIN: &str = "the journal can be written again: every mark is stored";

/// Lets an event happen to the board, stores what it says and tells the news.
/// `dots 3.8 : 1, snaps 1 : 4.1`; nothing where no pair says how it is wanted.
fn pointed(verdict: &Verdict) -> Option<String> {
    let all: Vec<String> = verdict.pointing.iter().map(PointingHeard::short).collect();
    (!all.is_empty()).then(|| all.join(", "))
}

pub(super) fn practise(model: &mut Model, event: &Event, effects: &mut Vec<Effect>) {
    let Some(practising) = &mut model.practising else {
        return;
    };
    let (state, records) = step(&practising.state, event);
    practising.state = state;
    if !records.is_empty() {
        effects.push(Effect::Store(records));
    }
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
    let judged = practising.state.news().iter().find_map(|news| match news {
        News::Judged { verdict, .. } => Some((verdict.worst_shape().to_vec(), pointed(verdict))),
        _ => None,
    });
    if let Some((shape, pointing)) = judged {
        practising.shape = shape;
        practising.pointing = pointing;
    }
    let at = event.at();
    let cold = at.and_then(|at| practising.cold_words(at, &model.options.rule));
    let mut said = cold.map(Notice::plain).or_else(|| told(practising));
    if let Some(hidden) = practising.follow_marks() {
        said = Some(match said {
            Some(said) => Notice::plain(format!("{}; {hidden}", said.text)),
            None => Notice::plain(hidden),
        });
    }
    let reached = practising
        .goal_cleared()
        .filter(|file| !model.reached.contains(file));
    model.reached.extend(reached);
    let mut chosen = None;
    for news in practising.state.news() {
        match news {
            News::Cleared(_)
            | News::ColdTry {
                mark: Mark::Clean, ..
            } => effects.push(Effect::Sound(Command::Cue(Cue::CellClear))),
            News::StepBackSuggested(_) | News::StopsSoon => {
                effects.push(Effect::Sound(Command::Cue(Cue::StepBack)));
            }
            News::NobodyThere | News::Offers => effects.push(Effect::Pause),
            News::Chosen(mark) => chosen = Some(*mark),
            _ => {}
        }
    }
    if practising.state.news().contains(&News::Offers) {
        practising.offers = Offers::default();
        practising.heard = None;
        practising.asked = None;
        model.notice = None;
    }
    if said.is_some() {
        model.notice = said;
    }
    if let Some(at) = at {
        session::noted(model, at);
    }
    if let Some((cell, at)) = climbed.zip(at) {
        practise(model, &Event::CellChosen { at, cell }, effects);
    }
    if let Some((mark, at)) = chosen.zip(at) {
        offers::chosen(model, at, mark, effects);
    }
}

/// True where a press is the one before held on: a key or pedal that repeats while the page changes
/// under it must not answer the next page too.
fn is_held(model: &mut Model, at: Moment, action: Action) -> bool {
    let side = match action {
        Action::Mark(mark, _) => mark,
        Action::BeginPart => Mark::Clean,
        Action::NextPart => Mark::NotClean,
        _ => return false,
    };
    let before = model.pressed.replace((side, at.heard_ms));
    before.is_some_and(|(last, when)| last == side && at.heard_ms.saturating_sub(when) <= HELD_MS)
}

fn act(model: &mut Model, at: Moment, action: Action, effects: &mut Vec<Effect>) {
    if is_held(model, at, action) {
        return;
    }
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
        Action::Leave if model.words.is_some() => model.words = None,
        Action::Write { question } if model.page == Page::Practise => {
            write(model, at, question, effects);
        }
        Action::Letter(letter) => {
            if let Some(words) = &mut model.words {
                words.add(letter);
            }
        }
        Action::LetterBack => {
            if let Some(words) = &mut model.words {
                words.text.pop();
            }
        }
        Action::KeepWords => keep_words(model, at, effects),
        Action::Leave if model.over.is_some() => model.over = None,
        Action::ReadMovement if model.page == Page::Practise => {
            // Reading takes the eyes and the hands: nothing is played into it, no pedal marks.
            if model.is_moving() {
                pause(model, at, effects);
            }
            model.over = Some(Overlay::Movement);
            model.over_scroll = 0;
        }
        Action::Leave if model.page == Page::Practise && model.options.explain => {
            model.options.explain = false;
        }
        Action::Leave => leave(model, at, effects),
        _ => match model.page {
            Page::Choose => act_in_list(model, action, effects),
            Page::Practise => act_at_practice(model, at, action, effects),
            Page::Session => act_in_session(model, at, action, effects),
        },
    }
}

fn leave(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    match model.page {
        Page::Choose => {
            if !model.choose.search.is_empty() {
                model.choose.search.clear();
                model.choose.marked = 0;
                return;
            }
            model.quit = true;
            effects.push(Effect::Quit);
        }
        Page::Practise | Page::Session => {
            leave_drill(model, at, effects);
            model.page = Page::Choose;
            model.session = None;
            if model.straight {
                model.quit = true;
                effects.push(Effect::Quit);
            } else {
                effects.push(Effect::List);
            }
        }
    }
}

pub(super) fn leave_drill(model: &mut Model, at: Moment, effects: &mut Vec<Effect>) {
    if model.practising.is_none() {
        return;
    }
    effects.push(Effect::Stop);
    practise(model, &Event::Ended { at }, effects);
    model.practising = None;
    model.words = None;
    model.page = Page::Choose;
    model.notice = None;
}

fn act_in_list(model: &mut Model, action: Action, effects: &mut Vec<Effect>) {
    match action {
        Action::Move(lines) => model.choose.move_by(lines),
        Action::MoveToEnd { last } => model.choose.move_to_end(last),
        Action::Search(letter) => {
            model.notice = None;
            model.choose.search(Some(letter));
        }
        Action::SearchBack => model.choose.search(None),
        Action::Unfold => {
            let unfolded = model.choose.unfold();
            model.notice = (!unfolded).then(|| Notice::plain("only a tune has parts and phrases"));
        }
        Action::Open if model.choose.bars().is_some() => {
            if let Some((tune, bars)) = model.choose.bars() {
                effects.push(Effect::OpenBars(tune.name.clone(), bars));
            }
        }
        Action::Open => match model.choose.current() {
            Some(line) if !line.is_playable() => {
                model.over = Some(Overlay::Problems);
                model.over_scroll = 0;
            }
            Some(line) => effects.push(match line.opens {
                Opens::Session => Effect::BeginSession,
                Opens::Drill => Effect::Open(line.name.clone()),
                Opens::Movement => Effect::OpenMovement(line.name.clone()),
                Opens::Bars(bars) => Effect::OpenBars(line.name.clone(), bars),
                Opens::HeldDots => Effect::OpenHeldDots(line.name.clone()),
            }),
            None => {
                model.notice = Some(Notice::plain("no drill and no movement has these letters"));
            }
        },
        _ => {}
    }
}

/// A page of a session takes no press so soon after it came, milliseconds: longer than a foot takes
/// that was on its way already. Chosen.
const TOO_FRESH_MS: i64 = 700;

/// Between two things of a session, and after the last.
fn act_in_session(model: &mut Model, at: Moment, action: Action, effects: &mut Vec<Effect>) {
    let over = model
        .session
        .as_ref()
        .is_none_or(|session| session.stands == Stands::Over);
    // a mark that comes as the page changes is no answer to what it shows
    let fresh = model
        .session
        .as_ref()
        .is_some_and(|session| at.heard_ms - session.shown_ms() < TOO_FRESH_MS);
    match action {
        Action::BeginPart | Action::NextPart if fresh => {}
        Action::BeginPart | Action::NextPart if over => leave(model, at, effects),
        Action::BeginPart => session::begin(model, at, effects),
        Action::NextPart => session::leave_out(model, at, effects),
        _ => {}
    }
}

fn opened_drill(
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
    session::opened(model, at, effects);
}

/// Where the command line wants to begin, else what is to be tried cold today, else where the last
/// session ended.
fn asked_place(practising: &Practising, opened: &OpenedDrill, at: Moment) -> Option<CellKey> {
    // the same bar may have been played in another drill, at a tempo that this one has not
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
    // what was asked for is played as it is, also between the rungs
    let exact = asked.filter(|cell| planned.has(*cell));
    exact.or_else(|| plan.in_stage(stage, opened.rung.unwrap_or(near)))
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
        Action::NextPart if model.session.is_none() => {
            model.notice = Some(Notice::plain(
                "no session runs: `q`, then its first line begins one",
            ));
        }
        Action::NextPart => session::leave_out(model, at, effects),
        Action::Mark(mark, Hand::Pedal) if pedal_plays(model) => match mark {
            Mark::Clean => play(model, at, effects),
            Mark::NotClean => {
                practise(model, &Event::TempoStep { at, up: false }, effects);
            }
        },
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

/// While nothing sounds and nothing heard waits for its mark, the right pedal plays and the left one
/// goes a rung down.
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

/// A repetition was listened to: the board may be marked by it, and what was wrong is told.
fn listened(
    model: &mut Model,
    at: Moment,
    (serial, cycle): (u64, u64),
    attended: Attended,
    effects: &mut Vec<Effect>,
) {
    let found = model
        .practising
        .as_ref()
        .and_then(|practising| practising.repetition(serial, cycle));
    let Some(repetition) = found else { return };
    let playing = attended.measured.playing;
    let lead = attended.lead_ms.filter(|_| playing).map(lead_words);
    if let Some(practising) = &mut model.practising {
        practising.lead = lead;
    }
    let event = Event::Listened {
        at,
        repetition,
        measured: attended.measured,
        lost: attended.trouble == Some(SoundTrouble::Late),
    };
    practise(model, &event, effects);
    // A repetition that was judged nevertheless keeps its verdict; the same trouble stands where
    // the microphone's level is shown.
    if let Some(trouble) = attended.trouble
        && trouble != SoundTrouble::Late
        && (!playing || model.notice.is_none())
    {
        model.notice = Some(Notice::urgent(trouble.to_string()));
    }
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

/// Less than this is on the click: what is just noticed in an even series of quick notes (6 ms,
/// Friberg & Sundberg, JASA 1995).
const ON_THE_CLICK_MS: f64 = 6.0;

/// Where the player was against the click all through a repetition.
fn lead_words(lead_ms: f64) -> String {
    if lead_ms.abs() < ON_THE_CLICK_MS {
        "on the click".to_owned()
    } else if lead_ms > 0.0 {
        format!("{lead_ms:.0} ms ahead of the click")
    } else {
        format!("{:.0} ms behind the click", -lead_ms)
    }
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
    // a stop closes what was never open: there is still no device
    let still_none = matches!(
        (&model.sound, &state),
        (SoundState::Silent { .. }, SoundState::Closed)
    );
    if !still_none {
        model.sound = state;
    }
}
