//! The one event loop of every page: it reads keys, lets time pass and draws, so that all pages
//! behave alike.
//!
//! It knows the terminal and the signals. Each page says what is drawn and what its keys do.

use super::{
    Failure, signals,
    terminal::{self, Manner, Terminal},
};
use crate::practice::{HELD_MS, Mark};
use crossterm::event::{Event as Input, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, poll, read};
use ratatui::Frame;
use ratatui::backend::CrosstermBackend;
use std::fs::File;
use std::io::{Stdout, stdout};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Time between two drawings while something moves.
pub(crate) const FRAME: Duration = Duration::from_millis(33);

/// What a key or the passing of time changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Did {
    /// Nothing visible changed.
    Nothing,
    /// The page changed.
    Changed,
    /// Another program had the terminal, so the whole page must be drawn again.
    Fresh,
    /// The program is to be suspended.
    Rests,
}

/// What the loop uses in addition to its page.
pub(crate) struct World<'a> {
    /// The terminal, in raw mode.
    pub(crate) terminal: &'a mut Terminal,
    /// The file that receives what C libraries print.
    pub(crate) log: Option<&'a File>,
    /// True once a signal asks the program to end.
    pub(crate) terminate: &'a AtomicBool,
}

/// The pedal press that opened a page. A foot that stays on the pedal makes its key repeat, and the
/// repeats must not act on the new page.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Foot(Option<Instant>);

impl Foot {
    /// A press at this moment.
    pub(crate) fn on(pressed: Instant) -> Self {
        Self(Some(pressed))
    }

    /// True where this press is still a repeat of the one that opened the page.
    pub(crate) fn is_still_on(&mut self, side: Option<Mark>, now: Instant) -> bool {
        let last = self.0.take();
        let held = Duration::from_millis(HELD_MS as u64);
        let still =
            side == Some(Mark::Clean) && last.is_some_and(|last| now.duration_since(last) <= held);
        if still {
            self.0 = Some(now);
        }
        still
    }
}

