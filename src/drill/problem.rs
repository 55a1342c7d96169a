//! What is wrong in a file: where, what was found, what was expected, how to mend it.

use crate::chanter::{Note, NoteError, notes_a_gracenote_can_stand_on};
use crate::rhythm::Metre;
use crate::units::{Beats, FractionError, spell_fraction};
use crate::wording;
use std::fmt;

/// A place in a text file, counted as editors count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// From 1; 0 where the file as a whole is meant, or has no lines.
    pub line: usize,
    /// In characters, from 1.
    pub column: usize,
    /// Characters on that line, at least 1.
    pub width: usize,
}

/// Whether the drill can still be played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// It cannot.
    Error,
    /// It can, but not quite as written.
    Note,
}

/// One problem.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Where.
    pub place: Place,
    /// What.
    pub kind: Kind,
}

impl Place {
    /// The file as a whole.
    pub const WHOLE_FILE: Self = Self {
        line: 0,
        column: 1,
        width: 1,
    };
}

impl Problem {
    /// A problem at a place.
    pub fn new(place: Place, kind: Kind) -> Self {
        Self { place, kind }
    }

    /// Whether the drill can still be played.
    pub fn severity(&self) -> Severity {
        match self.kind {
            Kind::Crowded { .. } | Kind::Adopted { .. } => Severity::Note,
            _ => Severity::Error,
        }
    }
}

/// Kinds of problems, with what their sentence needs.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(
    missing_docs,
    reason = "each variant's sentence stands in Display below"
)]
pub enum Kind {
    TooLarge {
        bytes: usize,
        most: usize,
    },
    NotUtf8 {
        byte: usize,
    },
    Syntax {
        found: String,
    },
    SecondDocument,
    Alias,
    TooDeep,
    DuplicateField {
        field: String,
    },
    Empty,
    WrongShape {
        field: String,
        found: String,
        expected: &'static str,
    },
    UnknownField {
        field: String,
        of: &'static str,
        nearest: Option<&'static str>,
        known: &'static [&'static str],
    },
    Missing {
        field: &'static str,
        of: String,
        mend: &'static str,
    },
    Control {
        field: &'static str,
        code: u32,
    },
    LongText {
        field: &'static str,
        length: usize,
        most: usize,
    },
    BlankText {
        field: &'static str,
    },
    NotOneOf {
        field: &'static str,
        found: String,
        choices: &'static [&'static str],
        nearest: Option<&'static str>,
    },
    BadNumber {
        field: &'static str,
        error: FractionError,
    },
    OutOfRange {
        field: &'static str,
        found: String,
        range: &'static str,
    },
    BadTempo {
        field: &'static str,
        error: String,
    },
    BadMetre {
        found: String,
    },
    BadNote {
        error: NoteError,
    },
    UnknownMovement {
        message: String,
    },
    UnknownSchool {
        message: String,
    },
    NotPlayable {
        movement: String,
        from: Note,
        to: Note,
        why: String,
        instead: Option<String>,
    },
    NeitherMovementNorMusic,
    StageWithoutMovement {
        stage: String,
    },
    NoStages,
    EmptyStage {
        stage: String,
    },
    MusicAndMore {
        stage: String,
    },
    ToneNeedsBefore {
        stage: String,
    },
    SameStage {
        stage: String,
        first: usize,
    },
    LadderDown {
        from: String,
        to: String,
    },
    LadderTooLong {
        rungs: usize,
        most: usize,
    },
    Unwritable {
        stage: String,
        length: Beats,
    },
    TooManyBars {
        found: usize,
        most: usize,
    },
    Crowded {
        stage: String,
        notes: usize,
        tempo: String,
    },
    // written-out music
    UnknownSign {
        sign: String,
    },
    Rest,
    Accidental,
    Tuplet,
    Chord,
    NoSuchLetter {
        letter: char,
        nearest: Option<char>,
    },
    BadLength {
        found: String,
    },
    OpenGroup,
    EmptyGroup,
    GroupWithoutNote,
    GroupSign {
        sign: char,
    },
    Bar {
        stage: String,
        number: u16,
        lasts: Beats,
        metre: Metre,
    },
    Complement {
        stage: String,
        number: u16,
        lasts: Beats,
        pickup: Beats,
        metre: Metre,
    },
    Repeated {
        note: Note,
    },
    CannotSound {
        gracenote: Note,
        held: Note,
    },
    GracenoteEqual {
        note: Note,
    },
    TieToOther {
        from: Note,
        to: Note,
    },
    TieAtEnd,
    NoFirstEnding,
    NoSecondEnding,
    // files of other programs
    /// Something that a drill cannot hold, and what was done about it.
    Adopted {
        found: String,
        done: String,
        times: usize,
    },
    /// Something without which no drill can be made of it.
    Foreign {
        found: String,
        expected: String,
    },
}

