//! Draws how long each tone of a movement lasted, as two bars: the upper one is the played length,
//! the lower one the written length.
//!
//! ```text
//! second low G █████▄▄▄▄▄▄▄▄▄ 25 of 73 ms
//! ```

use super::{fitted, put};
use crate::practice::ToneShape;
use crate::screen::Theme;
use crate::units::Milliseconds;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// The width of one tone in columns, where two are beside each other.
const BESIDE: u16 = 38;
/// The width of the longer bar in columns, where there is room.
const BARS: usize = 20;
/// The least width of the longer bar in columns.
const LEAST_BARS: usize = 7;

/// Two bars in one row of half blocks, with `length` above and `model` below. A bar of length
/// `longest` fills the columns. A tone that did not sound has no bar.
pub fn two_bars(
    length: Milliseconds,
    model: Milliseconds,
    longest: Milliseconds,
    columns: usize,
) -> String {
    let cells = |value: Milliseconds| {
        if value.0 <= 0.0 || longest.0 <= 0.0 {
            0
        } else {
            ((value / longest * columns as f64).round() as usize).clamp(1, columns)
        }
    };
    let (upper, lower) = (cells(length), cells(model));
    (0..upper.max(lower))
        .map(|at| match (at < upper, at < lower) {
            (true, true) => '█',
            (true, false) => '▀',
            _ => '▄',
        })
        .collect()
}

/// The longest of all lengths and models.
pub fn longest(tones: &[ToneShape]) -> Milliseconds {
    tones
        .iter()
        .map(|tone| tone.length_ms.max(tone.model_ms))
        .fold(Milliseconds(0.0), Milliseconds::max)
}

/// Draws as many tones as there is room for, the worst first: beside each other, then below. All
/// bars have the same scale.
pub(in crate::screen) fn draw(tones: &[ToneShape], theme: Theme, buffer: &mut Buffer, area: Rect) {
    let across = (area.width / BESIDE).clamp(1, 2);
    let width = area.width / across;
    let shown = &tones[..tones.len().min(usize::from(across * area.height))];
    let lines = rows(shown, usize::from(width.saturating_sub(1)));
    for (number, (tone, text)) in (0u16..).zip(shown.iter().zip(lines)) {
        let style = if tone.faulty {
            theme.strong()
        } else {
            theme.plain()
        };
        let (x, y) = (area.x + number % across * width, area.y + number / across);
        put(buffer, area, x, y, &text, style);
    }
}

