//! `devices`: lists the sound devices and the microphones.

use super::{Outcome, Ran};
use crate::live::{FoundDevice, Quiet, list, list_microphones, priority};
use crate::services::{Failure, output, terminal};
use serde::Serialize;
use std::fmt::Write as _;

/// Arguments of `devices`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung devices\n  gracerung devices --json\n  gracerung practise grip-from-d --device \"a name from the list\""
)]
pub(crate) struct Arguments {
    /// Print as JSON.
    #[arg(long)]
    json: bool,
}

/// A device in the form for other programs.
#[derive(Serialize)]
struct Row<'a> {
    kind: &'static str,
    name: &'a str,
    default: bool,
    rate: Option<u32>,
    channels: Option<u16>,
}

fn rows<'a>(kind: &'static str, found: &'a [FoundDevice]) -> impl Iterator<Item = Row<'a>> {
    found.iter().map(move |device| Row {
        kind,
        name: &device.name,
        default: device.default,
        rate: device.rate,
        channels: device.channels,
    })
}

/// Runs `devices`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let log = terminal::log_file();
    let quiet = Quiet::into_file(log.as_ref()).ok();
    let found = list().map_err(|error| Failure(error.to_string()))?;
    // an error in listing microphones must not hide the playback devices
    let microphones = list_microphones().unwrap_or_default();
    drop(quiet);
    let outcome = if found.is_empty() {
        Outcome::Findings
    } else {
        Outcome::Done
    };
    if arguments.json {
        let all: Vec<Row<'_>> = rows("sound", &found)
            .chain(rows("microphone", &microphones))
            .collect();
        output::print_json(&all)?;
        return Ok(outcome);
    }
    let mut text = String::new();
    if found.is_empty() {
        text.push_str("no sound device was found; drills run silently\n");
    }
    write(&mut text, &found);
    if !microphones.is_empty() {
        text.push_str("\nmicrophones:\n");
        write(&mut text, &microphones);
    }
    let _ = writeln!(text, "\n{}", priority());
    output::print(&text)?;
    Ok(outcome)
}

fn write(text: &mut String, found: &[FoundDevice]) {
    for device in found {
        let usual = if device.default { "  (default)" } else { "" };
        let rate = device
            .rate
            .map_or_else(String::new, |rate| format!("  {rate} Hz"));
        let _ = writeln!(text, "{}{rate}{usual}", device.name);
    }
}
