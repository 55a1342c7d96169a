//! Large figures that can be read from behind a chanter.

use super::put;
use crate::screen::Theme;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// A character as five rows of three dots, the top row first. The leftmost dot is the highest of
/// three bits.
fn dots(sign: char) -> [u8; 5] {
    match sign {
        '0' => [0b111, 0b101, 0b101, 0b101, 0b111],
        '1' => [0b010, 0b110, 0b010, 0b010, 0b111],
        '2' => [0b111, 0b001, 0b111, 0b100, 0b111],
        '3' => [0b111, 0b001, 0b111, 0b001, 0b111],
        '4' => [0b101, 0b101, 0b111, 0b001, 0b001],
        '5' => [0b111, 0b100, 0b111, 0b001, 0b111],
        '6' => [0b111, 0b100, 0b111, 0b101, 0b111],
        '7' => [0b111, 0b001, 0b010, 0b010, 0b010],
        '8' => [0b111, 0b101, 0b111, 0b101, 0b111],
        '9' => [0b111, 0b101, 0b111, 0b001, 0b111],
        '/' => [0b001, 0b001, 0b010, 0b100, 0b100],
        '-' => [0b000, 0b000, 0b111, 0b000, 0b000],
        '½' => [0b100, 0b101, 0b010, 0b101, 0b001],
        _ => [0; 5],
    }
}

/// How large figures are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Size {
    /// Three rows high, with two dots in a row of characters.
    Small,
    /// Five times this number of rows high. Each dot is this many rows high and twice as many
    /// columns wide. At least 1.
    Times(u16),
}

impl Size {
    /// The height of a figure in rows.
    pub(super) fn rows(self) -> u16 {
        match self {
            Self::Small => 3,
            Self::Times(times) => 5 * times,
        }
    }

    /// The gap between two texts in columns, clearly wider than between two figures of one text.
    pub(super) fn gap(self) -> u16 {
        match self {
            Self::Small => 4,
            Self::Times(times) => 4 * times + 2,
        }
    }

    /// The width of a text in columns.
    pub(super) fn columns(self, text: &str) -> u16 {
        let signs = text.chars().count() as u16;
        match self {
            Self::Small => (signs * 4).saturating_sub(1),
            Self::Times(times) => (signs * 8).saturating_sub(2) * times,
        }
    }
}

/// Draws a text in large figures with its upper left corner at a place, and a label below it.
pub(super) fn draw(
    buffer: &mut Buffer,
    area: Rect,
    (x, y): (u16, u16),
    size: Size,
    text: &str,
    label: &str,
    (style, theme): (Style, Theme),
) {
    let mut left = x;
    for sign in text.chars() {
        let rows = dots(sign);
        for dot in 0..3_u16 {
            let lit = |row: usize| rows.get(row).is_some_and(|bits| bits & (0b100 >> dot) != 0);
            match size {
                Size::Small => {
                    for row in 0..3_u16 {
                        let (upper, lower) =
                            (lit(usize::from(row) * 2), lit(usize::from(row) * 2 + 1));
                        let sign = match (upper, lower) {
                            (true, true) => "█",
                            (true, false) => "▀",
                            (false, true) => "▄",
                            (false, false) => " ",
                        };
                        put(buffer, area, left + dot, y + row, sign, style);
                    }
                }
                Size::Times(times) => {
                    let wide = usize::from(times) * 2;
                    for row in 0..5 * times {
                        let dotted = lit(usize::from(row / times));
                        let sign = if dotted { "█" } else { " " }.repeat(wide);
                        put(buffer, area, left + dot * 2 * times, y + row, &sign, style);
                    }
                }
            }
        }
        left += match size {
            Size::Small => 4,
            Size::Times(times) => 8 * times,
        };
    }
    put(buffer, area, x, y + size.rows(), label, theme.plain());
}
