//! Hears a piece twice: once as it sounds, and once more with the changes that are due at each time
//! as a prior.
//!
//! The second hearing needs the network's probabilities and no sound. It goes window by window, so
//! that a long recording takes no more memory than a short one: a window is heard once enough is
//! kept, and what lies near its end is left to the next window, in which it is known what came
//! after. It knows notes and seconds and nothing of files.

use super::due::{Due, due};
use super::ear::Ear;
use super::heard::HeardNote;
use super::hearing::{Listener, prices, told};
use super::intake::RateError;
use super::path::Prices;
use super::piece::ExpectedStage;
use crate::chanter::Tuning;
use crate::units::SampleRate;
use std::collections::VecDeque;

/// Price of a change that is due, nats. Chosen between 0 and 10 on takes of our own rendering: at
/// 3, gracenotes in noise and false-fingered ones are heard as they are written, and of 108 that
/// were left out none was heard. At lower prices no more are found, and notes that are drowned by
/// noise are heard because they are written.
const DUE: f32 = 3.0;

/// The most rows of frames that are kept, 12 MB: a quarter of an hour of a practice chanter where
/// no two frames are alike, and an hour and more of quiet playing.
const MOST: usize = 1_000_000;
/// How much of a window's end is left to the next window, in cycles and in seconds: a repetition
/// that begins there must be whole to be found, and the path settles within 2.5 s.
const LEFT_CYCLES: f64 = 1.5;
const LEFT_S: f64 = 5.0;
/// How many seconds of a window are heard again with the next one: longer than the shortest stretch
/// that counts as playing, so that a note at the border has its neighbours.
const BEFORE_S: f64 = 0.2;

/// Hears a piece twice.
pub(super) struct Twice<'a> {
    piece: &'a ExpectedStage,
    listener: Listener,
    /// The notes heard without the prior: their pitches and levels are the ones that count.
    first: Vec<HeardNote>,
    /// The notes heard with the prior, up to `until_s`.
    notes: Vec<HeardNote>,
    until_s: f64,
    most: usize,
}

impl<'a> Twice<'a> {
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub(super) fn new(
        rate: SampleRate,
        tuning: Tuning,
        piece: &'a ExpectedStage,
    ) -> Result<Self, RateError> {
        let mut listener = Listener::new(rate, tuning)?;
        listener.ear.keep();
        Ok(Self {
            piece,
            listener,
            first: Vec::new(),
            notes: Vec::new(),
            until_s: f64::NEG_INFINITY,
            most: MOST,
        })
    }

    /// Takes mono samples.
    pub(super) fn push(&mut self, samples: &[f32]) {
        self.listener.push(samples);
        self.first.append(&mut self.listener.heard());
        if self.listener.ear.kept().runs() >= self.most {
            let mut again = self.again();
            let (first, next) = (
                self.listener.ear.kept().first(),
                self.listener.ear.kept().next(),
            );
            let seconds = |frame: u64| self.listener.ear.seconds(frame as f64);
            let left = LEFT_CYCLES * self.piece.cycle.0 + LEFT_S;
            let until = (seconds(next) - left).max(seconds(first.midpoint(next)));
            let settled = again.partition_point(|note| note.start_s < until);
            self.until_s = again.get(settled).map_or(until, |note| note.start_s);
            again.truncate(settled);
            self.notes.append(&mut again);
            let needed = self.listener.ear.frame(self.until_s - BEFORE_S);
            self.listener.ear.kept().forget_before(needed);
        }
    }

    /// The end of the sound: all that was heard.
    pub(super) fn finish(mut self) -> Vec<HeardNote> {
        self.listener.end();
        self.first.append(&mut self.listener.heard());
        let mut rest = self.again();
        self.notes.append(&mut rest);
        self.notes
    }

    /// The notes after `until_s`, heard once more; where nothing of the piece is found, as they
    /// were heard first.
    fn again(&self) -> Vec<HeardNote> {
        let ear = &self.listener.ear;
        let due = due(self.piece, &self.first);
        let mut notes: Vec<HeardNote> = if due.is_empty() {
            self.first.clone()
        } else {
            let again = ear.again(schedule(ear, &due));
            again.iter().map(|sounded| told(ear, sounded)).collect()
        };
        // a note whose middle lies before the border was taken already
        notes.retain(|note| 0.5 * (note.start_s + note.end_s) > self.until_s);
        if !due.is_empty() {
            for note in &mut notes {
                self.measured(note);
            }
        }
        notes
    }

