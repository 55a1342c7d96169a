//! The events of practice, and the news that a step gives.

use super::board::CellStatus;
use super::cell::CellKey;
use super::entry::{By, Entry, Mark, Moment, RecordId};
use super::measurement::Measurement;
use super::plan::Plan;
use super::verdict::Verdict;
use uuid::Uuid;

/// Which device the player pressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Hand {
    /// A key.
    Key,
    /// A pedal.
    Pedal,
}

impl From<Hand> for By {
    fn from(hand: Hand) -> Self {
        match hand {
            Hand::Key => Self::Key,
            Hand::Pedal => Self::Pedal,
        }
    }
}

/// Everything that can happen. Events carry their moment, because the state machine reads no clock.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A session begins.
    Started {
        /// When it happened.
        at: Moment,
        /// A new identity for the session.
        session: Uuid,
        /// The cell to begin in: where the last session ended, or the player's choice. When it is
        /// none, or its stage is not in the plan, play begins in the first open cell of the route.
        place: Option<CellKey>,
    },
    /// The first bar of a repetition is heard. Its cell is the one that really sounds.
    RepetitionBegan {
        /// When it is heard.
        at: Moment,
        /// Its number, strictly rising within the session. Other numbers are ignored.
        id: u64,
        /// The cell it plays.
        cell: CellKey,
        /// True when the reference line sounds in it.
        reference: bool,
    },
    /// A bar line is heard.
    BarHeard {
        /// When it is heard.
        at: Moment,
    },
    /// A repetition's last melody note begins to be heard. From here on it can be marked and is no
    /// longer interrupted.
    ClosingNoteHeard {
        /// When it is heard.
        at: Moment,
        /// Which repetition.
        repetition: u64,
        /// True when all of its music was hidden from its beginning on.
        by_heart: bool,
    },
    /// A repetition and its breath are over. It comes early enough to prepare the next cell.
    RepetitionEnded {
        /// When it happened.
        at: Moment,
        /// Which repetition.
        repetition: u64,
    },
    /// The player gives a mark.
    Press {
        /// When it was pressed.
        at: Moment,
        /// The mark.
        mark: Mark,
        /// Key or pedal.
        by: Hand,
        /// The number of a repetition; none for the one that the press belongs to by heard time.
        repetition: Option<u64>,
    },
    /// The microphone's measurement of a repetition, at any time after its closing note.
    Listened {
        /// When the measurement is ready.
        at: Moment,
        /// Which repetition.
        repetition: u64,
        /// What was measured.
        measured: Measurement,
        /// True when the computer lost some of the microphone's sound. The measurement is then not
        /// judged.
        lost: bool,
    },
    /// The player is heard playing; the program's own sound does not count.
    PlayingHeard,
    /// A key or pedal other than a mark was used, which shows that somebody is there.
    Touched,
    /// The last mark is to be undone.
    Undo {
        /// When it happened.
        at: Moment,
    },
    /// The sounding repetition is interrupted by a seek, by a lost device, or because it begins
    /// again.
    Cut,
    /// The computer was late with the sound, so the sounding repetition takes no mark.
    SoundLost,
    /// Sound stops and will continue.
    Paused {
        /// When it happened.
        at: Moment,
    },
    /// Sound continues.
    Resumed {
        /// When it happened.
        at: Moment,
    },
    /// Sound stops.
    Stopped {
        /// When it happened.
        at: Moment,
    },
    /// The session is left.
    Ended {
        /// When it happened.
        at: Moment,
    },
    /// The player chooses a cell. It may be closed, and it may lie between the rungs of the ladder.
    CellChosen {
        /// When it happened.
        at: Moment,
        /// Which cell.
        cell: CellKey,
    },
    /// The player asks for the rung above or below.
    TempoStep {
        /// When it happened.
        at: Moment,
        /// True for the rung above.
        up: bool,
    },
    /// The player asks to move to the named next cell.
    Advance {
        /// When it happened.
        at: Moment,
    },
    /// The drill or a setting changed. The state does not have the marks of stages that were not in
    /// the old plan; they come as foreign entries or with a replay.
    PlanChanged {
        /// When it happened.
        at: Moment,
        /// The new plan.
        plan: Plan,
    },
    /// The player wrote a note, for the last mark of the session or for the teacher.
    Word {
        /// When it happened.
        at: Moment,
        /// The mark that the words belong to; none when they are for the teacher.
        about: Option<RecordId>,
        /// The words.
        text: String,
    },
    /// Records were stored: entries that others wrote before them, and our own with their places.
    Stored {
        /// Entries of other programs, or of a merged journal.
        foreign: Vec<Entry>,
        /// Our own.
        own: Vec<Entry>,
    },
}

