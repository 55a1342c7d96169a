//! Styles. With no colours every meaning is still there, in signs, bold and reverse.

use ratatui::style::{Color, Modifier, Style};

/// The styles of the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Theme {
    colours: bool,
}

impl Theme {
    /// With colours, or without (`NO_COLOR`).
    pub fn new(colours: bool) -> Self {
        Self { colours }
    }

    fn coloured(self, style: Style, colour: Color) -> Style {
        if self.colours {
            style.fg(colour)
        } else {
            style
        }
    }

    /// Text.
    pub fn plain(self) -> Style {
        Style::new()
    }

    /// A heading.
    pub fn heading(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// What matters less.
    pub fn faint(self) -> Style {
        Style::new().add_modifier(Modifier::DIM)
    }

    /// Where one is: the marked line, the note that sounds.
    pub fn here(self) -> Style {
        Style::new().add_modifier(Modifier::REVERSED | Modifier::BOLD)
    }

    /// A beat that sounds now, and big figures.
    pub fn strong(self) -> Style {
        self.coloured(Style::new().add_modifier(Modifier::BOLD), Color::Cyan)
    }

    /// Done.
    pub fn done(self) -> Style {
        self.coloured(Style::new().add_modifier(Modifier::BOLD), Color::Green)
    }

    /// Needs the player.
    pub fn urgent(self) -> Style {
        self.coloured(Style::new().add_modifier(Modifier::BOLD), Color::Yellow)
    }
}