fn beats(value: Beats) -> String {
    let one = value.0 > num_rational::Ratio::from_integer(0)
        && value.0 <= num_rational::Ratio::from_integer(1);
    let word = if one { "beat" } else { "beats" };
    format!("{} {word}", spell_fraction(&value.0))
}

fn suggestion(nearest: Option<&str>) -> String {
    nearest.map_or_else(String::new, |name| format!("; did you mean `{name}`?"))
}

impl fmt::Display for Kind {
    /// What was found and what was expected.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLarge { bytes, most } => {
                write!(
                    f,
                    "the file has at least {bytes} bytes; at most {most} are read"
                )
            }
            Self::NotUtf8 { byte } => write!(
                f,
                "byte {byte} of the file is not UTF-8 text: this is no drill file, or saved another way"
            ),
            Self::Syntax { found } => write!(f, "this is not YAML: {found}"),
            Self::SecondDocument => {
                write!(f, "a second document begins here; one file holds one drill")
            }
            Self::Alias => write!(
                f,
                "`*` refers to another part of the file; a drill writes everything out"
            ),
            Self::TooDeep => write!(f, "nested more than 64 deep; a drill needs four"),
            Self::DuplicateField { field } => write!(f, "{field} stands twice"),
            Self::Empty => write!(f, "nothing is written here; expected a drill"),
            Self::WrongShape {
                field,
                found,
                expected,
            } => {
                write!(f, "`{field}` is {found}; expected {expected}")
            }
            Self::UnknownField {
                field, of, nearest, ..
            } => {
                write!(f, "{of} has no field `{field}`{}", suggestion(*nearest))
            }
            Self::Missing { field, of, .. } => write!(f, "{of} has no `{field}`"),
            Self::Control { field, code } => {
                write!(f, "`{field}` contains the control character U+{code:04X}")
            }
            Self::LongText {
                field,
                length,
                most,
            } => {
                write!(
                    f,
                    "`{field}` has {length} characters; at most {most} are read"
                )
            }
            Self::BlankText { field } => write!(f, "`{field}` is blank"),
            Self::NotOneOf {
                field,
                found,
                choices,
                nearest,
            } => {
                let choices: Vec<String> = choices.iter().map(|c| format!("`{c}`")).collect();
                write!(
                    f,
                    "`{field}` is `{found}`; expected {}{}",
                    wording::choice(&choices),
                    suggestion(*nearest)
                )
            }
            Self::BadNumber { field, error } => write!(f, "`{field}`: {error}"),
            Self::OutOfRange {
                field,
                found,
                range,
            } => {
                write!(f, "`{field}` is {found}; expected {range}")
            }
            Self::BadTempo { field, error } => write!(f, "`{field}`: {error}"),
            Self::BadMetre { found } => write!(
                f,
                "metre `{found}` is not one of 2/2, 2/4, 3/4, 4/4, 6/8, 9/8 and 12/8"
            ),
            Self::BadNote { error } => error.fmt(f),
            Self::UnknownMovement { message } | Self::UnknownSchool { message } => {
                f.write_str(message)
            }
            Self::NotPlayable {
                movement,
                from,
                to,
                why,
                ..
            } => write!(
                f,
                "{movement} from {} to {} cannot be played: {why}",
                from.spoken(),
                to.spoken()
            ),
            Self::NeitherMovementNorMusic => {
                write!(f, "the drill has neither a `movement` nor any `music`")
            }
            Self::StageWithoutMovement { stage } => write!(
                f,
                "stage `{stage}` has no `music`, and the drill names no `movement` to take apart"
            ),
            Self::NoStages => write!(f, "`stages` is an empty list"),
            Self::EmptyStage { stage } => write!(f, "stage `{stage}` holds no notes"),
            Self::MusicAndMore { stage } => write!(
                f,
                "stage `{stage}` has `music` as well as `before` or `tone`"
            ),
            Self::ToneNeedsBefore { stage } => {
                write!(f, "stage `{stage}` has a `tone` but no `before`")
            }
            Self::SameStage { stage, first } => {
                write!(f, "stage {first} is called `{stage}` too")
            }
            Self::LadderDown { from, to } => {
                write!(f, "the ladder goes down, from {from} to {to}")
            }
            Self::LadderTooLong { rungs, most } => {
                write!(f, "the ladder has {rungs} rungs; at most {most} are read")
            }
            Self::Unwritable { stage, length } => write!(
                f,
                "stage `{stage}` needs a note of {}, which no note value with dots or ties writes",
                beats(*length)
            ),
            Self::TooManyBars { found, most } => {
                write!(f, "{found} bars in one stage; at most {most} are read")
            }
            Self::Crowded {
                stage,
                notes,
                tempo,
            } => write!(
                f,
                "in stage `{stage}` {} too little time for its gracenotes at {tempo}; they are shortened",
                if *notes == 1 {
                    "a note has".to_owned()
                } else {
                    format!("{notes} notes have")
                }
            ),
            Self::UnknownSign { sign } => {
                write!(f, "`{sign}` means nothing in the music of a drill")
            }
            Self::Rest => write!(f, "a rest: the chanter sounds on without a break"),
            Self::Accidental => {
                write!(f, "an accidental: the chanter has nine notes and no others")
            }
            Self::Tuplet => write!(f, "a tuplet: lengths here are plain fractions of the unit"),
            Self::Chord => write!(f, "a chord: the chanter sounds one note at a time"),
            Self::NoSuchLetter { letter, nearest } => {
                write!(
                    f,
                    "`{letter}` is no note of the chanter: expected one of G A B c d e f g a"
                )?;
                match nearest {
                    Some(nearest) => write!(f, "; did you mean `{nearest}`?"),
                    None => Ok(()),
                }
            }
            Self::BadLength { found } => write!(f, "`{found}` is no length"),
            Self::OpenGroup => write!(f, "`{{` opens gracenotes that no `}}` closes"),
            Self::EmptyGroup => write!(f, "`{{}}` holds no gracenote"),
            Self::GroupWithoutNote => write!(f, "these gracenotes stand before no note"),
            Self::GroupSign { sign } => write!(f, "`{sign}` cannot stand among gracenotes"),
            Self::Bar {
                stage,
                number,
                lasts,
                metre,
            } => {
                let least = if *lasts < metre.bar() {
                    ""
                } else {
                    "over-full: it "
                };
                write!(
                    f,
                    "{stage}bar {number} {least}lasts {} but the metre is {metre}",
                    beats(*lasts)
                )
            }
            Self::Complement {
                stage,
                number,
                lasts,
                pickup,
                metre,
            } => write!(
                f,
                "{stage}bar {number} lasts {}; with the pickup of {} that is no full bar of {metre}",
                beats(*lasts),
                beats(*pickup)
            ),
            Self::Repeated { note } => write!(
                f,
                "{} follows {0} with nothing between: on a chanter that is one long note",
                note.spoken()
            ),
            Self::CannotSound { gracenote, held } => write!(
                f,
                "{} gracenote cannot sound on {}",
                with_article(*gracenote),
                held.spoken()
            ),
            Self::GracenoteEqual { note } => write!(
                f,
                "a gracenote on {} stands beside the same note: nothing would be heard",
                note.spoken()
            ),
            Self::TieToOther { from, to } => {
                write!(f, "{} is tied to {}", from.spoken(), to.spoken())
            }
            Self::TieAtEnd => write!(f, "a tie leads to no note"),
            Self::NoFirstEnding => write!(f, "a second ending without a first"),
            Self::NoSecondEnding => write!(f, "a first ending without a second"),
            Self::Adopted {
                found,
                done,
                times: 1,
            } => write!(f, "{found}: {done}"),
            Self::Adopted { found, done, times } => {
                write!(f, "{found} ({times} times): {done}")
            }
            Self::Foreign { found, expected } => write!(f, "{found}; expected {expected}"),
        }
    }
}

