//! Samples at any rate -> blocks of 1 ms at 8 kHz with a steady level.
//!
//! It knows nothing of notes. Samples that are no numbers become silence and are counted.

use super::cleaning::Cleaning;
use super::hearing::RateError;
use crate::units::SampleRate;
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{
    Async, FixedAsync, Resampler, SincInterpolationParameters, SincInterpolationType,
    WindowFunction,
};
use std::collections::VecDeque;

/// Rate of the blocks, hertz: harmonics up to 3 kHz are used.
pub(super) const RATE: u32 = 8000;
/// Samples in a block of 1 ms.
pub(super) const BLOCK: usize = 8;
/// Samples that are resampled together: a player waits for them.
const PIECE: usize = 256;
/// Blocks on both sides that the usual level is taken from.
const AROUND: usize = 40;
/// Power under the loudest of late that counts as nothing: −30 dB.
const FLOOR: f32 = 1e-3;
/// Power that counts as nothing whatever came before: −80 dB of full scale.
const QUIET: f32 = 1e-8;

/// A block made level.
#[derive(Debug, Clone, Copy)]
pub(super) struct Block {
    /// Samples; a steady chanter has power 1.
    pub samples: [f32; BLOCK],
    /// Square sum of the samples.
    pub power: f32,
    /// Mean power around the block before it was made level.
    pub level: f32,
}

/// Brings samples to 8 kHz and to one level.
pub(super) struct Intake {
    resampler: Option<Async<f32>>,
    pending: Vec<f32>,
    resampled: Vec<f32>,
    skip: usize,
    delay: usize,
    /// Resampled samples not yet in a block.
    rest: Vec<f32>,
    band: Band,
    /// Takes drones and clicks off, where the sound may wait for it.
    cleaning: Option<Cleaning>,
    /// Samples at the start that clicks and drones are learned from and that nobody waits for.
    early: usize,
    level: Level,
    out: VecDeque<Block>,
    /// Input samples that were no numbers.
    pub broken: u64,
    taken: u64,
    rate: u32,
    produced: u64,
}

/// A windowed sinc of 5.3 ms at the lower of the two rates' scale: flat to 3 kHz, nothing from the
/// mirror at 8 kHz comes below. Its table holds every fraction that the usual rates ask for, so the
/// nearest entry is the exact one.
fn resampler_from(rate: SampleRate) -> Result<Async<f32>, String> {
    let length = (rate.0 as usize * 256 / 48_000).max(256);
    let filter = SincInterpolationParameters {
        oversampling_factor: 160,
        interpolation: SincInterpolationType::Nearest,
        ..SincInterpolationParameters::new(length, WindowFunction::BlackmanHarris2)
    };
    let ratio = f64::from(RATE) / f64::from(rate.0);
    Async::new_sinc(ratio, 1.0, &filter, PIECE, 1, FixedAsync::Input)
        .map_err(|error| error.to_string())
}

impl Intake {
    /// An intake for a rate.
    ///
    /// # Errors
    /// A rate that cannot be resampled, with the resampler's words.
    pub(super) fn new(rate: SampleRate, lowest: f64, highest: f64) -> Result<Self, RateError> {
        let resampler = if rate.0 == RATE {
            None
        } else {
            Some(resampler_from(rate).map_err(|why| RateError { rate: rate.0, why })?)
        };
        let skip = resampler.as_ref().map_or(0, Resampler::output_delay) + Band::DELAY;
        Ok(Self {
            resampler,
            pending: Vec::new(),
            resampled: Vec::new(),
            skip,
            delay: skip,
            rest: Vec::new(),
            band: Band::new(lowest, highest),
            cleaning: None,
            early: 0,
            level: Level::default(),
            out: VecDeque::new(),
            broken: 0,
            taken: 0,
            rate: rate.0,
            produced: 0,
        })
    }

    /// The same, cleaned; the sound comes out 20 s later.
    pub(super) fn cleaned(mut self, cleaning: Cleaning) -> Self {
        self.cleaning = Some(cleaning);
        self
    }

    /// The same, where so many samples come first that the cleaning learns from and that do not come
    /// out.
    pub(super) fn after(mut self, samples: usize) -> Self {
        self.early = (samples as u64 * u64::from(RATE) / u64::from(self.rate)) as usize;
        self
    }

    /// Takes samples, mono.
    pub(super) fn push(&mut self, samples: &[f32]) {
        self.taken += samples.len() as u64;
        self.feed(samples);
    }

