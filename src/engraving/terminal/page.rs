//! Draws a staff into cells: its lines, heads, gracenotes and words.

use super::cells::{BLANK, StaffCell, StaffSettings, Style};
use crate::engraving::font::Glyph;
use crate::engraving::placed::{Element, ElementKind, InkShape, System};
use crate::score::NoteId;
use std::collections::BTreeMap;

/// A staff that is being drawn.
pub(super) struct Page {
    /// The cells by row and column. Rows count half staff spaces up from the staff's lowest line.
    pub(super) cells: BTreeMap<(i32, i32), StaffCell>,
    pub(super) scale: f64,
    pub(super) ascii: bool,
    pub(super) last_column: i32,
}

pub(super) fn row(y: f64) -> i32 {
    (y * 2.0).round() as i32
}

impl Page {
    pub(super) fn column(&self, x: f64) -> i32 {
        (x * self.scale).round() as i32
    }

    pub(super) fn put(
        &mut self,
        row: i32,
        column: i32,
        symbol: char,
        style: Style,
        note: Option<NoteId>,
    ) {
        let symbol = if self.ascii { ascii(symbol) } else { symbol };
        self.cells.insert(
            (row, column),
            StaffCell {
                symbol,
                style,
                note,
            },
        );
    }

    /// Like `put`, but never overwrites a head.
    pub(super) fn put_behind(
        &mut self,
        row: i32,
        column: i32,
        symbol: char,
        style: Style,
        note: Option<NoteId>,
    ) {
        let taken = self
            .cells
            .get(&(row, column))
            .is_some_and(|cell| matches!(cell.style, Style::Head | Style::GraceHead | Style::Dot));
        if !taken {
            self.put(row, column, symbol, style, note);
        }
    }

    fn write(&mut self, row: i32, column: i32, text: &str, style: Style, note: Option<NoteId>) {
        for (place, sign) in text.chars().enumerate() {
            let sign = if unicode_width::UnicodeWidthChar::width(sign) == Some(1) {
                sign
            } else {
                '?'
            };
            self.put(row, column + place as i32, sign, style, note);
        }
    }

    /// Writes a word like `write`, but only where it neither covers nor touches another. Returns
    /// false where it would.
    fn write_beside(
        &mut self,
        row: i32,
        column: i32,
        text: &str,
        style: Style,
        note: Option<NoteId>,
    ) -> bool {
        let end = column + text.chars().count() as i32;
        let touches = (column - 1..=end).any(|column| {
            self.cells
                .get(&(row, column))
                .is_some_and(|cell| matches!(cell.style, Style::MovementName | Style::GraceName))
        });
        if !touches {
            self.write(row, column, text, style, note);
        }
        !touches
    }

    pub(super) fn draw(&mut self, system: &System) {
        for line in 0..5 {
            for column in 0..=self.last_column {
                self.put(line * 2, column, '─', Style::Staff, None);
            }
        }
        let elements = &system.elements;
        for element in elements {
            self.draw_fixed(element);
        }
        self.draw_gracenotes(elements);
        self.draw_melody(elements);
        let top = self.cells.keys().map(|(row, _)| *row).max().unwrap_or(8);
        let bottom = self.cells.keys().map(|(row, _)| *row).min().unwrap_or(0);
        // movements are named before gracenotes, because their names matter more where there is
        // room for only one
        self.name_movements(elements, top);
        for element in elements {
            self.draw_words(element, top, bottom);
        }
    }

    /// Draws the elements that keep their exact place: lines, metre, heads and dots.
    fn draw_fixed(&mut self, element: &Element) {
        let bounds = element.shape.bounds();
        let note = element.note;
        match (element.kind, &element.shape) {
            (ElementKind::BarLine, InkShape::Bar { left, right, .. }) => {
                let column = self
                    .column(f64::midpoint(*left, *right))
                    .min(self.last_column);
                let sign = if right - left > 0.3 { '┃' } else { '│' };
                for row in 0..=8 {
                    self.put(row, column, sign, Style::BarLine, None);
                }
            }
            (ElementKind::RepeatDot, InkShape::Glyph { x, y, .. }) => {
                self.put(row(*y), self.column(*x), '•', Style::BarLine, None);
            }
            (ElementKind::Metre, InkShape::Glyph { glyph, x, y, .. }) => {
                let figure = (0..=9).find(|figure| Glyph::figure(*figure) == Some(*glyph));
                let sign = figure.and_then(|figure| char::from_digit(figure, 10));
                // the layout centres figures of different widths; here all figures are put where a
                // 4 would be, so that they share a column
                let width = |glyph: Glyph| glyph.outline().right;
                let four = Glyph::figure(4).map_or(0.0, width);
                let left = x + (width(*glyph) - four) / 2.0;
                self.put(
                    row(*y),
                    self.column(left),
                    sign.unwrap_or(' '),
                    Style::Metre,
                    None,
                );
            }
            (ElementKind::Ledger | ElementKind::GraceLedger, InkShape::Bar { .. }) => {
                let y = row(f64::midpoint(bounds.bottom, bounds.top));
                let style = Style::Staff;
                for column in self.column(bounds.left)..=self.column(bounds.right) {
                    self.put_behind(y, column, '─', style, None);
                }
            }
            (ElementKind::Head, InkShape::Glyph { glyph, x, y, .. }) => {
                let sign = match glyph {
                    Glyph::HeadBlack => '●',
                    Glyph::HeadHalf => '○',
                    _ => 'O',
                };
                self.put(row(*y), self.column(*x), sign, Style::Head, note);
            }
            (ElementKind::GraceHead, InkShape::Glyph { x, y, .. }) => {
                self.put(row(*y), self.column(*x), '•', Style::GraceHead, note);
            }
            _ => {}
        }
    }

