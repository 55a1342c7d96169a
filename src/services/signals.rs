//! Signals that ask the program to end or to stop (Ctrl-Z). On Windows there are none: Ctrl-C is an
//! ordinary key there, and Ctrl-Z does nothing.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;
#[cfg(unix)]
use std::{sync::atomic::Ordering, time::Duration};

/// Handles the signals that ask the program to end. They set the flag that is returned, which the
/// event loop checks. A terminal that has gone away may keep the event loop from it; then the
/// terminal is given back by `give_back` and the program ends after two seconds. Every mark that
/// was shown is in the journal by then.
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

/// How long the event loop has to end by itself after a signal.
#[cfg(unix)]
const GRACE: Duration = Duration::from_secs(2);

/// Stops this process like Ctrl-Z in a command shell, until it is continued.
pub(crate) fn stop() {
    #[cfg(unix)]
    {
        use signal_hook::consts::signal::SIGTSTP;
        let _ = signal_hook::low_level::emulate_default_handler(SIGTSTP);
    }
}
