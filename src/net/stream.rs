//! Runs one stream of samples through the network.

#![expect(
    clippy::inline_always,
    reason = "pulp compiles for the machine's vectors only what is inlined into its dispatch"
)]

use crate::layers::{Frames, Level, log_softmax, magnitudes, rectify};
use crate::product::{Product, padded};
use crate::weights::{CLASSES, HOP, Weights};
use pulp::{Arch, Simd, WithSimd};
use std::sync::Arc;

/// The number of frames that go through all layers together.
const PASS: usize = 48;

/// The state of one stream. It allocates memory only when it is made.
pub struct Network {
    weights: Arc<Weights>,
    arch: Arch,
    samples: Vec<f32>,
    held: usize,
    /// The number of samples pushed so far.
    taken: u64,
    /// The number of frames returned so far.
    given: u64,
    level: Level,
    blocks: Vec<Frames>,
    scratch: Scratch,
}

/// Buffers that are overwritten in each pass.
struct Scratch {
    filtered: Vec<f32>,
    features: Vec<f32>,
    channels: Vec<f32>,
    wide: Vec<f32>,
    scores: Vec<f32>,
}

impl Network {
    /// A stream before its first sample.
    pub fn new(weights: Arc<Weights>) -> Self {
        Self::on(weights, Arch::new())
    }

    pub(crate) fn on(weights: Arc<Weights>, arch: Arch) -> Self {
        let w = &*weights;
        let filters = w.banks.iter().map(|b| b.filters.row()).max().unwrap_or(0);
        let row = padded(w.shape.channels);
        let wide = w.blocks.iter().map(|b| b.expand.row()).max().unwrap_or(0);
        let scratch = Scratch {
            filtered: vec![0.0; filters * PASS],
            features: vec![0.0; w.bands() * PASS],
            channels: vec![0.0; row * PASS],
            wide: vec![0.0; wide * PASS],
            scores: vec![0.0; w.output.row() * PASS],
        };
        let mut network = Self {
            samples: vec![0.0; w.window() + (PASS - 1) * HOP],
            held: 0,
            taken: 0,
            given: 0,
            level: Level::new(w.shape.level_frames),
            blocks: w
                .blocks
                .iter()
                .map(|b| Frames::new(row, b.reach() + PASS))
                .collect(),
            scratch,
            arch,
            weights,
        };
        network.restart();
        network
    }

    /// Discards the stream; the next sample is the first of a new one.
    pub fn restart(&mut self) {
        self.held = self.weights.window() / 2 - HOP / 2;
        self.samples[..self.held].fill(0.0);
        self.taken = 0;
        self.given = 0;
        self.level = Level::new(self.weights.shape.level_frames);
        for (frames, block) in self.blocks.iter_mut().zip(&self.weights.blocks) {
            frames.restart(block.past());
        }
    }

    /// Takes samples, and calls `each` with the log-probabilities of every frame that can be
    /// computed now.
    pub fn push(&mut self, samples: &[f32], each: &mut dyn FnMut(&[f32; CLASSES])) {
        self.taken += samples.len() as u64;
        self.feed(samples, each);
    }

    /// Computes the remaining frames as if silence followed, so that there are as many frames as
    /// whole hops were pushed. The stream ends here, and the next sample is the first of a new one.
    pub fn finish(&mut self, each: &mut dyn FnMut(&[f32; CLASSES])) {
        let mut left = self.taken / HOP as u64 - self.given;
        while left > 0 {
            self.feed(&[0.0; HOP], &mut |frame| {
                if left > 0 {
                    left -= 1;
                    each(frame);
                }
            });
        }
        self.restart();
    }

    fn feed(&mut self, samples: &[f32], each: &mut dyn FnMut(&[f32; CLASSES])) {
        let window = self.weights.window();
        let mut rest = samples;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(self.samples.len() - self.held));
            self.samples[self.held..][..now.len()].copy_from_slice(now);
            self.held += now.len();
            rest = later;
            let count = (self.held + HOP).saturating_sub(window) / HOP;
            if count > 0 {
                self.run(count, each);
                self.samples.copy_within(count * HOP..self.held, 0);
                self.held -= count * HOP;
            }
        }
    }

    /// Runs `count` frames through all layers.
    fn run(&mut self, count: usize, each: &mut dyn FnMut(&[f32; CLASSES])) {
        let arch = self.arch;
        arch.dispatch(Pass {
            network: self,
            count,
            each,
        });
    }
}

