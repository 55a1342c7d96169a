//! The last seconds of sound and of the network's probabilities, from which settled segments are
//! measured.

use super::path::NONE;
use gracerung_net::{CLASSES, HOP};

/// How many frames are kept: more than the path leaves open, and the length of a look before them.
pub(super) const FRAMES: usize = 4096;

/// Sound and log-probabilities by frame, the newest [`FRAMES`] of each.
pub(super) struct Tape {
    /// The samples, stored twice, so that any run of them lies in one piece.
    sound: Vec<f32>,
    heard: u64,
    told: Vec<[f32; CLASSES]>,
    frames: u64,
    /// Sum over all frames of the probability of the likeliest note.
    likeliest: f64,
}

const SAMPLES: usize = FRAMES * HOP;

impl Default for Tape {
    fn default() -> Self {
        Self {
            sound: vec![0.0; 2 * SAMPLES],
            heard: 0,
            told: vec![[0.0; CLASSES]; FRAMES],
            frames: 0,
            likeliest: 0.0,
        }
    }
}

impl Tape {
    /// Takes samples.
    pub(super) fn hear(&mut self, samples: &[f32]) {
        for sample in samples {
            let at = (self.heard % SAMPLES as u64) as usize;
            self.sound[at] = *sample;
            self.sound[at + SAMPLES] = *sample;
            self.heard += 1;
        }
    }

    /// Takes the log-probabilities of the next frame.
    pub(super) fn tell(&mut self, frame: &[f32; CLASSES]) {
        self.told[(self.frames % FRAMES as u64) as usize] = *frame;
        self.frames += 1;
        let notes = &frame[..NONE];
        let most = notes.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        self.likeliest += f64::from(most.exp());
    }

    /// Frames told so far.
    pub(super) fn frames(&self) -> u64 {
        self.frames
    }

    /// `count` samples from the start of a frame; none where they are not on the tape.
    pub(super) fn samples(&self, frame: u64, count: usize) -> Option<&[f32]> {
        let from = frame * HOP as u64;
        let kept = self.heard.saturating_sub(SAMPLES as u64);
        if from < kept || from + count as u64 > self.heard || count > SAMPLES {
            return None;
        }
        let at = (from % SAMPLES as u64) as usize;
        Some(&self.sound[at..at + count])
    }

    fn frame(&self, frame: u64) -> Option<&[f32; CLASSES]> {
        let kept = frame < self.frames && frame + FRAMES as u64 >= self.frames;
        kept.then(|| &self.told[(frame % FRAMES as u64) as usize])
    }

    /// Mean square of those samples of a segment that are still on the tape; none where none are.
    pub(super) fn power(&self, start: u64, end: u64) -> Option<f64> {
        let start = start.max(end.saturating_sub(FRAMES as u64 / 2));
        let samples = self.samples(start, (end - start) as usize * HOP)?;
        let sum: f64 = samples
            .iter()
            .map(|sample| f64::from(sample * sample))
            .sum();
        (!samples.is_empty()).then(|| sum / samples.len() as f64)
    }

    /// Mean probability of a class over the frames of a segment that are still on the tape.
    pub(super) fn probability(&self, class: usize, start: u64, end: u64) -> f64 {
        let start = start.max(end.saturating_sub(FRAMES as u64));
        let (mut sum, mut count) = (0.0, 0.0_f64);
        for frame in (start..end).filter_map(|frame| self.frame(frame)) {
            sum += f64::from(frame[class].exp());
            count += 1.0;
        }
        sum / count.max(1.0)
    }

    /// How far the change of class at the start of a frame lies from that start, in frames: it lies
    /// where the two classes are equally likely, between the middles of the frames before and
    /// after.
    pub(super) fn edge(&self, frame: u64) -> f64 {
        let whole = frame as f64;
        let around = frame.checked_sub(1).and_then(|before| self.frame(before));
        let Some((before, after)) = around.zip(self.frame(frame)) else {
            return whole;
        };
        let likeliest = |frame: &[f32; CLASSES]| {
            (0..CLASSES)
                .max_by(|a, b| frame[*a].total_cmp(&frame[*b]))
                .unwrap_or(0)
        };
        let (from, to) = (likeliest(before), likeliest(after));
        let lead = |frame: &[f32; CLASSES]| f64::from(frame[from] - frame[to]);
        let (one, other) = (lead(before), lead(after));
        if one > 0.0 && other < 0.0 {
            whole - 0.5 + one / (one - other)
        } else {
            whole
        }
    }

    /// Mean probability of each frame's likeliest note.
    pub(super) fn sureness(&self) -> f64 {
        self.likeliest / (self.frames as f64).max(1.0)
    }
}
