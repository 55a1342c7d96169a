//! A stream to a device. Its callback owns the renderer, and returns it when the stream ends.

use super::clock::{Base, Face, Reading};
use super::device::{Asked, DeviceError, choose, for_sample_type};
use crate::sound::Renderer;
use crate::units::SampleRate;
use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{ErrorKind, FromSample, OutputCallbackInfo, SizedSample};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// How many frames the callback renders at once. A longer buffer is filled in pieces.
const PIECE: usize = 4096;

/// The values that the callback reports to the keeper. Each is a single number that is complete in
/// itself, so `Relaxed` ordering is enough.
#[derive(Debug, Default)]
pub(super) struct Vitals {
    /// When the last callback came, in nanoseconds since the base; 0 before the first.
    last: AtomicU64,
    /// The number of errors that the device reported, without underruns.
    errors: AtomicU32,
    /// The number of underruns that the device reported.
    underruns: AtomicU32,
    /// The latency from callback to ear, in microseconds.
    latency: AtomicU32,
}

/// An open stream.
pub(super) struct Output {
    stream: cpal::Stream,
    home: Consumer<Renderer>,
    vitals: Arc<Vitals>,
    opened: Instant,
    /// The device's name.
    pub(super) name: String,
    /// The sample rate that the stream was opened with.
    pub(super) rate: SampleRate,
    /// The buffer size in frames.
    pub(super) buffer: u32,
}

/// The state that the callback owns. It is dropped with the stream, on whatever thread. The
/// renderer is then returned through a ring buffer of one place.
struct Guest {
    renderer: Option<Renderer>,
    home: Producer<Renderer>,
    piece: Vec<f32>,
    face: Arc<Face>,
    base: Base,
    epoch: u32,
    channels: usize,
    vitals: Arc<Vitals>,
}

impl Drop for Guest {
    fn drop(&mut self) {
        if let Some(renderer) = self.renderer.take() {
            // there is only one renderer and one place for it, so it always fits
            let _ = self.home.push(renderer);
        }
    }
}

impl Guest {
    /// Fills a block of the device. Thread: audio. Allocates: no. Blocks: no.
    fn play<T: SizedSample + FromSample<f32>>(&mut self, out: &mut [T], info: &OutputCallbackInfo) {
        let now = self.base.until(Instant::now());
        let Some(renderer) = &mut self.renderer else {
            out.fill(T::from_sample(0.0));
            return;
        };
        let stamp = info.timestamp();
        let delay = stamp.playback.saturating_duration_since(stamp.callback);
        let first = renderer.frame().0;
        for block in out.chunks_mut(PIECE * self.channels) {
            let piece = &mut self.piece[..block.len() / self.channels];
            renderer.fill(piece);
            for (frame, sample) in block.chunks_mut(self.channels).zip(piece.iter()) {
                frame.fill(T::from_sample(*sample));
            }
        }
        self.face.set(Reading {
            frame: first,
            heard: now + delay,
            rate: renderer.rate().0,
            end: renderer.frame().0,
            epoch: self.epoch,
        });
        let micros = u32::try_from(delay.as_micros()).unwrap_or(u32::MAX);
        self.vitals.latency.store(micros, Ordering::Relaxed);
        let nanos = u64::try_from(now.as_nanos()).unwrap_or(u64::MAX).max(1);
        self.vitals.last.store(nanos, Ordering::Relaxed);
    }
}

/// A renderer that could not be put into a device's callback, with the reason.
pub(super) struct Refused {
    pub(super) error: DeviceError,
    pub(super) renderer: Option<Renderer>,
    /// The epoch of the renderer's frames, which may have been converted to another rate already.
    pub(super) epoch: u32,
}

