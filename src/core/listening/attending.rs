//! Repetitions listened to while they are played, for a stream that never ends.
//!
//! Keeps the last seconds of sound and what sounds now. When a repetition is over, its sound is
//! heard again as a whole, like a recording: by then its closing note has ended, and how the room
//! colours the first notes is known. Knows no device and no clock: the place of a repetition is
//! given in seconds of the stream and may be off by a quarter of a second.

use super::align::align;
use super::hearing::Listener;
use super::intake::RateError;
use super::piece::ExpectedStage;
use super::recording::{Remark, hear_piece};
use crate::chanter::{Note, Tuning};
use crate::practice::{LATE, Measurement};
use crate::units::{Cents, FullScale, Hertz, Milliseconds, SampleRate, Seconds};
use std::collections::VecDeque;

/// Seconds of sound that are kept, 17 MB at 48 kHz; more where a repetition is longer.
const KEPT_S: f64 = 90.0;
/// The longest repetition that can be heard, seconds, 60 MB at 48 kHz: sixty-four bars of four beats at
/// 52 beats a minute. Chosen.
pub const LONGEST_S: f64 = 300.0;
/// Seconds that are kept beside a long repetition: what lies around it, and the time until it is cut out.
const BESIDE_S: f64 = 10.0;
/// Seconds of sound before and after a repetition that are heard with it, because the note that
/// ends it may ring on. It can be cut out once this much has come in after its end. Chosen.
pub const AROUND_S: f64 = 0.35;
/// Below this level it is silent: a microphone's own noise lies below.
const SILENT: FullScale = FullScale(-60.0);
/// From this level on sound without a note is reported: a quiet room lies below. Chosen.
const LOUD: FullScale = FullScale(-50.0);
/// A note held longer than this, seconds, is played: a vowel of somebody who talks is shorter.
const HELD_S: f64 = 0.3;
/// Where notes sound for a smaller share of a repetition than this, nobody played it: talk fills
/// less. Chosen.
const PLAYED: f64 = 0.25;

/// What sounds now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeardNow {
    /// Level in the band of the chanter.
    pub level: FullScale,
    /// The note and how far it lies off the tuning, once that was measured; none in silence.
    pub note: Option<(Note, Option<Cents>)>,
    /// How that note is held; none while it is new.
    pub held: Option<HeldNote>,
    /// The microphone is too loud: samples at full scale in the last second.
    pub clips: bool,
    /// How long nothing has been heard.
    pub silent: Seconds,
    /// How long there has been sound and no note in it; silence does not count.
    pub unheard: Seconds,
    /// Low A that is listened with.
    pub low_a: Hertz,
}

/// How evenly a note is held.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeldNote {
    /// How long it has been held.
    pub length: Seconds,
    /// Mean distance from the tuning over its last [`EVEN_S`] seconds.
    pub cents: Cents,
    /// How far it wandered in that time: the standard deviation.
    pub spread: Cents,
}

/// Seconds over which a held note's evenness is measured: long enough to show how a breath swells.
/// Chosen.
pub const EVEN_S: f64 = 3.0;
/// A note must have sounded for so many seconds before its pitch counts: the pitch is that of the
/// last 85 ms, in which a finger may still have been moving.
const NEW_S: f64 = 0.15;
/// Least time between two pitches that are remembered, seconds: the ear measures one every 25 ms of
/// a practice chanter, and 12 ms of pipes.
const LOOK_S: f64 = 0.012;
/// Share of samples at full scale from which a block clips, as in a recording.
const CLIPPED: f64 = 0.001;

/// The note that sounds now, from when it began.
#[derive(Debug, Default)]
struct Holding {
    note: Option<Note>,
    since_s: f64,
    /// Its pitches of the last [`EVEN_S`] seconds: when each was measured, in seconds, and how many
    /// cents it was off.
    looks: VecDeque<(f64, f64)>,
}

impl Holding {
    fn look(&mut self, now_s: f64, note: Option<(Note, Option<Cents>)>) {
        if self.note != note.map(|(note, _)| note) {
            self.note = note.map(|(note, _)| note);
            self.since_s = now_s;
            self.looks.clear();
        }
        let Some((_, Some(off))) = note else { return };
        let new = now_s < self.since_s + NEW_S;
        let soon = self.looks.back().is_some_and(|(at, _)| now_s < at + LOOK_S);
        if !new && !soon {
            self.looks.push_back((now_s, off.0));
        }
        while self
            .looks
            .front()
            .is_some_and(|(at, _)| *at < now_s - EVEN_S)
        {
            self.looks.pop_front();
        }
    }

