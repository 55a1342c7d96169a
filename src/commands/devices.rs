//! `devices`: what can sound here.

use super::{Failure, Outcome, Ran, output, practise};
use crate::live::{Quiet, list};

/// Arguments of `devices`.
#[derive(clap::Args)]
#[command(
    after_help = "Example:\n  gracerung devices\n  gracerung practise grip-from-d --device \"a name from the list\""
)]
pub(crate) struct Arguments {}

/// Runs `devices`.
pub(crate) fn run(_: &Arguments) -> Ran {
    let log = practise::log_file();
    let quiet = log.as_ref().and_then(|log| Quiet::into_file(log).ok());
    let found = list().map_err(|error| Failure(error.to_string()))?;
    drop(quiet);
    if found.is_empty() {
        output::print("no sound device was found; drills run silently\n")?;
        return Ok(Outcome::Findings);
    }
    let mut text = String::new();
    for device in found {
        use std::fmt::Write as _;
        let usual = if device.default { "  (default)" } else { "" };
        let rate = device
            .rate
            .map_or_else(String::new, |rate| format!("  {rate} Hz"));
        let _ = writeln!(text, "{}{rate}{usual}", device.name);
    }
    output::print(&text)?;
    Ok(Outcome::Done)
}
