//! Redirects what C libraries print to standard error into a file, so that it does not appear on
//! the screen.

use std::fs::File;
use std::io;
#[cfg(unix)]
use std::{os::fd::OwnedFd, sync::Mutex};

/// The original standard error, which either the panic hook or the guard restores.
#[cfg(unix)]
static BEFORE: Mutex<Option<OwnedFd>> = Mutex::new(None);

/// A guard: while it exists, standard error goes to the file.
#[must_use = "standard error comes back when this is dropped"]
#[derive(Debug)]
pub struct Quiet {
    /// False for a guard inside another, which has nothing to restore.
    outer: bool,
}

impl Quiet {
    /// Redirects standard error to `log`, or discards it where `log` cannot be written. A second
    /// call while the first guard exists changes nothing. On systems without file descriptors
    /// nothing happens. Thread: main. Allocates: no. Blocks: no.
    ///
    /// # Errors
    /// The system cannot duplicate the descriptor.
    pub fn into_file(log: Option<&File>) -> io::Result<Self> {
        #[cfg(unix)]
        match log {
            Some(log) => Self::redirected(log),
            None => Self::redirected(&File::options().write(true).open("/dev/null")?),
        }
        #[cfg(not(unix))]
        {
            let _ = log;
            Ok(Self { outer: false })
        }
    }

    #[cfg(unix)]
    fn redirected(log: &File) -> io::Result<Self> {
        let mut before = locked();
        let outer = before.is_none();
        if outer {
            let kept = rustix::io::fcntl_dupfd_cloexec(io::stderr(), 3)?;
            rustix::stdio::dup2_stderr(log)?;
            *before = Some(kept);
        }
        Ok(Self { outer })
    }
}

#[cfg(unix)]
fn locked() -> std::sync::MutexGuard<'static, Option<OwnedFd>> {
    // the value is only taken or put, so it is valid even where a thread panicked while it held the
    // lock
    BEFORE
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner)
}

/// Restores standard error for the panic hook, whose message must be readable. It does nothing
/// where standard error is not redirected. Thread: any but audio. Allocates: no. Blocks: no.
pub fn unquiet() {
    #[cfg(unix)]
    if let Some(kept) = locked().take() {
        let _ = rustix::stdio::dup2_stderr(&kept);
    }
}

impl Drop for Quiet {
    fn drop(&mut self) {
        if self.outer {
            unquiet();
        }
    }
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::io::{Read, Seek};

    /// Output of a C library must not appear on the screen. Standard error must come back, or a
    /// panic would be hidden.
    #[test]
    fn standard_error_goes_to_the_file_and_comes_back() {
        let mut log = tempfile::tempfile().expect("a temporary file");
        let say = |text: &str| {
            // written straight to the descriptor, as a C library does, so that the test harness
            // does not capture it
            rustix::io::write(io::stderr(), text.as_bytes()).expect("written");
        };
        let quiet = Quiet::into_file(Some(&log)).expect("redirected");
        let inner = Quiet::into_file(None).expect("redirected once");
        drop(inner);
        say("kept off the screen\n");
        drop(quiet);
        let nowhere = Quiet::into_file(None).expect("redirected");
        say("and where there is no file, to nowhere\n");
        drop(nowhere);
        unquiet();
        log.rewind().expect("read from the start");
        let mut text = String::new();
        log.read_to_string(&mut text).expect("text");
        assert!(text.contains("kept off the screen"), "{text}");
        assert!(!text.contains("nowhere"), "{text}");
        assert!(locked().is_none(), "put back once, and only once");
    }
}