/// A page that the loop can run.
pub(crate) trait Paged {
    /// True when the page is to be left.
    fn is_over(&self) -> bool;
    /// How long the loop may wait for a key before it does anything else.
    fn wait(&self) -> Duration;
    /// Handles a key.
    fn pressed(&mut self, key: KeyEvent) -> Result<Did, Failure>;
    /// Lets time pass.
    fn turn(&mut self, world: &mut World<'_>) -> Result<Did, Failure>;
    /// Handles a signal that asks the program to end.
    fn terminate(&mut self);
    /// Handles the return from a suspension.
    fn woke(&mut self) {}
    /// Whether the help on its keys is shown over the page; none for a page that shows its help
    /// itself.
    fn help(&mut self) -> Option<&mut bool> {
        None
    }
    /// Draws the page. With `fresh` everything is drawn again, because another program had the
    /// terminal.
    fn show(&mut self, fresh: bool) -> Result<(), Failure>;
}

/// Takes the terminal, runs the function, and gives the terminal back.
///
/// # Errors
/// The terminal cannot be taken, or the function returns an error.
pub(crate) fn in_terminal<T>(
    manner: Manner,
    run: impl FnOnce(&mut World<'_>) -> Result<T, Failure>,
) -> Result<T, Failure> {
    let log = terminal::log_file();
    let terminate = signals::termination(terminal::give_back);
    let mut taken = Terminal::take(manner, log.as_ref())?;
    run(&mut World {
        terminal: &mut taken,
        log: log.as_ref(),
        terminate: &terminate,
    })
}

/// Runs a page until it is over.
///
/// # Errors
/// The terminal cannot be read or drawn on, or the page returns an error.
pub(crate) fn run(page: &mut impl Paged, world: &mut World<'_>) -> Result<(), Failure> {
    let told = |error: std::io::Error| Failure(format!("the keys cannot be read: {error}"));
    page.show(false)?;
    while !page.is_over() {
        let mut done = Did::Nothing;
        if poll(page.wait()).map_err(told)? {
            // all waiting keys are read before the next drawing
            loop {
                let did = match read().map_err(told)? {
                    Input::Key(key) => with_manners(page, key)?,
                    Input::Resize(..) => Did::Changed,
                    _ => Did::Nothing,
                };
                done = later(done, did);
                if done == Did::Rests || page.is_over() || !poll(Duration::ZERO).map_err(told)? {
                    break;
                }
            }
        }
        if world.terminate.load(Ordering::Relaxed) {
            page.terminate();
        }
        done = later(done, page.turn(world)?);
        if done == Did::Rests {
            world.terminal.suspend(world.log)?;
            page.woke();
            done = Did::Fresh;
        }
        if done != Did::Nothing && !page.is_over() {
            page.show(done == Did::Fresh)?;
        }
    }
    Ok(())
}

/// The change that needs more drawing, of two that happened since the last drawing.
fn later(one: Did, other: Did) -> Did {
    let weight = |did: Did| match did {
        Did::Nothing => 0,
        Did::Changed => 1,
        Did::Fresh => 2,
        Did::Rests => 3,
    };
    if weight(other) > weight(one) {
        other
    } else {
        one
    }
}

/// Handles the keys that every page shares: `?` shows the help, any key closes it, and Ctrl-Z
/// suspends. All other keys go to the page.
fn with_manners(page: &mut impl Paged, key: KeyEvent) -> Result<Did, Failure> {
    let Some(help) = page.help() else {
        return page.pressed(key);
    };
    if key.kind == KeyEventKind::Release {
        return Ok(Did::Nothing);
    }
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    if control && key.code == KeyCode::Char('z') {
        let did = page.pressed(key)?;
        return Ok(later(did, Did::Rests));
    }
    if *help && !control {
        *help = false;
        return Ok(Did::Changed);
    }
    if key.code == KeyCode::Char('?') {
        *help = true;
        return Ok(Did::Changed);
    }
    page.pressed(key)
}

/// The screen that pages draw on.
pub(crate) struct Canvas(ratatui::Terminal<CrosstermBackend<Stdout>>);

impl Canvas {
    /// A cleared screen; within a session it may still show the page before.
    ///
    /// # Errors
    /// The terminal cannot be written.
    pub(crate) fn new() -> Result<Self, Failure> {
        terminal::wipe().map_err(drawing)?;
        let terminal = ratatui::Terminal::new(CrosstermBackend::new(stdout())).map_err(drawing)?;
        Ok(Self(terminal))
    }

    /// Draws the page. With `fresh` everything is drawn again, because another program had the
    /// terminal.
    ///
    /// # Errors
    /// The terminal cannot be written.
    pub(crate) fn draw(
        &mut self,
        fresh: bool,
        draw: impl FnOnce(&mut Frame<'_>),
    ) -> Result<(), Failure> {
        if fresh {
            *self = Self::new()?;
        }
        self.0.draw(draw).map_err(drawing)?;
        Ok(())
    }
}

fn drawing(error: std::io::Error) -> Failure {
    Failure(format!("the terminal cannot be used: {error}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A foot that stays on the pedal acts on one page only. Once it was lifted, a new press acts
    /// again.
    #[test]
    fn a_foot_that_stays_on_the_pedal_presses_once() {
        let begun = Instant::now();
        let after = |ms| begun + Duration::from_millis(ms);
        let mut foot = Foot::on(begun);
        for ms in [30, 500, 900] {
            assert!(foot.is_still_on(Some(Mark::Clean), after(ms)));
        }
        assert!(!foot.is_still_on(Some(Mark::Clean), after(1600)));
        assert!(!foot.is_still_on(Some(Mark::Clean), after(1630)));
        let mut foot = Foot::on(begun);
        assert!(!foot.is_still_on(Some(Mark::NotClean), after(30)));
        assert!(!Foot::default().is_still_on(Some(Mark::Clean), after(0)));
    }
}
