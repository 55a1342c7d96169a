//! The text font in three faces: widths, outlines and the font files.

use super::Segment;
use std::collections::BTreeMap;
use std::sync::OnceLock;
use ttf_parser::{GlyphId, OutlineBuilder};

/// A face of the text font.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Face {
    /// Upright, for ordinary text.
    Regular,
    /// Bold, for headings.
    Bold,
    /// Italic, for names of movements and remarks.
    Italic,
}

/// The character that is shown for one that the font does not have.
const STAND_IN: char = '?';

impl Face {
    /// Every face.
    pub const ALL: [Self; 3] = [Self::Regular, Self::Bold, Self::Italic];

    /// The TrueType font file.
    pub fn file(self) -> &'static [u8] {
        match self {
            Self::Regular => include_bytes!("slipway-text-regular.ttf"),
            Self::Bold => include_bytes!("slipway-text-bold.ttf"),
            Self::Italic => include_bytes!("slipway-text-italic.ttf"),
        }
    }

    fn font(self) -> Option<ttf_parser::Face<'static>> {
        ttf_parser::Face::parse(self.file(), 0).ok()
    }

    /// The parsed font of the face. It is parsed once, because a sheet asks for widths thousands of
    /// times.
    fn letters(self) -> &'static Letters {
        static READ: [OnceLock<Letters>; 3] = [const { OnceLock::new() }; 3];
        READ[self as usize].get_or_init(|| {
            self.font()
                .map(|font| Letters::of(&font))
                .unwrap_or_default()
        })
    }

    /// The glyphs of a text, each as its number in the font file, its advance as a share of an em,
    /// and the range of bytes of the text that it stands for. A character that the font does not
    /// have becomes `?`.
    pub fn run(self, text: &str) -> Vec<(u32, f64, std::ops::Range<usize>)> {
        let letters = self.letters();
        text.char_indices()
            .map(|(at, sign)| {
                let (glyph, advance) = letters.shown(sign);
                (u32::from(glyph), advance, at..at + sign.len_utf8())
            })
            .collect()
    }

    /// The width of a text at font size `size`, in the unit of `size`.
    pub fn width(self, text: &str, size: f64) -> f64 {
        let letters = self.letters();
        text.chars().map(|sign| letters.shown(sign).1).sum::<f64>() * size
    }
}

/// The parsed data of a face.
#[derive(Default)]
struct Letters {
    /// The glyph number and the advance as a share of an em, for each character.
    glyphs: BTreeMap<char, (u16, f64)>,
    /// The number of font units in an em.
    em: f64,
    /// The outlines by glyph number, as shares of an em. Each is parsed when it is first drawn.
    outlines: Vec<OnceLock<Vec<Segment>>>,
}

impl Letters {
    fn of(font: &ttf_parser::Face) -> Self {
        let em = f64::from(font.units_per_em());
        let mut glyphs = BTreeMap::new();
        let tables = font.tables().cmap.into_iter().flat_map(|all| all.subtables);
        for table in tables.filter(ttf_parser::cmap::Subtable::is_unicode) {
            table.codepoints(|code| {
                if let (Some(sign), Some(glyph)) = (char::from_u32(code), table.glyph_index(code)) {
                    let advance = font.glyph_hor_advance(glyph).unwrap_or(0);
                    glyphs.insert(sign, (glyph.0, f64::from(advance) / em));
                }
            });
        }
        let outlines = (0..font.number_of_glyphs()).map(|_| OnceLock::new());
        Self {
            glyphs,
            em,
            outlines: outlines.collect(),
        }
    }

    fn has(&self, sign: char) -> bool {
        self.glyphs.contains_key(&sign)
    }

    /// The number and advance of the glyph that is shown for a character.
    fn shown(&self, sign: char) -> (u16, f64) {
        let seen = self
            .glyphs
            .get(&sign)
            .or_else(|| self.glyphs.get(&STAND_IN));
        seen.copied().unwrap_or_default()
    }
}

