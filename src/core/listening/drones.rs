//! What sounds all the while under a pipe chanter: the power of each drone harmonic.
//!
//! The drones lie at a half and a quarter of the chanter's low A (Encyclopaedia Britannica, 11th
//! ed., "Bag-pipe"), so every harmonic of theirs is a multiple of the quarter. What stands at such a
//! place nearly always, whatever the chanter plays, is a drone's. Where it is known which notes
//! were played, what stands there while none of them could is a drone's ([`Watch::found_beside`]):
//! a drill may hold one note so much of the time that it seems to sound always.

use super::intake::{BLOCK, RATE};
use super::spectrum::{FRAME, Spectrum};
use crate::chanter::{Note, Tuning};
use std::collections::VecDeque;

/// Harmonics of a quarter of low A that are watched: up to 2.9 kHz.
pub(super) const LINES: usize = 24;
/// Frames kept: 8 s, in which the chanter has left every line at least for a while.
const FRAMES: usize = 125;
/// Frames before anything is said: 2 s.
const ENOUGH: usize = 32;
/// Share of the frames that a line is weaker in than what is taken for its power.
const QUANTILE: f32 = 0.25;
/// What the quantile of two beating tenors falls short of their mean power.
const BEATING: f32 = 1.5;
/// Least share of the power that makes drones, and a line worth a place.
const LEAST: f32 = 0.02;
const LEAST_LINE: f32 = 0.004;

/// Which multiples of a quarter of low A one note has: low A and high A, C, E, the two Gs, B, D, F.
pub(super) const COVERED: [usize; 7] = [4, 5, 6, 7, 9, 16, 20];

/// Seconds by which notes lie off where they are reckoned, at most.
const ASIDE: f64 = 0.08;
/// Hertz from a line within which a note's harmonic counts for it: a Hann window's main lobe.
const LOBE: f64 = 2.0 * RATE as f64 / FRAME as f64;
/// How far a note may be mistuned, as a part of its pitch: 40 cents.
const MISTUNED: f64 = 0.023;
/// Frames without a line's notes that tell its power: a second of them.
const TELLING: usize = 16;

/// A note that sounds, seconds from the first sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sounding {
    pub note: Note,
    pub start_s: f64,
    pub end_s: f64,
}

/// Watches the lines.
pub(super) struct Watch {
    spectrum: Spectrum,
    bins: [f32; LINES],
    pending: Vec<f32>,
    /// Mean power of the frame in hand before it was made level, and blocks in it.
    level: (f32, usize),
    frames: VecDeque<([f32; LINES], f32)>,
    kept: usize,
    /// The frames are those of the sound from its start on.
    from_start: bool,
}

/// Drones as they were found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    /// The power of each line against the whole, 0 for a line not worth a place.
    pub shares: [f32; LINES],
    /// The power of chanter and drones together, most of the time.
    pub usual: f32,
}

impl Watch {
    /// A watch for drones of a pipe chanter's low A, hertz.
    pub(super) fn new(low_a: f64) -> Self {
        Self {
            spectrum: Spectrum::new(),
            bins: std::array::from_fn(|line| {
                let hertz = low_a / 4.0 * (line + 1) as f64;
                (hertz * FRAME as f64 / f64::from(RATE)) as f32
            }),
            pending: Vec::new(),
            level: (0.0, 0),
            frames: VecDeque::new(),
            kept: FRAMES,
            from_start: true,
        }
    }

    /// The same, which forgets nothing.
    pub(super) fn of_all(self) -> Self {
        Self {
            kept: usize::MAX,
            ..self
        }
    }

    /// Forgets what it has, before a stretch that it does not see.
    pub(super) fn interrupt(&mut self) {
        self.pending.clear();
        self.frames.clear();
        self.level = (0.0, 0);
        self.from_start = false;
    }

    /// Takes levelled samples, and the power they had before.
    pub(super) fn push(&mut self, samples: &[f32], level: f32) {
        self.level = (self.level.0 + level, self.level.1 + 1);
        self.pending.extend_from_slice(samples);
        if self.pending.len() < FRAME {
            return;
        }
        let output = self.spectrum.of(&self.pending);
        // the power of a sine, from the four bins of a Hann window's main lobe around it
        let scale = 16.0 / (3.0 * (FRAME * FRAME) as f32);
        let frame = self.bins.map(|bin| {
            let low = (bin as usize).max(1) - 1;
            let lobe = output.get(low..low + 4).unwrap_or_default();
            scale
                * lobe
                    .iter()
                    .map(pulp::num_complex::Complex::norm_sqr)
                    .sum::<f32>()
        });
        self.pending.drain(..FRAME / 2);
        if self.frames.len() >= self.kept {
            self.frames.pop_front();
        }
        let level = self.level.0 / self.level.1.max(1) as f32;
        self.level = (0.0, 0);
        self.frames.push_back((frame, level));
    }

