//! `schema`: prints the JSON Schema of a drill file.

use super::{Outcome, Ran};
use crate::services::output;
/// Arguments of `schema`.
#[derive(clap::Args)]
#[command(after_help = "Example:\n  gracerung schema > drill.schema.json\n\n\
    Then begin a drill file with the line\n  # yaml-language-server: $schema=drill.schema.json")]
pub(crate) struct Arguments {}

/// Runs `schema`.
pub(crate) fn run(_: &Arguments) -> Ran {
    output::print(crate::drill::SCHEMA)?;
    Ok(Outcome::Done)
}
