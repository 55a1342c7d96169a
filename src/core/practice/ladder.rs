//! The rungs of each stage: tempi of the drill's ladder, or the lengths through which it closes up.
//!
//! Knows stages and the ladder; knows nothing of marks.

use super::rung::Rung;
use crate::drill::{Drill, Stage, StageKind};
pub use crate::drill::{LadderError, Step, lengths_down, rungs};
use crate::units::Bpm;

/// Every stage's rungs, low to high. A stage ends at the highest tempo at which it is worth
/// practising. A stage after an opening begins at the opening's tempo, because the movement is
/// closed up at that tempo first. Every stage has at least one rung.
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
