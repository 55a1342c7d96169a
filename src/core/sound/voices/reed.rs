//! The spectra of the reeds with their resonances, precomputed as wavetables.
//!
//! A wavetable per quarter octave holds the partials of one note, already filtered by bore and
//! holes, so rendering only reads the table. The direction in which notes differ is published. The
//! amounts are chosen, because no published table of a chanter's notes was found:
//! - the higher notes of a pipe chanter are softer than the low ones (Carruthers, "The acoustical
//!   environment of the Highland bagpipe out of doors", part 2, reprinted 2020);
//! - the open holes raise a band of the spectrum near their cutoff frequency (Petersen, Colinot,
//!   Guillemain & Kergomard, Acta Acustica 4, 18, 2020, on clarinets);
//! - in a cone that frequency falls from the high notes to the low (Petersen et al., Acta Acustica
//!   4, 13, 2020, on saxophones), in a cylinder it hardly depends on the fingering (Moers &
//!   Kergomard, Acta Acustica united with Acustica 97, 2011, 984–996);
//! - in a cylinder the even partials are weak at first and grow with frequency until they are as
//!   strong as the odd ones near the cutoff (Petersen, Colinot, Guillemain & Kergomard 2020).

use crate::chanter::{Instrument, Note, Tuning};
use crate::units::SampleRate;
use fundsp::typenum::U1;
use fundsp::wavetable::{WaveSynth, Wavetable};
use std::cell::RefCell;
use std::sync::Arc;

/// The reed and bore, and for a chanter the note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Timbre {
    /// A note of a chanter. The practice chanter is a narrow cylinder with a buzzing reed; the pipe
    /// chanter is a bright cone.
    Chanter(Instrument, Note),
    /// A drone: a cylinder with a single reed, deep and full.
    Drone,
}

/// How a note differs from the other notes.
struct Voicing {
    /// Level in decibels; 0 for the loudest note.
    level: f64,
    /// Cutoff frequency of the open holes in hertz.
    cutoff: f64,
    /// Decay of the reed's own partials: partial i has the amplitude i^(−slope). From F upward more
    /// of the holes below the first open one are closed, which makes the sound duller.
    slope: f64,
}

fn voicing(instrument: Instrument, note: Note) -> Voicing {
    let (level, cutoff, slope) = match (instrument, note) {
        (Instrument::PracticeChanter, Note::LowG) => (0.0, 1180.0, 0.78),
        (Instrument::PracticeChanter, Note::LowA) => (-0.3, 1200.0, 0.80),
        (Instrument::PracticeChanter, Note::B) => (-0.6, 1220.0, 0.80),
        (Instrument::PracticeChanter, Note::C) => (-1.0, 1240.0, 0.82),
        (Instrument::PracticeChanter, Note::D) => (-1.2, 1260.0, 0.84),
        (Instrument::PracticeChanter, Note::E) => (-0.8, 1240.0, 0.80),
        (Instrument::PracticeChanter, Note::F) => (-1.5, 1280.0, 0.86),
        (Instrument::PracticeChanter, Note::HighG) => (-1.9, 1290.0, 0.88),
        (Instrument::PracticeChanter, Note::HighA) => (-2.5, 1300.0, 0.90),
        (Instrument::PipeChanter, Note::LowG) => (0.0, 1350.0, 0.80),
        (Instrument::PipeChanter, Note::LowA) => (-0.4, 1420.0, 0.82),
        (Instrument::PipeChanter, Note::B) => (-1.0, 1500.0, 0.84),
        (Instrument::PipeChanter, Note::C) => (-1.8, 1600.0, 0.86),
        (Instrument::PipeChanter, Note::D) => (-2.2, 1650.0, 0.88),
        (Instrument::PipeChanter, Note::E) => (-1.4, 1750.0, 0.84),
        (Instrument::PipeChanter, Note::F) => (-2.6, 1850.0, 0.92),
        (Instrument::PipeChanter, Note::HighG) => (-3.4, 1900.0, 0.94),
        (Instrument::PipeChanter, Note::HighA) => (-4.4, 2000.0, 0.98),
    };
    Voicing {
        level,
        cutoff,
        slope,
    }
}

/// A resonance: centre in hertz, width in hertz, height relative to the rest.
struct Formant(f64, f64, f64);

impl Timbre {
    /// The resonances. A chanter's first is the band that the open holes raise; the others belong
    /// to the reed and the bore.
    fn formants(self) -> [Formant; 3] {
        match self {
            Self::Chanter(instrument, note) => {
                let cutoff = voicing(instrument, note).cutoff;
                match instrument {
                    Instrument::PracticeChanter => [
                        Formant(cutoff, 0.5 * cutoff, 1.8),
                        Formant(2600.0, 1100.0, 1.6),
                        Formant(4200.0, 1400.0, 0.9),
                    ],
                    Instrument::PipeChanter => [
                        Formant(cutoff, 0.45 * cutoff, 2.2),
                        Formant(2.0 * cutoff, 0.7 * cutoff, 1.3),
                        Formant(3700.0, 1200.0, 1.1),
                    ],
                }
            }
            Self::Drone => [
                Formant(420.0, 260.0, 1.4),
                Formant(950.0, 420.0, 0.9),
                Formant(1900.0, 700.0, 0.5),
            ],
        }
    }

    /// The decay of the partials, as in [`Voicing::slope`].
    fn slope(self) -> f64 {
        match self {
            Self::Chanter(instrument, note) => voicing(instrument, note).slope,
            Self::Drone => 1.0,
        }
    }