    /// The drones, where there are any. Lines that one note has too are no sign of them alone.
    pub(super) fn found(&self) -> Option<Found> {
        let count = self.frames.len();
        if count < ENOUGH {
            return None;
        }
        let mut powers: Vec<f32> = Vec::with_capacity(count);
        let shares: [f32; LINES] = std::array::from_fn(|line| {
            powers.clear();
            powers.extend(self.frames.iter().map(|(frame, _)| frame[line]));
            powers.sort_by(f32::total_cmp);
            let share = BEATING * powers[(QUANTILE * count as f32) as usize];
            if share < LEAST_LINE { 0.0 } else { share }
        });
        self.worth(shares)
    }

    /// The same beside notes that are known, from all of the sound, and none where a stretch of it was
    /// not seen: each line's power while no
    /// note sounds that has a harmonic there; where one always does, what its neighbours among the
    /// harmonics of the same drones make likely.
    pub(super) fn found_beside(&self, notes: &[Sounding], tuning: &Tuning) -> Option<Found> {
        if !self.from_start {
            return None;
        }
        let frame_s = |blocks: usize| (blocks * BLOCK) as f64 / f64::from(RATE);
        let (hop_s, whole_s) = (frame_s(FRAME / BLOCK / 2), frame_s(FRAME / BLOCK));
        let around: Vec<Vec<Note>> = (0..self.frames.len())
            .map(|frame| {
                let (from, to) = (frame as f64 * hop_s, frame as f64 * hop_s + whole_s);
                notes
                    .iter()
                    .filter(|note| note.start_s < to + ASIDE && note.end_s > from - ASIDE)
                    .map(|note| note.note)
                    .collect()
            })
            .collect();
        let told: [Option<f32>; LINES] = std::array::from_fn(|line| {
            let hertz = tuning.low_a.0 / 4.0 * (line + 1) as f64;
            let has = |note: &Note| {
                let pitch = tuning.hertz(*note).0;
                let harmonic = (hertz / pitch).round().max(1.0) * pitch;
                (harmonic - hertz).abs() < LOBE + MISTUNED * harmonic
            };
            let mut powers: Vec<f32> = around
                .iter()
                .zip(&self.frames)
                .filter(|(notes, _)| !notes.is_empty() && !notes.iter().any(has))
                .map(|(_, (frame, _))| frame[line])
                .collect();
            powers.sort_by(f32::total_cmp);
            // a note that was played elsewhere than it is written is no drone
            powers.truncate(powers.len() * 4 / 5);
            (powers.len() >= TELLING).then(|| powers.iter().sum::<f32>() / powers.len() as f32)
        });
        let shares = std::array::from_fn(|line| {
            let share = told[line].unwrap_or_else(|| {
                let beside = |other: Option<usize>| other.and_then(|o| *told.get(o)?);
                match (beside(line.checked_sub(2)), beside(Some(line + 2))) {
                    (Some(below), Some(above)) => (below * above).sqrt(),
                    (below, above) => below.or(above).unwrap_or(0.0),
                }
            });
            if share < LEAST_LINE { 0.0 } else { share }
        });
        self.worth(shares)
    }

