//! `explain`: a movement as a good teacher explains it.

use super::{Outcome, Ran, arguments, output};
use crate::chanter::{NOTES, Note};
use crate::movement::{
    Context, Lengths, Movement, Named, Schools, explain, resolve, typical_context,
};
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

/// The context asked for; a note that is not given comes from the typical context, or is the first
/// with which it can be played.
pub(crate) fn context(movement: Movement, from: Option<Note>, to: Option<Note>) -> Context {
    let typical = typical_context(movement);
    let asked = |context: &Context| {
        from.is_none_or(|from| context.before == Some(from))
            && to.is_none_or(|to| context.after == to)
    };
    let played = |context: &Context| {
        resolve(movement, *context, &Schools::none())
            .played()
            .is_some_and(|resolved| resolved.replaced.is_none())
    };
    let befores = typical
        .before
        .into_iter()
        .chain([Note::LowA, Note::E])
        .chain(NOTES);
    let afters = || {
        std::iter::once(typical.after)
            .chain(NOTES.into_iter().filter(|note| *note > Note::LowG))
            .chain([Note::LowG])
    };
    let near =
        befores.flat_map(|before| afters().map(move |after| Context::between(before, after)));
    std::iter::once(typical)
        .filter(asked)
        .chain(near.filter(asked).filter(played))
        .next()
        .unwrap_or(Context {
            before: from.or(typical.before),
            after: to.unwrap_or(typical.after),
        })
}

/// Runs `explain`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let schools = if arguments.school.is_empty() {
        super::open::schools()
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
        output::print(&explanation.write(super::terminal::columns()))?;
    }
    Ok(Outcome::Done)
}
