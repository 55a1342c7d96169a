//! What an update asks of the shell.

use super::session::Session;
use crate::drill::BarRange;
use crate::practice::Record;
use crate::sound::{Command, Entrance, When};
use crate::timeline::Timeline;
use std::sync::Arc;

/// Something the shell is to do. Effects are carried out in order, before the screen is drawn.
#[derive(Debug, Clone)]
pub enum Effect {
    /// Read the list of drills and how much of each is done; answered by a message.
    List,
    /// Read a drill and its marks; answered by a message.
    Open {
        /// The drill's name or a file.
        name: String,
        /// Which drill of a homework file, where it holds several.
        task: Option<String>,
    },
    /// Make a movement's drill among the player's own, unless it is there, and open it; answered by
    /// a message.
    OpenMovement(String),
    /// Make the drill of some bars of a tune among the player's own, unless it is there, and open it;
    /// answered by a message.
    OpenBars(String, BarRange),
    /// Make the drill of a tune with its dots held longer first among the player's own, unless it
    /// is there, and open it; answered by a message.
    OpenHeldDots(String),
    /// Read a drill and its marks and begin in a cell; answered by a message.
    OpenAt {
        /// The drill's name or a file.
        name: String,
        /// Which drill of a homework file, where it holds several.
        task: Option<String>,
        /// The stage, from 0.
        stage: usize,
        /// The rung: a tempo, or a length of tones.
        rung: crate::practice::Rung,
    },
    /// Store records in the journal in one go; answered by a message.
    Store(Vec<Record>),
    /// Send a timeline to the player.
    Load {
        /// The number by which reports and positions name it.
        serial: u64,
        /// The timeline.
        timeline: Arc<Timeline>,
        /// When it takes over.
        when: When,
        /// Where it begins.
        entry: Entrance,
    },
    /// Begin to play.
    Start,
    /// Play what was loaded once, with its count-in.
    PlayOnce,
    /// Fall silent and keep the place.
    Pause,
    /// Fall silent and go back to the first repetition.
    Stop,
    /// Ask the device for a larger buffer: the computer is late with the sound again and again;
    /// answered by a message.
    LargerBuffer,
    /// Levels, tuning, cues.
    Sound(Command),
    /// Keep what the microphone heard since play began; answered by a message.
    KeepTake {
        /// The drill's name.
        drill: String,
        /// The stage's name.
        stage: String,
        /// The rung: a tempo, or a length of tones.
        rung: crate::practice::Rung,
    },
    /// Begin today's session, or go on with it; answered by a message.
    BeginSession,
    /// Compose all that the day has besides; answered by a message.
    MoreOfToday,
    /// Run a warm-up of so many minutes on a page of its own; answered by a message.
    WarmUp(u32),
    /// Let a drill's movement be heard on a page of its own; answered by a message.
    Hear(String),
    /// Keep where the session stands, for the rest of the day.
    KeepSession(Box<Session>),
    /// Hand the terminal back to the shell until the program is continued.
    Suspend,
    /// Leave.
    Quit,
}
