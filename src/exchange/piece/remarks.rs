//! What a drill says beside its music, as names and texts that the formats carry.

use super::{Piece, Section};
use crate::drill::{BarRange, Ladder, Music, Step};
use crate::movement::Schools;
use crate::rhythm::{Metre, Pointing, PointingSource};
use crate::score::resolve_music;
use crate::units::{Beats, Bpm, parse_fraction, write_fraction};

const ABOUT: &str = "about";
const LISTEN_FOR: &str = "listen for";
pub(in crate::exchange) const LADDER: &str = "ladder";
const CLEAN: &str = "clean";
const BREATH: &str = "breath";
const POINTING: &str = "pointing";
const SCHOOL: &str = "school";
const PHRASES: &str = "phrases";
/// A beat that is not the usual one of the metre. Lengths are read in beats, so that the formats look
/// for it first.
pub(in crate::exchange) const BEAT: &str = "beat";
/// Names of what is said beside the music.
pub(in crate::exchange) const REMARKS: [&str; 9] = [
    ABOUT, LISTEN_FOR, LADDER, CLEAN, BREATH, POINTING, SCHOOL, PHRASES, BEAT,
];
/// The name under which a stage says its own name.
pub(in crate::exchange) const STAGE_NAME: &str = "stage";
/// What a stage says of itself: what to listen for, how it is pointed, the tempo it ends at. No name
/// begins with another and a space, or the formats could not tell them apart.
const LISTEN_HERE: &str = "listen here for";
const POINTED_HERE: &str = "pointed here";
const UP_TO_HERE: &str = "climbed here to";
const FIRST_BAR_HERE: &str = "counted here from bar";
/// Names of what is said of one stage.
pub(in crate::exchange) const REMARKS_HERE: [&str; 4] =
    [LISTEN_HERE, POINTED_HERE, UP_TO_HERE, FIRST_BAR_HERE];

impl Section {
    /// What it says beside its music, each under its name.
    pub(in crate::exchange) fn remarks(&self) -> Vec<(&'static str, String)> {
        [
            (LISTEN_HERE, self.listen_for.clone()),
            (POINTED_HERE, self.pointing.clone()),
            (
                UP_TO_HERE,
                self.up_to.map(|tempo| write_fraction(&tempo.value())),
            ),
            (
                FIRST_BAR_HERE,
                Some(self.music.first_bar)
                    .filter(|first| *first > 1)
                    .map(|first| first.to_string()),
            ),
        ]
        .into_iter()
        .filter_map(|(name, text)| Some((name, text?)))
        .collect()
    }

    /// Takes in what was said under a name of [`REMARKS_HERE`]; false where it does not read.
    pub(in crate::exchange) fn take_remark(&mut self, name: &str, text: &str) -> bool {
        match name {
            LISTEN_HERE => {
                self.listen_for = Some(text.to_owned());
                true
            }
            POINTED_HERE => {
                let read = Pointing::parse(text, PointingSource::Stage).ok();
                self.pointing = read.and_then(|pointing| pointing.written());
                self.pointing.is_some()
            }
            UP_TO_HERE => {
                self.up_to = Bpm::parse(text).ok();
                self.up_to.is_some()
            }
            FIRST_BAR_HERE => {
                let read = text.parse().ok().filter(|first| (1..=9999).contains(first));
                let Some(first) = read else { return false };
                let music = Music {
                    first_bar: first,
                    ..self.music.clone()
                };
                self.score = resolve_music(&music, Beats::ZERO, &Schools::none());
                self.music = music;
                true
            }
            _ => false,
        }
    }
}

