//! The problems of a file: the place, what was found, what was expected, and how to mend it.

mod mend;
mod render;
mod sentence;

pub use render::{MOST_SHOWN, how_many, more, render, render_line};

use crate::chanter::{Note, NoteError};
use crate::rhythm::Metre;
use crate::units::{Beats, Bpm, FractionError, Millis};

/// A place in a text file, counted as in an editor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// The line, from 1; 0 when the file as a whole is meant or has no lines.
    pub line: usize,
    /// The column in characters, from 1.
    pub column: usize,
    /// The number of characters on that line, at least 1.
    pub width: usize,
}

/// Whether the drill can still be played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// The drill cannot be played.
    Error,
    /// The drill can be played, but not exactly as it is written.
    Note,
}

/// One problem.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Its place in the file.
    pub place: Place,
    /// What is wrong.
    pub kind: ProblemKind,
}

impl Place {
    /// The place that means the file as a whole.
    pub const WHOLE_FILE: Self = Self {
        line: 0,
        column: 1,
        width: 1,
    };
}

impl ProblemKind {
    /// The problem for a change to the content of a file that was found once.
    pub fn adopted(found: impl Into<String>, done: impl Into<String>, bars: Vec<u16>) -> Self {
        Self::Adopted {
            found: found.into(),
            done: done.into(),
            times: 1,
            bars,
        }
    }

    /// The parts that equal changes have in common; none for any other kind of problem.
    pub fn change(&self) -> Option<(&str, &str)> {
        match self {
            Self::Adopted { found, done, .. } => Some((found, done)),
            _ => None,
        }
    }

    /// Adds another, equal change: the counts are added and the bars are merged, each once. False
    /// when the other change is not equal.
    pub fn take_in(&mut self, other: &Self) -> bool {
        if self.change().is_none() || self.change() != other.change() {
            return false;
        }
        if let (
            Self::Adopted { times, bars, .. },
            Self::Adopted {
                times: more,
                bars: others,
                ..
            },
        ) = (self, other)
        {
            *times += more;
            for bar in others {
                if !bars.contains(bar) {
                    bars.push(*bar);
                }
            }
        }
        true
    }
}

impl Problem {
    /// A problem at a place.
    pub fn new(place: Place, kind: ProblemKind) -> Self {
        Self { place, kind }
    }

    /// Whether the drill can still be played.
    pub fn severity(&self) -> Severity {
        match self.kind {
            ProblemKind::Crowded { .. }
            | ProblemKind::Adopted { .. }
            | ProblemKind::PlayedEarly { .. }
            | ProblemKind::OffTheBeat { .. } => Severity::Note,
            _ => Severity::Error,
        }
    }
}

/// The most problems in a file; after that no more are looked for.
pub(super) const MOST_PROBLEMS: usize = 1000;

/// Adds a problem, up to [`MOST_PROBLEMS`]. A file of a megabyte may have one in each character.
pub(super) fn tell(problems: &mut Vec<Problem>, problem: Problem) {
    match problems.len() {
        told if told < MOST_PROBLEMS => problems.push(problem),
        MOST_PROBLEMS => problems.push(Problem::new(
            problem.place,
            ProblemKind::GaveUp {
                after: MOST_PROBLEMS,
            },
        )),
        _ => {}
    }
}

/// Kinds of problems, with the values that their sentences need.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(
    missing_docs,
    reason = "each variant's sentence stands in `sentence.rs`"
)]
pub enum ProblemKind {
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
    TooManyValues {
        most: usize,
    },
    /// There were so many problems that the search stopped.
    GaveUp {
        after: usize,
    },
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
    BadPhrases {
        found: String,
        expected: String,
    },
    BadPointing {
        found: String,
        expected: &'static str,
    },
    /// The beat is not a note value, or a bar does not hold a whole number of them.
    BadBeat {
        /// The text that was found.
        found: String,
        /// The metre that the beat should count.
        metre: Metre,
    },
    /// The text is not a metre.
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
    OffTheBeat {
        stage: String,
        movement: &'static str,
        before: Beats,
        played: Beats,
    },
    OffTheLadder {
        field: &'static str,
        found: Bpm,
        from: Bpm,
        to: Bpm,
    },
    OpeningAndMore {
        stage: String,
        field: &'static str,
    },
    NothingInside {
        stage: String,
        movement: &'static str,
    },
    NothingToClose {
        from: Millis,
        real: Millis,
        at: Bpm,
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
    TooManyNotes {
        most: usize,
    },
    Crowded {
        stage: String,
        notes: usize,
        tempo: String,
    },
    // Problems of written-out music.
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
    // Problems of files of other programs.
    /// Something that a drill cannot hold, and how it was changed.
    Adopted {
        found: String,
        done: String,
        times: usize,
        /// The numbers of the bars in which it was found, each once; empty when the music does not
        /// give them.
        bars: Vec<u16>,
    },
    /// Its note cannot sound the gracenote, but the note before can. It would be played before the
    /// beat.
    PlayedEarly {
        gracenote: Note,
        held: Note,
        before: Note,
        bar: u16,
    },
    /// Something is missing or unsuitable, so that no drill can be made of the file.
    Foreign {
        found: String,
        expected: String,
    },
}
