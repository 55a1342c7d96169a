//! Stems, flags and beams of the melody. All melody stems point down.

use super::columns::Column;
use super::font::Glyph;
use super::placed::{Element, ElementKind, InkShape};
use super::proportions as p;
use crate::rhythm::NoteValue;

/// The length in staff spaces of an unbeamed note's stem. It is full from the middle of the staff
/// up, and shorter below it, where a full stem would hang far out of the staff.
fn stem_length(y: f64) -> f64 {
    p::STEM_LENGTH - (2.5 - y).max(0.0) * 0.35
}

fn stem(column: &Column, x: f64, end: f64) -> Element {
    let attach = Glyph::HeadBlack.outline().stems[1];
    Element {
        note: Some(column.id),
        kind: ElementKind::Stem,
        shape: InkShape::Bar {
            left: x + attach.0,
            bottom: end,
            right: x + attach.0 + p::STEM,
            top: column.y() + attach.1,
        },
    }
}

/// Draws the stem and flag of an unbeamed note whose head has its left edge at `x`.
pub(super) fn draw_alone(column: &Column, x: f64) -> Vec<Element> {
    let value = column.length.value;
    if value == NoteValue::Semibreve {
        return Vec::new();
    }
    let flag = match value {
        NoteValue::Quaver => Some(Glyph::FlagQuaverDown),
        NoteValue::Semiquaver => Some(Glyph::FlagSemiquaverDown),
        NoteValue::Demisemiquaver => Some(Glyph::FlagDemisemiquaverDown),
        NoteValue::Hemidemisemiquaver => Some(Glyph::FlagHemidemisemiquaverDown),
        _ => None,
    };
    // flags need the whole stem, or they would reach the head
    let length = if flag.is_some() {
        p::STEM_LENGTH
    } else {
        stem_length(column.y())
    };
    let end = column.y() - length;
    let mut elements = vec![stem(column, x, end)];
    if let Some(flag) = flag {
        elements.push(Element {
            note: Some(column.id),
            kind: ElementKind::Flag,
            shape: InkShape::Glyph {
                glyph: flag,
                x,
                y: end - flag.outline().stems[0].1,
                scale: 1.0,
            },
        });
    }
    elements
}

/// Draws the stems and beams of notes under one beam. Each column comes with the left edge of its
/// head.
pub(super) fn draw_joined(columns: &[(&Column, f64)]) -> Vec<Element> {
    let (Some((first, from)), Some((last, to))) = (columns.first(), columns.last()) else {
        return Vec::new();
    };
    let run = (to - from).max(0.1);
    let lowest = columns
        .iter()
        .map(|(column, _)| column.y())
        .fold(f64::MAX, f64::min);
    let rise = if columns.len() > 2 && lowest < first.y().min(last.y()) {
        // an inner note is lower than both ends, so the beam is drawn level
        0.0
    } else {
        ((last.y() - first.y()) * 0.3)
            .clamp(-p::BEAM_SLOPE, p::BEAM_SLOPE)
            .clamp(-0.2 * run, 0.2 * run)
    };
    let lean = |x: f64| rise * (x - from) / run;
    let base = columns
        .iter()
        .map(|(column, x)| {
            let beams = f64::from(column.length.value.flags());
            let least = 2.5 + (beams - 1.0) * p::BEAM_STEP;
            let usual = stem_length(column.y()) - 0.35;
            column.y() - least.max(usual.min(least + 0.6)) - lean(*x)
        })
        .fold(f64::MAX, f64::min);
    let end = |x: f64| base + lean(x);
    let mut elements: Vec<Element> = columns
        .iter()
        .map(|(column, x)| stem(column, *x, end(*x)))
        .collect();
    let mut beam = |left: f64, right: f64, level: u8| {
        let up = f64::from(level) * p::BEAM_STEP + p::BEAM;
        elements.push(Element {
            note: Some(first.id),
            kind: ElementKind::Beam,
            shape: InkShape::Slant {
                from: (left, end(left) + up),
                to: (right, end(right) + up),
                thick: p::BEAM,
            },
        });
    };
    let most = columns
        .iter()
        .map(|(column, _)| column.length.value.flags())
        .max();
    for level in 0..most.unwrap_or(0) {
        let mut place = 0;
        while place < columns.len() {
            let has = |place: usize| {
                columns
                    .get(place)
                    .is_some_and(|(column, _)| column.length.value.flags() > level)
            };
            if !has(place) {
                place += 1;
                continue;
            }
            let begin = place;
            while has(place) {
                place += 1;
            }
            let left = columns[begin].1;
            if place - begin > 1 {
                beam(left, columns[place - 1].1 + p::STEM, level);
            } else if begin > 0
                && (begin + 1 == columns.len() || columns[begin - 1].0.length.dots > 0)
            {
                let reach = p::HOOK.min((left - columns[begin - 1].1) * 0.6);
                beam(left - reach, left + p::STEM, level);
            } else {
                let reach = p::HOOK.min((columns[begin + 1].1 - left) * 0.6);
                beam(left, left + p::STEM + reach, level);
            }
        }
    }
    elements
}
