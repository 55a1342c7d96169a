//! The messages that the program reacts to.

use super::listed::Listed;
use super::model::SoundState;
use super::offer::Offer;
use super::opened::OpenedDrill;
use super::session::SessionPlan;
use crate::listening::{Attended, HeardNow};
use crate::planning::SessionPart;
use crate::practice::{Entry, Hand, Mark};
use crate::sound::{Bus, RendererReport};

/// Everything that can happen to the program.
#[derive(Debug, Clone)]
pub enum Message {
    /// The player did something.
    Act(Action),
    /// A drill was read.
    Opened(Box<OpenedDrill>),
    /// A drill could not be read.
    NotOpened(String),
    /// The start page begins: its drills, all movements, and the drill that was practised last.
    Begun {
        /// The drills.
        drills: Vec<Listed>,
        /// Every movement of the catalogue.
        movements: Vec<Listed>,
        /// The name of the drill that is marked.
        last: Option<String>,
    },
    /// What is read over the page was drawn from this row on.
    ReadFrom(u16),
    /// The list of drills was read again.
    Listed(Vec<Listed>),
    /// What to practise today was composed again.
    Today(SessionPlan, Vec<Listed>),
    /// A word of care.
    Care(String),
    /// Something that plays is heard now.
    Heard(RendererReport),
    /// The place that is heard now.
    Position {
        /// Which timeline.
        serial: u64,
        /// True in the count-in.
        counting_in: bool,
        /// The cycle, or the one counted in to.
        cycle: u64,
        /// Beats from the start of the count-in or the cycle.
        beat: f64,
        /// How far the device is ahead of the ear, milliseconds.
        latency_ms: f64,
    },
    /// What the microphone hears now; nothing once it is closed.
    Ear(Option<HeardNow>),
    /// A repetition was listened to.
    Listened {
        /// Which timeline.
        serial: u64,
        /// Which cycle of it.
        cycle: u64,
        /// What was heard.
        attended: Box<Attended>,
    },
    /// The device came, went or was closed.
    Sound(SoundState),
    /// The computer was late with the sound: so many underruns on the device so far.
    Underruns(u32),
    /// Records were stored; what other programs wrote before them comes along.
    Stored {
        /// Other programs' entries.
        foreign: Vec<Entry>,
        /// Our own.
        own: Vec<Entry>,
    },
    /// Records could not be stored; the shell keeps them and tries again.
    NotStored(String),
    /// A take was kept, so many seconds long, or why not.
    Kept(Result<f64, String>),
    /// A session is to begin, or to go on at one of its parts.
    Session(SessionPlan),
    /// What else the day has for the minutes of the session that are left.
    MoreOfToday(Vec<SessionPart>),
    /// What ran on a page of its own is over.
    AsideOver {
        /// The player left it before its end.
        left: bool,
        /// What was wrong, if anything.
        trouble: Option<String>,
    },
    /// Time has gone by and nothing else happened.
    Tick,
    /// A signal asks to leave.
    Terminate,
}

/// What the player can do: the keys of every page, one table of names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Action {
    /// Leave the page; in the first list, the program.
    Leave,
    /// Leave the program from any page.
    End,
    /// Show or hide the keys.
    Help,
    /// Suspend the program.
    Suspend,
    /// In a list: up so many lines; negative is down.
    Move(i32),
    /// In a list: to the first or the last line.
    MoveToEnd {
        /// The last.
        last: bool,
    },
    /// In a list: open what is marked.
    Open,
    /// In a list: show the parts and phrases of the marked tune, or hide them.
    Unfold,
    /// In a session: begin what is shown, or leave the page after the last.
    BeginPart,
    /// In a session: leave out what is shown, or go on to the next thing.
    NextPart,
    /// In the list of drills: a letter to look for.
    Search(char),
    /// In the list of drills: take the last letter back.
    SearchBack,
    /// Play or pause.
    PlayOrPause,
    /// Keep what was just played.
    KeepTake,
    /// Stop and go back to the first repetition.
    Stop,
    /// Mark the repetition that was just heard.
    Mark(Mark, Hand),
    /// Take the last mark back.
    Undo,
    /// Begin to write: a question for the teacher, or words beside the last mark.
    Write {
        /// A question.
        question: bool,
    },
    /// A letter of what is written.
    Letter(char),
    /// Take its last letter back.
    LetterBack,
    /// Keep what was written.
    KeepWords,
    /// A rung up or down.
    Tempo {
        /// Up.
        up: bool,
    },
    /// The stage after or before, played freely where it is not open.
    Stage {
        /// After.
        next: bool,
    },
    /// Move to the cell that was named.
    Advance,
    /// Take what is offered where play has stopped by itself.
    Offer(Offer),
    /// Begin the repetition again.
    Again,
    /// Turn hands-free practice on or off: a repetition counts as clean unless it is marked.
    HandsFree,
    /// Make a bus louder or softer.
    Level(Bus, bool),
    /// Make a bus silent, or heard again.
    Mute(Bus),
    /// Turn the drones on or off.
    Drones,
    /// Take the next choice of the repetitions in which the reference sounds.
    Reference,
    /// Take the next choice of the clicks that sound.
    Clicks,
    /// Take the next choice of clicks between the beats.
    Subdivision,
    /// Take the next sound of the click.
    ClickSound,
    /// Hide more of the music: a phrase, half, all; after that show it again.
    HidePhrase,
    /// Begin with another phrase to hide.
    OtherPhrase,
    /// Change between figures that are read from two metres away and the usual page.
    Stand,
    /// Change the hand that the fingering picture is drawn for.
    Handed,
    /// Where the time comes from and what to listen for, in full.
    Explain,
    /// The movement explained in full: why each gracenote, the fingers, the crossings.
    ReadMovement,
}
