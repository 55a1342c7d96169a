//! The listener: samples in, notes heard out, with bounded memory.

use super::due::{Due, due};
use super::ear::{Ear, Sounded};
use super::heard::HeardNote;
use super::intake::RateError;
use super::path::Prices;
use super::piece::Piece;
use crate::chanter::{Note, Tuning};
use crate::units::{Cents, SampleRate};
use gracerung_net::CLASSES;
use std::collections::VecDeque;

/// Price of a change of class, nats; chosen on tuning takes between 3 and 10, where it cost nothing
/// that is played and a third of what talk was taken for.
const CHANGE: f32 = 10.0;
/// Price of a change that is due, nats. Chosen on takes of our own rendering between 0 and 10: at 3
/// gracenotes in noise and false-fingered ones are told as what is written, and of 108 left out not one
/// was heard; below it nothing more is found, and what drowns is heard as it is written.
const DUE: f32 = 3.0;

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
        Ok(Self {
            ear: Ear::new(rate, tuning, prices())?,
            heard: Vec::new(),
        })
    }

    /// The same, able to hear the whole once more when it is known what was due: [`Listener::again`].
    ///
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub(super) fn keeping(rate: SampleRate, tuning: Tuning) -> Result<Self, RateError> {
        let mut listener = Self::new(rate, tuning)?;
        listener.ear.keep();
        Ok(listener)
    }

    /// All that was heard of a piece, heard once more with what is due where as a prior. `first` is
    /// what was heard without it; where nothing of the piece is found that stands.
    pub(super) fn again(&self, piece: &Piece, first: Vec<HeardNote>) -> Vec<HeardNote> {
        let due = due(piece, &first);
        if due.is_empty() {
            return first;
        }
        let again = self.ear.again(schedule(&self.ear, &due));
        let mut notes: Vec<HeardNote> = again
            .iter()
            .map(|sounded| told(&self.ear, sounded))
            .collect();
        for note in &mut notes {
            // pitch and level were measured with the sound
            let overlap =
                |other: &&HeardNote| other.end_s.min(note.end_s) - other.start_s.max(note.start_s);
            let from = first.partition_point(|other| other.end_s <= note.start_s);
            let under = first[from..]
                .iter()
                .take_while(|other| other.start_s < note.end_s);
            let Some(best) = under.max_by(|a, b| overlap(a).total_cmp(&overlap(b))) else {
                continue;
            };
            note.level = best.level;
            note.cents = best.cents.filter(|_| best.note == note.note);
        }
        notes
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

fn told(ear: &Ear, sounded: &Sounded) -> HeardNote {
    let (start_s, end_s) = (ear.seconds(sounded.start), ear.seconds(sounded.end));
    HeardNote {
        note: sounded.note,
        start_s,
        end_s,
        confidence: sounded.probability,
        level: sounded.level,
        cents: sounded.look.map(|look| Cents(look.cents)),
        named: sounded.probability > NAMED || end_s - start_s > NAMELESS_S,
    }
}

/// For each frame at which something begins or ceases to be due the prices from there on.
fn schedule(ear: &Ear, due: &[Due]) -> impl FnMut(u64) -> Option<Prices> {
    let span = |due: &Due| (ear.frame(due.first_s), ear.frame(due.last_s), *due);
    let mut coming: VecDeque<(u64, u64, Due)> = due.iter().map(span).collect();
    let mut now: Vec<(u64, u64, Due)> = Vec::new();
    move |frame| {
        let before = now.len();
        now.retain(|(_, last, _)| *last > frame);
        let mut other = now.len() != before;
        while coming.front().is_some_and(|(first, ..)| *first <= frame) {
            now.extend(coming.pop_front());
            other = true;
        }
        other.then(|| {
            let mut prices = prices();
            for (.., due) in &now {
                prices.change[due.from.index()][due.to.index()] = DUE;
            }
            prices
        })
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
        // what is kept for a second hearing says the same, to a tenth of a millisecond
        let mut listener = Listener::keeping(SampleRate(48_000), tuning).expect("a usual rate");
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
