//! The spectra of the reeds, baked with their formants into wavetables.
//!
//! A wavetable per quarter octave holds the partials of a reed as the bore's resonances leave
//! them, so that rendering is only table reading. The figures are chosen by comparing spectra
//! with what is known of conical and cylindrical bores; no published table was used.

use crate::units::SampleRate;
use fundsp::typenum::U1;
use fundsp::wavetable::{WaveSynth, Wavetable};
use std::cell::Cell;
use std::sync::Arc;

/// Which reed and bore.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Timbre {
    /// Quiet and reedy: a narrow cylinder, the even partials weaker.
    PracticeChanter,
    /// Bright: a cone, all partials, strong from 1 to 4 kHz.
    PipeChanter,
    /// A cylinder with a single reed, deep and full.
    Drone,
}

/// A resonance: centre in hertz, width in hertz, height over the rest.
struct Formant(f64, f64, f64);

impl Timbre {
    fn formants(self) -> [Formant; 3] {
        match self {
            Self::PracticeChanter => [
                Formant(720.0, 420.0, 1.6),
                Formant(1500.0, 600.0, 1.2),
                Formant(2900.0, 900.0, 0.8),
            ],
            Self::PipeChanter => [
                Formant(1100.0, 500.0, 2.2),
                Formant(2200.0, 800.0, 1.8),
                Formant(3700.0, 1200.0, 1.4),
            ],
            Self::Drone => [
                Formant(420.0, 260.0, 1.4),
                Formant(950.0, 420.0, 0.9),
                Formant(1900.0, 700.0, 0.5),
            ],
        }
    }

    /// How fast the reed's own partials fall: amplitude of partial i is i to the minus this.
    fn slope(self) -> f64 {
        match self {
            Self::PracticeChanter => 1.15,
            Self::PipeChanter => 0.85,
            Self::Drone => 1.0,
        }
    }

    /// Amplitude of the even partials beside the odd ones.
    fn even(self) -> f64 {
        match self {
            Self::PracticeChanter => 0.55,
            Self::PipeChanter => 1.0,
            Self::Drone => 0.7,
        }
    }

    /// Lowest fundamental, hertz: below any note at the lowest low A that is accepted.
    fn lowest(self) -> f64 {
        match self {
            Self::PracticeChanter | Self::PipeChanter => 140.0,
            Self::Drone => 40.0,
        }
    }

    fn amplitude(self, fundamental: f64, partial: u32) -> f64 {
        // The reader interpolates between the two tables above the pitch it plays, 1/8 to 1/2
        // octave higher; formants stand where they should for the middle of that.
        let hertz = fundamental * f64::from(partial) / 2.0_f64.powf(0.3);
        let formants: f64 = self
            .formants()
            .iter()
            .map(|Formant(centre, width, height)| {
                height / (1.0 + ((hertz - centre) / (width / 2.0)).powi(2))
            })
            .sum();
        let even = if partial.is_multiple_of(2) {
            self.even()
        } else {
            1.0
        };
        even * (0.35 + formants) * f64::from(partial).powf(-self.slope())
            / (1.0 + (hertz / 6500.0).powi(4))
    }
}

/// Builds the tables of a timbre, about 0.5 ms.
///
/// Every pitch gets the same power, so that no note of the scale stands out. The partials start
/// at phases that grow with the square of their number (Schroeder, IEEE Trans. Information Theory
/// 16, 1970): the wave then has a low crest and is louder at the same peak. Nothing above 0.45 of
/// the sample rate is kept, so that slow devices get no aliases.
pub(super) fn tables(timbre: Timbre, rate: SampleRate) -> Arc<Wavetable> {
    let ceiling = 0.45 * f64::from(rate.0);
    let heard = |fundamental: f64, partial: u32| {
        if fundamental * f64::from(partial) < ceiling {
            timbre.amplitude(fundamental, partial)
        } else {
            0.0
        }
    };
    let power = Cell::new((0.0_f64, 1.0_f64));
    let amplitude = |fundamental: f64, partial: u32| {
        if power.get().0 != fundamental {
            let last = (22_000.0 / fundamental) as u32;
            let sum: f64 = (1..=last).map(|i| heard(fundamental, i).powi(2)).sum();
            power.set((fundamental, sum.sqrt()));
        }
        heard(fundamental, partial) / power.get().1
    };
    let phase = |partial: u32| (f64::from(partial).powi(2) / 48.0).fract();
    Arc::new(Wavetable::new(
        timbre.lowest(),
        timbre.lowest() * 20.0,
        4.0,
        &phase,
        &amplitude,
    ))
}

/// An oscillator over tables, starting at a phase of its own.
pub(super) fn oscillator(tables: &Arc<Wavetable>, rate: SampleRate, hash: u64) -> WaveSynth<U1> {
    use fundsp::audionode::AudioNode;
    let mut oscillator = WaveSynth::<U1>::new(Arc::clone(tables));
    oscillator.set_sample_rate(f64::from(rate.0));
    oscillator.set_hash(hash);
    oscillator
}
