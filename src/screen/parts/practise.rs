//! The page of a drill.
//!
//! ```text
//!  Grip from D · half beats                alone · practice chanter 236 Hz · 28 ms
//!  ● ○ ○ ○  bar 1 of 2                       reference silent  click ▮▮▮▯▯
//! ─────────────────────────────────────────────────────────────────────────────
//!  (the music)
//! ─────────────────────────────────────────────────────────────────────────────
//!  D now, LG next          1   2   3   4       ▄▄▄ ▄▄▄   ▄▄▄   ▄▄▄
//!  thumb ●           54    ·   ·   ·   ·       …
//! ```

use super::{
    bars, board, chanter, figures, fitted, frame, line, put, put_right, shape, staff, tuner,
    wrapped,
};
use crate::app::{
    DROWNED, Model, Notice, Offer, Place, Practising, SoundState, Sounding, Words, trouble,
};
use crate::chanter::Instrument;
use crate::practice::{CellStatus, Phase, Rung};
use crate::rhythm::{ClickPlan, ReferencePlan};
use crate::score::{NoteId, ScoreBar, where_time_comes_from};
use crate::screen::Theme;
use crate::sound::Bus;
use crate::timeline::Sounded;
use crate::units::spell_fraction;
use crate::wording;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr as _};

/// Draws the page into whatever room there is.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, frame: &mut Frame, area: Rect) {
    let Some(practising) = &model.practising else {
        return;
    };
    let buffer = frame.buffer_mut();
    let reads = model.options.explain || model.words.is_some();
    if (model.options.stand || practising.is_by_heart()) && !reads {
        super::stand::draw(model, practising, theme, buffer, area);
    } else if area.width < 76 || area.height < 20 {
        narrow(model, practising, theme, buffer, area);
    } else {
        wide(model, practising, theme, buffer, area);
    }
}

/// The rows of a page from the top, taken one after the other.
struct Rows {
    area: Rect,
    next: u16,
}

impl Rows {
    fn new(area: Rect) -> Self {
        Self { area, next: area.y }
    }

    fn take(&mut self, count: u16) -> Rect {
        let y = self.next.min(self.area.bottom());
        let height = count.min(self.area.bottom() - y);
        self.next = y + height;
        Rect {
            y,
            height,
            ..self.area
        }
    }
}

