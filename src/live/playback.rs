//! Plays samples that exist already: a recording, or the sweeps of a calibration.

use super::device::{Asked, Chosen, DeviceError, choose, for_sample_type};
use crate::units::{Gain, SampleRate, Seconds};
use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{ErrorKind, FromSample, OutputCallbackInfo, SizedSample};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Stereo samples: the left and the right value of each frame.
pub type Stereo = Vec<[f32; 2]>;

/// A time that is added to all others, so that none is negative.
const AHEAD: Duration = Duration::from_secs(1);
/// How long the change to a new level takes, in seconds.
const RAMP_S: f32 = 0.02;

/// The values shared with the callback. Each is a single number that is complete in itself, so
/// `Relaxed` ordering is enough.
#[derive(Debug, Default)]
struct Vitals {
    /// When frame 0 is heard, in nanoseconds since the stream was opened, plus [`AHEAD`]; 0 before
    /// the first block.
    began: AtomicU64,
    /// The latency from callback to ear, in microseconds.
    latency: AtomicU32,
    /// The number of frames handed to the device.
    played: AtomicU64,
    /// The level that is asked for, as the bits of an `f32`.
    level: AtomicU32,
    /// When the last block was asked for, in nanoseconds since the stream was opened.
    last: AtomicU64,
}

/// A device that asks for no block for this long is taken for dead. Its errors do not tell, because
/// devices report passing problems as errors too.
const DEAD: Duration = Duration::from_secs(2);
/// A stream that has not played yet is taken for dead only after this time, because some sound
/// servers take long to start.
const UNBORN: Duration = Duration::from_secs(5);

/// An open stream that plays samples. At the end it is silent, or begins again.
pub struct Playback {
    // kept because the stream stops when it is dropped
    _stream: cpal::Stream,
    vitals: Arc<Vitals>,
    opened: Instant,
    length: u64,
    /// The device's name.
    pub name: String,
    /// The sample rate in frames a second.
    pub rate: SampleRate,
}

/// The state that the callback owns.
struct Guest {
    frames: Arc<Stereo>,
    again: bool,
    vitals: Arc<Vitals>,
    opened: Instant,
    channels: usize,
    rate: u32,
    level: f32,
    next: u64,
}

impl Guest {
    /// Fills a block of the device. Thread: audio. Allocates: no. Blocks: no.
    fn play<T: SizedSample + FromSample<f32>>(&mut self, out: &mut [T], info: &OutputCallbackInfo) {
        let stamp = info.timestamp();
        let delay = stamp.playback.saturating_duration_since(stamp.callback);
        let now = self.opened.elapsed();
        let last = u64::try_from(now.as_nanos()).unwrap_or(u64::MAX).max(1);
        self.vitals.last.store(last, Ordering::Relaxed);
        let heard = now + AHEAD + delay;
        let before = Duration::from_secs_f64(self.next as f64 / f64::from(self.rate));
        let began = u64::try_from(heard.saturating_sub(before).as_nanos()).unwrap_or(u64::MAX);
        self.vitals.began.store(began.max(1), Ordering::Relaxed);
        let micros = u32::try_from(delay.as_micros()).unwrap_or(u32::MAX);
        self.vitals.latency.store(micros, Ordering::Relaxed);
        let wanted = f32::from_bits(self.vitals.level.load(Ordering::Relaxed));
        let step = 1.0 / (RAMP_S * self.rate as f32);
        let length = self.frames.len() as u64;
        for frame in out.chunks_mut(self.channels) {
            self.level += (wanted - self.level).clamp(-step, step);
            let place = if self.again && length > 0 {
                self.next % length
            } else {
                self.next
            };
            let [left, right] = self
                .frames
                .get(place as usize)
                .map_or([0.0; 2], |pair| pair.map(|sample| sample * self.level));
            match frame {
                [both] => *both = T::from_sample(0.5 * (left + right)),
                [first, second, rest @ ..] => {
                    *first = T::from_sample(left);
                    *second = T::from_sample(right);
                    rest.fill(T::from_sample(0.0));
                }
                [] => {}
            }
            self.next += 1;
        }
        self.vitals.played.store(self.next, Ordering::Relaxed);
    }
}

