//! Says how to mend each problem, when there is more to say than its sentence.

use super::ProblemKind;
use super::sentence::beats;
use crate::chanter::{NOTES, Note, notes_a_gracenote_can_stand_on};
use crate::drill::document::Exact;
use crate::units::{Beats, spell_fraction};
use crate::wording;

impl ProblemKind {
    /// How to mend the problem; none when there is no more to say than its sentence.
    pub fn mend(&self) -> Option<String> {
        Some(match self {
            Self::TooLarge { .. } => "cut the file into several drills".to_owned(),
            Self::NotUtf8 { .. } => {
                "name a drill file (.yaml or .abc); save it as UTF-8".to_owned()
            }
            Self::Alias => "write the part out again where `*` stands".to_owned(),
            Self::SecondDocument => "move what follows `---` to a file of its own".to_owned(),
            Self::DuplicateField { .. } => "take one of the two away".to_owned(),
            Self::Empty | Self::NeitherMovementNorMusic => {
                "write `movement:`, `from:` and `to:`, or `music:`".to_owned()
            }
            Self::UnknownField {
                nearest: None,
                known,
                ..
            } => {
                let known: Vec<String> = known.iter().map(|name| format!("`{name}`")).collect();
                format!("known fields: {}", wording::list(&known))
            }
            Self::UnknownField {
                field,
                nearest: Some(nearest),
                ..
            } => {
                format!("write `{nearest}:` for `{field}:`")
            }
            Self::WrongShape { field, .. } => match field.as_str() {
                "ladder" => "write `ladder: {from: 50, to: 80, step: 4%}`".to_owned(),
                "opening" => "write `opening: {from: 300, at: 60}`".to_owned(),
                "stages" | "stage" => {
                    "write each as `- {name: half beats, before: 1, tone: 1/2}`".to_owned()
                }
                _ => return None,
            },
            Self::BadPhrases { .. } => {
                "write bars in order, such as `phrases: [1-4, 5-8]`, or leave it out for the usual \
                 phrases"
                    .to_owned()
            }
            Self::BadPointing { .. } => {
                "write a line such as `pointing: 4:1`, or leave it out for what is usual for the \
                 kind of tune"
                    .to_owned()
            }
            Self::Missing { mend, .. } => (*mend).to_owned(),
            Self::Control { .. } => "take it away: it would upset a terminal".to_owned(),
            Self::NotPlayable { instead, .. } => instead.clone()?,
            Self::StageWithoutMovement { .. } => {
                "add `music:` to the stage, or `movement:` to the drill".to_owned()
            }
            Self::NoStages => {
                "write at least one stage, or leave `stages` out for the usual four".to_owned()
            }
            Self::EmptyStage { .. } => "write its notes, or take the stage away".to_owned(),
            Self::MusicAndMore { .. } => "keep `music`, or keep `before` and `tone`".to_owned(),
            Self::ToneNeedsBefore { .. } => {
                "add `before:`, the length of the note before the movement".to_owned()
            }
            Self::OffTheBeat { played, .. } => {
                format!("write `before: {}`", Exact::of(&played.0).text())
            }
            Self::OffTheLadder { from, to, .. } => format!(
                "write a tempo from {} to {}",
                spell_fraction(&from.value()),
                spell_fraction(&to.value())
            ),
            Self::OpeningAndMore { field: "up_to", .. } => {
                "take `up_to` away: the tempo stands still in an opening".to_owned()
            }
            Self::OpeningAndMore { field, .. } => {
                format!("keep `opening`, or keep `{field}` in a stage of its own")
            }
            Self::NothingInside { .. } => {
                "take the stage away: this movement is played in real time at once".to_owned()
            }
            Self::NothingToClose { .. } => "begin longer, such as `from: 300`".to_owned(),
            Self::SameStage { .. } => "give each stage a name of its own".to_owned(),
            Self::LadderDown { from, to } => format!("write `from: {to}, to: {from}`"),
            Self::LadderTooLong { .. } => "take a larger step".to_owned(),
            Self::Unwritable { .. } => {
                "choose lengths such as 1, 1 1/2, 1 3/4, 1/2, 1/4".to_owned()
            }
            Self::Crowded { .. } => {
                "nothing need be done; a slower tempo or a longer note gives them room".to_owned()
            }
            Self::Rest => "write the note that sounds on, or end the stage".to_owned(),
            Self::Accidental => {
                "write the plain letter: c and f are sharp of themselves".to_owned()
            }
            Self::Tuplet => "write the lengths out, as in `A2/3`".to_owned(),
            Self::Chord => "write one note".to_owned(),
            Self::BadLength { .. } => "write lengths such as 2, 3/2, / or /4".to_owned(),
            Self::OpenGroup => "close the group with `}` before the note".to_owned(),
            Self::EmptyGroup | Self::GroupWithoutNote => {
                "take the group away, or complete it".to_owned()
            }
            Self::Bar { lasts, metre, .. } => {
                let bar = metre.bar();
                if *lasts < bar {
                    format!("add {}", amount(bar - *lasts))
                } else {
                    format!("take {} away", amount(*lasts - bar))
                }
            }
            Self::Complement { pickup, metre, .. } => {
                format!("let it last {}", beats(metre.bar() - *pickup))
            }
            Self::Repeated { note } => {
                let on =
                    |gracenote: &Note| notes_a_gracenote_can_stand_on(*gracenote).contains(note);
                let choices: Vec<String> = [Note::HighG, Note::D, Note::E, Note::HighA]
                    .iter()
                    .filter(|gracenote| on(gracenote))
                    .map(|gracenote| format!("`{{{}}}`", gracenote.abc_letter()))
                    .collect();
                if choices.is_empty() {
                    "separate them with a strike, such as `{g}`".to_owned()
                } else {
                    format!(
                        "separate them with a gracenote, such as {}",
                        wording::choice(&choices)
                    )
                }
            }
            Self::PlayedEarly { held, .. } => {
                let there = sounding_on(*held);
                format!("{there}; `school: early-gracenote` says that it is meant so")
            }
            Self::CannotSound { held, .. } => sounding_on(*held),
            Self::GracenoteEqual { .. } => "choose another gracenote".to_owned(),
            Self::TieToOther { .. } | Self::TieAtEnd => "take the `-` away".to_owned(),
            Self::NoFirstEnding => "begin the first ending with `|1`".to_owned(),
            Self::NoSecondEnding => "begin the second ending with `:|2`".to_owned(),
            _ => return None,
        })
    }
}

/// The gracenotes that a note can sound, for a sentence.
fn sounding_on(held: Note) -> String {
    let choices: Vec<String> = NOTES
        .into_iter()
        .rev()
        .filter(|gracenote| notes_a_gracenote_can_stand_on(*gracenote).contains(&held))
        .map(|gracenote| format!("`{{{}}}`", gracenote.abc_letter()))
        .collect();
    if choices.is_empty() {
        "no finger is left to lift there: write a strike to a lower note".to_owned()
    } else {
        format!("these sound there: {}", wording::list(&choices))
    }
}

fn amount(value: Beats) -> String {
    let text = spell_fraction(&value.0);
    if value < Beats::ONE {
        format!("{text} a beat")
    } else {
        beats(value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::Metre;

    #[test]
    fn a_bar_says_what_is_missing() {
        let short = ProblemKind::Bar {
            stage: "stage 2, ".to_owned(),
            number: 1,
            lasts: Beats::new(7, 2),
            metre: Metre::FOUR_FOUR,
        };
        assert_eq!(
            short.to_string(),
            "stage 2, bar 1 lasts 3½ beats but the metre is 4/4"
        );
        assert_eq!(short.mend().as_deref(), Some("add ½ a beat"));
    }
}
