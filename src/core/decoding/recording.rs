//! A recording in any of five formats -> mono samples, as a stream.
//!
//! The only file of this room that knows rodio; formats are told by their content.

use super::container::{MOST_CHANNELS, Seen, examine};
use crate::units::SampleRate;
use rodio::{Decoder, Source};
use std::cell::Cell;
use std::io::{Read, Seek};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// What keeps a recording from being read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RecordingError {
    /// No decoder knows the bytes.
    Unknown(String),
    /// Its file does not hold what its numbers say.
    Broken(String),
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
            Self::Broken(why) => write!(
                f,
                "no recording that can be read: {why}; expected a whole wav, flac, mp3, ogg or m4a"
            ),
            Self::Rate(rate) => write!(
                f,
                "the recording has {rate} samples a second: expected 6000 to 384000"
            ),
        }
    }
}
impl std::error::Error for RecordingError {}

thread_local! {
    static DECODING: Cell<bool> = const { Cell::new(false) };
}

/// True where this thread is inside a decoder. A panic there is caught and told in a sentence, so
/// that nobody else need print it.
pub fn is_decoding() -> bool {
    DECODING.get()
}

/// Runs a part of a decoder, which may stumble over a file that nobody thought of.
fn decode<T>(work: impl FnOnce() -> T) -> Option<T> {
    DECODING.set(true);
    let done = catch_unwind(AssertUnwindSafe(work));
    DECODING.set(false);
    done.ok()
}

/// A recording being read.
pub struct Recording<R: Read + Seek> {
    decoder: Decoder<Seen<R>>,
    /// The decoder stumbled, or the sound became another in the middle: nothing more is read.
    over: bool,
    channels: usize,
    rate: SampleRate,
}

impl<R: Read + Seek + Send + Sync + 'static> Recording<R> {
    /// Opens a recording of a known length in bytes.
    ///
    /// # Errors
    /// Bytes that no decoder knows, or that do not hold what they say; a rate out of range.
    pub fn open(mut bytes: R, length: u64) -> Result<Self, RecordingError> {
        let fit = examine(&mut bytes, length).map_err(RecordingError::Broken)?;
        let unread = |error: std::io::Error| RecordingError::Unknown(error.to_string());
        let seen = Seen::new(bytes, fit).map_err(unread)?;
        let length = seen.length();
        let opened = decode(|| {
            let decoder = Decoder::builder()
                .with_data(seen)
                .with_byte_len(length)
                .with_seekable(true)
                .build()?;
            let told = (decoder.sample_rate().get(), decoder.channels().get());
            Ok::<_, rodio::decoder::DecoderError>((decoder, told))
        });
        let stumbled = || RecordingError::Broken("its decoder stumbled over it".to_owned());
        let (decoder, (rate, channels)) = opened
            .ok_or_else(stumbled)?
            .map_err(|error| RecordingError::Unknown(error.to_string()))?;
        if !(6000..=384_000).contains(&rate) {
            return Err(RecordingError::Rate(rate));
        }
        let channels = usize::from(channels);
        if channels > MOST_CHANNELS {
            let why = format!("it has {channels} channels");
            return Err(RecordingError::Broken(why));
        }
        Ok(Self {
            channels,
            rate: SampleRate(rate),
            decoder,
            over: false,
        })
    }

    /// Samples a second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// The next samples, mixed to one channel; empty at the end.
    pub fn read(&mut self, count: usize) -> Vec<f32> {
        let mut mono = Vec::with_capacity(count.min(65_536));
        if self.over {
            return mono;
        }
        let read = decode(|| {
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
            (
                self.decoder.sample_rate().get(),
                usize::from(self.decoder.channels().get()),
            )
        });
        self.over = read != Some((self.rate.0, self.channels));
        mono
    }
}
