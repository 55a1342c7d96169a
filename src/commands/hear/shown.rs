//! The page of `hear`, on a screen or in lines.

use crate::app::{Asking, Discriminating};
use crate::commands::{Failure, output, terminal};
use crate::screen::{Theme, view_discriminating};
use ratatui::backend::CrosstermBackend;
use std::io::stdout;

/// The page on a screen, or as lines that a screen reader says.
pub(super) enum Shown {
    Screen(
        Box<ratatui::Terminal<CrosstermBackend<std::io::Stdout>>>,
        Theme,
    ),
    Lines(Vec<String>),
}

impl Shown {
    pub(super) fn new(theme: Theme, lines: bool) -> Result<Self, Failure> {
        if lines {
            output::print(
                "Right pedal or c: clean, begin, once more. Left pedal or x: fault, both again, leave. q leaves.\r\n",
            )?;
            return Ok(Self::Lines(Vec::new()));
        }
        // Within a session the page before is still there.
        terminal::wipe().map_err(drawing)?;
        let terminal = ratatui::Terminal::new(CrosstermBackend::new(stdout())).map_err(drawing)?;
        Ok(Self::Screen(Box::new(terminal), theme))
    }

    pub(super) fn show(&mut self, page: &Discriminating) -> Result<(), Failure> {
        match self {
            Self::Screen(terminal, theme) => {
                let theme = *theme;
                terminal
                    .draw(|frame| view_discriminating(page, theme, frame))
                    .map_err(drawing)?;
            }
            Self::Lines(last) => {
                // Said over the music, the question would be in its way: once is enough.
                let asked = matches!(page.asking, Asking::Question { .. });
                let said = page.says();
                if (asked && !page.trials.is_empty()) || said == *last {
                    return Ok(());
                }
                for line in &said {
                    output::print(&format!("{line}\r\n"))?;
                }
                *last = said;
            }
        }
        Ok(())
    }
}

fn drawing(error: std::io::Error) -> Failure {
    Failure(format!("the terminal cannot be used: {error}"))
}