fn with_article(note: Note) -> String {
    let name = note.spoken();
    let vowel = matches!(note, Note::E | Note::F);
    format!("{} {name}", if vowel { "an" } else { "a" })
}

impl Kind {
    /// How to mend it, when there is something better to say than the sentence itself.
    pub fn mend(&self) -> Option<String> {
        Some(match self {
            Self::TooLarge { .. } => "cut the file into several drills".to_owned(),
            Self::NotUtf8 { .. } => {
                "name a drill file (.yaml or .abc); save it as UTF-8".to_owned()
            }
            Self::Alias => "write the part out again where `*` stands".to_owned(),
            Self::SecondDocument => "move what follows `---` to a file of its own".to_owned(),
            Self::DuplicateField { .. } => "take one of the two away".to_owned(),
            Self::Empty | Self::NeitherMovementNorMusic => {
                "write `movement:`, `from:` and `to:`, or `music:`".to_owned()
            }
            Self::UnknownField {
                nearest: None,
                known,
                ..
            } => {
                let known: Vec<String> = known.iter().map(|name| format!("`{name}`")).collect();
                format!("known fields: {}", wording::list(&known))
            }
            Self::UnknownField {
                field,
                nearest: Some(nearest),
                ..
            } => {
                format!("write `{nearest}:` for `{field}:`")
            }
            Self::Missing { mend, .. } => (*mend).to_owned(),
            Self::Control { .. } => "take it away: it would upset a terminal".to_owned(),
            Self::NotPlayable { instead, .. } => instead.clone()?,
            Self::StageWithoutMovement { .. } => {
                "add `music:` to the stage, or `movement:` to the drill".to_owned()
            }
            Self::NoStages => {
                "write at least one stage, or leave `stages` out for the usual four".to_owned()
            }
            Self::EmptyStage { .. } => "write its notes, or take the stage away".to_owned(),
            Self::MusicAndMore { .. } => "keep `music`, or keep `before` and `tone`".to_owned(),
            Self::ToneNeedsBefore { .. } => {
                "add `before:`, the length of the note before the movement".to_owned()
            }
            Self::SameStage { .. } => "give each stage a name of its own".to_owned(),
            Self::LadderDown { from, to } => format!("write `from: {to}, to: {from}`"),
            Self::LadderTooLong { .. } => "take a larger step".to_owned(),
            Self::Unwritable { .. } => {
                "choose lengths such as 1, 1 1/2, 1 3/4, 1/2, 1/4".to_owned()
            }
            Self::Crowded { .. } => {
                "nothing need be done; a slower tempo or a longer note gives them room".to_owned()
            }
            Self::Rest => "write the note that sounds on, or end the stage".to_owned(),
            Self::Accidental => {
                "write the plain letter: c and f are sharp of themselves".to_owned()
            }
            Self::Tuplet => "write the lengths out, as in `A2/3`".to_owned(),
            Self::Chord => "write one note".to_owned(),
            Self::BadLength { .. } => "write lengths such as 2, 3/2, / or /4".to_owned(),
            Self::OpenGroup => "close the group with `}` before the note".to_owned(),
            Self::EmptyGroup | Self::GroupWithoutNote => {
                "take the group away, or complete it".to_owned()
            }
            Self::Bar { lasts, metre, .. } => {
                let bar = metre.bar();
                if *lasts < bar {
                    format!("add {}", amount(bar - *lasts))
                } else {
                    format!("take {} away", amount(*lasts - bar))
                }
            }
            Self::Complement { pickup, metre, .. } => {
                format!("let it last {}", beats(metre.bar() - *pickup))
            }
            Self::Repeated { note } => {
                let on =
                    |gracenote: &Note| notes_a_gracenote_can_stand_on(*gracenote).contains(note);
                let choices: Vec<String> = [Note::HighG, Note::D, Note::E, Note::HighA]
                    .iter()
                    .filter(|gracenote| on(gracenote))
                    .map(|gracenote| format!("`{{{}}}`", gracenote.abc_letter()))
                    .collect();
                if choices.is_empty() {
                    "separate them with a strike, such as `{g}`".to_owned()
                } else {
                    format!(
                        "separate them with a gracenote, such as {}",
                        wording::choice(&choices)
                    )
                }
            }
            Self::CannotSound { held, .. } => {
                let choices: Vec<String> = crate::chanter::NOTES
                    .into_iter()
                    .rev()
                    .filter(|gracenote| notes_a_gracenote_can_stand_on(*gracenote).contains(held))
                    .map(|gracenote| format!("`{{{}}}`", gracenote.abc_letter()))
                    .collect();
                if choices.is_empty() {
                    "no finger is left to lift there: write a strike to a lower note".to_owned()
                } else {
                    format!("these sound there: {}", wording::list(&choices))
                }
            }
            Self::GracenoteEqual { .. } => "choose another gracenote".to_owned(),
            Self::TieToOther { .. } | Self::TieAtEnd => "take the `-` away".to_owned(),
            Self::NoFirstEnding => "begin the first ending with `|1`".to_owned(),
            Self::NoSecondEnding => "begin the second ending with `:|2`".to_owned(),
            _ => return None,
        })
    }
}

