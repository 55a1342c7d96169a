//! The verdict: a measurement is judged by adjustable thresholds, in a teacher's words.
//!
//! Knows figures and limits, but no sound. The notes heard (`listening::HeardNote`) are first
//! aligned with the score and measured; only a [`Measurement`] comes in here. It names at most two
//! things to work on, the worst first, and never scolds.
//!
//! # Which fault is named
//! Each thing that went wrong is one fault. A note that was not heard, or another note in its
//! place, is judged no further. A tone is compared first with its length in the timeline. It is
//! compared with an equal tone only when neither is crushed or dragged, so a tone of half its
//! length is only a crushed tone. When a long note pushed the landing after it, only the long note
//! is reported. A tone just before a late landing is not a fault, because it only waited. When the
//! tempo changes, notes are measured from the line of the tempo, and the fault is the tempo.

#[cfg(test)]
mod blame_laws;
#[cfg(test)]
mod edges_laws;
mod lengths;
mod limits;
mod melody;
mod opened;
mod places;
mod pointing;
#[cfg(test)]
mod pointing_laws;
mod shape;
#[cfg(test)]
mod verdict_laws;
mod words;

pub use limits::Thresholds;
pub use pointing::{PairPlayed, PointingHeard};
pub use shape::ToneShape;

use super::entry::Mark;
use super::measurement::{ExtraNote, Measurement};
use serde::{Deserialize, Serialize};
use words::bar_words;

/// The kind of a fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FaultKind {
    /// A written note was not heard.
    Missing,
    /// Another note was heard in its place.
    Wrong,
    /// A gracenote lasted too long.
    TooLong,
    /// A tone inside a movement was too short to be heard.
    Swallowed,
    /// A tone inside a movement, or a birl's tap, was much shorter than it should be.
    Crushed,
    /// A tone inside a movement, or a birl's tap, was much longer than it should be.
    Dragged,
    /// Two equal tones of one movement differed too much.
    Unlike,
    /// Another note sounded between two notes.
    Crossing,
    /// A note that belongs on the click, or the movement that begins it, came late.
    Late,
    /// A note that belongs on the click, or the movement that begins it, came early.
    Early,
    /// A dot and its cut, or a snap, were too round or too sharp: one pair, or all together.
    Pointing,
    /// A note between clicks was off its place.
    Uneven,
    /// The tempo became quicker.
    Rushing,
    /// The tempo became slower.
    Dragging,
}

/// One fault, measured and put in words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// The kind of fault.
    pub kind: FaultKind,
    /// The score's id of the note at fault. For a crossing noise it is the note before; for a
    /// movement that began early or late it is the first gracenote.
    pub id: Option<u32>,
    /// The measured figure: milliseconds, per cent for the tempo, the ratio of lengths for unlike
    /// tones, long to short for a pair. None for a missing or wrong note.
    pub measured: Option<f64>,
    /// The limit that was exceeded, in the same unit.
    pub limit: Option<f64>,
    /// How bad it is, from 1: how many times beyond the limit; 5 for a missing or wrong note.
    pub weight: f64,
    /// The fault as a teacher's sentence, without a full stop.
    pub words: String,
}

/// A judged repetition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// The mark it earns; none when the player was not heard, or not with enough confidence.
    pub mark: Option<Mark>,
    /// Every fault, the worst first.
    pub faults: Vec<Fault>,
    /// Lengths beside those of the timeline: tones inside movements, taps of birls, and gracenotes
    /// that lasted too long; the worst first.
    #[serde(default)]
    pub shape: Vec<ToneShape>,
    /// How the dots and the snaps that have a range of their own were pointed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub pointing: Vec<PointingHeard>,
}

impl Verdict {
    /// At most two things to work on, the worst first.
    pub fn work_on(&self) -> &[Fault] {
        &self.faults[..self.faults.len().min(2)]
    }

    /// At most two tones that best show the shape of the movement, the worst first.
    pub fn worst_shape(&self) -> &[ToneShape] {
        &self.shape[..self.shape.len().min(2)]
    }
}

/// The weight of a missing or wrong note, which no other fault exceeds.
const HEAVIEST: f64 = 5.0;

/// Judges a measurement. A silent player gets no mark and no fault, and neither does a player with
/// too much noise around for a confident detection.
pub fn judge(measured: &Measurement, limits: &Thresholds) -> Verdict {
    let unsure = |confidence| confidence < limits.least_confidence;
    if !measured.playing || measured.confidence.is_some_and(unsure) {
        return Verdict {
            mark: None,
            faults: Vec::new(),
            shape: Vec::new(),
            pointing: Vec::new(),
        };
    }
    let mut faults = lengths::judge(measured, limits);
    if let Some(rung) = limits.opened_to {
        opened::judge(&mut faults, measured, limits, rung.0);
    }
    let (places, pointing) = places::judge(measured, limits, &faults);
    faults.retain(|fault| !places::waits_for_its_landing(measured, fault, &places));
    faults.extend(places);
    let crossings = measured
        .extra
        .iter()
        .filter(|extra| extra.length_ms >= limits.crossing);
    faults.extend(crossings.map(|extra| crossing(measured, extra, limits)));
    faults.extend(tempo(measured, limits));
    faults.sort_by(|one, other| other.weight.total_cmp(&one.weight));
    Verdict {
        mark: Some(if faults.is_empty() {
            Mark::Clean
        } else {
            Mark::NotClean
        }),
        shape: shape::shape(measured, &faults),
        faults,
        pointing,
    }
}

/// The weight of a fault: how many times beyond the limit the figure is.
fn weight(measured: f64, limit: f64) -> f64 {
    if limit > 0.0 {
        (measured / limit).clamp(1.0, HEAVIEST)
    } else {
        HEAVIEST
    }
}

fn tempo(measured: &Measurement, limits: &Thresholds) -> Option<Fault> {
    let change = measured.drift_percent.abs();
    let rushing = measured.drift_percent > 0.0;
    (change > limits.drift_percent).then(|| Fault {
        kind: if rushing {
            FaultKind::Rushing
        } else {
            FaultKind::Dragging
        },
        id: None,
        measured: Some(measured.drift_percent),
        limit: Some(limits.drift_percent),
        weight: weight(change, limits.drift_percent),
        words: if rushing {
            format!("the tempo ran ahead by {change:.0} %; let the click lead")
        } else {
            format!("the tempo fell behind by {change:.0} %; let the click carry you")
        },
    })
}

fn crossing(measured: &Measurement, extra: &ExtraNote, limits: &Thresholds) -> Fault {
    let before = extra
        .after
        .and_then(|id| measured.notes.iter().position(|note| note.id == id));
    let place = before.map_or_else(String::new, |at| {
        let next = measured.notes.get(at + 1);
        let to = next.map_or_else(String::new, |next| {
            format!(" and {}", next.written.spoken())
        });
        if to.is_empty() {
            format!(" after {}", measured.notes[at].written.spoken())
        } else {
            format!(" between {}{to}", measured.notes[at].written.spoken())
        }
    });
    let bar = bar_words(&measured.notes, extra.bar);
    Fault {
        kind: FaultKind::Crossing,
        id: extra.after,
        measured: Some(extra.length_ms.0),
        limit: Some(limits.crossing.0),
        weight: weight(extra.length_ms.0, limits.crossing.0),
        words: format!(
            "{} slipped in{place}{bar} for {:.0} ms; move the fingers together",
            extra.note.spoken(),
            extra.length_ms
        ),
    }
}
