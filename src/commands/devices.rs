//! `devices`: what can sound and what can hear here.

use super::{Failure, Outcome, Ran, output, practise};
use crate::live::{FoundDevice, Quiet, list, list_microphones};

/// Arguments of `devices`.
#[derive(clap::Args)]
#[command(
    after_help = "Example:\n  gracerung devices\n  gracerung practise grip-from-d --device \"a name from the list\""
)]
pub(crate) struct Arguments {}

/// Runs `devices`.
pub(crate) fn run(_: &Arguments) -> Ran {
    let log = practise::log_file();
    let quiet = Quiet::into_file(log.as_ref()).ok();
    let found = list().map_err(|error| Failure(error.to_string()))?;
    // where microphones cannot be listed, what plays still is
    let microphones = list_microphones().unwrap_or_default();
    drop(quiet);
    let mut text = String::new();
    if found.is_empty() {
        text.push_str("no sound device was found; drills run silently\n");
    }
    write(&mut text, &found);
    if !microphones.is_empty() {
        text.push_str("\nmicrophones:\n");
        write(&mut text, &microphones);
    }
    output::print(&text)?;
    Ok(if found.is_empty() {
        Outcome::Findings
    } else {
        Outcome::Done
    })
}

fn write(text: &mut String, found: &[FoundDevice]) {
    use std::fmt::Write as _;
    for device in found {
        let usual = if device.default { "  (default)" } else { "" };
        let rate = device
            .rate
            .map_or_else(String::new, |rate| format!("  {rate} Hz"));
        let _ = writeln!(text, "{}{rate}{usual}", device.name);
    }
}
