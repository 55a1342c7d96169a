//! The name of a cell of the board.

use super::StagePrint;
use super::rung::Rung;
use serde::{Deserialize, Serialize};

/// A cell of the board wherever it is kept: the music of a stage on an exact rung. By value and not
/// by place, so that a rung or a stage put in between moves no mark. An opened movement and the same
/// movement in real time have the same music and different rungs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct CellKey {
    /// The fingerprint of the stage's written music.
    pub stage: StagePrint,
    /// The rung, exact. Written as `tempo`, its name before movements could be opened: a program of
    /// that time refuses a length there.
    #[serde(rename = "tempo")]
    pub rung: Rung,
}
