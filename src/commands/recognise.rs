//! `recognise`: names a run of gracenotes between two notes.

use super::{Outcome, Ran, arguments};
use crate::chanter::Note;
use crate::movement::{
    Context, Movement, Recognition, SCHOOLS, Schools, recognise, resolve, write_parts,
};
use crate::services::output;
use crate::wording;
use std::fmt::Write as _;

/// Arguments of `recognise`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung recognise LG B LG --from D --to LA\n  \
    gracerung recognise HG E F --from C --to E --json\n\n\
    JSON: {\"names\":[…],\"school\":…,\"playable\":true,\"nearest\":…}. The names are the ones that\n\
    `explain` and `make` take, the likeliest first; school is null or a name that `--school` takes;\n\
    nearest is null unless there is no name.\n\n\
    Exit 0: it has a name. Exit 1: no known movement."
)]
pub(crate) struct Arguments {
    /// The gracenotes: LG LA B C D E F HG HA.
    #[arg(required = true, value_name = "GRACENOTE", value_parser = arguments::gracenote)]
    gracenotes: Vec<Note>,
    /// The note before; left out at the start of a phrase.
    #[arg(long, value_name = "NOTE", value_parser = arguments::note)]
    from: Option<Note>,
    /// The note they close on.
    #[arg(long, value_name = "NOTE", value_parser = arguments::note)]
    to: Note,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
}

/// Runs `recognise`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let context = Context {
        before: arguments.from,
        after: arguments.to,
    };
    let recognition = recognise(&arguments.gracenotes, context);
    if arguments.json {
        output::print_json(&recognition)?;
    } else {
        output::print(&told(&arguments.gracenotes, context, &recognition))?;
    }
    Ok(if recognition.names.is_empty() {
        Outcome::Findings
    } else {
        Outcome::Done
    })
}

fn told(gracenotes: &[Note], context: Context, recognition: &Recognition) -> String {
    let run: Vec<&str> = gracenotes.iter().map(|note| note.name()).collect();
    let run = run.join(" ");
    let from = context
        .before
        .map_or("at the start of a phrase".to_owned(), |note| {
            format!("from {}", note.spoken())
        });
    let to = context.after.spoken();
    let mut text = format!("{run} {from} to {to}: ");
    if let Some((first, others)) = recognition.names.split_first() {
        let _ = writeln!(text, "{}", first.name());
        if let Some(name) = recognition.school
            && let Some(school) = SCHOOLS.iter().find(|school| school.name == name)
        {
            let _ = writeln!(text, "by the school {name}: {}", school.description);
        }
        if !others.is_empty() {
            let others: Vec<&str> = others.iter().copied().map(Movement::name).collect();
            let _ = writeln!(text, "also known as: {}", wording::list(&others));
        }
    } else {
        text.push_str("no known movement");
        if let Some(nearest) = recognition.nearest {
            let _ = write!(text, "; nearest is {}", nearest.name());
            if let Some(played) = resolve(nearest, context, &Schools::none()).played() {
                let _ = write!(text, ", played here as {}", write_parts(&played.parts));
            }
        }
        text.push('\n');
    }
    if !recognition.playable {
        text.push_str(
            "it cannot be played: two equal notes side by side are heard as one, or the gracenote \
             cannot sound here\n",
        );
    }
    text
}
