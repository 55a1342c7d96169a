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

use super::head::{beats, title};
use super::saying::{
    keys, next_forms, notice, numbers, offered, pointing_words, sounding, standing_words,
};
use super::{
    bars, board, chanter, figures, fitted, frame, line, put, put_right, shape, staff, tuner,
    wrapped,
};
use crate::app::{DROWNED, Model, Practising, trouble};
use crate::score::where_time_comes_from;
use crate::screen::Theme;
use crate::wording;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Draws the page in the form that fits the window.
pub(in crate::screen) fn draw(model: &Model, theme: Theme, frame: &mut Frame, area: Rect) {
    let Some(practising) = model.practising() else {
        return;
    };
    let buffer = frame.buffer_mut();
    let reads = model.options().explain || model.words().is_some();
    if (model.options().stand || practising.is_by_heart()) && !reads {
        super::stand::draw(model, practising, theme, buffer, area);
    } else if area.width < 76 || area.height < 20 {
        narrow(model, practising, theme, buffer, area);
    } else {
        wide(model, practising, theme, buffer, area);
    }
}

/// Divides a page into rows, taken one after the other from the top.
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
    let shaped = u16::from(!practising.shape().is_empty());
    // in a small window the map of the bars replaces the line that says what to listen for, which
    // `e` shows as well; the map takes no row from the music, and the microphone has its own row
    let mapped = bars::rows(practising);
    let in_place = mapped > 0 && !roomy && model.ear().is_none();
    let mapped = if in_place { 0 } else { mapped };
    let music = area
        .bottom()
        .saturating_sub(rows.next + lower + foot + shaped + mapped);
    draw_music(practising, theme, buffer, rows.take(music));
    bars::draw(practising, theme, buffer, rows.take(mapped));
    if roomy {
        rule(buffer, theme, rows.take(1));
    }
    lower_part(model, practising, theme, buffer, rows.take(lower));
    shape::draw(practising.shape(), theme, buffer, rows.take(shaped));
    let listen = rows.take(foot - if roomy { 3 } else { 2 });
    listening(model, practising, theme, buffer, (listen, in_place));
    let told = rows.take(1);
    // a notice that does not fit its row also takes the row above, which shows nothing new
    let long = model.words().is_none() && told_rows(model, practising, area.width) > 1;
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

/// Draws what is below the staff: the fingers, the board or the explanation, and the large figures.
fn lower_part(
    model: &Model,
    practising: &Practising,
    theme: Theme,
    buffer: &mut Buffer,
    below: Rect,
) {
    // the board is as wide as its stages need, and the figures take the rest
    let stages = practising.state().board().stages() as u16;
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
    let handed = model.options().left_handed;
    chanter::draw(buffer, theme, chanter_area, sounding(practising), handed);
    if model.options().explain {
        let right = Rect {
            width: below.right().saturating_sub(board_area.x),
            ..board_area
        };
        explanation(practising, theme, buffer, right);
    } else {
        board::draw(buffer, theme, board_area, practising);
        big_figures(practising, theme, buffer, figures_area);
    }
}

/// Draws the line that says what to listen for, below what the microphone hears. With `in_place`
/// the map of the bars replaces that line.
fn listening(
    model: &Model,
    practising: &Practising,
    theme: Theme,
    buffer: &mut Buffer,
    (mut listen, in_place): (Rect, bool),
) {
    if model.ear().is_some() {
        ear(model, practising, theme, buffer, listen);
        listen.y += 1;
        listen.height -= 1;
    }
    let text = listen_line(practising);
    let lines = if in_place {
        bars::draw(practising, theme, buffer, listen);
        Vec::new()
    } else if model.options().explain {
        Vec::new()
    } else {
        wrapped(&text, listen.width)
    };
    let cut = lines.len() > usize::from(listen.height);
    for (y, text) in (listen.y..listen.bottom()).zip(&lines) {
        let last = cut && y + 1 == listen.bottom();
        let text = if last {
            format!(
                "{}… (e)",
                fitted(text, listen.width.saturating_sub(5)).trim_end_matches('…')
            )
        } else {
            text.clone()
        };
        put(buffer, listen, listen.x, y, &text, theme.plain());
    }
}

fn narrow(model: &Model, practising: &Practising, theme: Theme, buffer: &mut Buffer, whole: Rect) {
    let area = frame::within(whole);
    let mut rows = Rows::new(area);
    let _ = rows.take(1);
    title(model, practising, theme, buffer, whole);
    beats(model, practising, theme, buffer, rows.take(1));
    let tall = area.height >= 14;
    let reading = model.options().explain && !tall;
    // the tone shapes, where they were measured, replace the row about the next finger motion
    let shaped = u16::from(!practising.shape().is_empty());
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
        model.options().left_handed,
    );
    let rest = match (tall, reading) {
        (true, _) => 14 + shaped + bars::rows(practising),
        (false, false) => 8,
        (false, true) => 6,
    };
    let music = area.height.saturating_sub(rest).max(2);
    let music = rows.take(music);
    if model.options().explain {
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
    shape::draw(practising.shape(), theme, buffer, rows.take(shaped));
    let heard = u16::from(model.ear().is_some() && rows.next + 2 < area.bottom());
    ear(model, practising, theme, buffer, rows.take(heard));
    let room = area.bottom().saturating_sub(rows.next + 1);
    let long = if model.words().is_none() {
        told_rows(model, practising, area.width)
    } else {
        1
    };
    let told = long.clamp(1, room.max(1));
    let _ = rows.take(room.saturating_sub(told));
    notice(model, theme, buffer, rows.take(told));
    keys(model, theme, buffer, rows.take(1), practising);
}

