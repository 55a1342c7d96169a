//! Pages as blocks of ink. Lengths are in points (1/72 inch), from the top left corner, with y
//! pointing down.

use crate::engraving::font::{Face, Glyph, Segment, lacking};
use crate::engraving::{Align, InkShape, System};

/// A paper size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// ISO 216 A4: 210 × 297 mm.
    #[default]
    A4,
    /// US Letter: 8.5 × 11 inches.
    Letter,
}

impl Paper {
    /// The width and height in points.
    pub fn size(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0 * 72.0 / 25.4, 297.0 * 72.0 / 25.4),
            Self::Letter => (612.0, 792.0),
        }
    }
}

/// Pages with a title.
#[derive(Debug, Clone, PartialEq)]
pub struct Booklet {
    /// The title of the whole.
    pub title: String,
    /// The paper size.
    pub paper: Paper,
    /// The pages, at least one.
    pub pages: Vec<SheetPage>,
}

impl Booklet {
    /// The characters that the font of sheets does not have, each once. On paper `?` replaces them.
    pub fn lacking(&self) -> Vec<char> {
        let mut words = String::new();
        let blocks = self.pages.iter().flat_map(|page| &page.blocks);
        for block in blocks {
            let cells = block.rows.iter().flatten().flat_map(|cell| &cell.ink);
            for ink in block.ink.iter().chain(cells) {
                if let Ink::Text { text, .. } = ink {
                    words.push_str(text);
                }
            }
        }
        lacking(&words)
    }
}

/// One page.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SheetPage {
    /// The blocks in reading order.
    pub blocks: Vec<Block>,
}

/// A block of things that belong together, for a screen reader.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// The block's role.
    pub role: TagRole,
    /// The block's ink; for a table, the ink outside its cells.
    pub ink: Vec<Ink>,
    /// The rows of a table; empty for any other block.
    pub rows: Vec<Vec<TableCell>>,
}

/// The role of a block.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TagRole {
    /// A heading: its level from 1, and its text.
    Heading(u16, String),
    /// Running text.
    Paragraph,
    /// Music or a chart, with its content in words.
    Figure(String),
    /// A table, with its purpose in words.
    Table(String),
    /// Page furniture, which is not read aloud.
    Furniture,
}

/// A cell of a table.
#[derive(Debug, Clone, PartialEq)]
pub struct TableCell {
    /// Whether the cell is a heading of its row or column.
    pub heading: Option<Heading>,
    /// The ink in the cell.
    pub ink: Vec<Ink>,
}

/// What a heading cell is the heading of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heading {
    /// The cell is the heading of the column below.
    Column,
    /// The cell is the heading of the row beside.
    Row,
}

/// Ink: black on white.
#[derive(Debug, Clone, PartialEq)]
pub enum Ink {
    /// A music glyph with its origin at `x`, `y`, where one staff space is `space` points.
    Glyph {
        /// The glyph.
        glyph: Glyph,
        /// The x of the origin.
        x: f64,
        /// The y of the origin.
        y: f64,
        /// Points in a staff space.
        space: f64,
    },
    /// A filled outline.
    Fill(Vec<Segment>),
    /// A text that begins at `x` on a base line.
    Text {
        /// The text.
        text: String,
        /// The x of the text's left end.
        x: f64,
        /// The y of the text's base line.
        y: f64,
        /// The font size: points in an em.
        size: f64,
        /// The face of the font.
        face: Face,
    },
}

impl Ink {
    /// A text with its left end at `x`.
    pub(super) fn words(text: &str, x: f64, y: f64, size: f64, face: Face) -> Self {
        Self::Text {
            text: text.to_owned(),
            x,
            y,
            size,
            face,
        }
    }

    /// A text centred on `x`.
    pub(super) fn centred(text: &str, x: f64, y: f64, size: f64, face: Face) -> Self {
        Self::words(text, x - face.width(text, size) / 2.0, y, size, face)
    }

