//! A drill file as it is written. The same types make the JSON Schema for completion in editors and
//! the files that the program writes. Reading uses a tree with positions instead, so that every
//! problem has its place; a test checks that both have the same field names.

use super::ladder::{Ladder, Step};
use crate::units::{Fraction, write_fraction};
#[cfg(test)]
use schemars::JsonSchema;
#[cfg(test)]
use serde::Deserialize;
use serde::Serialize;

/// A drill file.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[cfg_attr(test, derive(Deserialize, JsonSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(test, schemars(title = "gracerung drill"))]
pub struct DrillDocument {
    /// What the drill is called.
    pub title: String,
    /// Another title or other titles of a tune, each a line below the first.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub also: Option<OneOrMany>,
    /// What kind of tune it is, such as march, strathspey or slow air.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub kind: Option<String>,
    /// Who composed it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub composer: Option<String>,
    /// Where it comes from.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub origin: Option<String>,
    /// A sentence on what it is for.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub about: Option<String>,
    /// The movement to take apart, such as `grip`; left out where the music is written out.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub movement: Option<String>,
    /// The note or notes the movement comes from: LG LA B C D E F HG HA.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub from: Option<OneOrMany>,
    /// The note or notes it closes on; each makes a bar of every stage.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub to: Option<OneOrMany>,
    /// The variant or variants to play, where schools differ.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub school: Option<OneOrMany>,
    /// Where the movement begins: `before the beat` or `on the beat`; left out, as usual for it.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub begins: Option<String>,
    /// What to listen for.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub listen_for: Option<String>,
    /// A number from 1 to 32 over 1, 2, 4, 8 or 16, such as 6/8, or `none`; 4/4 when left out. A sum,
    /// such as 3+2/8, says how quavers are counted in groups.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub metre: Option<String>,
    /// The note that is one beat and one click, such as 3/8 for a dotted crotchet; left out, the
    /// usual one of the metre.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub beat: Option<Exact>,
    /// The unit note length of written-out music, such as 1/8.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub unit: Option<Exact>,
    /// The bars of each phrase of a tune, such as `1-4`, in order; left out, by the usual rule.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub phrases: Option<OneOrMany>,
    /// How the pairs of a tune are pointed, long to short by onsets, such as `4:1`, or with the range
    /// that is as good, `4:1, 3 to 6`; `round`; `as written`. Left out, as usual for its `kind`, else
    /// as written.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pointing: Option<String>,
    /// The number of the first full bar of `music`, where these are bars of a longer tune; 1 when left
    /// out.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    #[cfg_attr(test, schemars(range(min = 1, max = 9999)))]
    pub first_bar: Option<u16>,
    /// A whole tune in ABC body text: a drill of one stage.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub music: Option<String>,
    /// The stages, first to last.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub stages: Option<Vec<StageDocument>>,
    /// The tempi.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ladder: Option<LadderDocument>,
    /// Clean repetitions in a row that clear a cell, 1 to 50; 5 when left out.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    #[cfg_attr(test, schemars(range(min = 1, max = 50)))]
    pub clean: Option<u32>,
    /// Bars to breathe and mark in after each repetition, 0 to 8; 1 when left out.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    #[cfg_attr(test, schemars(range(min = 0, max = 8)))]
    pub breath: Option<u32>,
    /// `across`: all stages at one tempo, then up. `up`: one stage to the top, then the next.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub route: Option<String>,
    /// `by itself` or `when asked`: how play moves on from a clear cell.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub advance: Option<String>,
    /// `when asked` or `by itself`: how a suggested step back is taken.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub step_back: Option<String>,
    /// Lengths of gracenotes in milliseconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub lengths: Option<LengthsDocument>,
}

