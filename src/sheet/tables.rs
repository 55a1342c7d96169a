//! The ladder to tick by hand, and the finger chart.

use super::compose::Writer;
use super::drawing::{Block, Cell, Heading, Ink, Role};
use crate::chanter::{Finger, Note, Shape, gracenote_finger};
use crate::drill::Drill;
use crate::engraving::font::{Face, Glyph};
use crate::movement::{Context, Movement, Resolution, Role as PartRole, Schools, resolve};
use crate::practice::Rung;
use crate::practice::ladder::climbs;

/// Height of a row of the ladder, and the least before a box touches the rule, points.
const ROW: f64 = 12.5;
const LOWEST_ROW: f64 = 10.5;
const TEXT: f64 = 10.0;
/// Room for the ladder's heading and what to do with it, points.
const HEAD: f64 = 34.0;
const TEMPO_COLUMN: f64 = 52.0;
const WIDEST_COLUMN: f64 = 130.0;
const LARGEST_BOX: f64 = 8.0;
const SMALLEST_BOX: f64 = 4.5;

/// The least height of the ladder, points.
pub(super) fn least_ladder(drill: &Drill) -> f64 {
    6.0 + HEAD + LOWEST_ROW * (rows(&climbs(drill)).len() as f64 + 1.0)
}

/// The ladder's rows in the order they are climbed: every tempo, and after it the lengths of a
/// movement that is opened there.
pub(super) fn rows(climbs: &[Vec<Rung>]) -> Vec<Rung> {
    let mut rows: Vec<Rung> = climbs.iter().flatten().copied().collect();
    rows.sort_unstable();
    rows.dedup();
    rows
}

/// Rungs down, stages across, a box for every clean repetition.
pub(super) fn ladder(writer: &mut Writer, drill: &Drill) {
    let climbs = climbs(drill);
    let rungs = rows(&climbs);
    let stages = drill.stages.len().max(1);
    let column = ((writer.width() - TEMPO_COLUMN) / stages as f64).min(WIDEST_COLUMN);
    let clean = drill.clean as usize;
    let side = ((column - 8.0) / clean.max(1) as f64 - 2.0).min(LARGEST_BOX);
    let (boxes, side) = if side < SMALLEST_BOX {
        (1, LARGEST_BOX)
    } else {
        (clean, side)
    };
    writer.skip(6.0);
    let rows = rungs.len() as f64 + 1.0;
    // a page to hand out is one page where that takes no more than closer rows
    let closer = (writer.room() - HEAD) / rows;
    let height = if closer >= LOWEST_ROW {
        closer.min(ROW)
    } else {
        ROW
    };
    writer.need((height * rows + HEAD).min(420.0));
    if writer.is_at_top() {
        writer.heading(2, &format!("Ladder of {}", drill.title), 13.0);
    } else {
        writer.heading(2, "Ladder", 13.0);
    }
    let each = if boxes == 1 && clean > 1 {
        format!("Tick a box when {clean} repetitions in a row were clean.")
    } else {
        "Tick a box for each clean repetition in a row; cross them out and begin again when one is not.".to_owned()
    };
    writer.paragraph(&each, TEXT, Face::Regular);
    writer.skip(4.0);
    let mut left = rungs.as_slice();
    while !left.is_empty() {
        let fit = ((writer.room() / height) as usize).saturating_sub(1);
        if fit == 0 {
            writer.need(f64::MAX);
            continue;
        }
        let (now, rest) = left.split_at(fit.min(left.len()));
        left = rest;
        let mut rows = vec![head(writer, drill, column, height)];
        for rung in now {
            let top = writer.y();
            let tempo = rung.spoken();
            let middle = top + height / 2.0 + TEXT * 0.3;
            let mut row = vec![Cell {
                heading: Some(Heading::Row),
                ink: vec![Ink::words(
                    &tempo,
                    Writer::left() + 6.0,
                    middle,
                    TEXT,
                    Face::Bold,
                )],
            }];
            for stage in 0..stages {
                let x = Writer::left() + TEMPO_COLUMN + stage as f64 * column;
                // no box where the stage does not come to this rung
                let boxes = if climbs.get(stage).is_some_and(|own| own.contains(rung)) {
                    boxes
                } else {
                    0
                };
                row.push(Cell {
                    heading: None,
                    ink: (0..boxes)
                        .map(|place| {
                            let at = x + 4.0 + place as f64 * (side + 2.0);
                            // to tick by hand
                            let top = top + (height - side) / 2.0;
                            Ink::frame(at, top, at + side, top + side)
                        })
                        .collect(),
                });
            }
            rows.push(row);
            writer.skip(height);
        }
        let bottom = writer.y();
        let top = bottom - height * now.len() as f64;
        let right = Writer::left() + TEMPO_COLUMN + column * stages as f64;
        let rule = |y: f64| Ink::rectangle(Writer::left(), y - 0.25, right, y + 0.25);
        let rules = (0..=now.len())
            .map(|row| rule(top + row as f64 * height))
            .collect();
        writer.block(Block {
            role: Role::Table(format!(
                "ladder of {} rungs, a column for each of {stages} stages, boxes to tick",
                rungs.len()
            )),
            ink: rules,
            rows,
        });
        if !left.is_empty() {
            writer.need(f64::MAX);
        }
    }
}

