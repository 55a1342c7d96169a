//! The ear: blocks in, the likeliest notes out, for one assumption about room and drones.
//!
//! It knows no sample rate but its own, and nothing of where the blocks come from.

#![expect(
    clippy::inline_always,
    reason = "pulp compiles for the machine's vectors only what is inlined into its dispatch"
)]

use super::drones::Found;
use super::gate::Gate;
use super::harmonics::{Bank, LENGTHS, Noise};
use super::heard::HeardNote;
use super::intake::{BLOCK, Block, RATE};
use super::middle::median;
use super::path::{KEPT, Path, Prices, Stretch};
use crate::chanter::{Instrument, NOTES, Note, Tuning};
use crate::units::Cents;
use pulp::{Arch, NullaryFnOnce};

/// Variance of what a steady note leaves unexplained, against its power.
const NOISE: f32 = 0.2;
/// Blocks between two measurements of the pitch.
const PITCHED: usize = 8;
/// Place in [`LENGTHS`] of the stretch by which the room is judged: 10 blocks.
const WATCHED: usize = 5;
/// Power of a note's tail in the room once the next note sounds, against the note's. 0.05 to 0.2
/// scored alike in rooms with 3 to 9 dB of direct sound.
const TAIL: f64 = 0.15;
/// Blocks for which the tail of the note before is reckoned with.
const TAILS: usize = 60;
/// What a level that lies between the drones' own and the usual one tells of whether they sound
/// alone, nats a block for a squared ratio of e.
const LEVELS: f32 = 2.0;
/// By how much a short noise must be likelier than another to be named, nats: on 120 clean takes for
/// tuning, of 150 noises 2 named rightly lie under it and 9 of 15 named wrongly.
const SURE: f32 = 5.0;
/// Price of a stop while drones sound: then bag and chanter stop together, and a chanter note that
/// beats with a drone fades as if it had stopped. 100 to 200 scored alike.
const STOP_BESIDE_DRONES: f32 = 150.0;

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
pub(super) struct Ear {
    bank: Bank,
    path: Path,
    gate: Gate,
    pipes: bool,
    /// Whether a note's tail is reckoned with.
    pub tails: bool,
    /// Whether drones are.
    drones: Option<Drones>,
    quarter: f64,
    /// The room is not to be judged again yet.
    pub fixed: bool,
    pub block: usize,
    powers: Vec<f32>,
    levels: Vec<f32>,
    weights: Vec<f32>,
    /// Share that the leading note alone leaves unexplained of the last blocks.
    fits: Vec<f32>,
    /// Mean of it in a note's first 50 ms, and later than 150 ms.
    young: f32,
    old: f32,
    /// Blocks of young notes judged so far.
    pub judged: usize,
    playing: f32,
    /// Cents of the leading note every [`PITCHED`] blocks.
    deviations: Vec<f32>,
    open: Option<Candidate>,
    pub heard: Vec<HeardNote>,
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
    pub(super) fn new(tuning: Tuning, prices: &Prices, tails: bool) -> Self {
        let pitches = NOTES.map(|note| tuning.hertz(note).0);
        let mut bank = Bank::new(&pitches, Noise(NOISE), TAIL);
        if tails {
            bank.expect_tails();
        }
        Self {
            bank,
            path: Path::new(prices),
            gate: Gate::new(tuning.low_a),
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

    /// Power of the newest block, dB of full scale.
    pub(super) fn level(&self) -> f64 {
        let newest = self.levels[(self.block + KEPT - 1) % KEPT];
        10.0 * f64::from(newest.max(1e-12).log10())
    }

    /// The note that leads, and how far it lies off by its last 40 ms.
    pub(super) fn sounding(&self) -> Option<(Note, Cents)> {
        let note = self.path.leader().and_then(Note::at)?;
        let newest = self.deviations[(self.block / PITCHED) % KEPT];
        Some((note, Cents(f64::from(newest))))
    }

    pub(super) fn has_drones(&self) -> bool {
        self.drones.is_some()
    }

    /// Reckons with tails from now on, or no more.
    pub(super) fn reckon_with_tails(&mut self, tails: bool) {
        self.bank.expect_tails();
        self.tails = tails;
    }

    /// The same again by another assumption: what it judged of the room holds.
    pub(super) fn in_the_room(mut self, blocks: &[Block]) -> Self {
        self.hear_again(blocks);
        self.judged = 0;
        self.fixed = true;
        self
    }

    pub(super) fn expect_drones(&mut self, found: &Found) {
        self.bank.expect_drones(self.quarter, &found.shares);
        let share = found.shares.iter().sum::<f32>().min(1.0);
        self.drones = Some(Drones {
            alone: found.usual * share,
            usual: found.usual,
        });
        self.tails = false;
        self.path.stops_cost(STOP_BESIDE_DRONES);
    }

    pub(super) fn hear_again(&mut self, blocks: &[Block]) {
        for block in blocks {
            self.take(block);
            if self.block.is_multiple_of(64) {
                self.settle(false);
            }
        }
    }

    pub(super) fn take(&mut self, block: &Block) {
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

    /// What the likeliest notes cost so far, nats: of two ears that heard the same, the one that
    /// pays less assumes what is likelier.
    pub(super) fn cost(&self) -> f64 {
        self.path.cost()
    }

    /// True when young notes are muddier than old ones, as the tail of the last note makes them.
    pub(super) fn room(&self) -> bool {
        let over = if self.tails { 0.05 } else { 0.09 };
        self.judged > 240
            && self.old < 0.12
            && self.young > self.old + over
            && self.young > 1.8 * self.old
    }

    pub(super) fn settle(&mut self, all: bool) {
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
        let sounding = self.open.as_ref().and_then(|open| self.note_of(open));
        self.gate.pull(now, all, sounding, &mut self.heard);
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
                open.stretch.ahead = open.stretch.ahead.min(stretch.ahead);
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
        if let Some(note) = self.note_of(&done) {
            let cents = self.cents(&done);
            self.gate.push(HeardNote { cents, ..note });
        }
    }

    /// How far a note that is long enough lies off.
    fn cents(&self, done: &Candidate) -> Option<Cents> {
        // the 40 blocks of a measurement must lie inside the note
        let places =
            (done.stretch.start + 48) / PITCHED..done.stretch.end.saturating_sub(4) / PITCHED;
        let mut cents: Vec<f64> = places
            .rev()
            .take(KEPT)
            .map(|at| f64::from(self.deviations[at % KEPT]))
            .collect();
        median(&mut cents).filter(|_| cents.len() > 3).map(Cents)
    }

    /// The note as far as it was heard, without its pitch.
    fn note_of(&self, done: &Candidate) -> Option<HeardNote> {
        let note = done.stretch.note.and_then(Note::at)?;
        let blocks = (done.stretch.end - done.stretch.start).max(1) as f32;
        Some(HeardNote {
            cents: None,
            drone: self.pipes && matches!(note, Note::LowA | Note::HighA),
            note,
            named: done.stretch.ahead > SURE,
            start_s: Self::seconds(done.stretch.start),
            end_s: Self::seconds(done.stretch.end),
            unexplained: f64::from(2.0 * NOISE * done.stretch.left / done.power.max(1e-6)),
            level: 10.0 * f64::from((done.level / blocks).max(1e-12).log10()),
        })
    }
}
