//! Draws the first start: the answers so far, the question with its answers, and what Enter does.

use super::{frame, put, wrapped};
use crate::app::{FirstStart, QUESTIONS};
use crate::screen::Theme;
use ratatui::Frame;
use ratatui::layout::Rect;

/// Draws the page.
pub(in crate::screen) fn draw(first: &FirstStart, theme: Theme, target: &mut Frame) {
    let whole = target.area();
    let buffer = target.buffer_mut();
    let area = frame::within(whole);
    let beside = format!("{} of {}", first.at().min(3) + 1, QUESTIONS.len());
    frame::head(buffer, whole, "gracerung · the first start", &beside, theme);
    let roomy = area.height >= 20;
    let mut y = area.y + if roomy { 2 } else { 1 };
    if roomy {
        let words = "Four questions. Enter takes the marked answer; all of it can be changed later, \
                     `gracerung settings` says where.";
        for line in wrapped(words, area.width) {
            put(buffer, area, area.x, y, &line, theme.plain());
            y += 1;
        }
        y += 1;
    }
    for (question, marked) in QUESTIONS.iter().zip(first.marked()).take(first.at()) {
        let answer = question.answers.get(marked).map_or("", |answer| answer.0);
        let x = put(buffer, area, area.x, y, question.asks, theme.plain());
        put(buffer, area, x + 1, y, answer, theme.strong());
        y += 1;
    }
    y += u16::from(roomy && first.at() > 0);
    if let Some(question) = first.question() {
        put(buffer, area, area.x, y, question.asks, theme.strong());
        y += 1 + u16::from(roomy);
        for (at, (answer, means)) in question.answers.iter().enumerate() {
            let here = at == first.answer();
            let style = if here { theme.accent() } else { theme.plain() };
            let sign = if here { "▸" } else { " " };
            let line = format!("{sign} {answer:<18}");
            put(buffer, area, area.x, y, &line, style);
            let beside = area.x + 22;
            let room = area.right().saturating_sub(beside);
            if room >= 20 {
                for line in wrapped(means, room).iter().take(2) {
                    put(buffer, area, beside, y, line, theme.plain());
                    y += 1;
                }
            } else {
                y += 1;
            }
        }
    }
    let foot = Rect {
        y: area.bottom().saturating_sub(1),
        height: 1,
        ..area
    };
    let keys = [
        ("right/enter", "takes it"),
        ("left/down", "next"),
        ("q", "skips the rest"),
    ];
    frame::keys(buffer, foot, &keys, theme);
}
