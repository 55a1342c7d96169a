//! What each stage climbs: its rungs of the drill's ladder, or the lengths on which it closes up.
//!
//! Knows stages and the ladder; knows nothing of marks.

use super::rung::Rung;
use crate::drill::{Drill, Stage, StageKind};
pub use crate::drill::{LadderError, Step, lengths_down, rungs};
use crate::units::Bpm;

/// Every stage's rungs, low to high. A stage ends at the highest tempo that it is worth practising
/// at. What comes after an opening begins at the opening's tempo, because below it the movement was
/// closed up already. No stage is without a rung.
pub fn climbs(drill: &Drill) -> Vec<Vec<Rung>> {
    let (from, to) = (drill.ladder.from(), drill.ladder.to());
    let tempi = drill.ladder.rungs();
    let mut begins = from;
    let climb = |stage: &Stage| {
        if let StageKind::Opening { from, at, .. } = stage.kind {
            begins = at;
            let lengths = lengths_down(from, drill.lengths.tone_at(at));
            let opened = |tone| Rung::Opened { tone, tempo: at };
            return lengths.into_iter().map(opened).collect();
        }
        let worth = begins..=stage.up_to.unwrap_or(to);
        let mut own: Vec<Bpm> = tempi
            .iter()
            .copied()
            .filter(|one| worth.contains(one))
            .collect();
        if own.is_empty() {
            own.push(begins);
        }
        own.into_iter().map(Rung::Tempo).collect()
    };
    drill.stages.iter().map(climb).collect()
}
