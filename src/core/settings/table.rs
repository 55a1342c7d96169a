//! Every setting: its name, what it may be, what it is when nobody says anything.

/// A setting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Its name in the file; a dot stands for a table.
    pub name: &'static str,
    /// What it may be.
    pub kind: Kind,
    /// What it is when nobody says anything, as it is written in a file.
    pub usual: &'static str,
    /// What it is for, with its unit.
    pub about: &'static str,
}

/// What a setting may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// `true` or `false`.
    Switch,
    /// A number between two others, both allowed.
    Number(f64, f64),
    /// A whole number between two others, both allowed.
    Whole(i64, i64),
    /// One of some words.
    OneOf(&'static [&'static str]),
    /// Names of schools of playing.
    Schools,
    /// Names of keys.
    Keys,
    /// Any text on one line.
    Text,
}

impl Setting {
    /// The environment's variable: `GRACERUNG_LEVELS_CLICK` for `levels.click`.
    pub fn variable(&self) -> String {
        format!(
            "GRACERUNG_{}",
            self.name.to_uppercase().replace(['.', '-'], "_")
        )
    }
}

/// The names of the clicks; the sound's own list is held equal by a test of the commands.
pub const CLICKS: &[&str] = &["tick", "pip", "wood", "bell"];

const fn row(name: &'static str, kind: Kind, usual: &'static str, about: &'static str) -> Setting {
    Setting {
        name,
        kind,
        usual,
        about,
    }
}

const LEVEL: Kind = Kind::Number(0.0, 1.0);