    /// The amplitude of an even partial at `hertz`, relative to the odd ones.
    fn even(self, hertz: f64) -> f64 {
        match self {
            Self::Chanter(Instrument::PracticeChanter, note) => {
                let cutoff = voicing(Instrument::PracticeChanter, note).cutoff;
                (0.35 + 0.65 * hertz / cutoff).min(1.0)
            }
            Self::Chanter(Instrument::PipeChanter, _) => 1.0,
            Self::Drone => 0.7,
        }
    }

    /// The frequency in hertz above which the partials die away.
    fn ceiling(self) -> f64 {
        match self {
            Self::Chanter(Instrument::PracticeChanter, _) => 5500.0,
            Self::Chanter(Instrument::PipeChanter, _) | Self::Drone => 6500.0,
        }
    }

    /// The lowest and highest fundamental in hertz: those of every accepted low A, with a margin
    /// for the differences of the tables and the spread of the drones.
    fn range(self) -> (f64, f64) {
        let (lowest, highest) = (Tuning::LOWEST_LOW_A.0, Tuning::HIGHEST_LOW_A.0);
        let (from, to) = match self {
            Self::Chanter(instrument, note) => {
                let usual = Tuning::of(instrument);
                let ratio = usual.hertz(note).0 / usual.low_a.0;
                (lowest * ratio, highest * ratio)
            }
            Self::Drone => (lowest / 4.0, highest),
        };
        (from / 1.05, to * 1.05)
    }

    fn amplitude(self, fundamental: f64, partial: u32) -> f64 {
        // The oscillator interpolates between the two tables above its pitch, 1/8 to 1/2 octave
        // higher. The formants are placed for the middle of that range.
        let hertz = fundamental * f64::from(partial) / 2.0_f64.powf(0.3);
        let formants: f64 = self
            .formants()
            .iter()
            .map(|Formant(centre, width, height)| {
                height / (1.0 + ((hertz - centre) / (width / 2.0)).powi(2))
            })
            .sum();
        let even = if partial.is_multiple_of(2) {
            self.even(hertz)
        } else {
            1.0
        };
        even * (0.35 + formants) * f64::from(partial).powf(-self.slope())
            / (1.0 + (hertz / self.ceiling()).powi(4))
    }
}

/// The wavetables of a timbre, with a peak of 1. Building them takes about 0.2 ms.
///
/// Every pitch has the same power; the loudness of a note is set by its gain. The phases of the
/// partials grow with the square of their number (Schroeder, IEEE Trans. Information Theory 16,
/// 1970). This gives the wave a low crest factor, so it is louder at the same peak. Partials above
/// 0.45 of the sample rate are left out, so that low sample rates do not alias.
pub(super) fn tables(timbre: Timbre, rate: SampleRate) -> Arc<Wavetable> {
    let ceiling = 0.45 * f64::from(rate.0);
    let heard = |fundamental: f64, partial: u32| {
        if fundamental * f64::from(partial) < ceiling {
            timbre.amplitude(fundamental, partial)
        } else {
            0.0
        }
    };
    // The library asks for the partials one by one, but the power of a table needs all of them.
    let table = RefCell::new((0.0_f64, Vec::new()));
    let amplitude = |fundamental: f64, partial: u32| {
        let mut table = table.borrow_mut();
        if table.0 != fundamental {
            let last = (22_000.0 / fundamental) as u32;
            let mut partials: Vec<f64> = (1..=last).map(|i| heard(fundamental, i)).collect();
            let power: f64 = partials.iter().map(|partial| partial.powi(2)).sum();
            for partial in &mut partials {
                *partial /= power.sqrt();
            }
            *table = (fundamental, partials);
        }
        let (_, partials) = &*table;
        partials.get(partial as usize - 1).copied().unwrap_or(0.0)
    };
    let phase = |partial: u32| (f64::from(partial).powi(2) / 48.0).fract();
    let (from, to) = timbre.range();
    // Two tables more than the range, because the oscillator uses tables above its pitch.
    Arc::new(Wavetable::new(
        from,
        to * 2.0_f64.powf(0.75),
        4.0,
        &phase,
        &amplitude,
    ))
}

/// The gain of each note of a chanter; the loudest has 1. `tables` are those of its notes, from low
/// G up.
pub(super) fn gains(instrument: Instrument, tables: &[Arc<Wavetable>; 9]) -> [f32; 9] {
    const POINTS: u16 = 1024;
    let usual = Tuning::of(instrument);
    let gains = crate::chanter::NOTES.map(|note| {
        let table = &tables[note as usize];
        let pitch = usual.hertz(note).0 as f32;
        let power: f32 = (0..POINTS)
            .map(|point| f32::from(point) / f32::from(POINTS))
            .map(|phase| table.read(0, pitch, phase).0.powi(2))
            .sum();
        let level = 10.0_f64.powf(voicing(instrument, note).level / 20.0) as f32;
        level / (power / f32::from(POINTS)).sqrt()
    });
    let highest = gains.into_iter().fold(f32::MIN_POSITIVE, f32::max);
    gains.map(|gain| gain / highest)
}

/// A wavetable oscillator; `hash` chooses its initial phase.
pub(super) fn oscillator(tables: &Arc<Wavetable>, rate: SampleRate, hash: u64) -> WaveSynth<U1> {
    use fundsp::audionode::AudioNode;
    let mut oscillator = WaveSynth::<U1>::new(Arc::clone(tables));
    oscillator.set_sample_rate(f64::from(rate.0));
    oscillator.set_hash(hash);
    oscillator
}
