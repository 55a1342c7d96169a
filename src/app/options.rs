//! The player's choices for sound and picture.

use crate::chanter::Tuning;
use crate::planning::Rule;
use crate::practice::Thresholds;
use crate::rhythm::{ClickPlan, ReferencePlan, Subdivision};
use crate::sound::{ClickSound, Levels, Sound};

/// The player's choices for sound and picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// The level and mute of each bus.
    pub levels: Levels,
    /// The pitch of low A and the scale.
    pub tuning: Tuning,
    /// True where the drones sound.
    pub drones: bool,
    /// What the click sounds like.
    pub click_sound: ClickSound,
    /// In which repetitions the reference sounds.
    pub reference: ReferencePlan,
    /// Which clicks sound.
    pub clicks: ClickPlan,
    /// Clicks between the beats.
    pub subdivision: Subdivision,
    /// True where play stops after three repetitions in a row that are not clean.
    pub stop_rule: bool,
    /// The rule for when a cleared cell comes again.
    pub rule: Rule,
    /// True where each repetition counts as clean unless the player marks it otherwise.
    pub hands_free: bool,
    /// True where a drill begins with the first part of its music hidden.
    pub from_memory: bool,
    /// True where figures, fingering and the last verdict fill the window, to be read from a music
    /// stand.
    pub stand: bool,
    /// True where the fingering picture is drawn for a left-handed player.
    pub left_handed: bool,
    /// True where the explanation is shown in place of the board.
    pub explain: bool,
    /// True where three clean repetitions in a row move one rung up and one that is not clean moves
    /// one rung down.
    pub staircase: bool,
    /// The thresholds by which a recording is judged.
    pub thresholds: Thresholds,
    /// True where the program marks repetitions by what the microphone hears.
    pub by_ear: bool,
    /// True where the player wears headphones, so that the microphone hears only the player.
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
