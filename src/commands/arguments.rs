//! Parsers that turn words of the command line into typed values.

use crate::chanter::{Finger, Note, Tuning};
use crate::drill::{BarRange, Drill};
use crate::movement::{Lengths, Named, Schools, find_said};
use crate::practice::Rung;
use crate::practice::ladder::climbs;
use crate::services::{Failure, phrases::Which};
use crate::units::{Bpm, Hertz, Millis, SampleRate, parse_fraction, spell_fraction};
use crate::wording;

/// Reads a tempo in beats a minute, such as `66`, `66.5` or `133/2`.
pub(crate) fn tempo(text: &str) -> Result<Bpm, String> {
    Bpm::parse(text).map_err(|error| error.to_string())
}

/// Reads the length of one tone of an opened movement in milliseconds, such as `104` or `104 ms`.
pub(crate) fn tone(text: &str) -> Result<Millis, String> {
    let number = text.trim().trim_end_matches("ms").trim();
    let limits = Millis::whole(Lengths::SHORTEST)..=Millis::whole(Lengths::LONGEST);
    let tone = parse_fraction(number).map(Millis).ok();
    tone.filter(|tone| limits.contains(tone)).ok_or_else(|| {
        format!(
            "expected milliseconds from {} to {}, such as 104",
            Lengths::SHORTEST,
            Lengths::LONGEST
        )
    })
}

/// The rung of a stage.
#[derive(clap::Args, Debug, Clone, Copy, Default)]
pub(crate) struct AtRung {
    /// Beats a minute; the first of the stage when left out.
    #[arg(long, value_parser = tempo)]
    pub(crate) tempo: Option<Bpm>,
    /// In a stage that opens the movement: how long each tone inside lasts, milliseconds; the
    /// longest when left out.
    #[arg(long, value_name = "MS", value_parser = tone)]
    pub(crate) tone: Option<Millis>,
}

impl AtRung {
    /// The rung of the stage with this number, counted from 0.
    ///
    /// # Errors
    /// The stage opens no movement and a tone length was given, or the stage opens a movement and a
    /// tempo other than its own was given.
    pub(crate) fn rung(self, drill: &Drill, stage: usize) -> Result<Rung, Failure> {
        let first = climbs(drill)
            .get(stage)
            .and_then(|rungs| rungs.first().copied());
        let first = first.unwrap_or(Rung::Tempo(drill.ladder.from()));
        let name = drill
            .stages
            .get(stage)
            .map_or("", |stage| stage.name.as_str());
        match (first, self.tempo, self.tone) {
            (Rung::Opened { tempo: at, .. }, Some(tempo), _) if tempo != at => {
                Err(Failure(format!(
                    "`{name}` stands at {} beats a minute while the movement closes up: leave \
                     --tempo out, and choose the length of its tones with --tone",
                    spell_fraction(&at.value())
                )))
            }
            (Rung::Opened { tempo, .. }, _, Some(tone)) => Ok(Rung::Opened { tone, tempo }),
            (Rung::Tempo(_), _, Some(_)) => Err(Failure(format!(
                "`{name}` does not open the movement, so its tones have no length to choose: leave \
                 --tone out"
            ))),
            (Rung::Tempo(_), Some(tempo), None) => Ok(Rung::Tempo(tempo)),
            (_, _, None) => Ok(first),
        }
    }
}

/// Which bars of a tune are meant.
#[derive(clap::Args, Debug, Clone, Default)]
pub(crate) struct OfTune {
    /// These bars of a tune, from 1, such as 5-8: with the pickup before them and the next note
    /// after them.
    #[arg(long, value_name = "BARS", value_parser = bars, conflicts_with_all = ["part", "phrase"])]
    bars: Option<BarRange>,
    /// This part of a tune, from 1.
    #[arg(long, value_name = "NUMBER")]
    part: Option<usize>,
    /// This phrase of a tune, or of its part, from 1.
    #[arg(long, value_name = "NUMBER")]
    phrase: Option<usize>,
    /// Of a tune that says how it is pointed, or of these bars of it: with the dots held longer
    /// first, then as in the tune.
    #[arg(long)]
    held_dots: bool,
}

