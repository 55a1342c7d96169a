//! The figures of one repetition: the type that the listening room fills.
//!
//! Raw measures only. Knows no threshold and judges nothing, so that a later threshold can judge
//! the same figures again.

use crate::chanter::Note;
use crate::movement::{Movement, find};
use crate::units::{Cents, Milliseconds};
use serde::{Deserialize, Deserializer, Serialize};

/// What a written note is for.
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

/// How a pair of notes should be pointed: long to short by onsets. It stands with the pair's second
/// note.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PairWanted {
    /// True for a dot and its cut; false for a snap, whose short note comes first.
    pub long_first: bool,
    /// The ratio of long to short in the timeline.
    pub ratio: f64,
    /// The least ratio, the roundest, and the greatest, the sharpest, that are as good; none where
    /// the pair is never judged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub range: Option<(f64, f64)>,
}

/// One note of the score, and what was heard of it. Lengths and offsets in milliseconds.
///
/// The notes of a movement are the gracenotes and tones that stand before a melody note, up to the
/// melody note before. Fields with a default are missing from what earlier versions kept.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct NoteMeasure {
    /// The score's id of the note.
    pub id: u32,
    /// The bar it stands in, from 1.
    pub bar: u32,
    /// What it is for.
    pub part: NoteKind,
    /// The note that is written.
    pub written: Note,
    /// The note that was heard in its place; nothing when none was.
    pub heard: Option<Note>,
    /// How long it sounded.
    pub length_ms: Option<Milliseconds>,
    /// How long the timeline gives it.
    pub expected_ms: Milliseconds,
    /// How far its beginning was from its written place: positive is late. The player's constant
    /// lead and the clocks' offset and drift are taken off. Of a melody note that gracenotes begin
    /// on its place, the first of them counts.
    pub offset_ms: Option<Milliseconds>,
    /// Where a melody note belongs, from the first beat of the repetition.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place_ms: Option<Milliseconds>,
    /// It begins on a click, so its offset is a landing and not a matter of evenness.
    pub on_click: bool,
    /// How many gracenotes and tones before a melody note begin it on its place.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub begun_by: usize,
    /// A tap of a birl: a gracenote that is heard as a tone and judged by a band of its own.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub tap: bool,
    /// The movement of two notes or more that leads to a melody note, where it is a known one.
    #[serde(
        default,
        deserialize_with = "by_name",
        skip_serializing_if = "Option::is_none"
    )]
    pub movement: Option<Movement>,
    /// How the pair whose second note it is should be pointed; none where its written place says
    /// that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pair: Option<PairWanted>,
    /// Its pitch against the tuning in cents, positive is sharp; nothing for a gracenote, which a
    /// real chanter sounds off pitch.
    pub cents: Option<Cents>,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "the signature serde asks for"
)]
fn is_zero(count: &usize) -> bool {
    *count == 0
}

/// A movement is kept by its name; a name this version does not know is none.
fn by_name<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Movement>, D::Error> {
    let name = Option::<String>::deserialize(deserializer)?;
    Ok(name.and_then(|name| find(&name).ok()))
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
    pub length_ms: Milliseconds,
}

/// One repetition, measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// The player was heard, apart from everything we played ourselves. When not, nothing below
    /// says anything about the player.
    pub playing: bool,
    /// The length of a beat, milliseconds.
    pub beat_ms: Milliseconds,
    /// The notes of the score in order.
    pub notes: Vec<NoteMeasure>,
    /// Sounds that no note of the score explains.
    pub extra: Vec<ExtraNote>,
    /// How far the player was constantly ahead of the click, milliseconds: positive is early.
    /// Taps lead clicks by 30 to 50 ms untrained (Aschersleben & Prinz 1995), so it is measured
    /// apart and never a fault.
    pub lead_ms: Milliseconds,
    /// How the tempo changed over the repetition, in per cent: positive is quicker.
    pub drift_percent: f64,
    /// How sure the ear is of what sounded, 0 to 1: the mean over the notes heard, each counted once.
    /// Nothing where it was not asked: in what earlier versions kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub confidence: Option<f64>,
}

/// Nearer to the timeline than this is our own sound and no player: the ear tells an onset to 1.5 ms,
/// and professional drummers are 2 to 10 ms off (Fujii et al., Music Perception 28(5), 2011).
const OWN: Milliseconds = Milliseconds(3.0);
/// Share of the notes that must be so near for that.
const OWN_SHARE: f64 = 0.8;

impl NoteMeasure {
    /// How long it sounded; nothing where it was not heard or another note was.
    pub fn own_length(&self) -> Option<Milliseconds> {
        self.length_ms.filter(|_| self.heard == Some(self.written))
    }
}

impl Measurement {
    /// Nothing was heard of a player.
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

    /// True where what was heard is the timeline itself: no fingers are so exact.
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

    /// True where the note after this one was not heard. This one then ran on into what followed, and
    /// its length says nothing about how it was played.
    pub fn ran_on(&self, at: usize) -> bool {
        self.notes
            .get(at + 1)
            .is_some_and(|next| next.length_ms.is_none())
    }

    /// The movements: the places of each run of gracenotes and tones, and of the melody note that it
    /// leads to (one past the last note where none follows).
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

    /// The JSON the journal keeps.
    pub fn to_json(&self) -> Option<String> {
        serde_json::to_string(self).ok()
    }

    /// Reads what the journal kept; nothing when it is no measurement.
    pub fn from_json(json: &str) -> Option<Self> {
        serde_json::from_str(json).ok()
    }
}
