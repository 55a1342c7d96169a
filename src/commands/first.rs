//! The first start: four questions whose answers become the settings file.

use crate::app::FirstStart;
use crate::screen::{Theme, view_first};
use crate::services::{
    Failure,
    event_loop::{self, Canvas, Did, Paged, World},
    folders, output, settings,
    terminal::{self, Manner},
};
use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::time::Duration;

/// Asks the questions where no setting was ever made and nothing was played. The answers are
/// written to the settings file, so that they are asked only once. Returns false where the player
/// left the program.
///
/// # Errors
/// The terminal cannot be used, or the file cannot be written.
pub(crate) fn ask() -> Result<bool, Failure> {
    terminal::require()?;
    let own = settings::load(&[], &[])?;
    let new = !folders::settings()?.exists() && !folders::journal()?.exists();
    if Manner::of(&own) == Manner::Lines || !new {
        return Ok(true);
    }
    let page = event_loop::in_terminal(Manner::Screen, |world| {
        let mut page = Page {
            first: FirstStart::default(),
            canvas: Canvas::new()?,
            theme: Theme::new(settings::colours(&own)),
            left: false,
        };
        event_loop::run(&mut page, world)?;
        Ok(page)
    })?;
    if page.left {
        return Ok(false);
    }
    let path = folders::settings()?;
    if let Some(folder) = path.parent() {
        output::make_folder(folder)?;
    }
    let text = settings::starter(&page.first.settings());
    output::write_bytes(&path, false, text.as_bytes())?;
    Ok(true)
}

struct Page {
    first: FirstStart,
    canvas: Canvas,
    theme: Theme,
    left: bool,
}

impl Paged for Page {
    fn is_over(&self) -> bool {
        self.left || self.first.is_over()
    }

    fn wait(&self) -> Duration {
        Duration::from_millis(900)
    }

    fn pressed(&mut self, key: KeyEvent) -> Result<Did, Failure> {
        if key.kind == KeyEventKind::Release {
            return Ok(Did::Nothing);
        }
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        match key.code {
            KeyCode::Char('c') if control => self.left = true,
            KeyCode::Char('z') if control => return Ok(Did::Rests),
            KeyCode::Up => self.first.move_by(-1),
            KeyCode::Down => self.first.move_by(1),
            KeyCode::Enter | KeyCode::Right | KeyCode::PageDown | KeyCode::Char(' ') => {
                self.first.take();
            }
            KeyCode::Left | KeyCode::PageUp => self.first.move_on(),
            KeyCode::Backspace => self.first.back(),
            KeyCode::Esc | KeyCode::Char('q') => self.first.skip_all(),
            _ => return Ok(Did::Nothing),
        }
        Ok(Did::Changed)
    }

    fn turn(&mut self, _: &mut World<'_>) -> Result<Did, Failure> {
        Ok(Did::Nothing)
    }

    fn terminate(&mut self) {
        self.left = true;
    }

    fn show(&mut self, fresh: bool) -> Result<(), Failure> {
        let (first, theme) = (self.first, self.theme);
        self.canvas
            .draw(fresh, |frame| view_first(&first, theme, frame))
    }
}
