//! Draws the model on the terminal, and says what keys mean.
//!
//! This room changes no state and reads no clock. No meaning is carried by colour alone.

mod keys;
mod parts;
mod plain;
mod theme;

pub use keys::{
    BINDINGS, Binding, HELP, HELP_BLOW, HELP_HEAR, HELP_WARM, HelpGroup, KeyPlace, action,
    key_table,
};
pub use parts::board::rows as board_rows;
pub use parts::shape::{longest, two_bars};
pub use plain::Plain;
pub use theme::Theme;

use crate::app::{Blowing, Discriminating, FirstStart, Model, Overlay, Page, Warming};
use crate::score::{NoteId, Score};
use crate::wording::is_unseen;
use ratatui::Frame;
use std::collections::BTreeSet;

/// The smallest window that shows a page, in columns and rows.
pub const SMALLEST: (u16, u16) = (40, 10);

/// Draws the model. Returns the first shown row of an overlay, from 0. It is less than the row that
/// was asked for where the overlay would end too early.
pub fn view(model: &Model, theme: Theme, frame: &mut Frame) -> u16 {
    let area = frame.area();
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        parts::small::draw(frame, theme, area);
        return model.over_scroll();
    }
    match model.page() {
        Page::Choose => parts::choose::draw(model, theme, frame, area),
        Page::Practise => parts::practise::draw(model, theme, frame, area),
        Page::Session => parts::session::draw(model, theme, frame, area),
    }
    let first = match model.over() {
        Some(Overlay::Keys) => parts::help::draw(model, theme, frame, area),
        Some(Overlay::Movement | Overlay::Problems) => {
            parts::reading::draw(model, theme, frame, area)
        }
        None => 0,
    };
    seal(frame);
    first
}

/// Replaces control characters in any cell by a dot. Texts from outside are cleaned where they
/// enter the program; this catches what was missed.
fn seal(frame: &mut Frame) {
    for cell in &mut frame.buffer_mut().content {
        if cell.symbol().contains(is_unseen) {
            cell.set_symbol("·");
        }
    }
}

/// Draws the keys of a page that is not part of the model.
pub fn view_keys(group: &HelpGroup, theme: Theme, frame: &mut Frame) {
    let area = frame.area();
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        parts::small::draw(frame, theme, area);
    } else {
        parts::help::page(&[group], &[], 0, theme, frame.buffer_mut(), area);
    }
}

/// Draws the questions of the first start.
pub fn view_first(first: &FirstStart, theme: Theme, frame: &mut Frame) {
    let area = frame.area();
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        parts::small::draw(frame, theme, area);
    } else {
        parts::first::draw(first, theme, frame);
    }
    seal(frame);
}

/// Draws the page for blowing evenly.
pub fn view_blowing(blowing: &Blowing, theme: Theme, frame: &mut Frame) {
    let area = frame.area();
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        parts::small::draw(frame, theme, area);
    } else {
        parts::blowing::draw(blowing, theme, frame);
    }
    seal(frame);
}

/// Draws the page where a movement is heard clean or with a fault.
pub fn view_discriminating(page: &Discriminating, theme: Theme, frame: &mut Frame) {
    let area = frame.area();
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        parts::small::draw(frame, theme, area);
    } else {
        parts::discriminating::draw(page, theme, frame);
    }
    seal(frame);
}

/// Draws a warm-up, with the trouble of the sound where there is any.
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
    seal(frame);
}

/// The music as one line of text: notes with their lengths, and gracenotes in braces.
pub fn music_line(score: &Score, hidden: &BTreeSet<NoteId>) -> String {
    let words: Vec<String> = parts::line::words(score, hidden)
        .into_iter()
        .map(|word| word.text)
        .collect();
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::{Message, OpenedDrill, Options, update};
    use crate::chanter::Note;
    use crate::drill::{built_in, read};
    use crate::listening::{HeardNow, HeldNote};
    use crate::practice::Moment;
    use crate::units::{Cents, FullScale, Hertz, Seconds};
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    const NOW: HeardNow = HeardNow {
        level: FullScale(-20.0),
        note: Some((Note::D, Some(Cents(4.0)))),
        held: Some(HeldNote {
            length: Seconds(1.0),
            cents: Cents(4.0),
            spread: Cents(2.0),
        }),
        clips: false,
        silent: Seconds(0.0),
        unheard: Seconds(0.0),
        low_a: Hertz(236.0),
    };

    fn practising(now: HeardNow) -> Model {
        let file = built_in("grip-from-d").expect("built in");
        let mut model = Model::new(Options {
            by_ear: true,
            ..Options::default()
        });
        let opened = OpenedDrill::new(
            "grip-from-d",
            read(file.text.as_bytes()).0.expect("no problem"),
        );
        let at = Moment {
            utc_us: 0,
            offset_s: 0,
            heard_ms: 0,
        };
        for message in [Message::Opened(Box::new(opened)), Message::Ear(Some(now))] {
            update(&mut model, at, message);
        }
        model
    }

    fn shown(width: u16, height: u16, model: &Model) -> String {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a screen");
        terminal
            .draw(|frame| {
                view(model, Theme::new(false), frame);
            })
            .expect("drawn");
        let buffer = terminal.backend().buffer();
        (0..height)
            .map(|y| {
                let row: String = (0..width).map(|x| buffer[(x, y)].symbol()).collect();
                format!("{row}\n")
            })
            .collect()
    }

    /// A small window must show what the microphone hears as a large one does: the note, its cents,
    /// how even it is, the level, and any trouble, all without colour.
    #[test]
    fn what_the_microphone_hears_is_on_every_screen() {
        for (width, height) in [(40, 10), (80, 24), (120, 40)] {
            let screen = shown(width, height, &practising(NOW));
            for part in ["D ", "+4 cents", "±2", "◆", "▮▮▮▮▯"] {
                assert!(
                    screen.contains(part),
                    "{part} at {width}x{height}:\n{screen}"
                );
            }
            let clips = HeardNow { clips: true, ..NOW };
            let screen = shown(width, height, &practising(clips));
            assert!(screen.contains("the microphone clips"), "{screen}");
            let silent = HeardNow {
                silent: Seconds(3.0),
                note: None,
                held: None,
                ..NOW
            };
            let screen = shown(width, height, &practising(silent));
            assert!(screen.contains("nothing is heard"), "{screen}");
        }
    }

    /// A screen reader must not repeat the same trouble with every breath.
    #[test]
    fn plain_lines_say_a_trouble_once() {
        let mut plain = Plain::default();
        let silent = HeardNow {
            silent: Seconds(3.0),
            ..NOW
        };
        let said = |plain: &mut Plain, now| plain.lines(&practising(now)).join("\n");
        assert!(said(&mut plain, silent).contains("nothing is heard"));
        assert!(!said(&mut plain, NOW).contains("nothing is heard"));
        assert!(!said(&mut plain, silent).contains("nothing is heard"));
        let clips = HeardNow { clips: true, ..NOW };
        assert!(said(&mut plain, clips).contains("clips"));
    }
}
