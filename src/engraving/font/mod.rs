//! The two fonts of our sheets: a table of outlines for the music glyphs, and a text font.
//!
//! This module knows shapes and widths, and the names of note values. `generate.py` made its data
//! from fonts under the SIL Open Font License; the licences are in this folder.

mod outlines;
mod text;

use crate::rhythm::NoteValue;
use std::sync::OnceLock;

pub use outlines::Glyph;
pub use text::{Face, lacking, outline_text, shown};

/// The name and licence of each font that ours were made from. Both are under the SIL Open Font
/// License 1.1.
pub const FONT_LICENCES: [(&str, &str); 2] = [
    ("Music glyphs on sheets", include_str!("LICENSE-music.txt")),
    ("Letters on sheets", include_str!("LICENSE-text.txt")),
];

/// The measures of a glyph, in staff spaces from its origin, with y pointing up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outline {
    /// Left edge of the ink.
    pub left: f64,
    /// Lower edge of the ink.
    pub bottom: f64,
    /// Right edge of the ink.
    pub right: f64,
    /// Upper edge of the ink.
    pub top: f64,
    /// The distance from this glyph's origin to the next one's.
    pub advance: f64,
    /// The points where stems meet the glyph. For a head they are the right edge of an upward stem
    /// and the left edge of a downward stem. For a flag the first point is the end of its stem.
    pub stems: [(f64, f64); 2],
    /// The outline as the data of an SVG path (`M L H V C Z`, absolute), with y pointing up.
    path: &'static str,
}

/// A segment of an outline, in absolute coordinates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Segment {
    /// Begin a new outline at this point.
    Move((f64, f64)),
    /// A straight line to this point.
    Line((f64, f64)),
    /// A cubic Bézier curve: two control points and the end point.
    Curve((f64, f64), (f64, f64), (f64, f64)),
    /// A straight line back to the beginning of the outline.
    Close,
}

impl Glyph {
    /// The glyph's measures.
    pub fn outline(self) -> &'static Outline {
        &outlines::OUTLINES[self as usize]
    }

    /// The glyph's outline, in staff spaces from its origin, with y pointing up. It is parsed once
    /// and kept, because a sheet draws it often.
    pub fn segments(self) -> &'static [Segment] {
        static READ: [OnceLock<Vec<Segment>>; Glyph::ALL.len()] =
            [const { OnceLock::new() }; Glyph::ALL.len()];
        READ[self as usize].get_or_init(|| read_path(self.outline().path))
    }

    /// The glyph of a note value for use in a line of text.
    pub fn beat(value: NoteValue) -> Self {
        match value {
            NoteValue::Semibreve => Self::BeatSemibreve,
            NoteValue::Minim => Self::BeatMinim,
            NoteValue::Crotchet => Self::BeatCrotchet,
            NoteValue::Quaver => Self::BeatQuaver,
            _ => Self::BeatSemiquaver,
        }
    }

    /// The glyph of a figure of a metre, from 0 to 9; none for any other number.
    pub fn figure(figure: u32) -> Option<Self> {
        Some(match figure {
            0 => Self::FigureNought,
            1 => Self::FigureOne,
            2 => Self::FigureTwo,
            3 => Self::FigureThree,
            4 => Self::FigureFour,
            5 => Self::FigureFive,
            6 => Self::FigureSix,
            7 => Self::FigureSeven,
            8 => Self::FigureEight,
            9 => Self::FigureNine,
            _ => return None,
        })
    }
}

/// Parses the paths of our own table, with the commands and numbers that `generate.py` writes.
fn read_path(path: &str) -> Vec<Segment> {
    let mut segments = Vec::new();
    let mut here = (0.0, 0.0);
    let mut rest = path;
    while let Some(letter) = rest.chars().next() {
        let body = &rest[letter.len_utf8()..];
        let end = body
            .find(|sign: char| sign.is_ascii_alphabetic())
            .unwrap_or(body.len());
        let numbers: Vec<f64> = body[..end]
            .replace('-', " -")
            .split([' ', ','])
            .filter(|word| !word.is_empty())
            .filter_map(|word| word.parse().ok())
            .collect();
        rest = &body[end..];
        match letter {
            'M' | 'L' => {
                for (place, pair) in numbers.chunks_exact(2).enumerate() {
                    here = (pair[0], pair[1]);
                    segments.push(if letter == 'M' && place == 0 {
                        Segment::Move(here)
                    } else {
                        Segment::Line(here)
                    });
                }
            }
            'H' => {
                for x in numbers {
                    here.0 = x;
                    segments.push(Segment::Line(here));
                }
            }
            'V' => {
                for y in numbers {
                    here.1 = y;
                    segments.push(Segment::Line(here));
                }
            }
            'C' => {
                for six in numbers.chunks_exact(6) {
                    here = (six[4], six[5]);
                    segments.push(Segment::Curve((six[0], six[1]), (six[2], six[3]), here));
                }
            }
            _ => segments.push(Segment::Close),
        }
    }
    segments
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A path command that the parser skipped would leave a hole in a glyph.
    #[test]
    fn every_outline_fills_exactly_its_box() {
        for glyph in Glyph::ALL {
            let outline = glyph.outline();
            let mut points = Vec::new();
            for segment in glyph.segments() {
                match segment {
                    Segment::Move(point) | Segment::Line(point) | Segment::Curve(_, _, point) => {
                        points.push(point);
                    }
                    Segment::Close => {}
                }
            }
            let left = points.iter().map(|p| p.0).fold(f64::MAX, f64::min);
            let top = points.iter().map(|p| p.1).fold(f64::MIN, f64::max);
            assert!((left - outline.left).abs() < 0.02, "{glyph:?} left {left}");
            assert!((top - outline.top).abs() < 0.02, "{glyph:?} top {top}");
        }
    }

    /// SMuFL 1.4: a staff space is a quarter of an em and a black head fills one space.
    #[test]
    fn a_head_fills_one_staff_space() {
        let head = Glyph::HeadBlack.outline();
        assert!((head.top - head.bottom - 1.0).abs() < 0.01);
        assert_eq!(head.stems[0], (1.18, 0.168));
    }
}
