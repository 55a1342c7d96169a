//! The identity of a cell of the board.

use super::StagePrint;
use super::rung::Rung;
use serde::{Deserialize, Serialize};

/// A cell of the board as it is stored: the music of a stage on an exact rung. It is named by value
/// and not by position, so that adding a rung or a stage moves no mark. An opened movement and the
/// same movement in real time have the same music but different rungs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct CellKey {
    /// The fingerprint of the stage's written music.
    pub stage: StagePrint,
    /// The exact rung. It is serialised as `tempo`, the name it had before movements could be
    /// opened. A program of that time rejects a length there.
    #[serde(rename = "tempo")]
    pub rung: Rung,
}
