//! Says why a movement is not played in a context, in sentences without a full stop.
//!
//! Knows the catalogue and the fingering chart. Does not know what is played instead.

use super::catalogue::{Family, Movement, ReadForm};
use super::context::Context;
use super::parts::{Part, Role};
use super::pattern::{separates, strikes};
use super::school::{EARLY_GRACENOTE, School, Schools};
use crate::chanter::{Finger, NOTES, Note, Shape, gracenote_sounds, strike_finger};
use crate::wording;

/// Why the movement has no form in this context.
pub(super) fn no_form(movement: Movement, context: Context, schools: &Schools) -> String {
    let closes = movement.closes_on();
    if closes.contains(&context.after) {
        not_from_here(movement, context, schools)
    } else {
        not_to_here(movement, context, schools, &closes)
    }
}

/// Why a half form, which begins with its closing note, is not played from that note.
pub(super) fn half_from_its_own_note(movement: Movement, note: Note) -> String {
    let parts = match movement.family() {
        Family::Grip => "in the taorluath the first low G parts them",
        _ if note == Note::HighA => {
            "no gracenote opens high A, so only its tap is left, and that is the strike"
        }
        _ => "use the full form, whose opening gracenote parts them",
    };
    format!(
        "the {} begins with {}, which sounds already, and the same note twice is heard as one; \
         {parts}",
        movement.spoken(),
        note.spoken()
    )
}

/// Why the movement is not played from the note before, when it can close on the note after.
fn not_from_here(movement: Movement, context: Context, schools: &Schools) -> String {
    let spoken = movement.spoken();
    let after = context.after.spoken();
    if movement.family() == Family::Figure {
        return match context.before {
            None => format!("the {spoken} is two notes, and nothing sounds before the {after}"),
            Some(Note::D) => very_note(Note::D),
            Some(before) => format!(
                "the {spoken} goes down, from a short note to a lower one, and not from {} to \
                 {after}",
                before.spoken()
            ),
        };
    }
    if context.before == Some(context.after) && context.after == Note::LowG {
        return format!(
            "low G sounds already and stays, so no low G of the {spoken} could be heard"
        );
    }
    if let Some(why) = not_struck_from_below(movement, context, schools) {
        return why;
    }
    let befores: Vec<&str> = NOTES
        .into_iter()
        .filter(|before| {
            movement.forms().iter().any(|form| {
                form.school.is_none()
                    && form.from.holds(Some(*before))
                    && form.to.holds(Some(context.after))
            })
        })
        .map(Note::spoken)
        .collect();
    let why = match movement.name() {
        "crunluath-fosgailte" => "it stands on the theme note before it, so ",
        "taorluath-fosgailte" => "it begins from a low G that sounds already, so ",
        _ => "",
    };
    format!(
        "{why}the {spoken} to {after} comes from {} only",
        wording::list(&befores)
    )
}

/// Why a bare strike is not played from the note of its tap or from a lower note.
fn not_struck_from_below(
    movement: Movement,
    context: Context,
    schools: &Schools,
) -> Option<String> {
    let before = context
        .before
        .filter(|_| movement.family() == Family::Strike)?;
    let form = movement.forms().iter().find(|form| {
        let plays = form.school.is_none_or(|school| schools.chooses(school));
        plays && form.to.holds(Some(context.after))
    })?;
    let tap = form.pattern.on(context.after)?.0.last()?.note.spoken();
    let unheard = if before.spoken() == tap {
        format!("{tap} sounds already, so a tap to it would not be heard")
    } else {
        format!(
            "after {} a tap to {tap} would be heard as a step up, and not as a strike",
            before.spoken()
        )
    };
    let opened = if context.after == Note::HighA {
        ""
    } else {
        ", opened by a gracenote"
    };
    Some(format!(
        "{unheard}; the {} must sound first{opened}, and then it is struck",
        context.after.spoken()
    ))
}

