//! The parts of the pages. Each draws into a given area and is clipped to it.

pub(super) mod bars;
pub(super) mod blowing;
pub(super) mod board;
pub(super) mod chanter;
pub(super) mod choose;
pub(super) mod discriminating;
pub(super) mod figures;
pub(super) mod first;
pub(super) mod frame;
pub(super) mod head;
pub(super) mod help;
pub(super) mod line;
pub(super) mod practise;
pub(super) mod reading;
pub(super) mod saying;
pub(super) mod session;
pub(super) mod shape;
pub(super) mod small;
pub(super) mod staff;
pub(super) mod stand;
pub(super) mod tuner;
pub(super) mod warming;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthChar;

/// Writes a text at a place, clipped to the area. Returns the column after the text.
pub(super) fn put(
    buffer: &mut Buffer,
    area: Rect,
    x: u16,
    y: u16,
    text: &str,
    style: Style,
) -> u16 {
    let mut column = x;
    if y < area.top() || y >= area.bottom() {
        return column;
    }
    for sign in text.chars() {
        let width = sign.width().unwrap_or(0) as u16;
        if width == 0 {
            continue;
        }
        if column < area.left() || column + width > area.right() {
            return column;
        }
        if let Some(cell) = buffer.cell_mut((column, y)) {
            cell.set_char(sign).set_style(style);
        }
        column += width;
    }
    column
}

/// Writes text that ends at the right edge of the area.
pub(super) fn put_right(buffer: &mut Buffer, area: Rect, y: u16, text: &str, style: Style) {
    let width = unicode_width::UnicodeWidthStr::width(text) as u16;
    let x = area.right().saturating_sub(width).max(area.left());
    put(buffer, area, x, y, text, style);
}

/// A text in lines of at most this many columns, broken between words.
pub(super) fn wrapped(text: &str, width: u16) -> Vec<String> {
    let width = usize::from(width.max(1));
    let mut lines: Vec<String> = Vec::new();
    for paragraph in text.lines() {
        let mut line = String::new();
        for word in paragraph.split_whitespace() {
            let long = unicode_width::UnicodeWidthStr::width(word);
            let used = unicode_width::UnicodeWidthStr::width(line.as_str());
            if !line.is_empty() && used + 1 + long > width {
                lines.push(std::mem::take(&mut line));
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
        lines.push(line);
    }
    lines
}

/// A text that fits this many columns, with an ellipsis where it was cut.
pub(super) fn fitted(text: &str, width: u16) -> String {
    let width = usize::from(width);
    if unicode_width::UnicodeWidthStr::width(text) <= width {
        return text.to_owned();
    }
    let mut out = String::new();
    let mut used = 0;
    for sign in text.chars() {
        let wide = sign.width().unwrap_or(0);
        if used + wide + 1 > width {
            break;
        }
        out.push(sign);
        used += wide;
    }
    if width > 0 {
        out.push('…');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_cut_to_its_columns() {
        assert_eq!(fitted("low G", 5), "low G");
        assert_eq!(fitted("low G and", 5), "low …");
        assert_eq!(fitted("x", 0), "");
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
    }
}
