//! The listener: samples in, notes heard out, with bounded memory.

use super::ear::{Ear, Sounded};
use super::heard::HeardNote;
use super::intake::RateError;
use super::path::Prices;
use crate::chanter::{Note, Tuning};
use crate::units::{Cents, FullScale, SampleRate};
use gracerung_net::CLASSES;

/// Price of a change of class, nats. Chosen on tuning takes between 3 and 10: there it cost no note
/// that was played, and it removed a third of the notes that talk was taken for.
const CHANGE: f32 = 10.0;
/// A shorter sound, seconds, gets a note's name only where the network is surer than [`NAMED`]. 12
/// ms are two periods of a practice chanter's low A and the change itself; no listener names a
/// shorter tone.
const NAMELESS_S: f64 = 0.012;
/// A very short sound gets the name of a note from this mean probability on: then the network is
/// surer of that note than of all others together, with something to spare. Chosen.
const NAMED: f64 = 0.6;

/// The prices of the path where nothing is known of the music: each change costs the same.
pub(super) fn prices() -> Prices {
    Prices {
        change: [[CHANGE; CLASSES]; CLASSES],
    }
}

/// Hears notes in a stream.
pub struct Listener {
    pub(super) ear: Ear,
    heard: Vec<HeardNote>,
}

impl Listener {
    /// Begins to listen.
    ///
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub fn new(rate: SampleRate, tuning: Tuning) -> Result<Self, RateError> {
        Ok(Self {
            ear: Ear::new(rate, tuning, prices())?,
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
        self.heard
            .extend(sounded.iter().map(|sounded| told(&self.ear, sounded)));
    }

    /// Power of the last 20 ms.
    pub fn level(&self) -> FullScale {
        FullScale(self.ear.level())
    }

    /// The note that sounds now, and how far it lies off the tuning; none where nothing does. A note
    /// that has not sounded for long enough to be measured has no pitch yet.
    pub fn sounding(&self) -> Option<(Note, Option<Cents>)> {
        let (note, look) = self.ear.sounding()?;
        Some((note, look.map(|look| look.cents)))
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

    /// Ends the sound as [`Listener::finish`] does, but keeps the listener, which can then still
    /// say how sure it was.
    pub(super) fn end(&mut self) {
        self.ear.finish();
        self.tell();
    }
}

pub(super) fn told(ear: &Ear, sounded: &Sounded) -> HeardNote {
    let (start_s, end_s) = (ear.seconds(sounded.start), ear.seconds(sounded.end));
    HeardNote {
        note: sounded.note,
        start_s,
        end_s,
        confidence: sounded.probability,
        level: sounded.level,
        cents: sounded.look.map(|look| look.cents),
        named: sounded.probability > NAMED || end_s - start_s > NAMELESS_S,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Six notes of half a second each, played twice; the loudest moment is `gain` times full
    /// scale.
    fn tune(gain: f64) -> Vec<f32> {
        let notes = [
            Note::LowA,
            Note::E,
            Note::C,
            Note::HighG,
            Note::D,
            Note::LowG,
        ];
        let mut phase = 0.0_f64;
        let sound: Vec<f64> = (0..48_000 * 6)
            .map(|at| {
                phase += Tuning::default().hertz(notes[at / 24_000 % notes.len()]).0 / 48_000.0;
                (1..9)
                    .map(|k| (std::f64::consts::TAU * phase * f64::from(k)).sin() / f64::from(k))
                    .sum()
            })
            .collect();
        let most = sound.iter().fold(0.0_f64, |most, s| most.max(s.abs()));
        sound.iter().map(|s| (gain * s / most) as f32).collect()
    }

    /// Without it a soft microphone would hear other notes than a loud one: from 0 to −60 dB of full
    /// scale nothing changes but the level told.
    #[test]
    fn nothing_but_the_level_hangs_on_how_loud_it_is() {
        let heard = |decibels: i32| {
            let sound = tune(10_f64.powf(f64::from(decibels) / 20.0));
            let rate = SampleRate(48_000);
            let mut listener = Listener::new(rate, Tuning::default()).expect("a usual rate");
            listener.push(&sound);
            listener.finish()
        };
        let loud = heard(0);
        assert_eq!(loud.len(), 12);
        for decibels in [-20, -40, -60] {
            let soft = heard(decibels);
            assert_eq!(loud.len(), soft.len(), "at {decibels} dB: {soft:?}");
            for (one, other) in loud.iter().zip(&soft) {
                assert_eq!(one.note, other.note, "at {decibels} dB");
                assert!(
                    (one.start_s - other.start_s).abs() < 1e-3,
                    "{one:?} {other:?}"
                );
                assert!(
                    (one.confidence - other.confidence).abs() < 0.02,
                    "{other:?}"
                );
                let cents = one.cents.zip(other.cents).expect("both were held");
                assert!((cents.0.0 - cents.1.0).abs() < 0.2, "{one:?} {other:?}");
                let level = one.level.zip(other.level).expect("both sounded");
                let softer = level.0.0 - level.1.0 + f64::from(decibels);
                assert!(softer.abs() < 0.2, "at {decibels} dB: {softer}");
            }
        }
    }

    /// Without it a file read in long pieces would be heard otherwise than a microphone: what is
    /// measured of a note must not hang on how much sound came with it.
    #[test]
    fn what_is_heard_does_not_hang_on_the_pieces() {
        let tuning = Tuning::default();
        let sound = tune(1.0);
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
        // the second hearing, with no prior, gives the same notes to a tenth of a millisecond
        let mut listener = Listener::new(SampleRate(48_000), tuning).expect("a usual rate");
        listener.ear.keep();
        listener.push(&sound);
        listener.end();
        let again = listener.ear.again(|_| None);
        assert_eq!(again.len(), whole.len());
        for (again, first) in again.iter().zip(&whole) {
            let again = told(&listener.ear, again);
            assert_eq!(again.note, first.note);
            assert!(
                (again.start_s - first.start_s).abs() < 1e-4,
                "{again:?} for {first:?}"
            );
        }
    }
}