fn head(writer: &mut Writer, drill: &Drill, column: f64, height: f64) -> Vec<Cell> {
    let base = writer.y() + height - 4.5;
    let mut cells = vec![Cell {
        heading: Some(Heading::Column),
        ink: vec![Ink::words(
            "tempo",
            Writer::left() + 6.0,
            base,
            TEXT,
            Face::Italic,
        )],
    }];
    for (place, stage) in drill.stages.iter().enumerate() {
        let x = Writer::left() + TEMPO_COLUMN + place as f64 * column;
        let mut name = format!("{} {}", place + 1, stage.name);
        if Face::Italic.width(&name, TEXT) > column - 6.0 {
            while name.chars().count() > 2
                && Face::Italic.width(&format!("{name}…"), TEXT) > column - 6.0
            {
                name.pop();
            }
            name = format!("{}…", name.trim_end());
        }
        cells.push(Cell {
            heading: Some(Heading::Column),
            ink: vec![Ink::words(&name, x + 4.0, base, TEXT, Face::Italic)],
        });
    }
    writer.skip(height);
    cells
}

/// One column of a chart: a shape and what it is.
struct Column {
    shape: Shape,
    name: String,
    /// The finger that lifts for a gracenote.
    lifts: Option<Finger>,
}

/// The shapes of the movement in its first context, then what the others have besides: their notes,
/// and another gracenote where the note before asks for one.
fn columns(drill: &Drill) -> Vec<Column> {
    let Some(line) = &drill.movement else {
        return Vec::new();
    };
    let mut columns: Vec<Column> = Vec::new();
    for from in &line.from {
        for to in &line.to {
            let own = columns_between(line.movement, *from, *to, &drill.schools);
            if columns.is_empty() {
                columns = own;
                continue;
            }
            for column in own {
                if !columns.iter().any(|known| known.name == column.name) {
                    columns.push(column);
                }
            }
        }
    }
    columns
}

/// In order: note before, tones, gracenotes as fingers that lift.
fn columns_between(movement: Movement, from: Note, to: Note, schools: &Schools) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    let tone = |columns: &mut Vec<Column>, note: Note| {
        columns.push(Column {
            shape: Shape::of(note),
            name: note.name().to_owned(),
            lifts: None,
        });
    };
    let resolved = match resolve(movement, Context::between(from, to), schools) {
        Resolution::Played(resolved) => resolved,
        Resolution::NotPlayable { .. } => return columns,
    };
    tone(&mut columns, from);
    let mut held = from;
    for (place, part) in resolved.parts.iter().enumerate() {
        if part.role == PartRole::Sounding {
            held = part.note;
            tone(&mut columns, part.note);
            continue;
        }
        // A gracenote that opens the next tone is lifted off that tone's shape.
        let next = resolved.parts[place + 1..]
            .iter()
            .find(|part| part.role == PartRole::Sounding)
            .map_or(to, |part| part.note);
        let on = next;
        let finger = gracenote_finger(part.note).filter(|_| part.note > on);
        match finger {
            Some(finger) => columns.push(Column {
                shape: Shape::of(on).lifted(finger),
                name: format!("{} gracenote", part.note.name()),
                lifts: Some(finger),
            }),
            None => columns.push(Column {
                shape: Shape::of(part.note),
                name: format!("{} tap", part.note.name()),
                lifts: None,
            }),
        }
        held = on;
    }
    if held != to || columns.last().is_some_and(|column| column.lifts.is_some()) {
        tone(&mut columns, to);
    }
    columns
}

/// Points from one hole to the next.
const STEP: f64 = 9.4;
const CHART: f64 = STEP * 9.0 + 18.0;
const CHART_HEAD: f64 = 30.0;

/// The height of the finger chart, points: nothing where there is none.
pub(super) fn chart_height(drill: &Drill) -> f64 {
    if columns(drill).is_empty() {
        0.0
    } else {
        6.0 + CHART_HEAD + CHART
    }
}