/// A text as it is shown: with `?` for each character that the font does not have.
pub fn shown(text: &str) -> String {
    let letters = Face::Regular.letters();
    text.chars()
        .map(|sign| if letters.has(sign) { sign } else { STAND_IN })
        .collect()
}

/// The characters of a text that the font does not have, each once.
pub fn lacking(text: &str) -> Vec<char> {
    let letters = Face::Regular.letters();
    let mut lacking = Vec::new();
    for sign in text.chars() {
        if !letters.has(sign) && !lacking.contains(&sign) {
            lacking.push(sign);
        }
    }
    lacking
}

/// The outlines of a text as shares of an em, from the beginning of its base line, with y pointing
/// up.
pub fn outline_text(face: Face, text: &str) -> Vec<Segment> {
    let letters = face.letters();
    let mut segments = Vec::new();
    let mut at = 0.0;
    for sign in text.chars() {
        let (glyph, advance) = letters.shown(sign);
        if let Some(read) = letters.outlines.get(usize::from(glyph)) {
            let moved = |point: (f64, f64)| (at + point.0, point.1);
            let outline = read.get_or_init(|| outline_glyph(face, glyph, letters.em));
            segments.extend(outline.iter().map(|segment| match segment {
                Segment::Move(point) => Segment::Move(moved(*point)),
                Segment::Line(point) => Segment::Line(moved(*point)),
                Segment::Curve(a, b, point) => Segment::Curve(moved(*a), moved(*b), moved(*point)),
                Segment::Close => Segment::Close,
            }));
        }
        at += advance;
    }
    segments
}

fn outline_glyph(face: Face, glyph: u16, em: f64) -> Vec<Segment> {
    let Some(font) = face.font() else {
        return Vec::new();
    };
    let mut pen = Pen {
        segments: Vec::new(),
        em,
        here: (0.0, 0.0),
    };
    // every glyph of our font can be drawn; one that could not would only leave a gap
    let _ = font.outline_glyph(GlyphId(glyph), &mut pen);
    pen.segments
}

struct Pen {
    segments: Vec<Segment>,
    em: f64,
    here: (f64, f64),
}

impl Pen {
    fn point(&self, x: f32, y: f32) -> (f64, f64) {
        (f64::from(x) / self.em, f64::from(y) / self.em)
    }
}

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.here = self.point(x, y);
        self.segments.push(Segment::Move(self.here));
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.here = self.point(x, y);
        self.segments.push(Segment::Line(self.here));
    }
    /// a quadratic curve equals the cubic curve whose control points lie two thirds of the way from
    /// its ends to the quadratic control point
    fn quad_to(&mut self, cx: f32, cy: f32, x: f32, y: f32) {
        let (control, end, start) = (self.point(cx, cy), self.point(x, y), self.here);
        let toward = |from: (f64, f64)| {
            (
                from.0 + (control.0 - from.0) * 2.0 / 3.0,
                from.1 + (control.1 - from.1) * 2.0 / 3.0,
            )
        };
        self.here = end;
        self.segments
            .push(Segment::Curve(toward(start), toward(end), end));
    }
    fn curve_to(&mut self, ax: f32, ay: f32, bx: f32, by: f32, x: f32, y: f32) {
        let (a, b) = (self.point(ax, ay), self.point(bx, by));
        self.here = self.point(x, y);
        self.segments.push(Segment::Curve(a, b, self.here));
    }
    fn close(&mut self) {
        self.segments.push(Segment::Close);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_as_wide_as_its_letters_and_what_is_missing_is_seen() {
        for face in Face::ALL {
            let one = face.width("grip", 1.0);
            assert!(one > 1.0 && one < 2.5, "{face:?} {one}");
            assert!((face.width("gripgrip", 1.0) - 2.0 * one).abs() < 1e-9);
            assert!(!outline_text(face, "é½—").is_empty());
        }
        assert_eq!(shown("grip 調"), "grip ?");
        assert_eq!(lacking("grip 調, Łódź"), ['調']);
    }
}