fn wide(model: &Model, practising: &Practising, theme: Theme, buffer: &mut Buffer, whole: Rect) {
    let area = frame::within(whole);
    let roomy = whole.height >= 32;
    let mut rows = Rows::new(area);
    let _ = rows.take(1);
    title(model, practising, theme, buffer, whole);
    beats(model, practising, theme, buffer, rows.take(1));
    if roomy {
        rule(buffer, theme, rows.take(1));
    }
    let lower: u16 = if roomy {
        9 + (whole.height - 32).min(21)
    } else {
        6
    };
    let foot = if roomy { 5 } else { 3 };
    let shaped = u16::from(!practising.shape.is_empty());
    // in a small window the map takes the row of what to listen for, which `e` shows, and not one of
    // the music; the ear's row is its own
    let mapped = bars::rows(practising);
    let in_place = mapped > 0 && !roomy && model.ear.is_none();
    let mapped = if in_place { 0 } else { mapped };
    let music = area
        .bottom()
        .saturating_sub(rows.next + lower + foot + shaped + mapped);
    draw_music(practising, theme, buffer, rows.take(music));
    bars::draw(practising, theme, buffer, rows.take(mapped));
    if roomy {
        rule(buffer, theme, rows.take(1));
    }
    let below = rows.take(lower);
    // the board is as wide as its stages, the figures take the rest
    let stages = practising.state.board().stages() as u16;
    let holes = 22;
    let columns = [
        holes,
        (board::LABEL + stages * 5).clamp(24, below.width / 2),
    ];
    let chanter_area = Rect {
        width: columns[0] - 1,
        ..below
    };
    let board_area = Rect {
        x: below.x + columns[0],
        width: columns[1],
        ..below
    };
    let figures_area = Rect {
        x: board_area.right() + 2,
        width: below.right().saturating_sub(board_area.right() + 2),
        ..below
    };
    let handed = model.options.left_handed;
    chanter::draw(buffer, theme, chanter_area, sounding(practising), handed);
    if model.options.explain {
        let right = Rect {
            width: below.right().saturating_sub(board_area.x),
            ..board_area
        };
        explanation(practising, theme, buffer, right);
    } else {
        board::draw(buffer, theme, board_area, practising);
        big_figures(practising, theme, buffer, figures_area);
    }
    shape::draw(&practising.shape, theme, buffer, rows.take(shaped));
    let mut listen = rows.take(foot - if roomy { 3 } else { 2 });
    if model.ear.is_some() {
        ear(model, practising, theme, buffer, listen);
        listen.y += 1;
        listen.height -= 1;
    }
    let text = listen_line(practising);
    let lines = if in_place {
        bars::draw(practising, theme, buffer, listen);
        Vec::new()
    } else if model.options.explain {
        Vec::new()
    } else {
        wrapped(&text, area.width)
    };
    let cut = lines.len() > usize::from(listen.height);
    for (y, text) in (listen.y..listen.bottom()).zip(&lines) {
        let last = cut && y + 1 == listen.bottom();
        let text = if last {
            format!(
                "{}… (e)",
                fitted(text, area.width.saturating_sub(5)).trim_end_matches('…')
            )
        } else {
            text.clone()
        };
        put(buffer, listen, listen.x, y, &text, theme.plain());
    }
    let told = rows.take(1);
    // what does not fit the row takes the one above, which says what does not change
    let long = model.words.is_none() && told_rows(model, practising, area.width) > 1;
    let told = if long && told.y > area.y {
        let above = Rect {
            y: told.y - 1,
            height: 2,
            ..told
        };
        let blank = " ".repeat(usize::from(area.width));
        put(buffer, above, above.x, above.y, &blank, theme.plain());
        above
    } else {
        told
    };
    notice(model, theme, buffer, told);
    keys(model, theme, buffer, rows.take(1), practising);
}

fn narrow(model: &Model, practising: &Practising, theme: Theme, buffer: &mut Buffer, whole: Rect) {
    let area = frame::within(whole);
    let mut rows = Rows::new(area);
    let _ = rows.take(1);
    title(model, practising, theme, buffer, whole);
    beats(model, practising, theme, buffer, rows.take(1));
    let tall = area.height >= 14;
    let reading = model.options.explain && !tall;
    // how the movement was shaped takes the place of the fingers' motion
    let shaped = u16::from(!practising.shape.is_empty());
    let fingers = rows.take(if reading || (shaped > 0 && !tall) {
        1
    } else {
        2
    });
    chanter::draw(
        buffer,
        theme,
        fingers,
        sounding(practising),
        model.options.left_handed,
    );
    let rest = match (tall, reading) {
        (true, _) => 14 + shaped + bars::rows(practising),
        (false, false) => 8,
        (false, true) => 6,
    };
    let music = area.height.saturating_sub(rest).max(2);
    let music = rows.take(music);
    if model.options.explain {
        explanation(practising, theme, buffer, music);
    } else {
        music_line(practising, theme, buffer, music);
    }
    if tall {
        bars::draw(practising, theme, buffer, rows.take(bars::rows(practising)));
        board::draw(buffer, theme, rows.take(6), practising);
    }
    let standing = rows.take(1);
    put(
        buffer,
        standing,
        standing.x,
        standing.y,
        &fitted(&standing_words(practising), area.width),
        theme.strong(),
    );
    shape::draw(&practising.shape, theme, buffer, rows.take(shaped));
    let heard = u16::from(model.ear.is_some() && rows.next + 2 < area.bottom());
    ear(model, practising, theme, buffer, rows.take(heard));
    let room = area.bottom().saturating_sub(rows.next + 1);
    let long = if model.words.is_none() {
        told_rows(model, practising, area.width)
    } else {
        1
    };
    let told = long.clamp(1, room.max(1));
    let _ = rows.take(room.saturating_sub(told));
    notice(model, theme, buffer, rows.take(told));
    keys(model, theme, buffer, rows.take(1), practising);
}

