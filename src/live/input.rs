//! A stream from a microphone. Its callback pushes mono samples into a ring buffer and reports when
//! the newest of them was captured.

use super::device::{DeviceError, MICROPHONE_BUFFER, choose_input, for_sample_type};
use crate::units::SampleRate;
use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{ErrorKind, InputCallbackInfo, SizedSample};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// The length of the ring buffer in seconds. Samples that do not fit are lost.
const RING_S: usize = 8;

/// The values that the callback reports. Each is a single number that is complete in itself, so
/// `Relaxed` ordering is enough.
#[derive(Debug, Default)]
struct Vitals {
    /// When sample 0 was captured, computed from the latest block: the block's time less the
    /// samples before it. In nanoseconds since the stream was opened, plus [`AHEAD`].
    began: AtomicU64,
    /// The latency from capture to callback, in microseconds.
    latency: AtomicU32,
    /// The number of errors that the device reported, without overruns.
    errors: AtomicU32,
    /// The number of gaps in the stream: overruns reported by the device, samples that the full
    /// ring buffer refused, and samples that come later than their number allows.
    lost: AtomicU32,
}

/// A time that is added to all others, so that they are positive even where the first sample was
/// captured before the stream was opened.
const AHEAD: Duration = Duration::from_secs(1);

/// An open microphone.
pub struct Microphone {
    // kept because the stream stops when it is dropped
    _stream: cpal::Stream,
    samples: Consumer<f32>,
    vitals: Arc<Vitals>,
    opened: Instant,
    /// The device's name.
    pub name: String,
    /// The sample rate in frames a second.
    pub rate: SampleRate,
}

/// A block whose samples come later than their numbers allow, by more than this many nanoseconds,
/// indicates a gap. It is three times the observed variation of a device's reported latency.
const GAP: i64 = 30_000_000;
/// A gap is assumed only after this many late blocks in a row, because a single block may merely be
/// reported late. It is therefore reported this many blocks after it happens.
pub const GAP_BLOCKS: u32 = 16;

/// Detects missing samples from the time at which, by each block, the stream began.
#[derive(Debug, Default)]
struct Gaps {
    /// The time at which the stream is believed to have begun, in nanoseconds. It is adjusted
    /// slowly, because two clocks never agree.
    believed: Option<i64>,
    away: u32,
}

impl Gaps {
    /// Takes the beginning of the stream by the next block, in nanoseconds. Returns true once for
    /// each gap. Thread: audio. Allocates: no. Blocks: no.
    fn look(&mut self, began: i64) -> bool {
        let believed = self.believed.get_or_insert(began);
        let off = began - *believed;
        if off.abs() < GAP {
            *believed += off / 64;
            self.away = 0;
            return false;
        }
        self.away += 1;
        let gap = self.away >= GAP_BLOCKS;
        if gap {
            self.away = 0;
            *believed = began;
        }
        gap && off > 0
    }
}

/// The state that the callback owns.
struct Guest {
    samples: Producer<f32>,
    vitals: Arc<Vitals>,
    opened: Instant,
    channels: usize,
    rate: u32,
    count: u64,
    gaps: Gaps,
}

impl Guest {
    /// Takes a block of the device as mono: the mean of its channels. Thread: audio. Allocates: no.
    /// Blocks: no.
    fn take<T: SizedSample>(&mut self, block: &[T], info: &InputCallbackInfo)
    where
        f32: cpal::FromSample<T>,
    {
        let stamp = info.timestamp();
        let delay = stamp.callback.saturating_duration_since(stamp.capture);
        let captured = (self.opened.elapsed() + AHEAD).saturating_sub(delay);
        let before = Duration::from_secs_f64(self.count as f64 / f64::from(self.rate));
        let began = captured.saturating_sub(before).as_nanos();
        let began = u64::try_from(began).unwrap_or(u64::MAX).max(1);
        self.vitals.began.store(began, Ordering::Relaxed);
        let mut lost = self.gaps.look(i64::try_from(began).unwrap_or(i64::MAX));
        let micros = u32::try_from(delay.as_micros()).unwrap_or(u32::MAX);
        self.vitals.latency.store(micros, Ordering::Relaxed);
        for frame in block.chunks_exact(self.channels) {
            let sum: f32 = frame.iter().map(|sample| sample.to_sample::<f32>()).sum();
            // samples that are not read for seconds, while the program is stopped, are lost and are
            // not counted as samples of the stream
            if self.samples.push(sum / self.channels as f32).is_ok() {
                self.count += 1;
            } else {
                lost = true;
            }
        }
        if lost {
            self.vitals.lost.fetch_add(1, Ordering::Relaxed);
        }
    }
}