    fn told(&self, now_s: f64) -> Option<HeldNote> {
        if self.looks.len() < 3 {
            return None;
        }
        let count = self.looks.len() as f64;
        let mean = self.looks.iter().map(|(_, off)| off).sum::<f64>() / count;
        let squares: f64 = self.looks.iter().map(|(_, off)| (off - mean).powi(2)).sum();
        Some(HeldNote {
            length: Seconds(now_s - self.since_s),
            cents: Cents(mean),
            spread: Cents((squares / count).sqrt()),
        })
    }
}

/// A repetition as it was heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Attended {
    /// The figures.
    pub measured: Measurement,
    /// What was wrong with the sound itself, if anything.
    pub trouble: Option<SoundTrouble>,
    /// How far the player was ahead of the click all through, negative behind; none
    /// where the round trip of the devices was not measured. The same stands in the figures.
    pub lead: Option<Milliseconds>,
}

impl Attended {
    /// The answer for a repetition of which sound was lost: it is not heard at all.
    pub fn late(piece: &ExpectedStage) -> Self {
        Self {
            measured: Measurement::nothing(piece.beat.milliseconds()),
            trouble: Some(SoundTrouble::Late),
            lead: None,
        }
    }
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
    /// The computer lost sound.
    Late,
}

impl std::fmt::Display for SoundTrouble {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Odd(remark) => remark.fmt(f),
            Self::Nothing => f.write_str(
                "no chanter is heard: is the microphone near, and its low A right (--la)?",
            ),
            Self::Other => {
                f.write_str("what is heard is not this stage; does the loudspeaker drown you?")
            }
            Self::Late => f.write_str(LATE),
        }
    }
}