fn amount(value: Beats) -> String {
    let text = spell_fraction(&value.0);
    if value < Beats::ONE {
        format!("{text} a beat")
    } else {
        beats(value)
    }
}

/// Problems as text: file, line and column, the line with a caret, how to mend.
pub fn render(file: &str, source: &str, problems: &[Problem]) -> String {
    problems
        .iter()
        .map(|problem| {
            let level = match problem.severity() {
                Severity::Error => "",
                Severity::Note => "note: ",
            };
            let says = problem.kind.to_string();
            let mend = problem.kind.mend();
            render_line(file, source, problem.place, level, &says, mend.as_deref())
        })
        .collect()
}

/// One problem of any kind of text file, as [`render`] writes those of drills.
pub fn render_line(
    file: &str,
    source: &str,
    place: Place,
    level: &str,
    says: &str,
    mend: Option<&str>,
) -> String {
    use std::fmt::Write as _;
    let Place {
        line,
        column,
        width,
    } = place;
    let mut text = String::new();
    if line == 0 {
        let _ = writeln!(text, "{file}: {level}{says}");
    } else {
        let _ = writeln!(text, "{file}:{line}:{column}: {level}{says}");
    }
    if let Some(found) = line
        .checked_sub(1)
        .and_then(|line| source.lines().nth(line))
    {
        let clean: String = found
            .chars()
            .map(|sign| {
                if sign == '\t' {
                    ' '
                } else if sign.is_control() {
                    '·'
                } else {
                    sign
                }
            })
            .collect();
        let (shown, shift) = window(&clean, column);
        let number = line.to_string();
        let gap = " ".repeat(number.len());
        let caret_at = column.saturating_sub(1).saturating_sub(shift);
        let room = shown.chars().count().saturating_sub(caret_at).max(1);
        let _ = writeln!(text, " {number} | {shown}");
        let _ = writeln!(
            text,
            " {gap} | {}{}",
            " ".repeat(caret_at),
            "^".repeat(width.min(room))
        );
    }
    if let Some(mend) = mend {
        let _ = writeln!(text, "     {mend}");
    }
    text
}

