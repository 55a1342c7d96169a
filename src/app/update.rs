//! The one function that changes the model.

use super::acting::act_at_practice;
use super::cold;
use super::course;
use super::effect::Effect;
use super::leaving::leave;
use super::listed::Opens;
use super::message::{Action, Message};
use super::model::{Model, Overlay, Page, SoundState};
use super::notice::Notice;
use super::noting;
use super::offers;
use super::opening::opened_drill;
use super::place::HeardPlace;
use super::playing::{decide, heard, pause};
use super::session::{Session, Stands};
use super::stepping::{leave_drill, practise};
use super::writing::{keep_words, write};
use crate::listening::{Attended, SoundTrouble};
use crate::practice::{Event, HELD_MS, Mark, Moment};
use crate::units::Milliseconds;
use crate::wording;

/// The most rows of an overlay that can be scrolled past. No overlay is longer.
const MOST_ROWS_READ: i32 = 2000;

/// Applies a message. The caller must carry out the returned effects in order before it draws the
/// model.
pub fn update(model: &mut Model, at: Moment, message: Message) -> Vec<Effect> {
    let mut effects = Vec::new();
    apply(model, at, message, &mut effects);
    if let Some(mark) = model.chosen.take() {
        offers::chosen(model, at, mark, &mut effects);
    }
    offers::follow(model, &mut effects);
    cold::follow(model, at, &mut effects);
    course::follow(model, at, &mut effects);
    effects
}

fn apply(model: &mut Model, at: Moment, message: Message, effects: &mut Vec<Effect>) {
    match message {
        Message::Act(action) => act(model, at, action, effects),
        Message::Opened(mut opened) => opened_drill(model, at, &mut opened, effects),
        Message::NotOpened(why) if model.session.is_some() => {
            course::not_opened(model, at, why, effects);
        }
        Message::NotOpened(why) => model.notice = Some(Notice::urgent(why)),
        Message::Session(plan) => {
            model.session = Some(Session::new(plan, at));
            model.page = Page::Session;
        }
        Message::MoreOfToday(parts) => course::more(model, at, parts, effects),
        Message::AsideOver { left, trouble } => {
            course::aside_over(model, at, left, trouble, effects);
        }
        Message::Tick => {}
        Message::Begun {
            drills,
            movements,
            last,
        } => {
            model.choose.drills = drills;
            model.choose.movements = movements;
            if let Some(last) = last {
                model.choose.mark(&last);
            }
        }
        Message::ReadFrom(row) => model.over_scroll = row,
        Message::Listed(drills) => {
            model.choose.drills = drills;
            model.choose.move_by(0);
        }
        Message::Today(session, homework) => model.choose.set_today(&session, homework),
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
                practising.heard = practising.find(serial).map(|sent| HeardPlace {
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
            if let Some(waited) = model.others.told(model.notice.as_ref(), at.heard_ms) {
                model.notice = Some(waited);
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
            let others = foreign.len();
            let reached = model.practising.as_mut().and_then(|practising| {
                let met = practising.take_in(&own);
                let file = practising.goal.as_ref()?.file.clone();
                Some((file, practising.goal_words()?)).filter(|_| met)
            });
            practise(model, &Event::Stored { foreign, own }, effects);
            let after = model.notice.take();
            let again = std::mem::take(&mut model.unstored);
            // the notice about the mark stays; the news about storing is shown only where there is
            // no other notice
            let again = again.then(|| Notice::plain(STORED_AGAIN));
            let own = before.filter(|before| !before.urgent);
            if again.is_some() || own.is_some() {
                model.others.wait(others);
            }
            model.notice = again.or(own).or(after);
            if let Some((file, words)) = reached {
                let more = match model.session {
                    None => model.choose.more_asked(),
                    Some(_) => "",
                };
                model.notice = Some(Notice::plain(format!("homework reached: {words}{more}")));
                noting::reached(model, &file);
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

/// The notice that the journal can be written again.
const STORED_AGAIN: &str = "the journal can be written again: every mark is stored";

/// True where a press repeats the last one because the key or pedal is held down. Such a press must
/// not also answer the page that follows.
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
            // reading needs the eyes and the hands, so play pauses and no pedal marks
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

fn act_in_list(model: &mut Model, action: Action, effects: &mut Vec<Effect>) {
    // a notice about one line must not be shown for the next
    if matches!(
        action,
        Action::Move(_) | Action::MoveToEnd { .. } | Action::Search(_) | Action::SearchBack
    ) {
        model.notice = None;
    }
    match action {
        Action::Move(lines) => model.choose.move_by(lines),
        Action::MoveToEnd { last } => model.choose.move_to_end(last),
        Action::Search(letter) => model.choose.search(Some(letter)),
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
                Opens::Drill | Opens::Homework => Effect::Open {
                    name: line.name.clone(),
                    task: line.task.clone(),
                },
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

/// For this many milliseconds after it appeared, a page of a session takes no press. It is longer
/// than a foot needs that was already moving. Chosen.
const TOO_FRESH_MS: i64 = 700;

/// Handles an action on the session's page, between two parts and after the last.
fn act_in_session(model: &mut Model, at: Moment, action: Action, effects: &mut Vec<Effect>) {
    let over = model
        .session
        .as_ref()
        .is_none_or(|session| session.stands == Stands::Over);
    // a press that arrives just as the page changes is no answer to the new page
    let fresh = model
        .session
        .as_ref()
        .is_some_and(|session| at.heard_ms - session.shown_ms() < TOO_FRESH_MS);
    match action {
        Action::BeginPart | Action::NextPart if fresh => {}
        Action::BeginPart | Action::NextPart if over => leave(model, at, effects),
        Action::BeginPart => course::begin(model, at, effects),
        Action::NextPart => course::leave_out(model, at, effects),
        _ => {}
    }
}

/// Takes the analysis of a repetition: marks the board by it where the microphone marks, and
/// reports what was wrong with the sound.
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
    let lead = attended.lead.filter(|_| playing).map(lead_words);
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
    // a repetition that was judged in spite of the trouble keeps its verdict as the notice; the
    // microphone's level shows the trouble
    if let Some(trouble) = attended.trouble
        && trouble != SoundTrouble::Late
        && (!playing || model.notice.is_none())
    {
        model.notice = Some(Notice::urgent(trouble.to_string()));
    }
}

/// A deviation smaller than this counts as on the click. 6 ms is just noticeable in an even series
/// of quick notes (Friberg & Sundberg, JASA 1995).
const ON_THE_CLICK: Milliseconds = Milliseconds(6.0);

/// The player's mean timing against the click over a whole repetition, in words.
fn lead_words(lead: Milliseconds) -> String {
    if lead.abs() < ON_THE_CLICK {
        "on the click".to_owned()
    } else if lead.0 > 0.0 {
        format!("{lead:.0} ms ahead of the click")
    } else {
        format!("{:.0} ms behind the click", -lead)
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
    // stopping closes the device; where none was open, the reason for that still holds
    let still_none = matches!(
        (&model.sound, &state),
        (SoundState::Silent { .. }, SoundState::Closed)
    );
    if !still_none {
        model.sound = state;
    }
}
