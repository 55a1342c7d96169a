//! The listener: samples in, notes heard out, with bounded memory.

use super::align::Schedule;
use super::cleaning::Cleaning;
use super::drones::{Found, Watch};
use super::ear::Ear;
use super::harmonics::TOP;
use super::heard::HeardNote;
use super::intake::{BLOCK, Block, Intake, RATE};
use super::path::{Due, Prices};
use super::piece::Piece;
use crate::chanter::{Instrument, NOTES, Note, Tuning};
use crate::units::{Cents, SampleRate};

/// Blocks at the start after which the room is taken as known: 8 s.
const FIRST: usize = 8000;
/// Blocks after which drones are looked for again.
const LOOKED: usize = 4096;

/// How much more a room's tails may cost than none, because no room is quite as expected, nats for
/// each of a note's first blocks. Of rooms one cost 0.03 more and the others less than none, what was
/// no room 0.64 and more.
const UNLIKE: f64 = 0.3;

/// Price of a change of note; 11 to 18 scored alike.
const CHANGE: f32 = 13.0;
/// Price of a stop.
const STOP: f32 = 30.0;
/// What F costs more, save beside its neighbours and E: a high G gracenote a little flat is far
/// commoner than an F gracenote (in `movement`'s catalogue F stands in the doubling on E only). Once
/// more in music without an F.
const RARE: f32 = 10.0;
/// What a change that is written costs less, and another more.
const WRITTEN: f32 = 4.0;
const UNWRITTEN: f32 = 3.0;
/// What one costs less where it is due, and how far it may lie off, seconds.
const AWAITED: f32 = 8.0;
const AROUND_S: f64 = 0.06;

/// Prices of the path, where nothing is known of the music.
fn prices() -> Prices {
    let mut change = [[CHANGE; 9]; 9];
    for from in NOTES {
        if !matches!(from, Note::E | Note::HighG | Note::HighA) {
            change[from.index()][Note::F.index()] += RARE;
        }
    }
    Prices {
        change,
        stop: STOP,
        silence: -1.0,
        due: None,
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
            "{} samples a second cannot be brought to 8000 ({}): expected a usual rate such as 44100 or 48000",
            self.rate, self.why
        )
    }
}
impl std::error::Error for RateError {}

/// Hears notes in a stream.
pub struct Listener {
    intake: Intake,
    ear: Ear,
    tuning: Tuning,
    prices: Prices,
    /// The first blocks, to hear them again once the room and the drones are known.
    first: Option<Vec<Block>>,
    /// Looks for drones, where there could be any.
    watch: Option<Watch>,
    /// Blocks by which it was judged when tails explained the first blocks worse than no tails: twice
    /// as many are waited for, and after the first blocks it is no room.
    doubted: usize,
    heard: Vec<HeardNote>,
}

impl Listener {
    /// Begins to listen. Nothing is told before 8 s of sound, because a room that shows itself by
    /// then changes what was heard so far.
    ///
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub fn new(rate: SampleRate, tuning: Tuning) -> Result<Self, RateError> {
        let pipes = tuning.instrument == Instrument::PipeChanter;
        let cleaning = if pipes {
            Cleaning::of_drones(tuning.low_a.0 / 4.0)
        } else {
            Cleaning::default()
        };
        Ok(Self {
            intake: Intake::new(rate, 0.7 * tuning.hertz(Note::LowG).0, TOP)?.cleaned(cleaning),
            ear: Ear::new(tuning, &prices(), false),
            tuning,
            prices: prices(),
            first: Some(Vec::new()),
            watch: pipes.then(|| Watch::new(tuning.low_a.0)),
            doubted: 0,
            heard: Vec::new(),
        })
    }

    /// The same for a player who waits for it: told at once, and a room takes some notes to show.
    ///
    /// # Errors
    /// A sample rate that cannot be resampled.
    pub fn live(rate: SampleRate, tuning: Tuning) -> Result<Self, RateError> {
        Ok(Self {
            intake: Intake::new(rate, 0.7 * tuning.hertz(Note::LowG).0, TOP)?,
            first: None,
            ..Self::new(rate, tuning)?
        })
    }

    /// Makes ready for so many samples that come first and are not heard: a metronome's clicks are
    /// learned from them too.
    #[must_use]
    pub fn after(mut self, samples: usize) -> Self {
        self.intake = self.intake.after(samples);
        self
    }

    /// Makes ready for a piece: clicks on its beat, and its changes of note.
    #[must_use]
    pub fn of_piece(mut self, piece: &Piece) -> Self {
        self.intake = self.intake.with_beat(piece.beat_s);
        self.expecting(&piece.moves())
    }

    /// Makes ready for written music: its changes of note are likelier than others.
    #[must_use]
    pub fn expecting(mut self, moves: &[(Note, Note)]) -> Self {
        self.prices = prices();
        let f_is_played = moves.iter().any(|(_, to)| *to == Note::F);
        for from in NOTES {
            for to in NOTES {
                let price = &mut self.prices.change[from.index()][to.index()];
                *price = if moves.contains(&(from, to)) {
                    CHANGE - WRITTEN
                } else {
                    *price + UNWRITTEN
                };
                if to == Note::F && !f_is_played {
                    *price += RARE;
                }
            }
        }
        self.ear = Ear::new(self.tuning, &self.prices, false);
        self
    }

