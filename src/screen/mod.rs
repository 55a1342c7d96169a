//! What the terminal shows, drawn from the model, and what keys mean.
//!
//! Changes no state and reads no clock. Meaning is never carried by colour alone.

mod keys;
mod parts;
mod plain;
mod theme;

pub use keys::{BINDINGS, Binding, Place, action, key_table};
pub use plain::Plain;
pub use theme::Theme;

use crate::app::{Model, Overlay, Page, Warming};
use crate::score::Score;
use ratatui::Frame;

/// The smallest screen that shows a page, columns and rows.
pub const SMALLEST: (u16, u16) = (40, 10);

/// Draws the model. Gives the first row shown of what lies over the page, which is less than
/// asked for where that would go past the end.
pub fn view(model: &Model, theme: Theme, frame: &mut Frame) -> u16 {
    let area = frame.area();
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        parts::small::draw(frame, theme, area);
        return model.over_scroll;
    }
    match model.page {
        Page::Choose => parts::choose::draw(model, theme, frame, area),
        Page::Practise => parts::practise::draw(model, theme, frame, area),
    }
    match model.over {
        Some(Overlay::Keys) => parts::help::draw(model, theme, frame, area),
        Some(Overlay::Movement) => parts::reading::draw(model, theme, frame, area),
        None => 0,
    }
}

/// Draws a warm-up, and what is wrong with the sound, if anything.
pub fn view_warming(
    warming: &Warming,
    trouble: Option<&str>,
    left_handed: bool,
    theme: Theme,
    frame: &mut Frame,
) {
    let area = frame.area();
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        parts::small::draw(frame, theme, area);
    } else {
        parts::warming::draw(warming, trouble, left_handed, theme, frame);
    }
}

/// The music in one line of text: notes with their lengths, gracenotes in braces.
pub fn music_line(score: &Score) -> String {
    let words: Vec<String> = parts::line::words(score)
        .into_iter()
        .map(|word| word.text)
        .collect();
    words.join(" ")
}
