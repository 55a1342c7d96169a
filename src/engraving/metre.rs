//! Draws the figures of a metre.

use super::font::{Face, Glyph};
use super::placed::{Align, Element, ElementKind, InkShape, ceiling, glyph, words};
use super::proportions as p;
use crate::rhythm::{Metre, plain_or_dotted};
use crate::units::Fraction;

fn figure_glyphs(number: u32) -> Vec<Glyph> {
    let signs = number.to_string();
    signs
        .chars()
        .filter_map(|sign| Glyph::figure(sign.to_digit(10)?))
        .collect()
}

/// The width of a metre's figures, which is that of the wider number, in staff spaces.
pub(super) fn width_of(metre: Metre) -> f64 {
    let (above, below) = metre.figures();
    let more = if above.max(below) >= 10 { 1.0 } else { 0.0 };
    let four = Glyph::FigureFour.outline();
    four.right + more * four.advance
}

/// The figures of a metre with their left edge at `left`.
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

/// The size of a note in the text above the staff, relative to a note on the staff. Chosen by eye.
const ABOVE: f64 = 0.72;

/// Draws the equation of two notes above a change of metre, as in printed music: the note of the
/// old metre, an equals sign, and the note of the new metre that is as long. It begins at x `left`
/// and is placed above all ink there.
pub(super) fn equal(
    (before, now): (Fraction, Fraction),
    left: f64,
    below: &[Element],
) -> Vec<Element> {
    let mut elements = Vec::new();
    let mut x = left;
    for (place, part) in [before, now].into_iter().enumerate() {
        if place > 0 {
            let sign = words(
                ElementKind::EqualNotes,
                None,
                "=",
                (x + 0.5, 0.0),
                (p::NUMBER_SIZE, Face::Regular, Align::Start),
            );
            x += 0.5 + Face::Regular.width("=", p::NUMBER_SIZE) + 0.5;
            elements.push(sign);
        }
        let (value, dotted) = plain_or_dotted(part);
        let mut put = |glyph: Glyph| {
            elements.push(Element {
                note: None,
                kind: ElementKind::EqualNotes,
                shape: InkShape::Glyph {
                    glyph,
                    x,
                    y: 0.0,
                    scale: ABOVE,
                },
            });
            x += glyph.outline().advance * ABOVE;
        };
        put(Glyph::beat(value));
        if dotted {
            put(Glyph::BeatDot);
        }
    }
    let lowest = elements
        .iter()
        .map(|element| element.shape.bounds().bottom)
        .fold(0.0, f64::min);
    let up = ceiling(below, left, x) + p::WORD_GAP - lowest;
    for element in &mut elements {
        if let InkShape::Glyph { y, .. } | InkShape::Text { y, .. } = &mut element.shape {
            *y += up;
        }
    }
    elements
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::read;
    use crate::engraving::{LayoutSettings, lay_out};
    use crate::score::resolve_music;
    use crate::units::Beats;

    /// The figures of a metre do not tell which note keeps its length. Where the beat keeps its
    /// length nothing is written.
    #[test]
    fn the_note_that_stays_equal_stands_above_its_bar() {
        let text = "title: A\nmetre: 2/4\nunit: 1/8\nmusic: A2 B2|[M:6/8][Q:1/8=1/8]c3 d3|\
                    [M:2/4]e2 d2|[M:2/2][Q:1/2=1/4]c4 B4|]\nladder: {from: 50, to: 60, step: 4%}\n";
        let drill = read(text.as_bytes()).0.expect("it reads");
        let music = &drill.stages[0].music;
        let score = resolve_music(music, Beats::ZERO, &drill.schools);
        let engraved = lay_out(&score, Some(music), &LayoutSettings::paper(120.0));
        let all: Vec<&Element> = engraved
            .systems
            .iter()
            .flat_map(|own| &own.elements)
            .collect();
        let equal = all.iter().filter(|own| own.kind == ElementKind::EqualNotes);
        let signs: Vec<String> = equal
            .clone()
            .map(|own| match &own.shape {
                InkShape::Glyph { glyph, .. } => format!("{glyph:?}"),
                InkShape::Text { text, .. } => text.clone(),
                other => panic!("{other:?}"),
            })
            .collect();
        // bar 4: a crotchet of 2/2 lasts as long as a minim before, so a quaver before is as long
        // as a semiquaver now
        let expected = [
            "BeatQuaver",
            "=",
            "BeatQuaver",
            "BeatQuaver",
            "=",
            "BeatSemiquaver",
        ];
        assert_eq!(signs, expected);
        for own in equal {
            let own = own.shape.bounds();
            assert!(own.bottom > 4.0, "it stands above the staff");
            for other in all.iter().filter(|own| own.kind != ElementKind::EqualNotes) {
                let other = other.shape.bounds();
                let apart = own.right <= other.left
                    || other.right <= own.left
                    || own.bottom >= other.top
                    || other.bottom >= own.top;
                assert!(apart, "{own:?} touches {other:?}");
            }
        }
    }
}
