//! The ear: turns samples into segments of notes, for one given pitch of low A.
//!
//! The sound is resampled to a rate, in hertz, of 50 times low A. To the network low A is then always
//! 240 Hz at 12 kHz, so that it need not learn tunings or instruments. A frame is [`HOP`] of these
//! samples: 1 ms of a practice chanter (low A about 240 Hz), half of that of pipes (about 480 Hz).

use super::intake::{Intake, RateError};
use super::kept::Kept;
use super::path::{NONE, Path, Prices, Segment};
use super::pitch::{LOOKED_AT, Look, Pitch, decibels};
use super::tape::{FRAMES, Tape};
use crate::chanter::{NOTES, Note, Tuning};
use crate::units::{Cents, FullScale, SampleRate, median};
use gracerung_net::{CLASSES, HOP, Network, Weights};
use std::collections::VecDeque;
use std::sync::{Arc, LazyLock};

/// The trained network. `training/README.md` says what it was trained on and how well it hears.
static WEIGHTS: LazyLock<Arc<Weights>> = LazyLock::new(|| {
    let weights = Weights::read(include_bytes!("ear.weights"));
    // the tests of `gracerung_net` read the same file, so it is known to be whole
    Arc::new(weights.expect("the weights that are built in are whole"))
});

/// The network's sample rate divided by the low A, in hertz, that it expects.
fn samples_per_hertz() -> f64 {
    f64::from(WEIGHTS.shape().rate) / WEIGHTS.shape().low_a_hz
}

/// Frames between two looks at the pitch of what sounds: 25 ms of a practice chanter, so that a note of
/// 110 ms has one.
const LOOK_EVERY: u64 = 25;
/// Frames whose sound one look at the pitch takes in.
const LOOK_FRAMES: u64 = (LOOKED_AT / HOP) as u64;
/// How many looks are remembered: those of the frames that are still on the tape.
const LOOKS: usize = FRAMES / LOOK_EVERY as usize;

/// Shortest stretch of playing between two rests, seconds. A chanter's sound is continuous
/// (National Museums Scotland, the trade's facts), so a shorter one is a word of somebody who
/// talks. Chosen on tuning takes: it cost no note that was played and removed nine tenths of the
/// notes that a voice was taken for.
const STRETCH_S: f64 = 0.15;

/// A segment of a note, measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sounded {
    pub note: Note,
    /// Start and end, frames, finer than a frame where the network tells it.
    pub start: f64,
    pub end: f64,
    /// Mean probability that the network gives it.
    pub probability: f64,
    /// Mean power of the sound; none where the sound has gone.
    pub level: Option<FullScale>,
    /// Pitch, where it was held for long enough.
    pub look: Option<Look>,
}

/// Hears notes at one low A.
pub(super) struct Ear {
    intake: Intake,
    network: Network,
    told: Told,
    /// Every frame so far; kept only where the sound is to be heard once more.
    kept: Option<Kept>,
    rate: f64,
}

/// The segments that are made of the network's frames.
struct Told {
    path: Path,
    prices: Prices,
    tape: Tape,
    pitch: Pitch,
    tuning: Tuning,
    /// Each look with its frame and the note that sounded.
    looks: VecDeque<(u64, Note, Look)>,
    /// Notes since the last rest, until the stretch is long enough to be playing.
    stretch: Vec<Sounded>,
    /// Shortest stretch of playing between two rests, frames.
    least: f64,
    sounded: Vec<Sounded>,
}

impl Ear {
    /// # Errors
    /// A rate that cannot be resampled.
    pub(super) fn new(rate: SampleRate, tuning: Tuning, prices: Prices) -> Result<Self, RateError> {
        let to = samples_per_hertz() * tuning.low_a.0;
        Ok(Self {
            intake: Intake::new(rate, to)?,
            network: Network::new(Arc::clone(&WEIGHTS)),
            told: Told::new(tuning, to, prices),
            kept: None,
            rate: to,
        })
    }

    /// Keeps every frame from now on, so that the sound can be heard [`Ear::again`].
    pub(super) fn keep(&mut self) {
        self.kept = Some(Kept::default());
    }

    /// What is kept; nothing without [`Ear::keep`].
    pub(super) fn kept(&mut self) -> &mut Kept {
        self.kept.get_or_insert_default()
    }

    /// Hears once more what is kept, with the prices that `prices` gives from some frames on.
    /// Levels and pitches are not measured: the sound itself is no longer there.
    pub(super) fn again(&self, mut prices: impl FnMut(u64) -> Option<Prices>) -> Vec<Sounded> {
        let mut told = Told::new(self.told.tuning, self.rate, self.told.prices.clone());
        let first = self.kept.as_ref().map_or(0, Kept::first);
        let kept = self.kept.iter().flat_map(Kept::frames);
        for (at, frame) in (first..).zip(kept) {
            if let Some(prices) = prices(at) {
                told.path.price(&prices);
            }
            told.frame(&frame);
        }
        told.path.finish();
        told.measure();
        for sounded in &mut told.sounded {
            sounded.start += first as f64;
            sounded.end += first as f64;
        }
        told.sounded
    }

