//! Draws the page of the warm-up: the present step with its notes, the time left, and the next
//! step.

use super::{chanter, fitted, frame, line, put, staff, wrapped};
use crate::app::Warming;
use crate::screen::Theme;
use crate::units::Seconds;
use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::collections::BTreeSet;

fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0).ceil() as u64;
    format!("{}:{:02}", whole / 60, whole % 60)
}

/// Draws the warm-up.
pub(in crate::screen) fn draw(
    warming: &Warming,
    trouble: Option<&str>,
    left_handed: bool,
    theme: Theme,
    target: &mut Frame,
) {
    let area = target.area();
    let buffer = target.buffer_mut();
    let inner = frame::within(area);
    let (total, gone) = warming.lengths();
    let left = format!("{} left", clock((total - gone).0));
    frame::head(buffer, area, "Warm-up", &left, theme);
    let close = inner.height < 14;
    let mut y = inner.y + if close { 1 } else { 2 };
    match warming.step() {
        Some(step) => {
            for line in wrapped(&step.says, inner.width).iter().take(3) {
                put(buffer, inner, inner.x, y, line, theme.strong());
                y += 1;
            }
            let left = Seconds(f64::from(step.seconds)) - warming.run();
            let tempo = crate::units::spell_fraction(&step.tempo.value());
            let state = match &warming.heard() {
                _ if warming.paused() => ", paused",
                Some(place) if place.counting_in => ", counting in",
                Some(place) if place.is_breath() => ", silent: counting in",
                _ => "",
            };
            put(
                buffer,
                inner,
                inner.x,
                y,
                &format!("at {tempo}, {}{state}", clock(left.0)),
                theme.plain(),
            );
            y += 1;
        }
        None => {
            let rest = "warm: now play. Ten minutes' rest an hour, stop before it hurts; what hurts is for a clinician, how to move is for a teacher.";
            for line in wrapped(rest, inner.width) {
                put(buffer, inner, inner.x, y, &line, theme.strong());
                y += 1;
            }
        }
    }
    let share = if total.0 > 0.0 {
        (gone / total).clamp(0.0, 1.0)
    } else {
        1.0
    };
    let full = (share * f64::from(inner.width)).round() as usize;
    let bar: String = (0..usize::from(inner.width))
        .map(|at| if at < full { '█' } else { '░' })
        .collect();
    put(buffer, inner, inner.x, y, &bar, theme.strong());
    if let Some(next) = warming.next() {
        let text = fitted(&format!("next: {}", next.says), inner.width);
        put(buffer, inner, inner.x, y + 1, &text, theme.plain());
    }
    if let Some(trouble) = trouble {
        let lines = wrapped(trouble, inner.width);
        let rows = lines.len().min(2) as u16;
        let top = inner.bottom().saturating_sub(1 + rows);
        for (y, line) in (top..).zip(lines.iter().take(2)) {
            put(buffer, inner, inner.x, y, line, theme.warning());
        }
    }
    let above = y + if close { 2 } else { 3 };
    let music = Rect {
        y: above,
        height: inner.bottom().saturating_sub(above + 3),
        ..inner
    };
    if !warming.is_over() && music.height > 0 {
        notes(warming, left_handed, theme, buffer, music);
    }
    let foot = Rect {
        y: inner.bottom().saturating_sub(1),
        height: 1,
        ..inner
    };
    let (right, left) = match (warming.is_over(), warming.paused()) {
        (true, _) => ("leaves", ""),
        (false, true) => ("goes on", "next"),
        (false, false) => ("pauses", "next"),
    };
    let keys = if warming.is_over() {
        vec![("right/left/enter", right), ("?", "keys")]
    } else {
        let pedals = [("right/space", right), ("left/n", left)];
        pedals
            .into_iter()
            .chain([("q", "leave"), ("?", "keys")])
            .collect()
    };
    frame::keys(buffer, foot, &keys, theme);
}

/// Draws the music of the step with the note that sounds. Above it are the holes of the chanter,
/// where there is room for both.
fn notes(warming: &Warming, left_handed: bool, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let (Some(present), Some(sounding)) = (warming.present(), warming.sounding()) else {
        return;
    };
    let mut area = area;
    if area.height >= 4 {
        let holes = Rect { height: 2, ..area };
        chanter::draw(buffer, theme, holes, sounding, left_handed);
        area.y += 2;
        area.height -= 2;
    }
    let now = sounding.now.map(|sounded| sounded.id);
    let bar = warming
        .heard()
        .map_or(0, |place| staff::present_bar(&present.score, place));
    let hidden = BTreeSet::new();
    let written = (&present.score, &present.music, &hidden);
    let tall = area.height >= staff::LEAST_ROWS;
    if !tall || !staff::draw_bars(buffer, theme, area, written, (bar, now)) {
        let written = (&present.score, &hidden);
        line::draw(buffer, theme, area, written, now);
    }
}
