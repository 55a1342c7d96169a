//! The messages that change the model.

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
    /// The start page was composed: its drills, all movements, and the drill that was practised
    /// last.
    Begun {
        /// The drills.
        drills: Vec<Listed>,
        /// Every movement of the catalogue.
        movements: Vec<Listed>,
        /// The name of the drill that is marked.
        last: Option<String>,
    },
    /// The overlay that is being read was drawn from this row on, in rows from 0.
    ReadFrom(u16),
    /// The list of drills was read again.
    Listed(Vec<Listed>),
    /// Today's session and homework were composed again.
    Today(SessionPlan, Vec<Listed>),
    /// A reminder to take a break, as a sentence.
    Care(String),
    /// A point of the timeline that the renderer reported is audible now.
    Heard(RendererReport),
    /// The place in the music that is audible now.
    Position {
        /// The serial number of the timeline.
        serial: u64,
        /// True during the count-in.
        counting_in: bool,
        /// The cycle that sounds, or the one that the count-in leads to.
        cycle: u64,
        /// Beats since the start of the count-in or of the cycle.
        beat: f64,
        /// The device's latency, from rendering to hearing, in milliseconds.
        latency_ms: f64,
    },
    /// What the microphone hears now; none once it is closed.
    Ear(Option<HeardNow>),
    /// The microphone's recording of a repetition was analysed.
    Listened {
        /// The serial number of the timeline.
        serial: u64,
        /// The cycle of the timeline that was analysed.
        cycle: u64,
        /// What the analysis found.
        attended: Box<Attended>,
    },
    /// The audio device was opened, lost or closed.
    Sound(SoundState),
    /// The number of underruns of the device so far.
    Underruns(u32),
    /// Records were stored. Entries that other programs had written before them come along.
    Stored {
        /// Other programs' entries.
        foreign: Vec<Entry>,
        /// Our own entries.
        own: Vec<Entry>,
    },
    /// Records could not be stored, with the reason. The shell keeps them and tries again.
    NotStored(String),
    /// A recording was saved, with its length in seconds, or the reason why it was not.
    Kept(Result<f64, String>),
    /// A session begins, or continues at one of its parts.
    Session(SessionPlan),
    /// Further parts of the day for the session's remaining minutes.
    MoreOfToday(Vec<SessionPart>),
    /// A page beside practice, such as a warm-up, was closed.
    AsideOver {
        /// True where the player closed it before its end.
        left: bool,
        /// What went wrong, if anything.
        trouble: Option<String>,
    },
    /// Time passed and nothing else happened.
    Tick,
    /// A signal asks the program to end.
    Terminate,
}

/// What the player can do. This is the one table of actions for the keys of every page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Action {
    /// Leave the page; on the start page, end the program.
    Leave,
    /// End the program from any page.
    End,
    /// Show or hide the keys.
    Help,
    /// Suspend the program (Ctrl-Z).
    Suspend,
    /// In a list: move the mark up by this many lines; a negative number moves it down.
    Move(i32),
    /// In a list: mark the first or the last line.
    MoveToEnd {
        /// True for the last line.
        last: bool,
    },
    /// In a list: open the marked line.
    Open,
    /// In a list: show the parts and phrases of the marked tune, or hide them.
    Unfold,
    /// In a session: begin the part that is shown, or leave the page after the last part.
    BeginPart,
    /// In a session: leave out the part that is shown, or go on to the next part.
    NextPart,
    /// In the list of drills: add a letter to the search.
    Search(char),
    /// In the list of drills: delete the last letter of the search.
    SearchBack,
    /// Play or pause.
    PlayOrPause,
    /// Save the recording of what was just played.
    KeepTake,
    /// Stop, and go back to the first repetition.
    Stop,
    /// Mark the repetition that was just heard.
    Mark(Mark, Hand),
    /// Take the last mark back.
    Undo,
    /// Begin to write a question for the teacher, or a remark on the last mark.
    Write {
        /// True for a question.
        question: bool,
    },
    /// Add a letter to the text that is being written.
    Letter(char),
    /// Delete the last letter of the text that is being written.
    LetterBack,
    /// Keep the text that was written.
    KeepWords,
    /// Go one rung up or down.
    Tempo {
        /// True for up.
        up: bool,
    },
    /// Go to the next or the previous stage. It is played freely where it is not open yet.
    Stage {
        /// True for the next stage.
        next: bool,
    },
    /// Move to the cell that the last notice suggested.
    Advance,
    /// Take an offer after play has stopped by itself.
    Offer(Offer),
    /// Start the present repetition again.
    Again,
    /// Turn hands-free practice on or off. In it a repetition counts as clean unless it is marked
    /// otherwise.
    HandsFree,
    /// Make a bus louder (true) or softer (false).
    Level(Bus, bool),
    /// Mute a bus, or unmute a muted one.
    Mute(Bus),
    /// Turn the drones on or off.
    Drones,
    /// Switch to the next choice of the repetitions in which the reference sounds.
    Reference,
    /// Switch to the next choice of the beats that click.
    Clicks,
    /// Switch to the next choice of clicks between the beats.
    Subdivision,
    /// Switch to the next click sound.
    ClickSound,
    /// Hide more of the music: a phrase, then half, then all; after that show everything again.
    HidePhrase,
    /// Begin the hiding with another phrase.
    OtherPhrase,
    /// Switch between the large page that can be read from two metres away and the usual page.
    Stand,
    /// Draw the fingering picture for the other hand.
    Handed,
    /// Show in full where the time comes from and what to listen for.
    Explain,
    /// Show the full explanation of the movement: the reason for each gracenote, the fingers and
    /// the crossings.
    ReadMovement,
}