    /// The frame that a second of the sound lies in.
    pub(super) fn frame(&self, seconds: f64) -> u64 {
        ((seconds * self.rate - self.intake.lead) / HOP as f64).max(0.0) as u64
    }

    /// Seconds from the first sample to a place in frames.
    pub(super) fn seconds(&self, frame: f64) -> f64 {
        (frame * HOP as f64 + self.intake.lead) / self.rate
    }

    /// Takes mono samples.
    pub(super) fn push(&mut self, samples: &[f32]) {
        let Self {
            intake,
            network,
            told,
            kept,
            ..
        } = self;
        intake.push(samples, |piece| {
            told.tape.hear(piece);
            network.push(piece, &mut |frame| told.take(frame, kept));
        });
    }

    /// The end of the sound.
    pub(super) fn finish(&mut self) {
        let Self {
            intake,
            network,
            told,
            kept,
            ..
        } = self;
        intake.finish(|piece| {
            told.tape.hear(piece);
            network.push(piece, &mut |frame| told.take(frame, kept));
        });
        network.finish(&mut |frame| told.take(frame, kept));
        told.path.finish();
        told.measure();
    }

    /// The notes settled since the last call, in order.
    pub(super) fn take(&mut self) -> std::vec::Drain<'_, Sounded> {
        self.told.sounded.drain(..)
    }

    /// Mean power of the last 20 ms of a practice chanter, dB of full scale.
    pub(super) fn level(&self) -> f64 {
        let now = self.told.tape.frames();
        decibels(
            self.told
                .tape
                .power(now.saturating_sub(20), now)
                .unwrap_or(0.0),
        )
    }

    /// The note that sounds now and the last look at its pitch; a new note has none yet.
    pub(super) fn sounding(&self) -> Option<(Note, Option<Look>)> {
        let (class, start) = self.told.path.now();
        let note = note(class)?;
        let last = self.told.looks.back();
        let look = last.filter(|(frame, of, _)| *of == note && *frame >= start);
        Some((note, look.map(|(_, _, look)| *look)))
    }

    /// How surely notes of this low A sound: the mean probability of each frame's likeliest note.
    pub(super) fn sureness(&self) -> f64 {
        self.told.tape.sureness()
    }
}

impl Told {
    fn new(tuning: Tuning, rate: f64, prices: Prices) -> Self {
        Self {
            path: Path::new(&prices),
            prices,
            tape: Tape::default(),
            pitch: Pitch::new(rate),
            tuning,
            looks: VecDeque::with_capacity(LOOKS + 1),
            stretch: Vec::new(),
            least: STRETCH_S * rate / HOP as f64,
            sounded: Vec::new(),
        }
    }

    fn take(&mut self, frame: &[f32; CLASSES], kept: &mut Option<Kept>) {
        if let Some(kept) = kept {
            kept.push(frame);
        }
        self.frame(frame);
    }

    fn frame(&mut self, frame: &[f32; CLASSES]) {
        self.path.push(frame);
        self.tape.tell(frame);
        if self.tape.frames().is_multiple_of(LOOK_EVERY) {
            self.look();
        }
        // measured after each frame and not after each call: one call may bring more sound than the
        // tape keeps, and the sound of settled segments would be gone
        self.measure();
    }

    /// Looks at the pitch of what sounds now, where it has sounded for long enough.
    fn look(&mut self) {
        let now = self.tape.frames();
        let first = now.saturating_sub(LOOK_FRAMES);
        let (class, start) = self.path.now();
        let Some(note) = note(class).filter(|_| start <= first) else {
            return;
        };
        let samples = self.tape.samples(first, LOOKED_AT);
        let hertz = self.tuning.hertz(note).0;
        if let Some(look) = samples.and_then(|samples| self.pitch.look(samples, hertz)) {
            if self.looks.len() == LOOKS {
                self.looks.pop_front();
            }
            self.looks.push_back((now, note, look));
        }
    }

    /// Measures the segments that are settled.
    fn measure(&mut self) {
        for Segment { class, start, end } in self.path.take() {
            let Some(note) = note(class) else {
                // no chanter plays so short a stretch between two rests
                self.stretch.clear();
                continue;
            };
            let inside = |(frame, of, _): &&(u64, Note, Look)| {
                *of == note && (start + LOOK_FRAMES..=end).contains(frame)
            };
            let looks = self.looks.iter().filter(inside);
            let (mut cents, mut levels): (Vec<f64>, Vec<f64>) = looks
                .map(|(_, _, look)| (look.cents.0, look.level.0))
                .unzip();
            let look = median(&mut cents).zip(median(&mut levels));
            let look = look.map(|(cents, level)| Look {
                cents: Cents(cents),
                level: FullScale(level),
            });
            let whole = self.tape.power(start, end).map(decibels);
            self.stretch.push(Sounded {
                note,
                start: self.tape.edge(start),
                end: self.tape.edge(end),
                probability: self.tape.probability(class, start, end),
                level: look.map(|look| look.level).or(whole.map(FullScale)),
                look,
            });
            let since = self.stretch.first().map_or(0.0, |first| first.start);
            if end as f64 - since >= self.least {
                self.sounded.append(&mut self.stretch);
            }
        }
    }
}

fn note(class: usize) -> Option<Note> {
    (class < NONE).then(|| NOTES[class])
}