impl OfTune {
    /// The same choice as the type that the services use.
    pub(crate) fn which(&self) -> Which {
        Which {
            bars: self.bars,
            part: self.part,
            phrase: self.phrase,
            held_dots: self.held_dots,
        }
    }
}

/// Reads a range of bars, such as `5-8`.
pub(crate) fn bars(text: &str) -> Result<BarRange, String> {
    BarRange::parse(text).ok_or_else(|| format!("expected {}", BarRange::EXPECTED))
}

/// Reads a note, such as `LG`, `low G` or `A`.
pub(crate) fn note(text: &str) -> Result<Note, String> {
    Note::parse(text).map_err(|error| error.to_string())
}

/// Reads a movement's name as players say it, such as `grip`, `E doubling` or `heavy throw`.
pub(crate) fn movement(text: &str) -> Result<Named, String> {
    find_said(text).map_err(|error| error.to_string())
}

/// Reads a gracenote. Where the text names a movement instead, the error names the command
/// that explains the movement.
pub(crate) fn gracenote(text: &str) -> Result<Note, String> {
    note(text).map_err(|error| match find_said(text) {
        Ok(named) => format!(
            "`{text}` is a movement, not a gracenote: `gracerung explain {}` shows its gracenotes",
            named.movement
        ),
        Err(unknown) => match unknown.nearest.filter(|_| text.chars().count() > 2) {
            Some(nearest) => format!(
                "{error}; a movement is named `{nearest}`, and `gracerung explain {nearest}` shows \
                 its gracenotes"
            ),
            None => error,
        },
    })
}

/// Reads a finger's name from `thumb` and `top-index` to `bottom-little`; `little` alone means the
/// last.
pub(crate) fn finger(text: &str) -> Result<Finger, String> {
    let plain = text.trim().to_lowercase().replace([' ', '_'], "-");
    let names: Vec<&str> = Finger::ALL.iter().map(|finger| finger.name()).collect();
    let wanted = match plain.as_str() {
        "little" | "little-finger" => "bottom-little",
        "top-thumb" => "thumb",
        other => other,
    };
    Finger::ALL
        .into_iter()
        .find(|finger| finger.name() == wanted)
        .ok_or_else(|| format!("expected {}", wording::choice(&names)))
}

/// The schools that the `--school` options choose.
///
/// # Errors
/// A name is not the name of a school.
pub(crate) fn schools(names: &[String]) -> Result<Schools, Failure> {
    names.iter().try_fold(Schools::none(), |schools, name| {
        schools
            .with(name)
            .map_err(|error| Failure(error.to_string()))
    })
}

/// Reads the pitch of low A in hertz.
pub(crate) fn low_a(text: &str) -> Result<Hertz, String> {
    let (low, high) = (Tuning::LOWEST_LOW_A.0, Tuning::HIGHEST_LOW_A.0);
    match text.trim().trim_end_matches("Hz").trim().parse::<f64>() {
        Ok(hertz) if hertz >= low && hertz <= high => Ok(Hertz(hertz)),
        _ => Err(format!(
            "expected the pitch of low A in hertz, {low} to {high}: a practice chanter lies near \
             236, a pipe chanter near 480"
        )),
    }
}

/// Reads a sample rate in frames a second, from 8000 to 384000.
pub(crate) fn rate(text: &str) -> Result<SampleRate, String> {
    match text.trim().parse::<u32>() {
        Ok(rate) if (8_000..=384_000).contains(&rate) => Ok(SampleRate(rate)),
        _ => Err("expected frames a second, 8000 to 384000, such as 48000".to_owned()),
    }
}

/// Reads a name.
///
/// # Errors
/// The text is empty.
pub(crate) fn name(text: &str) -> Result<String, String> {
    let text = text.trim();
    if text.is_empty() {
        return Err("it is empty: write a name, or leave it out".to_owned());
    }
    Ok(text.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fingers_read_as_they_are_called() {
        assert_eq!(finger("bottom ring"), Ok(Finger::LowerRing));
        assert_eq!(finger("little"), Ok(Finger::LowerLittle));
        assert!(finger("pinkie").is_err());
    }

    #[test]
    fn a_pitch_outside_every_chanter_is_refused() {
        assert!(low_a("236").is_ok());
        assert!(low_a("480 Hz").is_ok());
        assert!(low_a("48").is_err());
        assert!(low_a("NaN").is_err());
    }
}
