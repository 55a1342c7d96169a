//! The measurement of one repetition, which the listening room fills in.
//!
//! It has raw figures only. It knows no thresholds and judges nothing, so that other thresholds can
//! judge the same figures later.

use crate::chanter::Note;
use crate::movement::{Movement, find};
use crate::units::{Cents, Milliseconds};
use serde::{Deserialize, Deserializer, Serialize};

/// The role of a written note.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NoteKind {
    /// A melody note, with a written place and length.
    Melody,
    /// A sounding tone inside a movement, such as the low Gs of a grip in real time.
    Tone,
    /// A gracenote.
    Gracenote,
}

/// How a pair of notes should be pointed, as a ratio of long to short by onsets. It is stored with
/// the second note of the pair.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PairWanted {
    /// True for a dot and its cut; false for a snap, whose short note comes first.
    pub long_first: bool,
    /// The ratio of long to short that the timeline plays.
    pub ratio: f64,
    /// The smallest (roundest) and the largest (sharpest) ratio that are equally good; none when
    /// the pair is never judged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub range: Option<(f64, f64)>,
}

/// One note of the score, and what was heard of it. Lengths and offsets are in milliseconds.
///
/// The notes of a movement are the gracenotes and tones between a melody note and the one before.
/// Fields with a default are missing in the data of earlier versions.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NoteMeasure {
    /// The score's id of the note.
    pub id: u32,
    /// The bar it is in, from 1.
    pub bar: u32,
    /// Its role.
    pub part: NoteKind,
    /// The note that is written.
    pub written: Note,
    /// The note that was heard in its place; none when no note was heard.
    pub heard: Option<Note>,
    /// How long it sounded; none when it was not heard or its end is unknown.
    pub length_ms: Option<Milliseconds>,
    /// How long it lasts in the timeline.
    pub expected_ms: Milliseconds,
    /// How late it began relative to its written place; negative is early. The player's constant
    /// lead and the clocks' offset and drift are already subtracted. When gracenotes begin a melody
    /// note on its place, the onset of the first of them counts.
    pub offset_ms: Option<Milliseconds>,
    /// The place of a melody note, in milliseconds from the first beat of the repetition.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place_ms: Option<Milliseconds>,
    /// True when it begins on a click. Its offset is then judged as a landing and not as evenness.
    pub on_click: bool,
    /// How many gracenotes and tones before a melody note sound from its place on.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub begun_by: usize,
    /// True for a tap of a birl: a gracenote that is heard as a tone and has limits of its own.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub tap: bool,
    /// The movement of two notes or more that leads to a melody note; none when it is not a known
    /// one.
    #[serde(
        default,
        deserialize_with = "by_name",
        skip_serializing_if = "Option::is_none"
    )]
    pub movement: Option<Movement>,
    /// How the pair that ends with this note should be pointed; none when its written place says
    /// it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pair: Option<PairWanted>,
    /// Its pitch relative to the tuning, in cents; positive is sharp. None for a gracenote, because
    /// a real chanter sounds gracenotes off pitch.
    pub cents: Option<Cents>,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "the signature serde asks for"
)]
fn is_zero(count: &usize) -> bool {
    *count == 0
}

/// A movement is stored by its name. A name that this version does not know gives none.
fn by_name<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Movement>, D::Error> {
    let name = Option::<String>::deserialize(deserializer)?;
    Ok(name.and_then(|name| find(&name).ok()))
}

/// A sound that does not belong to any note of the score.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ExtraNote {
    /// The bar it was heard in, from 1.
    pub bar: u32,
    /// The score's id of the note before it.
    pub after: Option<u32>,
    /// The note it sounded like.
    pub note: Note,
    /// How long it sounded, in milliseconds.
    pub length_ms: Milliseconds,
}

/// The measurement of one repetition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// True when the player was heard; the program's own sound does not count. When false, the
    /// other fields say nothing about the player.
    pub playing: bool,
    /// The length of a beat, in milliseconds.
    pub beat_ms: Milliseconds,
    /// The notes of the score in order.
    pub notes: Vec<NoteMeasure>,
    /// Sounds that do not belong to any note of the score.
    pub extra: Vec<ExtraNote>,
    /// How far the player was constantly ahead of the click, in milliseconds; positive is early.
    /// Untrained people tap 30 to 50 ms before a click (Aschersleben & Prinz 1995), so the lead is
    /// measured separately and is never a fault.
    pub lead_ms: Milliseconds,
    /// How much the tempo changed over the repetition, in per cent; positive is quicker.
    pub drift_percent: f64,
    /// The confidence of the detection, 0 to 1: the mean over the notes heard, each counted once.
    /// None in the data of earlier versions, which did not measure it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confidence: Option<f64>,
}

/// A note nearer than this to the timeline counts as our own sound, not a player's. Onsets are
/// detected to 1.5 ms, and professional drummers are 2 to 10 ms off (Fujii et al., Music Perception
/// 28(5), 2011).
const OWN: Milliseconds = Milliseconds(3.0);
/// The share of the notes that must be so near for the whole to be our own sound.
const OWN_SHARE: f64 = 0.8;

impl NoteMeasure {
    /// How long it sounded; none when it was not heard or another note was heard.
    pub fn own_length(&self) -> Option<Milliseconds> {
        self.length_ms.filter(|_| self.heard == Some(self.written))
    }
}

impl Measurement {
    /// The measurement when no player was heard.
    pub fn nothing(beat: Milliseconds) -> Self {
        Self {
            playing: false,
            beat_ms: beat,
            notes: Vec::new(),
            extra: Vec::new(),
            lead_ms: Milliseconds(0.0),
            drift_percent: 0.0,
            confidence: None,
        }
    }

    /// True when the recording is the timeline itself, because no player is so exact.
    pub fn is_our_own(&self) -> bool {
        let near = |note: &&NoteMeasure| {
            let off = match note.part {
                NoteKind::Melody => note.offset_ms,
                _ => note.own_length().map(|length| length - note.expected_ms),
            };
            note.heard == Some(note.written) && off.is_some_and(|off| off.abs() < OWN)
        };
        let count = self.notes.iter().filter(near).count();
        self.playing && count as f64 >= OWN_SHARE * self.notes.len() as f64
    }

    /// True when the note after this one was not heard. This one then sounded on over the next
    /// place, so its length does not show how it was played.
    pub fn ran_on(&self, at: usize) -> bool {
        self.notes
            .get(at + 1)
            .is_some_and(|next| next.length_ms.is_none())
    }

    /// The movements. Each is the index range of a run of gracenotes and tones, and the index of
    /// the melody note that it leads to (one past the last note when none follows).
    pub fn movements(&self) -> impl Iterator<Item = (std::ops::Range<usize>, usize)> + '_ {
        let mut at = 0;
        std::iter::from_fn(move || {
            let inner = |at: &usize| {
                self.notes
                    .get(*at)
                    .is_some_and(|note| note.part != NoteKind::Melody)
            };
            let first = (at..self.notes.len()).find(|at| inner(at))?;
            let end = (first..self.notes.len())
                .find(|at| !inner(at))
                .unwrap_or(self.notes.len());
            at = end;
            Some((first..end, end))
        })
    }

    /// The measurement as JSON for the journal.
    pub fn to_json(&self) -> Option<String> {
        serde_json::to_string(self).ok()
    }

    /// Reads the JSON of the journal; none when it is not a measurement.
    pub fn from_json(json: &str) -> Option<Self> {
        serde_json::from_str(json).ok()
    }
}
