//! The limits by which a repetition is judged. Knows no measurement.

use crate::practice::rung::Rung;
use crate::units::{Bpm, Millis, Milliseconds};
use serde::{Deserialize, Serialize};

/// The limits by which a repetition is judged. Shares are relative to the length that the timeline
/// gives a note at its tempo.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Thresholds {
    /// A gracenote longer than this is too long. 60: the long end of what is usual, common
    /// practice, no source.
    #[serde(rename = "gracenote_longest_ms")]
    pub gracenote_longest: Milliseconds,
    /// The same limit in the lowest third of the ladder, where the fingers are still learning. 80:
    /// chosen.
    #[serde(rename = "gracenote_longest_low_ms")]
    pub gracenote_longest_low: Milliseconds,
    /// The length under which the player is told to aim. 50: common practice, no source.
    #[serde(rename = "gracenote_aim_ms")]
    pub gracenote_aim: Milliseconds,
    /// A tone inside a movement shorter than this is swallowed. 20: about what the ear needs to
    /// tell the order of two sounds (Hirsh 1959).
    #[serde(rename = "tone_shortest_ms")]
    pub tone_shortest: Milliseconds,
    /// A tone inside a movement is crushed below this share of its length when it is also shorter
    /// than `crushed_under`. 0.6: chosen.
    pub crushed_share: f64,
    /// A tone at least this long is never crushed. 40: the short end of what is usual, common
    /// practice, no source.
    #[serde(rename = "crushed_under_ms")]
    pub crushed_under: Milliseconds,
    /// A tone inside a movement is dragged above this share of its length when it is also longer
    /// than `dragged_over`. 1.8: chosen.
    pub dragged_share: f64,
    /// A tone at most this long is never dragged. 80: above the usual 70, chosen.
    #[serde(rename = "dragged_over_ms")]
    pub dragged_over: Milliseconds,
    /// The largest ratio between the lengths of two equal tones of one movement. 1.6: chosen.
    pub alike: f64,
    /// The largest such ratio when both tones are shorter than `alike_short_under`. 2: chosen,
    /// because the unevenness of a finger matters more in a short tone.
    pub alike_short: f64,
    /// Below this length `alike_short` applies. 80: chosen.
    #[serde(rename = "alike_short_under_ms")]
    pub alike_short_under: Milliseconds,
    /// The least median length of the tones in a repetition of an opened movement, as a share of
    /// the rung's length. 0.75: chosen, so that the next rung is not mistaken for it.
    pub opened_shortest: f64,
    /// The largest such share. 1.3: chosen, so that the rung before is not mistaken for it.
    pub opened_longest: f64,
    /// The largest ratio between the lengths of two equal tones of an opened movement. 1.5: chosen.
    pub opened_alike: f64,
    /// The length of the rung when the movement is opened. It comes from the rung and is not a
    /// setting.
    #[serde(rename = "opened_to_ms", skip_serializing_if = "Option::is_none")]
    pub opened_to: Option<Milliseconds>,
    /// A tap of a birl shorter than this is crushed. 25: common practice, no source.
    #[serde(rename = "tap_shortest_ms")]
    pub tap_shortest: Milliseconds,
    /// A tap of a birl longer than this is dragged. 80: common practice, no source.
    #[serde(rename = "tap_longest_ms")]
    pub tap_longest: Milliseconds,
    /// An unwritten sound of at least this length is a crossing noise. 12 for a practice chanter, 7
    /// for pipes: chosen below the 20 of Hirsh 1959, because a blip is noticed before it is
    /// understood.
    #[serde(rename = "crossing_ms")]
    pub crossing: Milliseconds,
    /// How far a note may always be from its place, at any tempo. 10: the just noticeable
    /// displacement in quick series, Friberg & Sundberg's report of 1992.
    #[serde(rename = "offset_ms")]
    pub offset: Milliseconds,
    /// How far a note may be from its place in per cent of a beat, when that is more than `offset`.
    /// 5: the same report of Friberg & Sundberg.
    pub offset_percent: f64,
    /// How much the tempo may change over a repetition, in per cent. 3: just noticeable over six
    /// intervals (Drake & Botte 1993).
    pub drift_percent: f64,
    /// The confidence of the detection, 0 to 1, below which a repetition is not judged. 0.95:
    /// chosen, because below it one note in twenty would be wrong. In rooms of 0.6 s with noise of
    /// 10 dB the confidence is higher.
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
    /// The defaults for pipes, on which a crossing noise is heard sooner.
    pub fn for_pipes() -> Self {
        Self {
            crossing: Milliseconds(7.0),
            ..Self::default()
        }
    }

    /// The limits as JSON for the journal.
    pub fn to_json(&self) -> Option<String> {
        serde_json::to_string(self).ok()
    }

    /// Reads limits from the JSON of the journal; none when it cannot be read.
    pub fn from_json(json: &str) -> Option<Self> {
        serde_json::from_str(json).ok()
    }

    /// How far a note may be from its place when a beat has this length.
    pub fn offset_limit(&self, beat: Milliseconds) -> Milliseconds {
        self.offset
            .max(Milliseconds(beat.0 * self.offset_percent / 100.0))
    }

    /// The limits on a rung: those at its tempo, with the rung's length when it opens the movement.
    #[must_use]
    pub fn on(self, rung: Rung, ladder: &[Bpm]) -> Self {
        Self {
            opened_to: rung.tone().map(|tone| Milliseconds(Millis::to_f64(tone))),
            ..self.at(rung.tempo(), ladder)
        }
    }

    /// The limits at a tempo of a ladder, which is given by its rungs or its two ends. In the
    /// lowest third of the ladder a gracenote may be longer. A ladder with a single tempo has no
    /// lowest third.
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
