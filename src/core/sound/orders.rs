//! The values exchanged with the renderer: commands go to it, reports come back.
//!
//! All of them are plain values except the timeline, which owns memory. The timeline travels back
//! on a separate ring, so that its sender frees it.

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
    /// At the frame at which the command arrives.
    Now,
    /// At the next bar line; during the count-in, at its end.
    BarLine,
    /// At the place where the next repetition would begin.
    CycleEnd,
}

/// Where playing goes on in the new timeline.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Entrance {
    /// At the same beat of the same cycle. For the same stage at another tempo or in another
    /// layout.
    SamePlace,
    /// At the timeline's count-in, which leads to its first cycle. For another stage.
    CountIn,
    /// At the timeline's first cycle, without a count-in.
    FirstCycle,
}

/// A timeline sent to the renderer.
#[derive(Debug, Clone)]
pub struct Load {
    /// What is to be played, at its own tempo and at the renderer's sample rate.
    pub timeline: Arc<Timeline>,
    /// The sender's number for it; reports carry this number.
    pub serial: u64,
    /// When it takes over. While nothing plays it takes over at once.
    pub when: When,
    /// Where playing begins in it.
    pub entry: Entrance,
}

/// A command to the renderer.
#[derive(Debug, Clone)]
pub enum Command {
    /// Play this timeline. A second one sent before the first takes over replaces it.
    Load(Load),
    /// Begin playing with the count-in. After a pause the interrupted cycle begins again.
    Play {
        /// The number of cycles to play; none to play until stopped.
        repetitions: Option<u64>,
    },
    /// Fall silent and keep the place. The interrupted cycle will begin again.
    Pause,
    /// Fall silent and return to the first cycle.
    Stop,
    /// Set the level of a bus, 0 to 1.
    Level(Bus, Gain),
    /// Mute or unmute a bus; its level is kept.
    Mute(Bus, bool),
    /// Set all levels and mutes at once.
    Levels(Levels),
    /// Set the pitch, the tuning table and the chanter.
    Tune(Tuning),
    /// Switch the drones on or off.
    Drones(bool),
    /// Sound a cue now, even while nothing plays.
    Cue(Cue),
    /// Set the click sound from the next click on.
    ClickSound(ClickSound),
    /// Set which clicks sound.
    Clicks(ClickPlan),
    /// Set the repetitions in which the reference sounds.
    Reference(ReferencePlan),
}

/// A command and the frame at which it acts.
#[derive(Debug, Clone)]
pub struct Timed {
    /// The frame. A frame in the past, such as 0, means as soon as possible, at most 64 frames
    /// later. Commands act in the order in which they are sent, so a command for a later frame
    /// delays those sent after it.
    pub at: Frames,
    /// What to do.
    pub command: Command,
}

/// A report from the renderer. Frames are counted from the renderer's first frame, whether it plays
/// or is silent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RendererReport {
    /// A timeline took over, or playing began. From `frame` on, beat 0 (the first click of the
    /// count-in) is at the exact frame `origin`.
    Took {
        /// The serial number of the timeline.
        serial: u64,
        /// From this frame on.
        frame: Frames,
        /// The exact frame of its beat 0.
        origin: Fraction,
        /// The cycle that plays, or that the count-in leads to.
        cycle: u64,
        /// True during the count-in.
        counting_in: bool,
    },
    /// A bar begins.
    Bar {
        /// The serial number of the timeline.
        serial: u64,
        /// The cycle, from 0.
        cycle: u64,
        /// The bar in the cycle, from 0; bar 0 begins a repetition.
        bar: u32,
        /// The frame at which the bar begins.
        frame: Frames,
    },
    /// A repetition's closing note is reached.
    Closing {
        /// The serial number of the timeline.
        serial: u64,
        /// The repetition, from 0.
        cycle: u64,
        /// The frame of the closing note's place.
        frame: Frames,
    },
    /// A repetition was interrupted by a change, a pause or a stop; it does not count.
    Cut {
        /// The serial number of the timeline.
        serial: u64,
        /// The repetition, from 0.
        cycle: u64,
        /// The frame at which it was interrupted.
        frame: Frames,
    },
    /// Playing paused at this frame.
    Paused(Frames),
    /// Playing stopped at this frame, by command or after the requested repetitions.
    Stopped(Frames),
    /// The ring was full, and this many reports before this one are lost. Each report has the
    /// complete place, so the reader is right again from the next bar on.
    Missed(u32),
}
