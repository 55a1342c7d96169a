//! Draws gracenotes with their stems up. Each group is only as wide as its notes need.

use super::font::Glyph;
use super::placed::{Element, ElementKind, InkShape};
use super::proportions::{self as p, height};
use crate::chanter::Note;
use crate::score::ScoreGroup;

/// The room that a group takes before its melody note.
#[derive(Debug, Clone, Default)]
pub(super) struct GraceGroup {
    /// The distance from each gracenote's left edge to the left edge of the melody head, first
    /// gracenote first, in staff spaces.
    pub back: Vec<f64>,
    /// The distance from the left end of the group to the left edge of the melody head, in staff
    /// spaces.
    pub width: f64,
}

fn head() -> f64 {
    Glyph::HeadBlack.outline().right * p::GRACE_SCALE
}

fn ledger(note: Note) -> f64 {
    if note == Note::HighA {
        p::LEDGER_REACH * p::GRACE_SCALE
    } else {
        0.0
    }
}

/// Places the heads of a group before a melody head at height `melody_y`.
pub(super) fn space(group: &ScoreGroup, melody_y: f64) -> GraceGroup {
    let notes: Vec<Note> = group.parts.iter().map(|part| part.note).collect();
    let Some(last) = notes.last() else {
        return GraceGroup::default();
    };
    let melody_ledger = if melody_y >= 5.0 {
        p::LEDGER_REACH
    } else {
        0.0
    };
    let mut to_note = if notes.len() == 1 {
        single_to_note(height(*last), melody_y)
    } else {
        p::GRACE_TO_NOTE
    };
    // two ledger lines side by side must not touch
    to_note = to_note.max(head() + ledger(*last) + melody_ledger + 0.2);
    let mut back = vec![to_note; notes.len()];
    for place in (0..notes.len() - 1).rev() {
        let falls = height(notes[place]) - height(notes[place + 1]);
        let step = if falls >= 1.0 {
            p::GRACE_STEP_DOWN
        } else {
            p::GRACE_STEP
        };
        back[place] = back[place + 1] + step;
    }
    let width = back[0] + ledger(notes[0]);
    GraceGroup { back, width }
}

/// The distance from a single gracenote to its melody note. Its flags hang to the right of its
/// stem. They have room above a lower melody head; a head as high as the flags must be placed clear
/// of them.
fn single_to_note(y: f64, melody_y: f64) -> f64 {
    let flag = Glyph::FlagDemisemiquaverUp.outline();
    let lowest = y + p::GRACE_STEM + (flag.bottom - flag.stems[0].1) * p::GRACE_SCALE;
    if lowest > melody_y + 0.5 + 0.15 {
        p::GRACE_TO_NOTE - 0.06
    } else {
        head() + flag.right * p::GRACE_SCALE + 0.2
    }
}

/// Draws the group before a melody head whose left edge is at `x`.
pub(super) fn draw(group: &ScoreGroup, spaced: &GraceGroup, x: f64) -> Vec<Element> {
    let mut elements = Vec::new();
    let stems = stem_tops(group, spaced, x);
    let attach = Glyph::HeadBlack.outline().stems[0];
    for ((part, back), (stem, top)) in group.parts.iter().zip(&spaced.back).zip(&stems) {
        let (left, y) = (x - back, height(part.note));
        let mut add = |kind, shape| {
            elements.push(Element {
                note: Some(part.id),
                kind,
                shape,
            });
        };
        if part.note == Note::HighA {
            let reach = ledger(part.note);
            add(
                ElementKind::GraceLedger,
                InkShape::Bar {
                    left: left - reach,
                    bottom: y - p::LEDGER * 0.4,
                    right: left + head() + reach,
                    top: y + p::LEDGER * 0.4,
                },
            );
        }
        add(
            ElementKind::GraceHead,
            InkShape::Glyph {
                glyph: Glyph::HeadBlack,
                x: left,
                y,
                scale: p::GRACE_SCALE,
            },
        );
        add(
            ElementKind::GraceStem,
            InkShape::Bar {
                left: stem - p::STEM,
                bottom: y + attach.1 * p::GRACE_SCALE,
                right: *stem,
                top: *top,
            },
        );
        if group.parts.len() == 1 {
            let flag = Glyph::FlagDemisemiquaverUp;
            add(
                ElementKind::GraceFlag,
                InkShape::Glyph {
                    glyph: flag,
                    x: stem - p::STEM,
                    y: top - flag.outline().stems[0].1 * p::GRACE_SCALE,
                    scale: p::GRACE_SCALE,
                },
            );
        }
    }
    if let (Some(first), Some(last)) = (stems.first(), stems.last())
        && stems.len() > 1
    {
        for beam in 0..3 {
            let down = f64::from(beam) * p::GRACE_BEAM_STEP;
            elements.push(Element {
                note: group.parts.first().map(|part| part.id),
                kind: ElementKind::GraceBeam,
                shape: InkShape::Slant {
                    from: (first.0 - p::STEM, first.1 - down),
                    to: (last.0, last.1 - down),
                    thick: p::GRACE_BEAM,
                },
            });
        }
    }
    elements
}

/// The right edge and upper end of every stem. The stems of a group end on one line, which slopes
/// with the notes, leaves every head its least stem length, and lies above the staff.
fn stem_tops(group: &ScoreGroup, spaced: &GraceGroup, x: f64) -> Vec<(f64, f64)> {
    let attach = Glyph::HeadBlack.outline().stems[0].0 * p::GRACE_SCALE;
    let places: Vec<(f64, f64)> = group
        .parts
        .iter()
        .zip(&spaced.back)
        .map(|(part, back)| (x - back + attach, height(part.note)))
        .collect();
    let (Some(first), Some(last)) = (places.first(), places.last()) else {
        return Vec::new();
    };
    if places.len() == 1 {
        return vec![(first.0, first.1 + p::GRACE_STEM)];
    }
    let run = last.0 - first.0;
    // the beams of gracenotes in LilyPond's output rise by at most 0.64 over a width of 2.0,
    // measured
    let rise = ((last.1 - first.1) * 0.35)
        .clamp(-0.64, 0.64)
        .clamp(-0.32 * run, 0.32 * run);
    let stack = 2.0 * p::GRACE_BEAM_STEP + p::GRACE_BEAM;
    let lean = |stem: f64| rise * (stem - first.0) / run;
    let base = places
        .iter()
        .map(|(stem, y)| {
            (y + 0.3 + p::GRACE_LEAST_STEM).max(p::GRACE_BEAM_FLOOR) + stack - lean(*stem)
        })
        .fold(f64::MIN, f64::max);
    places
        .iter()
        .map(|(stem, _)| (*stem, base + lean(*stem)))
        .collect()
}
