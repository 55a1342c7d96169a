//! Which repetitions sound the reference line, and which clicks sound.

use serde::{Deserialize, Serialize};

/// A click: its weight and its place in the bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Click {
    /// How strong it is.
    pub weight: ClickWeight,
    /// The count of the bar that the click belongs to, from 0. A count is a beat or a group of
    /// beats. A click between counts has the number of the count before it.
    pub beat: u8,
}

/// How strong a click is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ClickWeight {
    /// The first click of a bar.
    Bar,
    /// A click on any other beat.
    Beat,
    /// A click between two beats.
    Part,
}

/// Clicks between the beats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subdivision {
    /// No clicks between the beats.
    #[default]
    Beats,
    /// One click between two beats.
    Halves,
    /// Two clicks between two beats, as in a compound beat.
    Thirds,
    /// Three clicks between two beats.
    Quarters,
}

impl Subdivision {
    /// Into how many parts the clicks divide a beat.
    pub fn parts(self) -> u32 {
        match self {
            Self::Beats => 1,
            Self::Halves => 2,
            Self::Thirds => 3,
            Self::Quarters => 4,
        }
    }
}

/// The repetitions in which the reference line sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum ReferencePlan {
    /// The reference sounds in every repetition.
    #[default]
    Every,
    /// The reference sounds in every second repetition, the first included. The player is alone in
    /// the others.
    Alternate,
    /// The reference is softer each time and silent from this repetition on, counted from 0.
    Fading(u32),
    /// The reference never sounds.
    Silent,
}

impl ReferencePlan {
    /// The factor on the reference's level in a repetition: 0 to 1. Repetitions are counted from 0.
    pub fn factor(self, repetition: u64) -> f32 {
        match self {
            Self::Every => 1.0,
            Self::Alternate => {
                if repetition.is_multiple_of(2) {
                    1.0
                } else {
                    0.0
                }
            }
            Self::Fading(over) => {
                let over = u64::from(over.max(1));
                over.saturating_sub(repetition) as f32 / over as f32
            }
            Self::Silent => 0.0,
        }
    }
}

/// Which clicks are heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum ClickPlan {
    /// All clicks sound.
    #[default]
    Every,
    /// Only the clicks of beats 1 and 3 sound. In metres without a third beat only the first click
    /// sounds.
    OneAndThree,
    /// Only the first click of each bar sounds.
    OnePerBar,
    /// A number of bars with clicks and a number of bars without alternate.
    SilentBars {
        /// The number of bars with clicks.
        play: u32,
        /// The number of bars without clicks.
        rest: u32,
    },
}

impl ClickPlan {
    /// True when a click is heard; `bar` counts the bars played since the count-in, from 0.
    pub fn sounds(self, click: Click, bar: u64) -> bool {
        match self {
            Self::Every => true,
            Self::OneAndThree => {
                click.weight != ClickWeight::Part && (click.beat == 0 || click.beat == 2)
            }
            Self::OnePerBar => click.weight == ClickWeight::Bar,
            Self::SilentBars { play, rest } => {
                let round = u64::from(play.max(1)) + u64::from(rest);
                bar % round < u64::from(play.max(1))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fading_reference_is_silent_after_its_repetitions() {
        let plan = ReferencePlan::Fading(4);
        let heard: Vec<f32> = (0..6).map(|repetition| plan.factor(repetition)).collect();
        assert_eq!(heard, [1.0, 0.75, 0.5, 0.25, 0.0, 0.0]);
        assert_eq!(ReferencePlan::Alternate.factor(1), 0.0);
    }

    /// The clicks between two beats divide the beat into one part more than there are clicks.
    #[test]
    fn clicks_between_beats_are_counted() {
        let parts = [
            Subdivision::Beats,
            Subdivision::Halves,
            Subdivision::Thirds,
            Subdivision::Quarters,
        ]
        .map(Subdivision::parts);
        assert_eq!(parts, [1, 2, 3, 4]);
    }

    #[test]
    fn clicks_thin_out_as_asked() {
        let click = |weight, beat| Click { weight, beat };
        assert!(ClickPlan::OneAndThree.sounds(click(ClickWeight::Beat, 2), 0));
        assert!(!ClickPlan::OneAndThree.sounds(click(ClickWeight::Beat, 1), 0));
        assert!(!ClickPlan::OneAndThree.sounds(click(ClickWeight::Part, 2), 0));
        // Every beat of a bar of four and of a bar of three: only beats 1 and 3 sound.
        let heard = |beats: u8| -> Vec<u8> {
            let beat = |beat| {
                click(
                    if beat == 0 {
                        ClickWeight::Bar
                    } else {
                        ClickWeight::Beat
                    },
                    beat,
                )
            };
            (0..beats)
                .filter(|number| ClickPlan::OneAndThree.sounds(beat(*number), 0))
                .map(|number| number + 1)
                .collect()
        };
        assert_eq!(heard(4), [1, 3]);
        assert_eq!(heard(3), [1, 3]);
        assert_eq!(heard(2), [1]);
        let once = [ClickWeight::Bar, ClickWeight::Beat, ClickWeight::Part]
            .map(|weight| ClickPlan::OnePerBar.sounds(click(weight, 0), 0));
        assert_eq!(once, [true, false, false]);
        let plan = ClickPlan::SilentBars { play: 2, rest: 1 };
        let bars: Vec<bool> = (0..6)
            .map(|bar| plan.sounds(click(ClickWeight::Bar, 0), bar))
            .collect();
        assert_eq!(bars, [true, true, false, true, true, false]);
    }
}