/// A stage: the movement taken apart (`tone`), opened (`opening`), in real time (neither), or written
/// out (`music`).
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[cfg_attr(test, derive(Deserialize, JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct StageDocument {
    /// What the stage is called.
    pub name: String,
    /// Length of the note before the movement, in beats.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub before: Option<Exact>,
    /// Length of each sounding tone, in beats; left out, the movement is played in real time.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub tone: Option<Exact>,
    /// The movement in real time, its tones opened: the tempo stands still and they close up.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub opening: Option<OpeningDocument>,
    /// The number of the first full bar of `music`, where these are bars of a longer tune; 1 when left
    /// out.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    #[cfg_attr(test, schemars(range(min = 1, max = 9999)))]
    pub first_bar: Option<u16>,
    /// ABC body text instead.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub music: Option<String>,
    /// How the pairs of that music are pointed in this stage, such as `7:1` to hold the dots longer
    /// than in the tune; left out, as in the drill.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub pointing: Option<String>,
    /// The last tempo the stage is worth practising at; left out, the top of the ladder.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub up_to: Option<Exact>,
    /// What to listen for in this stage.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub listen_for: Option<String>,
}

/// How a movement is opened.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(Deserialize, JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct OpeningDocument {
    /// The length of each tone inside to begin with, milliseconds, 12 to 400; 300 when left out.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub from: Option<Exact>,
    /// The tempo that stands still, beats a minute.
    pub at: Exact,
}

/// The tempi: from one tempo to another, by percent or by beats a minute.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(Deserialize, JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct LadderDocument {
    /// First tempo, beats a minute, 20 to 300.
    pub from: Exact,
    /// Last tempo.
    pub to: Exact,
    /// `4%`, or `4` for beats a minute.
    pub step: Exact,
}

impl LadderDocument {
    /// A ladder as it is written.
    pub fn of(ladder: &Ladder) -> Self {
        Self {
            from: Exact::of(&ladder.from().value()),
            to: Exact::of(&ladder.to().value()),
            step: match ladder.step() {
                Step::Percent(step) => Exact::Text(format!("{}%", Exact::of(&step).text())),
                Step::Beats(step) => Exact::of(&step),
            },
        }
    }
}

/// Lengths of gracenotes.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
#[cfg_attr(test, derive(Deserialize, JsonSchema))]
#[serde(deny_unknown_fields)]
pub struct LengthsDocument {
    /// A separating gracenote, milliseconds.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub gracenote: Option<Exact>,
    /// A tone inside a movement, milliseconds at 80 beats a minute and quicker.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub tone: Option<Exact>,
    /// Whether those tones open in proportion at slower tempi.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub opens: Option<bool>,
}

/// One name or several.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(Deserialize, JsonSchema))]
#[serde(untagged)]
pub enum OneOrMany {
    /// One.
    One(String),
    /// Several.
    Many(Vec<String>),
}

/// A number written as one likes: `2`, `0.5`, `1/2`, `1 1/2`, `4%`.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(test, derive(Deserialize, JsonSchema))]
#[serde(untagged)]
pub enum Exact {
    /// A whole number.
    Whole(u32),
    /// A decimal.
    Decimal(f64),
    /// A fraction or a percentage.
    Text(String),
}

impl Exact {
    /// The shortest exact spelling of a fraction: `1 1/2`, `1/4`, `2`.
    pub fn of(value: &Fraction) -> Self {
        if value.is_integer()
            && let Ok(whole) = u32::try_from(value.to_integer())
        {
            return Self::Whole(whole);
        }
        let whole = value.to_integer();
        let rest = value - Fraction::from_integer(whole);
        if whole > 0 {
            Self::Text(format!("{whole} {}", write_fraction(&rest)))
        } else {
            Self::Text(write_fraction(value))
        }
    }

    /// As it is typed.
    pub fn text(&self) -> String {
        match self {
            Self::Whole(value) => value.to_string(),
            Self::Decimal(value) => value.to_string(),
            Self::Text(text) => text.clone(),
        }
    }
}

/// The fields of a drill file, in the order in which they are written.
pub(super) const DRILL_FIELDS: &[&str] = &[
    "title",
    "also",
    "kind",
    "composer",
    "origin",
    "about",
    "movement",
    "from",
    "to",
    "school",
    "begins",
    "listen_for",
    "metre",
    "beat",
    "unit",
    "phrases",
    "pointing",
    "first_bar",
    "music",
    "stages",
    "ladder",
    "clean",
    "breath",
    "route",
    "advance",
    "step_back",
    "lengths",
];
/// The fields of a stage.
pub(super) const STAGE_FIELDS: &[&str] = &[
    "name",
    "before",
    "tone",
    "opening",
    "first_bar",
    "music",
    "pointing",
    "up_to",
    "listen_for",
];
/// The fields of an opening.
pub(super) const OPENING_FIELDS: &[&str] = &["from", "at"];
/// The fields of a ladder.
pub(super) const LADDER_FIELDS: &[&str] = &["from", "to", "step"];
/// The fields of lengths.
pub(super) const LENGTHS_FIELDS: &[&str] = &["gracenote", "tone", "opens"];

/// The JSON Schema of a drill file, as text. It is generated from the types above and kept as a
/// file, so that the installed program need not generate it. A test checks that the file is up to
/// date.
pub const SCHEMA: &str = include_str!("drill.schema.json");

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn properties(schema: &serde_json::Value) -> BTreeSet<String> {
        schema["properties"]
            .as_object()
            .map(|fields| fields.keys().cloned().collect())
            .unwrap_or_default()
    }

    /// To update the file, run `GRACERUNG_WRITE_SCHEMA=1 cargo test the_schema_file`.
    #[test]
    fn the_schema_file_is_what_the_types_make() {
        let made =
            serde_json::to_string_pretty(&schemars::schema_for!(DrillDocument)).expect("JSON");
        let made = format!("{made}\n");
        if std::env::var_os("GRACERUNG_WRITE_SCHEMA").is_some() {
            let file = concat!(env!("CARGO_MANIFEST_DIR"), "/drill/drill.schema.json");
            std::fs::write(file, &made).expect("the file is written");
        }
        assert_eq!(SCHEMA, made);
    }

    /// Otherwise an editor would complete a field that the reader refuses, or refuse one that it
    /// reads.
    #[test]
    fn the_schema_has_the_readers_fields() {
        let schema = serde_json::from_str::<serde_json::Value>(SCHEMA).expect("JSON");
        let set = |fields: &[&str]| fields.iter().map(|name| (*name).to_owned()).collect();
        assert_eq!(properties(&schema), set(DRILL_FIELDS));
        let parts = &schema["$defs"];
        assert_eq!(properties(&parts["StageDocument"]), set(STAGE_FIELDS));
        assert_eq!(properties(&parts["OpeningDocument"]), set(OPENING_FIELDS));
        assert_eq!(properties(&parts["LadderDocument"]), set(LADDER_FIELDS));
        assert_eq!(properties(&parts["LengthsDocument"]), set(LENGTHS_FIELDS));
    }

    #[test]
    fn a_fraction_is_written_as_a_player_would() {
        assert_eq!(Exact::of(&Fraction::new(3, 2)).text(), "1 1/2");
        assert_eq!(Exact::of(&Fraction::new(1, 4)).text(), "1/4");
        assert_eq!(Exact::of(&Fraction::new(2, 1)).text(), "2");
    }
}