/// The name, bars and figures of each tone. Where the bars would be too short, the bar number of
/// the tone is left out, and then the bars themselves.
fn rows(tones: &[ToneShape], width: usize) -> Vec<String> {
    let full = |tone: &ToneShape| format!("{}{}", tone.name, tone.bar);
    let name = |tone: &ToneShape| tone.name.clone();
    let room = |name: &dyn Fn(&ToneShape) -> String| {
        let taken = |tone: &ToneShape| name(tone).chars().count() + tone.figures().len() + 2;
        let most = tones.iter().map(taken).max().unwrap_or(0);
        width.saturating_sub(most).min(BARS)
    };
    let (name, columns): (&dyn Fn(&ToneShape) -> String, usize) = if room(&full) >= LEAST_BARS {
        (&full, room(&full))
    } else {
        (&name, room(&name))
    };
    let longest = longest(tones);
    tones
        .iter()
        .map(|tone| {
            let (name, figures) = (name(tone), tone.figures());
            if columns < LEAST_BARS {
                return fitted(&format!("{name} {figures}"), width as u16);
            }
            let bars = two_bars(tone.length_ms, tone.model_ms, longest, columns);
            format!("{name} {bars} {figures}")
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::{Message, Model, OpenedDrill, Options, update};
    use crate::drill::{built_in, read};
    use crate::practice::Moment;
    use crate::screen::{Theme, view};
    use ratatui::{Terminal, backend::TestBackend};

    fn tone(name: &str, length_ms: f64, model_ms: f64) -> ToneShape {
        ToneShape {
            id: 0,
            name: name.to_owned(),
            bar: " in bar 2".to_owned(),
            length_ms: Milliseconds(length_ms),
            model_ms: Milliseconds(model_ms),
            faulty: true,
        }
    }

    fn bars(length: f64, model: f64, longest: f64, columns: usize) -> String {
        let [length, model, longest] = [length, model, longest].map(Milliseconds);
        two_bars(length, model, longest, columns)
    }

    /// A bar that is one block too long would contradict the figures.
    #[test]
    fn the_bars_are_as_long_as_the_lengths() {
        assert_eq!(bars(25.0, 75.0, 75.0, 9), "███▄▄▄▄▄▄");
        assert_eq!(bars(150.0, 75.0, 150.0, 8), "████▀▀▀▀");
        assert_eq!(bars(0.0, 50.0, 100.0, 8), "▄▄▄▄");
        assert_eq!(bars(1.0, 100.0, 100.0, 4), "█▄▄▄");
        assert_eq!(bars(1.0, 1.0, 0.0, 4), "");
    }

    /// All bars must have the same scale, or equal lengths would look different.
    #[test]
    fn a_narrow_row_keeps_the_figures_and_all_bars_have_one_scale() {
        let both = [tone("second low G", 25.0, 73.0), tone("low A", 73.0, 73.0)];
        let wide = rows(&both, 60);
        assert_eq!(
            wide,
            [
                "second low G in bar 2 ███████▄▄▄▄▄▄▄▄▄▄▄▄▄ 25 of 73 ms",
                "low A in bar 2 ████████████████████ 73 of 73 ms"
            ]
        );
        let narrow = rows(&both, 33);
        assert_eq!(
            narrow,
            [
                "second low G ███▄▄▄▄▄ 25 of 73 ms",
                "low A ████████ 73 of 73 ms"
            ]
        );
        assert_eq!(rows(&both[..1], 26), ["second low G 25 of 73 ms"]);
        assert_eq!(rows(&[], 26), [""; 0]);
    }

    /// The practice page after a repetition whose low Gs had these shapes.
    fn page(width: u16, height: u16, shape: &[ToneShape]) -> String {
        let file = built_in("grip-from-d").expect("built in");
        let mut model = Model::new(Options {
            by_ear: true,
            ..Options::default()
        });
        let opened = OpenedDrill::new(
            "grip-from-d",
            read(file.text.as_bytes()).0.expect("no problem"),
        );
        let at = Moment {
            utc_us: 0,
            offset_s: 0,
            heard_ms: 0,
        };
        update(&mut model, at, Message::Opened(Box::new(opened)));
        model.shape_tones(shape);
        let backend = TestBackend::new(width, height);
        let mut terminal = Terminal::new(backend).expect("a screen");
        let drawn = terminal.draw(|frame| {
            view(&model, Theme::new(false), frame);
        });
        let buffer = drawn.expect("drawn").buffer.clone();
        let row = |y| {
            (0..width)
                .map(|x| buffer[(x, y)].symbol())
                .collect::<String>()
        };
        let rows: Vec<String> = (0..height).map(row).collect();
        rows.join("\n")
    }

    /// A player with a small window must see which tone was crushed, without losing the staff or
    /// the notice.
    #[test]
    fn lengths_stand_beside_their_models_on_every_screen() {
        let tone = |name: &str, length_ms, faulty| ToneShape {
            id: 0,
            name: name.to_owned(),
            bar: " in bar 1".to_owned(),
            length_ms: Milliseconds(length_ms),
            model_ms: Milliseconds(73.0),
            faulty,
        };
        let shape = [
            tone("second low G", 25.0, true),
            tone("first low G", 68.0, false),
        ];
        for (width, height, second) in [(40, 10, false), (80, 24, true), (120, 40, true)] {
            let screen = page(width, height, &shape);
            assert!(screen.contains("▄▄ 25 of 73 ms"), "{screen}");
            assert_eq!(screen.contains("68 of 73 ms"), second, "{screen}");
            assert!(screen.contains("play"), "{screen}");
        }
        let staff = |shape| page(80, 24, shape).contains("────│");
        assert_eq!(staff(&shape[..]), staff(&[]));
    }
}