/// The number of rows that the notice takes.
fn told_rows(model: &Model, practising: &Practising, width: u16) -> u16 {
    offered(practising, model.notice())
        .as_ref()
        .or(model.notice())
        .map_or(1, |notice| wrapped(&notice.text, width).len() as u16)
}

fn rule(buffer: &mut Buffer, theme: Theme, area: Rect) {
    let line = "─".repeat(usize::from(area.width));
    put(buffer, area, area.x, area.y, &line, theme.quiet());
}

/// Draws the note that the microphone hears, or the reason why nothing is heard. Draws nothing
/// where there is no microphone.
fn ear(model: &Model, practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let Some(now) = model.ear() else { return };
    let said = trouble(now).or_else(|| model.reference_reaches_the_microphone().then_some(DROWNED));
    match said {
        Some(said) => {
            let said = fitted(said, area.width);
            put(buffer, area, area.x, area.y, &said, theme.warning());
        }
        None => {
            tuner::line(now, theme, buffer, area);
            // in a tune whose dotted notes are judged, their ratio comes first where there is room
            // for one item only
            let room = match area.width {
                0..70 => 0,
                70..115 => 1,
                _ => 2,
            };
            let said: Vec<&str> = [practising.pointing(), practising.lead()]
                .into_iter()
                .flatten()
                .take(room)
                .collect();
            put_right(buffer, area, area.y, &said.join(" · "), theme.plain());
        }
    }
}

fn draw_music(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    if area.height < staff::LEAST_ROWS || !staff::draw(buffer, theme, area, practising) {
        music_line(practising, theme, buffer, area);
    }
}

fn music_line(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    if let Some(score) = practising.scores().get(practising.stage()) {
        let id = sounding(practising).now.map(|sounded| sounded.id);
        let hidden = practising.hidden_notes();
        line::draw(buffer, theme, area, (score, &hidden), id);
    }
}

/// Draws beat and tempo as large as there is room for, the streak as signs, and the next cell in
/// words.
fn big_figures(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    /// The rows below the figures: their label, the streak, and the next cell.
    const BELOW: u16 = 3;
    let [(beat, of_beat), _, (tempo, mut of_tempo)] = numbers(practising);
    let columns = |size: figures::Size, of_tempo: &str| {
        let wide = |text: &str, label: &str| size.columns(text).max(label.len() as u16);
        wide(&beat, of_beat) + size.gap() + wide(&tempo, of_tempo)
    };
    if columns(figures::Size::Small, of_tempo) > area.width {
        // the label of a tone length already has the unit
        of_tempo = of_tempo.split(' ').next().unwrap_or_default();
    }
    let room = area.height.saturating_sub(BELOW);
    let size = (1..=room / 5)
        .rev()
        .map(figures::Size::Times)
        .find(|size| columns(*size, of_tempo) <= area.width)
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
    let forms = next_forms(practising);
    let lines: Vec<Vec<String>> = forms.iter().map(|form| wrapped(form, area.width)).collect();
    let fits = |lines: &&Vec<String>| lines.len() <= rows;
    let next = lines.iter().find(fits).or(lines.last());
    for (y, text) in (y..).zip(next.into_iter().flatten().take(rows)) {
        put(
            buffer,
            area,
            area.x,
            y,
            &fitted(text, area.width),
            theme.strong(),
        );
    }
}

/// Draws the streak, which is the number of clean repetitions in a row: one sign for each that is
/// asked for, and the figures.
fn streak(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let needed = practising.state().plan().needed();
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

/// The line that says what to listen for in this stage.
fn listen_line(practising: &Practising) -> String {
    let stage = practising.drill().stages.get(practising.stage());
    let listen = stage
        .and_then(|stage| stage.listen_for.as_deref())
        .or(practising.drill().listen_for.as_deref());
    let time = practising
        .scores()
        .get(practising.stage())
        .map(where_time_comes_from)
        .and_then(|sentences| sentences.into_iter().next());
    let listen = listen.map(wording::listen_for);
    let all: Vec<String> = [pointing_words(practising), listen, time]
        .into_iter()
        .flatten()
        .collect();
    all.join("; ")
}

/// Draws the full explanation of the movement.
fn explanation(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let mut paragraphs = Vec::new();
    let stage = practising.drill().stages.get(practising.stage());
    if let Some(listen) = stage
        .and_then(|stage| stage.listen_for.as_deref())
        .or(practising.drill().listen_for.as_deref())
    {
        paragraphs.push(format!(
            "{}.",
            wording::capital(&wording::listen_for(listen))
        ));
    }
    if let Some(pointing) = pointing_words(practising) {
        paragraphs.push(format!("{}.", wording::capital(&pointing)));
    }
    if stage.is_some_and(crate::drill::Stage::is_slow) {
        paragraphs.push(format!("Here {}.", crate::drill::SLOW));
    }
    if let Some(score) = practising.scores().get(practising.stage()) {
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
