//! Shows the page of `hear`, either on a screen or in lines.

use crate::app::{Asking, Discriminating};
use crate::screen::{HELP_HEAR, Theme, view_discriminating, view_keys};
use crate::services::{Failure, event_loop::Canvas, output};

/// The page on a screen, or in lines for a screen reader.
pub(super) enum Shown {
    Screen(Box<Canvas>, Theme),
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
        Ok(Self::Screen(Box::new(Canvas::new()?), theme))
    }

    pub(super) fn show(
        &mut self,
        page: &Discriminating,
        help: bool,
        fresh: bool,
    ) -> Result<(), Failure> {
        match self {
            Self::Screen(canvas, theme) => {
                let theme = *theme;
                canvas.draw(fresh, |frame| {
                    if help {
                        view_keys(&HELP_HEAR, theme, frame);
                    } else {
                        view_discriminating(page, theme, frame);
                    }
                })?;
            }
            Self::Lines(last) => {
                // while a movement sounds the question is not read aloud again, because the voice
                // would cover the music
                let asked = matches!(page.asking(), Asking::Question { .. });
                let said = if help {
                    vec![HELP_HEAR.spoken()]
                } else {
                    page.says()
                };
                if (asked && !page.trials().is_empty() && !help) || said == *last {
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
