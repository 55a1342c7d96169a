//! Takes the terminal, and gives it back exactly once, even after a panic.

use super::{Failure, folders, output, signals};
use crate::live::{Quiet, unquiet};
use crate::settings::{Settings, keys};
use crossterm::event::{DisableFocusChange, EnableFocusChange};
use crossterm::terminal::{
    Clear, ClearType, EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use crossterm::{cursor, execute};
use std::fs::File;
use std::io::{IsTerminal, Write, stdout};
use std::sync::atomic::{AtomicBool, Ordering};

/// True while the terminal is taken. The owner and the panic hook share this flag: whichever clears
/// it gives the terminal back, and the other does nothing.
static TAKEN: AtomicBool = AtomicBool::new(false);

/// The way in which the terminal is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Manner {
    /// A full screen that is drawn.
    Screen,
    /// Plain lines, with keys read one by one.
    Lines,
}

impl Manner {
    /// The manner that the settings ask for. A terminal that cannot be drawn on always has lines.
    pub(crate) fn of(settings: &Settings) -> Self {
        let dumb = std::env::var_os("TERM").is_some_and(|name| name == "dumb");
        if dumb || settings.switch(keys::PLAIN) {
            Self::Lines
        } else {
            Self::Screen
        }
    }
}

/// The file that receives what C libraries print while the terminal is taken.
pub(crate) fn log_file() -> Option<File> {
    let folder = folders::data().ok()?;
    std::fs::create_dir_all(&folder).ok()?;
    File::create(folder.join("sound.log")).ok()
}

/// A terminal that is taken.
pub(crate) struct Terminal {
    manner: Manner,
    quiet: Option<Quiet>,
}

/// Checks that the program runs in a terminal. The error names what works without one.
///
/// # Errors
/// Standard input or output is not a terminal.
pub(crate) fn require() -> Result<(), Failure> {
    if std::io::stdin().is_terminal() && stdout().is_terminal() {
        return Ok(());
    }
    Err(Failure(
        "this needs a terminal for its screen and keys; without one these work: `render` writes \
         a WAV file, `timeline` prints what sounds when, `check`, `drills`, `devices` and `schema`"
            .to_owned(),
    ))
}

/// The width of the terminal in columns; 80 where there is no terminal.
pub(crate) fn columns() -> usize {
    crossterm::terminal::size().map_or(80, |(columns, _)| usize::from(columns))
}

/// Clears the screen.
///
/// # Errors
/// The terminal cannot be written.
pub(crate) fn wipe() -> std::io::Result<()> {
    execute!(stdout(), Clear(ClearType::All))
}

impl Terminal {
    /// Takes the terminal. From here on the output of C libraries goes to the log, or is discarded
    /// where there is none.
    ///
    /// # Errors
    /// The terminal cannot be taken.
    pub(crate) fn take(manner: Manner, log: Option<&File>) -> Result<Self, Failure> {
        install_hook();
        let mut terminal = Self {
            manner,
            quiet: Quiet::into_file(log).ok(),
        };
        terminal.enter()?;
        Ok(terminal)
    }

    fn enter(&mut self) -> Result<(), Failure> {
        let told = |error: std::io::Error| Failure(format!("the terminal cannot be used: {error}"));
        TAKEN.store(true, Ordering::SeqCst);
        enable_raw_mode().map_err(told)?;
        if self.manner == Manner::Screen {
            execute!(
                stdout(),
                EnterAlternateScreen,
                EnableFocusChange,
                cursor::Hide
            )
            .map_err(told)?;
        }
        Ok(())
    }

    /// Gives the terminal back, stops this process like `Ctrl-Z` in a command shell, and takes the
    /// terminal again when the process continues.
    ///
    /// # Errors
    /// The terminal cannot be taken again.
    pub(crate) fn suspend(&mut self, log: Option<&File>) -> Result<(), Failure> {
        give_back();
        self.quiet = None;
        signals::stop();
        self.quiet = Quiet::into_file(log).ok();
        self.enter()
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        give_back();
    }
}

/// Gives the terminal back, unless that was done already.
pub(crate) fn give_back() {
    if TAKEN.swap(false, Ordering::SeqCst) {
        let _ = execute!(
            stdout(),
            DisableFocusChange,
            LeaveAlternateScreen,
            cursor::Show
        );
        let _ = disable_raw_mode();
        let _ = stdout().flush();
    }
}

/// Escapes control characters in the message of a panic, because it may contain text from a file.
pub(crate) fn tell_panics_visibly() {
    std::panic::set_hook(Box::new(|panic| {
        if crate::decoding::is_decoding() {
            return;
        }
        let thread = std::thread::current();
        let name = thread.name().unwrap_or("without a name");
        let said = panic
            .payload_as_str()
            .unwrap_or("nothing that can be printed");
        let place = panic
            .location()
            .map_or_else(String::new, |place| format!(" at {place}"));
        let told = format!("the thread {name} panicked{place}:\n{said}");
        match std::env::var_os("RUST_BACKTRACE") {
            None => output::complain(&told),
            Some(_) => {
                let trace = std::backtrace::Backtrace::capture();
                output::complain(&format!("{told}\n{trace}"));
            }
        }
    }));
}

/// Installs the panic hook. After a panic of the main thread the terminal is given back before the
/// message is printed. The message of any other thread goes to the log, because the main thread
/// goes on and still uses the terminal.
fn install_hook() {
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| {
        let before = std::panic::take_hook();
        let owner = std::thread::current().id();
        std::panic::set_hook(Box::new(move |panic| {
            if std::thread::current().id() == owner {
                give_back();
                unquiet();
            }
            before(panic);
        }));
    });
}
