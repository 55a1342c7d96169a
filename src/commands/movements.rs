//! `movements`: lists and searches the movements, and prints the catalogue and the crossings.

use super::{Outcome, Ran, arguments};
use crate::chanter::{CrossingKind, Finger, NOTES, Note, crossing};
use crate::movement::{
    Family, FormRow, Movement, Resolved, SCHOOLS, Schools, counted, find_said, resolve, search,
    typical_context, write_parts,
};
use crate::services::{Failure, output, terminal};
use serde::Serialize;
use std::fmt::Write as _;

/// Arguments of `movements`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung movements grip\n  \
    gracerung movements --gracenotes \"LG D LG\"\n  gracerung movements --finger bottom-ring\n  \
    gracerung movements --table\n  gracerung movements --crossings\n\n\
    The count says how often a movement stands in 277 counted tunes: what is common, not what is \
    right.\n\nExit 0: something was found. Exit 1: nothing was.")]
pub(crate) struct Arguments {
    /// Words in the name or the kind, or a name that players say: `E doubling`, `rodin`.
    words: Vec<String>,
    /// Movements that have exactly these gracenotes somewhere.
    #[arg(long, value_name = "GRACENOTES")]
    gracenotes: Option<String>,
    /// Movements that work this finger: thumb, top-index … bottom-little.
    #[arg(long, value_parser = arguments::finger)]
    finger: Option<Finger>,
    /// Print the catalogue: every form with its notes, its school and its source.
    #[arg(long)]
    table: bool,
    /// Print what sounds between two notes when the fingers do not move together.
    #[arg(long, conflicts_with_all = ["table", "gracenotes", "finger"])]
    crossings: bool,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
}

/// A movement in the form for other programs.
#[derive(Serialize)]
struct Row {
    name: &'static str,
    also: &'static [&'static str],
    kind: &'static str,
    gracenotes: Vec<Note>,
    from: Option<Note>,
    to: Note,
    closes_on: Vec<Note>,
    schools: Vec<&'static str>,
    counted: u32,
    forms: Vec<FormRow>,
    source: &'static str,
}

impl Row {
    fn of(movement: Movement) -> Self {
        let context = typical_context(movement);
        let resolution = resolve(movement, context, &Schools::none());
        Self {
            name: movement.name(),
            also: movement.also(),
            kind: movement.family().heading(),
            gracenotes: resolution.played().map_or(Vec::new(), Resolved::gracenotes),
            from: context.before,
            to: context.after,
            closes_on: movement.closes_on(),
            schools: movement
                .schools()
                .iter()
                .map(|school| school.name)
                .collect(),
            counted: counted(movement).map_or(0, |usage| usage.count),
            forms: movement.table(),
            source: movement.source(),
        }
    }
}

/// Runs `movements`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    if arguments.crossings {
        return crossings(arguments.json);
    }
    let gracenotes = match &arguments.gracenotes {
        None => Vec::new(),
        Some(text) => text
            .split([' ', ','])
            .filter(|word| !word.is_empty())
            .map(|word| arguments::note(word).map_err(Failure))
            .collect::<Result<Vec<Note>, _>>()?,
    };
    let words = arguments.words.join(" ");
    let found = found(&words, &gracenotes, arguments.finger);
    if arguments.json {
        let rows: Vec<Row> = found.iter().copied().map(Row::of).collect();
        output::print_json(&rows)?;
    } else if found.is_empty() {
        output::print(&nothing_found(&words))?;
    } else if arguments.table {
        output::print(&table(&found))?;
    } else {
        output::print(&list(&found))?;
        if said_with_more(&words) {
            output::print(&format!(
                "`gracerung explain \"{words}\"` explains it as said\n"
            ))?;
        }
    }
    Ok(if found.is_empty() {
        Outcome::Findings
    } else {
        Outcome::Done
    })
}

/// The movements that the words find in the catalogue, or else those that players call by these
/// words.
fn found(words: &str, gracenotes: &[Note], finger: Option<Finger>) -> Vec<Movement> {
    let found = search(words, gracenotes, finger);
    match find_said(words) {
        Ok(named) if found.is_empty() => search("", gracenotes, finger)
            .into_iter()
            .filter(|movement| *movement == named.movement)
            .collect(),
        _ => found,
    }
}

/// True for a name that adds a note or a school to the movement.
fn said_with_more(words: &str) -> bool {
    find_said(words).is_ok_and(|named| named.to.is_some() || named.school.is_some())
}

fn nothing_found(words: &str) -> String {
    let near = find_said(words)
        .err()
        .filter(|error| error.nearest.is_some() || error.elsewhere.is_some());
    match near {
        Some(error) => format!("{error}\n"),
        None => "no movement is found; without words the whole catalogue is listed\n".to_owned(),
    }
}

