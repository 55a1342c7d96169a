//! What the player chose for sound and picture.

use crate::chanter::Tuning;
use crate::planning::Rule;
use crate::practice::Thresholds;
use crate::rhythm::{ClickPlan, ReferencePlan, Subdivision};
use crate::sound::{ClickSound, Levels, Sound};

/// Choices for sound and picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Levels and mutes.
    pub levels: Levels,
    /// Pitch.
    pub tuning: Tuning,
    /// Drones on.
    pub drones: bool,
    /// What the click sounds like.
    pub click_sound: ClickSound,
    /// In which repetitions the reference sounds.
    pub reference: ReferencePlan,
    /// Which clicks sound.
    pub clicks: ClickPlan,
    /// Clicks between the beats.
    pub subdivision: Subdivision,
    /// Three not clean in a row stop play.
    pub stop_rule: bool,
    /// The rule that says when a cleared cell comes again.
    pub rule: Rule,
    /// Repetitions mark themselves clean unless something else is said.
    pub hands_free: bool,
    /// A drill begins with the first step of its music hidden.
    pub from_memory: bool,
    /// Figures, fingers and the last verdict take the whole window, to be read from a stand.
    pub stand: bool,
    /// The picture of the chanter is for a left-handed player.
    pub left_handed: bool,
    /// The explanation takes the place of the board.
    pub explain: bool,
    /// Three clean in a row go a rung up, one that is not clean a rung down.
    pub staircase: bool,
    /// How what was heard is judged.
    pub thresholds: Thresholds,
    /// Repetitions are marked by what the microphone hears.
    pub by_ear: bool,
    /// The player wears headphones: the microphone hears the player alone.
    pub headphones: bool,
}

impl Options {
    /// The sound settings that the renderer begins with.
    pub fn sound(&self) -> Sound {
        Sound {
            tuning: self.tuning,
            drones: self.drones,
            levels: self.levels,
            click: self.click_sound,
        }
    }
}

impl Default for Options {
    fn default() -> Self {
        Self {
            levels: Levels::default(),
            tuning: Tuning::default(),
            drones: false,
            click_sound: ClickSound::default(),
            reference: ReferencePlan::default(),
            clicks: ClickPlan::default(),
            subdivision: Subdivision::default(),
            stop_rule: true,
            rule: Rule::default(),
            hands_free: false,
            from_memory: false,
            stand: false,
            left_handed: false,
            explain: false,
            staircase: false,
            thresholds: Thresholds::default(),
            by_ear: false,
            headphones: false,
        }
    }
}
