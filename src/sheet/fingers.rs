//! Draws the fingering of a movement as a chart beside the ladder: a row of holes for each shape of
//! the fingers.

use super::drawing::{Ink, TagRole};
use super::writer::{SMALL, TEXT, Writer};
use crate::chanter::{Finger, Note, Shape, gracenote_finger};
use crate::drill::Drill;
use crate::engraving::font::{Face, Glyph, Segment};
use crate::movement::{Context, Movement, Resolution, Role as PartRole, Schools, resolve};

/// A row of a chart: a shape of the fingers and its name.
struct Row {
    shape: Shape,
    name: String,
    /// The finger that lifts for a gracenote; none for other rows.
    lifts: Option<Finger>,
}

/// The rows of the movement in its first context, and then the rows that only other contexts have:
/// their notes, and another gracenote where the note before needs one.
fn rows(drill: &Drill) -> Vec<Row> {
    let Some(line) = &drill.movement else {
        return Vec::new();
    };
    let mut rows: Vec<Row> = Vec::new();
    for from in &line.from {
        for to in &line.to {
            let own = rows_between(line.movement, *from, *to, &drill.schools);
            if rows.is_empty() {
                rows = own;
                continue;
            }
            for row in own {
                if !rows.iter().any(|known| known.name == row.name) {
                    rows.push(row);
                }
            }
        }
    }
    rows
}

/// The rows in order: the note before, the tones, and gracenotes as fingers that lift.
fn rows_between(movement: Movement, from: Note, to: Note, schools: &Schools) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    let tone = |rows: &mut Vec<Row>, note: Note| {
        rows.push(Row {
            shape: Shape::of(note),
            name: note.name().to_owned(),
            lifts: None,
        });
    };
    let resolved = match resolve(movement, Context::between(from, to), schools) {
        Resolution::Played(resolved) => resolved,
        Resolution::NotPlayable { .. } => return rows,
    };
    tone(&mut rows, from);
    let mut held = from;
    for (place, part) in resolved.parts.iter().enumerate() {
        if part.role == PartRole::Sounding {
            held = part.note;
            tone(&mut rows, part.note);
            continue;
        }
        // a gracenote that opens the next tone is lifted off that tone's shape
        let next = resolved.parts[place + 1..]
            .iter()
            .find(|part| part.role == PartRole::Sounding)
            .map_or(to, |part| part.note);
        let on = next;
        let finger = gracenote_finger(part.note).filter(|_| part.note > on);
        match finger {
            Some(finger) => rows.push(Row {
                shape: Shape::of(on).lifted(finger),
                name: format!("{} gracenote", part.note.name()),
                lifts: Some(finger),
            }),
            None => rows.push(Row {
                shape: Shape::of(part.note),
                name: format!("{} tap", part.note.name()),
                lifts: None,
            }),
        }
        held = on;
    }
    if held != to || rows.last().is_some_and(|row| row.lifts.is_some()) {
        tone(&mut rows, to);
    }
    rows
}

/// The width of the chart in points: the names, eight holes and the gaps between the hands.
pub(super) const WIDTH: f64 = NAMES + STEP * 8.0 + GAP * 2.0;
const NAMES: f64 = 55.0;
/// The distance from one hole to the next, in points.
const STEP: f64 = 10.4;
/// The gap between thumb and hand, and between the hands, in points.
const GAP: f64 = 4.0;
const HOLE: f64 = 7.2;
/// The height of a row in points: a hole, and above it the arrow of a finger that lifts.
const ROW: f64 = 13.0;
/// The height of the words above the hands, in points.
const HEAD: f64 = 14.0;

/// The height of the chart in points; 0 where there is none.
pub(super) fn height(drill: &Drill) -> f64 {
    match rows(drill).len() {
        0 => 0.0,
        count => HEAD + ROW * count as f64,
    }
}

/// The distance from the chart's left end to the left edge of a finger's hole, in points.
fn hole(finger: usize) -> f64 {
    let gaps = [1, 4].iter().filter(|first| finger >= **first).count();
    NAMES + STEP * finger as f64 + GAP * gaps as f64
}

/// Draws the chart with its top left corner at `left`, `top`.
pub(super) fn draw(writer: &mut Writer, drill: &Drill, left_handed: bool, left: f64, top: f64) {
    let rows = rows(drill);
    let (upper, lower) = if left_handed {
        ("right hand", "left hand")
    } else {
        ("left hand", "right hand")
    };
    let mut ink = Vec::new();
    for (words, first, last) in [(upper, 1, 3), (lower, 4, 7)] {
        let middle = left + f64::midpoint(hole(first), hole(last) + HOLE);
        ink.push(Ink::centred(
            words,
            middle,
            top + SMALL,
            SMALL,
            Face::Italic,
        ));
    }
    let scale = HOLE / Glyph::HoleClosed.outline().right;
    let mut words = Vec::new();
    for (place, row) in rows.iter().enumerate() {
        let base = top + HEAD + ROW * (place as f64 + 1.0) - 1.5;
        let size = if Face::Regular.width(&row.name, TEXT) > NAMES - 3.0 {
            TEXT * 0.85
        } else {
            TEXT
        };
        ink.push(Ink::words(&row.name, left, base - 0.5, size, Face::Regular));
        for (number, finger) in Finger::ALL.into_iter().enumerate() {
            let x = left + hole(number);
            let glyph = if row.shape.covers(finger) {
                Glyph::HoleClosed
            } else {
                Glyph::HoleOpen
            };
            ink.push(Ink::Glyph {
                glyph,
                x,
                y: base,
                space: scale,
            });
            if row.lifts == Some(finger) {
                ink.push(lift(x + HOLE / 2.0, base - HOLE - 0.6));
            }
        }
        words.push(match row.lifts {
            Some(finger) => format!("{}: {} lifts", row.name, finger.spoken()),
            None => row.name.clone(),
        });
    }
    writer.put(
        TagRole::Figure(format!(
            "finger chart, thumb, {upper}, {lower}: {}; filled holes are covered, a mark shows the finger that lifts and falls",
            words.join(", ")
        )),
        ink,
    );
}

/// A small arrow head that points up, for a finger that lifts and falls.
fn lift(middle: f64, bottom: f64) -> Ink {
    Ink::Fill(vec![
        Segment::Move((middle - 2.8, bottom)),
        Segment::Line((middle, bottom - 4.0)),
        Segment::Line((middle + 2.8, bottom)),
        Segment::Close,
    ])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{BUILT_IN, read};

    /// A chart without the gracenote that the second note before needs would teach the wrong
    /// finger.
    #[test]
    fn every_gracenote_of_every_context_has_its_fingers() {
        let mut seen = 0;
        for file in BUILT_IN {
            let drill = read(file.text.as_bytes()).0.expect("it reads");
            let Some(line) = &drill.movement else {
                continue;
            };
            let names: Vec<String> = rows(&drill).into_iter().map(|one| one.name).collect();
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
                    let shown = names.iter().any(|row| {
                        row.split(' ').next() == Some(name)
                            && (part.role == PartRole::Sounding) != row.contains(' ')
                    });
                    assert!(shown, "{name} from {from} to {to}: {names:?}");
                    seen += 1;
                }
            }
        }
        assert!(seen > 50, "{seen} parts");
    }
}