impl Playback {
    /// Opens a device and plays the samples that `make` returns for its rate, at `level`. With
    /// `again` they are repeated without end. Thread: main. Allocates: yes. Blocks: on the device.
    ///
    /// # Errors
    /// There is no device, none with this name, or it cannot be opened; also any error of `make`.
    pub fn open<E: From<DeviceError>>(
        asked: &Asked,
        level: Gain,
        again: bool,
        make: impl FnOnce(SampleRate) -> Result<Stereo, E>,
    ) -> Result<Self, E> {
        let chosen = choose(asked)?;
        let rate = SampleRate(chosen.config.sample_rate.max(1));
        let frames = Arc::new(make(rate)?);
        let vitals = Arc::new(Vitals::default());
        vitals.level.store(level.0.to_bits(), Ordering::Relaxed);
        let opened = Instant::now();
        let guest = Guest {
            frames: Arc::clone(&frames),
            again,
            vitals: Arc::clone(&vitals),
            opened,
            channels: usize::from(chosen.config.channels.max(1)),
            rate: rate.0,
            level: level.0,
            next: 0,
        };
        let stream = for_sample_type!(chosen.format, build(&chosen, guest))?;
        Ok(Self {
            _stream: stream,
            vitals,
            opened,
            length: frames.len() as u64,
            name: chosen.name,
            rate,
        })
    }

    /// When a frame is heard, as the device reports it; none before the first block. Thread: main.
    /// Allocates: no. Blocks: no.
    pub fn heard_at(&self, frame: u64) -> Option<Instant> {
        let began = match self.vitals.began.load(Ordering::Relaxed) {
            0 => return None,
            nanos => Duration::from_nanos(nanos),
        };
        let later = Duration::from_secs_f64(frame as f64 / f64::from(self.rate.0));
        (self.opened + began + later).checked_sub(AHEAD)
    }

    /// The latency from callback to ear, as the device reports it. Thread: main. Allocates: no.
    /// Blocks: no.
    pub fn latency(&self) -> Duration {
        Duration::from_micros(u64::from(self.vitals.latency.load(Ordering::Relaxed)))
    }

    /// The number of frames handed to the device so far. Thread: main. Allocates: no. Blocks: no.
    pub fn played(&self) -> u64 {
        self.vitals.played.load(Ordering::Relaxed)
    }

    /// The length of the samples, played once. Thread: main. Allocates: no. Blocks: no.
    pub fn seconds(&self) -> Seconds {
        Seconds(self.length as f64 / f64::from(self.rate.0))
    }

    /// True when the last frame was heard or the device has failed. Thread: main. Allocates: no.
    /// Blocks: no.
    pub fn is_over(&self, now: Instant) -> bool {
        self.heard_at(self.length).is_some_and(|end| now > end) || self.has_failed()
    }

    /// True when the device no longer asks for blocks. Thread: main. Allocates: no. Blocks: no.
    pub fn has_failed(&self) -> bool {
        let now = self.opened.elapsed();
        match self.vitals.last.load(Ordering::Relaxed) {
            0 => now > UNBORN,
            nanos => now.saturating_sub(Duration::from_nanos(nanos)) > DEAD,
        }
    }

    /// Changes the level within 20 ms. Thread: main. Allocates: no. Blocks: no.
    pub fn set_level(&self, level: Gain) {
        self.vitals
            .level
            .store(level.0.to_bits(), Ordering::Relaxed);
    }
}

fn build<T: SizedSample + FromSample<f32>>(
    chosen: &Chosen,
    mut guest: Guest,
) -> Result<cpal::Stream, DeviceError> {
    let failed = |error: cpal::Error| DeviceError::open(&chosen.name, &error);
    let stream = chosen
        .device
        .build_output_stream::<T, _, _>(
            chosen.config,
            move |out, info| guest.play(out, info),
            move |error| {
                if error.kind() != ErrorKind::Xrun {
                    // where the sound server has died, the library would call this without a pause
                    std::thread::sleep(Duration::from_millis(2));
                }
            },
            None,
        )
        .map_err(failed)?;
    stream.play().map_err(failed)?;
    Ok(stream)
}
