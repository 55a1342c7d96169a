//! Spectra of frames under a Hann window.

use microfft::Complex32;
use microfft::real::rfft_1024;

/// Samples in a frame: 128 ms.
pub(super) const FRAME: usize = 1024;

/// A Hann window, periodic.
pub(super) fn hann<const SAMPLES: usize>() -> [f32; SAMPLES] {
    let turn = std::f32::consts::TAU / SAMPLES as f32;
    std::array::from_fn(|at| 0.5 - 0.5 * (turn * at as f32).cos())
}

/// Makes spectra, in a place of its own.
pub(super) struct Spectrum {
    window: [f32; FRAME],
    place: [f32; FRAME],
}

impl Spectrum {
    pub(super) fn new() -> Self {
        Self {
            window: hann(),
            place: [0.0; FRAME],
        }
    }

    /// The bins of a frame from 0 to half the rate, which has none: it comes packed beside 0 and is
    /// dropped. What a frame lacks is silence.
    pub(super) fn of(&mut self, frame: &[f32]) -> &[Complex32] {
        self.place.fill(0.0);
        let weighed = frame.iter().zip(&self.window);
        for (place, (sample, weight)) in self.place.iter_mut().zip(weighed) {
            *place = sample * weight;
        }
        let bins = rfft_1024(&mut self.place);
        bins[0].im = 0.0;
        bins
    }
}