/// All settings, in the order they are shown. Limits of judging repeat those of practice, with
/// their sources; a test of the commands holds them equal.
pub const SETTINGS: &[Setting] = &[
    row(
        "name",
        Kind::Text,
        "\"\"",
        "how you sign reports; empty: unsigned",
    ),
    row(
        "school",
        Kind::Schools,
        "[]",
        "variants of movements, where schools differ",
    ),
    row(
        "instrument",
        Kind::OneOf(&["practice-chanter", "pipes"]),
        "\"practice-chanter\"",
        "which chanter sounds",
    ),
    row(
        "la",
        Kind::Number(0.0, 520.0),
        "0",
        "pitch of low A in hertz, 200 to 520; 0: as usual for the instrument",
    ),
    row(
        "tuning",
        Kind::OneOf(&["modern", "1954"]),
        "\"modern\"",
        "table of pitch ratios",
    ),
    row("drones", Kind::Switch, "false", "begin with the drones on"),
    row(
        "click",
        Kind::OneOf(CLICKS),
        "\"tick\"",
        "sound of the click",
    ),
    row(
        "levels.reference",
        LEVEL,
        "0.35",
        "level of the chanter line, 0 to 1",
    ),
    row(
        "levels.drones",
        LEVEL,
        "0.35",
        "level of the drones, 0 to 1",
    ),
    row("levels.click", LEVEL, "0.45", "level of the click, 0 to 1"),
    row("levels.cue", LEVEL, "0.5", "level of the cues, 0 to 1"),
    row(
        "device",
        Kind::Text,
        "\"\"",
        "sound device; empty: the system's own",
    ),
    row(
        "offset",
        Kind::Whole(-500, 1000),
        "0",
        "milliseconds the ear hears later than the device says",
    ),
    row(
        "alone",
        Kind::Switch,
        "false",
        "begin without the reference line",
    ),
    row(
        "hands-free",
        Kind::Switch,
        "false",
        "a repetition counts as clean unless a pedal or key says otherwise",
    ),
    row(
        "mark-by",
        Kind::OneOf(&["hand", "ear"]),
        "\"hand\"",
        "hand: keys and pedals mark; ear: the microphone does, and they overrule it",
    ),
    row(
        "microphone",
        Kind::Text,
        "\"\"",
        "microphone; empty: the system's own",
    ),
    row(
        "headphones",
        Kind::Switch,
        "false",
        "you wear headphones: the microphone hears you alone",
    ),
    row(
        "left-handed",
        Kind::Switch,
        "false",
        "the picture of the chanter is for a left-handed player",
    ),
    row(
        "pedal.clean",
        Kind::Keys,
        "[]",
        "more keys a pedal sends for clean",
    ),
    row(
        "pedal.not-clean",
        Kind::Keys,
        "[]",
        "more keys a pedal sends for not clean",
    ),
    row(
        "colours",
        Kind::OneOf(&["auto", "never"]),
        "\"auto\"",
        "never: signs, bold and reverse only",
    ),
    row(
        "plain",
        Kind::Switch,
        "false",
        "plain lines instead of a screen",
    ),
    row(
        "ladder",
        Kind::OneOf(&["row", "staircase"]),
        "\"row\"",
        "row: so many clean in a row clear a cell; staircase: three clean up, one not clean down",
    ),
    row(
        "stop-rule",
        Kind::Switch,
        "true",
        "three not clean in a row stop play and offer to hear it, to sing or tap it, or easier",
    ),
    row(
        "plan.minutes",
        Kind::Whole(5, 240),
        "20",
        "minutes that `today` fills",
    ),
    row(
        "plan.first-gap",
        Kind::Whole(1, 30),
        "1",
        "days until a cleared cell is asked for again",
    ),
    row(
        "plan.gap-growth",
        Kind::Number(1.0, 5.0),
        "2",
        "how many times longer each next gap is",
    ),
    row(
        "plan.longest-gap",
        Kind::Whole(1, 365),
        "60",
        "days a gap does not grow beyond",
    ),
    row(
        "plan.order",
        Kind::OneOf(&["block", "mix"]),
        "\"block\"",
        "block: one drill after the other; mix: turn about",
    ),
    row(
        "plan.new",
        Kind::Whole(0, 10),
        "1",
        "drills never played that a day may bring; more where nothing else fills its minutes",
    ),
    row(
        "warmup.tone",
        Kind::Whole(6, 10),
        "8",
        "seconds a long tone of the warm-up lasts",
    ),
    row(
        "warmup.band-tempo",
        Kind::Whole(40, 140),
        "80",
        "beats a minute your band plays its marches at, for `warmup --for band`",
    ),
    row(
        "care.rest",
        Kind::Switch,
        "true",
        "a gentle word after long unbroken playing",
    ),
    row(
        "care.rest-after",
        Kind::Whole(5, 240),
        "50",
        "minutes of playing before that word",
    ),
    row(
        "care.rise",
        Kind::Whole(0, 500),
        "50",
        "per cent a week may rise above the four before; 0: say nothing",
    ),
    row(
        "care.headphones",
        Kind::Switch,
        "true",
        "a reminder of the level for headphones",
    ),
    row(
        "thresholds.gracenote-longest",
        Kind::Number(5.0, 500.0),
        "60",
        "milliseconds beyond which a gracenote is too long (common practice)",
    ),
    row(
        "thresholds.gracenote-longest-low",
        Kind::Number(5.0, 500.0),
        "80",
        "the same in the lowest third of the ladder (chosen)",
    ),
    row(
        "thresholds.gracenote-aim",
        Kind::Number(5.0, 500.0),
        "50",
        "milliseconds to aim under",
    ),
    row(
        "thresholds.tone-shortest",
        Kind::Number(1.0, 500.0),
        "20",
        "milliseconds below which a tone inside a movement is swallowed",
    ),
    row(
        "thresholds.crushed",
        Kind::Number(0.0, 1.0),
        "0.6",
        "share of its length under which a tone inside a movement is crushed, where it is short too (chosen)",
    ),
    row(
        "thresholds.crushed-under",
        Kind::Number(1.0, 500.0),
        "40",
        "milliseconds under which a tone can be crushed (common practice)",
    ),
    row(
        "thresholds.dragged",
        Kind::Number(1.0, 10.0),
        "1.8",
        "share of its length over which a tone inside a movement is dragged, where it is long too (chosen)",
    ),
    row(
        "thresholds.dragged-over",
        Kind::Number(1.0, 2000.0),
        "80",
        "milliseconds over which a tone can be dragged (chosen)",
    ),
    row(
        "thresholds.alike",
        Kind::Number(1.0, 10.0),
        "1.6",
        "how many times as long as its like a tone of one movement may be (chosen)",
    ),
    row(
        "thresholds.alike-short",
        Kind::Number(1.0, 10.0),
        "2",
        "the same where both are short (chosen)",
    ),
    row(
        "thresholds.alike-short-under",
        Kind::Number(0.0, 2000.0),
        "80",
        "milliseconds under which two tones count as short for that (chosen)",
    ),
    row(
        "thresholds.opened-shortest",
        Kind::Number(0.1, 1.0),
        "0.75",
        "least share of an opened movement's rung that its median tone may have (chosen)",
    ),
    row(
        "thresholds.opened-longest",
        Kind::Number(1.0, 10.0),
        "1.3",
        "largest share of that (chosen)",
    ),
    row(
        "thresholds.opened-alike",
        Kind::Number(1.0, 10.0),
        "1.5",
        "how many times as long as its like a tone of an opened movement may be (chosen)",
    ),
    row(
        "thresholds.tap-shortest",
        Kind::Number(1.0, 500.0),
        "25",
        "milliseconds below which a tap of a birl is crushed (common practice)",
    ),
    row(
        "thresholds.tap-longest",
        Kind::Number(1.0, 500.0),
        "80",
        "milliseconds beyond which a tap of a birl is dragged (common practice)",
    ),
    row(
        "thresholds.crossing",
        Kind::Number(1.0, 500.0),
        "12",
        "milliseconds from which a blip is a crossing noise; 7 suits pipes",
    ),
    row(
        "thresholds.offset",
        Kind::Number(1.0, 500.0),
        "10",
        "milliseconds a note may be from its place",
    ),
    row(
        "thresholds.offset-percent",
        Kind::Number(0.0, 50.0),
        "5",
        "the same in per cent of a beat, where that is more",
    ),
    row(
        "thresholds.drift",
        Kind::Number(0.1, 50.0),
        "3",
        "per cent the tempo may change over a repetition",
    ),
    row(
        "thresholds.confidence",
        Kind::Number(0.0, 1.0),
        "0.95",
        "how sure the ear must be of what sounded to judge it (chosen)",
    ),
];

/// The setting of a name.
pub fn setting(name: &str) -> Option<&'static Setting> {
    SETTINGS.iter().find(|setting| setting.name == name)
}