    fn feed(&mut self, samples: &[f32]) {
        for sample in samples {
            if sample.is_finite() {
                self.pending.push(sample.clamp(-8.0, 8.0));
            } else {
                self.broken += 1;
                self.pending.push(0.0);
            }
        }
        let Some(resampler) = self.resampler.as_mut() else {
            let all = std::mem::take(&mut self.pending);
            self.cut(&all);
            return;
        };
        let mut at = 0;
        let mut resampled = std::mem::take(&mut self.resampled);
        resampled.clear();
        loop {
            let need = resampler.input_frames_next();
            if self.pending.len() - at < need {
                break;
            }
            let give = resampler.output_frames_next();
            let before = resampled.len();
            resampled.resize(before + give, 0.0);
            let done = InterleavedSlice::new(&self.pending[at..at + need], 1, need)
                .ok()
                .zip(InterleavedSlice::new_mut(&mut resampled[before..], 1, give).ok())
                .and_then(|(input, mut output)| {
                    resampler
                        .process_into_buffer(&input, &mut output, None)
                        .ok()
                });
            // the sizes are the ones it asked for, so it cannot refuse; silence if it does
            if done.is_none() {
                resampled[before..].fill(0.0);
            }
            at += need;
        }
        self.pending.drain(..at);
        self.cut(&resampled);
        self.resampled = resampled;
    }

    fn cut(&mut self, samples: &[f32]) {
        self.produced += samples.len() as u64;
        let before = self.rest.len();
        for sample in samples {
            let passed = self.band.pass(*sample);
            if self.skip > 0 {
                self.skip -= 1;
            } else {
                self.rest.push(passed);
            }
        }
        if let Some(cleaning) = &mut self.cleaning {
            cleaning.push(&self.rest[before..]);
            self.rest.truncate(before);
            self.take_clean();
        }
        self.part();
    }

    /// The same beside a piece whose beat lasts so many seconds.
    pub(super) fn with_beat(mut self, beat_s: f64) -> Self {
        self.cleaning = self.cleaning.map(|cleaning| cleaning.with_beat(beat_s));
        self
    }

    fn take_clean(&mut self) {
        let Some(cleaning) = &mut self.cleaning else {
            return;
        };
        let mut ready = cleaning.take();
        // what is left of the drones is nothing, even before anything else has sounded
        if let Some(usual) = cleaning.beside_drones().filter(|_| !ready.is_empty()) {
            self.level.loudest = self.level.loudest.max(usual);
        }
        self.rest.append(&mut ready);
    }

    /// Whether drones were taken off what is heard now.
    pub(super) fn took_drones(&self) -> bool {
        let cleaning = self.cleaning.as_ref();
        cleaning.is_some_and(|cleaning| cleaning.beside_drones().is_some())
    }

    /// Parts what is ready into blocks.
    fn part(&mut self) {
        let early = self.early.min(self.rest.len());
        self.rest.drain(..early);
        self.early -= early;
        let whole = self.rest.len() / BLOCK;
        for block in 0..whole {
            let mut raw = [0.0; BLOCK];
            raw.copy_from_slice(&self.rest[block * BLOCK..(block + 1) * BLOCK]);
            if let Some(ready) = self.level.push(raw) {
                self.out.push_back(ready);
            }
        }
        self.rest.drain(..whole * BLOCK);
    }

    /// The end of the sound: what is still inside comes out.
    pub(super) fn finish(&mut self) {
        let whole = self.taken * u64::from(RATE) / u64::from(self.rate);
        // zeros until everything taken has come through the resampler and the filter
        for _ in 0..64 {
            if self.produced >= whole + (self.delay + BLOCK) as u64 {
                break;
            }
            self.feed(&[0.0; 4096]);
        }
        if let Some(cleaning) = &mut self.cleaning {
            cleaning.finish();
            self.take_clean();
            self.part();
        }
        while let Some(block) = self.level.flush() {
            self.out.push_back(block);
        }
    }

    /// The next block.
    pub(super) fn next(&mut self) -> Option<Block> {
        self.out.pop_front()
    }
}

/// Lets through what the note models explain: from under low G to their highest harmonic.
///
/// A windowed-sinc band-pass of linear phase (Oppenheim & Schafer, Discrete-Time Signal Processing,
/// the window method), Hamming window.
#[derive(Debug)]
struct Band {
    taps: Vec<f32>,
    /// Twice the last samples, so that one slice is always the newest in order.
    last: Vec<f32>,
    at: usize,
}

