//! Prints tables for a terminal of any width and for a pipe.

use super::terminal;
use crate::wording::visible;
use std::io::IsTerminal;
use unicode_width::UnicodeWidthStr;

/// The least width, in columns, that the last cell of a row needs beside the others. With less it
/// is put below them.
const ROOM: usize = 24;

/// Rows under their headings, with two spaces between columns. On a terminal the last column is
/// wrapped between words; in a pipe every row is one line.
pub(crate) fn table<const N: usize>(heads: [&str; N], rows: &[[String; N]]) -> String {
    let width = std::io::stdout().is_terminal().then(terminal::columns);
    within(width, heads, rows)
}

fn within<const N: usize>(width: Option<usize>, heads: [&str; N], rows: &[[String; N]]) -> String {
    let heads = heads.map(str::to_owned);
    // control characters are made visible before the widths are measured, so that the columns are
    // aligned
    let rows: Vec<[String; N]> = rows
        .iter()
        .map(|row| std::array::from_fn(|column| visible(&row[column]).into_owned()))
        .collect();
    let widths: Vec<usize> = (0..N.saturating_sub(1))
        .map(|column| {
            let cells = rows.iter().chain([&heads]);
            cells.map(|row| row[column].width()).max().unwrap_or(0)
        })
        .collect();
    let beside: usize = widths.iter().map(|width| width + 2).sum();
    let mut text = String::new();
    for row in std::iter::once(&heads).chain(&rows) {
        let mut line = String::new();
        for (cell, width) in row.iter().zip(&widths) {
            line.push_str(cell);
            line.push_str(&" ".repeat(width + 2 - cell.width()));
        }
        let last = row.last().map_or("", String::as_str);
        let below = width.is_some_and(|width| width < beside + ROOM);
        match width {
            _ if last.is_empty() => {}
            None => line.push_str(last),
            Some(width) => {
                let indent = if below { 4 } else { beside };
                let margin = " ".repeat(indent);
                // a date or a name must not be broken at its hyphens
                let options = textwrap::Options::new(width.max(indent + ROOM))
                    .word_separator(textwrap::WordSeparator::AsciiSpace)
                    .word_splitter(textwrap::WordSplitter::NoHyphenation)
                    .initial_indent(&margin)
                    .subsequent_indent(&margin);
                let filled = textwrap::fill(last, options);
                if below {
                    line.truncate(line.trim_end().len());
                    line.push('\n');
                    line.push_str(&filled);
                } else {
                    line.push_str(filled.trim_start());
                }
            }
        }
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows() -> Vec<[String; 2]> {
        vec![
            ["grip".to_owned(), "one two three four five six".to_owned()],
            ["a longer name".to_owned(), String::new()],
        ]
    }

    /// A terminal itself would break a long line in the middle of a word.
    #[test]
    fn the_last_column_is_broken_within_the_width() {
        assert_eq!(
            within(Some(40), ["drill", "for"], &rows()),
            "drill          for\n\
             grip           one two three four five\n\
             \u{20}              six\n\
             a longer name\n"
        );
    }

    /// A narrow terminal must not squeeze a sentence into a column of single words.
    #[test]
    fn where_there_is_no_room_beside_it_goes_below() {
        assert_eq!(
            within(Some(28), ["drill", "for"], &rows()),
            "drill\n    for\ngrip\n    one two three four five\n    six\na longer name\n"
        );
    }

    /// A date must not be broken at its hyphen.
    #[test]
    fn a_day_and_a_name_stand_in_one_row() {
        let rows = [[
            "grip".to_owned(),
            "cleared 2026-11-30 taorluath-from-low-g".to_owned(),
        ]];
        assert_eq!(
            within(Some(34), ["drill", "what"], &rows),
            "drill  what\n\
             grip   cleared 2026-11-30\n\
             \u{20}      taorluath-from-low-g\n"
        );
    }

    /// Other programs read the output line by line.
    #[test]
    fn in_a_pipe_a_row_is_a_line() {
        assert_eq!(within(None, ["drill", "for"], &rows()).lines().count(), 3);
    }
}
