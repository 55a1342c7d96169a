//! The types of a finished layout.

use super::font::{Face, Glyph};
use crate::score::NoteId;

/// A stage or tune, laid out in systems of one width.
#[derive(Debug, Clone, PartialEq)]
pub struct Engraved {
    /// The width of every system, in staff spaces.
    pub width: f64,
    /// The systems from top to bottom; empty where there is no bar.
    pub systems: Vec<System>,
}

/// One line of music.
#[derive(Debug, Clone, PartialEq)]
pub struct System {
    /// The width of the staff in staff spaces. The last system may be shorter than the others.
    pub width: f64,
    /// The y of the highest ink.
    pub top: f64,
    /// The y of the lowest ink; mostly negative.
    pub bottom: f64,
    /// The bars, from left to right.
    pub bars: Vec<BarPlace>,
    /// Everything in the system, in drawing order.
    pub elements: Vec<Element>,
}

/// The place of a bar.
#[derive(Debug, Clone, PartialEq)]
pub struct BarPlace {
    /// The written number; a pickup is bar 0.
    pub number: u16,
    /// The index among the written bars, from 0.
    pub written: usize,
    /// The x of its left end, at the bar line before it.
    pub left: f64,
    /// The x of its right end, at its own bar line.
    pub right: f64,
    /// The counts of the bar: each count's number, from 1, and its x, which is the middle of a
    /// head.
    pub beats: Vec<(u32, f64)>,
}

/// A drawn element with its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// The note that the element belongs to, by the note's id the first time through; none where it
    /// belongs to no note. A beam belongs to its first note, a tie to the note it begins on.
    pub note: Option<NoteId>,
    /// The element's meaning.
    pub kind: ElementKind,
    /// The element's shape.
    pub shape: InkShape,
}

/// The meaning of an element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs, reason = "each is what its name says")]
pub enum ElementKind {
    StaffLine,
    Clef,
    Metre,
    /// The equation of two notes of equal length above a change of metre.
    EqualNotes,
    Ledger,
    Head,
    Stem,
    Flag,
    Beam,
    Dot,
    Tie,
    /// The figure of a tuplet or its bracket.
    Tuplet,
    GraceLedger,
    GraceHead,
    GraceStem,
    GraceFlag,
    GraceBeam,
    BarLine,
    RepeatDot,
    Ending,
    BarNumber,
    MovementName,
    /// The name of a separating gracenote, written above it.
    GraceName,
    BeatNumber,
    NoteName,
}

/// The alignment of a text relative to a given x.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// The text begins at x.
    Start,
    /// The text is centred on x.
    Middle,
    /// The text ends at x.
    End,
}

/// A shape in staff spaces.
#[derive(Debug, Clone, PartialEq)]
pub enum InkShape {
    /// A music glyph with its origin at `x`, `y`.
    Glyph {
        /// The glyph.
        glyph: Glyph,
        /// The x of the glyph's origin.
        x: f64,
        /// The y of the glyph's origin.
        y: f64,
        /// The scale; 1 for a melody note.
        scale: f64,
    },
    /// An upright rectangle, such as a staff line, a stem or a bar line.
    Bar {
        /// The x of its left edge.
        left: f64,
        /// The y of its lower edge.
        bottom: f64,
        /// The x of its right edge.
        right: f64,
        /// The y of its upper edge.
        top: f64,
    },
    /// A beam: a parallelogram with upright ends.
    Slant {
        /// The x and y of its upper left corner.
        from: (f64, f64),
        /// The x and y of its upper right corner.
        to: (f64, f64),
        /// The height of the upright ends.
        thick: f64,
    },
    /// A tie: a bow that curves upwards and is thickest in the middle.
    Bow {
        /// The x and y of its left end.
        from: (f64, f64),
        /// The x and y of its right end.
        to: (f64, f64),
        /// The height of the control points above the ends.
        rise: f64,
    },
    /// A text on a base line.
    Text {
        /// The text.
        text: String,
        /// The x that `align` refers to.
        x: f64,
        /// The y of the base line.
        y: f64,
        /// The font size: staff spaces in an em.
        size: f64,
        /// The face of the font.
        face: Face,
        /// How the text is aligned to `x`.
        align: Align,
    },
}

/// A box around ink, in staff spaces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// The x of its left edge.
    pub left: f64,
    /// The y of its lower edge.
    pub bottom: f64,
    /// The x of its right edge.
    pub right: f64,
    /// The y of its upper edge.
    pub top: f64,
}

impl InkShape {
    /// The box around the shape's ink. For a text it reaches from below its letters to above its
    /// capitals.
    pub fn bounds(&self) -> Bounds {
        match self {
            Self::Glyph { glyph, x, y, scale } => {
                let outline = glyph.outline();
                Bounds {
                    left: x + outline.left * scale,
                    bottom: y + outline.bottom * scale,
                    right: x + outline.right * scale,
                    top: y + outline.top * scale,
                }
            }
            Self::Bar {
                left,
                bottom,
                right,
                top,
            } => Bounds {
                left: *left,
                bottom: *bottom,
                right: *right,
                top: *top,
            },
            Self::Slant { from, to, thick } => Bounds {
                left: from.0,
                bottom: from.1.min(to.1) - thick,
                right: to.0,
                top: from.1.max(to.1),
            },
            Self::Bow { from, to, rise } => Bounds {
                left: from.0,
                bottom: from.1.min(to.1),
                right: to.0,
                // a cubic curve with both control points at the same height reaches three quarters
                // of that height
                top: from.1.max(to.1) + rise * 0.75 + 0.1,
            },
            Self::Text {
                text,
                x,
                y,
                size,
                face,
                align,
            } => {
                let width = face.width(text, *size);
                let left = match align {
                    Align::Start => *x,
                    Align::Middle => x - width / 2.0,
                    Align::End => x - width,
                };
                Bounds {
                    left,
                    bottom: y - size * 0.22,
                    right: left + width,
                    top: y + size * 0.66,
                }
            }
        }
    }
}

/// A glyph at scale 1 that belongs to no note.
pub(super) fn glyph(kind: ElementKind, glyph: Glyph, x: f64, y: f64) -> Element {
    Element {
        note: None,
        kind,
        shape: InkShape::Glyph {
            glyph,
            x,
            y,
            scale: 1.0,
        },
    }
}

/// A text in its place, with its size, face and alignment, and the note it belongs to, if any.
pub(super) fn words(
    kind: ElementKind,
    note: Option<NoteId>,
    text: &str,
    at: (f64, f64),
    set: (f64, Face, Align),
) -> Element {
    Element {
        note,
        kind,
        shape: InkShape::Text {
            text: text.to_owned(),
            x: at.0,
            y: at.1,
            size: set.0,
            face: set.1,
            align: set.2,
        },
    }
}

/// The y of the highest ink between two x, at least that of the staff's top line.
pub(super) fn ceiling(elements: &[Element], left: f64, right: f64) -> f64 {
    elements
        .iter()
        .map(|element| element.shape.bounds())
        .filter(|bounds| bounds.left < right && bounds.right > left)
        .map(|bounds| bounds.top)
        .fold(4.0, f64::max)
}
