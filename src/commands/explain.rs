//! `explain`: prints the explanation of a movement, as a good teacher would give it.

use super::{Outcome, Ran, arguments};
use crate::chanter::Note;
use crate::drill::{BUILT_IN, BuiltIn, read};
use crate::movement::{Context, Lengths, Movement, Named, Schools, explain, resolve};
use crate::services::{drill_files, making::context, output, terminal};
use crate::units::Bpm;

/// Arguments of `explain`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung explain grip --from D --to LA\n  \
    gracerung explain \"E doubling\" --from C\n  \
    gracerung explain \"heavy throw\"\n  \
    gracerung explain taorluath --from LG --to LA --tempo 50 --json\n\n\
    JSON: {\"gracenotes\":[…],\"school\":…,\"reasons\":[…],\"playable\":true,\"parts\":[…],\"time\":{…},\n\
    \"fingers\":[…],\"crossings\":[…],\"listen_for\":[…],\"first\":[…],\"elsewhere\":[…],\"schools\":[…],…}:\n\
    one reason a gracenote. Where the movement cannot be played, playable is false, why_not says\n\
    why, and explains names what is played instead, which the rest explains."
)]
pub(crate) struct Arguments {
    /// The movement; `gracerung movements` lists them.
    #[arg(value_parser = arguments::movement)]
    movement: Named,
    /// The note before; left out, where the movement stands most often.
    #[arg(long, value_name = "NOTE", value_parser = arguments::note)]
    from: Option<Note>,
    /// The closing note; left out, where the movement stands most often.
    #[arg(long, value_name = "NOTE", value_parser = arguments::note)]
    to: Option<Note>,
    /// A school to play it by; may be given several times.
    #[arg(long, value_name = "NAME")]
    school: Vec<String>,
    /// Beats a minute, for the milliseconds.
    #[arg(long, default_value = "60", value_parser = arguments::tempo)]
    tempo: Bpm,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
}

/// Runs `explain`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let schools = if arguments.school.is_empty() {
        drill_files::schools()
    } else {
        arguments::schools(&arguments.school)?
    };
    let Named {
        movement,
        from,
        to,
        school,
    } = arguments.movement;
    let schools = school.map_or(schools.clone(), |school| schools.and(school));
    let context = context(movement, arguments.from.or(from), arguments.to.or(to));
    let explanation = explain(
        movement,
        context,
        &schools,
        arguments.tempo,
        &Lengths::default(),
    );
    if arguments.json {
        output::print_json(&explanation)?;
    } else {
        let told = explanation.write(terminal::columns());
        let practised = practised(movement, context, school.is_some())
            .map_or_else(String::new, |command| format!("\nPractise it: {command}\n"));
        output::print(&format!("{told}{practised}"))?;
    }
    Ok(Outcome::Done)
}

/// The command that practises a movement between two notes: it opens the built-in drill with that
/// movement, or makes a drill. None where the movement cannot be played there, or where no note
/// comes before it.
fn practised(movement: Movement, context: Context, by_school: bool) -> Option<String> {
    let resolved = resolve(movement, context, &Schools::none());
    resolved.played()?;
    let from = context.before?;
    let is_there = |built: &&BuiltIn| {
        let (drill, _) = read(built.text.as_bytes());
        let line = drill.and_then(|drill| drill.movement);
        line.is_some_and(|line| {
            line.movement == movement
                && line.from.contains(&from)
                && line.to.contains(&context.after)
        })
    };
    let built = BUILT_IN.iter().filter(|_| !by_school).find(is_there);
    Some(match built {
        Some(drill) => format!("gracerung practise {}", drill.name),
        None => format!(
            "gracerung make {} --from {from} --to {} makes a drill of it",
            movement.name(),
            context.after
        ),
    })
}
