//! The text font in three faces: widths, outlines and the files themselves.

use super::Segment;
use skrifa::instance::{LocationRef, Size};
use skrifa::outline::{DrawSettings, OutlinePen};
use skrifa::{FontRef, GlyphId, MetadataProvider};

/// A face of the text font.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Face {
    /// Upright.
    Regular,
    /// Headings.
    Bold,
    /// Names of movements, remarks.
    Italic,
}

/// Stands for a character the font does not have.
const STAND_IN: char = '?';

impl Face {
    /// Every face.
    pub const ALL: [Self; 3] = [Self::Regular, Self::Bold, Self::Italic];

    /// The font file, TrueType.
    pub fn file(self) -> &'static [u8] {
        match self {
            Self::Regular => include_bytes!("slipway-text-regular.ttf"),
            Self::Bold => include_bytes!("slipway-text-bold.ttf"),
            Self::Italic => include_bytes!("slipway-text-italic.ttf"),
        }
    }

    fn font(self) -> Option<FontRef<'static>> {
        FontRef::new(self.file()).ok()
    }

    /// The glyphs of a text with their advances, in parts of an em: (number in the font file,
    /// advance, bytes of the text it stands for). What the font does not have is shown as `?`.
    pub fn run(self, text: &str) -> Vec<(u32, f64, std::ops::Range<usize>)> {
        let Some(font) = self.font() else {
            return Vec::new();
        };
        let names = font.charmap();
        let metrics = font.glyph_metrics(Size::unscaled(), LocationRef::default());
        let em = f64::from(
            font.metrics(Size::unscaled(), LocationRef::default())
                .units_per_em,
        );
        text.char_indices()
            .map(|(at, sign)| {
                let glyph = names
                    .map(sign)
                    .or_else(|| names.map(STAND_IN))
                    .unwrap_or(GlyphId::NOTDEF);
                let advance = f64::from(metrics.advance_width(glyph).unwrap_or(0.0)) / em;
                (glyph.to_u32(), advance, at..at + sign.len_utf8())
            })
            .collect()
    }

    /// The width of a text set at `size`, in the unit of `size`.
    pub fn width(self, text: &str, size: f64) -> f64 {
        self.run(text)
            .iter()
            .map(|(_, advance, _)| advance)
            .sum::<f64>()
            * size
    }
}

/// A text with what the font does not have replaced as it will be seen.
pub fn shown(text: &str) -> String {
    let Some(font) = Face::Regular.font() else {
        return text.to_owned();
    };
    let names = font.charmap();
    text.chars()
        .map(|sign| {
            if names.map(sign).is_some() {
                sign
            } else {
                STAND_IN
            }
        })
        .collect()
}

/// The characters of a text that the font does not have, each once: [`shown`] puts `?` for them.
pub fn lacking(text: &str) -> Vec<char> {
    let Some(font) = Face::Regular.font() else {
        return Vec::new();
    };
    let names = font.charmap();
    let mut lacking = Vec::new();
    for sign in text.chars() {
        if names.map(sign).is_none() && !lacking.contains(&sign) {
            lacking.push(sign);
        }
    }
    lacking
}

/// The outlines of a text in parts of an em, y upwards, from the start of its base line.
pub fn outline_text(face: Face, text: &str) -> Vec<Segment> {
    let Some(font) = face.font() else {
        return Vec::new();
    };
    let em = f64::from(
        font.metrics(Size::unscaled(), LocationRef::default())
            .units_per_em,
    );
    let glyphs = font.outline_glyphs();
    let mut pen = Pen {
        segments: Vec::new(),
        at: 0.0,
        em,
        here: (0.0, 0.0),
    };
    for (glyph, advance, _) in face.run(text) {
        if let Some(outline) = glyphs.get(GlyphId::new(glyph)) {
            let settings = DrawSettings::unhinted(Size::unscaled(), LocationRef::default());
            // A glyph of our own subset always draws; one that does not leaves its place empty.
            let _ = outline.draw(settings, &mut pen);
        }
        pen.at += advance;
    }
    pen.segments
}

struct Pen {
    segments: Vec<Segment>,
    at: f64,
    em: f64,
    here: (f64, f64),
}

impl Pen {
    fn point(&self, x: f32, y: f32) -> (f64, f64) {
        (self.at + f64::from(x) / self.em, f64::from(y) / self.em)
    }
}

impl OutlinePen for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.here = self.point(x, y);
        self.segments.push(Segment::Move(self.here));
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.here = self.point(x, y);
        self.segments.push(Segment::Line(self.here));
    }
    /// A quadratic curve is the cubic whose control points stand two thirds of the way to its own.
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
