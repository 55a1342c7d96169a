//! What a signal asks of the program: to leave, and Ctrl-Z. Windows has no signals: there Ctrl-C is a
//! key like any other and Ctrl-Z does nothing.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;
#[cfg(unix)]
use std::{sync::atomic::Ordering, time::Duration};

/// Signals that ask the program to leave: the loop sees the flag. Where it cannot (a terminal that
/// has gone away keeps the key reader busy for ever), the program gives the terminal back by itself
/// and ends after two seconds; every mark shown is in the journal by then.
pub(crate) fn termination(give_back: fn()) -> Arc<AtomicBool> {
    let flag = Arc::new(AtomicBool::new(false));
    #[cfg(unix)]
    {
        use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
        let seen = Arc::clone(&flag);
        if let Ok(mut signals) = signal_hook::iterator::Signals::new([SIGTERM, SIGHUP, SIGINT]) {
            let watch = move || {
                if let Some(signal) = signals.forever().next() {
                    seen.store(true, Ordering::Relaxed);
                    std::thread::sleep(GRACE);
                    give_back();
                    std::process::exit(128 + signal);
                }
            };
            let _ = std::thread::Builder::new()
                .name("signals".to_owned())
                .spawn(watch);
        }
    }
    #[cfg(not(unix))]
    let _ = give_back;
    flag
}

/// How long the loop has to leave by itself after a signal.
#[cfg(unix)]
const GRACE: Duration = Duration::from_secs(2);

/// Stops this program as the shell's Ctrl-Z does, until it is continued.
pub(crate) fn stop() {
    #[cfg(unix)]
    {
        use signal_hook::consts::signal::SIGTSTP;
        let _ = signal_hook::low_level::emulate_default_handler(SIGTSTP);
    }
}
