//! Every setting: its name, the values it may have, its default, and the key that reads it.

use std::marker::PhantomData;

/// A setting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Its name in the file; the part before a dot is the name of a TOML table.
    pub name: &'static str,
    /// The kind of value that it may have.
    pub kind: SettingKind,
    /// Its default, as written in a file.
    pub usual: &'static str,
    /// A sentence on its purpose, with its unit.
    pub about: &'static str,
}

/// The kinds of values of settings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SettingKind {
    /// `true` or `false`.
    Switch,
    /// A number from the first to the second, both included.
    Number(f64, f64),
    /// A whole number from the first to the second, both included.
    Whole(i64, i64),
    /// No value, or a number from the first to the second, both included.
    NoneOr(f64, f64),
    /// One of these words.
    OneOf(&'static [&'static str]),
    /// Names of schools of playing.
    Schools,
    /// Names of keys on the keyboard.
    Keys,
    /// Any text on one line.
    Text,
}

impl Setting {
    /// The name of its environment variable: `GRACERUNG_LEVELS_CLICK` for `levels.click`.
    pub fn variable(&self) -> String {
        format!(
            "GRACERUNG_{}",
            self.name.to_uppercase().replace(['.', '-'], "_")
        )
    }
}

/// The names of the click sounds. A test of the commands compares them with the list in the sound
/// room.
pub const CLICKS: &[&str] = &["tick", "pip", "wood", "bell"];

const LEVEL: SettingKind = SettingKind::Number(0.0, 1.0);

/// Marker types for the type of value that a key reads.
pub mod of {
    /// On or off.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub struct Switch;
    /// A number.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub struct Number;
    /// A word or a text.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub struct Word;
    /// Several words.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub struct Words;
}

/// Identifies a setting without its type of value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Id(pub(super) usize);

/// A setting together with the type of its value. A misspelled key does not compile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key<T> {
    id: Id,
    of: PhantomData<T>,
}

impl<T> Key<T> {
    const fn at(place: usize) -> Self {
        Self {
            id: Id(place),
            of: PhantomData,
        }
    }

    /// Which setting it is.
    pub const fn id(&self) -> Id {
        self.id
    }
}

/// Turns each row of the table into a setting and the key that reads it.
macro_rules! settings {
    ($($key:ident: $of:ident, $name:literal, $kind:expr, $usual:literal, $about:literal;)*) => {
        #[allow(non_camel_case_types, clippy::upper_case_acronyms, reason = "named as the keys are")]
        enum Row { $($key),* }

        /// All settings, in the order in which they are shown. The limits for judging are the same
        /// as in the practice room, which has their sources; a test of the commands compares the
        /// two.
        pub const SETTINGS: &[Setting] = &[
            $(Setting { name: $name, kind: $kind, usual: $usual, about: $about }),*
        ];

        /// A key for each setting.
        pub mod keys {
            use super::{Key, Row, of};
            $(
                #[doc = $about]
                pub const $key: Key<of::$of> = Key::at(Row::$key as usize);
            )*
        }

        /// For each key, the type of value that it reads, to be compared with the kind in its row.
        #[cfg(test)]
        const READ_AS: &[(Id, &str)] = &[$((keys::$key.id(), stringify!($of))),*];
    };
}