struct Pass<'a> {
    network: &'a mut Network,
    count: usize,
    each: &'a mut dyn FnMut(&[f32; CLASSES]),
}

impl WithSimd for Pass<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Network {
            weights,
            samples,
            given,
            level,
            blocks,
            scratch,
            ..
        } = self.network;
        front(simd, weights, samples, level, scratch, self.count, blocks);
        for at in 0..blocks.len() {
            through(simd, weights, at, blocks, scratch, &mut |frame| {
                *given += 1;
                (self.each)(frame);
            });
        }
    }
}

/// Computes the input of the first block for `count` frames of samples.
#[inline(always)]
fn front<S: Simd>(
    simd: S,
    weights: &Weights,
    samples: &[f32],
    level: &mut Level,
    scratch: &mut Scratch,
    count: usize,
    blocks: &mut [Frames],
) {
    let bands = weights.bands();
    let mut from = 0;
    for bank in &weights.banks {
        let row = bank.filters.row();
        let filtered = &mut scratch.filtered[..count * row];
        Product {
            matrix: &bank.filters,
            x: &samples[(weights.window() - bank.filters.inputs()) / 2..],
            stride: HOP,
            y: filtered,
        }
        .with_simd(simd);
        for (t, filtered) in filtered.chunks_exact(row).enumerate() {
            let features = &mut scratch.features[t * bands + from..][..bank.bands];
            magnitudes(filtered, weights.shape.power_floor, features);
        }
        from += bank.bands;
    }
    let features = &mut scratch.features[..count * bands];
    for frame in features.chunks_exact_mut(bands) {
        let level = level.after(frame, weights.shape.level_floor);
        for ((feature, scale), offset) in frame.iter_mut().zip(&weights.scale).zip(&weights.offset)
        {
            *feature = (*feature - level) * scale + offset;
        }
    }
    let into = blocks[0].grow(count);
    Product {
        matrix: &weights.input,
        x: features,
        stride: bands,
        y: into,
    }
    .with_simd(simd);
    rectify(into);
}

/// Computes the frames that a block can compute now, for the next block or for the caller.
#[inline(always)]
fn through<S: Simd>(
    simd: S,
    weights: &Weights,
    at: usize,
    blocks: &mut [Frames],
    scratch: &mut Scratch,
    each: &mut dyn FnMut(&[f32; CLASSES]),
) {
    let block = &weights.blocks[at];
    let row = block.row();
    let (upto, after) = blocks.split_at_mut(at + 1);
    let own = &mut upto[at];
    let count = own.held().saturating_sub(block.reach());
    if count == 0 {
        return;
    }
    let channels = &mut scratch.channels[..count * row];
    block.over_time(own.values(), channels);
    let wide = &mut scratch.wide[..count * block.expand.row()];
    Product {
        matrix: &block.expand,
        x: channels,
        stride: row,
        y: wide,
    }
    .with_simd(simd);
    rectify(wide);
    let last = after.is_empty();
    let into = match after.first_mut() {
        Some(next) => next.grow(count),
        None => channels,
    };
    Product {
        matrix: &block.project,
        x: wide,
        stride: block.expand.row(),
        y: into,
    }
    .with_simd(simd);
    for (value, kept) in into.iter_mut().zip(&own.values()[block.past() * row..]) {
        *value += kept;
    }
    own.forget(count);
    if last {
        rectify(into);
        let scores = &mut scratch.scores[..count * weights.output.row()];
        Product {
            matrix: &weights.output,
            x: into,
            stride: row,
            y: scores,
        }
        .with_simd(simd);
        for frame in scores.chunks_exact_mut(weights.output.row()) {
            if let Some((scores, _)) = frame.split_first_chunk_mut::<CLASSES>() {
                log_softmax(scores);
                each(scores);
            }
        }
    }
}
