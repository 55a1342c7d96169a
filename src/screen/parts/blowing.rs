//! Draws the page for blowing evenly: the note, its cents on a scale, how even it is, how long it
//! was held, and a trail.

use super::tuner::{HALF, meter, scale};
use super::{fitted, frame, put, put_right};
use crate::app::Blowing;
use crate::screen::Theme;
use crate::units::FullScale;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// Draws the page.
pub(in crate::screen) fn draw(blowing: &Blowing, theme: Theme, target: &mut Frame) {
    let whole = target.area();
    let buffer = target.buffer_mut();
    let area = frame::within(whole);
    let roomy = area.height >= 16;
    let mut y = area.y;
    let title = "Blowing evenly";
    let room = area.width.saturating_sub(title.len() as u16 + 2);
    let beside = format!(
        "{} · low A {:.0} Hz",
        blowing.microphone(),
        blowing.low_a().0
    );
    frame::head(buffer, whole, title, &fitted(&beside, room), theme);
    y += if roomy { 2 } else { 1 };
    let note = blowing.now().and_then(|now| now.note);
    let held = blowing.now().and_then(|now| now.held);
    let off = note.and_then(|(_, off)| Some(off?.0));
    let name = note.map_or("silence", |(note, _)| note.spoken());
    let cents = off.map_or_else(String::new, |off| format!("  {off:+.0} cents"));
    put(
        buffer,
        area,
        area.x,
        y,
        &format!("{name}{cents}"),
        theme.strong(),
    );
    let level = blowing.now().map_or(FullScale(-99.0), |now| now.level);
    let level = format!("level {} {level:>4.0} dB", meter(level));
    put_right(buffer, area, y, &level, theme.plain());
    y += 1;
    let columns = (area.width.saturating_sub(12)).saturating_sub(1) | 1;
    let drawn = format!("flat {} sharp", scale(columns - 2, off));
    put(buffer, area, area.x, y, &drawn, theme.strong());
    y += 1;
    let even = match held {
        Some(held) => format!(
            "even within ±{:.1} cents, held {:.1} s, longest {:.1} s",
            held.spread.0,
            held.length,
            blowing.longest()
        ),
        None => format!("hold a note; longest {:.1} s", blowing.longest()),
    };
    let even = if even.len() > usize::from(area.width) {
        held.map_or(even, |held| {
            format!(
                "even ±{:.1}, held {:.1} s of {:.1}",
                held.spread.0,
                held.length,
                blowing.longest()
            )
        })
    } else {
        even
    };
    let words = fitted(&even, area.width);
    put(buffer, area, area.x, y, &words, theme.plain());
    y += if roomy { 2 } else { 1 };
    let bottom = area.bottom().saturating_sub(2);
    let trail_area = Rect {
        y,
        height: bottom.saturating_sub(y),
        ..area
    };
    trail(blowing, theme, buffer, trail_area);
    let said = blowing.trouble().unwrap_or_default();
    let said = fitted(said, area.width);
    put(buffer, area, area.x, bottom, &said, theme.warning());
    let foot = Rect {
        y: bottom + 1,
        height: 1,
        ..area
    };
    frame::keys(buffer, foot, &[("?", "keys"), ("q", "leave")], theme);
}

/// Draws the last seconds as a line of dots, with the newest at the right. The middle row is in
/// tune.
fn trail(blowing: &Blowing, theme: Theme, buffer: &mut Buffer, area: Rect) {
    if area.height == 0 {
        return;
    }
    let rows = area.height - u16::from(area.height.is_multiple_of(2));
    let middle = rows / 2;
    let label = |row: u16| {
        if rows < 3 {
            ""
        } else if row == 0 {
            "+30 "
        } else if row == middle {
            "  0 "
        } else if row + 1 == rows {
            "-30 "
        } else {
            ""
        }
    };
    let left = area.x + 4;
    let columns = usize::from(area.width.saturating_sub(4));
    for row in 0..rows {
        let y = area.y + row;
        put(buffer, area, area.x, y, label(row), theme.plain());
        if row == middle {
            put(buffer, area, left, y, &"─".repeat(columns), theme.quiet());
        }
    }
    let skip = blowing.trail().len().saturating_sub(columns);
    let mut before = None;
    let start = left + (columns - blowing.trail().len().min(columns)) as u16;
    for (x, point) in (start..).zip(blowing.trail().iter().skip(skip)) {
        if let Some((note, off)) = point {
            let share = (off.0 / HALF).clamp(-1.0, 1.0);
            let row = (f64::from(middle) * (1.0 - share)).round() as u16;
            put(buffer, area, x, area.y + row, "•", theme.strong());
            // a mark below the trail shows where the note changes
            if before.is_some_and(|before| before != *note) && row != rows - 1 {
                put(buffer, area, x, area.y + rows - 1, "╵", theme.plain());
            }
        }
        before = point.map(|(note, _)| note);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::Note;
    use crate::listening::{HeardNow, HeldNote};
    use crate::units::{Cents, Hertz, Seconds};
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn screen(width: u16, height: u16, blowing: &Blowing) -> String {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a screen");
        terminal
            .draw(|frame| draw(blowing, Theme::new(false), frame))
            .expect("drawn");
        let buffer = terminal.backend().buffer();
        (0..height)
            .map(|y| {
                let row: String = (0..width).map(|x| buffer[(x, y)].symbol()).collect();
                format!("{}\n", row.trim_end())
            })
            .collect()
    }

    fn blowing() -> Blowing {
        let mut blowing = Blowing::new("USB microphone".to_owned(), Hertz(236.0));
        for step in 0..60 {
            let off = 12.0 - f64::from(step) * 0.3;
            let now = HeardNow {
                level: FullScale(-21.0),
                note: Some((Note::LowA, Some(Cents(off)))),
                held: Some(HeldNote {
                    length: Seconds(f64::from(step) * 0.2),
                    cents: Cents(off),
                    spread: Cents(2.4),
                }),
                clips: false,
                silent: Seconds(0.0),
                unheard: Seconds(0.0),
                low_a: Hertz(236.0),
            };
            blowing.hear(Seconds(f64::from(step) * 0.21), Some(now));
        }
        blowing
    }

    /// The whole page fits the smallest window, and nothing needs a colour.
    #[test]
    fn the_page_fits_every_screen() {
        for (width, height) in [(40, 10), (80, 24), (120, 40)] {
            let shown = screen(width, height, &blowing());
            for part in [
                "low A",
                "-6 cents",
                "±2.4",
                "11.8 s",
                "▮▮▮▮▯",
                "◆",
                "•",
                "q leave",
            ] {
                assert!(shown.contains(part), "{part} at {width}x{height}:\n{shown}");
            }
        }
    }

    #[test]
    fn a_microphone_that_is_off_gets_a_sentence() {
        let mut silent = blowing();
        silent.hear(
            Seconds(20.0),
            Some(HeardNow {
                level: FullScale(-90.0),
                note: None,
                held: None,
                clips: false,
                silent: Seconds(3.0),
                unheard: Seconds(0.0),
                low_a: Hertz(236.0),
            }),
        );
        let shown = screen(40, 10, &silent);
        assert!(shown.contains("silence"), "{shown}");
        assert!(shown.contains("nothing is heard"), "{shown}");
    }
}
