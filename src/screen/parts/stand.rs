//! Draws the practice page for a music stand two metres away: beat, streak, tempo and fingers as
//! large as the window allows, with the last verdict below.

use super::figures::Size;
use super::head::{beats, title};
use super::saying::{keys, next_words, notice, numbers, sounding};
use super::{chanter, figures, fitted, frame, put, wrapped};
use crate::app::{Model, Practising};
use crate::screen::Theme;
use crate::wording;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// The height of the label under a figure in rows.
const LABEL: u16 = 1;

/// Draws the page.
pub(super) fn draw(
    model: &Model,
    practising: &Practising,
    theme: Theme,
    buffer: &mut Buffer,
    whole: Rect,
) {
    let area = frame::within(whole);
    let row = |y: u16, height: u16| Rect {
        y: area.y + y,
        height: height.min(area.height.saturating_sub(y)),
        ..area
    };
    title(model, practising, theme, buffer, whole);
    beats(model, practising, theme, buffer, row(1, 1));
    let tight = area.height < 16;
    let fingers = if tight { 2 } else { (area.height / 4).max(5) };
    let told = if tight { 1 } else { 3 };
    // the rows of the title, the lights, the next cell, and the keys
    let rest = 3 + u16::from(!tight);
    let zone = area.height.saturating_sub(rest + fingers + told);
    big(practising, theme, buffer, row(2, zone));
    let handed = model.options().left_handed;
    let holes = row(2 + zone, fingers);
    let heard = sounding(practising);
    if tight {
        chanter::draw(buffer, theme, holes, heard, handed);
    } else {
        chanter::draw_large(buffer, theme, holes, heard, handed);
    }
    let mut y = 2 + zone + fingers;
    if !tight {
        let by_heart = practising.clean_by_heart();
        let by_heart = by_heart.map_or_else(String::new, |count| format!("{count} by heart · "));
        let next = format!("{by_heart}{}", next_words(practising));
        let next = fitted(&next, area.width);
        put(buffer, area, area.x, area.y + y, &next, theme.strong());
        y += 1;
    }
    if model.notice().is_none() && !practising.is_offering() {
        let listen = practising.drill().listen_for.as_deref().unwrap_or_default();
        for (line, text) in wrapped(&wording::listen_for(listen), area.width)
            .iter()
            .take(if listen.is_empty() {
                0
            } else {
                usize::from(told)
            })
            .enumerate()
        {
            put(
                buffer,
                area,
                area.x,
                area.y + y + line as u16,
                text,
                theme.plain(),
            );
        }
    }
    notice(model, theme, buffer, row(y, told));
    keys(model, theme, buffer, row(area.height - 1, 1), practising);
}

/// Draws the three figures. The beat is as large as a third of the window allows. Streak and tempo
/// are beside each other or one below the other, whichever can be larger.
fn big(practising: &Practising, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let [(beat, of_beat), (streak, of_streak), (tempo, of_tempo)] = numbers(practising);
    let largest = |text: &[&str], width: u16, height: u16| -> Size {
        (1..=height / 5)
            .rev()
            .map(Size::Times)
            .find(|size| {
                let columns: u16 = text
                    .iter()
                    .map(|text| size.columns(text) + size.gap())
                    .sum();
                columns <= width + size.gap()
            })
            .unwrap_or(Size::Small)
    };
    let height = area.height.saturating_sub(LABEL);
    let first = largest(&[&beat], area.width / 3, height);
    let taken = first.columns(&beat).max(of_beat.len() as u16) + first.gap();
    let styles = (theme.strong(), theme);
    figures::draw(
        buffer,
        area,
        (area.x, area.y),
        first,
        &beat,
        of_beat,
        styles,
    );
    let width = area.width.saturating_sub(taken);
    let beside = largest(&[&streak, &tempo], width, height);
    let half = (height.saturating_sub(LABEL)) / 2;
    let above = largest(&[&streak], width, half);
    let above = if largest(&[&tempo], width, half).rows() < above.rows() {
        largest(&[&tempo], width, half)
    } else {
        above
    };
    let x = area.x + taken;
    let plain = (theme.plain(), theme);
    let stacked = above.rows() > beside.rows();
    let size = if stacked { above } else { beside };
    figures::draw(buffer, area, (x, area.y), size, &streak, of_streak, plain);
    let (x, y) = if stacked {
        (x, area.y + size.rows() + LABEL)
    } else {
        let columns = size.columns(&streak).max(of_streak.len() as u16);
        (x + columns + size.gap(), area.y)
    };
    figures::draw(buffer, area, (x, y), size, &tempo, of_tempo, plain);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::{Message, OpenedDrill, Options, update};
    use crate::drill::{built_in, read};
    use crate::practice::{Moment, Rung};
    use crate::screen::view;
    use crate::units::Bpm;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn shown(width: u16, height: u16, tempo: i128) -> Vec<String> {
        let file = built_in("crossings").expect("built in");
        let mut model = Model::new(Options {
            stand: true,
            ..Options::default()
        });
        let opened = OpenedDrill {
            stage: Some(0),
            rung: Some(Rung::Tempo(Bpm::whole(tempo).expect("a tempo"))),
            ..OpenedDrill::new(
                "crossings",
                read(file.text.as_bytes()).0.expect("no problem"),
            )
        };
        let at = Moment {
            utc_us: 0,
            offset_s: 0,
            heard_ms: 0,
        };
        update(&mut model, at, Message::Opened(Box::new(opened)));
        let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a screen");
        terminal
            .draw(|frame| {
                view(&model, Theme::new(false), frame);
            })
            .expect("drawn");
        let buffer = terminal.backend().buffer();
        (0..height)
            .map(|y| (0..width).map(|x| buffer[(x, y)].symbol()).collect())
            .collect()
    }

    fn rows_of_figures(screen: &[String]) -> usize {
        let blocks = |row: &&String| row.contains('█') || row.contains('▀');
        screen.iter().skip(2).take_while(blocks).count()
    }

    /// From two metres a figure of three rows cannot be read, so figures grow with the window. A
    /// tempo of three digits must not push out the beat or the streak.
    #[test]
    fn figures_grow_with_the_window() {
        for (width, height, least) in [(40, 10, 3), (80, 24, 5), (120, 40, 10), (200, 60, 20)] {
            for tempo in [50, 120] {
                let screen = shown(width, height, tempo);
                let text = screen.join("\n");
                assert!(
                    rows_of_figures(&screen) >= least,
                    "{width}x{height}:\n{text}"
                );
                for label in ["beat", "in a row", "tempo"] {
                    assert!(text.contains(label), "{label} at {width}x{height}:\n{text}");
                }
            }
        }
    }
}
