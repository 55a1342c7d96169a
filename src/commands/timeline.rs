//! `timeline`: prints when each sound begins and ends, in frames.

use super::{Outcome, Ran, arguments};
use crate::app::score_of;
use crate::services::{open::open, output, stages};
use crate::timeline::{Layout, TimelineDocument, document, lay};
use crate::units::{Beats, SampleRate};

/// Arguments of `timeline`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung timeline grip-from-d --stage 2 --tempo 60\n  \
    gracerung timeline grip-from-d --stage \"real time\" --tempo 133/2 --repeats 3 --json\n\n\
    JSON: {\"rate\":48000,\"tempo\":\"60\",\"frames\":…,\"events\":[…],\"crowded\":[…]}. An event has\n\
    frame, beat (exact, from the first click of the count-in), kind (click, note, gracenote),\n\
    note, frames (how long it sounds), place and written (a melody note's place in its bar and\n\
    its length, in beats), id, bar (from 1; a pickup is 0), repetition (from 1; null in the\n\
    count-in) and role (bar, beat, part; tone, separating). What does not apply is null."
)]
pub(crate) struct Arguments {
    /// A built-in drill's name, or a path.
    #[arg(value_name = "DRILL")]
    drill: String,
    /// Stage by number from 1, or by name.
    #[arg(long, default_value = "1")]
    stage: String,
    #[command(flatten)]
    at: arguments::AtRung,
    /// Frames a second.
    #[arg(long, default_value = "48000", value_parser = arguments::rate)]
    rate: SampleRate,
    /// Repetitions, each with its breath.
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    repeats: u32,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
}

/// Runs `timeline`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let opened = open(&arguments.drill)?;
    let (stage, _) = stages::stage(&opened.drill, &arguments.stage)?;
    let score = score_of(&opened.drill, stage);
    let rung = arguments.at.rung(&opened.drill, stage)?;
    let layout = Layout {
        lengths: rung.lengths(opened.drill.lengths),
        ..Layout::at(rung.tempo(), arguments.rate)
    };
    let timeline = lay(&score, &layout);
    let document = document(&timeline, u64::from(arguments.repeats));
    if arguments.json {
        output::print_json(&document)?;
    } else {
        output::print(&table(&document))?;
    }
    Ok(Outcome::Done)
}

fn table(document: &TimelineDocument) -> String {
    use std::fmt::Write as _;
    let mut text = String::from("     frame      beat  what       note  frames  id\n");
    for row in &document.events {
        let beat: Beats = row.beat;
        let _ = writeln!(
            text,
            "{:>10}  {:>8.3}  {:<9}  {:<4}  {:>6}  {}",
            row.frame,
            beat.to_f64(),
            row.kind,
            row.note.map_or("", |note| note.name()),
            row.frames
                .map_or_else(String::new, |frames| frames.to_string()),
            row.id.map_or_else(String::new, |id| id.to_string()),
        );
    }
    text
}
