//! What can happen at practice, and what a step has to say of it.

use super::board::CellStatus;
use super::cell::CellKey;
use super::entry::{By, Entry, Mark, Moment, RecordId};
use super::measurement::Measurement;
use super::plan::Plan;
use super::verdict::Verdict;
use uuid::Uuid;

/// What the player pressed.
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

/// Everything that can happen. Each carries its moment; the machine reads no clock.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A session begins.
    Started {
        /// When it happened.
        at: Moment,
        /// A fresh name for the session.
        session: Uuid,
        /// Where to begin: where the last session ended, or what the player asked for. Nothing,
        /// or a stage the plan does not have: the first open cell of the route.
        place: Option<CellKey>,
    },
    /// A repetition's first bar is heard. Its cell is what really sounds.
    RepetitionBegan {
        /// When it is heard.
        at: Moment,
        /// Its number, strictly rising within the session; another is not taken.
        id: u64,
        /// The cell it plays.
        cell: CellKey,
        /// The reference line sounds in it.
        reference: bool,
    },
    /// A bar line is heard.
    BarHeard {
        /// When it is heard.
        at: Moment,
    },
    /// A repetition's last melody note begins to be heard: from here on it can be marked, and
    /// nothing cuts it short any more.
    ClosingNoteHeard {
        /// When it is heard.
        at: Moment,
        /// Which repetition.
        repetition: u64,
        /// All of its music was hidden from its beginning on.
        by_heart: bool,
    },
    /// A repetition and its breath are over, told early enough for the next cell to be laid.
    RepetitionEnded {
        /// When it happened.
        at: Moment,
        /// Which repetition.
        repetition: u64,
    },
    /// The player marks.
    Press {
        /// When it was pressed.
        at: Moment,
        /// What is said.
        mark: Mark,
        /// Key or pedal.
        by: Hand,
        /// A repetition by its number; nothing for the one it belongs to by heard time.
        repetition: Option<u64>,
    },
    /// The microphone's measures of a repetition, at any time after it closed.
    Listened {
        /// When the measures are ready.
        at: Moment,
        /// Which repetition.
        repetition: u64,
        /// What was heard.
        measured: Measurement,
        /// The computer lost some of the microphone's sound: it is not judged.
        lost: bool,
    },
    /// The player is heard playing, apart from everything we play ourselves.
    PlayingHeard,
    /// A key or pedal that does not mark: a sign that someone is there.
    Touched,
    /// Take the last mark back.
    Undo {
        /// When it happened.
        at: Moment,
    },
    /// The repetition that sounds is cut short: by a seek, by a lost device, or because it begins
    /// again.
    Cut,
    /// The computer was late with the sound, so the repetition that sounds takes no mark.
    SoundLost,
    /// Sound stops and will go on.
    Paused {
        /// When it happened.
        at: Moment,
    },
    /// Sound goes on.
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
    /// The player chooses a cell, open or not, on the ladder or between its rungs.
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
    /// The player asks to move to the cell that was named.
    Advance {
        /// When it happened.
        at: Moment,
    },
    /// The drill or a setting changed. Marks of stages the old plan did not have are not known
    /// here: they come as foreign entries or with a replay.
    PlanChanged {
        /// When it happened.
        at: Moment,
        /// The new plan.
        plan: Plan,
    },
    /// The player's own words, beside the last mark of the session or for the teacher.
    Word {
        /// When it happened.
        at: Moment,
        /// The mark they stand beside; none where they are for the teacher.
        about: Option<RecordId>,
        /// The words.
        text: String,
    },
    /// Records were stored: what others wrote before them, and our own with their places.
    Stored {
        /// Entries of other programs, or of a merged journal.
        foreign: Vec<Entry>,
        /// Our own.
        own: Vec<Entry>,
    },
}

impl Event {
    /// When it happened; nothing for what has no moment.
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

/// What the last step has to say; for a sentence, a sound or a colour, never for a decision.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// A repetition was marked, or its mark corrected.
    Marked {
        /// The repetition's cell.
        cell: CellKey,
        /// Its number.
        repetition: u64,
        /// What was said.
        mark: Mark,
        /// Who said it.
        by: By,
    },
    /// A cell became clear.
    Cleared(CellKey),
    /// A cell is no longer clear.
    Uncleared {
        /// Which cell.
        cell: CellKey,
        /// What it is now.
        now: CellStatus,
    },
    /// Where play moves at the next boundary, or at once when nothing sounds.
    MovesTo(CellKey),
    /// Three in a row were not clean: this cell is suggested.
    StepBackSuggested(CellKey),
    /// The suggested step back was taken.
    StepBackTaken(CellKey),
    /// Three in a row were not clean: play stops at the next bar line.
    StopsSoon,
    /// Play stopped after three not clean in a row and offers other ways on.
    Offers,
    /// Ways on are offered, and a mark chose among them: clean takes the next one, not clean the
    /// easier cell.
    Chosen(Mark),
    /// A cold try was marked.
    ColdTry {
        /// Its cell.
        cell: CellKey,
        /// What was said.
        mark: Mark,
    },
    /// Every cell is clear or passed.
    Complete,
    /// A mark was taken back.
    Undone {
        /// The mark's cell.
        cell: CellKey,
        /// The mark.
        mark: RecordId,
    },
    /// There is no mark to take back.
    NothingToUndo,
    /// No repetition has come to its closing note yet.
    NothingToMark,
    /// The repetition has this mark already, from this hand.
    AlreadyMarked(Mark),
    /// The same press again within 600 ms.
    HeldDown,
    /// A repetition was cut short and takes no mark.
    Void(u64),
    /// The computer was late with the sound of a repetition, which takes no mark.
    NotCounted(u64),
    /// Play paused, because six repetitions in a row were assumed clean without a key or pedal.
    NobodyThere,
    /// The repetition was measured. Where that marked it, the mark stands among the same news.
    Judged {
        /// Which repetition.
        repetition: u64,
        /// What is said of it.
        verdict: Verdict,
    },
    /// What was heard did not mark the repetition.
    NotByEar {
        /// Which repetition.
        repetition: u64,
        /// Why not.
        why: NotByEar,
    },
    /// The ladder has no rung there.
    LadderEnds,
    /// The plan has no such stage.
    UnknownStage(CellKey),
    /// Other programs' entries changed the marks.
    OthersWrote(usize),
}

/// What is said of a repetition in which the computer lost sound.
pub const LATE: &str = "not counted: the computer was late with the sound";
/// What is said of a repetition that cannot be judged.
pub const UNSURE: &str = "too much around it to judge: not counted";

/// Why what was heard did not mark a repetition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NotByEar {
    /// Marking by ear is off.
    Off,
    /// It was cut short, or is too long ago.
    NoSuchRepetition,
    /// The reference sounded and no headphones were declared.
    ReferenceSounded,
    /// The player was not heard.
    SilentPlayer,
    /// There was too much around the player to judge what was played.
    Unsure,
    /// The computer was late with the sound.
    SoundLost,
    /// The player had marked it.
    MarkedByHand,
}
