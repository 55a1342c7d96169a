//! The values that go to the player and back: commands one way, reports the other.
//!
//! Everything here is plain values. The one thing that owns memory, the timeline, travels back on
//! a ring of its own and is freed by whoever sent it.

use super::mix::{Bus, Levels};
use super::voices::{ClickSound, Cue};
use crate::chanter::Tuning;
use crate::rhythm::{ClickPlan, ReferencePlan};
use crate::timeline::Timeline;
use crate::units::{Fraction, Frames, Gain};
use std::sync::Arc;

/// When a newly loaded timeline takes over while another one plays.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum When {
    /// At the frame the command arrives.
    Now,
    /// At the next bar line; in the count-in, where it ends.
    BarLine,
    /// Where the next repetition would begin.
    CycleEnd,
}

/// Where in the new timeline playing goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Entrance {
    /// At the same beat of the same cycle: the same stage at another tempo or in another layout.
    SamePlace,
    /// With the timeline's count-in, then its first cycle: another stage.
    CountIn,
    /// With its first cycle, no count-in.
    FirstCycle,
}

/// A timeline on its way to the player.
#[derive(Debug, Clone)]
pub struct Load {
    /// What is to be played, at its own tempo and at the player's rate.
    pub timeline: Arc<Timeline>,
    /// The sender's name for it; reports carry it.
    pub serial: u64,
    /// When it takes over. While nothing plays: at once.
    pub when: When,
    /// Where it begins.
    pub entry: Entrance,
}

/// What the player is told.
#[derive(Debug, Clone)]
pub enum Command {
    /// Play this timeline. A second one sent before the first takes over replaces it.
    Load(Load),
    /// Begin with the count-in; after a pause before the cycle that was cut short. `repetitions`
    /// ends playing after so many cycles.
    Play {
        /// Cycles to play; none for as long as wanted.
        repetitions: Option<u64>,
    },
    /// Fall silent and keep the place: the cycle that was cut short will begin again.
    Pause,
    /// Fall silent and go back to the first cycle.
    Stop,
    /// A level, 0 to 1.
    Level(Bus, Gain),
    /// Silences a bus, its level kept.
    Mute(Bus, bool),
    /// All levels at once.
    Levels(Levels),
    /// Pitch, table and chanter.
    Tune(Tuning),
    /// Drones on or off.
    Drones(bool),
    /// A cue now; also while nothing plays.
    Cue(Cue),
    /// What the click sounds like from the next one on.
    ClickSound(ClickSound),
    /// Which clicks are heard.
    Clicks(ClickPlan),
    /// In which repetitions the reference is heard.
    Reference(ReferencePlan),
}

/// A command and the frame at which it acts.
#[derive(Debug, Clone)]
pub struct Timed {
    /// The frame; one that is past (0, say) means as soon as possible, at most 64 frames later.
    /// Commands act in the order they were sent: one for a later frame holds back those sent after
    /// it.
    pub at: Frames,
    /// What to do.
    pub command: Command,
}

/// What the player reports. Frames count from the player's first frame on, played or silent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RendererReport {
    /// A timeline took over, or playing began: from `frame` on, beat 0 (the first click of the
    /// count-in) stands at the exact frame `origin`.
    Took {
        /// Which timeline.
        serial: u64,
        /// From this frame on.
        frame: Frames,
        /// The exact frame of its beat 0.
        origin: Fraction,
        /// The cycle it plays or counts in to.
        cycle: u64,
        /// True in the count-in.
        counting_in: bool,
    },
    /// A bar begins.
    Bar {
        /// Which timeline.
        serial: u64,
        /// The cycle, from 0.
        cycle: u64,
        /// The bar in it, from 0; 0 begins a repetition.
        bar: u32,
        /// The frame at which it is.
        frame: Frames,
    },
    /// The place of a repetition's closing note.
    Closing {
        /// Which timeline.
        serial: u64,
        /// The repetition, from 0.
        cycle: u64,
        /// The frame at which it is.
        frame: Frames,
    },
    /// A repetition was cut short by a change, a pause or a stop: it is void.
    Cut {
        /// Which timeline.
        serial: u64,
        /// The repetition, from 0.
        cycle: u64,
        /// The frame at which it is.
        frame: Frames,
    },
    /// Playing paused.
    Paused(Frames),
    /// Playing stopped, by command or after the repetitions asked for.
    Stopped(Frames),
    /// The ring was full and this many reports before this one are lost. Each report carries its
    /// whole place, so the next bar sets the reader right.
    Missed(u32),
}