/// Why the movement does not close on this note.
fn not_to_here(movement: Movement, context: Context, schools: &Schools, closes: &[Note]) -> String {
    let after = context.after;
    if movement.family() == Family::Birl || movement.name() == "hiharin" {
        return no_birl(movement, after);
    }
    let spoken = movement.spoken();
    let names: Vec<&str> = closes.iter().map(|note| note.spoken()).collect();
    let only = wording::list(&names);
    let here = after.spoken();
    let lasts: Vec<Part> = closes
        .iter()
        .filter_map(|closing| {
            let form = movement
                .forms()
                .iter()
                .find(|form| form.school.is_none() && form.to.holds(Some(*closing)))?;
            form.pattern.on(*closing)?.0.last().copied()
        })
        .collect();
    let lifted = |part: &Part| {
        part.role == Role::Separating && closes.iter().all(|on| gracenote_sounds(part.note, *on))
    };
    let tapped = |part: &Part| part.role == Role::Separating && !lifted(part);
    // The one gracenote that the movement ends with on every closing note, lifted from that note.
    let last = lasts
        .first()
        .filter(|first| lasts.iter().all(|last| last == *first) && lifted(first));
    match last {
        Some(part) if movement.family() == Family::Gracenote => {
            let why = not_on(movement, part.note, after);
            match not_early(movement, part.note, context, schools) {
                None if !strikes(after).contains(&part.note) => {
                    format!("{why}, which stands on {only} only")
                }
                not_early => format!(
                    "{why}{}; the {spoken} stands on {only} only",
                    not_early.map_or(String::new(), |clause| format!(", and {clause}"))
                ),
            }
        }
        Some(part) if strikes(after).contains(&part.note) => format!(
            "the {spoken} ends with the {} gracenote, which on {here} is tapped, not lifted; it \
             closes on {only} only",
            part.note.spoken()
        ),
        Some(part) if !gracenote_sounds(part.note, after) => format!(
            "the {spoken} ends with the {} gracenote, which {here} cannot sound; it closes on \
             {only} only",
            part.note.spoken()
        ),
        _ if after == Note::LowG && !lasts.is_empty() && lasts.iter().all(tapped) => {
            format!("low G has no lower note to tap to; the {spoken} closes on {only} only")
        }
        _ => against(movement, context, schools).map_or_else(
            || customary(movement, context, &only),
            |why| format!("{why}; the {spoken} closes on {only} only"),
        ),
    }
}

/// Why a gracenote is not played on this note.
fn not_on(movement: Movement, gracenote: Note, on: Note) -> String {
    let here = on.spoken();
    let name = gracenote.spoken();
    match strikes(on) {
        [usual, ..] if *usual == gracenote => format!("on {here}, {name} is tapped, not lifted"),
        taps @ [usual, ..] if taps.contains(&gracenote) => format!(
            "on {here}, {name} can only be tapped, and the usual tap is to {}",
            usual.spoken()
        ),
        _ => format!("{here} cannot sound the {}", movement.spoken()),
    }
}

/// Why the school of early gracenotes cannot play one here; none when that school is not chosen.
fn not_early(
    movement: Movement,
    gracenote: Note,
    context: Context,
    schools: &Schools,
) -> Option<String> {
    let early = |school: &School| school.name == EARLY_GRACENOTE.name;
    if !movement.schools().iter().any(early) || !schools.chooses(EARLY_GRACENOTE.name) {
        return None;
    }
    let Some(before) = context.before else {
        return Some("no note sounds before it that could".to_owned());
    };
    let sounds = gracenote_sounds(gracenote, before);
    let before = before.spoken();
    Some(if sounds {
        format!(
            "at the end of the {before} it would be heard as the {} begun early",
            context.after.spoken()
        )
    } else if strikes(context.after).contains(&gracenote) {
        format!("the {before} before it cannot sound that gracenote")
    } else {
        format!("neither can the {before} before it")
    })
}

/// Why a birl closes only on low A: what the little finger can do on another note, by the fingering
/// chart.
fn no_birl(movement: Movement, after: Note) -> String {
    let here = after.spoken();
    let others: Vec<Finger> = strike_finger(after, Note::LowG)
        .into_iter()
        .filter(|finger| *finger != Finger::LowerLittle)
        .collect();
    let why = if Shape::of(after).covers(Finger::LowerLittle) {
        format!("on {here} the little finger is down already and has nothing to tap")
    } else if let [other] = others[..] {
        format!(
            "on {here} {} is off too, so the little finger alone makes no low G",
            other.spoken()
        )
    } else {
        format!(
            "on {here} the top hand leaves holes open too, so the little finger alone makes no \
             low G"
        )
    };
    format!(
        "{why}; the {} sounds low G with that finger from low A, and closes on low A only",
        movement.spoken()
    )
}