    /// The same where it is known when its changes are due: a note that can hardly be heard is taken
    /// for what is written there.
    pub(super) fn awaiting(mut self, schedule: &Schedule) -> Self {
        let blocks = |seconds: f64| seconds * f64::from(RATE) / BLOCK as f64;
        self.prices.due = Some(Due {
            period: blocks(schedule.cycle_s),
            first: blocks(schedule.first_s),
            changes: schedule
                .changes
                .iter()
                .map(|(at, from, to)| (blocks(*at), from.index(), to.index()))
                .collect(),
            around: blocks(AROUND_S),
            price: CHANGE - AWAITED,
        });
        self.ear = Ear::new(self.tuning, &self.prices, false);
        self
    }

    /// The same with drones that are known, or with none.
    pub(super) fn with_drones(mut self, found: Option<&Found>) -> Self {
        self.watch = None;
        if let Some(found) = found {
            self.ear.expect_drones(found);
        }
        self
    }

    /// The same, which watches for drones and remembers all of it.
    pub(super) fn watching_all(mut self) -> Self {
        self.watch = self.watch.map(Watch::of_all);
        self
    }

    /// Takes mono samples.
    pub fn push(&mut self, samples: &[f32]) {
        self.intake.push(samples);
        self.work();
    }

    fn work(&mut self) {
        while let Some(block) = self.intake.next() {
            if let Some(first) = &mut self.first {
                first.push(block);
            }
            // what is left of drones that were taken off is not looked for
            match &mut self.watch {
                Some(watch) if self.intake.took_drones() => watch.interrupt(),
                Some(watch) => watch.push(&block.samples, block.level),
                None => {}
            }
            self.ear.take(&block);
            if self.ear.block.is_multiple_of(64) {
                self.ear.settle(false);
                self.mind_the_drones();
                self.mind_the_room();
            }
        }
        if self.first.is_none() {
            self.heard.append(&mut self.ear.heard);
        }
    }

    /// Looks for drones: often as long as what was heard can be heard again with them.
    fn mind_the_drones(&mut self) {
        let often = if self.first.is_some() && !self.ear.has_drones() {
            512
        } else {
            LOOKED
        };
        if !self.ear.block.is_multiple_of(often) {
            return;
        }
        let Some(found) = self.watch.as_ref().and_then(Watch::found) else {
            return;
        };
        match &self.first {
            Some(first) => {
                let mut again = Ear::new(self.tuning, &self.prices, false);
                again.expect_drones(&found);
                again.hear_again(first);
                self.ear = again;
            }
            None => self.ear.expect_drones(&found),
        }
    }

    fn mind_the_room(&mut self) {
        // drones, and what is left of them, muddy young notes too
        let drones = self.ear.has_drones() || self.intake.took_drones();
        let room = self.ear.room() && !drones;
        if room != self.ear.tails {
            match &self.first {
                Some(first) if room && self.ear.judged >= 2 * self.doubted => {
                    let again = Ear::new(self.tuning, &self.prices, true).in_the_room(first);
                    let dearer = again.cost() - self.ear.cost();
                    if dearer < UNLIKE * self.ear.judged as f64 {
                        self.ear = again;
                    } else {
                        self.doubted = self.ear.judged;
                    }
                }
                _ if !self.ear.fixed && self.doubted == 0 => {
                    self.ear.reckon_with_tails(room);
                }
                _ => {}
            }
        }
        if self
            .first
            .as_ref()
            .is_some_and(|first| first.len() >= FIRST)
        {
            self.first = None;
            self.ear.fixed = false;
        }
    }

    /// Power of the last blocks, dB of full scale, in the band of the chanter.
    pub fn level(&self) -> f64 {
        self.ear.level()
    }

    /// The note that sounds now, and how far it lies off the tuning by its last 40 ms; none where
    /// silence does.
    pub fn sounding(&self) -> Option<(Note, Cents)> {
        self.ear.sounding()
    }

    /// The notes heard since the last call, in order; a note appears when it has ended.
    pub fn heard(&mut self) -> Vec<HeardNote> {
        std::mem::take(&mut self.heard)
    }

    /// Samples that were no numbers, taken as silence.
    pub fn broken(&self) -> u64 {
        self.intake.broken
    }

    /// The end of the sound: the rest of the notes.
    pub fn finish(self) -> Vec<HeardNote> {
        self.finish_watching().0
    }

    /// The same, and what watched for drones.
    pub(super) fn finish_watching(mut self) -> (Vec<HeardNote>, Option<Watch>) {
        self.intake.finish();
        self.work();
        self.ear.settle(true);
        self.heard.append(&mut self.ear.heard);
        (self.heard, self.watch)
    }
}

#[cfg(test)]
mod tests;
