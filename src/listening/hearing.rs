//! The listener: samples in, notes heard out, with bounded memory.

#![expect(
    clippy::inline_always,
    reason = "pulp compiles for the machine's vectors only what is inlined into its dispatch"
)]

use super::align::Schedule;
use super::cleaning::Cleaning;
use super::drones::{Found, Watch};
use super::gate::Gate;
use super::harmonics::{Bank, LENGTHS, Noise, TOP};
use super::heard::HeardNote;
use super::intake::{BLOCK, Block, Intake, RATE};
use super::path::{Due, KEPT, Path, Prices, Stretch};
use super::piece::Piece;
use crate::chanter::{Instrument, NOTES, Note, Tuning};
use crate::units::{Cents, SampleRate};
use pulp::{Arch, NullaryFnOnce};

/// Variance of what a steady note leaves unexplained, against its power.
const NOISE: f32 = 0.2;
/// Blocks at the start after which the room is taken as known: 8 s.
const FIRST: usize = 8000;
/// Blocks between two measurements of the pitch.
const PITCHED: usize = 8;
/// Place in [`LENGTHS`] of the stretch by which the room is judged: 10 blocks.
const WATCHED: usize = 5;
/// Blocks after which drones are looked for again.
const LOOKED: usize = 4096;

/// Power of a note's tail in the room once the next note sounds, against the note's. 0.05 to 0.2
/// scored alike in rooms with 3 to 9 dB of direct sound.
const TAIL: f64 = 0.15;
/// Blocks for which the tail of the note before is reckoned with.
const TAILS: usize = 60;
/// Price of a change of note; 11 to 18 scored alike.
const CHANGE: f32 = 13.0;
/// What a level that lies between the drones' own and the usual one tells of whether they sound
/// alone, nats a block for a squared ratio of e.
const LEVELS: f32 = 2.0;
/// Price of a stop, and of one while drones sound: then bag and chanter stop together, and a chanter
/// note that beats with a drone fades as if it had stopped. 100 to 200 scored alike.
const STOP: f32 = 30.0;
const STOP_BESIDE_DRONES: f32 = 150.0;
/// What F costs more, save beside its neighbours and E: a high G gracenote a little flat is far
/// commoner than an F gracenote (in `movement`'s catalogue F stands in the doubling on E only).
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
        for from in NOTES {
            for to in NOTES {
                let price = &mut self.prices.change[from.index()][to.index()];
                *price = if moves.contains(&(from, to)) {
                    CHANGE - WRITTEN
                } else {
                    *price + UNWRITTEN
                };
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
            if let Some(watch) = &mut self.watch
                && !self.intake.took_drones()
            {
                watch.push(&block.samples, block.level);
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
        let often = if self.first.is_some() && self.ear.drones.is_none() {
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
        let drones = self.ear.drones.is_some() || self.intake.took_drones();
        let room = self.ear.room() && !drones;
        if room != self.ear.tails {
            match &self.first {
                Some(first) if room => {
                    let mut again = Ear::new(self.tuning, &self.prices, true);
                    again.hear_again(first);
                    again.judged = 0;
                    self.ear = again;
                    self.ear.fixed = true;
                }
                _ if !self.ear.fixed => {
                    self.ear.bank.expect_tails();
                    self.ear.tails = room;
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
        let newest = self.ear.levels[(self.ear.block + KEPT - 1) % KEPT];
        10.0 * f64::from(newest.max(1e-12).log10())
    }

    /// The note that sounds now, and how far it lies off the tuning by its last 40 ms; none where
    /// silence does.
    pub fn sounding(&self) -> Option<(Note, Cents)> {
        let note = self.ear.path.leader().and_then(Note::at)?;
        let newest = self.ear.deviations[(self.ear.block / PITCHED) % KEPT];
        Some((note, Cents(f64::from(newest))))
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

/// A stretch of one note being put together.
#[derive(Debug, Clone, Copy)]
struct Candidate {
    stretch: Stretch,
    level: f32,
    power: f32,
}

/// Mean powers in the band of the chanter.
#[derive(Debug, Clone, Copy)]
struct Drones {
    /// Of the drones alone.
    alone: f32,
    /// Of chanter and drones, most of the time.
    usual: f32,
}

/// What hears, for one assumption about the room.
struct Ear {
    bank: Bank,
    path: Path,
    gate: Gate,
    pipes: bool,
    /// Whether a note's tail is reckoned with.
    tails: bool,
    /// Whether drones are.
    drones: Option<Drones>,
    quarter: f64,
    /// The room is not to be judged again yet.
    fixed: bool,
    block: usize,
    powers: Vec<f32>,
    levels: Vec<f32>,
    weights: Vec<f32>,
    /// Share that the leading note alone leaves unexplained of the last blocks.
    fits: Vec<f32>,
    /// Mean of it in a note's first 50 ms, and later than 150 ms.
    young: f32,
    old: f32,
    /// Blocks of young notes judged so far.
    judged: usize,
    playing: f32,
    /// Cents of the leading note every [`PITCHED`] blocks.
    deviations: Vec<f32>,
    open: Option<Candidate>,
    heard: Vec<HeardNote>,
    arch: Arch,
}

/// One block's work. A closure would be called from what is compiled for the machine's vectors,
/// and not compiled for them itself.
struct Reckoning<'a> {
    ear: &'a mut Ear,
    block: &'a Block,
}

impl NullaryFnOnce for Reckoning<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        self.ear.reckon(self.block);
    }
}

impl Ear {
    fn new(tuning: Tuning, prices: &Prices, tails: bool) -> Self {
        let pitches = NOTES.map(|note| tuning.hertz(note).0);
        let mut bank = Bank::new(&pitches, Noise(NOISE), TAIL);
        if tails {
            bank.expect_tails();
        }
        Self {
            bank,
            path: Path::new(prices),
            gate: Gate::default(),
            pipes: tuning.instrument == Instrument::PipeChanter,
            tails,
            drones: None,
            quarter: tuning.low_a.0 / 4.0,
            fixed: false,
            block: 0,
            powers: vec![0.0; 64],
            levels: vec![0.0; KEPT],
            weights: vec![0.0; KEPT],
            fits: vec![1.0; KEPT],
            young: 0.05,
            old: 0.05,
            judged: 0,
            playing: 0.0,
            deviations: vec![0.0; KEPT],
            open: None,
            heard: Vec::new(),
            arch: Arch::new(),
        }
    }

    fn expect_drones(&mut self, found: &Found) {
        self.bank.expect_drones(self.quarter, &found.shares);
        let share = found.shares.iter().sum::<f32>().min(1.0);
        self.drones = Some(Drones {
            alone: found.usual * share,
            usual: found.usual,
        });
        self.tails = false;
        self.path.stops_cost(STOP_BESIDE_DRONES);
    }

    fn hear_again(&mut self, blocks: &[Block]) {
        for block in blocks {
            self.take(block);
            if self.block.is_multiple_of(64) {
                self.settle(false);
            }
        }
    }

    fn take(&mut self, block: &Block) {
        let arch = self.arch;
        arch.dispatch(Reckoning { ear: self, block });
    }

    #[inline(always)]
    fn reckon(&mut self, block: &Block) {
        self.bank.push(self.block, &block.samples);
        self.block += 1;
        let end = self.block;
        self.levels[(end - 1) % KEPT] = block.level;
        self.weights[(end - 1) % KEPT] = block.power;
        let ring = self.powers.len();
        self.powers[end % ring] = self.powers[(end - 1) % ring] + block.power;
        if self.powers[end % ring] > 1e4 {
            let base = self.powers[end % ring];
            for power in &mut self.powers {
                *power -= base;
            }
        }
        // sound of power 1 that nobody explains, or next to nothing
        let noise = 0.5 * block.power;
        let quiet = 0.5 * (block.power / 0.01 + BLOCK as f32 * 0.01f32.ln());
        let (bank, powers) = (&self.bank, &self.powers);
        // drones alone are weaker than with the chanter, whose low A, E and high A they hold
        let before = |blocks: usize| powers[end % ring] - powers[(end - blocks) % ring];
        let drones = self
            .drones
            .as_ref()
            .and_then(|drones| {
                let off = |level: f32| (block.level / level).max(1e-6).ln().powi(2);
                let weaker = LEVELS * (off(drones.alone) - off(drones.usual));
                Some(bank.drones_alone(end, before)? + weaker)
            })
            .unwrap_or(f32::INFINITY);
        let silence = noise.min(quiet).min(drones);
        let tails = if self.tails { TAILS } else { 0 };
        let power = |which: usize| powers[end % ring] - powers[(end - LENGTHS[which]) % ring];
        self.path.push(
            silence,
            tails,
            #[inline(always)]
            |note, tail, which| bank.least_cost(note, tail, which),
            #[inline(always)]
            |note, tail, which| bank.cost(note, tail, end, which, power(which)),
        );
        let leader = self.path.leader().filter(|_| end >= LENGTHS[WATCHED]);
        let fit = leader.map_or(1.0, |note| {
            let power = power(WATCHED);
            let left =
                bank.cost(note, None, end, WATCHED, power) - bank.least_cost(note, None, WATCHED);
            (2.0 * NOISE * left / power.max(1e-3)).min(1.0)
        });
        self.fits[(end - 1) % KEPT] = fit;
        if end.is_multiple_of(PITCHED) {
            let deviation = self
                .path
                .leader()
                .map_or(0.0, |note| self.bank.deviation(note, end));
            self.deviations[(end / PITCHED) % KEPT] = deviation;
        }
    }

    /// True when young notes are muddier than old ones, as the tail of the last note makes them.
    fn room(&self) -> bool {
        let over = if self.tails { 0.05 } else { 0.09 };
        self.judged > 240
            && self.old < 0.12
            && self.young > self.old + over
            && self.young > 1.8 * self.old
    }

    fn settle(&mut self, all: bool) {
        for stretch in self.path.settled(all) {
            self.tell(stretch);
        }
        let now = if all {
            f64::INFINITY
        } else {
            Self::seconds(self.path.told())
        };
        if all && let Some(open) = self.open.take() {
            self.close(open);
        }
        self.gate.pull(now, all, &mut self.heard);
    }

    fn tell(&mut self, stretch: Stretch) {
        let blocks = stretch.start..stretch.end;
        let sum = |of: &[f32]| blocks.clone().map(|at| of[at % KEPT]).sum::<f32>();
        let (level, power) = (sum(&self.levels), sum(&self.weights));
        let began = match &self.open {
            Some(open) if open.stretch.note == stretch.note => open.stretch.start,
            _ => stretch.start,
        };
        let mean = level / (stretch.end - stretch.start).max(1) as f32;
        if stretch.note.is_some() && mean > 0.3 * self.playing {
            self.playing += 0.1 * (mean - self.playing);
            for at in blocks {
                let fit = self.fits[at % KEPT];
                if (10..50).contains(&(at - began)) {
                    self.young += (fit - self.young) * 0.004;
                    self.judged += 1;
                } else if at - began > 150 {
                    self.old += (fit - self.old) * 0.004;
                }
            }
        }
        match &mut self.open {
            Some(open) if open.stretch.note == stretch.note => {
                open.stretch.end = stretch.end;
                open.stretch.left += stretch.left;
                open.level += level;
                open.power += power;
            }
            _ => {
                let next = Candidate {
                    stretch,
                    level,
                    power,
                };
                if let Some(done) = self.open.replace(next) {
                    self.close(done);
                }
            }
        }
    }

    fn seconds(block: usize) -> f64 {
        (block * BLOCK) as f64 / f64::from(RATE)
    }

    fn close(&mut self, done: Candidate) {
        let Some(note) = done.stretch.note.and_then(Note::at) else {
            return;
        };
        let blocks = (done.stretch.end - done.stretch.start).max(1) as f32;
        // the 40 blocks of a measurement must lie inside the note
        let places =
            (done.stretch.start + 48) / PITCHED..done.stretch.end.saturating_sub(4) / PITCHED;
        let mut cents: Vec<f32> = places
            .rev()
            .take(KEPT)
            .map(|at| self.deviations[at % KEPT])
            .collect();
        cents.sort_by(f32::total_cmp);
        let cents = (cents.len() > 3).then(|| Cents(f64::from(cents[cents.len() / 2])));
        self.gate.push(HeardNote {
            cents,
            drone: self.pipes && matches!(note, Note::LowA | Note::HighA),
            note,
            start_s: Self::seconds(done.stretch.start),
            end_s: Self::seconds(done.stretch.end),
            unexplained: f64::from(2.0 * NOISE * done.stretch.left / done.power.max(1e-6)),
            level: 10.0 * f64::from((done.level / blocks).max(1e-12).log10()),
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::TuningTable;
    use crate::units::Hertz;
    use std::f64::consts::TAU;

    /// A reed by formula: harmonics falling by 3 dB each, no break between the notes.
    fn played(rate: u32, notes: &[(Note, f64)], low_a: f64) -> Vec<f32> {
        let tuning = Tuning::with_low_a(Hertz(low_a), TuningTable::Modern);
        let mut samples = Vec::new();
        let mut phase = 0.0f64;
        for (note, seconds) in notes {
            let step = tuning.hertz(*note).0 / f64::from(rate);
            for _ in 0..(seconds * f64::from(rate)) as usize {
                phase = (phase + step).fract();
                let sum: f64 = (1..12)
                    .filter(|k| step * f64::from(*k) < 0.45)
                    .map(|k| (TAU * phase * f64::from(k)).cos() * 0.7f64.powi(k))
                    .sum();
                samples.push((0.2 * sum) as f32);
            }
        }
        samples
    }

    fn listen(rate: u32, samples: &[f32], low_a: f64) -> Vec<HeardNote> {
        let tuning = Tuning::with_low_a(Hertz(low_a), TuningTable::Modern);
        let mut listener = Listener::new(SampleRate(rate), tuning).expect("a usual rate");
        for piece in samples.chunks(1000) {
            listener.push(piece);
        }
        listener.finish()
    }

    #[track_caller]
    fn check(rate: u32, low_a: f64) {
        let written = [
            (Note::LowA, 0.5),
            (Note::HighG, 0.03),
            (Note::E, 0.4),
            (Note::LowG, 0.05),
            (Note::D, 0.035),
            (Note::LowG, 0.06),
            (Note::HighA, 0.5),
            (Note::LowA, 0.4),
        ];
        let heard = listen(rate, &played(rate, &written, low_a), low_a);
        let names: Vec<Note> = heard.iter().map(|note| note.note).collect();
        let expected: Vec<Note> = written.iter().map(|(note, _)| *note).collect();
        assert_eq!(names, expected, "{rate} Hz, low A {low_a}");
        let mut start = 0.0;
        for (note, (_, length)) in heard.iter().zip(written) {
            let error = (note.start_s - start).abs();
            assert!(error < 0.0025, "{} at {start}: {error} s off", note.note);
            start += length;
        }
    }

    /// Without it a wrong delay of the resampler or the filter would shift every onset: each stays
    /// within 2 ms at every usual rate, on both chanters.
    #[test]
    fn a_movement_by_formula_is_heard_at_every_rate() {
        for rate in [8000, 16_000, 22_050, 44_100, 48_000, 96_000] {
            check(rate, 236.0);
        }
        check(48_000, 476.0);
        check(8000, 476.0);
    }

    /// Without it a listener would hear tunes in rooms: silence and noise are no notes.
    #[test]
    fn silence_and_noise_hold_no_notes() {
        assert_eq!(listen(48_000, &vec![0.0; 96_000], 236.0), []);
        let mut seed = 1u32;
        let noise: Vec<f32> = (0..96_000)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (seed >> 8) as f32 / 16_777_216.0 - 0.5
            })
            .collect();
        let heard = listen(48_000, &noise, 236.0);
        assert!(heard.len() <= 1, "{heard:?}");
    }

    /// Without it a sample that is no number would spread through the running sums for ever.
    #[test]
    fn broken_samples_hurt_only_where_they_are() {
        let mut samples = played(48_000, &[(Note::C, 1.0), (Note::E, 1.0)], 236.0);
        samples[20_000] = f32::NAN;
        samples[30_000] = f32::INFINITY;
        let names: Vec<Note> = listen(48_000, &samples, 236.0)
            .iter()
            .map(|note| note.note)
            .collect();
        assert_eq!(names.first(), Some(&Note::C));
        assert_eq!(names.last(), Some(&Note::E));
    }

    /// Without it a sharp chanter could not be told: 10 cents are heard as 10, within 2.
    #[test]
    fn a_held_note_tells_its_deviation() {
        let sharp = 236.0 * (10.0f64 / 1200.0).exp2();
        let samples = played(48_000, &[(Note::E, 1.0), (Note::LowA, 1.0)], sharp);
        for note in listen(48_000, &samples, 236.0) {
            let cents = note.cents.expect("a second is long enough").0;
            assert!((cents - 10.0).abs() < 2.0, "{}: {cents}", note.note);
        }
    }
}
