//! Draws stems, flags, beams, dots, ties and tuplets of melody notes.

use super::cells::Style;
use super::page::{Page, row};
use crate::engraving::font::Glyph;
use crate::engraving::placed::{Element, ElementKind, InkShape};
use crate::engraving::proportions;
use crate::score::NoteId;

/// A head of the melody. The elements of a head lie between its left edge and the next head. They
/// are found by their place and not by their note, because a note may have several heads.
#[derive(Debug, Clone, Copy)]
struct Head {
    x: f64,
    row: i32,
    column: i32,
    id: NoteId,
}

/// The index of the head that an element at `x` belongs to.
fn head_at(heads: &[Head], x: f64) -> Option<usize> {
    heads
        .partition_point(|head| head.x <= x + 0.05)
        .checked_sub(1)
}

/// The heads of the melody from left to right. `column` gives the column of an x.
fn heads_of(elements: &[Element], column: impl Fn(f64) -> i32) -> Vec<Head> {
    let mut heads: Vec<Head> = elements
        .iter()
        .filter_map(
            |element| match (element.kind, element.note, &element.shape) {
                (ElementKind::Head, Some(id), InkShape::Glyph { x, y, .. }) => Some(Head {
                    x: *x,
                    row: row(*y),
                    column: column(*x),
                    id,
                }),
                _ => None,
            },
        )
        .collect();
    heads.sort_by(|a, b| a.x.total_cmp(&b.x));
    heads
}

impl Page {
    /// Draws the melody: stems of four rows, flags as hooks at their ends, beams between stems,
    /// dots and ties.
    pub(super) fn draw_melody(&mut self, elements: &[Element]) {
        let heads = heads_of(elements, |x| self.column(x));
        let beams = beams_of(elements, &heads);
        for element in elements {
            match element.kind {
                ElementKind::Stem => self.draw_stem(element, &beams, &heads),
                ElementKind::Flag => self.draw_flags(element, &heads),
                ElementKind::Tie => self.draw_tie(element, &heads),
                _ => {}
            }
        }
        self.draw_beams(elements, &beams, &heads);
        let dots = elements
            .iter()
            .filter(|element| element.kind == ElementKind::Dot);
        for dot in dots {
            self.draw_dot(dot, &heads);
        }
        self.draw_tuplets(elements);
    }

    fn draw_stem(&mut self, element: &Element, beams: &[Beam], heads: &[Head]) {
        let Some(at) = head_at(heads, element.shape.bounds().left) else {
            return;
        };
        let head = heads[at];
        let joined = beams.iter().find(|beam| beam.heads.contains(&at));
        let end = joined.map_or(head.row, |beam| beam.lowest(heads)) - 4;
        for row in end..head.row {
            self.put_behind(row, head.column, '┃', Style::Stem, Some(head.id));
        }
    }

    fn draw_flags(&mut self, element: &Element, heads: &[Head]) {
        let InkShape::Glyph { glyph, x, .. } = &element.shape else {
            return;
        };
        let Some(at) = head_at(heads, *x) else {
            return;
        };
        let Head {
            row, column, id, ..
        } = heads[at];
        let flags = match glyph {
            Glyph::FlagQuaverDown => 1,
            Glyph::FlagSemiquaverDown => 2,
            Glyph::FlagDemisemiquaverDown => 3,
            _ => 4,
        };
        for level in 0..flags {
            let sign = if level == 0 { '┗' } else { '┣' };
            self.put(row - 4 + level, column, sign, Style::Stem, Some(id));
            self.put_behind(row - 4 + level, column + 1, '━', Style::Stem, Some(id));
        }
    }

    fn draw_tie(&mut self, element: &Element, heads: &[Head]) {
        let Some(at) = head_at(heads, element.shape.bounds().left) else {
            return;
        };
        let head = heads[at];
        let next = heads
            .get(at + 1)
            .map_or(self.last_column, |next| next.column);
        for between in head.column + 1..next {
            let sign = if between == head.column + 1 {
                '╭'
            } else if between + 1 == next {
                '╮'
            } else {
                '─'
            };
            self.put_behind(head.row + 1, between, sign, Style::Tie, Some(head.id));
        }
    }

    fn draw_dot(&mut self, element: &Element, heads: &[Head]) {
        let Some(at) = head_at(heads, element.shape.bounds().left) else {
            return;
        };
        let head = heads[at];
        let free = (1..4).find(|step| {
            self.cells
                .get(&(head.row, head.column + step))
                .is_none_or(|cell| cell.style != Style::Dot)
        });
        let column = head.column + free.unwrap_or(1);
        self.put(head.row, column, '·', Style::Dot, Some(head.id));
    }

