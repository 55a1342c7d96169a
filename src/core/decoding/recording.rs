//! Decodes a recording in any of five formats into a stream of mono samples.
//!
//! The only file of this room that uses rodio. A format is recognised by its content, not its name.

use super::container::{MOST_CHANNELS, Seen, examine};
use crate::units::SampleRate;
use rodio::{Decoder, Source};
use std::cell::Cell;
use std::io::{Read, Seek};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Why a recording cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RecordingError {
    /// No decoder recognises the bytes.
    Unknown(String),
    /// The structure of the file is wrong.
    Broken(String),
    /// The sample rate in hertz is too low for a chanter to be heard, or higher than recorders use.
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

/// True while this thread runs a decoder. A panic there is caught and reported as an error, so a
/// panic hook need not print it.
pub fn is_decoding() -> bool {
    DECODING.get()
}

/// Runs a part of a decoder and catches its panic; none when it panicked.
fn decode<T>(work: impl FnOnce() -> T) -> Option<T> {
    DECODING.set(true);
    let done = catch_unwind(AssertUnwindSafe(work));
    DECODING.set(false);
    done.ok()
}

/// A recording that is being read.
pub struct Recording<R: Read + Seek> {
    decoder: Decoder<Seen<R>>,
    /// True when the decoder panicked or the audio format changed midway; then no more is read.
    over: bool,
    channels: usize,
    rate: SampleRate,
}

impl<R: Read + Seek + Send + Sync + 'static> Recording<R> {
    /// Opens a recording of `length` bytes.
    ///
    /// # Errors
    /// The bytes are not a known format, their structure is wrong, or the sample rate is out of
    /// range.
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

    /// The sample rate.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// The next `count` samples or fewer, mixed down to one channel; empty at the end.
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
