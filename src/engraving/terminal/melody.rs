//! Stems, flags, beams, dots and ties of melody notes.

use super::Style;
use super::page::{Page, row};
use crate::engraving::font::Glyph;
use crate::engraving::placed::{Element, Kind, Shape};
use crate::engraving::proportions;
use crate::score::NoteId;
use std::collections::BTreeMap;

impl Page {
    /// Melody stems of four rows, flags as hooks at their ends, beams between them, dots and ties.
    pub(super) fn draw_melody(&mut self, elements: &[Element]) {
        let head_of: BTreeMap<NoteId, (i32, i32)> = elements
            .iter()
            .filter_map(
                |element| match (element.kind, element.note, &element.shape) {
                    (Kind::Head, Some(id), Shape::Glyph { x, y, .. }) => {
                        Some((id, (row(*y), self.column(*x))))
                    }
                    _ => None,
                },
            )
            .collect();
        let beams = beams_of(elements);
        for element in elements {
            let Some(id) = element.note else { continue };
            let Some(&(head, column)) = head_of.get(&id) else {
                continue;
            };
            match element.kind {
                Kind::Stem => {
                    let joined = beams.iter().find(|beam| beam.notes.contains(&id));
                    let end = joined.map_or(head, |beam| {
                        beam.notes
                            .iter()
                            .filter_map(|note| head_of.get(note))
                            .map(|head| head.0)
                            .min()
                            .unwrap_or(head)
                    }) - 4;
                    for row in end..head {
                        self.put_behind(row, column, '┃', Style::Stem, Some(id));
                    }
                }
                Kind::Flag => {
                    let flags = match &element.shape {
                        Shape::Glyph { glyph, .. } => match glyph {
                            Glyph::FlagQuaverDown => 1,
                            Glyph::FlagSemiquaverDown => 2,
                            Glyph::FlagDemisemiquaverDown => 3,
                            _ => 4,
                        },
                        _ => 0,
                    };
                    for level in 0..flags {
                        let sign = if level == 0 { '┗' } else { '┣' };
                        self.put(head - 4 + level, column, sign, Style::Stem, Some(id));
                        self.put_behind(head - 4 + level, column + 1, '━', Style::Stem, Some(id));
                    }
                }
                Kind::Tie => {
                    let next = head_of
                        .values()
                        .filter(|other| other.1 > column)
                        .map(|other| other.1)
                        .min()
                        .unwrap_or(self.last_column);
                    for between in column + 1..next {
                        let sign = if between == column + 1 {
                            '╭'
                        } else if between + 1 == next {
                            '╮'
                        } else {
                            '─'
                        };
                        self.put_behind(head + 1, between, sign, Style::Tie, Some(id));
                    }
                }
                _ => {}
            }
        }
        self.draw_beams(elements, &beams, &head_of);
        for element in elements {
            if let (Kind::Dot, Some(id)) = (element.kind, element.note)
                && let Some(&(head, column)) = head_of.get(&id)
            {
                let free = (1..4).find(|step| {
                    self.cells
                        .get(&(head, column + step))
                        .is_none_or(|cell| cell.style != Style::Dot)
                });
                self.put(head, column + free.unwrap_or(1), '·', Style::Dot, Some(id));
            }
        }
    }

    fn draw_beams(
        &mut self,
        elements: &[Element],
        beams: &[Beam],
        head_of: &BTreeMap<NoteId, (i32, i32)>,
    ) {
        for beam in beams {
            let Some(lowest) = beam
                .notes
                .iter()
                .filter_map(|note| head_of.get(note))
                .map(|head| head.0)
                .min()
            else {
                continue;
            };
            let mine = |element: &&Element| {
                element.kind == Kind::Beam && element.note == beam.notes.first().copied()
            };
            for element in elements.iter().filter(mine) {
                let Shape::Slant { from, to, .. } = &element.shape else {
                    continue;
                };
                let level = beam.level(from.0, from.1);
                let row = lowest - 4 + level;
                let (left, right) = (self.column(from.0), self.column(to.0 - proportions::STEM));
                for column in left..=right.max(left + 1) {
                    let stem = beam
                        .notes
                        .iter()
                        .find(|note| head_of.get(note).is_some_and(|head| head.1 == column));
                    let sign = match stem {
                        None => '━',
                        Some(_) if level > 0 => '╋',
                        Some(note) if Some(note) == beam.notes.first() => '┗',
                        Some(note) if Some(note) == beam.notes.last() => '┛',
                        Some(_) => '┻',
                    };
                    let owner = stem.copied().or(element.note);
                    self.put_behind(row, column, sign, Style::Stem, owner);
                }
            }
        }
    }
}

/// Notes under one beam.
struct Beam {
    notes: Vec<NoteId>,
    /// Upper left corners of the lowest beam, by which the others' levels are counted.
    from: (f64, f64),
    slope: f64,
}

impl Beam {
    fn level(&self, x: f64, y: f64) -> i32 {
        let base = self.from.1 + self.slope * (x - self.from.0);
        ((y - base) / proportions::BEAM_STEP).round() as i32
    }
}

/// The lowest beam of each group, with the notes whose stems it joins.
fn beams_of(elements: &[Element]) -> Vec<Beam> {
    let mut beams: Vec<Beam> = Vec::new();
    for element in elements {
        let (Kind::Beam, Some(first), Shape::Slant { from, to, .. }) =
            (element.kind, element.note, &element.shape)
        else {
            continue;
        };
        if beams.iter().any(|beam| beam.notes.first() == Some(&first)) {
            continue;
        }
        let notes = elements
            .iter()
            .filter(|other| other.kind == Kind::Stem)
            .filter(|other| {
                let bounds = other.shape.bounds();
                bounds.left >= from.0 - 0.01 && bounds.left <= to.0
            })
            .filter_map(|other| other.note)
            .collect();
        beams.push(Beam {
            notes,
            from: *from,
            slope: (to.1 - from.1) / (to.0 - from.0).max(0.01),
        });
    }
    beams
}
