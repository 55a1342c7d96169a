//! What others sound beside the chanter is taken off: drones that hold their pitch, a metronome's
//! clicks.
//!
//! It knows no notes. Works on stretches of [`WINDOW`], each for itself.

use super::clicks;
use super::intake::RATE;
use super::steady;
use std::collections::VecDeque;

/// Sound that is looked at together, seconds.
pub(super) const LOOKED_AT_S: f64 = 20.0;
const WINDOW: usize = LOOKED_AT_S as usize * RATE as usize;
/// Samples whose mean power is one of those that tell the usual one: 8 ms.
const PIECE: usize = 64;

/// Cleans a stream; the sound comes out a window later.
#[derive(Debug, Default)]
pub(super) struct Cleaning {
    /// A quarter of low A, hertz, where there may be drones.
    quarter: Option<f64>,
    /// Samples from beat to beat, where it is known what is played.
    beat: Option<f64>,
    /// The newest window, as it came in.
    raw: VecDeque<f32>,
    /// How many samples at the end of it have not gone out.
    owed: usize,
    out: Vec<f32>,
    /// Where drones were taken off last, the power of what else sounds most of the time.
    beside_drones: Option<f32>,
}

impl Cleaning {
    /// Cleans of drones too, multiples of a quarter of low A, hertz.
    pub(super) fn of_drones(quarter: f64) -> Self {
        Self {
            quarter: Some(quarter),
            ..Self::default()
        }
    }

    /// The same beside a piece whose beat lasts so many seconds.
    pub(super) fn with_beat(self, beat_s: f64) -> Self {
        Self {
            beat: Some(beat_s * f64::from(RATE)),
            ..self
        }
    }

    /// Takes samples.
    pub(super) fn push(&mut self, samples: &[f32]) {
        for piece in samples.chunks(WINDOW / 4) {
            self.raw.extend(piece);
            self.owed += piece.len();
            if self.owed >= WINDOW {
                self.clean();
            }
        }
    }

    /// The end of the sound.
    pub(super) fn finish(&mut self) {
        self.clean();
        self.raw.clear();
    }

    /// What is ready.
    pub(super) fn take(&mut self) -> Vec<f32> {
        std::mem::take(&mut self.out)
    }

    /// Where drones were taken off what was ready last, the power of what else sounds most of the
    /// time.
    pub(super) fn beside_drones(&self) -> Option<f32> {
        self.beside_drones
    }

    fn clean(&mut self) {
        let surplus = self.raw.len() - self.raw.len().min(WINDOW.max(self.owed));
        self.raw.drain(..surplus);
        let mut sound: Vec<f32> = self.raw.iter().copied().collect();
        let took = self
            .quarter
            .is_some_and(|quarter| steady::take_off(&mut sound, quarter));
        self.beside_drones = took.then(|| usual(&sound));
        clicks::take_off(&mut sound, self.beat);
        self.out.extend(&sound[sound.len() - self.owed..]);
        self.owed = 0;
    }
}

/// The power that a quarter of the pieces lie over.
fn usual(sound: &[f32]) -> f32 {
    let mut powers: Vec<f32> = sound
        .chunks(PIECE)
        .map(|piece| piece.iter().map(|s| s * s).sum::<f32>() / piece.len() as f32)
        .collect();
    let rank = powers.len() * 3 / 4;
    *powers.select_nth_unstable_by(rank, f32::total_cmp).1
}