    /// Drones, where lines tell of them that no one note has: a drill may hold one nearly always.
    fn worth(&self, shares: [f32; LINES]) -> Option<Found> {
        let beside = |note: &usize| -> f32 {
            let numbers = (1..).zip(&shares);
            let others = numbers.filter(|(number, _)| !usize::is_multiple_of(*number, *note));
            others.map(|(_, share)| share).sum()
        };
        let own = COVERED.iter().map(beside).fold(f32::INFINITY, f32::min);
        let mut levels: Vec<f32> = self.frames.iter().map(|(_, level)| *level).collect();
        levels.sort_by(f32::total_cmp);
        let usual = *levels.get(levels.len() * 2 / 3)?;
        (own > LEAST).then_some(Found { shares, usual })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::TuningTable;
    use crate::units::Hertz;
    use std::f32::consts::TAU;

    fn watched(hertz: &[(f32, f32)], seconds: f32) -> Watch {
        let mut watch = Watch::new(480.0);
        for start in 0..(seconds * 1000.0) as usize {
            let samples: Vec<f32> = (0..8)
                .map(|i| {
                    let time = (start * 8 + i) as f32 / RATE as f32;
                    hertz
                        .iter()
                        .map(|(hertz, power)| (2.0 * power).sqrt() * (TAU * hertz * time).sin())
                        .sum()
                })
                .collect();
            watch.push(&samples, 1.0);
        }
        watch
    }

    /// Without it a drill's one long note would be drones, and its playing silence: C's harmonics lie
    /// on four lines of them, and low G's on three.
    #[test]
    fn one_note_is_no_drones() {
        for number in [5.0, 7.0] {
            let harmonics: Vec<(f32, f32)> =
                (1..4).map(|k| (120.0 * number * k as f32, 0.3)).collect();
            assert_eq!(watched(&harmonics, 4.0).found(), None);
        }
    }

    /// Without it notes would be looked for at other times than they sounded: drones that were taken
    /// off for a while are told by what comes after, and not beside notes from the start on.
    #[test]
    fn after_an_interruption_it_begins_anew() {
        let tuning = Tuning::with_low_a(Hertz(480.0), TuningTable::Modern);
        let notes = [Sounding {
            note: Note::C,
            start_s: 0.0,
            end_s: 4.0,
        }];
        let mut watch = watched(&[(360.0, 0.2), (1320.0, 0.1), (1560.0, 0.1)], 4.0);
        assert!(watch.found().is_some());
        assert!(watch.found_beside(&notes, &tuning).is_some());
        watch.interrupt();
        assert_eq!(watch.found(), None);
        assert_eq!(watch.found_beside(&notes, &tuning), None);
    }

    /// Without it the model of the drones would be of another power than they are.
    #[test]
    fn a_steady_line_has_its_power() {
        let shares = watched(&[(360.0, 0.2), (721.0, 0.1)], 4.0).found();
        let shares = shares.expect("drones sound").shares;
        assert!((shares[2] / BEATING - 0.2).abs() < 0.01, "{shares:?}");
        assert!((shares[5] / BEATING - 0.1).abs() < 0.01, "{shares:?}");
        let others = shares.iter().filter(|share| **share > 0.0).count();
        assert_eq!(others, 2, "{shares:?}");
    }

    /// Without it a note that is held most of the time would be taken for drones and explained away:
    /// E for four seconds of five beside a tenor, and E alone.
    #[test]
    fn a_note_held_most_of_the_time_is_no_drone() {
        let tuning = Tuning::with_low_a(Hertz(480.0), TuningTable::Modern);
        let notes: Vec<Sounding> = (0..4)
            .flat_map(|bar| {
                [(Note::E, 0.0, 4.0), (Note::B, 4.0, 5.0)].map(|(note, from, to)| Sounding {
                    note,
                    start_s: 5.0 * f64::from(bar) + from,
                    end_s: 5.0 * f64::from(bar) + to,
                })
            })
            .collect();
        for tenor in [0.0, 0.3] {
            let mut watch = Watch::new(480.0).of_all();
            for block in 0..20_000 {
                let samples: Vec<f32> = (block * 8..block * 8 + 8)
                    .map(|at| at as f32 / RATE as f32)
                    .map(|time| {
                        let chanter = if time % 5.0 < 4.0 { 720.0 } else { 540.0 };
                        let sine = |power: f32, hertz: f32| {
                            (2.0 * power).sqrt() * (TAU * (hertz * time).fract()).sin()
                        };
                        sine(0.4, chanter) + sine(0.2, 2.0 * chanter) + sine(tenor, 240.0)
                    })
                    .collect();
                watch.push(&samples, 1.0);
            }
            let found = watch.found_beside(&notes, &tuning);
            assert_eq!(found.is_some(), tenor > 0.0);
            let shares = found.map_or([0.0; LINES], |found| found.shares);
            assert!((shares[1] - tenor).abs() < 0.01, "{shares:?}");
            assert!(shares[5] < 0.01 && shares[11] < 0.01, "{shares:?}");
        }
    }

    /// Without it a held low A would be taken for drones and explained away.
    #[test]
    fn low_a_alone_is_no_drone() {
        let chanter: Vec<(f32, f32)> = (1..6u8).map(|k| (480.0 * f32::from(k), 0.2)).collect();
        assert_eq!(watched(&chanter, 4.0).found(), None);
        assert_eq!(watched(&[(360.0, 0.5)], 1.0).found(), None);
    }
}
