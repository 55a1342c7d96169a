//! Repetitions listened to while they are played, for a stream that never ends.
//!
//! Keeps the last seconds of sound and what sounds now. A repetition that is over is heard again
//! whole, as a recording is: its closing note may still sound, and what a room does to the first
//! notes is known by then. Knows no device and no clock: the place of a repetition is given in
//! seconds of the stream, and a quarter of a second either way does no harm.

use super::align::{Piece, align};
use super::hearing::{Listener, RateError};
use super::recording::{Remark, hear_piece};
use crate::chanter::{Note, Tuning};
use crate::practice::Measurement;
use crate::units::{Cents, SampleRate};
use std::collections::VecDeque;

/// Sound that is kept, seconds: the longest repetition that can be heard.
pub const KEPT_S: f64 = 90.0;
/// Sound before and after a repetition that is heard with it, seconds: a repetition can be cut out
/// once this much has come in after its end.
pub const AROUND_S: f64 = 0.35;
/// Level under which nothing is played, dB of full scale: a microphone's own noise lies below.
const SILENT_DB: f64 = -60.0;
/// Share of a repetition in which notes must be heard for somebody to have played.
const PLAYED: f64 = 0.25;

/// What sounds now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeardNow {
    /// Level, dB of full scale, in the band of the chanter.
    pub level: f64,
    /// The note and how far it lies off the tuning; none in silence.
    pub note: Option<(Note, Cents)>,
}

/// A repetition as it was heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Attended {
    /// The figures.
    pub measured: Measurement,
    /// What was wrong with the sound itself, if anything.
    pub trouble: Option<SoundTrouble>,
}

/// Why a repetition could not be heard well, in words by [`std::fmt::Display`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SoundTrouble {
    /// The sound itself is odd: silent, or clipped.
    Odd(Remark),
    /// There is sound, and nobody plays.
    Nothing,
    /// Somebody plays, and not this stage.
    Other,
}

impl std::fmt::Display for SoundTrouble {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Odd(remark) => remark.fmt(f),
            Self::Nothing => f.write_str("nothing is heard of you: is the microphone on and near?"),
            Self::Other => {
                f.write_str("what is heard is not this stage; does the loudspeaker drown you?")
            }
        }
    }
}

/// Listens to a stream and keeps what is needed to hear a repetition of it.
pub struct Attention {
    rate: SampleRate,
    tuning: Tuning,
    now: Listener,
    kept: VecDeque<f32>,
    taken: u64,
}

impl Attention {
    /// Begins to listen.
    ///
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub fn new(rate: SampleRate, tuning: Tuning) -> Result<Self, RateError> {
        Ok(Self {
            rate,
            tuning,
            now: Listener::live(rate, tuning)?,
            kept: VecDeque::with_capacity((KEPT_S * f64::from(rate.0)) as usize),
            taken: 0,
        })
    }

    /// Takes mono samples.
    pub fn push(&mut self, samples: &[f32]) {
        self.taken += samples.len() as u64;
        let most = (KEPT_S * f64::from(self.rate.0)) as usize;
        let over = (self.kept.len() + samples.len()).saturating_sub(most);
        self.kept.drain(..over.min(self.kept.len()));
        self.kept.extend(samples.iter().rev().take(most).rev());
        self.now.push(samples);
        // the notes themselves are heard when the repetition is over
        drop(self.now.heard());
    }

    /// Seconds of the stream so far.
    pub fn seconds(&self) -> f64 {
        self.taken as f64 / f64::from(self.rate.0)
    }

    /// What sounds now.
    pub fn now(&self) -> HeardNow {
        let level = self.now.level();
        HeardNow {
            level,
            note: self.now.sounding().filter(|_| level > SILENT_DB),
        }
    }

    /// The sound of a repetition that began at `start_s` of the stream and is over, to be heard on
    /// any thread.
    pub fn cut(&self, piece: &Piece, start_s: f64) -> Cut {
        let rate = f64::from(self.rate.0);
        let first_kept = self.taken - self.kept.len() as u64;
        let place = |seconds: f64| {
            let sample = (seconds.max(0.0) * rate) as u64;
            (sample.saturating_sub(first_kept) as usize).min(self.kept.len())
        };
        let (from, to) = (
            place(start_s - AROUND_S),
            place(start_s + piece.length_s + AROUND_S),
        );
        Cut {
            rate: self.rate,
            tuning: self.tuning,
            samples: self.kept.range(from..to.max(from)).copied().collect(),
        }
    }
}

/// The sound of one repetition.
#[derive(Debug, Clone)]
pub struct Cut {
    rate: SampleRate,
    tuning: Tuning,
    samples: Vec<f32>,
}

impl Cut {
    /// Hears and measures it: about a hundredth of its length of computing.
    ///
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub fn hear(&self, piece: &Piece) -> Result<Attended, RateError> {
        let mut samples = Some(&self.samples);
        let heard = hear_piece(
            self.rate,
            Some(self.tuning.low_a),
            self.tuning.table,
            piece,
            || samples.take().cloned().unwrap_or_default(),
        )?;
        let sounded: f64 = heard.notes.iter().map(super::HeardNote::length_s).sum();
        let odd = heard
            .remarks
            .into_iter()
            .find(|remark| matches!(remark, Remark::Silent(_) | Remark::Clipped(_)));
        let played = sounded > PLAYED * piece.length_s;
        // what is no repetition of the piece is not judged as one
        let found = align(piece, &heard.notes)
            .repetitions
            .into_iter()
            .filter(|_| played)
            .max_by_key(|found| found.pairs.iter().flatten().count());
        let trouble = match (odd, played, &found) {
            (Some(remark), ..) => Some(SoundTrouble::Odd(remark)),
            (None, false, _) => Some(SoundTrouble::Nothing),
            (None, true, None) => Some(SoundTrouble::Other),
            (None, true, Some(_)) => None,
        };
        let measured = found.map_or_else(
            || Measurement {
                playing: false,
                beat_ms: piece.beat_s * 1000.0,
                notes: Vec::new(),
                extra: Vec::new(),
                lead_ms: 0.0,
                drift_percent: 0.0,
            },
            |found| found.measured,
        );
        Ok(Attended { measured, trouble })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    /// A held note is told with its pitch, for blowing evenly.
    #[test]
    fn what_sounds_now_is_told() {
        let mut attention =
            Attention::new(SampleRate(48_000), Tuning::default()).expect("a usual rate");
        let sharp = Tuning::default().hertz(Note::LowA).0 * 2f64.powf(10.0 / 1200.0);
        let samples: Vec<f32> = (0..48_000)
            .map(|i| {
                let phase = sharp * f64::from(i) / 48_000.0;
                let sum: f64 = (1..8)
                    .map(|k| (std::f64::consts::TAU * phase * f64::from(k)).sin() * 0.7f64.powi(k))
                    .sum();
                (0.2 * sum) as f32
            })
            .collect();
        attention.push(&samples);
        let (note, off) = attention.now().note.expect("it sounds");
        assert_eq!(note, Note::LowA);
        assert!((off.0 - 10.0).abs() < 4.0, "{off:?}");
    }

    /// What is kept is bounded however long the session is.
    #[test]
    fn only_the_last_seconds_are_kept() {
        let mut attention =
            Attention::new(SampleRate(8000), Tuning::default()).expect("a usual rate");
        let second = vec![0.0; 8000];
        for _ in 0..200 {
            attention.push(&second);
        }
        assert_eq!(attention.kept.len(), (KEPT_S * 8000.0) as usize);
        assert!((attention.seconds() - 200.0).abs() < 1e-9);
    }
}
