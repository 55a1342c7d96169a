//! The settings that each command needs. A wrong value in one of them stops the command; any other
//! wrong setting is reported and keeps its default.

use crate::settings::{Id, keys};

/// Settings of the sound: pitch, drones, click, levels.
pub(crate) const SOUND: &[Id] = &[
    keys::INSTRUMENT.id(),
    keys::LA.id(),
    keys::TUNING.id(),
    keys::DRONES.id(),
    keys::CLICK.id(),
    keys::LEVELS_REFERENCE.id(),
    keys::LEVELS_DRONES.id(),
    keys::LEVELS_CLICK.id(),
    keys::LEVELS_CUE.id(),
];

/// Settings that a page with sound needs in addition to [`SOUND`].
pub(crate) const SCREEN: &[Id] = &[
    keys::SCHOOL.id(),
    keys::DEVICE.id(),
    keys::OFFSET.id(),
    keys::ALONE.id(),
    keys::HANDS_FREE.id(),
    keys::MARK_BY.id(),
    keys::MICROPHONE.id(),
    keys::HEADPHONES.id(),
    keys::LEFT_HANDED.id(),
    keys::PEDAL_CLEAN.id(),
    keys::PEDAL_NOT_CLEAN.id(),
    keys::PLAIN.id(),
    keys::LADDER.id(),
    keys::STOP_RULE.id(),
];

/// Settings of the day's plan.
pub(crate) const PLAN: &[Id] = &[
    keys::PLAN_MINUTES.id(),
    keys::PLAN_FIRST_GAP.id(),
    keys::PLAN_GAP_GROWTH.id(),
    keys::PLAN_LONGEST_GAP.id(),
    keys::PLAN_ORDER.id(),
    keys::PLAN_NEW.id(),
];

/// Settings of the warm-up.
pub(crate) const WARM_UP: &[Id] = &[keys::WARMUP_TONE.id(), keys::WARMUP_BAND_TEMPO.id()];

/// Settings of the judging of what was heard.
pub(crate) const JUDGING: &[Id] = &[
    keys::THRESHOLDS_GRACENOTE_LONGEST.id(),
    keys::THRESHOLDS_GRACENOTE_LONGEST_LOW.id(),
    keys::THRESHOLDS_GRACENOTE_AIM.id(),
    keys::THRESHOLDS_TONE_SHORTEST.id(),
    keys::THRESHOLDS_CRUSHED.id(),
    keys::THRESHOLDS_CRUSHED_UNDER.id(),
    keys::THRESHOLDS_DRAGGED.id(),
    keys::THRESHOLDS_DRAGGED_OVER.id(),
    keys::THRESHOLDS_ALIKE.id(),
    keys::THRESHOLDS_ALIKE_SHORT.id(),
    keys::THRESHOLDS_ALIKE_SHORT_UNDER.id(),
    keys::THRESHOLDS_OPENED_SHORTEST.id(),
    keys::THRESHOLDS_OPENED_LONGEST.id(),
    keys::THRESHOLDS_OPENED_ALIKE.id(),
    keys::THRESHOLDS_TAP_SHORTEST.id(),
    keys::THRESHOLDS_TAP_LONGEST.id(),
    keys::THRESHOLDS_CROSSING.id(),
    keys::THRESHOLDS_OFFSET.id(),
    keys::THRESHOLDS_OFFSET_PERCENT.id(),
    keys::THRESHOLDS_DRIFT.id(),
    keys::THRESHOLDS_CONFIDENCE.id(),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::SETTINGS;

    /// Without this check a threshold that is missing from the lists could be wrong without any
    /// report.
    #[test]
    fn every_limit_of_judging_and_of_planning_is_needed_by_its_commands() {
        for (prefix, needed) in [
            ("thresholds.", JUDGING),
            ("plan.", PLAN),
            ("warmup.", WARM_UP),
        ] {
            let all = SETTINGS.iter().filter(|one| one.name.starts_with(prefix));
            assert_eq!(all.count(), needed.len(), "{prefix}");
        }
    }
}