/// Says on which notes a movement closes, for a note that only custom excludes (common practice, no
/// source).
fn customary(movement: Movement, context: Context, only: &str) -> String {
    let spoken = movement.spoken();
    let closes = format!("the {spoken} closes on {only} only");
    match movement.name() {
        "cadence" => format!("the cadence falls from E through D, so it closes on {only} only"),
        "short-cadence" => format!("the short cadence falls from E, so it closes on {only} only"),
        "taorluath-a-mach" if context.after == Note::LowA => {
            format!("on low A it would be the taorluath as older pibroch scores write it; {closes}")
        }
        "taorluath-fosgailte"
            if context.after == Note::LowA && context.before == Some(Note::LowG) =>
        {
            format!("from low G to low A it would be the taorluath itself; {closes}")
        }
        name if name.starts_with("crunluath") => format!(
            "as the trade plays it (common practice), the {spoken} rises to {only} and closes \
             nowhere else"
        ),
        "throw-on-d" => "the throw on D runs up into D, and closes on no other note".to_owned(),
        _ if movement.family() == Family::Throw => {
            format!("the {spoken} is thrown up into {only}, and closes on no other note")
        }
        "barluath" | "embari" | "chedari" => {
            format!(
                "as this rare movement is handed down (common practice), it closes on {only} only"
            )
        }
        _ => format!("as the trade plays it (common practice), {closes}"),
    }
}

/// Why the form from the note before cannot close on this note, by the fingering chart or the
/// notes; none when neither gives a reason.
fn against(movement: Movement, context: Context, schools: &Schools) -> Option<String> {
    let after = context.after;
    let here = after.spoken();
    let name = movement.name();
    match after {
        Note::HighG if name == "gracenote-strike" && context.before == Some(Note::HighA) => {
            return Some(
                "coming down from high A nothing opens the high G, and that is the half strike"
                    .to_owned(),
            );
        }
        Note::HighG if name == "gracenote-strike" => {
            return Some(
                "high G cannot sound the high G gracenote, and opened by the thumb it is the \
                 thumb strike"
                    .to_owned(),
            );
        }
        Note::LowA if name.ends_with("double-strike") => {
            return Some("on low A two taps to low G are the birl".to_owned());
        }
        Note::HighA if name.starts_with("thumb-") => {
            return Some("on high A the thumb is already off and cannot open the note".to_owned());
        }
        Note::HighA if movement.family() == Family::Shake || name == "double-echo" => {
            return Some("high A has no gracenote above it to part two of it".to_owned());
        }
        _ => {}
    }
    let (parts, _) = form_from(movement, context.before, schools)?
        .pattern
        .on(after)?;
    let line: Vec<Note> = parts.iter().map(|part| part.note).chain([after]).collect();
    for (part, next) in parts.iter().zip(&line[1..]) {
        let gracenote = part.note.spoken();
        let on_it = *next == after && part.role == Role::Separating;
        if on_it && strikes(after).first() == Some(&part.note) && part.note > Note::F {
            return Some(format!("on {here}, {gracenote} is tapped, not lifted"));
        }
        if on_it && !separates(part.note, None, after) {
            return Some(format!("{here} cannot sound the {gracenote} gracenote"));
        }
    }
    // A separating gracenote never repeats, so two equal notes in a row are two tones.
    let repeats = line
        .windows(2)
        .any(|pair| pair[0] == pair[1] && pair[0] == after);
    repeats.then(|| format!("{here} beside the {here} of the movement would be heard as one"))
}

/// The form from this note under the chosen schools, for the lowest note it closes on.
fn form_from(
    movement: Movement,
    before: Option<Note>,
    schools: &Schools,
) -> Option<&'static ReadForm> {
    movement.closes_on().into_iter().find_map(|closing| {
        let fits = |form: &&ReadForm| form.from.holds(before) && form.to.holds(Some(closing));
        let chosen = |form: &&ReadForm| form.school.is_some_and(|school| schools.chooses(school));
        let forms = || movement.forms().iter().filter(fits);
        forms()
            .find(chosen)
            .or_else(|| forms().find(|form| form.school.is_none()))
    })
}

/// Why a note's own gracenote does not open that note.
pub(super) fn very_note(note: Note) -> String {
    format!(
        "the {} gracenote is the very note that is sounding, so nothing new would be heard",
        note.spoken()
    )
}

pub(super) fn already_sounding(note: Note) -> String {
    format!(
        "{} is already sounding, and the same note twice is heard as one",
        note.spoken()
    )
}
