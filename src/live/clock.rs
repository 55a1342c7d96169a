//! The clock of what is heard: which frame is audible now, which is the frames played less those
//! still on their way to the ear.

use crate::units::{Frames, SampleRate};
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// A frame and the moment at which it is heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Reading {
    /// The number of the frame.
    pub(super) frame: u64,
    /// When the frame reaches the ear, as the time since the clock was made.
    pub(super) heard: Duration,
    /// The sample rate from this frame on, in frames a second.
    pub(super) rate: u32,
    /// The number of the first frame that is not rendered yet.
    pub(super) end: u64,
    /// The numbering that the frame belongs to. Each change of rate begins a new one.
    pub(super) epoch: u32,
}

/// The latest reading. The owner of the renderer writes it and any thread may read it. It is not a
/// queue, because only the newest value is wanted.
#[derive(Debug, Default)]
pub(super) struct Face {
    /// A counter that is odd while a reading is being written. All orderings are `SeqCst`: there is
    /// only one reading a block, and a reader must see the counter change around the values.
    turn: AtomicU32,
    frame: AtomicU64,
    heard: AtomicU64,
    end: AtomicU64,
    rate: AtomicU32,
    epoch: AtomicU32,
}

impl Face {
    /// Publishes a reading. Only one thread may write. Thread: audio. Allocates: no. Blocks: no.
    pub(super) fn set(&self, reading: Reading) {
        self.turn.fetch_add(1, Ordering::SeqCst);
        self.frame.store(reading.frame, Ordering::SeqCst);
        let nanos = u64::try_from(reading.heard.as_nanos()).unwrap_or(u64::MAX);
        self.heard.store(nanos, Ordering::SeqCst);
        self.end.store(reading.end, Ordering::SeqCst);
        self.rate.store(reading.rate, Ordering::SeqCst);
        self.epoch.store(reading.epoch, Ordering::SeqCst);
        self.turn.fetch_add(1, Ordering::SeqCst);
    }

    /// The latest reading; none before the first. Thread: any but audio. Allocates: no. Blocks: for
    /// a few turns while a reading is being written.
    pub(super) fn read(&self) -> Option<Reading> {
        loop {
            let turn = self.turn.load(Ordering::SeqCst);
            if turn == 0 {
                return None;
            }
            let reading = Reading {
                frame: self.frame.load(Ordering::SeqCst),
                heard: Duration::from_nanos(self.heard.load(Ordering::SeqCst)),
                rate: self.rate.load(Ordering::SeqCst),
                end: self.end.load(Ordering::SeqCst),
                epoch: self.epoch.load(Ordering::SeqCst),
            };
            if turn.is_multiple_of(2) && turn == self.turn.load(Ordering::SeqCst) {
                return Some(reading);
            }
            std::hint::spin_loop();
        }
    }
}

impl Reading {
    /// The frame that is heard at time `now` since the clock was made. `offset` is the latency in
    /// milliseconds that the device does not report; it is positive for slow headphones. The result
    /// is never a frame that is not rendered yet.
    ///
    /// Thread: any. Allocates: no. Blocks: no.
    pub(super) fn heard_at(&self, now: Duration, offset: i32) -> Frames {
        let ahead = now.as_nanos() as i128 - self.heard.as_nanos() as i128;
        let ahead = ahead - i128::from(offset) * 1_000_000;
        let frames = ahead * i128::from(self.rate) / 1_000_000_000;
        let frame = i128::from(self.frame) + frames;
        Frames(u64::try_from(frame.max(0)).unwrap_or(0).min(self.end))
    }

    /// When a frame is heard, as the time since the clock was made.
    ///
    /// Thread: any. Allocates: no. Blocks: no.
    pub(super) fn moment_of(&self, frame: u64) -> Duration {
        let ahead = i128::from(frame) - i128::from(self.frame);
        let nanos = ahead * 1_000_000_000 / i128::from(self.rate.max(1));
        let moment = self.heard.as_nanos() as i128 + nanos;
        Duration::from_nanos(u64::try_from(moment.max(0)).unwrap_or(0))
    }

    /// The sample rate of this reading's frames.
    ///
    /// Thread: any. Allocates: no. Blocks: no.
    pub(super) fn rate(&self) -> SampleRate {
        SampleRate(self.rate)
    }
}

/// The moment from which the times of readings are counted.
#[derive(Debug, Clone, Copy)]
pub(super) struct Base(Instant);

impl Base {
    /// A base at the present moment. Thread: any. Allocates: no. Blocks: no.
    pub(super) fn now() -> Self {
        Self(Instant::now())
    }

    /// The time from this base until a moment. Thread: any. Allocates: no. Blocks: no.
    pub(super) fn until(self, moment: Instant) -> Duration {
        moment.saturating_duration_since(self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;

    const READING: Reading = Reading {
        frame: 48_000,
        heard: Duration::from_millis(1500),
        rate: 48_000,
        end: 49_024,
        epoch: 0,
    };

    /// A screen that followed the rendered frames instead of the audible ones would flash its beat
    /// early.
    #[test]
    fn what_is_heard_is_what_was_played_less_latency_and_offset() {
        let at = |millis, offset| READING.heard_at(Duration::from_millis(millis), offset).0;
        assert_eq!(at(1500, 0), 48_000);
        assert_eq!(at(1510, 0), 48_480);
        assert_eq!(at(1480, 0), 47_040);
        assert_eq!(at(1510, 10), 48_000);
        assert_eq!(at(0, 0), 0);
        assert_eq!(at(9000, 0), 49_024, "never beyond what is computed");
        assert_eq!(READING.moment_of(48_480), Duration::from_millis(1510));
    }

    /// A reading that mixed two others would put the cursor at a wrong place.
    #[test]
    fn a_reading_is_read_whole() {
        let face = Arc::new(Face::default());
        assert_eq!(face.read(), None);
        let writer = Arc::clone(&face);
        let reading = |n: u64| Reading {
            frame: n,
            heard: Duration::from_nanos(2 * n),
            rate: (n % 97) as u32,
            end: 3 * n,
            epoch: (n % 89) as u32,
        };
        let thread = std::thread::spawn(move || {
            for n in 0..200_000 {
                writer.set(reading(n));
            }
        });
        while !thread.is_finished() {
            if let Some(seen) = face.read() {
                assert_eq!(seen, reading(seen.frame));
            }
        }
        assert!(thread.join().is_ok());
        assert_eq!(face.read(), Some(reading(199_999)));
    }
}
