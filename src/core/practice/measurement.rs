//! What was heard of one repetition, in figures: the type that listening fills.
//!
//! Raw measures only. Knows no threshold and judges nothing, so that a later threshold can judge
//! the same figures again.

use crate::chanter::Note;
use serde::{Deserialize, Serialize};

/// What a written note is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// A melody note, with a written place and length.
    Melody,
    /// A sounding tone inside a movement, such as the low Gs of a grip in real time.
    Tone,
    /// A gracenote.
    Gracenote,
}

/// One note of the score, and what was heard of it. Lengths and offsets in milliseconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NoteMeasure {
    /// The score's id of the note.
    pub id: u32,
    /// The bar it stands in, from 1.
    pub bar: u32,
    /// What it is for.
    pub part: Part,
    /// The note that is written.
    pub written: Note,
    /// The note that was heard in its place; nothing when none was.
    pub heard: Option<Note>,
    /// How long it sounded.
    pub length_ms: Option<f64>,
    /// How long the timeline gives it.
    pub expected_ms: f64,
    /// How far its beginning was from its written place: positive is late. The player's constant
    /// lead and the clocks' offset and drift are taken off.
    pub offset_ms: Option<f64>,
    /// It begins on a click, so its offset is a landing and not a matter of evenness.
    pub on_click: bool,
    /// Its pitch against the tuning in cents, positive is sharp; nothing for a gracenote, which a
    /// real chanter sounds off pitch.
    pub cents: Option<f64>,
}

/// A sound that no note of the score explains.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ExtraNote {
    /// The bar it was heard in, from 1.
    pub bar: u32,
    /// The score's id of the note before it.
    pub after: Option<u32>,
    /// The note it sounded like.
    pub note: Note,
    /// How long it sounded, milliseconds.
    pub length_ms: f64,
}

/// One repetition, measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// The player was heard, apart from everything we played ourselves. When not, nothing below
    /// says anything about the player.
    pub playing: bool,
    /// The length of a beat, milliseconds.
    pub beat_ms: f64,
    /// The notes of the score in order.
    pub notes: Vec<NoteMeasure>,
    /// What sounded besides.
    pub extra: Vec<ExtraNote>,
    /// How far the player was constantly ahead of the click, milliseconds: positive is early.
    /// Taps lead clicks by 30 to 50 ms untrained (Aschersleben & Prinz 1995), so it is measured
    /// apart and never a fault.
    pub lead_ms: f64,
    /// How the tempo changed over the repetition, in per cent: positive is quicker.
    pub drift_percent: f64,
}

impl Measurement {
    /// The JSON the journal keeps.
    pub fn to_json(&self) -> Option<String> {
        serde_json::to_string(self).ok()
    }

    /// Reads what the journal kept; nothing when it is no measurement.
    pub fn from_json(json: &str) -> Option<Self> {
        serde_json::from_str(json).ok()
    }
}