/// At most 100 characters of a line around a column, and how many were cut at the front.
fn window(line: &str, column: usize) -> (String, usize) {
    const WIDTH: usize = 100;
    let length = line.chars().count();
    if length <= WIDTH {
        return (line.to_owned(), 0);
    }
    let start = column.saturating_sub(WIDTH / 2).min(length - WIDTH);
    (line.chars().skip(start).take(WIDTH).collect(), start)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_problem_shows_its_line_with_a_caret_and_how_to_mend_it() {
        let source = "title: x\nladder: {from: 80, to: 50, step: 4%}\n";
        let problem = Problem::new(
            Place {
                line: 2,
                column: 10,
                width: 8,
            },
            Kind::LadderDown {
                from: "80".to_owned(),
                to: "50".to_owned(),
            },
        );
        assert_eq!(
            render("x.yaml", source, &[problem]),
            "x.yaml:2:10: the ladder goes down, from 80 to 50\n \
             2 | ladder: {from: 80, to: 50, step: 4%}\n   \
             |          ^^^^^^^^\n     write `from: 50, to: 80`\n"
        );
    }

    #[test]
    fn a_bar_says_what_is_missing() {
        let short = Kind::Bar {
            stage: "stage 2, ".to_owned(),
            number: 1,
            lasts: Beats::new(7, 2),
            metre: Metre::FourFour,
        };
        assert_eq!(
            short.to_string(),
            "stage 2, bar 1 lasts 3½ beats but the metre is 4/4"
        );
        assert_eq!(short.mend().as_deref(), Some("add ½ a beat"));
    }
}
