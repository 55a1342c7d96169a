//! What the listener makes of sounds by formula. It knows no recording.

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

/// Without it a high G gracenote that is flat, as false fingering makes it, would be told as an F
/// in music that has no F: nearly halfway between the two, 25 ms long, it is heard as what is
/// written, and as F where an F stands elsewhere.
#[test]
fn a_flat_high_g_is_no_f_where_no_f_is_written() {
    let tuning = Tuning::with_low_a(Hertz(236.0), TuningTable::Modern);
    let (f, high_g) = (tuning.hertz(Note::F).0, tuning.hertz(Note::HighG).0);
    let gracenote = |moves: &[(Note, Note)]| {
        let mut samples = Vec::new();
        let mut phase = 0.0f64;
        let between = f * (high_g / f).powf(0.4);
        for (hertz, seconds) in [(236.0, 0.5), (between, 0.025), (236.0, 0.5)] {
            for _ in 0..(seconds * 8000.0) as usize {
                phase = (phase + hertz / 8000.0).fract();
                let harmonics = (1..8).map(|k| (TAU * phase * f64::from(k)).cos());
                let weighed = harmonics.zip(1..).map(|(wave, k)| wave * 0.7f64.powi(k));
                samples.push(0.2 * weighed.sum::<f64>() as f32);
            }
        }
        let mut listener = Listener::new(SampleRate(8000), tuning)
            .expect("a usual rate")
            .expecting(moves);
        listener.push(&samples);
        listener.finish().get(1).map(|note| note.note)
    };
    let written = [(Note::LowA, Note::HighG), (Note::HighG, Note::LowA)];
    assert_eq!(gracenote(&written), Some(Note::HighG));
    let with_f = [written[0], written[1], (Note::E, Note::F)];
    assert_eq!(gracenote(&with_f), Some(Note::F));
}

/// Whether a room is found after 7 s of two notes in turn, spoilt by what is given.
fn room_in(spoil: impl Fn(&mut [f32], u32)) -> bool {
    let rate = 8000;
    let written: Vec<(Note, f64)> = (0..20)
        .map(|at| (if at % 2 == 0 { Note::LowA } else { Note::D }, 0.35))
        .collect();
    let mut samples = played(rate, &written, 236.0);
    spoil(&mut samples, rate);
    let tuning = Tuning::with_low_a(Hertz(236.0), TuningTable::Modern);
    let mut listener = Listener::new(SampleRate(rate), tuning).expect("a usual rate");
    listener.push(&samples);
    listener.intake.finish();
    listener.work();
    listener.ear.tails
}

/// Without it a dry recording in which notes begin muddily would be heard as if in a room, where
/// finger changes are told less surely: only where the note before explains the mud it is a room.
#[test]
fn what_no_tail_explains_is_no_room() {
    let random = |seed: &mut u32| {
        *seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (*seed >> 8) as f32 / 8_388_608.0 - 1.0
    };
    let in_a_room = room_in(|samples, rate| {
        let (dry, mut seed) = (samples.to_vec(), 1);
        for reflection in 1..60 {
            let delay = reflection * rate as usize / 160 + 13 * (reflection % 7);
            let gain = 0.8 * random(&mut seed) * (-0.05 * reflection as f32).exp();
            for at in delay..samples.len() {
                samples[at] += gain * dry[at - delay];
            }
        }
    });
    assert!(in_a_room);
    let muddy = room_in(|samples, rate| {
        let mut seed = 1;
        for (at, sample) in samples.iter_mut().enumerate() {
            if (at as f64 / f64::from(rate)) % 0.35 < 0.06 {
                *sample += 0.15 * random(&mut seed);
            }
        }
    });
    assert!(!muddy);
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