    fn draw_beams(&mut self, elements: &[Element], beams: &[Beam], heads: &[Head]) {
        for element in elements {
            let (ElementKind::Beam, InkShape::Slant { from, to, .. }) =
                (element.kind, &element.shape)
            else {
                continue;
            };
            let Some(beam) = beams
                .iter()
                .find(|beam| from.0 >= beam.from.0 - 0.01 && from.0 <= beam.end)
            else {
                continue;
            };
            let level = beam.level(from.0, from.1);
            let row = beam.lowest(heads) - 4 + level;
            let (left, right) = (self.column(from.0), self.column(to.0 - proportions::STEM));
            for column in left..=right.max(left + 1) {
                let stem = beam
                    .heads
                    .clone()
                    .find(|head| heads[*head].column == column);
                let sign = match stem {
                    None => '━',
                    Some(_) if level > 0 => '╋',
                    Some(head) if head == beam.heads.start => '┗',
                    Some(head) if head + 1 == beam.heads.end => '┛',
                    Some(_) => '┻',
                };
                let owner = stem.map(|head| heads[head].id).or(element.note);
                self.put_behind(row, column, sign, Style::Stem, owner);
            }
        }
    }

    /// Draws each tuplet's figure, either within the beam that joins exactly its notes, or between
    /// the ends of its bracket below the stems.
    fn draw_tuplets(&mut self, elements: &[Element]) {
        for (place, element) in elements.iter().enumerate() {
            let (ElementKind::Tuplet, InkShape::Text { text, x, .. }) =
                (element.kind, &element.shape)
            else {
                continue;
            };
            // the elements of a bracket follow their figure
            let bracket = elements[place + 1..]
                .iter()
                .take_while(|part| {
                    part.kind == ElementKind::Tuplet && !matches!(part.shape, InkShape::Text { .. })
                })
                .map(|part| part.shape.bounds())
                .map(|bounds| (bounds.left, bounds.right))
                .reduce(|all, part| (all.0.min(part.0), all.1.max(part.1)));
            let middle = self.column(*x);
            match bracket {
                Some((left, right)) => {
                    let (left, right) = (self.column(left), self.column(right) - 1);
                    let row = self.lowest_stem(left, right).min(0) - 1;
                    for column in left..=right {
                        let sign = match column {
                            _ if column == left => '└',
                            _ if column == right => '┘',
                            _ => '─',
                        };
                        self.put(row, column, sign, Style::Tuplet, element.note);
                    }
                    self.figure(row, middle, text, element.note);
                }
                None => {
                    let row = self.lowest_stem(middle - 1, middle + 1);
                    let wide = text.chars().count() as i32;
                    let beam = |column: i32| {
                        let cell = self.cells.get(&(row, column));
                        cell.is_some_and(|cell| cell.symbol == '━')
                    };
                    // where a stem occupies the middle of the beam, the figure is placed beside it
                    let free = [0, 1, -1, 2, -2]
                        .into_iter()
                        .map(|step| middle + step)
                        .find(|from| (*from..from + wide).all(beam));
                    match free {
                        Some(column) => self.figure(row, column, text, element.note),
                        None => self.figure(row - 1, middle, text, element.note),
                    }
                }
            }
        }
    }

    fn figure(&mut self, row: i32, column: i32, text: &str, note: Option<NoteId>) {
        for (place, sign) in text.chars().enumerate() {
            self.put(row, column + place as i32, sign, Style::Tuplet, note);
        }
    }

    /// The lowest row that a stem or a beam occupies between two columns.
    fn lowest_stem(&self, left: i32, right: i32) -> i32 {
        self.cells
            .iter()
            .filter(|((_, column), cell)| {
                (left..=right).contains(column) && cell.style == Style::Stem
            })
            .map(|((row, _), _)| *row)
            .min()
            .unwrap_or(0)
    }
}

/// Notes under one beam.
struct Beam {
    /// The indices of the heads under the beam.
    heads: std::ops::Range<usize>,
    /// The upper left corner of the lowest beam. The levels of other beams are counted from it.
    from: (f64, f64),
    /// The x of the right end of the lowest beam.
    end: f64,
    slope: f64,
}

impl Beam {
    fn level(&self, x: f64, y: f64) -> i32 {
        let base = self.from.1 + self.slope * (x - self.from.0);
        ((y - base) / proportions::BEAM_STEP).round() as i32
    }

    fn lowest(&self, heads: &[Head]) -> i32 {
        let rows = heads[self.heads.clone()].iter().map(|head| head.row);
        rows.min().unwrap_or(0)
    }
}

/// The lowest beam of each group, with the heads that it joins.
fn beams_of(elements: &[Element], heads: &[Head]) -> Vec<Beam> {
    let mut beams: Vec<Beam> = Vec::new();
    for element in elements {
        let (ElementKind::Beam, InkShape::Slant { from, to, .. }) = (element.kind, &element.shape)
        else {
            continue;
        };
        // the lowest beam is drawn first and is the longest
        if beams
            .iter()
            .any(|beam| from.0 >= beam.from.0 - 0.01 && from.0 <= beam.end)
        {
            continue;
        }
        let first = heads.partition_point(|head| head.x < from.0 - 0.3);
        let end = heads.partition_point(|head| head.x <= to.0 - proportions::STEM + 0.05);
        beams.push(Beam {
            heads: first..end.max(first),
            from: *from,
            end: to.0,
            slope: (to.1 - from.1) / (to.0 - from.0).max(0.01),
        });
    }
    beams
}
