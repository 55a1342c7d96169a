//! A recording in any of five formats -> mono samples, as a stream.
//!
//! The only file of the listening room that knows rodio; formats are told by their content.

use crate::units::SampleRate;
use rodio::{Decoder, Source};
use std::io::{Read, Seek};

/// What keeps a recording from being read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RecordingError {
    /// No decoder knows the bytes.
    Unknown(String),
    /// A sample rate under which no chanter can be heard, or over which no recorder works.
    Rate(u32),
}

impl std::fmt::Display for RecordingError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Unknown(why) => write!(
                f,
                "no recording that can be read ({why}): expected wav, flac, mp3, ogg or m4a"
            ),
            Self::Rate(rate) => write!(
                f,
                "the recording has {rate} samples a second: expected 6000 to 384000"
            ),
        }
    }
}
impl std::error::Error for RecordingError {}

/// A recording being read.
pub struct Recording<R: Read + Seek> {
    decoder: Decoder<R>,
    channels: usize,
    rate: SampleRate,
}

impl<R: Read + Seek + Send + Sync + 'static> Recording<R> {
    /// Opens a recording of a known length in bytes.
    ///
    /// # Errors
    /// Bytes that no decoder knows; a rate out of range.
    pub fn open(bytes: R, length: u64) -> Result<Self, RecordingError> {
        let decoder = Decoder::builder()
            .with_data(bytes)
            .with_byte_len(length)
            .with_seekable(true)
            .build()
            .map_err(|error| RecordingError::Unknown(error.to_string()))?;
        let rate = decoder.sample_rate().get();
        if !(6000..=384_000).contains(&rate) {
            return Err(RecordingError::Rate(rate));
        }
        Ok(Self {
            channels: usize::from(decoder.channels().get()),
            rate: SampleRate(rate),
            decoder,
        })
    }

    /// Samples a second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// The next samples, mixed to one channel; empty at the end.
    pub fn read(&mut self, count: usize) -> Vec<f32> {
        let mut mono = Vec::with_capacity(count);
        'frames: while mono.len() < count {
            let mut sum = 0.0;
            for _ in 0..self.channels {
                let Some(sample) = self.decoder.next() else {
                    break 'frames;
                };
                sum += sample;
            }
            mono.push(sum / self.channels as f32);
        }
        mono
    }
}
