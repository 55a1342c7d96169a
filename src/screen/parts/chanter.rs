//! Draws the chanter's holes for the note that sounds, and the fingers that move next.
//!
//! ```text
//!   D now      LG next
//!   thumb ●
//!         ●
//!         ●
//!         ●
//!         ○ ▼
//!         ○ ▼
//!         ○ ▼
//!         ●
//! ```

use super::{fitted, put};
use crate::app::Sounding;
use crate::chanter::{Finger, Note, Shape, gracenote_finger};
use crate::screen::Theme;
use crate::timeline::{SoundPart, Sounded};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// The shape of the fingers for a note. A separating gracenote is the held shape with one finger
/// lifted; any other note has its own shape in the fingering chart.
fn shape(sounded: &Sounded, held: Option<Note>) -> Shape {
    if let (SoundPart::Gracenote(crate::movement::Role::Separating), Some(held)) =
        (sounded.part, held)
        && let Some(finger) = gracenote_finger(sounded.note)
        && sounded.note > held
    {
        return Shape::of(held).lifted(finger);
    }
    Shape::of(sounded.note)
}

/// The shape of the fingers now, and the next one.
fn shapes(sounding: Sounding) -> (Option<Shape>, Option<Shape>) {
    let now = sounding.now.map(|now| {
        let held = sounding.next.map(|next| next.note);
        shape(&now, held)
    });
    let next = sounding.next.map(|next| {
        let held = sounding.now.map(|now| now.note);
        shape(&next, held)
    });
    (now, next)
}

/// The title of the fingering picture, such as `D now, (HG) next`.
fn title(sounding: Sounding) -> String {
    let name = |sounded: Option<Sounded>| match sounded {
        Some(Sounded {
            note,
            part: SoundPart::Melody { .. },
            ..
        }) => note.name().to_owned(),
        Some(sounded) => format!("({})", sounded.note.name()),
        None => "–".to_owned(),
    };
    format!("{} now, {} next", name(sounding.now), name(sounding.next))
}

/// Draws the holes, upright where there are ten rows, or else in one line.
pub(super) fn draw(
    buffer: &mut Buffer,
    theme: Theme,
    area: Rect,
    sounding: Sounding,
    left_handed: bool,
) {
    let (now, next) = shapes(sounding);
    let title = fitted(&title(sounding), area.width);
    let drawn = now.or(next);
    if area.height >= 9 {
        put(buffer, area, area.x, area.y, &title, theme.strong());
        for (row, finger) in Finger::ALL.into_iter().enumerate() {
            let y = area.y + 1 + row as u16;
            let hole = hole(drawn, finger);
            let (sign, style) = motion(now, next, finger, theme);
            let hand = match (finger, left_handed) {
                (Finger::Thumb, _) => "thumb",
                (Finger::UpperIndex, false) | (Finger::LowerIndex, true) => "left",
                (Finger::UpperIndex, true) | (Finger::LowerIndex, false) => "right",
                _ => "",
            };
            if left_handed {
                put(buffer, area, area.x, y, &sign, style);
                put(buffer, area, area.x + 2, y, hole, theme.plain());
                put(buffer, area, area.x + 4, y, hand, theme.plain());
            } else {
                put(
                    buffer,
                    area,
                    area.x,
                    y,
                    &format!("{hand:>5}"),
                    theme.plain(),
                );
                put(buffer, area, area.x + 6, y, hole, theme.plain());
                put(buffer, area, area.x + 8, y, &sign, style);
            }
        }
        return;
    }
    let mut x = area.x;
    for finger in Finger::ALL {
        // for a left-handed player the two hands change places, but the shapes stay
        let hand = match (finger, left_handed) {
            (Finger::UpperIndex, false) | (Finger::LowerIndex, true) => " L",
            (Finger::UpperIndex, true) | (Finger::LowerIndex, false) => " R",
            _ => "",
        };
        x = put(buffer, area, x, area.y, hand, theme.plain());
        let (sign, style) = motion(now, next, finger, theme);
        let hole = hole(drawn, finger);
        let style = if sign.trim().is_empty() {
            theme.plain()
        } else {
            style
        };
        put(buffer, area, x, area.y + 1, &sign, style);
        x = put(buffer, area, x, area.y, hole, style);
    }
    // the title is beside the holes where there is room, or else below them
    if x + 1 + title.chars().count() as u16 <= area.right() {
        put(buffer, area, x + 1, area.y, &title, theme.strong());
    } else {
        put(buffer, area, area.x, area.y + 2, &title, theme.strong());
    }
}

/// Draws the holes in a row, as large as the area allows. A full block is a covered hole, a frame
/// an open one. Below each hole is the next motion of its finger; below all of them are the present
/// and the next note.
pub(super) fn draw_large(
    buffer: &mut Buffer,
    theme: Theme,
    area: Rect,
    sounding: Sounding,
    left_handed: bool,
) {
    let fingers = Finger::ALL.len() as u16;
    let wide = (area.width + 1) / (fingers + 1) - 1;
    let tall = area.height.saturating_sub(2).min(wide / 2);
    if tall < 2 {
        draw(buffer, theme, area, sounding, left_handed);
        return;
    }
    let wide = tall * 2;
    let (now, next) = shapes(sounding);
    let drawn = now.or(next);
    let mut x = area.x;
    for finger in Finger::ALL {
        if matches!(finger, Finger::UpperIndex | Finger::LowerIndex) {
            // thumb, upper hand and lower hand are drawn apart
            x += wide / 2;
        }
        let covered = drawn.map(|shape| shape.covers(finger));
        let (sign, style) = motion(now, next, finger, theme);
        let moves = !sign.trim().is_empty();
        let paint = if moves { theme.strong() } else { theme.plain() };
        for row in 0..tall {
            let edge = row == 0 || row + 1 == tall;
            let line = match (covered, edge) {
                (Some(true), _) => "█".repeat(usize::from(wide)),
                (Some(false), true) => {
                    let (left, right) = if row == 0 {
                        ("┌", "┐")
                    } else {
                        ("└", "┘")
                    };
                    let between = "─".repeat(usize::from(wide) - 2);
                    format!("{left}{between}{right}")
                }
                (Some(false), false) => {
                    format!("│{}│", " ".repeat(usize::from(wide) - 2))
                }
                (None, _) => "·".repeat(usize::from(wide)),
            };
            put(buffer, area, x, area.y + row, &line, paint);
        }
        if moves {
            let arrows = sign.repeat(usize::from(wide));
            put(buffer, area, x, area.y + tall, &arrows, style);
        }
        x += wide + 1;
    }
    let title = fitted(&title(sounding), area.width);
    put(
        buffer,
        area,
        area.x,
        area.y + tall + 1,
        &title,
        theme.strong(),
    );
}

fn hole(shape: Option<Shape>, finger: Finger) -> &'static str {
    match shape {
        Some(shape) if shape.covers(finger) => "●",
        Some(_) => "○",
        None => "·",
    }
}

/// An arrow up for a finger that lifts next, and down for one that covers its hole next.
fn motion(
    now: Option<Shape>,
    next: Option<Shape>,
    finger: Finger,
    theme: Theme,
) -> (String, ratatui::style::Style) {
    let (Some(now), Some(next)) = (now, next) else {
        return (" ".to_owned(), theme.plain());
    };
    match (now.covers(finger), next.covers(finger)) {
        (true, false) => ("▲".to_owned(), theme.strong()),
        (false, true) => ("▼".to_owned(), theme.strong()),
        _ => (" ".to_owned(), theme.plain()),
    }
}
