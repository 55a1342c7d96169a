//! A stream to a device. Its callback owns the renderer and hands it home when the stream ends.

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

/// Frames rendered at once inside a callback; a longer one is filled in pieces.
const PIECE: usize = 4096;

/// What the callbacks report to the keeper. These are single numbers, each complete in itself, so
/// `Relaxed` is enough.
#[derive(Debug, Default)]
pub(super) struct Vitals {
    /// Nanoseconds since the base at the last callback; 0 before the first.
    last: AtomicU64,
    /// Errors that the device reported, underruns not counted.
    errors: AtomicU32,
    /// Underruns told by the device.
    underruns: AtomicU32,
    /// From the callback to the ear, microseconds.
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
    /// The rate it was opened with.
    pub(super) rate: SampleRate,
    /// Frames in one callback.
    pub(super) buffer: u32,
}

/// What the callback owns. Dropped with the stream, on whatever thread: then the renderer goes
/// home through a ring of one place.
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
            // there is one renderer and one place for it, so it always fits
            let _ = self.home.push(renderer);
        }
    }
}

impl Guest {
    /// Fills a device block. Thread: audio. Allocates: no. Blocks: no.
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

/// A renderer that could not be put into a device's callback, and why.
pub(super) struct Refused {
    pub(super) error: DeviceError,
    pub(super) renderer: Option<Renderer>,
    /// The epoch of the renderer's frames: it may have been moved to another rate already.
    pub(super) epoch: u32,
}

/// Opens the device asked for and seats the renderer in its callback, moved to the device's rate
/// where that differs. Thread: keeper. Allocates: yes. Blocks: on the device.
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
                    // where the sound server is dead, its library calls this hundreds of thousands
                    // of times a second; waiting costs nothing, because nothing plays then
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
    /// How long no callback has come. Thread: keeper. Allocates: no. Blocks: no.
    pub(super) fn silence(&self, base: Base, now: Instant) -> Duration {
        match self.vitals.last.load(Ordering::Relaxed) {
            0 => now.saturating_duration_since(self.opened),
            nanos => base.until(now).saturating_sub(Duration::from_nanos(nanos)),
        }
    }

    /// True once a callback has come. Thread: keeper. Allocates: no. Blocks: no.
    pub(super) fn has_played(&self) -> bool {
        self.vitals.last.load(Ordering::Relaxed) > 0
    }

    /// From the callback to the ear. Thread: keeper. Allocates: no. Blocks: no.
    pub(super) fn latency(&self) -> Duration {
        Duration::from_micros(u64::from(self.vitals.latency.load(Ordering::Relaxed)))
    }

    /// Underruns so far. Thread: keeper. Allocates: no. Blocks: no.
    pub(super) fn underruns(&self) -> u32 {
        self.vitals.underruns.load(Ordering::Relaxed)
    }

    /// Closes the stream and takes the renderer home; none when the device does not give it back
    /// within a second. Thread: keeper. Allocates: yes. Blocks: until the stream has ended.
    pub(super) fn close(self) -> Option<Renderer> {
        let Self {
            stream, mut home, ..
        } = self;
        // a dead device may keep its stream from ending for long, which harms nobody on a thread of
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