impl Band {
    const TAPS: usize = 129;
    const DELAY: usize = Self::TAPS / 2;

    fn new(lowest: f64, highest: f64) -> Self {
        let sinc = |cut: f64, at: f64| {
            let turns = 2.0 * cut / f64::from(RATE);
            if at == 0.0 {
                turns
            } else {
                (std::f64::consts::PI * turns * at).sin() / (std::f64::consts::PI * at)
            }
        };
        let taps = (0..Self::TAPS)
            .map(|tap| {
                let at = tap as f64 - Self::DELAY as f64;
                let window = 0.54 + 0.46 * (std::f64::consts::PI * at / Self::DELAY as f64).cos();
                ((sinc(highest, at) - sinc(lowest, at)) * window) as f32
            })
            .collect();
        Self {
            taps,
            last: vec![0.0; 2 * Self::TAPS],
            at: 0,
        }
    }

    fn pass(&mut self, sample: f32) -> f32 {
        self.last[self.at] = sample;
        self.last[self.at + Self::TAPS] = sample;
        self.at = (self.at + 1) % Self::TAPS;
        let newest = &self.last[self.at..self.at + Self::TAPS];
        let mut sums = [0.0f32; 8];
        for (samples, taps) in newest.chunks_exact(8).zip(self.taps.chunks_exact(8)) {
            for ((sum, sample), tap) in sums.iter_mut().zip(samples).zip(taps) {
                *sum += sample * tap;
            }
        }
        let rest = newest[Self::TAPS - 1] * self.taps[Self::TAPS - 1];
        sums.iter().sum::<f32>() + rest
    }
}

/// Follows the level with a look ahead, so that a click is turned down and a note is not bent.
#[derive(Debug, Default)]
struct Level {
    raw: VecDeque<[f32; BLOCK]>,
    powers: VecDeque<f32>,
    /// Means over 7 blocks: AROUND before the block in hand, it, and AROUND after it.
    smooth: VecDeque<f32>,
    sorted: Vec<f32>,
    loudest: f32,
    last: Option<f32>,
}

impl Level {
    fn push(&mut self, raw: [f32; BLOCK]) -> Option<Block> {
        self.raw.push_back(raw);
        self.mean(raw.iter().map(|s| s * s).sum::<f32>() / BLOCK as f32);
        (self.raw.len() > AROUND + 3).then(|| self.level())
    }

    fn mean(&mut self, power: f32) {
        if self.powers.is_empty() {
            self.powers.resize(7, 0.0);
            self.smooth.resize(AROUND + 1 - 3, 0.0);
        }
        self.powers.pop_front();
        self.powers.push_back(power);
        self.smooth.push_back(self.powers.iter().sum::<f32>() / 7.0);
        if self.smooth.len() > 2 * AROUND + 1 {
            self.smooth.pop_front();
        }
    }

    fn flush(&mut self) -> Option<Block> {
        (!self.raw.is_empty()).then(|| {
            self.mean(0.0);
            self.level()
        })
    }

    fn median(&mut self, from: usize, to: usize) -> f32 {
        self.sorted.clear();
        self.sorted.extend(self.smooth.range(from..to));
        let middle = self.sorted.len() / 2;
        *self.sorted.select_nth_unstable_by(middle, f32::total_cmp).1
    }

    fn level(&mut self) -> Block {
        let raw = self.raw.pop_front().unwrap_or_default();
        let here = self.smooth[AROUND.min(self.smooth.len() - 1)];
        let before = self.median(0, AROUND + 1);
        let after = self.median(AROUND, self.smooth.len());
        let usual = before.max(after);
        // forgets the loudest by half in 3 s
        self.loudest = (self.loudest * 0.999_77).max(usual);
        let floor = (self.loudest * FLOOR).max(QUIET);
        // louder than both sides: a click, whose weight falls as its power rises
        let power = usual.max(here) * (here / (2.0 * usual).max(floor)).max(1.0);
        let target = power.max(floor).sqrt().recip();
        let from = self.last.unwrap_or(target);
        self.last = Some(target);
        let mut samples = raw;
        for (i, sample) in samples.iter_mut().enumerate() {
            *sample *= from + (target - from) * (i + 1) as f32 / BLOCK as f32;
        }
        Block {
            samples,
            power: samples.iter().map(|s| s * s).sum(),
            level: here,
        }
    }
}