/// Rows that the last sentence takes.
fn told_rows(model: &Model, practising: &Practising, width: u16) -> u16 {
    offered(practising, model.notice.as_ref())
        .as_ref()
        .or(model.notice.as_ref())
        .map_or(1, |notice| wrapped(&notice.text, width).len() as u16)
}

fn rule(buffer: &mut Buffer, theme: Theme, area: Rect) {
    let line = "─".repeat(usize::from(area.width));
    put(buffer, area, area.x, area.y, &line, theme.quiet());
}

/// The head: which drill and stage, what homework asks for, the modes that are on, the sound.
pub(super) fn title(
    model: &Model,
    practising: &Practising,
    theme: Theme,
    buffer: &mut Buffer,
    whole: Rect,
) {
    let name = practising
        .drill
        .stages
        .get(practising.stage())
        .map_or("", |stage| stage.name.as_str());
    let part = model.session.as_ref().map_or_else(String::new, |session| {
        format!(
            "{}/{}, {} min · ",
            session.at + 1,
            session.parts.len(),
            session.minutes_left()
        )
    });
    let reach = practising
        .goal_words()
        .map_or_else(String::new, |goal| format!("  ◎ {goal}"));
    let modes = modes(model, practising).join(", ");
    let area = frame::within(whole);
    // what is asked for and the modes are not cut: the title is
    let mut kept = usize::from(area.width).saturating_sub(reach.width());
    if !modes.is_empty() {
        kept = kept.saturating_sub(modes.width() + 2);
    }
    let title = format!("{part}{} · {name}", practising.drill.title);
    let title = format!("{}{reach}", fitted(&title, kept as u16));
    let title = title.trim_start();
    let mut sound = sound_words(model);
    // the pitch alone where its words would be cut
    let fits = |sound: &str| title.width() + 2 + sound.width() <= usize::from(area.width);
    if !fits(&sound) {
        sound = format!("{:.0} Hz", model.options.tuning.low_a.0);
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

/// The modes that are on, the weightiest first: what is not as the player would expect it.
pub(super) fn modes(model: &Model, practising: &Practising) -> Vec<&'static str> {
    let options = &model.options;
    let reference = match practising.reference(options.reference) {
        ReferencePlan::Every => None,
        ReferencePlan::Alternate => Some("in turns"),
        ReferencePlan::Fading(_) => Some("fading"),
        ReferencePlan::Silent => Some("alone"),
    };
    let clicks = match options.clicks {
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
    let tuning = model.options.tuning;
    let chanter = match tuning.instrument {
        Instrument::PracticeChanter => "practice chanter",
        Instrument::PipeChanter => "pipe chanter",
    };
    let own = model.ear.map(|now| now.low_a);
    let own = own.filter(|own| (own - tuning.low_a.0).abs() >= 0.5);
    let own = own.map_or_else(String::new, |own| format!(", yours {own:.0}"));
    let pitch = format!("{chanter} {:.0} Hz{own}", tuning.low_a.0);
    match &model.sound {
        SoundState::Closed => pitch,
        SoundState::Sounding { latency_ms, .. } => format!("{pitch} · {latency_ms:.0} ms"),
        SoundState::Silent { .. } => "silent: no device".to_owned(),
    }
}

/// The note that is heard, or a sentence where nothing can be; nothing while nobody listens.
fn ear(model: &Model, practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let Some(now) = model.ear else { return };
    let said = trouble(now).or_else(|| model.reference_reaches_the_microphone().then_some(DROWNED));
    match said {
        Some(said) => {
            let said = fitted(said, area.width);
            put(buffer, area, area.x, area.y, &said, theme.warning());
        }
        None => {
            tuner::line(now, theme, buffer, area);
            // of a tune whose dots are judged they come first where there is room for one thing only
            let room = match area.width {
                0..70 => 0,
                70..115 => 1,
                _ => 2,
            };
            let said: Vec<&str> = [&practising.pointing, &practising.lead]
                .into_iter()
                .filter_map(Option::as_deref)
                .take(room)
                .collect();
            put_right(buffer, area, area.y, &said.join(" · "), theme.plain());
        }
    }
}

/// Beats in the bar that sounds.
fn beats_now(practising: &Practising) -> u32 {
    let score = practising.scores.get(practising.stage());
    let at = practising.heard.as_ref().map_or(0.0, Place::in_repetition);
    let bar = score.and_then(|score| {
        let begun = |bar: &&ScoreBar| bar.start.to_f64() <= at;
        score.bars.iter().rev().find(begun).or(score.bars.first())
    });
    let metre = bar.map_or(practising.drill.metre, |bar| bar.metre);
    if metre.is_free() {
        0
    } else {
        metre.beats_in_a_bar()
    }
}

/// Beat lights, where in the repetition one is, levels.
pub(super) fn beats(
    model: &Model,
    practising: &Practising,
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
) {
    let count = beats_now(practising);
    let (now, words) = match &practising.heard {
        Some(place) if practising.is_sounding() => {
            let (beat, _) = place.beat_of_bar();
            (Some(beat), place_words(practising, place))
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
        let lit = (model.options.levels.of(bus).0 * 5.0).round() as usize;
        let muted = model.options.levels.muted[bus as usize];
        let alone = bus == Bus::Reference
            && practising.reference(model.options.reference) == ReferencePlan::Silent;
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
    match practising.state.phase() {
        Phase::Still => "space plays",
        Phase::Paused => "paused: space plays",
        Phase::Offering => "stopped: three not clean",
        Phase::NobodyThere => "paused, nobody there: space plays",
        Phase::Playing => "",
    }
}

fn place_words(practising: &Practising, place: &Place) -> String {
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
        .scores
        .get(place.stage)
        .map_or(&[][..], |score| &score.bars);
    let last = bars.iter().map(|bar| bar.number).max().unwrap_or(0);
    match number {
        0 => "pickup".to_owned(),
        number => format!("bar {number} of {last}"),
    }
}

/// What sounds now; before anything sounds, the first note as what comes next. What is hidden is
/// not told by fingers either.
pub(super) fn sounding(practising: &Practising) -> Sounding {
    let Sounding { now, next } = match &practising.heard {
        Some(place) => place.sounding(),
        None => practising.first_sound(),
    };
    let hidden = practising.hidden_notes();
    let shown = |sounded: &Sounded| {
        let melody = NoteId {
            pass: 1,
            ..sounded.id.melody()
        };
        !hidden.contains(&melody)
    };
    Sounding {
        now: now.filter(shown),
        next: next.filter(shown),
    }
}

fn draw_music(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    if area.height < staff::LEAST_ROWS || !staff::draw(buffer, theme, area, practising) {
        music_line(practising, theme, buffer, area);
    }
}

fn music_line(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    if let Some(score) = practising.scores.get(practising.stage()) {
        let id = sounding(practising).now.map(|sounded| sounded.id);
        let hidden = practising.hidden_notes();
        line::draw(buffer, theme, area, (score, &hidden), id);
    }
}

/// Beat, streak and tempo or tone, each with what it counts.
pub(super) fn numbers(practising: &Practising) -> [(String, &'static str); 3] {
    let needed = practising.state.plan().needed();
    let streak = format!("{}/{needed}", practising.streak());
    let beat = practising
        .heard
        .as_ref()
        .filter(|_| practising.is_playing())
        .map_or_else(
            || "-".to_owned(),
            |place| (place.beat_of_bar().0 + 1).to_string(),
        );
    let (tempo, of_tempo) = match practising.rung() {
        Rung::Tempo(tempo) => (tempo.value(), "tempo"),
        Rung::Opened { tone, .. } => (tone.0, "ms a tone"),
    };
    [
        (beat, "beat"),
        (streak, "in a row"),
        (spell_fraction(&tempo), of_tempo),
    ]
}

/// Beat and tempo as large as there is room for, the streak as signs, the next cell in words.
fn big_figures(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    /// The label of the figures, the streak, what comes next.
    const BELOW: u16 = 3;
    let [(beat, of_beat), _, (tempo, of_tempo)] = numbers(practising);
    let columns = |size: figures::Size| {
        let wide = |text: &str, label: &str| size.columns(text).max(label.len() as u16);
        wide(&beat, of_beat) + size.gap() + wide(&tempo, of_tempo)
    };
    let room = area.height.saturating_sub(BELOW);
    let size = (1..=room / 5)
        .rev()
        .map(figures::Size::Times)
        .find(|size| columns(*size) <= area.width)
        .unwrap_or(figures::Size::Small);
    let mut x = area.x;
    for (text, label) in [(&beat, of_beat), (&tempo, of_tempo)] {
        let place = (x, area.y);
        let styles = (theme.strong(), theme);
        figures::draw(buffer, area, place, size, text, label, styles);
        x += size.columns(text).max(label.len() as u16) + size.gap();
    }
    let roomy = area.height >= size.rows() + BELOW + 2;
    let mut y = area.y + size.rows() + 1 + u16::from(roomy);
    streak(
        practising,
        theme,
        buffer,
        Rect {
            y,
            height: 1,
            ..area
        },
    );
    y += 1 + u16::from(roomy);
    let rows = usize::from(area.bottom().saturating_sub(y).clamp(1, 3));
    let mut next = wrapped(&next_words(practising), area.width);
    if next.len() > rows {
        let short = next_in_short(practising).unwrap_or_else(|| next.join(" "));
        next = vec![fitted(&short, area.width)];
    }
    for (y, text) in (y..).zip(&next) {
        put(buffer, area, area.x, y, text, theme.strong());
    }
}

/// What comes next by what is other there: the rung alone in the same stage, the stage alone on the
/// same rung.
fn next_in_short(practising: &Practising) -> Option<String> {
    let here = practising.shown_cell()?;
    let state = &practising.state;
    let there = state.upcoming().filter(|cell| *cell != here);
    let there = there.or_else(|| state.named())?;
    if there.stage == here.stage {
        return Some(format!("next: {}", there.rung.spoken()));
    }
    let stage = practising.drill.stages.get(practising.stage_of(there)?)?;
    (there.rung == here.rung).then(|| format!("next: {}", stage.name))
}

/// The clean ones in a row as signs, one for each that is asked for, and in figures.
fn streak(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let needed = practising.state.plan().needed();
    let clean = practising.streak();
    let words = format!("{clean} of {needed}");
    let by_heart = practising.clean_by_heart();
    let by_heart = by_heart.map_or_else(String::new, |count| format!(" · {count} by heart"));
    let words = format!("{words}{by_heart}");
    let room = area.width.saturating_sub(words.chars().count() as u16 + 1);
    let wide = if needed as u16 * 4 <= room + 1 { 3 } else { 1 };
    let gap = u16::from(wide > 1);
    let mut x = area.x;
    if needed as u16 * (wide + gap) <= room + 1 {
        for number in 0..needed {
            let (sign, style) = if number < clean {
                ("●", theme.good())
            } else {
                ("○", theme.plain())
            };
            let text = if wide == 1 {
                sign.to_owned()
            } else {
                format!(" {sign} ")
            };
            x = put(buffer, area, x, area.y, &text, style) + gap;
        }
        x += 1 - gap;
    }
    put(buffer, area, x, area.y, &words, theme.strong());
}

/// What comes next, in words.
pub(in crate::screen) fn next_words(practising: &Practising) -> String {
    let state = &practising.state;
    let here = practising.shown_cell();
    match practising.plays_once() {
        Some(_) => return "once, and nothing is marked".to_owned(),
        None if practising.is_offering() => return "stopped: choose below".to_owned(),
        None => {}
    }
    if practising.cold.is_some() {
        return "cold try, alone".to_owned();
    }
    if practising.due {
        return "due: first try tells".to_owned();
    }
    if state.stops_soon() {
        return "stops at the bar line".to_owned();
    }
    // in the count-in of another cell what was said of the one before is over
    let arrived = state.cell() == here;
    if let Some(cell) = state.suggestion().filter(|_| arrived) {
        return format!("step back? n: {}", practising.cell_name(cell));
    }
    match state.upcoming() {
        Some(cell) if Some(cell) != here => format!("next: {}", practising.cell_name(cell)),
        _ => match state.named().filter(|_| arrived) {
            Some(cell) => format!("next: {} (n)", practising.cell_name(cell)),
            None if state.board().is_complete() => "every cell is clear".to_owned(),
            None if here.is_some_and(|cell| state.status(cell) == CellStatus::Clear) => {
                "clear already".to_owned()
            }
            None if state.is_free_play() => "free: opens nothing".to_owned(),
            None => {
                let left = state.plan().needed().saturating_sub(practising.streak());
                format!("{left} more to clear")
            }
        },
    }
}

fn standing_words(practising: &Practising) -> String {
    let needed = practising.state.plan().needed();
    let by_heart = practising.clean_by_heart();
    let by_heart = by_heart.map_or_else(String::new, |count| format!(" · {count} by heart"));
    format!(
        "{}/{needed} clean{by_heart} · {} · {}",
        practising.streak(),
        practising.rung().spoken(),
        next_words(practising)
    )
}

/// What to listen for in this stage.
fn listen_line(practising: &Practising) -> String {
    let stage = practising.drill.stages.get(practising.stage());
    let listen = stage
        .and_then(|stage| stage.listen_for.as_deref())
        .or(practising.drill.listen_for.as_deref());
    let time = practising
        .scores
        .get(practising.stage())
        .map(where_time_comes_from)
        .and_then(|sentences| sentences.into_iter().next());
    let listen = listen.map(|listen| format!("listen for {listen}"));
    let all: Vec<String> = [pointing_words(practising), listen, time]
        .into_iter()
        .flatten()
        .collect();
    all.join("; ")
}

/// How the pairs of this stage are pointed: its own, else the drill's.
pub(in crate::screen) fn pointing_words(practising: &Practising) -> Option<String> {
    let stage = practising.drill.stages.get(practising.stage())?;
    let pairs = stage.music.has_pairs();
    stage.music.pointing.spoken().filter(|_| pairs)
}

/// The explanation in full.
fn explanation(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let mut paragraphs = Vec::new();
    let stage = practising.drill.stages.get(practising.stage());
    if let Some(listen) = stage
        .and_then(|stage| stage.listen_for.as_deref())
        .or(practising.drill.listen_for.as_deref())
    {
        paragraphs.push(format!("Listen for {listen}."));
    }
    if let Some(pointing) = pointing_words(practising) {
        paragraphs.push(format!("{}.", wording::capital(&pointing)));
    }
    if stage.is_some_and(crate::drill::Stage::is_slow) {
        paragraphs.push(format!("Here {}.", crate::drill::SLOW));
    }
    if let Some(score) = practising.scores.get(practising.stage()) {
        let sentences = where_time_comes_from(score);
        if sentences.is_empty() {
            paragraphs.push(
                "Every tone has its written length here; only the short gracenotes are stolen \
                 from the notes they stand before."
                    .to_owned(),
            );
        }
        for sentence in sentences {
            let mut letters = sentence.chars();
            let first = letters
                .next()
                .map(|letter| letter.to_uppercase().collect::<String>());
            paragraphs.push(format!(
                "{}{}.",
                first.unwrap_or_default(),
                letters.as_str()
            ));
        }
    }
    paragraphs.push("i explains the movement in full.".to_owned());
    let mut lines = Vec::new();
    for paragraph in paragraphs {
        lines.extend(wrapped(&paragraph, area.width));
        if area.height > 8 {
            lines.push(String::new());
        }
    }
    let room = usize::from(area.height);
    if lines.len() > room && room > 0 {
        lines.truncate(room);
        let more = "… (i: all)";
        if let Some(last) = lines.last_mut() {
            let kept = area.width.saturating_sub(more.len() as u16);
            *last = format!("{}{more}", fitted(last, kept).trim_end_matches('…'));
        }
    }
    for (y, text) in (area.y..).zip(&lines) {
        put(buffer, area, area.x, y, text, theme.plain());
    }
}

/// What is being written, its end in sight.
fn writing(words: &Words, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let head = format!("{}: ", words.prompt());
    let room = usize::from(area.width).saturating_sub(head.chars().count() + 1);
    let signs: Vec<char> = words.text.chars().collect();
    let mut from = signs.len();
    let mut wide = 0;
    while from > 0 {
        wide += signs[from - 1].width().unwrap_or(0);
        if wide > room {
            break;
        }
        from -= 1;
    }
    let tail: String = signs[from..].iter().collect();
    let text = format!("{head}{tail}▏");
    put(buffer, area, area.x, area.y, &text, theme.strong());
}

pub(super) fn notice(model: &Model, theme: Theme, buffer: &mut Buffer, area: Rect) {
    if let Some(words) = &model.words {
        writing(words, theme, buffer, area);
        return;
    }
    let offered = model
        .practising
        .as_ref()
        .and_then(|practising| offered(practising, model.notice.as_ref()));
    if let Some(notice) = offered.as_ref().or(model.notice.as_ref()) {
        let style = if notice.urgent {
            theme.warning()
        } else {
            theme.strong()
        };
        let lines = wrapped(&notice.text, area.width);
        let shown = usize::from(area.height);
        for (row, text) in lines.iter().take(shown).enumerate() {
            let cut = row + 1 == shown && lines.len() > shown;
            let text = if cut {
                fitted(&lines[row..].join(" "), area.width)
            } else {
                text.clone()
            };
            put(buffer, area, area.x, area.y + row as u16, &text, style);
        }
    }
}

/// What is offered where play has stopped by itself, in its order, after what was said just now.
pub(in crate::screen) fn offered(practising: &Practising, said: Option<&Notice>) -> Option<Notice> {
    if !practising.is_offering() || practising.plays_once().is_some() {
        return None;
    }
    let next = practising.next_offer();
    let offers: Vec<String> = Offer::ALL
        .into_iter()
        .zip(1..)
        .filter_map(|(offer, number)| {
            let here = if next == Some(offer) { "▸" } else { "" };
            let words = practising.offer_words(offer)?;
            Some(format!("{here}{number} {words}"))
        })
        .collect();
    let offers = offers.join(" · ");
    Some(said.cloned().unwrap_or_else(|| Notice::plain(offers)))
}

/// What clean and not clean do there, by key or pedal.
fn pressed(practising: &Practising) -> Vec<(&'static str, &'static str)> {
    let right = match practising.next_offer() {
        Some(Offer::Hear) => "hear it",
        Some(_) => "sing or tap it",
        None => "again",
    };
    let mut keys = vec![("right/enter", right)];
    if practising.offer_words(Offer::Easier).is_some() {
        keys.push(("left/x", "easier"));
    }
    keys.push(("space", "again"));
    keys
}

/// What the keys and pedals do now.
pub(super) fn keys(
    model: &Model,
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
    practising: &Practising,
) {
    let marks = !practising.pedal_plays();
    let mut all = match practising.is_playing() {
        _ if model.words.is_some() => vec![("enter", "keeps it"), ("esc", "drops it")],
        _ if practising.is_offering() => {
            let mut keys = pressed(practising);
            keys.push(("u", "undo"));
            keys
        }
        true => vec![
            ("right/enter", "clean"),
            ("left/x", "not clean"),
            ("u", "undo"),
            ("space", "pause"),
        ],
        false if marks => vec![
            ("right/enter", "clean"),
            ("left/x", "not clean"),
            ("space", "play"),
        ],
        false => vec![
            ("right/space", "play"),
            ("left", "rung down"),
            ("tab", "stage"),
            ("e", "explain"),
        ],
    };
    if model.words.is_none() {
        if area.width >= 70 {
            all.push(("q", "leave"));
        }
        all.push(("?", "keys"));
    }
    frame::keys(buffer, area, &all, theme);
}