/// Opens the device that is asked for and moves the renderer into its callback, converted to the
/// device's rate where that differs. Thread: keeper. Allocates: yes. Blocks: on the device.
pub(super) fn open(
    asked: &Asked,
    renderer: Renderer,
    face: &Arc<Face>,
    base: Base,
    epoch: u32,
) -> Result<(Output, u32), Box<Refused>> {
    let chosen = match choose(asked) {
        Ok(chosen) => chosen,
        Err(error) => {
            return Err(Box::new(Refused {
                error,
                renderer: Some(renderer),
                epoch,
            }));
        }
    };
    let rate = SampleRate(chosen.config.sample_rate);
    let epoch = if renderer.rate() == rate {
        epoch
    } else {
        epoch.wrapping_add(1)
    };
    let renderer = renderer.at_rate(rate);
    let (to_home, mut home) = RingBuffer::new(1);
    let vitals = Arc::new(Vitals::default());
    let guest = Guest {
        renderer: Some(renderer),
        home: to_home,
        piece: vec![0.0; PIECE],
        face: Arc::clone(face),
        base,
        epoch,
        channels: usize::from(chosen.config.channels.max(1)),
        vitals: Arc::clone(&vitals),
    };
    let built = for_sample_type!(chosen.format, build(&chosen, guest));
    match built {
        Ok(stream) => {
            let buffer = stream.buffer_size().unwrap_or(chosen.buffer);
            let output = Output {
                stream,
                home,
                vitals,
                opened: Instant::now(),
                name: chosen.name,
                rate,
                buffer,
            };
            Ok((output, epoch))
        }
        Err(error) => Err(Box::new(Refused {
            error,
            renderer: home.pop().ok(),
            epoch,
        })),
    }
}

fn build<T: SizedSample + FromSample<f32>>(
    chosen: &super::device::Chosen,
    mut guest: Guest,
) -> Result<cpal::Stream, DeviceError> {
    let vitals = Arc::clone(&guest.vitals);
    let failed = |error: cpal::Error| DeviceError::open(&chosen.name, &error);
    let stream = chosen
        .device
        .build_output_stream::<T, _, _>(
            chosen.config,
            move |out, info| guest.play(out, info),
            move |error| {
                if error.kind() == ErrorKind::Xrun {
                    vitals.underruns.fetch_add(1, Ordering::Relaxed);
                } else {
                    vitals.errors.fetch_add(1, Ordering::Relaxed);
                    // where the sound server has died, its library calls this hundreds of thousands
                    // of times a second; the wait costs nothing, because nothing plays then
                    std::thread::sleep(Duration::from_millis(2));
                }
            },
            None,
        )
        .map_err(failed)?;
    stream.play().map_err(failed)?;
    Ok(stream)
}

impl Output {
    /// The time since the last callback. Thread: keeper. Allocates: no. Blocks: no.
    pub(super) fn silence(&self, base: Base, now: Instant) -> Duration {
        match self.vitals.last.load(Ordering::Relaxed) {
            0 => now.saturating_duration_since(self.opened),
            nanos => base.until(now).saturating_sub(Duration::from_nanos(nanos)),
        }
    }

    /// True once there was a callback. Thread: keeper. Allocates: no. Blocks: no.
    pub(super) fn has_played(&self) -> bool {
        self.vitals.last.load(Ordering::Relaxed) > 0
    }

    /// The latency from callback to ear. Thread: keeper. Allocates: no. Blocks: no.
    pub(super) fn latency(&self) -> Duration {
        Duration::from_micros(u64::from(self.vitals.latency.load(Ordering::Relaxed)))
    }

    /// The number of underruns so far. Thread: keeper. Allocates: no. Blocks: no.
    pub(super) fn underruns(&self) -> u32 {
        self.vitals.underruns.load(Ordering::Relaxed)
    }

    /// Closes the stream and takes the renderer back; none where the device does not return it
    /// within a second. Thread: keeper. Allocates: yes. Blocks: until the stream has ended.
    pub(super) fn close(self) -> Option<Renderer> {
        let Self {
            stream, mut home, ..
        } = self;
        // a dead device may delay the end of its stream for long, which does no harm on a thread of
        // its own
        let ending = std::thread::Builder::new()
            .name("stream end".to_owned())
            .spawn(move || drop(stream));
        for _ in 0..1000 {
            if let Ok(renderer) = home.pop() {
                if let Ok(ending) = ending {
                    let _ = ending.join();
                }
                return Some(renderer);
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        None
    }
}
