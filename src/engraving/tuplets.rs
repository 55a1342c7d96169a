//! Draws the figures of tuplets below the stems, with a bracket where no beam joins exactly their
//! notes.

use super::columns::Bar;
use super::font::{Face, Glyph};
use super::placed::{Align, Element, ElementKind, InkShape, words};
use super::proportions as p;

/// The distance from the lowest ink of a tuplet to the middle of its bracket, in staff spaces.
const BELOW: f64 = 0.9;
/// The height of the ends of a bracket, which point up, in staff spaces.
const HOOK: f64 = 0.6;
/// The gap on each side of the figure within its bracket, in staff spaces.
const AROUND: f64 = 0.35;

/// Draws the tuplets of a bar whose heads are at `heads`. They are placed below what was already
/// drawn of the bar.
pub(super) fn draw(bar: &Bar, heads: &[f64], drawn: &[Element]) -> Vec<Element> {
    bar.tuplets
        .iter()
        .flat_map(|tuplet| {
            let columns = bar.columns.get(tuplet.heads.clone()).unwrap_or_default();
            let places = heads.get(tuplet.heads.clone()).unwrap_or_default();
            let (Some(first), Some(left), Some(right)) =
                (columns.first(), places.first(), places.last())
            else {
                return Vec::new();
            };
            let right = right + Glyph::HeadBlack.outline().right;
            let beam = first.beam;
            let holds = bar
                .columns
                .iter()
                .filter(|column| column.beam == beam)
                .count();
            let beamed = beam.is_some()
                && holds == columns.len()
                && columns.iter().all(|column| column.beam == beam);
            let lowest = drawn
                .iter()
                .map(|element| element.shape.bounds())
                .filter(|ink| ink.left < right && ink.right > *left)
                .map(|ink| ink.bottom)
                .fold(0.0, f64::min);
            let middle = f64::midpoint(*left, right);
            let y = lowest - BELOW;
            let text = tuplet.notes.to_string();
            let size = p::NUMBER_SIZE;
            let mut elements = vec![words(
                ElementKind::Tuplet,
                Some(first.id),
                &text,
                (middle, y - size * 0.3),
                (size, Face::Italic, Align::Middle),
            )];
            if !beamed {
                let white = Face::Italic.width(&text, size) / 2.0 + AROUND;
                let mut bar = |left: f64, bottom: f64, right: f64, top: f64| {
                    if right > left {
                        elements.push(Element {
                            note: Some(first.id),
                            kind: ElementKind::Tuplet,
                            shape: InkShape::Bar {
                                left,
                                bottom,
                                right,
                                top,
                            },
                        });
                    }
                };
                bar(*left, y - p::THIN, middle - white, y);
                bar(middle + white, y - p::THIN, right, y);
                bar(*left, y, left + p::THIN, y + HOOK);
                bar(right - p::THIN, y, right, y + HOOK);
            }
            elements
        })
        .collect()
}
