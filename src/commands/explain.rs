//! `explain`: a movement as a good teacher explains it.

use super::{Outcome, Ran, arguments, output};
use crate::chanter::Note;
use crate::movement::{Context, Lengths, Movement, explain, typical_context};
use crate::units::Bpm;

/// Arguments of `explain`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung explain grip --from D --to LA\n  \
    gracerung explain throw-on-d --school heavy-throw\n  \
    gracerung explain taorluath --from LG --to LA --tempo 50 --json\n\n\
    JSON: {\"gracenotes\":[…],\"school\":…,\"reasons\":[…],\"playable\":true,\"parts\":[…],\"time\":{…},\n\
    \"fingers\":[…],\"crossings\":[…],\"listen_for\":[…],\"first\":[…],\"elsewhere\":[…],\"schools\":[…],…}:\n\
    one reason a gracenote. Where the movement cannot be played, playable is false, why_not says\n\
    why, and explains names what is played instead, which the rest explains."
)]
pub(crate) struct Arguments {
    /// The movement; `gracerung movements` lists them.
    #[arg(value_parser = arguments::movement)]
    movement: Movement,
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

/// The context asked for; a note that is not given comes from the typical context, or is the
/// first one that can be played.
pub(crate) fn context(movement: Movement, from: Option<Note>, to: Option<Note>) -> Context {
    let typical = typical_context(movement);
    match (from, to) {
        (None, None) => typical,
        (Some(before), Some(after)) => Context::between(before, after),
        (Some(before), None) => {
            let closes = movement.closes_on();
            let after = if closes.contains(&typical.after) || closes.is_empty() {
                typical.after
            } else {
                closes[0]
            };
            Context::between(before, after)
        }
        (None, Some(after)) => Context {
            before: typical.before,
            after,
        },
    }
}

/// Runs `explain`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let schools = if arguments.school.is_empty() {
        super::open::schools()
    } else {
        arguments::schools(&arguments.school)?
    };
    let context = context(arguments.movement, arguments.from, arguments.to);
    let explanation = explain(
        arguments.movement,
        context,
        &schools,
        arguments.tempo,
        &Lengths::default(),
    );
    if arguments.json {
        output::print_json(&explanation)?;
    } else {
        output::print(&explanation.write(super::terminal::columns()))?;
    }
    Ok(Outcome::Done)
}