/// The kinds of the movements found, ordered by the commonest movement of each kind.
fn kinds(found: &[Movement]) -> Vec<Family> {
    let mut kinds = Vec::new();
    for movement in found {
        if !kinds.contains(&movement.family()) {
            kinds.push(movement.family());
        }
    }
    kinds
}

fn list(found: &[Movement]) -> String {
    let mut text = format!(
        "  {:<22} {:<9} {:>6}  gracenotes (a bare note is a tone, brackets separate)\n",
        "movement", "place", "tunes*"
    );
    for kind in kinds(found) {
        let _ = writeln!(text, "{}", kind.heading());
        for movement in found.iter().filter(|movement| movement.family() == kind) {
            let context = typical_context(*movement);
            let resolution = resolve(*movement, context, &Schools::none());
            let parts = resolution
                .played()
                .map_or(String::new(), |resolved| write_parts(&resolved.parts));
            let from = context.before.map_or("", Note::name);
            let place = format!("{from} to {}", context.after);
            let count = counted(*movement).map_or(0, |usage| usage.count);
            let _ = writeln!(
                text,
                "  {:<22} {place:<9} {count:>6}  {parts}",
                movement.name()
            );
        }
    }
    text.push_str(
        "\n* how often it stands in 277 tunes; its place is where it stands most often there, or else \
         where it is taught; `explain` says more of one\n",
    );
    text
}

fn table(found: &[Movement]) -> String {
    let width = terminal::columns().clamp(40, 100);
    let told = |indent: usize, prose: &str| {
        let margin = " ".repeat(indent);
        let options = textwrap::Options::new(width)
            .initial_indent(&margin)
            .subsequent_indent(&margin);
        textwrap::fill(prose, options) + "\n"
    };
    let mut text = told(
        0,
        "A bare note is a tone, one in brackets separates, ~ is held long. N is the closing note, \
         (c) the gracenote that closes a doubling on it, (i) the one inside a shake on it, (s) its \
         strike. | is the beat where a form has its own. LG..F is every note from low G up to F.",
    );
    for movement in found {
        let _ = write!(text, "\n{}", movement.name());
        if !movement.also().is_empty() {
            let _ = write!(text, " (also {})", movement.also().join(", "));
        }
        text.push('\n');
        for form in movement.table() {
            let _ = write!(
                text,
                "  from {:<10} to {:<10} {}",
                form.from, form.to, form.parts
            );
            if let Some(school) = form.school {
                let _ = write!(text, "   [{school}]");
            }
            text.push('\n');
            if let Some(why) = form.why {
                text.push_str(&told(6, why));
            }
        }
        text.push_str(&told(2, &format!("source: {}", movement.source())));
    }
    text.push_str("\nSchools\n");
    for school in SCHOOLS {
        let _ = writeln!(text, "  {}", school.name);
        text.push_str(&told(6, school.description));
    }
    text
}

/// A change of note in the form for other programs.
#[derive(Serialize)]
struct CrossingRow {
    from: Note,
    to: Note,
    kind: &'static str,
    falls: Vec<&'static str>,
    rises: Vec<&'static str>,
    closing_fingers_first: Option<Note>,
    one_hand_first: Option<Note>,
}

fn crossings(json: bool) -> Ran {
    let names = |fingers: &[Finger]| fingers.iter().map(|finger| finger.name()).collect();
    let mut rows = Vec::new();
    for low in NOTES {
        for high in NOTES.into_iter().filter(|high| *high > low) {
            let way = crossing(low, high);
            rows.push(CrossingRow {
                from: low,
                to: high,
                kind: match way.kind {
                    CrossingKind::OneFinger => "one finger",
                    CrossingKind::OneWay => "one way",
                    CrossingKind::True => "true crossing",
                },
                falls: names(&way.falling),
                rises: names(&way.rising),
                closing_fingers_first: way.falling_first_note,
                one_hand_first: way.hand_first_note,
            });
        }
    }
    if json {
        output::print_json(&rows)?;
        return Ok(Outcome::Done);
    }
    let mut text = String::from(
        "What sounds between two notes when the fingers do not move together, computed from the \
         chart.\nchange    fingers         closing fingers first   one hand first\n",
    );
    let sounds = |note: Option<Note>| note.map_or("", Note::name);
    for row in &rows {
        let change = format!("{} {}", row.from, row.to);
        let closing = match (row.kind, row.closing_fingers_first) {
            ("true crossing", None) => "no note of the chart",
            (_, note) => sounds(note),
        };
        let line = format!(
            "{change:<9} {:<15} {closing:<23} {}",
            row.kind,
            sounds(row.one_hand_first)
        );
        let _ = writeln!(text, "{}", line.trim_end());
    }
    output::print(&text)?;
    Ok(Outcome::Done)
}
