//! Draws the head of the practice page for each size of window: drill, modes and sound, then beats
//! and levels.

use super::{fitted, frame, put, put_right};
use crate::app::{HeardPlace, Model, Offer, Practising, SoundState};
use crate::chanter::Instrument;
use crate::practice::Phase;
use crate::rhythm::{ClickPlan, ReferencePlan};
use crate::score::ScoreBar;
use crate::screen::Theme;
use crate::sound::Bus;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use unicode_width::UnicodeWidthStr as _;

/// Draws the title: the drill and its stage, the homework's goal, the active modes, and the sound.
pub(super) fn title(
    model: &Model,
    practising: &Practising,
    theme: Theme,
    buffer: &mut Buffer,
    whole: Rect,
) {
    let name = practising
        .drill()
        .stages
        .get(practising.stage())
        .map_or("", |stage| stage.name.as_str());
    let part = model.session().map_or_else(String::new, |session| {
        format!(
            "{}/{}, {} min · ",
            session.at() + 1,
            session.parts().len(),
            session.minutes_left()
        )
    });
    let reach = practising
        .goal_words()
        .map_or_else(String::new, |goal| format!("  ◎ {goal}"));
    let modes = modes(model, practising).join(", ");
    let area = frame::within(whole);
    // the title is cut, but never the homework's goal or the modes
    let mut kept = usize::from(area.width).saturating_sub(reach.width());
    if !modes.is_empty() {
        kept = kept.saturating_sub(modes.width() + 2);
    }
    let title = format!("{part}{} · {name}", practising.drill().title);
    let title = format!("{}{reach}", fitted(&title, kept as u16));
    let title = title.trim_start();
    let mut sound = sound_words(model);
    // where the words about the sound would be cut, only the pitch is shown
    let fits = |sound: &str| title.width() + 2 + sound.width() <= usize::from(area.width);
    if !fits(&sound) {
        sound = format!("{:.0} Hz", model.options().tuning.low_a.0);
    }
    if !fits(&sound) {
        sound.clear();
    }
    let both = if modes.is_empty() {
        sound
    } else if title.width() + modes.width() + sound.width() + 5 <= usize::from(area.width) {
        format!("{modes} · {sound}")
    } else {
        modes
    };
    frame::head(buffer, whole, title, &both, theme);
}

/// The active modes, the most surprising first. In each mode the page behaves in a way that a
/// player would not expect.
pub(super) fn modes(model: &Model, practising: &Practising) -> Vec<&'static str> {
    let options = model.options();
    let reference = match practising.reference(options.reference) {
        ReferencePlan::Every => None,
        ReferencePlan::Alternate => Some("in turns"),
        ReferencePlan::Fading(_) => Some("fading"),
        ReferencePlan::Silent => Some("alone"),
    };
    let clicks = match practising.clicks(options.clicks) {
        ClickPlan::Every => None,
        ClickPlan::OneAndThree => Some("clicks 1 and 3"),
        ClickPlan::OnePerBar => Some("a click a bar"),
        ClickPlan::SilentBars { .. } => Some("2 bars without clicks"),
    };
    [
        reference,
        options.by_ear.then_some("by ear"),
        options.hands_free.then_some("hands free"),
        clicks,
        practising.hiding_words(),
        options.drones.then_some("drones"),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn sound_words(model: &Model) -> String {
    let tuning = model.options().tuning;
    let chanter = match tuning.instrument {
        Instrument::PracticeChanter => "practice chanter",
        Instrument::PipeChanter => "pipe chanter",
    };
    let own = model.ear().map(|now| now.low_a);
    let own = own.filter(|own| (own.0 - tuning.low_a.0).abs() >= 0.5);
    let own = own.map_or_else(String::new, |own| format!(", yours {:.0}", own.0));
    let pitch = format!("{chanter} {:.0} Hz{own}", tuning.low_a.0);
    match model.sound() {
        SoundState::Closed => pitch,
        SoundState::Sounding { latency_ms, .. } => format!("{pitch} · {latency_ms:.0} ms"),
        SoundState::Silent { .. } => "silent: no device".to_owned(),
    }
}

/// The number of counts in the bar that is audible.
fn beats_now(practising: &Practising) -> u32 {
    let score = practising.scores().get(practising.stage());
    let at = practising.heard().map_or(0.0, HeardPlace::in_repetition);
    let bar = score.and_then(|score| {
        let begun = |bar: &&ScoreBar| bar.start.to_f64() <= at;
        score.bars.iter().rev().find(begun).or(score.bars.first())
    });
    let metre = bar.map_or(practising.drill().metre, |bar| bar.metre);
    if metre.is_free() {
        0
    } else {
        metre.counts_in_a_bar()
    }
}

/// Draws the lights of the beat, the place in the repetition, and the levels.
pub(super) fn beats(
    model: &Model,
    practising: &Practising,
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
) {
    let count = beats_now(practising);
    let (now, words) = match &practising.heard() {
        Some(place) if practising.is_sounding() => {
            (Some(place.count_of_bar()), place_words(practising, place))
        }
        _ => (None, phase_words(practising).to_owned()),
    };
    let mut x = area.x;
    for beat in 0..count {
        let lit = now == Some(beat);
        let style = if lit { theme.accent() } else { theme.quiet() };
        x = put(buffer, area, x, area.y, if lit { "●" } else { "○" }, style) + 1;
    }
    let x = put(buffer, area, x + 1, area.y, &words, theme.strong());
    let bar = |bus: Bus| {
        let lit = (model.options().levels.of(bus).0 * 5.0).round() as usize;
        let muted = model.options().levels.muted[bus as usize];
        let alone = bus == Bus::Reference
            && practising.reference(model.options().reference) == ReferencePlan::Silent;
        if muted || alone || lit == 0 {
            "silent".to_owned()
        } else {
            format!("{}{}", "▮".repeat(lit), "▯".repeat(5 - lit.min(5)))
        }
    };
    let levels = format!(
        "reference {}  click {}",
        bar(Bus::Reference),
        bar(Bus::Click)
    );
    let width = unicode_width::UnicodeWidthStr::width(levels.as_str()) as u16;
    if x + 2 + width <= area.right() {
        put_right(buffer, area, area.y, &levels, theme.plain());
    }
}

fn phase_words(practising: &Practising) -> &'static str {
    match practising.state().phase() {
        Phase::Still => "space plays",
        Phase::Paused => "paused: space plays",
        Phase::Offering => "stopped: three not clean",
        Phase::NobodyThere => "paused, nobody there: space plays",
        Phase::Playing => "",
    }
}

fn place_words(practising: &Practising, place: &HeardPlace) -> String {
    if place.counting_in {
        return "count-in".to_owned();
    }
    match practising.plays_once() {
        Some(Offer::Sing) => return "sing or tap".to_owned(),
        Some(_) => return "listen".to_owned(),
        None => {}
    }
    if place.is_breath() {
        return "breathe and mark".to_owned();
    }
    let number = practising.present_bar().unwrap_or(0);
    let bars = practising
        .scores()
        .get(place.stage)
        .map_or(&[][..], |score| &score.bars);
    let last = bars.iter().map(|bar| bar.number).max().unwrap_or(0);
    match number {
        0 => "pickup".to_owned(),
        number => match bars.iter().map(|bar| bar.number).find(|number| *number > 0) {
            Some(first) if first > 1 => format!("bar {number} of {first} to {last}"),
            _ => format!("bar {number} of {last}"),
        },
    }
}
