//! Reads the file of the weights: the line `gracerung ear 1`, a line of JSON, then numbers.

use crate::layers::{Bank, Block};
use crate::product::{Matrix, in_tiles};
use serde::Deserialize;
use std::fmt;

/// The number of classes of a frame: the nine notes from low G up, and no note.
pub const CLASSES: usize = 10;
/// The number of samples from one frame to the next.
pub const HOP: usize = 12;
/// The first line of the file.
const MAGIC: &[u8] = b"gracerung ear 1\n";
/// The largest number of bands, channels or taps that is accepted. It is ten times what is in use,
/// and keeps a file from asking for memory that it does not fill.
const LARGEST: usize = 4096;

/// The format of a number in the file, little-endian (IEEE 754).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Number {
    /// 16 bits. The network reckons with them in 32 bits all the same.
    F16,
    /// 32 bits.
    F32,
}

impl Number {
    /// The number of bytes of one number.
    const fn size(self) -> usize {
        match self {
            Self::F16 => 2,
            Self::F32 => 4,
        }
    }

    /// Reads all numbers of a payload.
    fn read(self, payload: &[u8]) -> Vec<f32> {
        match self {
            Self::F16 => {
                let numbers = payload.as_chunks().0.iter();
                numbers
                    .map(|bytes| single(u16::from_le_bytes(*bytes)))
                    .collect()
            }
            Self::F32 => {
                let numbers = payload.as_chunks().0.iter();
                numbers.map(|bytes| f32::from_le_bytes(*bytes)).collect()
            }
        }
    }
}

/// The number in single precision that one in half precision is, exactly (IEEE 754-2019, 3.6: a sign,
/// five bits of exponent with a bias of 15, ten of fraction).
pub(crate) fn single(half: u16) -> f32 {
    let sign = u32::from(half & 0x8000) << 16;
    let exponent = u32::from(half >> 10 & 0x1f);
    let fraction = u32::from(half & 0x3ff);
    match exponent {
        // zero, or a multiple of the smallest number that there is, 2⁻²⁴
        0 => f32::from_bits(sign | (fraction as f32 * 2.0_f32.powi(-24)).to_bits()),
        // infinite, or no number
        0x1f => f32::from_bits(sign | 0x7f80_0000 | fraction << 13),
        _ => f32::from_bits(sign | (exponent + 127 - 15) << 23 | fraction << 13),
    }
}

/// The header of the file.
#[derive(Debug, Clone, Deserialize)]
pub struct NetworkShape {
    /// The sample rate of the network's input, in hertz.
    pub rate: u32,
    /// The number of samples from one frame to the next.
    pub hop: usize,
    /// The frequency of low A in the network's input, in hertz.
    pub low_a_hz: f64,
    /// For each bank of filters, the number of bands and the number of taps of each filter.
    pub banks: Vec<(usize, usize)>,
    /// The number of channels between the layers.
    pub channels: usize,
    /// The number of taps of each channel's convolution over time.
    pub taps: usize,
    /// For each block, the number of frames between two taps and the number of frames it looks
    /// ahead.
    pub blocks: Vec<(usize, usize)>,
    /// The value added to each squared magnitude.
    pub power_floor: f32,
    /// The time constant of the level, in frames.
    pub level_frames: f32,
    /// The least value that the level is taken for.
    pub level_floor: f32,
    /// The format of the numbers.
    pub number: Number,
    /// The number of numbers after the header.
    pub count: usize,
    /// The check sum of the bytes after the header: FNV-1a, 64 bit (RFC 9923), in hexadecimal.
    pub fnv1a64: String,
}

/// The layers, read and checked. Streams share them.
#[derive(Debug, Clone)]
pub struct Weights {
    pub(crate) shape: NetworkShape,
    pub(crate) banks: Vec<Bank>,
    pub(crate) scale: Vec<f32>,
    pub(crate) offset: Vec<f32>,
    pub(crate) input: Matrix,
    pub(crate) blocks: Vec<Block>,
    pub(crate) output: Matrix,
}

/// The reason why a file holds no valid weights.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeightsError(String);

impl fmt::Display for WeightsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the weights of the ear cannot be used: {}", self.0)
    }
}

impl std::error::Error for WeightsError {}

impl Weights {
    /// Reads a file of weights.
    ///
    /// # Errors
    /// The file is of another kind, its shape is not supported, or it is damaged.
    pub fn read(file: &[u8]) -> Result<Self, WeightsError> {
        let wrong = |what: &str| WeightsError(what.to_owned());
        let rest = file
            .strip_prefix(MAGIC)
            .ok_or_else(|| wrong("they do not begin with the line `gracerung ear 1`"))?;
        let end = rest
            .iter()
            .position(|byte| *byte == b'\n')
            .ok_or_else(|| wrong("the header has no end"))?;
        let (header, payload) = (&rest[..end], &rest[end + 1..]);
        let shape: NetworkShape = serde_json::from_slice(header)
            .map_err(|error| WeightsError(format!("in their header, {error}")))?;
        shape.check()?;
        if payload.len() != shape.count * shape.number.size() {
            return Err(WeightsError(format!(
                "the header tells of {} numbers, and {} bytes follow it",
                shape.count,
                payload.len()
            )));
        }
        if format!("{:016x}", fnv1a64(payload)) != shape.fnv1a64 {
            return Err(wrong("they are damaged: the checksum is another"));
        }
        let numbers = shape.number.read(payload);
        if !numbers.iter().all(|number| number.is_finite()) {
            return Err(wrong("not all of them are numbers"));
        }
        Ok(Self::of(shape, &numbers))
    }