    /// Draws the stems of gracenotes, up to two rows above the highest head, and then their flags
    /// or beams.
    fn draw_gracenotes(&mut self, elements: &[Element]) {
        let mut groups: BTreeMap<NoteId, Vec<(i32, i32, NoteId)>> = BTreeMap::new();
        for element in elements {
            if let (ElementKind::GraceHead, Some(id), InkShape::Glyph { x, y, .. }) =
                (element.kind, element.note, &element.shape)
            {
                let place = (row(*y), self.column(*x), id);
                groups.entry(id.melody()).or_default().push(place);
            }
        }
        for heads in groups.values() {
            let top = heads.iter().map(|head| head.0).max().unwrap_or(0) + 2;
            for (head, column, id) in heads {
                for row in head + 1..top {
                    self.put_behind(row, *column, '│', Style::GraceStem, Some(*id));
                }
            }
            let last = heads.len() - 1;
            for (place, (_, column, id)) in heads.iter().enumerate() {
                let sign = match place {
                    _ if last == 0 => '╞',
                    0 => '╒',
                    _ if place == last => '╕',
                    _ => '╤',
                };
                self.put(top, *column, sign, Style::GraceStem, Some(*id));
                if let Some((_, next, _)) = heads.get(place + 1) {
                    for between in column + 1..*next {
                        self.put(top, between, '═', Style::GraceStem, Some(*id));
                    }
                }
            }
        }
    }

    /// Names each movement at the first place that has room for the name.
    fn name_movements(&mut self, elements: &[Element], top: i32) {
        let mut named: Vec<&str> = Vec::new();
        for element in elements {
            let (ElementKind::MovementName, InkShape::Text { text, x, .. }) =
                (element.kind, &element.shape)
            else {
                continue;
            };
            if named.contains(&text.as_str()) {
                continue;
            }
            let column = self
                .column(*x)
                .min(self.last_column - text.chars().count() as i32)
                .max(0);
            if self.write_beside(top + 1, column, text, Style::MovementName, element.note) {
                named.push(text);
            }
        }
    }

    fn draw_words(&mut self, element: &Element, top: i32, bottom: i32) {
        let InkShape::Text { text, x, .. } = &element.shape else {
            return;
        };
        let half_head = Glyph::HeadBlack.outline().right / 2.0;
        let beats = i32::from(
            self.cells
                .values()
                .any(|cell| cell.style == Style::BeatNumber),
        );
        match element.kind {
            ElementKind::GraceName => {
                let column = self.column(x - 0.6);
                let above = (0..=top)
                    .rev()
                    .find(|row| {
                        self.cells.get(&(*row, column)).is_some_and(|cell| {
                            matches!(cell.style, Style::GraceStem | Style::GraceHead)
                        })
                    })
                    .unwrap_or(top);
                self.write_beside(above + 1, column, text, Style::GraceName, element.note);
            }
            ElementKind::BeatNumber => {
                let column = self.column(x - half_head);
                self.write(bottom - 1, column, text, Style::BeatNumber, element.note);
            }
            ElementKind::NoteName => {
                let column = self.column(x - half_head);
                self.write(
                    bottom - 1 - beats,
                    column,
                    text,
                    Style::NoteName,
                    element.note,
                );
            }
            _ => {}
        }
    }

    pub(super) fn rows(&self, settings: &StaffSettings) -> Vec<Vec<StaffCell>> {
        let top = self.cells.keys().map(|(row, _)| *row).max().unwrap_or(0);
        let bottom = self.cells.keys().map(|(row, _)| *row).min().unwrap_or(0);
        let width = self
            .cells
            .keys()
            .map(|(_, column)| column + 1)
            .max()
            .unwrap_or(0)
            .min(settings.columns as i32);
        (bottom..=top)
            .rev()
            .map(|row| {
                (0..width)
                    .map(|column| self.cells.get(&(row, column)).copied().unwrap_or(BLANK))
                    .collect()
            })
            .collect()
    }
}

/// The ASCII character that replaces a character of the Unicode set.
fn ascii(symbol: char) -> char {
    match symbol {
        '─' => '-',
        '│' | '┃' => '|',
        '●' => '@',
        '○' => 'o',
        '•' => '*',
        '·' => '.',
        '╞' | '╒' | '╤' | '╕' | '═' => '=',
        '━' | '┗' | '┛' | '┻' | '┣' | '╋' => '#',
        '╭' | '╮' => '~',
        '└' | '┘' => '+',
        other if other.is_ascii() => other,
        _ => '?',
    }
}
