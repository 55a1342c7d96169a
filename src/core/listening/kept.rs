//! The network's log-probabilities in a small form, for a second hearing once it is known what was
//! due when. It knows classes and nothing of notes.
//!
//! Each is kept in eight bits, in steps of [`STEP`]. Frames that are alike are kept once, with
//! their number, which is how most frames are while a note is held. Whoever keeps them says from
//! which frame on they are still needed.

use gracerung_net::CLASSES;

/// Nats that one step stands for. Prices of the path are whole nats; a sum over 30 frames is off by
/// a quarter of a nat.
const STEP: f32 = 1.0 / 31.0;

/// Frames one after the other that are alike, in 12 bytes.
#[derive(Debug, Clone, Copy)]
struct Run {
    nats: [u8; CLASSES],
    count: u16,
}

/// Log-probabilities in order of time.
#[derive(Debug, Default)]
pub(super) struct Kept {
    /// Number of the first frame that is kept.
    first: u64,
    frames: u64,
    runs: Vec<Run>,
}

impl Kept {
    /// Takes the next frame. Probabilities below e^−8.2 are kept as e^−8.2.
    pub(super) fn push(&mut self, frame: &[f32; CLASSES]) {
        let nats = frame.map(|log| (-log / STEP).round() as u8);
        self.frames += 1;
        match self.runs.last_mut() {
            Some(run) if run.nats == nats && run.count < u16::MAX => run.count += 1,
            _ => self.runs.push(Run { nats, count: 1 }),
        }
    }

    /// Number of the first frame that is kept.
    pub(super) fn first(&self) -> u64 {
        self.first
    }

    /// Number of the frame that comes next.
    pub(super) fn next(&self) -> u64 {
        self.first + self.frames
    }

    /// The number of runs of frames that are alike: each takes 12 bytes.
    pub(super) fn runs(&self) -> usize {
        self.runs.len()
    }

    /// The frames, in order.
    pub(super) fn frames(&self) -> impl Iterator<Item = [f32; CLASSES]> + '_ {
        let each = self.runs.iter();
        each.flat_map(|run| {
            let frame = run.nats.map(|nats| -STEP * f32::from(nats));
            std::iter::repeat_n(frame, usize::from(run.count))
        })
    }

    /// Forgets the frames before one.
    pub(super) fn forget_before(&mut self, frame: u64) {
        let mut left = frame.saturating_sub(self.first).min(self.frames);
        self.first += left;
        self.frames -= left;
        let whole = self.runs.iter().take_while(|run| {
            let count = u64::from(run.count);
            let goes = count <= left;
            left -= if goes { count } else { 0 };
            goes
        });
        let whole = whole.count();
        self.runs.drain(..whole);
        if let Some(run) = self.runs.first_mut() {
            run.count -= left as u16;
        }
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
        assert!(kept.runs() < 10, "{}", kept.runs());
        for forgotten in [0, 1, 65_535, 65_536, 150_000, 200_000] {
            kept.forget_before(forgotten as u64);
            let left = &frames[forgotten..];
            assert_eq!((kept.first(), kept.next()), (forgotten as u64, 200_000));
            assert_eq!(kept.frames().count(), left.len());
            for (kept, frame) in kept.frames().zip(left) {
                for (kept, log) in kept.iter().zip(frame) {
                    assert!((kept - log.max(-255.0 * STEP)).abs() <= 0.51 * STEP);
                }
            }
        }
    }
}
