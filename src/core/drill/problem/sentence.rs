//! The sentence of each problem: what was found and what was expected.

use super::ProblemKind;
use crate::chanter::Note;
use crate::rhythm::Metre;
use crate::units::{Beats, spell_fraction, write_fraction};
use crate::wording;
use std::fmt;

pub(super) fn beats(value: Beats) -> String {
    let one = value.0 > num_rational::Ratio::from_integer(0)
        && value.0 <= num_rational::Ratio::from_integer(1);
    let word = if one { "beat" } else { "beats" };
    format!("{} {word}", spell_fraction(&value.0))
}

fn suggestion(nearest: Option<&str>) -> String {
    nearest.map_or_else(String::new, |name| format!("; did you mean `{name}`?"))
}

impl fmt::Display for ProblemKind {
    /// Writes what was found and what was expected.
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
            Self::TooManyValues { most } => {
                write!(
                    f,
                    "more than {most} fields and values; a drill needs a few hundred"
                )
            }
            Self::GaveUp { after } => write!(f, "after {after} problems no more were looked for"),
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
            Self::BadPhrases { found, expected } => {
                write!(f, "`phrases` has {found}; expected {expected}")
            }
            Self::BadPointing { found, expected } => {
                write!(f, "`pointing` is {found}; expected {expected}")
            }
            Self::BadBeat { found, metre } => write!(
                f,
                "{found} is no beat of {metre}: expected a note value, plain or dotted, of which a \
                 bar has a whole number up to 32, such as {}",
                write_fraction(&metre.beat_of_semibreve())
            ),
            Self::BadMetre { found } => write!(f, "metre `{found}` is not {}", Metre::EXPECTED),
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
            Self::OffTheBeat {
                stage,
                movement,
                before,
                played,
            } => write!(
                f,
                "in stage `{stage}` a note before of {} moves the {movement} off its beat; it is \
                 played with {}",
                beats(*before),
                beats(*played)
            ),
            Self::OffTheLadder {
                field,
                found,
                from,
                to,
            } => write!(
                f,
                "`{field}` is {}, which is not on the ladder from {} to {}",
                spell_fraction(&found.value()),
                spell_fraction(&from.value()),
                spell_fraction(&to.value())
            ),
            Self::OpeningAndMore { stage, field } => {
                write!(f, "stage `{stage}` has an `opening` as well as `{field}`")
            }
            Self::NothingInside { stage, movement } => write!(
                f,
                "stage `{stage}` opens the {movement}, which has no tone inside that could be opened"
            ),
            Self::NothingToClose { from, real, at } => write!(
                f,
                "the opening begins with tones of {} ms, but in real time at {} they last {} ms already",
                spell_fraction(&from.0),
                spell_fraction(&at.value()),
                real.to_f64().round()
            ),
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
            Self::TooManyNotes { most } => {
                write!(f, "more than {most} notes in one stage; no more are read")
            }
            Self::Crowded {
                stage,
                notes,
                tempo,
            } => write!(
                f,
                "in stage `{stage}` {} gracenotes at {tempo}; they are shortened",
                if *notes == 1 {
                    "a note has too little time for its".to_owned()
                } else {
                    format!("{notes} notes have too little time for their")
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
                times,
                bars,
            } => {
                f.write_str(found)?;
                if *times > 1 {
                    write!(f, " ({times} times)")?;
                }
                write!(f, "{}: {done}", in_bars(bars))
            }
            Self::PlayedEarly {
                gracenote,
                held,
                before,
                bar,
            } => write!(
                f,
                "{} gracenote cannot sound on {} (bar {bar}): it is played before the beat, at the end \
                 of the {}",
                with_article(*gracenote),
                held.spoken(),
                before.spoken()
            ),
            Self::Foreign { found, expected } => write!(f, "{found}; expected {expected}"),
        }
    }
}

/// The most bars that are named in a sentence.
const MOST_BARS_NAMED: usize = 6;

/// Names bars for a sentence: ` in bars 2, 5 and 7`; empty when no bar is known.
fn in_bars(bars: &[u16]) -> String {
    let mut names: Vec<String> = bars
        .iter()
        .take(MOST_BARS_NAMED)
        .map(u16::to_string)
        .collect();
    if bars.len() > MOST_BARS_NAMED {
        names.push(format!("{} more", bars.len() - MOST_BARS_NAMED));
    }
    match names.as_slice() {
        [] => String::new(),
        [only] => format!(" in bar {only}"),
        _ => format!(" in bars {}", wording::list(&names)),
    }
}

fn with_article(note: Note) -> String {
    let name = note.spoken();
    let vowel = matches!(note, Note::E | Note::F);
    format!("{} {name}", if vowel { "an" } else { "a" })
}
