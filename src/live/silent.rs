//! Silent play without a device: the same renderer, driven by the monotonic clock, with its samples
//! discarded. Positions are exactly those of a device.

use super::clock::{Base, Face, Reading};
use crate::sound::Renderer;
use std::sync::Arc;
use std::time::Instant;

/// The longest stretch in seconds that is made up for at once. After a longer sleep of the
/// computer, play continues where it was.
const LONGEST: u64 = 5;

/// A renderer, with the moment from which it is driven.
pub(super) struct Silent {
    renderer: Renderer,
    from: Reading,
    scratch: Vec<f32>,
}

impl Silent {
    /// Continues from the renderer's next frame. The frame is heard when `before` says, which is
    /// what a device was playing, or else now. Thread: keeper. Allocates: yes. Blocks: no.
    pub(super) fn new(renderer: Renderer, before: Option<Reading>, base: Base, epoch: u32) -> Self {
        let now = base.until(Instant::now());
        let frame = renderer.frame().0;
        let rate = renderer.rate().0;
        let heard = before
            .filter(|reading| reading.epoch == epoch && reading.rate == rate)
            .map_or(now, |reading| reading.moment_of(frame));
        Self {
            renderer,
            from: Reading {
                frame,
                heard,
                rate,
                end: frame,
                epoch,
            },
            scratch: vec![0.0; 1024],
        }
    }

    /// Renders everything that is due by now. Thread: keeper. Allocates: no. Blocks: no.
    pub(super) fn drive(&mut self, now: Instant, base: Base, face: &Arc<Face>) {
        let now = base.until(now);
        let rate = u64::from(self.from.rate);
        let frame = self.renderer.frame().0;
        let due = Reading {
            end: u64::MAX,
            ..self.from
        }
        .heard_at(now, 0)
        .0;
        if due > frame + LONGEST * rate {
            self.from.frame = frame;
            self.from.heard = now;
        } else {
            let mut left = due.saturating_sub(frame);
            while left > 0 {
                let count = left.min(self.scratch.len() as u64);
                self.renderer.fill(&mut self.scratch[..count as usize]);
                left -= count;
            }
        }
        face.set(Reading {
            end: self.renderer.frame().0,
            ..self.from
        });
    }

    /// Returns the renderer. Thread: keeper. Allocates: no. Blocks: no.
    pub(super) fn into_renderer(self) -> Renderer {
        self.renderer
    }
}