settings! {
    NAME: Word, "name", SettingKind::Text, "\"\"",
        "how you sign reports; empty: unsigned";
    SCHOOL: Words, "school", SettingKind::Schools, "[]",
        "variants of movements, where schools differ";
    INSTRUMENT: Word, "instrument", SettingKind::OneOf(&["practice-chanter", "pipes"]), "\"practice-chanter\"",
        "which chanter sounds";
    LA: Number, "la", SettingKind::NoneOr(200.0, 520.0), "0",
        "pitch of low A in hertz, 200 to 520; 0: as usual for the instrument";
    TUNING: Word, "tuning", SettingKind::OneOf(&["modern", "1954"]), "\"modern\"",
        "table of pitch ratios";
    DRONES: Switch, "drones", SettingKind::Switch, "false",
        "begin with the drones on";
    CLICK: Word, "click", SettingKind::OneOf(CLICKS), "\"tick\"",
        "sound of the click";
    LEVELS_REFERENCE: Number, "levels.reference", LEVEL, "0.35",
        "level of the chanter line, 0 to 1";
    LEVELS_DRONES: Number, "levels.drones", LEVEL, "0.35",
        "level of the drones, 0 to 1";
    LEVELS_CLICK: Number, "levels.click", LEVEL, "0.45",
        "level of the click, 0 to 1";
    LEVELS_CUE: Number, "levels.cue", LEVEL, "0.5",
        "level of the cues, 0 to 1";
    DEVICE: Word, "device", SettingKind::Text, "\"\"",
        "sound device; empty: the system's own";
    OFFSET: Number, "offset", SettingKind::Whole(-500, 1000), "0",
        "milliseconds the ear hears later than the device says";
    ALONE: Switch, "alone", SettingKind::Switch, "false",
        "begin without the reference line";
    HANDS_FREE: Switch, "hands-free", SettingKind::Switch, "false",
        "a repetition counts as clean unless a pedal or key says otherwise";
    MARK_BY: Word, "mark-by", SettingKind::OneOf(&["hand", "ear"]), "\"hand\"",
        "hand: keys and pedals mark; ear: the microphone does, and they overrule it";
    MICROPHONE: Word, "microphone", SettingKind::Text, "\"\"",
        "microphone; empty: the system's own";
    HEADPHONES: Switch, "headphones", SettingKind::Switch, "false",
        "you wear headphones: the microphone hears you alone";
    LEFT_HANDED: Switch, "left-handed", SettingKind::Switch, "false",
        "the picture of the chanter is for a left-handed player";
    PEDAL_CLEAN: Words, "pedal.clean", SettingKind::Keys, "[]",
        "more keys a pedal sends for clean";
    PEDAL_NOT_CLEAN: Words, "pedal.not-clean", SettingKind::Keys, "[]",
        "more keys a pedal sends for not clean";
    COLOURS: Word, "colours", SettingKind::OneOf(&["auto", "never"]), "\"auto\"",
        "never: signs, bold and reverse only";
    PLAIN: Switch, "plain", SettingKind::Switch, "false",
        "plain lines instead of a screen";
    LADDER: Word, "ladder", SettingKind::OneOf(&["row", "staircase"]), "\"row\"",
        "row: so many clean in a row clear a cell; staircase: three clean up, one not clean down";
    STOP_RULE: Switch, "stop-rule", SettingKind::Switch, "true",
        "three not clean in a row stop play and offer to hear it, to sing or tap it, or easier";
    PLAN_MINUTES: Number, "plan.minutes", SettingKind::Whole(5, 240), "20",
        "minutes that `today` fills";
    PLAN_FIRST_GAP: Number, "plan.first-gap", SettingKind::Whole(1, 30), "1",
        "days until a cleared cell is asked for again";
    PLAN_GAP_GROWTH: Number, "plan.gap-growth", SettingKind::Number(1.0, 5.0), "2",
        "how many times longer each next gap is";
    PLAN_LONGEST_GAP: Number, "plan.longest-gap", SettingKind::Whole(1, 365), "60",
        "days a gap does not grow beyond";
    PLAN_ORDER: Word, "plan.order", SettingKind::OneOf(&["block", "mix"]), "\"block\"",
        "block: one drill after the other; mix: turn about";
    PLAN_NEW: Number, "plan.new", SettingKind::Whole(0, 10), "1",
        "drills never played that a day may bring; more where nothing else fills its minutes";
    WARMUP_TONE: Number, "warmup.tone", SettingKind::Whole(6, 10), "8",
        "seconds a long tone of the warm-up lasts";
    WARMUP_BAND_TEMPO: Number, "warmup.band-tempo", SettingKind::Whole(40, 140), "80",
        "beats a minute your band plays its marches at, for `warmup --for band`";
    CARE_REST: Switch, "care.rest", SettingKind::Switch, "true",
        "a gentle word after long unbroken playing";
    CARE_REST_AFTER: Number, "care.rest-after", SettingKind::Whole(5, 240), "50",
        "minutes of playing before that word";
    CARE_RISE: Number, "care.rise", SettingKind::Whole(0, 500), "50",
        "per cent a week may rise above the four before; 0: say nothing";
    CARE_HEADPHONES: Switch, "care.headphones", SettingKind::Switch, "true",
        "a reminder of the level for headphones";
    THRESHOLDS_GRACENOTE_LONGEST: Number, "thresholds.gracenote-longest", SettingKind::Number(5.0, 500.0), "60",
        "milliseconds beyond which a gracenote is too long (common practice)";
    THRESHOLDS_GRACENOTE_LONGEST_LOW: Number, "thresholds.gracenote-longest-low", SettingKind::Number(5.0, 500.0), "80",
        "the same in the lowest third of the ladder (chosen)";
    THRESHOLDS_GRACENOTE_AIM: Number, "thresholds.gracenote-aim", SettingKind::Number(5.0, 500.0), "50",
        "milliseconds to aim under";
    THRESHOLDS_TONE_SHORTEST: Number, "thresholds.tone-shortest", SettingKind::Number(1.0, 500.0), "20",
        "milliseconds below which a tone inside a movement is swallowed";
    THRESHOLDS_CRUSHED: Number, "thresholds.crushed", SettingKind::Number(0.0, 1.0), "0.6",
        "share of its length under which a tone inside a movement is crushed, where it is short too (chosen)";
    THRESHOLDS_CRUSHED_UNDER: Number, "thresholds.crushed-under", SettingKind::Number(1.0, 500.0), "40",
        "milliseconds under which a tone can be crushed (common practice)";
    THRESHOLDS_DRAGGED: Number, "thresholds.dragged", SettingKind::Number(1.0, 10.0), "1.8",
        "share of its length over which a tone inside a movement is dragged, where it is long too (chosen)";
    THRESHOLDS_DRAGGED_OVER: Number, "thresholds.dragged-over", SettingKind::Number(1.0, 2000.0), "80",
        "milliseconds over which a tone can be dragged (chosen)";
    THRESHOLDS_ALIKE: Number, "thresholds.alike", SettingKind::Number(1.0, 10.0), "1.6",
        "how many times as long as its like a tone of one movement may be (chosen)";
    THRESHOLDS_ALIKE_SHORT: Number, "thresholds.alike-short", SettingKind::Number(1.0, 10.0), "2",
        "the same where both are short (chosen)";
    THRESHOLDS_ALIKE_SHORT_UNDER: Number, "thresholds.alike-short-under", SettingKind::Number(0.0, 2000.0), "80",
        "milliseconds under which two tones count as short for that (chosen)";
    THRESHOLDS_OPENED_SHORTEST: Number, "thresholds.opened-shortest", SettingKind::Number(0.1, 1.0), "0.75",
        "least share of an opened movement's rung that its median tone may have (chosen)";
    THRESHOLDS_OPENED_LONGEST: Number, "thresholds.opened-longest", SettingKind::Number(1.0, 10.0), "1.3",
        "largest share of that (chosen)";
    THRESHOLDS_OPENED_ALIKE: Number, "thresholds.opened-alike", SettingKind::Number(1.0, 10.0), "1.5",
        "how many times as long as its like a tone of an opened movement may be (chosen)";
    THRESHOLDS_TAP_SHORTEST: Number, "thresholds.tap-shortest", SettingKind::Number(1.0, 500.0), "25",
        "milliseconds below which a tap of a birl is crushed (common practice)";
    THRESHOLDS_TAP_LONGEST: Number, "thresholds.tap-longest", SettingKind::Number(1.0, 500.0), "80",
        "milliseconds beyond which a tap of a birl is dragged (common practice)";
    THRESHOLDS_CROSSING: Number, "thresholds.crossing", SettingKind::Number(1.0, 500.0), "12",
        "milliseconds from which a blip is a crossing noise; 7 suits pipes";
    THRESHOLDS_OFFSET: Number, "thresholds.offset", SettingKind::Number(1.0, 500.0), "10",
        "milliseconds a note may be from its place";
    THRESHOLDS_OFFSET_PERCENT: Number, "thresholds.offset-percent", SettingKind::Number(0.0, 50.0), "5",
        "the same in per cent of a beat, where that is more";
    THRESHOLDS_DRIFT: Number, "thresholds.drift", SettingKind::Number(0.1, 50.0), "3",
        "per cent the tempo may change over a repetition";
    THRESHOLDS_CONFIDENCE: Number, "thresholds.confidence", SettingKind::Number(0.0, 1.0), "0.95",
        "how sure the ear must be of what sounded to judge it (chosen)";
}

/// The setting with this name; none when there is no such setting.
pub fn setting(name: &str) -> Option<&'static Setting> {
    SETTINGS.iter().find(|setting| setting.name == name)
}

/// The identity of the setting with this name; none when there is no such setting.
pub fn id_of(name: &str) -> Option<Id> {
    let place = SETTINGS.iter().position(|setting| setting.name == name);
    place.map(Id)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A key whose type differs from the kind in its row would never give a value.
    #[test]
    fn every_key_reads_what_its_row_says() {
        assert_eq!(READ_AS.len(), SETTINGS.len());
        for ((id, read_as), setting) in READ_AS.iter().zip(SETTINGS) {
            assert_eq!(id_of(setting.name), Some(*id));
            let kind = match setting.kind {
                SettingKind::Switch => "Switch",
                SettingKind::Number(..) | SettingKind::Whole(..) | SettingKind::NoneOr(..) => {
                    "Number"
                }
                SettingKind::OneOf(_) | SettingKind::Text => "Word",
                SettingKind::Schools | SettingKind::Keys => "Words",
            };
            assert_eq!(*read_as, kind, "{}", setting.name);
        }
    }
}