impl Microphone {
    /// Opens the microphone with this name, or the system's default where none is given. Thread:
    /// main. Allocates: yes. Blocks: on the device.
    ///
    /// # Errors
    /// There is no microphone, none with this name, or it cannot be opened.
    pub fn open(asked: Option<&str>) -> Result<Self, DeviceError> {
        Self::with_buffer(asked, MICROPHONE_BUFFER)
    }

    /// Opens a microphone with this buffer size in frames. Thread: main. Allocates: yes. Blocks: on
    /// the device.
    ///
    /// # Errors
    /// There is no microphone, none with this name, or it cannot be opened.
    pub fn with_buffer(asked: Option<&str>, buffer: u32) -> Result<Self, DeviceError> {
        let chosen = choose_input(asked, buffer)?;
        let rate = SampleRate(chosen.config.sample_rate);
        let (producer, samples) = RingBuffer::new(rate.0 as usize * RING_S);
        let vitals = Arc::new(Vitals::default());
        let opened = Instant::now();
        let guest = Guest {
            samples: producer,
            vitals: Arc::clone(&vitals),
            opened,
            channels: usize::from(chosen.config.channels.max(1)),
            rate: rate.0.max(1),
            count: 0,
            gaps: Gaps::default(),
        };
        let stream = for_sample_type!(chosen.format, build(&chosen, guest))?;
        Ok(Self {
            _stream: stream,
            samples,
            vitals,
            opened,
            name: chosen.name,
            rate,
        })
    }

    /// Appends the samples recorded since the last call to `into`. Thread: main. Allocates: what
    /// `into` needs. Blocks: no.
    pub fn take(&mut self, into: &mut Vec<f32>) {
        let waiting = self.samples.slots();
        if let Ok(chunk) = self.samples.read_chunk(waiting) {
            into.extend(chunk);
        }
    }

    /// The place in the stream, in seconds, that was captured at a moment; none before the first
    /// block. Thread: main. Allocates: no. Blocks: no.
    pub fn second_at(&self, moment: Instant) -> Option<f64> {
        let began = match self.vitals.began.load(Ordering::Relaxed) {
            0 => return None,
            nanos => Duration::from_nanos(nanos).as_secs_f64(),
        };
        let since = moment.saturating_duration_since(self.opened) + AHEAD;
        Some(since.as_secs_f64() - began)
    }

    /// The latency from capture to callback, as the device reports it. Thread: main. Allocates: no.
    /// Blocks: no.
    pub fn latency(&self) -> Duration {
        Duration::from_micros(u64::from(self.vitals.latency.load(Ordering::Relaxed)))
    }

    /// The number of gaps so far. Thread: main. Allocates: no. Blocks: no.
    pub fn lost(&self) -> u32 {
        self.vitals.lost.load(Ordering::Relaxed)
    }

    /// The number of the device's errors so far. Thread: main. Allocates: no. Blocks: no.
    pub fn errors(&self) -> u32 {
        self.vitals.errors.load(Ordering::Relaxed)
    }
}

fn build<T: SizedSample>(
    chosen: &super::device::Chosen,
    mut guest: Guest,
) -> Result<cpal::Stream, DeviceError>
where
    f32: cpal::FromSample<T>,
{
    let vitals = Arc::clone(&guest.vitals);
    let failed = |error: cpal::Error| DeviceError::open(&chosen.name, &error);
    let stream = chosen
        .device
        .build_input_stream::<T, _, _>(
            chosen.config,
            move |block, info| guest.take(block, info),
            move |error| {
                if error.kind() == ErrorKind::Xrun {
                    vitals.lost.fetch_add(1, Ordering::Relaxed);
                    return;
                }
                vitals.errors.fetch_add(1, Ordering::Relaxed);
                // where the sound server has died, the library would call this without a pause
                std::thread::sleep(Duration::from_millis(2));
            },
            None,
        )
        .map_err(failed)?;
    stream.play().map_err(failed)?;
    Ok(stream)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A gap that is not reported would be judged as a change of tempo. A device whose reported
    /// latency varies, or a clock that is faster by a ten-thousandth, must not cost a repetition.
    #[test]
    fn a_gap_is_told_once_and_wavering_never() {
        let mut gaps = Gaps::default();
        let block = 5_333_333_i64;
        let mut told = Vec::new();
        for at in 0..40_000_i64 {
            let vague = (at * 7919 % 19 - 9) * 1_000_000;
            let drift = at * block / 10_000;
            let stray = if at % 1000 == 999 { 200_000_000 } else { 0 };
            let lost = if at >= 30_000 { 50_000_000 } else { 0 };
            if gaps.look(1_000_000_000 + vague + drift + stray + lost) {
                told.push(at);
            }
        }
        assert_eq!(told.len(), 1, "{told:?}");
        assert!((30_000..30_100).contains(&told[0]), "{told:?}");
    }
}
