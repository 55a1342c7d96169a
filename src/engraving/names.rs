//! Writes the words around a system: names above it, count numbers and note names below it.

use super::columns::Bar;
use super::font::Face;
use super::placed::{Align, BarPlace, Element, ElementKind, ceiling, words};
use super::proportions as p;
use super::settings::LayoutSettings;
use super::systems::Line;
use crate::score::NoteId;

/// A name, the x where it is written, and the note it belongs to.
pub(super) type Named = (&'static str, f64, NoteId);

/// Writes the names above the system. Names of gracenotes are just above their flags. Names of
/// movements share one row, with further rows where two names would touch.
pub(super) fn above(
    elements: &mut Vec<Element>,
    movements: &[Named],
    gracenotes: &[Named],
    end: f64,
) {
    for (name, left, id) in gracenotes {
        let size = p::NUMBER_SIZE;
        let middle = left + 0.6;
        let width = Face::Italic.width(name, size);
        let y = ceiling(elements, middle - width / 2.0, middle + width / 2.0) + p::WORD_GAP * 0.7;
        elements.push(words(
            ElementKind::GraceName,
            Some(*id),
            name,
            (middle, y),
            (size, Face::Italic, Align::Middle),
        ));
    }
    // the x where the last name of each row ends
    let mut ends: Vec<f64> = Vec::new();
    let placed: Vec<(Named, usize, f64)> = movements
        .iter()
        .map(|(name, left, id)| {
            let width = Face::Italic.width(name, p::NAME_SIZE);
            // a name at the end of the system must not reach beyond the system
            let left = left.min(end - width).max(0.0);
            let right = left + width;
            let row = ends.iter().position(|end| end + 1.0 <= left);
            let row = row.unwrap_or(ends.len());
            if row == ends.len() {
                ends.push(right);
            } else {
                ends[row] = right;
            }
            ((*name, left, *id), row, right)
        })
        .collect();
    let y = placed
        .iter()
        .map(|(named, _, right)| ceiling(elements, named.1, *right))
        .fold(4.0, f64::max)
        + p::WORD_GAP;
    for (named, row, _) in placed {
        elements.push(words(
            ElementKind::MovementName,
            Some(named.2),
            named.0,
            (named.1, y + row as f64 * p::NAME_SIZE),
            (p::NAME_SIZE, Face::Italic, Align::Start),
        ));
    }
}

/// Writes count numbers and note names below the system, each in a row below all ink.
pub(super) fn below(
    elements: &mut Vec<Element>,
    bars: &[Bar],
    line: &Line,
    places: &[BarPlace],
    settings: &LayoutSettings,
) {
    let mut y = elements
        .iter()
        .map(|element| element.shape.bounds().bottom)
        .fold(0.0, f64::min);
    if settings.beat_numbers {
        y -= p::WORD_GAP * 0.8 + p::NUMBER_SIZE * 0.66;
        for (number, x) in places.iter().flat_map(|bar| &bar.beats) {
            elements.push(words(
                ElementKind::BeatNumber,
                None,
                &number.to_string(),
                (*x, y),
                (p::NUMBER_SIZE, Face::Regular, Align::Middle),
            ));
        }
    }
    if settings.note_names {
        y -= p::WORD_GAP * 0.8 + p::NUMBER_SIZE * 0.7;
        let heads: Vec<(NoteId, f64)> = elements
            .iter()
            .filter(|element| element.kind == ElementKind::Head)
            .filter_map(|element| {
                let bounds = element.shape.bounds();
                Some((element.note?, f64::midpoint(bounds.left, bounds.right)))
            })
            .collect();
        let columns = line.bars.clone().flat_map(|bar| &bars[bar].columns);
        for column in columns.filter(|column| column.begins) {
            if let Some((id, x)) = heads.iter().find(|(id, _)| *id == column.id) {
                elements.push(words(
                    ElementKind::NoteName,
                    Some(*id),
                    column.note.name(),
                    (*x, y),
                    (p::NUMBER_SIZE, Face::Regular, Align::Middle),
                ));
            }
        }
    }
}
