//! The inner loop of every layer: a matrix times frames, several frames at a time.
//!
//! Outputs are padded to whole tiles. The weights of a tile are stored together, input by input, so
//! that its outputs are neighbours in vectors. Each output is summed in the order of the inputs,
//! whatever the width of a vector and however many frames are computed at a time.

#![expect(
    clippy::inline_always,
    reason = "pulp compiles for the machine's vectors only what is inlined into its dispatch"
)]

use pulp::{Simd, WithSimd};

/// The number of outputs in a tile: two vectors of the widest kind in use.
pub(crate) const TILE: usize = 16;

/// The number of frames that the inner loop computes at a time.
const TOGETHER: usize = 6;

/// The number of outputs, rounded up to whole tiles.
pub(crate) const fn padded(outputs: usize) -> usize {
    outputs.div_ceil(TILE) * TILE
}

/// A matrix and the bias that is added to its result.
#[derive(Debug, Clone)]
pub(crate) struct Matrix {
    inputs: usize,
    /// The weights, ordered by tile, then by input, then by output.
    weights: Vec<f32>,
    /// The bias of each padded output.
    bias: Vec<f32>,
}

impl Matrix {
    /// Takes the weights ordered by output, as in the file.
    ///
    /// # Panics
    /// Panics where `by_output` is not `inputs` times as long as `bias`. The reader of the file
    /// makes both of the right length.
    pub(crate) fn new(by_output: &[f32], bias: &[f32], inputs: usize) -> Self {
        assert_eq!(
            by_output.len(),
            inputs * bias.len(),
            "a matrix of its shape"
        );
        let mut weights = vec![0.0; inputs * padded(bias.len())];
        for (output, of_output) in by_output.chunks_exact(inputs).enumerate() {
            let tile = output / TILE * TILE * inputs;
            for (input, weight) in of_output.iter().enumerate() {
                weights[tile + input * TILE + output % TILE] = *weight;
            }
        }
        Self {
            inputs,
            weights,
            bias: in_tiles(bias),
        }
    }

    pub(crate) fn inputs(&self) -> usize {
        self.inputs
    }

    /// The length of a frame of results, padded to whole tiles.
    pub(crate) fn row(&self) -> usize {
        self.bias.len()
    }

    /// The bias and the weights of each tile.
    #[inline(always)]
    fn tiles(&self) -> impl Iterator<Item = (&[f32; TILE], &[f32])> {
        let biases = self.bias.as_chunks::<TILE>().0.iter();
        biases.zip(self.weights.chunks_exact(self.inputs * TILE))
    }
}

/// Values, padded with zeros to whole tiles.
pub(crate) fn in_tiles(values: &[f32]) -> Vec<f32> {
    let mut padded_values = values.to_vec();
    padded_values.resize(padded(values.len()), 0.0);
    padded_values
}

/// The product `y = matrix · x` for `y.len() / matrix.row()` frames, whose inputs begin `stride`
/// values apart.
pub(crate) struct Product<'a> {
    pub(crate) matrix: &'a Matrix,
    pub(crate) x: &'a [f32],
    pub(crate) stride: usize,
    pub(crate) y: &'a mut [f32],
}

impl WithSimd for Product<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self {
            matrix,
            x,
            stride,
            y,
        } = self;
        let row = matrix.row();
        let frames = y.len() / row;
        if frames < TOGETHER {
            for (at, y) in y.chunks_exact_mut(row).enumerate() {
                one(simd, matrix, &x[at * stride..][..matrix.inputs], y);
            }
            return;
        }
        let mut done = 0;
        while done < frames {
            // the last six frames overlap the ones before where needed; what is computed twice has
            // the same result
            let from = done.min(frames - TOGETHER);
            six(
                simd,
                matrix,
                &x[from * stride..],
                stride,
                &mut y[from * row..],
            );
            done = from + TOGETHER;
        }
    }
}

/// Computes six frames at once. Each weight is read once for all six, and their twelve sums keep
/// both vector units of a processor busy while each sum waits for its own last addition.
///
/// The frames are read through iterators and not by index, because bounds checks in the loop would
/// keep the sums out of the registers.
#[inline(always)]
fn six<S: Simd>(simd: S, matrix: &Matrix, x: &[f32], stride: usize, y: &mut [f32]) {
    let row = matrix.row();
    let frame = |f: usize| x[f * stride..][..matrix.inputs].iter();
    let two = |f: usize| frame(f).zip(frame(f + 1));
    for (tile, (bias, weights)) in matrix.tiles().enumerate() {
        for from in (0..TILE).step_by(2 * S::F32_LANES) {
            let [mut s, mut t, mut u, mut v, mut w, mut z] = [pair::<S>(bias, from); TOGETHER];
            let frames = two(0).zip(two(2)).zip(two(4));
            let inputs = weights.as_chunks::<TILE>().0.iter().zip(frames);
            for (weights, (((a, b), (c, d)), (e, f))) in inputs {
                let weights = pair::<S>(weights, from);
                s = more(simd, weights, *a, s);
                t = more(simd, weights, *b, t);
                u = more(simd, weights, *c, u);
                v = more(simd, weights, *d, v);
                w = more(simd, weights, *e, w);
                z = more(simd, weights, *f, z);
            }
            for (f, sums) in [s, t, u, v, w, z].iter().enumerate() {
                give::<S>(sums, &mut y[f * row + tile * TILE + from..]);
            }
        }
    }
}

/// Computes one frame, summed in the same order as in [`six`].
#[inline(always)]
fn one<S: Simd>(simd: S, matrix: &Matrix, x: &[f32], y: &mut [f32]) {
    for (tile, (bias, weights)) in matrix.tiles().enumerate() {
        for from in (0..TILE).step_by(2 * S::F32_LANES) {
            let mut sums = pair::<S>(bias, from);
            for (weights, x) in weights.as_chunks::<TILE>().0.iter().zip(x) {
                sums = more(simd, pair::<S>(weights, from), *x, sums);
            }
            give::<S>(&sums, &mut y[tile * TILE + from..]);
        }
    }
}

/// Adds one input, times its weights, to two vectors of sums.
#[inline(always)]
fn more<S: Simd>(simd: S, weights: [S::f32s; 2], x: f32, sums: [S::f32s; 2]) -> [S::f32s; 2] {
    let x = simd.splat_f32s(x);
    [
        simd.mul_add_e_f32s(weights[0], x, sums[0]),
        simd.mul_add_e_f32s(weights[1], x, sums[1]),
    ]
}

/// Two vectors of a tile, from a place on.
#[inline(always)]
fn pair<S: Simd>(tile: &[f32; TILE], from: usize) -> [S::f32s; 2] {
    let (vectors, _) = S::as_simd_f32s(&tile[from..from + 2 * S::F32_LANES]);
    [vectors[0], vectors[1]]
}

#[inline(always)]
fn give<S: Simd>(sums: &[S::f32s; 2], y: &mut [f32]) {
    let (out, _) = S::as_mut_simd_f32s(&mut y[..2 * S::F32_LANES]);
    out.copy_from_slice(sums);
}
