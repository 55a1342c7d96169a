//! A gain that changes linearly, frame by frame.

/// A gain that moves to a target. Each frame adds the same step, so the result does not depend on
/// the chunks.
#[derive(Debug, Clone, Copy)]
pub(in crate::sound) struct Ramp {
    now: f32,
    target: f32,
    step: f32,
    left: u32,
}

impl Ramp {
    /// A gain at rest.
    pub(in crate::sound) fn at(gain: f32) -> Self {
        Self {
            now: gain,
            target: gain,
            step: 0.0,
            left: 0,
        }
    }

    /// Moves to `target` within `frames` frames; 0 means at once.
    pub(in crate::sound) fn go(&mut self, target: f32, frames: u32) {
        if target == self.target && (self.left == 0 || frames >= self.left) {
            return;
        }
        self.target = target;
        if frames == 0 {
            *self = Self::at(target);
        } else {
            self.left = frames;
            self.step = (target - self.now) / frames as f32;
        }
    }

    /// The gain of the next frame.
    #[inline]
    pub(in crate::sound) fn next(&mut self) -> f32 {
        if self.left > 0 {
            self.left -= 1;
            self.now = if self.left == 0 {
                self.target
            } else {
                self.now + self.step
            };
        }
        self.now
    }

    /// True while the gain is moving.
    pub(in crate::sound) fn moves(&self) -> bool {
        self.left > 0
    }

    /// True when the gain is 0 and not moving.
    pub(in crate::sound) fn is_silent(&self) -> bool {
        self.left == 0 && self.now == 0.0
    }

    /// Multiplies `samples` by the gains of the next frames.
    pub(in crate::sound) fn apply(&mut self, samples: &mut [f32]) {
        if self.moves() {
            for sample in samples {
                *sample *= self.next();
            }
        } else if self.now != 1.0 {
            for sample in samples {
                *sample *= self.now;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ramp that overshoots or falls short would leave a step at its end, which is heard as a
    /// pop.
    #[test]
    fn a_ramp_ends_exactly_at_its_target_after_its_frames() {
        let mut ramp = Ramp::at(0.25);
        ramp.go(1.0, 960);
        let gains: Vec<f32> = (0..960).map(|_| ramp.next()).collect();
        assert!(gains.windows(2).all(|pair| pair[0] < pair[1]));
        assert_eq!(gains[959], 1.0);
        assert!(gains[958] < 1.0);
        assert!(!ramp.moves());
    }

    /// Giving the same target twice must not restart the ramp.
    #[test]
    fn a_target_named_again_does_not_lengthen_the_way() {
        let mut ramp = Ramp::at(0.0);
        ramp.go(1.0, 10);
        for _ in 0..5 {
            ramp.next();
        }
        ramp.go(1.0, 10);
        for _ in 0..5 {
            ramp.next();
        }
        assert!(!ramp.moves());
        assert_eq!(ramp.next(), 1.0);
    }
}
