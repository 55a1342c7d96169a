//! Chooses what is heard: the stage and tempo, the places where a fault can be, and one of those
//! places.

use crate::commands::arguments;
use crate::discrimination::{Spot, spots};
use crate::drill::{Drill, StageKind};
use crate::practice::{CellKey, Difference, Rung, StagePrint};
use crate::score::{Score, ScoreNote, resolve_music};
use crate::services::{Failure, stages};
use crate::timeline::{Layout, Timeline, lay};
use crate::units::{Beats, Bpm, Milliseconds, SampleRate, spell_fraction};
use crate::wording;

/// What is to be heard.
#[derive(clap::Args)]
pub(super) struct What {
    /// A drill's name or path.
    #[arg(value_name = "DRILL")]
    pub(super) drill: String,
    /// What to listen for: crushed, unlike, long, early or blip.
    #[arg(long, value_name = "FAULT", value_parser = difference)]
    pub(super) fault: Option<Difference>,
    /// Stage, by number from 1 or by name; else the first that has the whole movement.
    #[arg(long)]
    pub(super) stage: Option<String>,
    /// Tempo, beats a minute; else the top of the ladder, so that weeks compare.
    #[arg(long, value_parser = arguments::tempo)]
    pub(super) tempo: Option<Bpm>,
    /// Minutes, 0.2 to 10; longer finds it more exactly.
    #[arg(long, default_value_t = 1.0, value_parser = minutes)]
    pub(super) minutes: f64,
}

fn difference(text: &str) -> Result<Difference, String> {
    let found = Difference::ALL
        .into_iter()
        .find(|difference| difference.name() == text);
    found.ok_or_else(|| format!("expected {}", names(&Difference::ALL)))
}

fn names(differences: &[Difference]) -> String {
    let names: Vec<&str> = differences.iter().map(|one| one.name()).collect();
    wording::choice(&names)
}

fn minutes(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(minutes) if (0.2..=10.0).contains(&minutes) => Ok(minutes),
        _ => Err("expected minutes, 0.2 to 10".to_owned()),
    }
}

/// The music that is listened to.
pub(super) struct Music {
    pub(super) title: String,
    pub(super) cell: CellKey,
    pub(super) clean: Timeline,
    pub(super) spots: Vec<Spot>,
}

/// The stage at its tempo, with the faults that can be put into it.
pub(super) fn music(drill: &Drill, what: &What) -> Result<Music, Failure> {
    let movement = drill.movement.as_ref().map(|line| line.movement);
    let tempo = what.tempo.unwrap_or(drill.ladder.to());
    let resolved = |stage: usize| -> Score {
        resolve_music(&drill.stages[stage].music, Beats::ZERO, &drill.schools)
    };
    let laid = |score: &Score| {
        let layout = Layout {
            lengths: drill.lengths,
            ..Layout::at(tempo, SampleRate::USUAL)
        };
        lay(score, &layout)
    };
    let stage = match &what.stage {
        Some(wanted) => stages::stage(drill, wanted)?.0,
        None => {
            let whole = |stage: &usize| {
                let of_movement =
                    |note: &ScoreNote| movement.is_some() && note.group.movement == movement;
                resolved(*stage).notes.iter().any(of_movement)
            };
            let in_real_time =
                |stage: &usize| matches!(drill.stages[*stage].kind, StageKind::RealTime { .. });
            let mut stages = 0..drill.stages.len();
            let whole = stages
                .clone()
                .filter(in_real_time)
                .find(whole)
                .or_else(|| stages.find(whole));
            let most = || {
                (0..drill.stages.len()).rev().max_by_key(|stage| {
                    let score = resolved(*stage);
                    spots(&score, &laid(&score), movement).len()
                })
            };
            whole.or_else(most).unwrap_or(0)
        }
    };
    let score = resolved(stage);
    let clean = laid(&score);
    let spots = spots(&score, &clean, movement);
    let name = &drill.stages[stage].name;
    if spots.is_empty() {
        return Err(Failure(format!(
            "`{}`, stage `{name}`, has nothing to hear: expected gracenotes after a first note, or two notes whose fingers cross; another `--stage` may have them",
            drill.title
        )));
    }
    let speed = spell_fraction(&tempo.value());
    Ok(Music {
        title: format!("{} · {name} at {speed}", drill.title),
        cell: CellKey {
            stage: StagePrint::of(&score.written_text()),
            rung: Rung::Tempo(tempo),
        },
        clean,
        spots,
    })
}

/// The fault that was asked for, or else the one whose last result in this cell is the oldest.
pub(super) fn chosen(
    music: &Music,
    wanted: Option<Difference>,
    before: &[(Difference, Milliseconds)],
    drill: &Drill,
) -> Result<Spot, Failure> {
    let last = |spot: &&Spot| {
        before
            .iter()
            .rposition(|(difference, _)| *difference == spot.difference)
    };
    let found = match wanted {
        Some(wanted) => music.spots.iter().find(|spot| spot.difference == wanted),
        None => music.spots.iter().min_by_key(last),
    };
    found.cloned().ok_or_else(|| {
        let has: Vec<Difference> = music.spots.iter().map(|spot| spot.difference).collect();
        Failure(format!(
            "`{}` has no place for {} here: expected {}",
            drill.title,
            wanted.map_or("a fault", Difference::spoken),
            names(&has)
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minutes_and_faults_read_as_they_are_written() {
        assert_eq!(minutes("3"), Ok(3.0));
        assert!(minutes("0").is_err() && minutes("NaN").is_err() && minutes("11").is_err());
        assert_eq!(difference("unlike"), Ok(Difference::Unlike));
        let error = difference("un").expect_err("no such fault");
        assert_eq!(error, "expected crushed, unlike, long, early or blip");
    }
}