impl Event {
    /// When it happened; none for an event without a moment.
    pub fn at(&self) -> Option<Moment> {
        match self {
            Self::Started { at, .. }
            | Self::RepetitionBegan { at, .. }
            | Self::BarHeard { at }
            | Self::ClosingNoteHeard { at, .. }
            | Self::RepetitionEnded { at, .. }
            | Self::Press { at, .. }
            | Self::Listened { at, .. }
            | Self::Undo { at }
            | Self::Paused { at }
            | Self::Resumed { at }
            | Self::Stopped { at }
            | Self::Ended { at }
            | Self::CellChosen { at, .. }
            | Self::TempoStep { at, .. }
            | Self::Advance { at }
            | Self::PlanChanged { at, .. }
            | Self::Word { at, .. } => Some(*at),
            Self::PlayingHeard
            | Self::Touched
            | Self::Cut
            | Self::SoundLost
            | Self::Stored { .. } => None,
        }
    }
}

/// What the last step reports. It is for a sentence, a sound or a colour, never for a decision.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// A repetition was marked, or its mark corrected.
    Marked {
        /// The repetition's cell.
        cell: CellKey,
        /// Its number.
        repetition: u64,
        /// The mark.
        mark: Mark,
        /// Who gave the mark.
        by: By,
    },
    /// A cell became clear.
    Cleared(CellKey),
    /// A cell is no longer clear.
    Uncleared {
        /// Which cell.
        cell: CellKey,
        /// The new status of the cell.
        now: CellStatus,
    },
    /// Play moves to this cell at the next boundary, or at once when nothing sounds.
    MovesTo(CellKey),
    /// Three repetitions in a row were not clean, so a step back to this cell is suggested.
    StepBackSuggested(CellKey),
    /// The suggested step back was taken.
    StepBackTaken(CellKey),
    /// Three repetitions in a row were not clean, so play stops at the next bar line.
    StopsSoon,
    /// Play stopped after three repetitions that were not clean, and other ways on are offered.
    Offers,
    /// A press chose one of the offered ways: clean continues with the cell, not clean takes the
    /// easier cell.
    Chosen(Mark),
    /// A cold try was marked.
    ColdTry {
        /// Its cell.
        cell: CellKey,
        /// The mark.
        mark: Mark,
    },
    /// Every cell is clear or passed.
    Complete,
    /// A mark was undone.
    Undone {
        /// The mark's cell.
        cell: CellKey,
        /// The mark.
        mark: RecordId,
    },
    /// There is no mark to undo.
    NothingToUndo,
    /// No repetition has reached its closing note yet.
    NothingToMark,
    /// The repetition already has this mark from a hand.
    AlreadyMarked(Mark),
    /// The same press was repeated within 600 ms.
    HeldDown,
    /// A repetition was interrupted and takes no mark.
    Void(u64),
    /// The computer was late with the sound of a repetition, which takes no mark.
    NotCounted(u64),
    /// Play paused, because six repetitions in a row were assumed clean without a key or pedal.
    NobodyThere,
    /// The repetition was measured and judged. When that marked it, the same news contains the
    /// mark.
    Judged {
        /// Which repetition.
        repetition: u64,
        /// The verdict.
        verdict: Verdict,
    },
    /// The measurement did not mark the repetition.
    NotByEar {
        /// Which repetition.
        repetition: u64,
        /// Why not.
        why: NotByEar,
    },
    /// The ladder has no rung in that direction.
    LadderEnds,
    /// The plan does not have this cell's stage.
    UnknownStage(CellKey),
    /// Other programs' entries changed the marks; the value is their number.
    OthersWrote(usize),
}

/// The text for a repetition in which the computer lost sound.
pub const LATE: &str = "not counted: the computer was late with the sound";
/// The text for a repetition that cannot be judged.
pub const UNSURE: &str = "too much around it to judge: not counted";

/// Why a measurement did not mark a repetition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NotByEar {
    /// Marking by ear is off.
    Off,
    /// It was interrupted, or it is too long ago.
    NoSuchRepetition,
    /// The reference sounded and no headphones were declared.
    ReferenceSounded,
    /// The player was not heard.
    SilentPlayer,
    /// There was too much other sound to judge what was played.
    Unsure,
    /// The computer was late with the sound.
    SoundLost,
    /// The player had already marked it.
    MarkedByHand,
}