    /// A filled rectangle.
    pub(super) fn rectangle(left: f64, top: f64, right: f64, bottom: f64) -> Self {
        Self::Fill(vec![
            Segment::Move((left, top)),
            Segment::Line((right, top)),
            Segment::Line((right, bottom)),
            Segment::Line((left, bottom)),
            Segment::Close,
        ])
    }

    /// The frame of a rectangle, with an edge of this thickness in points inside it.
    pub(super) fn frame(left: f64, top: f64, right: f64, bottom: f64, edge: f64) -> Self {
        // the inner edge runs the other way round, so that the inside is not filled
        Self::Fill(vec![
            Segment::Move((left, top)),
            Segment::Line((right, top)),
            Segment::Line((right, bottom)),
            Segment::Line((left, bottom)),
            Segment::Close,
            Segment::Move((left + edge, top + edge)),
            Segment::Line((left + edge, bottom - edge)),
            Segment::Line((right - edge, bottom - edge)),
            Segment::Line((right - edge, top + edge)),
            Segment::Close,
        ])
    }
}

/// The ink of a system, where the left end of the staff's lowest line is at `x`, `y`.
pub(super) fn system_ink(system: &System, x: f64, y: f64, space: f64) -> Vec<Ink> {
    system
        .elements
        .iter()
        .map(|element| shape_ink(&element.shape, x, y, space))
        .collect()
}

/// The ink of one shape of a layout.
pub(super) fn shape_ink(shape: &InkShape, x: f64, y: f64, space: f64) -> Ink {
    let at = |point: (f64, f64)| (x + point.0 * space, y - point.1 * space);
    match shape {
        InkShape::Glyph { glyph, x, y, scale } => {
            let origin = at((*x, *y));
            Ink::Glyph {
                glyph: *glyph,
                x: origin.0,
                y: origin.1,
                space: space * scale,
            }
        }
        InkShape::Bar {
            left,
            bottom,
            right,
            top,
        } => {
            let (upper, lower) = (at((*left, *top)), at((*right, *bottom)));
            Ink::rectangle(upper.0, upper.1, lower.0, lower.1)
        }
        InkShape::Slant { from, to, thick } => Ink::Fill(vec![
            Segment::Move(at(*from)),
            Segment::Line(at(*to)),
            Segment::Line(at((to.0, to.1 - thick))),
            Segment::Line(at((from.0, from.1 - thick))),
            Segment::Close,
        ]),
        InkShape::Bow { from, to, rise } => {
            const THICK: f64 = 0.22;
            let quarter = (to.0 - from.0) / 4.0;
            let up = |rise: f64| {
                (
                    at((from.0 + quarter, from.1 + rise)),
                    at((to.0 - quarter, to.1 + rise)),
                )
            };
            let (outer, inner) = (up(rise + THICK), up(*rise));
            Ink::Fill(vec![
                Segment::Move(at(*from)),
                Segment::Curve(outer.0, outer.1, at(*to)),
                Segment::Curve(inner.1, inner.0, at(*from)),
                Segment::Close,
            ])
        }
        InkShape::Text {
            text,
            x,
            y,
            size,
            face,
            align,
        } => {
            let size = size * space;
            let width = face.width(text, size);
            let origin = at((*x, *y));
            let left = match align {
                Align::Start => origin.0,
                Align::Middle => origin.0 - width / 2.0,
                Align::End => origin.0 - width,
            };
            Ink::words(text, left, origin.1, size, *face)
        }
    }
}

/// The segments of an outline in place. `scale` is points in the outline's unit, and y is turned
/// from up to down.
pub(super) fn placed(segments: &[Segment], x: f64, y: f64, scale: f64) -> Vec<Segment> {
    let at = |point: (f64, f64)| (x + point.0 * scale, y - point.1 * scale);
    segments
        .iter()
        .map(|segment| match segment {
            Segment::Move(point) => Segment::Move(at(*point)),
            Segment::Line(point) => Segment::Line(at(*point)),
            Segment::Curve(a, b, point) => Segment::Curve(at(*a), at(*b), at(*point)),
            Segment::Close => Segment::Close,
        })
        .collect()
}