    /// Pitch and level of what was heard first in a note's time: they were measured with the sound.
    fn measured(&self, note: &mut HeardNote) {
        let overlap =
            |other: &&HeardNote| other.end_s.min(note.end_s) - other.start_s.max(note.start_s);
        let from = self
            .first
            .partition_point(|other| other.end_s <= note.start_s);
        let under = self.first[from..]
            .iter()
            .take_while(|other| other.start_s < note.end_s);
        if let Some(best) = under.max_by(|a, b| overlap(a).total_cmp(&overlap(b))) {
            note.level = best.level;
            note.cents = best.cents.filter(|_| best.note == note.note);
        }
    }
}

/// The prices from each frame on at which a change begins or ceases to be due.
fn schedule(ear: &Ear, due: &[Due]) -> impl FnMut(u64) -> Option<Prices> {
    let span = |due: &Due| (ear.frame(due.first.0), ear.frame(due.last.0), *due);
    let mut coming: VecDeque<(u64, u64, Due)> = due.iter().map(span).collect();
    let mut now: Vec<(u64, u64, Due)> = Vec::new();
    move |frame| {
        let before = now.len();
        now.retain(|(_, last, _)| *last > frame);
        let mut other = now.len() != before;
        while coming.front().is_some_and(|(first, ..)| *first <= frame) {
            let begun = coming.pop_front();
            now.extend(begun.filter(|(_, last, _)| *last > frame));
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
    use crate::drill::{built_in, read};
    use crate::score::resolve_music;
    use crate::timeline::{Layout, lay};
    use crate::units::{Beats, Bpm};

    /// Without it two hours with a drill would take more memory with each minute, or a note at the border
    /// of two windows would be lost or told twice.
    #[test]
    fn windows_hear_what_the_whole_hears_and_keep_no_more_than_they_may() {
        let file = built_in("grip-from-d").expect("it is there");
        let drill = read(file.text.as_bytes()).0.expect("it reads");
        let stage = drill.stages.last().expect("it has stages");
        let score = resolve_music(&stage.music, Beats::whole(1), &drill.schools);
        let tempo = Bpm::whole(160).expect("a tempo");
        let piece = ExpectedStage::of(&score, &lay(&score, &Layout::at(tempo, SampleRate::USUAL)));
        let tuning = Tuning::default();
        let mut phase = 0.0_f64;
        let mut sound = Vec::new();
        for cycle in 0..5 {
            for (at, note) in piece.notes.iter().enumerate() {
                let begins = f64::from(cycle) * piece.cycle.0 + note.start_s + 1.0;
                let ends = piece.notes.get(at + 1).map_or(piece.cycle.0, |n| n.start_s);
                let ends = f64::from(cycle) * piece.cycle.0 + ends + 1.0;
                sound.resize((begins * 24_000.0) as usize, 0.0);
                while sound.len() < (ends * 24_000.0) as usize {
                    phase += tuning.hertz(note.note).0 / 24_000.0;
                    let wave = |k: i32| {
                        let turn = std::f64::consts::TAU * phase * f64::from(k);
                        turn.sin() * 0.8_f64.powi(k)
                    };
                    sound.push((0.1 * (1..12).map(wave).sum::<f64>()) as f32);
                }
            }
        }
        let heard = |most: usize| {
            let rate = SampleRate(24_000);
            let mut twice = Twice::new(rate, tuning, &piece).expect("a usual rate");
            twice.most = most;
            let (mut kept, mut windows) = (0, 0);
            for piece in sound.chunks(2_400) {
                twice.push(piece);
                kept = kept.max(twice.listener.ear.kept().runs());
                windows += usize::from(twice.until_s.is_finite());
            }
            (twice.finish(), kept, windows)
        };
        let (whole, most, windows) = heard(MOST);
        assert_eq!(windows, 0);
        assert!(whole.len() > 3 * piece.notes.len(), "{}", whole.len());
        let (cut, kept, windows) = heard(most * 2 / 3);
        assert!(windows > 0 && kept < most * 2 / 3 + 100, "{kept} of {most}");
        assert_eq!(whole.len(), cut.len());
        for (one, other) in whole.iter().zip(&cut) {
            assert_eq!(one.note, other.note);
            assert!(
                (one.start_s - other.start_s).abs() < 1e-3,
                "{one:?} {other:?}"
            );
            assert_eq!(one.cents, other.cents);
        }
    }
}
