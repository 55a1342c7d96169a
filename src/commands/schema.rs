//! `schema`: the JSON Schema of a drill file.

use super::{Failure, Outcome, Ran, output};

/// Arguments of `schema`.
#[derive(clap::Args)]
#[command(after_help = "Example:\n  gracerung schema > drill.schema.json\n\n\
    Then begin a drill file with the line\n  # yaml-language-server: $schema=drill.schema.json")]
pub(crate) struct Arguments {}

/// Runs `schema`.
pub(crate) fn run(_: &Arguments) -> Ran {
    let text = serde_json::to_string_pretty(&crate::drill::schema())
        .map_err(|error| Failure(format!("cannot write JSON: {error}")))?;
    output::print(&format!("{text}\n"))?;
    Ok(Outcome::Done)
}