/// Listens to a stream and keeps what is needed to hear a repetition of it.
pub struct Attention {
    rate: SampleRate,
    tuning: Tuning,
    now: Listener,
    kept: VecDeque<f32>,
    keeps: Seconds,
    taken: u64,
    holding: Holding,
    /// When a block clipped last, and when something was heard last, seconds.
    clipped_s: f64,
    sounded_s: f64,
    /// Sound without a note since the last note, seconds.
    unheard_s: f64,
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
            now: Listener::new(rate, tuning)?,
            kept: VecDeque::with_capacity((KEPT_S * f64::from(rate.0)) as usize),
            keeps: Seconds(KEPT_S),
            taken: 0,
            holding: Holding::default(),
            clipped_s: f64::NEG_INFINITY,
            sounded_s: 0.0,
            unheard_s: 0.0,
        })
    }

    /// Keeps from now on as much as a repetition of a piece needs, up to the longest that can be heard.
    pub fn keep_for(&mut self, piece: &ExpectedStage) {
        let needs = piece.length.0.min(LONGEST_S) + BESIDE_S;
        if needs > self.keeps.0 {
            self.keeps = Seconds(needs);
            let most = (needs * f64::from(self.rate.0)) as usize;
            self.kept.reserve_exact(most - self.kept.len().min(most));
        }
    }

    /// Takes mono samples. They are heard in pieces of 10 ms, however many come at once, so that
    /// what is told of a held note does not depend on the device's block size.
    pub fn push(&mut self, samples: &[f32]) {
        for piece in samples.chunks((self.rate.0 as usize / 100).max(1)) {
            self.push_piece(piece);
        }
    }

    fn push_piece(&mut self, samples: &[f32]) {
        self.taken += samples.len() as u64;
        let most = (self.keeps.0 * f64::from(self.rate.0)) as usize;
        let over = (self.kept.len() + samples.len()).saturating_sub(most);
        self.kept.drain(..over.min(self.kept.len()));
        self.kept.extend(samples.iter().rev().take(most).rev());
        self.now.push(samples);
        // the notes themselves are heard when the repetition is over
        drop(self.now.heard());
        let now_s = self.seconds().0;
        let full = samples
            .iter()
            .filter(|sample| sample.abs() >= 0.999)
            .count();
        if full as f64 > CLIPPED * samples.len() as f64 {
            self.clipped_s = now_s;
        }
        // a note that is heard is no silence, however soft the microphone is
        if self.now.level() > SILENT || self.now.sounding().is_some() {
            self.sounded_s = now_s;
        }
        self.holding.look(now_s, self.now.sounding());
        if self.holding.note.is_some() && now_s > self.holding.since_s + HELD_S {
            self.unheard_s = 0.0;
        } else if self.now.level() > LOUD {
            self.unheard_s += samples.len() as f64 / f64::from(self.rate.0);
        }
    }

    /// How long the stream is so far.
    pub fn seconds(&self) -> Seconds {
        Seconds(self.taken as f64 / f64::from(self.rate.0))
    }

    /// What sounds now.
    pub fn now(&self) -> HeardNow {
        let now_s = self.seconds().0;
        HeardNow {
            level: self.now.level(),
            note: self.now.sounding(),
            held: self.holding.told(now_s),
            clips: now_s < self.clipped_s + 1.0,
            silent: Seconds(now_s - self.sounded_s),
            unheard: Seconds(self.unheard_s),
            low_a: self.tuning.low_a,
        }
    }

    /// Listens with another low A from now on; what is kept stays.
    ///
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub fn tune(&mut self, tuning: Tuning) -> Result<(), RateError> {
        self.now = Listener::new(self.rate, tuning)?;
        self.tuning = tuning;
        self.holding = Holding::default();
        Ok(())
    }

    /// Samples a second of the stream.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// What is listened with.
    pub fn tuning(&self) -> Tuning {
        self.tuning
    }

    /// The sound that is kept from a moment of the stream on.
    pub fn since(&self, start: Seconds) -> Vec<f32> {
        let first_kept = self.taken - self.kept.len() as u64;
        let from = (start.0.max(0.0) * f64::from(self.rate.0)) as u64;
        let skip = from.saturating_sub(first_kept) as usize;
        self.kept.iter().skip(skip).copied().collect()
    }

    /// The sound of a repetition that began at `start` in the stream and is over, to be heard on
    /// any thread. `exact` says that the place is known to a few milliseconds: then the player's
    /// lead is the distance to the click and not only the same all through.
    pub fn cut(&self, piece: &ExpectedStage, start: Seconds, exact: bool) -> Cut {
        let rate = f64::from(self.rate.0);
        let first_kept = self.taken - self.kept.len() as u64;
        let place = |seconds: f64| {
            let sample = (seconds.max(0.0) * rate) as u64;
            (sample.saturating_sub(first_kept) as usize).min(self.kept.len())
        };
        let (from, to) = (
            place(start.0 - AROUND_S),
            place(start.0 + piece.length.0 + AROUND_S),
        );
        Cut {
            rate: self.rate,
            tuning: self.tuning,
            samples: self.kept.range(from..to.max(from)).copied().collect(),
            start_s: exact.then(|| start.0 - (first_kept + from as u64) as f64 / rate),
        }
    }
}

/// The sound of one repetition.
#[derive(Debug, Clone)]
pub struct Cut {
    rate: SampleRate,
    tuning: Tuning,
    samples: Vec<f32>,
    /// Where the first click is heard in it, where that is known.
    start_s: Option<f64>,
}

impl Cut {
    /// Hears and measures it; this computes for about a hundredth of its length.
    ///
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub fn hear(&self, piece: &ExpectedStage) -> Result<Attended, RateError> {
        let mut blocks = self.samples.chunks(65_536);
        let heard = hear_piece(
            self.rate,
            Some(self.tuning.low_a),
            self.tuning.table,
            piece,
            || blocks.next().map(<[f32]>::to_vec).unwrap_or_default(),
        )?;
        let sounded: f64 = heard.notes.iter().map(|note| note.length().0).sum();
        let odd = heard
            .remarks
            .into_iter()
            .find(|remark| matches!(remark, Remark::Silent(_) | Remark::Clipped(_)));
        let played = sounded > PLAYED * piece.length.0;
        // where too little was played, nothing is judged as a repetition
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
        let lead = found
            .as_ref()
            .zip(self.start_s)
            .map(|(found, start_s)| Seconds(start_s - found.start.0).milliseconds());
        let mut measured = found.map_or_else(
            || Measurement::nothing(piece.beat.milliseconds()),
            |found| found.measured,
        );
        measured.lead_ms = lead.unwrap_or(measured.lead_ms);
        Ok(Attended {
            measured,
            trouble,
            lead,
        })
    }
}

#[cfg(test)]
mod tests;
