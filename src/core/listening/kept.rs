//! The network's log-probabilities of a whole recording, kept small, for hearing it once more when it
//! is known what was due where. It knows classes and nothing of notes.
//!
//! Eight bits each, to [`STEP`]; frames that are alike are kept once with how many they are, which
//! most are while a note is held. Two hours of a practice chanter come to 86 MB at most.

use gracerung_net::CLASSES;

/// Nats that one count stands for. Prices of the path are whole nats; what is summed over 30 frames is
/// off by a quarter of a nat.
const STEP: f32 = 1.0 / 31.0;

/// Frames that are alike, one after the other.
#[derive(Debug, Clone, Copy)]
struct Run {
    nats: [u8; CLASSES],
    count: u16,
}

/// Log-probabilities in order of time.
#[derive(Debug, Default)]
pub(super) struct Kept {
    runs: Vec<Run>,
}

impl Kept {
    /// Takes the next frame. What is less likely than e^−8.2 is kept as that.
    pub(super) fn push(&mut self, frame: &[f32; CLASSES]) {
        let nats = frame.map(|log| (-log / STEP).round() as u8);
        match self.runs.last_mut() {
            Some(run) if run.nats == nats && run.count < u16::MAX => run.count += 1,
            _ => self.runs.push(Run { nats, count: 1 }),
        }
    }

    /// The frames, in order.
    pub(super) fn frames(&self) -> impl Iterator<Item = [f32; CLASSES]> + '_ {
        let each = self.runs.iter();
        each.flat_map(|run| {
            let frame = run.nats.map(|nats| -STEP * f32::from(nats));
            std::iter::repeat_n(frame, usize::from(run.count))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_comes_back_to_half_a_step() {
        let mut kept = Kept::default();
        let frames: Vec<[f32; CLASSES]> = (0..200_000_u32)
            .map(|at| std::array::from_fn(|class| -((at / 70_000) as f32) - 0.7 * class as f32))
            .collect();
        for frame in &frames {
            kept.push(frame);
        }
        assert!(kept.runs.len() < 10, "{}", kept.runs.len());
        assert_eq!(kept.frames().count(), frames.len());
        for (kept, frame) in kept.frames().zip(&frames) {
            for (kept, log) in kept.iter().zip(frame) {
                assert!((kept - log.max(-255.0 * STEP)).abs() <= 0.51 * STEP);
            }
        }
    }
}
