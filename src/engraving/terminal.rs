//! The staff on a terminal: the same layout, rounded to cells of characters.
//!
//! A row is half a staff space, so that every line and every space has its own row; a column is
//! half a staff space too, or less of one where the bars would not fit. Heads stand where the
//! layout has them. Stems are cut to two rows for gracenotes and four for the melody, three beams
//! become one double line, and the clef is left out: rows are dear.
//!
//! Knows characters and what each stands for. Knows no colour and no terminal library.
//!
//! ```text
//!      ╞                         grip
//!      │     ╞                  ╒═╤═╕
//! ─────•─────│─────────│────────│─•─│───────────│
//! ```

use super::columns::bars_of;
use super::font::Glyph;
use super::lay::{Settings as Layout, Spacing, lay_out_bars};
use super::placed::{Element, Kind, Shape, System};
use crate::drill::Music;
use crate::score::{NoteId, Score};
use std::collections::BTreeMap;
use std::ops::Range;

/// How the staff is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings {
    /// Columns there are.
    pub columns: usize,
    /// Characters to draw with.
    pub signs: Signs,
    /// A row of names of movements above, and separating gracenotes named above their flags.
    pub names: bool,
    /// A row of click numbers below.
    pub beat_numbers: bool,
    /// A row of note names below.
    pub note_names: bool,
}

/// Which characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signs {
    /// Box-drawing characters and bullets, each one column wide.
    Unicode,
    /// ASCII alone.
    Ascii,
}

/// What a cell stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[allow(missing_docs, reason = "each is what its name says")]
pub enum Style {
    #[default]
    Blank,
    Staff,
    Metre,
    BarLine,
    Head,
    /// Stem, beam or flag of a melody note.
    Stem,
    Dot,
    Tie,
    GraceHead,
    /// Stem, beam or flag of gracenotes.
    GraceStem,
    MovementName,
    GraceName,
    BeatNumber,
    NoteName,
}

/// One character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cell {
    /// One column wide.
    pub symbol: char,
    /// What it stands for.
    pub style: Style,
    /// The note it belongs to, first time through: compare with a sounding note's id after setting
    /// its `pass` to 1.
    pub note: Option<NoteId>,
}

const BLANK: Cell = Cell {
    symbol: ' ',
    style: Style::Blank,
    note: None,
};

/// A drawn staff.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grid {
    /// Rows from top to bottom, all equally long.
    pub rows: Vec<Vec<Cell>>,
    /// False where the bars need more columns than there are; the right end is cut off then, and
    /// fewer bars should be asked for.
    pub fits: bool,
}

impl Settings {
    /// Everything, in Unicode.
    pub fn wide(columns: usize) -> Self {
        Self {
            columns,
            signs: Signs::Unicode,
            names: true,
            beat_numbers: true,
            note_names: true,
        }
    }
}

/// Columns in a staff space, where there is room.
const COLUMNS: f64 = 2.0;
/// The fewest columns in a staff space that keep neighbouring gracenotes apart.
const FEWEST: f64 = 0.95;
/// A staff is not pulled wider than this times what suits it.
const WIDEST: f64 = 1.7;

/// Draws written bars (indices into [`Music::bars`], in one row; a range beyond the end is cut).
/// The metre stands before them when they begin with the first.
pub fn draw(score: &Score, music: Option<&Music>, bars: Range<usize>, settings: &Settings) -> Grid {
    let all = bars_of(score, music);
    let end = bars.end.min(all.len());
    let chosen = &all[bars.start.min(end)..end];
    if chosen.is_empty() || settings.columns == 0 {
        return Grid {
            rows: Vec::new(),
            fits: chosen.is_empty(),
        };
    }
    let mut layout = Layout {
        width: 1.0,
        // Columns are dear: groups stand as close as they may.
        spacing: Spacing {
            gracenotes: 0.4,
            air: 0.0,
            ..Spacing::default()
        },
        bars_in_a_system: Some(usize::MAX),
        clef: false,
        metre: bars.start == 0,
        bar_numbers: false,
        movement_names: settings.names,
        grace_names: settings.names,
        beat_numbers: settings.beat_numbers,
        note_names: settings.note_names,
    };
    let (least, natural) = super::lay::widths(chosen, score.metre, &layout);
    let room = settings.columns as f64 - 1.0;
    let scale = (room / least).clamp(FEWEST, COLUMNS);
    layout.width = (room / scale).clamp(least, (natural * WIDEST).max(least));
    let engraved = lay_out_bars(chosen, score.metre, &layout);
    let Some(system) = engraved.systems.first() else {
        return Grid {
            rows: Vec::new(),
            fits: false,
        };
    };
    let fits = (system.width * scale).round() as usize <= settings.columns;
    let mut page = Page {
        cells: BTreeMap::new(),
        scale,
        ascii: settings.signs == Signs::Ascii,
        last_column: (system.width * scale).round() as i32 - 1,
    };
    page.draw(system);
    Grid {
        rows: page.rows(settings),
        fits,
    }
}

