//! The figures of a metre.

use super::font::Glyph;
use super::placed::{Element, ElementKind, glyph};
use crate::rhythm::Metre;

fn figure_glyphs(number: u32) -> Vec<Glyph> {
    let signs = number.to_string();
    signs
        .chars()
        .filter_map(|sign| Glyph::figure(sign.to_digit(10)?))
        .collect()
}

/// Of a metre's wider number.
pub(super) fn width_of(metre: Metre) -> f64 {
    let (above, below) = metre.figures();
    let more = if above.max(below) >= 10 { 1.0 } else { 0.0 };
    let four = Glyph::FigureFour.outline();
    four.right + more * four.advance
}

/// The figures of a metre from their left edge.
pub(super) fn figures(metre: Metre, left: f64) -> Vec<Element> {
    if metre.is_free() {
        return Vec::new();
    }
    let (above, below) = metre.figures();
    let middle = left + width_of(metre) / 2.0;
    let mut elements = Vec::new();
    for (number, y) in [(above, 3.0), (below, 1.0)] {
        let glyphs = figure_glyphs(number);
        let width: f64 = glyphs.iter().map(|glyph| glyph.outline().advance).sum();
        let mut x = middle - width / 2.0;
        for figure in glyphs {
            elements.push(glyph(ElementKind::Metre, figure, x, y));
            x += figure.outline().advance;
        }
    }
    elements
}
