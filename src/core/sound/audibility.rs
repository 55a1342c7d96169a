//! Tests that the click is heard beside everything that sounds with it, and that the mix does not
//! clip.
//!
//! A click that the pipes drown is useless. The tests measure, at the default levels, the power of
//! a click and of what sounds beside it, in windows of 20 ms. They use the octave bands of IEC
//! 61260-1:2014 with the centre frequencies 1, 2, 4 and 8 kHz. The exact centres are 1000 Hz times
//! 10^(3x/10), x from 0 to 3; the band edges are a factor 10^(3/20) below and above. Bands show
//! what differs in frequency; they are not a model of masking.

use super::mix::{Levels, Mix, Sound};
use super::voices::{CHUNK, ClickSound, Cue, Weight};
use crate::chanter::{Instrument, NOTES, Note, Tuning};
use crate::units::SampleRate;
use std::f64::consts::TAU;

const RATE: SampleRate = SampleRate(48_000);
/// Length of a window in frames: 20 ms at 48 kHz.
const WINDOW: usize = 960;
/// How many decibels a click must stand above everything else in at least one band.
const ABOVE: f64 = 3.0;

fn render(mix: &mut Mix, frames: usize) -> Vec<f32> {
    let mut samples = vec![0.0; frames];
    for chunk in samples.chunks_mut(CHUNK) {
        mix.render(chunk);
    }
    samples
}

/// The cosine and sine for each frame of a window, from which its discrete Fourier transform is
/// computed.
fn turns() -> Vec<(f64, f64)> {
    (0..WINDOW)
        .map(|n| (TAU * n as f64 / WINDOW as f64).sin_cos())
        .collect()
}

/// Power of a window in the four octave bands.
fn octaves(samples: &[f32], turns: &[(f64, f64)]) -> [f64; 4] {
    [0, 1, 2, 3].map(|x| {
        let centre = 1000.0 * 10.0_f64.powf(0.3 * f64::from(x));
        let bin = |hertz: f64| (hertz * WINDOW as f64 / f64::from(RATE.0)).ceil() as usize;
        (bin(centre * 10.0_f64.powf(-0.15))..bin(centre * 10.0_f64.powf(0.15)))
            .map(|bin| {
                let (mut re, mut im) = (0.0, 0.0);
                for (n, sample) in samples[..WINDOW].iter().enumerate() {
                    let (sin, cos) = turns[(n * bin) % WINDOW];
                    re += f64::from(*sample) * cos;
                    im += f64::from(*sample) * sin;
                }
                re * re + im * im
            })
            .sum()
    })
}

fn started(instrument: Instrument, drones: bool, click: ClickSound) -> Mix {
    let sound = Sound {
        tuning: Tuning::of(instrument),
        drones,
        click,
        levels: Levels::default(),
    };
    let mut mix = Mix::new(RATE, sound);
    mix.begin();
    mix
}

/// The powers of what sounds beside a click, in three windows of each note.
fn beside(instrument: Instrument, drones: bool, turns: &[(f64, f64)]) -> Vec<(Note, [f64; 4])> {
    let mut mix = started(instrument, drones, ClickSound::Tick);
    NOTES
        .into_iter()
        .flat_map(|note| {
            mix.reference(note, 1.0);
            render(&mut mix, 4800);
            [0; 3].map(|_| (note, octaves(&render(&mut mix, 1711), turns)))
        })
        .collect()
}

/// Every click is tested against every note of both chanters, with and without drones.
#[test]
fn every_click_stands_three_decibels_above_the_pipes_in_one_octave() {
    let turns = turns();
    let mut rests = Vec::new();
    for instrument in [Instrument::PracticeChanter, Instrument::PipeChanter] {
        for drones in [false, true] {
            for (note, rest) in beside(instrument, drones, &turns) {
                rests.push((format!("{note} of {instrument:?}, drones {drones}"), rest));
            }
        }
    }
    let mut least = f64::MAX;
    for sound in ClickSound::ALL {
        for weight in [Weight::Bar, Weight::Beat, Weight::Part] {
            let mut mix = started(Instrument::PipeChanter, false, sound);
            mix.click(weight);
            let click = octaves(&render(&mut mix, WINDOW), &turns);
            for (told, rest) in &rests {
                let best = click
                    .iter()
                    .zip(rest)
                    .map(|(click, rest)| 10.0 * (click / rest).log10())
                    .fold(f64::MIN, f64::max);
                assert!(
                    best >= ABOVE,
                    "{sound:?} {weight:?} beside {told}: {best:.1} dB"
                );
                least = least.min(best);
            }
        }
    }
    // A click that stands out much further than required would hurt beside a soft chanter.
    assert!(least < 3.0 * ABOVE, "{least}");
}

/// Between two samples the wave from a converter can be higher than both. The true peak is measured
/// as in ITU-R BS.1770-5, annex 2: at four times the sample rate. Interpolated with a Hann window
/// over 12 samples on each side, the full mix stays below full scale with every level at its
/// highest.
#[test]
fn the_full_mix_stays_below_full_scale_between_samples_too() {
    const SIDE: isize = 12;
    let taps: Vec<Vec<f64>> = (0..4)
        .map(|quarter| {
            let shift = f64::from(quarter) / 4.0;
            (-SIDE + 1..=SIDE)
                .map(|n| {
                    let t = n as f64 - shift;
                    let hann = (TAU / 4.0 * t / SIDE as f64).cos().powi(2);
                    let turn = TAU / 2.0 * t;
                    let sinc = if turn.abs() < 1e-9 {
                        1.0
                    } else {
                        turn.sin() / turn
                    };
                    hann * sinc
                })
                .collect()
        })
        .collect();
    for instrument in [Instrument::PracticeChanter, Instrument::PipeChanter] {
        for sound in ClickSound::ALL {
            let mut mix = started(instrument, true, sound);
            mix.set_levels(Levels::FULL);
            let mut samples = Vec::new();
            for note in NOTES {
                mix.reference(note, 1.0);
                mix.cue(Cue::CellClear);
                samples.extend(render(&mut mix, 1920));
                for weight in [Weight::Bar, Weight::Beat, Weight::Part] {
                    mix.click(weight);
                    samples.extend(render(&mut mix, 1280));
                }
            }
            let peak = samples
                .windows(taps[0].len())
                .flat_map(|window| {
                    taps.iter().map(move |taps| {
                        let all = window.iter().zip(taps);
                        all.map(|(sample, tap)| f64::from(*sample) * tap)
                            .sum::<f64>()
                            .abs()
                    })
                })
                .fold(0.0, f64::max);
            assert!(peak < 1.0, "{instrument:?} {sound:?}: {peak}");
            assert!(peak > 0.4, "{instrument:?} {sound:?}: too mild, {peak}");
        }
    }
}
