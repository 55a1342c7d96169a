//! The limits a repetition is judged by. Knows no measure.

use crate::practice::rung::Rung;
use crate::units::{Bpm, Millis, Milliseconds};
use serde::{Deserialize, Serialize};

/// The limits a repetition is judged by. Shares are those of the length that the
/// timeline gives a note at its tempo.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Thresholds {
    /// A longer gracenote is too long. 60: the long end of what is usual, common practice, no
    /// source.
    #[serde(rename = "gracenote_longest_ms")]
    pub gracenote_longest: Milliseconds,
    /// The same in the lowest third of the ladder, where the fingers are still learning. 80: chosen.
    #[serde(rename = "gracenote_longest_low_ms")]
    pub gracenote_longest_low: Milliseconds,
    /// What the player is told to aim under. 50: common practice, no source.
    #[serde(rename = "gracenote_aim_ms")]
    pub gracenote_aim: Milliseconds,
    /// A shorter tone inside a movement is swallowed. 20: about what the ear needs to tell the
    /// order of two sounds (Hirsh 1959).
    #[serde(rename = "tone_shortest_ms")]
    pub tone_shortest: Milliseconds,
    /// A tone inside a movement is crushed under this share of its length, where it is also shorter
    /// than `crushed_under`. 0.6: chosen.
    pub crushed_share: f64,
    /// See `crushed_share`. 40: the short end of what is usual, common practice, no source.
    #[serde(rename = "crushed_under_ms")]
    pub crushed_under: Milliseconds,
    /// A tone inside a movement is dragged over this share of its length, where it is also longer
    /// than `dragged_over`. 1.8: chosen.
    pub dragged_share: f64,
    /// See `dragged_share`. 80: above the 70 that is usual, chosen.
    #[serde(rename = "dragged_over_ms")]
    pub dragged_over: Milliseconds,
    /// How many times as long as its like a tone of one movement may be. 1.6: chosen.
    pub alike: f64,
    /// The same where both are under `alike_short_under`. 2: chosen, because a finger's own
    /// unevenness weighs more in a short tone.
    pub alike_short: f64,
    /// See `alike_short`. 80: chosen.
    #[serde(rename = "alike_short_under_ms")]
    pub alike_short_under: Milliseconds,
    /// On a rung that opens the movement, the least share of the rung's length that a repetition's
    /// median tone may have. 0.75: chosen, so that the next rung is told from it.
    pub opened_shortest: f64,
    /// The largest share of it. 1.3: chosen, so that the rung before is told from it.
    pub opened_longest: f64,
    /// How many times as long as its like a tone of an opened movement may be. 1.5: chosen.
    pub opened_alike: f64,
    /// The length of the rung where the movement is opened: no setting, the rung gives it.
    #[serde(rename = "opened_to_ms", skip_serializing_if = "Option::is_none")]
    pub opened_to: Option<Milliseconds>,
    /// A shorter tap of a birl is crushed. 25: common practice, no source.
    #[serde(rename = "tap_shortest_ms")]
    pub tap_shortest: Milliseconds,
    /// A longer tap of a birl is dragged. 80: common practice, no source.
    #[serde(rename = "tap_longest_ms")]
    pub tap_longest: Milliseconds,
    /// A sound of this length that is not written is a crossing noise. 12 for a practice
    /// chanter, 7 for pipes: chosen below the 20 of Hirsh 1959, because a blip is noticed before
    /// it is understood.
    #[serde(rename = "crossing_ms")]
    pub crossing: Milliseconds,
    /// How far a note may be from its place at least, whatever the tempo. 10: the displacement
    /// just noticed in quick series, Friberg & Sundberg's report of 1992.
    #[serde(rename = "offset_ms")]
    pub offset: Milliseconds,
    /// How far a note may be from its place in per cent of a beat, where that is more. 5: the
    /// same report.
    pub offset_percent: f64,
    /// How far the tempo may change over a repetition, per cent. 3: just noticed over six
    /// intervals (Drake & Botte 1993).
    pub drift_percent: f64,
    /// Less sure than this of what sounded, 0 to 1, the ear does not judge. 0.95: chosen, one note in
    /// twenty would be wrong; in rooms of 0.6 s and noise of 10 dB it is surer.
    pub least_confidence: f64,
}

impl Default for Thresholds {
    fn default() -> Self {
        Self {
            gracenote_longest: Milliseconds(60.0),
            gracenote_longest_low: Milliseconds(80.0),
            gracenote_aim: Milliseconds(50.0),
            tone_shortest: Milliseconds(20.0),
            crushed_share: 0.6,
            crushed_under: Milliseconds(40.0),
            dragged_share: 1.8,
            dragged_over: Milliseconds(80.0),
            alike: 1.6,
            alike_short: 2.0,
            alike_short_under: Milliseconds(80.0),
            opened_shortest: 0.75,
            opened_longest: 1.3,
            opened_alike: 1.5,
            opened_to: None,
            tap_shortest: Milliseconds(25.0),
            tap_longest: Milliseconds(80.0),
            crossing: Milliseconds(12.0),
            offset: Milliseconds(10.0),
            offset_percent: 5.0,
            drift_percent: 3.0,
            least_confidence: 0.95,
        }
    }
}

impl Thresholds {
    /// The defaults for pipes, where a crossing noise is heard sooner.
    pub fn for_pipes() -> Self {
        Self {
            crossing: Milliseconds(7.0),
            ..Self::default()
        }
    }

    /// The JSON the journal keeps.
    pub fn to_json(&self) -> Option<String> {
        serde_json::to_string(self).ok()
    }

    /// Limits as the journal keeps them; nothing where they do not read.
    pub fn from_json(json: &str) -> Option<Self> {
        serde_json::from_str(json).ok()
    }

    /// How far a note may be from its place at a beat's length.
    pub fn offset_limit(&self, beat: Milliseconds) -> Milliseconds {
        self.offset
            .max(Milliseconds(beat.0 * self.offset_percent / 100.0))
    }

    /// The limits on a rung: those at its tempo, and where it opens the movement its length.
    #[must_use]
    pub fn on(self, rung: Rung, ladder: &[Bpm]) -> Self {
        Self {
            opened_to: rung.tone().map(|tone| Milliseconds(Millis::to_f64(tone))),
            ..self.at(rung.tempo(), ladder)
        }
    }

    /// The limits at a tempo of a ladder, given by its rungs or by its two ends: in the lowest third
    /// of the way up a gracenote may be longer. A ladder of one tempo has no lowest third.
    #[must_use]
    pub fn at(self, tempo: Bpm, ladder: &[Bpm]) -> Self {
        let tempi = || ladder.iter().map(|tempo| tempo.to_f64());
        let (low, high) = (
            tempi().fold(f64::INFINITY, f64::min),
            tempi().fold(0.0, f64::max),
        );
        if tempo.to_f64() < low + (high - low) / 3.0 {
            Self {
                gracenote_longest: self.gracenote_longest.max(self.gracenote_longest_low),
                ..self
            }
        } else {
            self
        }
    }
}