    /// The header of the file.
    pub fn shape(&self) -> &NetworkShape {
        &self.shape
    }

    /// Divides the numbers into layers, in the order of the file. `NetworkShape::check` has
    /// verified their count.
    fn of(shape: NetworkShape, numbers: &[f32]) -> Self {
        let mut rest = numbers;
        let mut take = |count: usize| {
            let (these, others) = rest.split_at(count);
            rest = others;
            these
        };
        let banks = shape
            .banks
            .iter()
            .map(|&(bands, taps)| Bank {
                filters: Matrix::new(take(2 * bands * taps), &vec![0.0; 2 * bands], taps),
                bands,
            })
            .collect();
        let bands = shape.bands();
        let channels = shape.channels;
        let scale = take(bands).to_vec();
        let offset = take(bands).to_vec();
        let input = matrix(&mut take, bands, channels);
        let mut blocks = Vec::with_capacity(shape.blocks.len());
        for &(dilation, look) in &shape.blocks {
            blocks.push(Block {
                dilation,
                look,
                taps: by_tap(take(channels * shape.taps), shape.taps),
                bias: in_tiles(take(channels)),
                expand: matrix(&mut take, channels, 2 * channels),
                project: matrix(&mut take, 2 * channels, channels),
            });
        }
        let output = matrix(&mut take, channels, CLASSES);
        Self {
            shape,
            banks,
            scale,
            offset,
            input,
            blocks,
            output,
        }
    }

    pub(crate) fn bands(&self) -> usize {
        self.scale.len()
    }

    /// The length of the longest filter window, in samples.
    pub(crate) fn window(&self) -> usize {
        let taps = self.banks.iter().map(|bank| bank.filters.inputs());
        taps.max().unwrap_or(0)
    }
}

/// The next matrix of the file.
fn matrix<'a>(take: &mut impl FnMut(usize) -> &'a [f32], inputs: usize, outputs: usize) -> Matrix {
    let weights = take(inputs * outputs);
    Matrix::new(weights, take(outputs), inputs)
}

/// Reorders taps from the file's order by channel to rows of channels by tap.
fn by_tap(by_channel: &[f32], taps: usize) -> Vec<f32> {
    let row = |tap: usize| -> Vec<f32> {
        let of_tap: Vec<f32> = by_channel.iter().skip(tap).step_by(taps).copied().collect();
        in_tiles(&of_tap)
    };
    (0..taps).flat_map(row).collect()
}

impl NetworkShape {
    fn bands(&self) -> usize {
        self.banks.iter().map(|(bands, _)| bands).sum()
    }

    /// The count of numbers that a file of this shape holds.
    fn numbers(&self) -> usize {
        let (bands, channels) = (self.bands(), self.channels);
        let filters: usize = self
            .banks
            .iter()
            .map(|(bands, taps)| 2 * bands * taps)
            .sum();
        let matrix = |inputs: usize, outputs: usize| (inputs + 1) * outputs;
        let block = matrix(self.taps, channels)
            + matrix(channels, 2 * channels)
            + matrix(2 * channels, channels);
        filters
            + 2 * bands
            + matrix(bands, channels)
            + self.blocks.len() * block
            + matrix(channels, CLASSES)
    }

    /// Checks the shape.
    ///
    /// # Errors
    /// The network does not support this shape.
    fn check(&self) -> Result<(), WeightsError> {
        let wrong = |what: String| Err(WeightsError(what));
        if self.hop != HOP {
            return wrong(format!("a hop of {} samples, not {HOP}", self.hop));
        }
        let fits = |value: usize| (1..=LARGEST).contains(&value);
        // windows are centred on the middle of their frame, so half a window and half a hop must be
        // whole numbers
        let banks = self.banks.iter();
        if self.banks.is_empty()
            || self.banks.len() > 16
            || !banks
                .clone()
                .all(|&(bands, taps)| fits(bands) && fits(taps) && taps % 2 == 0)
            || !banks.clone().all(|&(_, taps)| taps >= HOP)
        {
            return wrong("its banks of filters have no usable lengths".to_owned());
        }
        if !fits(self.channels) || !(1..=64).contains(&self.taps) {
            return wrong("its channels or taps have no usable numbers".to_owned());
        }
        let reach = |dilation: usize| (self.taps - 1).saturating_mul(dilation);
        if self.blocks.is_empty()
            || self.blocks.len() > 64
            || !self
                .blocks
                .iter()
                .all(|&(dilation, look)| dilation <= LARGEST && look <= reach(dilation))
        {
            return wrong("a block looks further ahead than it reaches".to_owned());
        }
        if !(self.power_floor >= f32::MIN_POSITIVE && self.level_frames >= 1.0) {
            return wrong("its floor or its level has no usable value".to_owned());
        }
        if self.count != self.numbers() {
            return wrong(format!(
                "{} numbers, where its shape has {}",
                self.count,
                self.numbers()
            ));
        }
        Ok(())
    }
}

/// FNV-1a, 64 bit (RFC 9923).
pub(crate) fn fnv1a64(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    })
}
