//! What is reported of sound while it comes in.

use super::*;
/// A held note is reported with its pitch: blowing evenly is practised by it.
#[test]
fn what_sounds_now_is_told() {
    let mut attention =
        Attention::new(SampleRate(48_000), Tuning::default()).expect("a usual rate");
    let sharp = Tuning::default().hertz(Note::LowA).0 * 2f64.powf(10.0 / 1200.0);
    let samples: Vec<f32> = (0..48_000)
        .map(|i| {
            let phase = sharp * f64::from(i) / 48_000.0;
            let sum: f64 = (1..8)
                .map(|k| (std::f64::consts::TAU * phase * f64::from(k)).sin() * 0.7f64.powi(k))
                .sum();
            (0.2 * sum) as f32
        })
        .collect();
    attention.push(&samples);
    let (note, off) = attention.now().note.expect("it sounds");
    let off = off.expect("it has sounded for long enough");
    assert_eq!(note, Note::LowA);
    assert!((off.0 - 10.0).abs() < 4.0, "{off:?}");
    assert_eq!(attention.now().low_a, Tuning::default().low_a);
    // once the player's own low A is set, the same sound is in tune
    let own = Tuning::with_low_a(crate::units::Hertz(sharp), Tuning::default().table);
    attention.tune(own).expect("a usual rate");
    attention.push(&samples);
    let (_, off) = attention.now().note.expect("it sounds");
    assert!(off.expect("measured").0.abs() < 1.0, "{off:?}");
    assert_eq!(attention.now().low_a, crate::units::Hertz(sharp));
}

/// A reed on low A, its pitch swinging by so many cents five times a second.
fn reed(seconds: usize, off: f64, swing: f64, gain: f64) -> Vec<f32> {
    let low_a = Tuning::default().hertz(Note::LowA).0;
    let mut phase = 0.0f64;
    (0..48_000 * seconds)
        .map(|at| {
            let time = at as f64 / 48_000.0;
            let cents = off + swing * (std::f64::consts::TAU * 5.0 * time).sin();
            phase += low_a * 2f64.powf(cents / 1200.0) / 48_000.0;
            let sum: f64 = (1..8)
                .map(|k| (std::f64::consts::TAU * phase * f64::from(k)).sin() * 0.7f64.powi(k))
                .sum();
            (gain * sum).clamp(-1.0, 1.0) as f32
        })
        .collect()
}

fn attended(samples: &[f32]) -> HeardNow {
    let mut attention =
        Attention::new(SampleRate(48_000), Tuning::default()).expect("a usual rate");
    attention.push(samples);
    attention.now()
}

/// Blowing evenly is practised by these figures: a steady note must not waver on the screen,
/// and one that does (its swing's deviation is its size over √2) must.
#[test]
fn a_held_note_tells_how_evenly_it_is_blown() {
    let even = attended(&reed(4, -7.0, 0.0, 0.2)).held.expect("held");
    assert!((even.cents.0 + 7.0).abs() < 3.0, "{even:?}");
    assert!(even.spread.0 < 1.0, "{even:?}");
    assert!((even.length.0 - 4.0).abs() < 0.2, "{even:?}");
    let wavering = attended(&reed(4, 0.0, 15.0, 0.2)).held.expect("held");
    let expected = 15.0 / 2f64.sqrt();
    assert!((wavering.spread.0 - expected).abs() < 3.0, "{wavering:?}");
}

/// 80 ms are allowed from a sound to its note on the screen. Listening itself needs some of that as
/// sound; where it needed more than this, no device could be quick enough.
#[test]
fn another_note_is_told_from_little_sound() {
    let mut attention =
        Attention::new(SampleRate(48_000), Tuning::default()).expect("a usual rate");
    let mut phase = 0.0f64;
    let mut waits = Vec::new();
    let mut waiting: Option<(Note, usize)> = None;
    for step in 0..4000usize {
        let note = if step / 405 % 2 == 0 {
            Note::LowA
        } else {
            Note::E
        };
        let pitch = Tuning::default().hertz(note).0;
        if step % 405 == 0 {
            waiting = Some((note, step));
        }
        // one millisecond of sound
        let samples: Vec<f32> = (0..48)
            .map(|_| {
                phase += pitch / 48_000.0;
                let sum: f64 = (1..9)
                    .map(|k| (std::f64::consts::TAU * phase * f64::from(k)).sin() * 0.7f64.powi(k))
                    .sum();
                (0.2 * sum) as f32
            })
            .collect();
        attention.push(&samples);
        if let Some((wanted, since)) = waiting
            && attention.now().note.map(|(note, _)| note) == Some(wanted)
        {
            waits.push(step + 1 - since);
            waiting = None;
        }
    }
    waits.sort_unstable();
    assert!(waits.len() >= 9, "{waits:?}");
    let median = waits[waits.len() / 2];
    assert!(median <= 70, "{waits:?} ms of sound");
}

/// Without it a microphone that is off, or far too loud, would just show nothing.
#[test]
fn silence_and_clipping_are_told() {
    let silent = attended(&vec![0.0; 96_000]);
    assert_eq!((silent.note, silent.held), (None, None));
    assert!((silent.silent.0 - 2.0).abs() < 0.05, "{silent:?}");
    assert!(!silent.clips);
    let soft = attended(&reed(1, 0.0, 0.0, 0.0005));
    assert!(soft.level < SILENT && soft.silent.0 < 0.01, "{soft:?}");
    assert_eq!(soft.note.map(|(note, _)| note), Some(Note::LowA));
    let loud = attended(&reed(1, 0.0, 0.0, 3.0));
    assert!(loud.clips && loud.silent.0 < 0.01, "{loud:?}");
    assert!(loud.unheard.0 < 0.5, "{loud:?}");
    // noise has no pitch and is no chanter; it comes from the generator of Numerical Recipes
    let mut state = 1_u32;
    let hiss: Vec<f32> = (0..144_000)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            0.1 * ((state >> 8) as f32 / 8_388_608.0 - 1.0)
        })
        .collect();
    let hiss = attended(&hiss);
    assert!(hiss.unheard.0 > 2.5 && hiss.silent.0 < 0.1, "{hiss:?}");
}

/// What is kept is bounded however long the session is.
#[test]
fn only_the_last_seconds_are_kept() {
    let mut attention = Attention::new(SampleRate(8000), Tuning::default()).expect("a usual rate");
    let second = vec![0.0; 8000];
    for _ in 0..200 {
        attention.push(&second);
    }
    assert_eq!(attention.kept.len(), (KEPT_S * 8000.0) as usize);
    assert!((attention.seconds().0 - 200.0).abs() < 1e-9);
}
