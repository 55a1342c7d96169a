//! The listener: samples in, notes heard out, with bounded memory.

use super::ear::{Ear, Sounded};
use super::heard::HeardNote;
use super::path::{NONE, Prices};
use super::piece::Piece;
use crate::chanter::{Note, Tuning};
use crate::units::{Cents, SampleRate};
use gracerung_net::CLASSES;

/// Price of a change of class, nats; chosen on tuning takes between 3 and 10, where it cost nothing
/// that is played and a third of what talk was taken for.
const CHANGE: f32 = 10.0;
/// What a change that is written costs less, and another more: little enough that what was really
/// played outweighs it.
const WRITTEN: f32 = 1.0;

/// A noise shorter than this is only named where the network is surer than [`NAMED`]: two periods of
/// a practice chanter's low A and the change itself (12 ms), under which no listener names a tone.
const NAMELESS_S: f64 = 0.012;
/// Mean probability from which a very short noise is given the name of a note.
const NAMED: f64 = 0.6;

/// Prices of the path, where nothing is known of the music.
fn prices() -> Prices {
    Prices {
        change: [[CHANGE; CLASSES]; CLASSES],
    }
}

/// A sample rate that no sound can be heard at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RateError {
    /// Samples a second.
    pub rate: u32,
    /// The resampler's words.
    pub why: String,
}

impl std::fmt::Display for RateError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "{} samples a second cannot be resampled ({}): expected a usual rate such as 44100 or 48000",
            self.rate, self.why
        )
    }
}
impl std::error::Error for RateError {}

/// Hears notes in a stream.
pub struct Listener {
    ear: Ear,
    heard: Vec<HeardNote>,
}

impl Listener {
    /// Begins to listen.
    ///
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub fn new(rate: SampleRate, tuning: Tuning) -> Result<Self, RateError> {
        Self::with(rate, tuning, prices())
    }

    /// The same for written music: its changes of note are likelier than others.
    ///
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub fn of_piece(rate: SampleRate, tuning: Tuning, piece: &Piece) -> Result<Self, RateError> {
        let mut prices = prices();
        for row in &mut prices.change[..NONE] {
            for price in &mut row[..NONE] {
                *price += WRITTEN;
            }
        }
        for (from, to) in piece.moves() {
            prices.change[from.index()][to.index()] = CHANGE - WRITTEN;
        }
        Self::with(rate, tuning, prices)
    }

    fn with(rate: SampleRate, tuning: Tuning, prices: Prices) -> Result<Self, RateError> {
        Ok(Self {
            ear: Ear::new(rate, tuning, prices)?,
            heard: Vec::new(),
        })
    }

    /// Takes mono samples.
    pub fn push(&mut self, samples: &[f32]) {
        self.ear.push(samples);
        self.tell();
    }

    fn tell(&mut self) {
        let sounded: Vec<Sounded> = self.ear.take().collect();
        let seconds = |frame| self.ear.seconds(frame);
        self.heard.extend(sounded.iter().map(|sounded| HeardNote {
            note: sounded.note,
            start_s: seconds(sounded.start),
            end_s: seconds(sounded.end),
            confidence: sounded.probability,
            level: sounded.level,
            cents: sounded.look.map(|look| Cents(look.cents)),
            named: sounded.probability > NAMED || seconds(sounded.end - sounded.start) > NAMELESS_S,
        }));
    }

    /// Power of the last 20 ms, dB of full scale.
    pub fn level(&self) -> f64 {
        self.ear.level()
    }

    /// The note that sounds now, and how far it lies off the tuning; none where nothing does. A note
    /// that has not sounded for long enough to be measured has no pitch yet.
    pub fn sounding(&self) -> Option<(Note, Option<Cents>)> {
        let (note, look) = self.ear.sounding()?;
        Some((note, look.map(|look| Cents(look.cents))))
    }

    /// The notes heard since the last call, in order; a note appears when it is settled that it has
    /// ended.
    pub fn heard(&mut self) -> Vec<HeardNote> {
        std::mem::take(&mut self.heard)
    }

    /// How surely notes of this low A sounded, 0 to 1, silence counted as 0.
    pub(super) fn sureness(&self) -> f64 {
        self.ear.sureness()
    }

    /// The end of the sound: the rest of the notes.
    pub fn finish(mut self) -> Vec<HeardNote> {
        self.end();
        self.heard
    }

    /// The same, for who asks for more than the notes.
    pub(super) fn end(&mut self) {
        self.ear.finish();
        self.tell();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without it a file read in long pieces would be heard otherwise than a microphone: what is
    /// measured of a note must not hang on how much sound came with it.
    #[test]
    fn what_is_heard_does_not_hang_on_the_pieces() {
        let tuning = Tuning::default();
        let notes = [
            Note::LowA,
            Note::E,
            Note::C,
            Note::HighG,
            Note::D,
            Note::LowG,
        ];
        let mut phase = 0.0_f64;
        let sound: Vec<f32> = (0..48_000 * 6)
            .map(|at| {
                phase += tuning.hertz(notes[at / 24_000 % notes.len()]).0 / 48_000.0;
                let sum: f64 = (1..9)
                    .map(|k| (std::f64::consts::TAU * phase * f64::from(k)).sin() / f64::from(k))
                    .sum();
                (0.2 * sum) as f32
            })
            .collect();
        let heard = |pieces: usize| {
            let mut listener = Listener::new(SampleRate(48_000), tuning).expect("a usual rate");
            for piece in sound.chunks(pieces) {
                listener.push(piece);
            }
            listener.finish()
        };
        let whole = heard(sound.len());
        assert_eq!(whole.len(), 12);
        assert!(whole.iter().all(|note| note.cents.is_some()), "{whole:?}");
        assert_eq!(whole, heard(480));
    }
}
