//! What an update asks the shell to do.

use super::session::Session;
use crate::drill::BarRange;
use crate::practice::Record;
use crate::sound::{Command, Entrance, When};
use crate::timeline::Timeline;
use std::sync::Arc;

/// Something that the shell is asked to do. Effects are carried out in order, before the screen is
/// drawn.
#[derive(Debug, Clone)]
pub enum Effect {
    /// Read the list of drills and how much of each is done; answered by a message.
    List,
    /// Read a drill and its marks; answered by a message.
    Open {
        /// The drill's name or a file.
        name: String,
        /// The name of the drill in a homework file, where the file holds several.
        task: Option<String>,
    },
    /// Open a movement's drill, after adding it to the player's own drills where it is missing;
    /// answered by a message.
    OpenMovement(String),
    /// Open the drill of some bars of a tune, after adding it to the player's own drills where it
    /// is missing; answered by a message.
    OpenBars(String, BarRange),
    /// Open the drill of a tune in which dotted notes are first held longer, after adding it to the
    /// player's own drills where it is missing; answered by a message.
    OpenHeldDots(String),
    /// Read a drill and its marks, and begin in the given cell; answered by a message.
    OpenAt {
        /// The drill's name or a file.
        name: String,
        /// The name of the drill in a homework file, where the file holds several.
        task: Option<String>,
        /// The stage, from 0.
        stage: usize,
        /// The rung: a tempo, or a tone length.
        rung: crate::practice::Rung,
    },
    /// Store these records in the journal as one write; answered by a message.
    Store(Vec<Record>),
    /// Send a timeline to the player.
    Load {
        /// The serial number, by which reports and positions name the timeline.
        serial: u64,
        /// The timeline.
        timeline: Arc<Timeline>,
        /// When the player switches to the new timeline.
        when: When,
        /// Where in the timeline play begins.
        entry: Entrance,
    },
    /// Start play.
    Start,
    /// Play the loaded timeline once, with its count-in.
    PlayOnce,
    /// Stop the sound and keep the place.
    Pause,
    /// Stop the sound and go back to the first repetition.
    Stop,
    /// Ask the device for a larger buffer, because of repeated underruns; answered by a message.
    LargerBuffer,
    /// Change a sound setting: levels, tuning or cues.
    Sound(Command),
    /// Write what the microphone heard since play began to a file; answered by a message.
    KeepTake {
        /// The drill's name.
        drill: String,
        /// The stage's name.
        stage: String,
        /// The rung: a tempo, or a tone length.
        rung: crate::practice::Rung,
    },
    /// Begin today's session or continue it; answered by a message.
    BeginSession,
    /// Compose further parts for the day's session; answered by a message.
    MoreOfToday,
    /// Run a warm-up of this many minutes on its own page; answered by a message.
    WarmUp(u32),
    /// Play a drill's movement for listening on its own page; answered by a message.
    Hear(String),
    /// Save the session's state for the rest of the day.
    KeepSession(Box<Session>),
    /// Give the terminal back to the command shell until the program is continued (Ctrl-Z).
    Suspend,
    /// End the program.
    Quit,
}
