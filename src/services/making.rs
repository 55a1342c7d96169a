//! Makes a drill of a movement among the player's own drills.
use super::{Failure, drill_files, folders, output};
use crate::chanter::{NOTES, Note};
use crate::drill::{Build, DrillDocument, Request, make, write};
use crate::movement::{Context, Movement, Schools, find_said, resolve, typical_context};
use crate::rhythm::Metre;

/// The context of a movement. A note that is not given is taken from the typical context, or else
/// is the first note with which the movement can be played.
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

/// The text of the file of a made drill.
///
/// # Errors
/// The drill cannot be written as YAML.
pub(crate) fn text_of(document: &DrillDocument) -> Result<String, Failure> {
    let text = write(document).map_err(|error| Failure(format!("cannot write YAML: {error}")))?;
    let shut = never_opened(document);
    let remark = shut.map_or_else(String::new, |shut| format!("# {shut}\n"));
    Ok(format!(
        "# Made by gracerung. Edit it as you like: `gracerung check` reads it and tells what is\n\
         # wrong, `gracerung practise` plays it.\n{remark}{text}"
    ))
}

/// Makes a drill of a movement in its usual contexts among the player's own drills, unless a drill
/// with its name exists there or is built in. Returns what is to be said about a drill that was
/// made.
///
/// # Errors
/// The movement is unknown, or the player's folder cannot be written.
pub(crate) fn own(name: &str) -> Result<Option<String>, Failure> {
    let folder = folders::own_drills()?;
    let target = folder.join(format!("{name}.yaml"));
    if crate::drill::built_in(name).is_some() || target.exists() {
        return Ok(None);
    }
    let named = find_said(name).map_err(|error| Failure(error.to_string()))?;
    let movement = named.movement;
    let (from, to) = notes(movement, named.from.as_slice(), named.to.as_slice());
    let schools = drill_files::schools();
    let schools = named
        .school
        .map_or(schools.clone(), |school| schools.and(school));
    let document = make(&Request {
        movement,
        from,
        to,
        schools,
        build: Build::AsFits,
        bridge: false,
        chain: false,
        transfer: true,
        metre: Metre::FOUR_FOUR,
    })
    .map_err(|error| Failure(error.to_string()))?;
    output::make_folder(&folder)?;
    output::write_bytes(&target, false, text_of(&document)?.as_bytes())?;
    Ok(Some(format!(
        "made `{name}`: it is among your drills from now on"
    )))
}

/// The reason why a movement's drill has no stage that closes it up; none where it has one.
pub(crate) fn never_opened(document: &DrillDocument) -> Option<&'static str> {
    document.movement.as_ref()?;
    let mut stages = document.stages.iter().flatten();
    let opened = stages.any(|stage| stage.opening.is_some());
    (!opened)
        .then_some("No stage closes it up: this movement has no tone inside that could be opened.")
}

/// The given notes without repetitions; where none are given, the note of the typical context.
pub(crate) fn notes(movement: Movement, from: &[Note], to: &[Note]) -> (Vec<Note>, Vec<Note>) {
    let typical = context(movement, from.first().copied(), to.first().copied());
    let once = |notes: &[Note], usual: Option<Note>| {
        let mut kept: Vec<Note> = Vec::new();
        for note in notes
            .iter()
            .copied()
            .chain(usual.filter(|_| notes.is_empty()))
        {
            if !kept.contains(&note) {
                kept.push(note);
            }
        }
        kept
    };
    (once(from, typical.before), once(to, Some(typical.after)))
}