impl Piece {
    /// What is said beside the music, each under the name that the formats carry it by.
    pub(in crate::exchange) fn remarks(&self) -> Vec<(&'static str, String)> {
        let practice = &self.practice;
        let number = |number: Option<u32>| number.map(|number| number.to_string());
        [
            (ABOUT, self.about.clone()),
            (LISTEN_FOR, practice.listen_for.clone()),
            (LADDER, self.ladder.as_ref().map(ladder_text)),
            (CLEAN, number(practice.clean)),
            (BREATH, number(practice.breath)),
            (POINTING, practice.pointing.clone()),
            (SCHOOL, listed(practice.schools.names())),
            (PHRASES, listed(&practice.phrases)),
            (
                BEAT,
                self.metre.own_beat().map(|beat| write_fraction(&beat)),
            ),
        ]
        .into_iter()
        .filter_map(|(name, text)| Some((name, text?)))
        .collect()
    }

    /// Takes in what was said under a name of [`REMARKS`]; false where it does not read.
    pub(in crate::exchange) fn take_remark(&mut self, name: &str, text: &str) -> bool {
        let number = |most: u32| text.parse::<u32>().ok().filter(|number| *number <= most);
        let practice = &mut self.practice;
        match name {
            ABOUT => {
                self.about.get_or_insert_with(|| text.to_owned());
                true
            }
            LISTEN_FOR => {
                practice.listen_for = Some(text.to_owned());
                true
            }
            LADDER => {
                self.ladder = ladder_of(text);
                self.ladder.is_some()
            }
            CLEAN => {
                practice.clean = number(50).filter(|number| *number > 0);
                practice.clean.is_some()
            }
            BREATH => {
                practice.breath = number(8);
                practice.breath.is_some()
            }
            POINTING => {
                let read = Pointing::parse(text, PointingSource::File).ok();
                practice.pointing = read.and_then(|pointing| pointing.written());
                practice.pointing.is_some()
            }
            SCHOOL => {
                let mut names = text.split(", ");
                let read = names.try_fold(Schools::none(), Schools::with);
                practice.schools = read.unwrap_or_default();
                practice.schools != Schools::none()
            }
            PHRASES => {
                let read: Option<Vec<BarRange>> = text.split(", ").map(BarRange::parse).collect();
                practice.phrases = read.unwrap_or_default();
                !practice.phrases.is_empty()
            }
            BEAT => counted_by(self.metre, text) == Some(self.metre),
            _ => false,
        }
    }
}

/// Some names as a remark has them; nothing where there are none.
pub(super) fn listed(names: &[impl ToString]) -> Option<String> {
    let names: Vec<String> = names.iter().map(ToString::to_string).collect();
    (!names.is_empty()).then(|| names.join(", "))
}

/// The metre with a beat that a format carries beside it.
pub(in crate::exchange) fn counted_by(metre: Metre, text: &str) -> Option<Metre> {
    metre.with_beat(parse_fraction(text).ok()?)
}

/// `50 to 80 by 4 per cent`, as the formats carry it.
fn ladder_text(ladder: &Ladder) -> String {
    let step = match ladder.step() {
        Step::Percent(step) => format!("{} per cent", write_fraction(&step)),
        Step::Beats(step) => write_fraction(&step),
    };
    format!("{} to {} by {step}", ladder.from(), ladder.to())
}

/// Reads `50 to 80 by 4 per cent`; a percent sign would begin a comment in ABC.
fn ladder_of(text: &str) -> Option<Ladder> {
    let (from, rest) = text.split_once(" to ")?;
    let (to, step) = rest.split_once(" by ")?;
    let number = |text: &str| parse_fraction(text).ok();
    let step = match step.trim().strip_suffix("per cent") {
        Some(percent) => Step::Percent(number(percent)?),
        None => Step::Beats(number(step)?),
    };
    let (from, to) = (Bpm::parse(from).ok()?, Bpm::parse(to).ok()?);
    Ladder::new(from, to, step).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ladder_reads_back_from_its_text() {
        for text in ["50 to 80 by 4 per cent", "133/2 to 90 by 3/2"] {
            let ladder = ladder_of(text).expect("a ladder");
            assert_eq!(ladder_text(&ladder), text);
        }
        assert_eq!(ladder_of("up by ear"), None);
    }
}
