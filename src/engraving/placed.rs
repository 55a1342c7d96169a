//! The values that a layout is made of.

use super::font::{Face, Glyph};
use crate::score::NoteId;

/// A stage or tune laid out in systems of one width.
#[derive(Debug, Clone, PartialEq)]
pub struct Engraved {
    /// Width of every system, staff spaces.
    pub width: f64,
    /// From top to bottom; none where there is no bar.
    pub systems: Vec<System>,
}

/// One line of music.
#[derive(Debug, Clone, PartialEq)]
pub struct System {
    /// Width of its staff; the last may be shorter than the others.
    pub width: f64,
    /// Highest ink above the staff's lowest line.
    pub top: f64,
    /// Lowest ink, mostly negative.
    pub bottom: f64,
    /// Its bars, left to right.
    pub bars: Vec<BarPlace>,
    /// Everything in it, in the order it is drawn.
    pub elements: Vec<Element>,
}

/// Where a bar stands.
#[derive(Debug, Clone, PartialEq)]
pub struct BarPlace {
    /// Written number; a pickup is 0.
    pub number: u16,
    /// Its index among the written bars.
    pub written: usize,
    /// Left end, at the bar line before it.
    pub left: f64,
    /// Right end, at its own bar line.
    pub right: f64,
    /// Its beats: the number as counted, from 1, and the x at which it stands, the middle of a
    /// head.
    pub beats: Vec<(u32, f64)>,
}

/// Something that is drawn, in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// The note it belongs to, by its id the first time through; none for what belongs to no note.
    /// A beam belongs to its first note, a tie to the note it begins on.
    pub note: Option<NoteId>,
    /// What it stands for.
    pub kind: ElementKind,
    /// What it looks like.
    pub shape: InkShape,
}

/// What an element stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[allow(missing_docs, reason = "each is what its name says")]
pub enum ElementKind {
    StaffLine,
    Clef,
    Metre,
    /// Above a change of metre: the two notes that last equally long.
    EqualNotes,
    Ledger,
    Head,
    Stem,
    Flag,
    Beam,
    Dot,
    Tie,
    /// The figure of a tuplet, and its bracket.
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
    /// The name of a separating gracenote, above it.
    GraceName,
    BeatNumber,
    NoteName,
}

/// How a text stands to its x.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// It begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

/// A shape in staff spaces.
#[derive(Debug, Clone, PartialEq)]
pub enum InkShape {
    /// A music glyph with its origin at `x`, `y`.
    Glyph {
        /// Which glyph.
        glyph: Glyph,
        /// Origin.
        x: f64,
        /// Origin.
        y: f64,
        /// Its scale, 1 for a melody note.
        scale: f64,
    },
    /// An upright rectangle: a line of the staff, a stem, a bar line.
    Bar {
        /// Left edge.
        left: f64,
        /// Lower edge.
        bottom: f64,
        /// Right edge.
        right: f64,
        /// Upper edge.
        top: f64,
    },
    /// A beam: its left and right ends run upright, its upper edge from one to the other.
    Slant {
        /// Upper left corner.
        from: (f64, f64),
        /// Upper right corner.
        to: (f64, f64),
        /// Height of its ends.
        thick: f64,
    },
    /// A tie, bowed upwards, thickest in the middle.
    Bow {
        /// Left end.
        from: (f64, f64),
        /// Right end.
        to: (f64, f64),
        /// Rise of its control points above the ends.
        rise: f64,
    },
    /// Words on a base line.
    Text {
        /// The words.
        text: String,
        /// See `align`.
        x: f64,
        /// Base line.
        y: f64,
        /// Staff spaces an em.
        size: f64,
        /// Face.
        face: Face,
        /// How it stands from `x`.
        align: Align,
    },
}

/// A box around ink.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// Left edge.
    pub left: f64,
    /// Lower edge.
    pub bottom: f64,
    /// Right edge.
    pub right: f64,
    /// Upper edge.
    pub top: f64,
}

impl InkShape {
    /// The box around its ink; of a text, from below its letters to above its capitals.
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
                // a cubic curve reaches three quarters of the way to its control points
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

/// Words at a place: their size, face and which part of them stands there.
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

/// Height of the highest ink between two x, at least that of the staff's uppermost line.
pub(super) fn ceiling(elements: &[Element], left: f64, right: f64) -> f64 {
    elements
        .iter()
        .map(|element| element.shape.bounds())
        .filter(|bounds| bounds.left < right && bounds.right > left)
        .map(|bounds| bounds.top)
        .fold(4.0, f64::max)
}