/// Rows above the staff's lowest line that words stand in, once the music is drawn.
struct Page {
    /// (row above the lowest line in half spaces, column) to cell.
    cells: BTreeMap<(i32, i32), Cell>,
    scale: f64,
    ascii: bool,
    last_column: i32,
}

fn row(y: f64) -> i32 {
    (y * 2.0).round() as i32
}

impl Page {
    fn column(&self, x: f64) -> i32 {
        (x * self.scale).round() as i32
    }

    fn put(&mut self, row: i32, column: i32, symbol: char, style: Style, note: Option<NoteId>) {
        let symbol = if self.ascii { ascii(symbol) } else { symbol };
        self.cells.insert(
            (row, column),
            Cell {
                symbol,
                style,
                note,
            },
        );
    }

    /// As `put`, but never over a head.
    fn put_behind(
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

    /// As `write`, where it would neither cover another word nor touch one.
    fn write_beside(
        &mut self,
        row: i32,
        column: i32,
        text: &str,
        style: Style,
        note: Option<NoteId>,
    ) {
        let end = column + text.chars().count() as i32;
        let touches = (column - 1..=end).any(|column| {
            self.cells
                .get(&(row, column))
                .is_some_and(|cell| matches!(cell.style, Style::MovementName | Style::GraceName))
        });
        if !touches {
            self.write(row, column, text, style, note);
        }
    }

    fn draw(&mut self, system: &System) {
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
        for element in elements {
            self.draw_words(element, top, bottom);
        }
    }

    /// What stands where the layout has it: lines, metre, heads, dots.
    fn draw_fixed(&mut self, element: &Element) {
        let bounds = element.shape.bounds();
        let note = element.note;
        match (element.kind, &element.shape) {
            (Kind::BarLine, Shape::Bar { left, right, .. }) => {
                let column = self
                    .column(f64::midpoint(*left, *right))
                    .min(self.last_column);
                let sign = if right - left > 0.3 { '┃' } else { '│' };
                for row in 0..=8 {
                    self.put(row, column, sign, Style::BarLine, None);
                }
            }
            (Kind::RepeatDot, Shape::Glyph { x, y, .. }) => {
                self.put(row(*y), self.column(*x), '•', Style::BarLine, None);
            }
            (Kind::Metre, Shape::Glyph { glyph, x, y, .. }) => {
                let figure = (1..=9).find(|figure| Glyph::figure(*figure) == Some(*glyph));
                let sign = figure.and_then(|figure| char::from_digit(figure, 10));
                self.put(
                    row(*y),
                    self.column(*x),
                    sign.unwrap_or(' '),
                    Style::Metre,
                    None,
                );
            }
            (Kind::Ledger | Kind::GraceLedger, Shape::Bar { .. }) => {
                let y = row(f64::midpoint(bounds.bottom, bounds.top));
                let style = Style::Staff;
                for column in self.column(bounds.left)..=self.column(bounds.right) {
                    self.put_behind(y, column, '─', style, None);
                }
            }
            (Kind::Head, Shape::Glyph { glyph, x, y, .. }) => {
                let sign = match glyph {
                    Glyph::HeadBlack => '●',
                    Glyph::HeadHalf => '○',
                    _ => 'O',
                };
                self.put(row(*y), self.column(*x), sign, Style::Head, note);
            }
            (Kind::GraceHead, Shape::Glyph { x, y, .. }) => {
                self.put(row(*y), self.column(*x), '•', Style::GraceHead, note);
            }
            _ => {}
        }
    }

    /// Stems of two rows above the highest head, then flags or beams.
    fn draw_gracenotes(&mut self, elements: &[Element]) {
        let mut groups: BTreeMap<NoteId, Vec<(i32, i32, NoteId)>> = BTreeMap::new();
        for element in elements {
            if let (Kind::GraceHead, Some(id), Shape::Glyph { x, y, .. }) =
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

    /// Melody stems of four rows, flags as hooks at their ends, beams between them, dots and ties.
    fn draw_melody(&mut self, elements: &[Element]) {
        let head_of: BTreeMap<NoteId, (i32, i32)> = elements
            .iter()
            .filter_map(
                |element| match (element.kind, element.note, &element.shape) {
                    (Kind::Head, Some(id), Shape::Glyph { x, y, .. }) => {
                        Some((id, (row(*y), self.column(*x))))
                    }
                    _ => None,
                },
            )
            .collect();
        let beams = beams_of(elements);
        for element in elements {
            let Some(id) = element.note else { continue };
            let Some(&(head, column)) = head_of.get(&id) else {
                continue;
            };
            match element.kind {
                Kind::Stem => {
                    let joined = beams.iter().find(|beam| beam.notes.contains(&id));
                    let end = joined.map_or(head, |beam| {
                        beam.notes
                            .iter()
                            .filter_map(|note| head_of.get(note))
                            .map(|head| head.0)
                            .min()
                            .unwrap_or(head)
                    }) - 4;
                    for row in end..head {
                        self.put_behind(row, column, '┃', Style::Stem, Some(id));
                    }
                }
                Kind::Flag => {
                    let flags = match &element.shape {
                        Shape::Glyph { glyph, .. } => match glyph {
                            Glyph::FlagQuaverDown => 1,
                            Glyph::FlagSemiquaverDown => 2,
                            Glyph::FlagDemisemiquaverDown => 3,
                            _ => 4,
                        },
                        _ => 0,
                    };
                    for level in 0..flags {
                        let sign = if level == 0 { '┗' } else { '┣' };
                        self.put(head - 4 + level, column, sign, Style::Stem, Some(id));
                        self.put_behind(head - 4 + level, column + 1, '━', Style::Stem, Some(id));
                    }
                }
                Kind::Tie => {
                    let next = head_of
                        .values()
                        .filter(|other| other.1 > column)
                        .map(|other| other.1)
                        .min()
                        .unwrap_or(self.last_column);
                    for between in column + 1..next {
                        let sign = if between == column + 1 {
                            '╭'
                        } else if between + 1 == next {
                            '╮'
                        } else {
                            '─'
                        };
                        self.put_behind(head + 1, between, sign, Style::Tie, Some(id));
                    }
                }
                _ => {}
            }
        }
        self.draw_beams(elements, &beams, &head_of);
        for element in elements {
            if let (Kind::Dot, Some(id)) = (element.kind, element.note)
                && let Some(&(head, column)) = head_of.get(&id)
            {
                let free = (1..4).find(|step| {
                    self.cells
                        .get(&(head, column + step))
                        .is_none_or(|cell| cell.style != Style::Dot)
                });
                self.put(head, column + free.unwrap_or(1), '·', Style::Dot, Some(id));
            }
        }
    }

    fn draw_beams(
        &mut self,
        elements: &[Element],
        beams: &[Beam],
        head_of: &BTreeMap<NoteId, (i32, i32)>,
    ) {
        for beam in beams {
            let Some(lowest) = beam
                .notes
                .iter()
                .filter_map(|note| head_of.get(note))
                .map(|head| head.0)
                .min()
            else {
                continue;
            };
            let mine = |element: &&Element| {
                element.kind == Kind::Beam && element.note == beam.notes.first().copied()
            };
            for element in elements.iter().filter(mine) {
                let Shape::Slant { from, to, .. } = &element.shape else {
                    continue;
                };
                let level = beam.level(from.0, from.1);
                let row = lowest - 4 + level;
                let (left, right) = (
                    self.column(from.0),
                    self.column(to.0 - super::proportions::STEM),
                );
                for column in left..=right.max(left + 1) {
                    let stem = beam
                        .notes
                        .iter()
                        .find(|note| head_of.get(note).is_some_and(|head| head.1 == column));
                    let sign = match stem {
                        None => '━',
                        Some(_) if level > 0 => '╋',
                        Some(note) if Some(note) == beam.notes.first() => '┗',
                        Some(note) if Some(note) == beam.notes.last() => '┛',
                        Some(_) => '┻',
                    };
                    let owner = stem.copied().or(element.note);
                    self.put_behind(row, column, sign, Style::Stem, owner);
                }
            }
        }
    }

    fn draw_words(&mut self, element: &Element, top: i32, bottom: i32) {
        let Shape::Text { text, x, .. } = &element.shape else {
            return;
        };
        let half_head = Glyph::HeadBlack.outline().right / 2.0;
        let beats = i32::from(
            self.cells
                .values()
                .any(|cell| cell.style == Style::BeatNumber),
        );
        match element.kind {
            Kind::MovementName => {
                let column = self
                    .column(*x)
                    .min(self.last_column - text.chars().count() as i32)
                    .max(0);
                self.write_beside(top + 1, column, text, Style::MovementName, element.note);
            }
            Kind::GraceName => {
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
            Kind::BeatNumber => {
                let column = self.column(x - half_head);
                self.write(bottom - 1, column, text, Style::BeatNumber, element.note);
            }
            Kind::NoteName => {
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

    fn rows(&self, settings: &Settings) -> Vec<Vec<Cell>> {
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

/// Notes under one beam.
struct Beam {
    notes: Vec<NoteId>,
    /// Upper left corners of the lowest beam, by which the others' levels are counted.
    from: (f64, f64),
    slope: f64,
}

impl Beam {
    fn level(&self, x: f64, y: f64) -> i32 {
        let base = self.from.1 + self.slope * (x - self.from.0);
        ((y - base) / super::proportions::BEAM_STEP).round() as i32
    }
}

/// The lowest beam of each group, with the notes whose stems it joins.
fn beams_of(elements: &[Element]) -> Vec<Beam> {
    let mut beams: Vec<Beam> = Vec::new();
    for element in elements {
        let (Kind::Beam, Some(first), Shape::Slant { from, to, .. }) =
            (element.kind, element.note, &element.shape)
        else {
            continue;
        };
        if beams.iter().any(|beam| beam.notes.first() == Some(&first)) {
            continue;
        }
        let notes = elements
            .iter()
            .filter(|other| other.kind == Kind::Stem)
            .filter(|other| {
                let bounds = other.shape.bounds();
                bounds.left >= from.0 - 0.01 && bounds.left <= to.0
            })
            .filter_map(|other| other.note)
            .collect();
        beams.push(Beam {
            notes,
            from: *from,
            slope: (to.1 - from.1) / (to.0 - from.0).max(0.01),
        });
    }
    beams
}

/// The ASCII stand-in of a character we draw with.
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
        other if other.is_ascii() => other,
        _ => '?',
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{BUILT_IN, built_in, read};
    use crate::score::resolve_music;
    use crate::units::Beats;

    fn stage(name: &str, stage: usize) -> (Score, Music) {
        let drill = built_in(name).expect("built in");
        let drill = read(drill.text.as_bytes()).0.expect("reads");
        let music = drill.stages[stage].music.clone();
        let score = resolve_music(&music, Beats::ZERO, &drill.schools);
        (score, music)
    }

    fn text(grid: &Grid) -> String {
        grid.rows
            .iter()
            .map(|row| row.iter().map(|cell| cell.symbol).collect::<String>())
            .map(|row| row.trim_end().to_owned() + "\n")
            .collect()
    }

    /// Every note of the score must be found on the screen, or the cursor would vanish.
    #[test]
    fn every_note_and_gracenote_of_every_built_in_stage_has_a_head_at_eighty_columns() {
        for drill in BUILT_IN {
            let value = read(drill.text.as_bytes()).0.expect("reads");
            for (place, stage) in value.stages.iter().enumerate() {
                let score = resolve_music(&stage.music, Beats::ZERO, &value.schools);
                for bar in 0..stage.music.bars.len() {
                    let grid = draw(
                        &score,
                        Some(&stage.music),
                        bar..bar + 1,
                        &Settings::wide(80),
                    );
                    assert!(grid.fits, "{} stage {place} bar {bar}", drill.name);
                    let heads = |style| {
                        grid.rows
                            .iter()
                            .flatten()
                            .filter(|cell| cell.style == style)
                            .count()
                    };
                    let index = score
                        .bars
                        .iter()
                        .position(|b| b.written == bar)
                        .expect("played");
                    let notes: Vec<_> = score.notes.iter().filter(|n| n.bar == index).collect();
                    let graces: usize = notes.iter().map(|n| n.group.parts.len()).sum();
                    assert_eq!(
                        heads(Style::Head),
                        notes.len(),
                        "{}\n{}",
                        drill.name,
                        text(&grid)
                    );
                    assert_eq!(
                        heads(Style::GraceHead),
                        graces,
                        "{}\n{}",
                        drill.name,
                        text(&grid)
                    );
                    assert!(grid.rows.iter().all(|row| row.len() <= 80));
                }
            }
        }
    }

    #[test]
    fn ascii_is_ascii_and_nothing_panics_at_any_width() {
        let (score, music) = stage("taorluath", 1);
        for columns in 0..60 {
            let settings = Settings {
                signs: Signs::Ascii,
                ..Settings::wide(columns)
            };
            let grid = draw(&score, Some(&music), 0..9, &settings);
            assert!(text(&grid).is_ascii());
            assert!(grid.rows.iter().all(|row| row.len() <= columns));
        }
    }

    #[test]
    fn the_grip_from_d_reads_like_this() {
        let (score, music) = stage("grip-from-d", 3);
        let grid = draw(&score, Some(&music), 0..2, &Settings::wide(80));
        insta::assert_snapshot!(text(&grid));
        let (score, music) = stage("grip-from-d", 2);
        let grid = draw(&score, Some(&music), 0..2, &Settings::wide(80));
        insta::assert_snapshot!(text(&grid));
    }
}
