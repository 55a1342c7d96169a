//! The layers beside the matrix product: the front's filters, the level, and the depthwise
//! convolution.

#![expect(
    clippy::inline_always,
    reason = "pulp compiles for the machine's vectors only what is inlined into its dispatch"
)]

use crate::product::Matrix;

/// Frames of one layer, oldest first, as many as the layer above still needs.
#[derive(Debug, Clone)]
pub(crate) struct Frames {
    row: usize,
    held: usize,
    values: Vec<f32>,
}

impl Frames {
    /// A buffer for at most `most` frames of `row` values each.
    pub(crate) fn new(row: usize, most: usize) -> Self {
        Self {
            row,
            held: 0,
            values: vec![0.0; row * most],
        }
    }

    pub(crate) fn held(&self) -> usize {
        self.held
    }

    /// The values of all frames, one frame after the other.
    pub(crate) fn values(&self) -> &[f32] {
        &self.values[..self.held * self.row]
    }

    /// Adds room for `count` more frames and returns it, to be filled.
    pub(crate) fn grow(&mut self, count: usize) -> &mut [f32] {
        let from = self.held * self.row;
        self.held += count;
        &mut self.values[from..self.held * self.row]
    }

    /// Removes the `count` oldest frames.
    pub(crate) fn forget(&mut self, count: usize) {
        self.values
            .copy_within(count * self.row..self.held * self.row, 0);
        self.held -= count;
    }

    /// Starts again with `count` frames of zeros.
    pub(crate) fn restart(&mut self, count: usize) {
        self.held = 0;
        self.grow(count).fill(0.0);
    }
}

/// Filters of one length. Each consists of a cosine and a sine, whose squared outputs are added.
#[derive(Debug, Clone)]
pub(crate) struct Bank {
    /// All cosines, then all sines.
    pub(crate) filters: Matrix,
    pub(crate) bands: usize,
}

/// The natural logarithm of a positive normal number, with an error below 2e-7 of the result. It is
/// the polynomial of Cephes' `logf` (Moshier, netlib), written so that the compiler can vectorise
/// it.
#[inline(always)]
fn ln(x: f32) -> f32 {
    let bits = x.to_bits();
    // the mantissa between the square roots of a half and of two, with the exponent that belongs to
    // it
    let shifted = bits.wrapping_sub(0x3f35_04f3);
    let exponent = ((shifted as i32) >> 23) as f32;
    let m = f32::from_bits((shifted & 0x007f_ffff).wrapping_add(0x3f35_04f3)) - 1.0;
    let z = m * m;
    let mut y = 7.037_683_6e-2;
    for factor in [
        -1.151_461e-1,
        1.167_699_9e-1,
        -1.242_014_1e-1,
        1.424_932_3e-1,
        -1.666_805_8e-1,
        2.000_071_5e-1,
        -2.499_999_4e-1,
        3.333_333e-1,
    ] {
        y = y * m + factor;
    }
    let y = y * m * z + exponent * -2.121_944_4e-4 - 0.5 * z;
    m + y + exponent * 0.693_359_4
}

/// Writes a quarter of the logarithm of each squared magnitude plus `floor`.
#[inline(always)]
pub(crate) fn magnitudes(filtered: &[f32], floor: f32, features: &mut [f32]) {
    let bands = features.len();
    let (cosines, sines) = filtered[..2 * bands].split_at(bands);
    for ((feature, c), s) in features.iter_mut().zip(cosines).zip(sines) {
        *feature = 0.25 * ln(c * c + s * s + floor) + 1.0;
    }
}

/// The level of the stream: a decaying mean of the bands' logarithms.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Level {
    /// The factor by which the weight of a frame falls with each later frame.
    keep: f32,
    sum: f32,
    weight: f32,
}

impl Level {
    /// A level whose frames weigh 1/e after this many `frames`.
    pub(crate) fn new(frames: f32) -> Self {
        Self {
            keep: (-1.0 / frames).exp(),
            sum: 0.0,
            weight: 0.0,
        }
    }

    /// Adds a frame and returns the level that it is judged by, never below `floor`.
    #[inline(always)]
    pub(crate) fn after(&mut self, features: &[f32], floor: f32) -> f32 {
        let mean = features.iter().sum::<f32>() / features.len() as f32;
        self.sum = self.sum * self.keep + mean;
        self.weight = self.weight * self.keep + 1.0;
        (self.sum / self.weight).max(floor)
    }
}

/// A residual block: first a convolution of each channel over time, then a combination of all
/// channels of a frame.
#[derive(Debug, Clone)]
pub(crate) struct Block {
    /// The taps by their place in time, each a row with one value for each channel.
    pub(crate) taps: Vec<f32>,
    pub(crate) bias: Vec<f32>,
    pub(crate) dilation: usize,
    /// The number of frames that the block looks ahead.
    pub(crate) look: usize,
    pub(crate) expand: Matrix,
    pub(crate) project: Matrix,
}

impl Block {
    pub(crate) fn row(&self) -> usize {
        self.bias.len()
    }

    /// The number of frames from the first to the last that the block reads.
    pub(crate) fn reach(&self) -> usize {
        (self.taps.len() / self.row() - 1) * self.dilation
    }

    /// The number of frames that the block looks back.
    pub(crate) fn past(&self) -> usize {
        self.reach() - self.look
    }

    /// Convolves each channel with its taps over time: makes `y.len() / row` frames from `x`.
    #[inline(always)]
    pub(crate) fn over_time(&self, x: &[f32], y: &mut [f32]) {
        let row = self.row();
        for (t, frame) in y.chunks_exact_mut(row).enumerate() {
            frame.copy_from_slice(&self.bias);
            for (j, taps) in self.taps.chunks_exact(row).enumerate() {
                let from = &x[(t + j * self.dilation) * row..][..row];
                for ((sum, tap), value) in frame.iter_mut().zip(taps).zip(from) {
                    *sum += tap * value;
                }
            }
        }
    }
}

#[inline(always)]
pub(crate) fn rectify(values: &mut [f32]) {
    for value in values {
        *value = value.max(0.0);
    }
}

/// Replaces scores by the logarithm of their softmax.
#[inline(always)]
pub(crate) fn log_softmax(scores: &mut [f32]) {
    let most = scores.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let sum: f32 = scores.iter().map(|score| (score - most).exp()).sum();
    let norm = most + sum.ln();
    for score in scores {
        *score -= norm;
    }
}

#[cfg(test)]
mod tests {
    use super::ln;

    #[test]
    fn the_logarithm_is_that_of_the_standard_library() {
        let mut x = 1e-11_f32;
        while x < 1e8 {
            let (ours, theirs) = (ln(x), x.ln());
            assert!(
                (ours - theirs).abs() <= 2e-7 * theirs.abs().max(1.0),
                "ln {x}: {ours}, not {theirs}"
            );
            x *= 1.0137;
        }
    }
}
