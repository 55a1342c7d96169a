//! A rung: the tempo, or the length of tones, at which a cell is played.
//!
//! A rung is either a tempo, or a length of the tones inside a movement while the tempo stays the
//! same. A tempo and a length never share marks, even where they sound the same.

use crate::movement::Lengths;
use crate::units::{Bpm, BpmError, Millis, parse_fraction, spell_fraction};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::cmp::Reverse;

/// The tempo, or the length of tones, at which a cell is played. Rungs are ordered as they are
/// climbed: by tempo, and at one tempo first the tempo itself, then opened tones from long to
/// short.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Rung {
    /// The whole stage at a tempo.
    Tempo(Bpm),
    /// The movement in real time at a tempo, but opened: each tone inside it has this length.
    Opened {
        /// The length of each tone inside the movement.
        tone: Millis,
        /// The tempo, which stays the same.
        tempo: Bpm,
    },
}

impl Rung {
    /// The tempo of the click.
    pub fn tempo(self) -> Bpm {
        match self {
            Self::Tempo(tempo) | Self::Opened { tempo, .. } => tempo,
        }
    }

    /// The length of the tones inside, when the movement is opened; none otherwise.
    pub fn tone(self) -> Option<Millis> {
        match self {
            Self::Tempo(_) => None,
            Self::Opened { tone, .. } => Some(tone),
        }
    }

    /// True when the rung is a length of tones.
    pub fn is_opened(self) -> bool {
        self.tone().is_some()
    }

    /// The lengths of gracenotes on this rung: the drill's own, with all tones inside set to the
    /// rung's length when the movement is opened.
    pub fn lengths(self, usual: Lengths) -> Lengths {
        self.tone().map_or(usual, |tone| usual.opened_to(tone))
    }

    /// The rung in words, to follow a stage's name and `at`: `66½`, `104 ms`.
    pub fn spoken(self) -> String {
        match self {
            Self::Tempo(tempo) => spell_fraction(&tempo.value()),
            Self::Opened { tone, .. } => format!("{} ms", spell_fraction(&tone.0)),
        }
    }

    /// True when this rung equals the other or is climbed before it in the same stage: its tempo is
    /// not higher and its tones are not shorter.
    pub(super) fn reaches(self, other: Self) -> bool {
        self.tempo() <= other.tempo()
            && match (self.tone(), other.tone()) {
                (Some(own), Some(other)) => own >= other,
                _ => true,
            }
    }

    /// Reads the written form of a rung: `66`, `133/2`, `104 ms at 60`.
    ///
    /// # Errors
    /// The text is neither a tempo nor a length at a tempo.
    pub fn parse(text: &str) -> Result<Self, RungError> {
        let Some((tone, tempo)) = text.split_once(" ms at ") else {
            return Bpm::parse(text).map(Self::Tempo).map_err(RungError::Tempo);
        };
        let tempo = Bpm::parse(tempo).map_err(RungError::Tempo)?;
        let tone = parse_fraction(tone)
            .ok()
            .map(Millis)
            .filter(|tone| *tone > Millis::default())
            .ok_or_else(|| RungError::Tone(tone.to_owned()))?;
        Ok(Self::Opened { tone, tempo })
    }
}

/// Why a text is not a rung.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RungError {
    /// Its tempo cannot be read or is out of range.
    Tempo(BpmError),
    /// Its length cannot be read; the value is that text.
    Tone(String),
}

impl std::fmt::Display for RungError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Tempo(error) => error.fmt(f),
            Self::Tone(found) => write!(
                f,
                "`{found}` is no length of a tone: expected milliseconds above 0, such as `104 ms at 60`"
            ),
        }
    }
}
impl std::error::Error for RungError {}

impl Ord for Rung {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        let place = |rung: &Self| (rung.tempo(), rung.tone().map(Reverse));
        place(self).cmp(&place(other))
    }
}
impl PartialOrd for Rung {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl std::fmt::Display for Rung {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Tempo(tempo) => tempo.fmt(f),
            Self::Opened { tone, tempo } => write!(f, "{tone} ms at {tempo}"),
        }
    }
}
impl Serialize for Rung {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
impl<'de> Deserialize<'de> for Rung {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

/// A cell by its stage's index in the drill (from 0) and its rung.
pub type CellPlace = (usize, Rung);

/// True when a cell equals the other or comes before it: its stage is not later, its tempo is not
/// higher, and within one stage its tones are not shorter.
pub fn reaches(cell: CellPlace, up_to: CellPlace) -> bool {
    match cell.0.cmp(&up_to.0) {
        std::cmp::Ordering::Less => cell.1.tempo() <= up_to.1.tempo(),
        std::cmp::Ordering::Equal => cell.1.reaches(up_to.1),
        std::cmp::Ordering::Greater => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rung(text: &str) -> Rung {
        Rung::parse(text).expect("a rung")
    }

    #[test]
    fn a_rung_is_written_and_read_back() {
        for text in ["50", "133/2", "104 ms at 60", "221/2 ms at 133/2"] {
            assert_eq!(rung(text).to_string(), text);
        }
        assert_eq!(rung("66.5").spoken(), "66½");
        assert_eq!(rung("104 ms at 60").spoken(), "104 ms");
    }

    #[test]
    fn what_is_no_rung_is_told() {
        for (text, said) in [
            ("104 ms", "found `104 ms`"),
            ("0 ms at 60", "`0` is no length of a tone"),
            ("long ms at 60", "`long` is no length of a tone"),
            ("104 ms at 600", "tempo `600` is outside 20 to 300"),
        ] {
            let error = Rung::parse(text).expect_err(text).to_string();
            assert!(error.contains(said), "{error}");
        }
    }

    /// Rungs are ordered as they are climbed: an opened movement comes after its tempo, from long
    /// tones to short.
    #[test]
    fn rungs_are_ordered_as_they_are_climbed() {
        let climbed = [
            "50",
            "60",
            "300 ms at 60",
            "104 ms at 60",
            "73 ms at 60",
            "63",
        ]
        .map(rung);
        assert!(climbed.is_sorted(), "{climbed:?}");
    }

    #[test]
    fn a_cell_lies_before_another_by_stage_tempo_and_length() {
        let (long, short) = (rung("300 ms at 60"), rung("73 ms at 60"));
        assert!(reaches((1, long), (1, short)) && !reaches((1, short), (1, long)));
        assert!(reaches((0, rung("60")), (1, long)) && !reaches((0, rung("63")), (1, short)));
        assert!(reaches((1, short), (2, rung("60"))) && !reaches((1, short), (2, rung("56"))));
        assert!(!reaches((2, rung("50")), (1, short)));
    }
}