/// The fingers of the movement as columns of holes.
pub(super) fn finger_chart(writer: &mut Writer, drill: &Drill, left_handed: bool) {
    const HOLE: f64 = 7.2;
    const LABELS: f64 = 74.0;
    let columns = columns(drill);
    if columns.is_empty() {
        return;
    }
    let wide = ((writer.width() - LABELS) / columns.len() as f64).min(66.0);
    writer.skip(6.0);
    writer.need(CHART + CHART_HEAD);
    if writer.is_at_top() {
        writer.heading(2, &format!("Fingers of {}", drill.title), 13.0);
    } else {
        writer.heading(2, "Fingers", 13.0);
    }
    let top = writer.y() + 6.0;
    let (upper, lower) = if left_handed {
        ("right hand", "left hand")
    } else {
        ("left hand", "right hand")
    };
    let mut ink = vec![
        Ink::words(upper, Writer::left(), top + STEP * 2.2, TEXT, Face::Italic),
        Ink::words(lower, Writer::left(), top + STEP * 6.8, TEXT, Face::Italic),
    ];
    let scale = HOLE / Glyph::HoleClosed.outline().right;
    let mut words = Vec::new();
    for (place, column) in columns.iter().enumerate() {
        let x = Writer::left() + LABELS + place as f64 * wide;
        for (row, finger) in Finger::ALL.into_iter().enumerate() {
            // The thumb hole is at the back, on the side of the thumb; a gap parts the hands.
            let aside = if row == 0 {
                if left_handed { 7.0 } else { -7.0 }
            } else {
                0.0
            };
            let gap = if row >= 4 { 5.0 } else { 0.0 };
            let glyph = if column.shape.covers(finger) {
                Glyph::HoleClosed
            } else {
                Glyph::HoleOpen
            };
            let (left, bottom) = (x + 12.0 + aside, top + STEP * row as f64 + HOLE + gap);
            ink.push(Ink::Glyph {
                glyph,
                x: left,
                y: bottom,
                space: scale,
            });
            if column.lifts == Some(finger) {
                let side = if left_handed {
                    left - 7.5
                } else {
                    left + HOLE + 1.5
                };
                ink.push(lift(side, bottom - HOLE / 2.0));
            }
        }
        let text = &column.name;
        let size = if Face::Regular.width(text, TEXT) > wide - 3.0 {
            TEXT * 0.82
        } else {
            TEXT
        };
        ink.push(Ink::centred(
            text,
            x + 12.0 + HOLE / 2.0,
            top + STEP * 9.0 + 8.0,
            size,
            Face::Regular,
        ));
        words.push(match column.lifts {
            Some(finger) => format!("{text}: {} lifts", finger.spoken()),
            None => text.clone(),
        });
    }
    writer.put(
        Role::Figure(format!(
            "finger chart, {upper} on top: {}; filled holes are covered, a mark shows the finger that lifts and falls",
            words.join(", ")
        )),
        ink,
    );
    writer.skip(CHART);
}

/// A small arrow head that points up: this finger lifts and falls.
fn lift(left: f64, middle: f64) -> Ink {
    use crate::engraving::font::Segment;
    Ink::Fill(vec![
        Segment::Move((left, middle + 2.6)),
        Segment::Line((left + 3.0, middle - 2.6)),
        Segment::Line((left + 6.0, middle + 2.6)),
        Segment::Close,
    ])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{BUILT_IN, read};

    /// A chart without the gracenote that the second note before asks for teaches the wrong finger.
    #[test]
    fn every_gracenote_of_every_context_has_its_fingers() {
        let mut seen = 0;
        for file in BUILT_IN {
            let drill = read(file.text.as_bytes()).0.expect("it reads");
            let Some(line) = &drill.movement else {
                continue;
            };
            let names: Vec<String> = columns(&drill).into_iter().map(|one| one.name).collect();
            for (from, to) in line
                .from
                .iter()
                .flat_map(|from| line.to.iter().map(move |to| (*from, *to)))
            {
                let context = Context::between(from, to);
                let resolution = resolve(line.movement, context, &drill.schools);
                let Some(resolved) = resolution.played() else {
                    continue;
                };
                for part in &resolved.parts {
                    let name = part.note.name();
                    let shown = names.iter().any(|column| {
                        column.split(' ').next() == Some(name)
                            && (part.role == PartRole::Sounding) != column.contains(' ')
                    });
                    assert!(shown, "{name} from {from} to {to}: {names:?}");
                    seen += 1;
                }
            }
        }
        assert!(seen > 50, "{seen} parts");
    }
}
