//! The page of a drill.
//!
//! ```text
//!  Grip from D · half beats                      practice chanter 236 Hz · 28 ms
//!  ● ○ ○ ○  bar 1 of 2                        reference ▮▮▮▯▯  click ▮▮▮▯▯
//! ─────────────────────────────────────────────────────────────────────────────
//!  (the music)
//! ─────────────────────────────────────────────────────────────────────────────
//!  D now, LG next          1   2   3   4       ▄▄▄ ▄▄▄   ▄▄▄   ▄▄▄
//!  thumb ●           54    ·   ·   ·   ·       …
//! ```

use super::{
    bars, board, chanter, figures, fitted, line, put, put_right, shape, staff, tuner, wrapped,
};
use crate::app::{
    DROWNED, Model, Notice, Offer, Place, Practising, SoundState, Sounding, Words, trouble,
};
use crate::chanter::Instrument;
use crate::practice::{Phase, Rung};
use crate::score::{ScoreBar, where_time_comes_from};
use crate::screen::Theme;
use crate::sound::Bus;
use crate::units::spell_fraction;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr as _};

/// Draws the page into whatever room there is.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, frame: &mut Frame, area: Rect) {
    let Some(practising) = &model.practising else {
        return;
    };
    let buffer = frame.buffer_mut();
    let reads = model.options.explain || model.words.is_some();
    if (model.options.stand || !model.options.staff) && !reads {
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
    let area = Rect {
        x: whole.x + 1,
        width: whole.width - 2,
        ..whole
    };
    let roomy = whole.height >= 32;
    let large = whole.height >= 36 && whole.width >= 100;
    let mut rows = Rows::new(area);
    title(model, practising, theme, buffer, rows.take(1));
    beats(model, practising, theme, buffer, rows.take(1));
    if roomy {
        rule(buffer, theme, rows.take(1));
    }
    let lower: u16 = if roomy {
        9 + (whole.height - 32).min(9)
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
    draw_music(model, practising, theme, buffer, rows.take(music));
    bars::draw(practising, theme, buffer, rows.take(mapped));
    if roomy {
        rule(buffer, theme, rows.take(1));
    }
    let below = rows.take(lower);
    let columns = if large { [30, 34] } else { [22, 28] };
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
        x: board_area.right() + 1,
        width: below.right().saturating_sub(board_area.right() + 1),
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
        big_figures(practising, theme, buffer, figures_area, large);
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
        put(buffer, listen, listen.x, y, &text, theme.faint());
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

fn narrow(model: &Model, practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let mut rows = Rows::new(area);
    title(model, practising, theme, buffer, rows.take(1));
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
    } else if model.options.staff {
        music_line(practising, theme, buffer, music);
    } else {
        put(
            buffer,
            music,
            music.x,
            music.y,
            "(from memory: v shows the music)",
            theme.faint(),
        );
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
        theme.heading(),
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
    put(buffer, area, area.x, area.y, &line, theme.faint());
}

pub(super) fn title(
    model: &Model,
    practising: &Practising,
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
) {
    let stage = practising.stage();
    let name = practising
        .drill
        .stages
        .get(stage)
        .map_or("", |stage| stage.name.as_str());
    let sound = sound_words(model);
    let sound_width = if area.width >= 76 {
        unicode_width::UnicodeWidthStr::width(sound.as_str()) as u16
    } else {
        0
    };
    let room = area.width.saturating_sub(sound_width + 2);
    let part = model.session.as_ref().map_or_else(String::new, |session| {
        format!(
            "{}/{}, {} min · ",
            session.at + 1,
            session.parts.len(),
            session.minutes_left()
        )
    });
    let reach = practising
        .goal
        .as_ref()
        .map_or_else(String::new, |(goal, _)| {
            format!("  ◎ {}", practising.cell_name(*goal))
        });
    // what is asked for is not cut: the title is
    let kept = room.saturating_sub(reach.width() as u16);
    let name = fitted(&format!("{part}{} · {name}", practising.drill.title), kept);
    let text = fitted(&format!("{name}{reach}"), room);
    put(buffer, area, area.x, area.y, &text, theme.heading());
    if sound_width > 0 {
        put_right(buffer, area, area.y, &sound, theme.faint());
    }
}

fn sound_words(model: &Model) -> String {
    let tuning = model.options.tuning;
    let chanter = match tuning.instrument {
        Instrument::PracticeChanter => "practice chanter",
        Instrument::PipeChanter => "pipe chanter",
    };
    let pitch = format!("{chanter} {:.0} Hz", tuning.low_a.0);
    match &model.sound {
        SoundState::Closed => pitch,
        SoundState::Sounding { latency_ms, .. } => format!("{pitch} · {latency_ms:.0} ms"),
        SoundState::Silent { .. } => "silent: no device".to_owned(),
    }
}

/// The note that is heard, or a sentence where nothing can be; nothing while nobody listens.
fn ear(model: &Model, practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let Some(now) = model.ear else { return };
    let options = &model.options;
    let sounds = practising.is_playing()
        && practising.heard.as_ref().is_some_and(|place| {
            let plan = practising.reference(options.reference);
            !place.counting_in && plan.factor(place.cycle) > 0.0
        })
        && options.levels.of(Bus::Reference).0 > 0.0
        && !options.levels.muted[Bus::Reference as usize];
    let said = trouble(now).or_else(|| (sounds && !options.headphones).then_some(DROWNED));
    match said {
        Some(said) => {
            let said = fitted(said, area.width);
            put(buffer, area, area.x, area.y, &said, theme.urgent());
        }
        None => {
            tuner::line(now, theme, buffer, area);
            if let Some(lead) = practising.lead.as_ref().filter(|_| area.width >= 70) {
                put_right(buffer, area, area.y, lead, theme.faint());
            }
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
        let style = if lit { theme.strong() } else { theme.faint() };
        x = put(buffer, area, x, area.y, if lit { "●" } else { "○" }, style) + 1;
    }
    let x = put(buffer, area, x + 1, area.y, &words, theme.heading());
    let bar = |bus: Bus| {
        let lit = (model.options.levels.of(bus).0 * 5.0).round() as usize;
        let muted = model.options.levels.muted[bus as usize];
        if muted {
            "silent".to_owned()
        } else {
            format!("{}{}", "▮".repeat(lit), "▯".repeat(5 - lit.min(5)))
        }
    };
    let mut levels = format!(
        "reference {}  click {}",
        bar(Bus::Reference),
        bar(Bus::Click)
    );
    if model.options.drones {
        levels = format!("drones  {levels}");
    }
    if model.options.hands_free {
        levels = format!("hands free  {levels}");
    }
    let width = unicode_width::UnicodeWidthStr::width(levels.as_str()) as u16;
    if x + 2 + width <= area.right() {
        put_right(buffer, area, area.y, &levels, theme.faint());
    }
}

fn phase_words(practising: &Practising) -> &'static str {
    match practising.state.phase() {
        Phase::Still => "space plays",
        Phase::Paused => "paused: space plays",
        Phase::Offering => "stopped: three not clean in a row",
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

/// What sounds now; before anything sounds, the first note as what comes next.
pub(super) fn sounding(practising: &Practising) -> Sounding {
    match &practising.heard {
        Some(place) => place.sounding(),
        None => practising.first_sound(),
    }
}

fn draw_music(
    model: &Model,
    practising: &Practising,
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
) {
    if !model.options.staff {
        let text = "from memory: v shows the music again";
        put(
            buffer,
            area,
            area.x,
            area.y + area.height / 2,
            text,
            theme.faint(),
        );
        return;
    }
    if area.height < staff::LEAST_ROWS || !staff::draw(buffer, theme, area, practising) {
        music_line(practising, theme, buffer, area);
    }
}

fn music_line(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    if let Some(score) = practising.scores.get(practising.stage()) {
        let id = sounding(practising).now.map(|sounded| sounded.id);
        line::draw(buffer, theme, area, score, id);
    }
}

/// Beat, streak and tempo or tone, each with what it counts.
pub(super) fn numbers(practising: &Practising) -> [(String, &'static str); 3] {
    let needed = practising.state.plan().needed();
    let streak = format!("{}/{needed}", practising.state.streak().min(needed));
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

/// Beat, streak and tempo large, the next cell below.
fn big_figures(
    practising: &Practising,
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
    large: bool,
) {
    let [(beat, of_beat), (streak, of_streak), (tempo, of_tempo)] = numbers(practising);
    let mut all = vec![
        (beat, of_beat, theme.strong()),
        (streak, of_streak, theme.plain()),
        (tempo, of_tempo, theme.plain()),
    ];
    let fits = |all: &[(String, &str, Style)], size: figures::Size| {
        let columns = |(text, label, _): &(String, &str, Style)| {
            size.columns(text).max(label.len() as u16) + 2
        };
        all.iter().map(columns).sum::<u16>() <= area.width + 2
    };
    let size = if large && fits(&all, figures::Size::Times(1)) {
        figures::Size::Times(1)
    } else {
        figures::Size::Small
    };
    // three figures of a tempo leave no room for the beat, which the lights show too
    if !fits(&all, size) {
        all.remove(0);
    }
    let mut x = area.x;
    for (text, label, style) in all {
        let width = size.columns(&text).max(label.len() as u16);
        if x + size.columns(&text) > area.right() {
            break;
        }
        figures::draw(
            buffer,
            area,
            (x, area.y),
            size,
            &text,
            label,
            (style, theme),
        );
        x += width + 2;
    }
    let below = area.y + size.rows() + 2;
    let next = wrapped(&next_words(practising), area.width);
    for (y, text) in (below..).zip(next.iter().take(3)) {
        put(buffer, area, area.x, y, text, theme.heading());
    }
}

/// What comes next, in words.
pub(in crate::screen) fn next_words(practising: &Practising) -> String {
    let state = &practising.state;
    let here = practising.cell();
    match practising.plays_once() {
        Some(_) => return "once, and nothing is marked".to_owned(),
        None if practising.is_offering() => return "stopped: choose below".to_owned(),
        None => {}
    }
    if practising.cold.is_some() {
        return "cold try: no reference".to_owned();
    }
    if state.stops_soon() {
        return "stops at the bar line".to_owned();
    }
    if let Some(cell) = state.suggestion() {
        return format!("step back? n: {}", practising.cell_name(cell));
    }
    match state.upcoming() {
        Some(cell) if Some(cell) != here => format!("next: {}", practising.cell_name(cell)),
        _ => match state.named() {
            Some(cell) => format!("next: {} (n)", practising.cell_name(cell)),
            None if state.board().is_complete() => "every cell is clear".to_owned(),
            None if state.is_free_play() => "free play: opens nothing, places you".to_owned(),
            None => {
                let left = state.plan().needed().saturating_sub(state.streak());
                format!("{left} more clean to clear")
            }
        },
    }
}

fn standing_words(practising: &Practising) -> String {
    let needed = practising.state.plan().needed();
    format!(
        "{}/{needed} clean · {} · {}",
        practising.state.streak().min(needed),
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
    match (listen, time) {
        (Some(listen), None) => format!("listen for {listen}"),
        (Some(listen), Some(time)) => format!("listen for {listen}; {time}"),
        (None, Some(time)) => time,
        (None, None) => String::new(),
    }
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
    put(buffer, area, area.x, area.y, &text, theme.heading());
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
            theme.urgent()
        } else {
            theme.heading()
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
pub(in crate::screen) fn pressed_words(practising: &Practising, wide: bool) -> String {
    let easier = practising.offer_words(Offer::Easier).is_some();
    if wide {
        let right = match practising.next_offer() {
            Some(Offer::Hear) => "hear it",
            Some(_) => "sing or tap it",
            None => "again",
        };
        let left = if easier { "left/x easier   " } else { "" };
        format!("right/enter {right}   {left}space again   u undo   q leave")
    } else {
        let right = match practising.next_offer() {
            Some(Offer::Hear) => "hear it",
            Some(_) => "sing it",
            None => "again",
        };
        let left = if easier { "left easier  " } else { "" };
        format!("right {right}  {left}space again")
    }
}

pub(super) fn keys(
    model: &Model,
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
    practising: &Practising,
) {
    let pressed = practising
        .is_offering()
        .then(|| pressed_words(practising, area.width >= 70));
    let marks = !practising.pedal_plays();
    let text = match (area.width >= 70, practising.is_playing()) {
        _ if model.words.is_some() => "enter keeps it  esc drops it",
        _ if pressed.is_some() => pressed.as_deref().unwrap_or_default(),
        (true, true) => "right/enter clean  left/x not clean  u undo  space pause  ? keys  q leave",
        (true, false) if marks => {
            "right/enter clean  left/x not clean  space play  ? keys  q leave"
        }
        (true, false) => "right/space play  left rung down  tab stage  e explain  ? keys  q leave",
        (false, true) => "right clean  left not  u undo  ? keys",
        (false, false) if marks => "right clean  left not  space play  ?",
        (false, false) => "right play  left rung down  ? keys",
    };
    put(
        buffer,
        area,
        area.x,
        area.y,
        &fitted(text, area.width),
        theme.faint(),
    );
}
