//! Synthesises a chanter in a room, with everything else that a microphone hears.
//!
//! A reed's harmonics go through resonances that the seed chooses. A change of fingers takes 1 to 6
//! ms and glides through half-covered holes, with a dip in level and a puff of noise. Most
//! gracenotes are off pitch, as false-fingered ones are. The sample rate is 48 kHz.

use super::takes::{Kind, Take, between, normal};
use fastrand::Rng;
use realfft::RealFftPlanner;
use std::f64::consts::TAU;

/// The sample rate in samples a second.
pub(crate) const RATE: usize = 48_000;

/// The conditions of a recording.
#[derive(Debug, Clone, Default)]
pub(crate) struct Conditions {
    pub la_hz: f64,
    pub pipes: bool,
    /// Reverberation time to −60 dB in seconds, and direct sound relative to the room in dB.
    pub room: Option<(f64, f64)>,
    /// The signal-to-noise ratio in dB, and the kind of noise: 0 pink, 1 hum, 2 talk.
    pub noise: Option<(f64, u8)>,
    /// The level of clicks relative to the chanter in dB, and their kind: 0 ping, 1 wood, 2 beep.
    pub clicks: Option<(f64, u8)>,
    /// The level of drones relative to the chanter in dB.
    pub drones: Option<f64>,
    /// Roughness from 0 (steady) to 1: finger taps, dips in level, unsteady blowing.
    pub rough: f64,
}

const RATIOS: [f64; 9] = [
    7.0 / 8.0,
    1.0,
    9.0 / 8.0,
    5.0 / 4.0,
    4.0 / 3.0,
    3.0 / 2.0,
    5.0 / 3.0,
    7.0 / 4.0,
    2.0,
];
const HARMONICS: usize = 36;

struct Timbre {
    /// The centre in hertz, the width in hertz and the height of three resonances.
    resonances: [(f64, f64, f64); 3],
    fall: f64,
    even: f64,
    uneven: Vec<[f64; HARMONICS]>,
    phases: [f64; HARMONICS],
}

impl Timbre {
    fn new(rng: &mut Rng, la: f64) -> Self {
        let scale = (la / 240.0).sqrt();
        let mut phases = [0.0; HARMONICS];
        for phase in &mut phases {
            *phase = rng.f64() * between(rng, 0.0, 1.0);
        }
        let uneven = (0..9)
            .map(|_| {
                let mut all = [0.0; HARMONICS];
                for value in &mut all {
                    *value = 10f64.powf(normal(rng) * 3.0 / 20.0);
                }
                all
            })
            .collect();
        Self {
            resonances: [
                (
                    between(rng, 500.0, 1200.0) * scale,
                    between(rng, 200.0, 500.0),
                    between(rng, 0.5, 3.0),
                ),
                (
                    between(rng, 1200.0, 2600.0) * scale,
                    between(rng, 300.0, 800.0),
                    between(rng, 0.5, 4.0),
                ),
                (
                    between(rng, 2600.0, 5000.0),
                    between(rng, 500.0, 1200.0),
                    between(rng, 0.2, 2.0),
                ),
            ],
            fall: between(rng, 0.5, 1.4),
            even: between(rng, 0.4, 1.0),
            uneven,
            phases,
        }
    }

    fn amplitudes(&self, note: usize, hertz: f64) -> [f64; HARMONICS] {
        let mut all = [0.0; HARMONICS];
        let mut power = 0.0;
        for (k, value) in all.iter_mut().enumerate() {
            let at = hertz * (k + 1) as f64;
            if at > 11_000.0 {
                break;
            }
            let formants: f64 = self
                .resonances
                .iter()
                .map(|(centre, width, height)| height / (1.0 + ((at - centre) / width).powi(2)))
                .sum();
            let even = if k % 2 == 1 { self.even } else { 1.0 };
            *value =
                ((k + 1) as f64).powf(-self.fall) * (0.3 + formants) * even * self.uneven[note][k];
            power += *value * *value / 2.0;
        }
        for value in &mut all {
            *value /= power.sqrt();
        }
        all
    }
}

/// A stretch of sound with constant targets.
struct Aim {
    start: f64,
    end: f64,
    /// The breath that it is in, from the start of its first note to the end of its last.
    breath: (f64, f64),
    hertz: f64,
    amplitudes: [f64; HARMONICS],
    /// The change at its end: half its length in seconds, and the depth of its dip.
    half: f64,
    dip: f64,
}

/// The sound of the chanter alone, with a power of about 1.
fn chanter(rng: &mut Rng, take: &Take, conditions: &Conditions) -> Vec<f64> {
    let timbre = Timbre::new(rng, conditions.la_hz);
    let mistuned: Vec<f64> = (0..9).map(|_| between(rng, -15.0, 15.0)).collect();
    let levels: Vec<f64> = (0..9).map(|_| between(rng, -2.0, 2.0)).collect();
    let mut aims: Vec<Aim> = take
        .notes
        .iter()
        .map(|note| {
            let index = note.note.index();
            let false_fingered = if note.kind == Kind::Grace && note.end_s - note.start_s < 0.06 {
                between(rng, -25.0, 25.0)
            } else {
                0.0
            };
            let hertz = conditions.la_hz
                * RATIOS[index]
                * ((mistuned[index] + false_fingered) / 1200.0).exp2();
            let gain = 10f64.powf(levels[index] / 20.0);
            let mut amplitudes = timbre.amplitudes(index, hertz);
            for amplitude in &mut amplitudes {
                *amplitude *= gain;
            }
            Aim {
                start: note.start_s,
                end: note.end_s,
                breath: (note.start_s, note.end_s),
                hertz,
                amplitudes,
                half: between(rng, 0.0005, 0.003),
                dip: between(rng, 0.3, 1.0),
            }
        })
        .collect();
    for at in 1..aims.len() {
        if aims[at].start - aims[at - 1].end < 1e-6 {
            aims[at].breath.0 = aims[at - 1].breath.0;
        }
    }
    for at in (1..aims.len()).rev() {
        if aims[at].start - aims[at - 1].end < 1e-6 {
            aims[at - 1].breath.1 = aims[at].breath.1;
        }
    }
    let start = take.notes.first().map_or(0.0, |note| note.start_s);
    let end = take.notes.last().map_or(0.0, |note| note.end_s);
    let tail = conditions.room.map_or(0.4, |(rt, _)| rt + 0.3);
    let count = ((end + tail) * RATE as f64) as usize;
    let mut out = vec![0.0; count];
    let (mut at, mut turns) = (0usize, 0.0f64);
    let drift = between(rng, 2.0, 10.0);
    let drift_rate = between(rng, 0.05, 0.2);
    let shake = conditions.rough * between(rng, 2.0, 8.0);
    let shake_rate = between(rng, 2.0, 6.0);
    let dips: Vec<(f64, f64)> = (0..(6.0 * conditions.rough) as usize)
        .map(|_| (between(rng, start, end), between(rng, 0.3, 0.8)))
        .collect();
    let mut noise = 0.0;
    for (sample, value) in out.iter_mut().enumerate() {
        let t = sample as f64 / RATE as f64;
        if t < start || t > end + 0.003 {
            continue;
        }
        while at + 1 < aims.len() && t > aims[at].end + aims[at].half {
            at += 1;
        }
        let here = &aims[at];
        let next = aims.get(at + 1).filter(|next| next.start - here.end < 1e-6);
        let mut mix = 0.0;
        let mut dip = 1.0;
        let mut before = here;
        let mut after = here;
        if let Some(next) = next
            && t > here.end - here.half
        {
            mix = ((t - here.end) / here.half * 0.5 + 0.5).clamp(0.0, 1.0);
            mix = 0.5 - 0.5 * (std::f64::consts::PI * mix).cos();
            dip = 1.0 - (1.0 - here.dip) * (1.0 - (2.0 * mix - 1.0).powi(2));
            before = here;
            after = next;
        }
        let hertz = before.hertz.powf(1.0 - mix) * after.hertz.powf(mix);
        let cents = drift * (TAU * drift_rate * t).sin() + shake * (TAU * shake_rate * t).sin();
        turns = (turns + hertz * (cents / 1200.0).exp2() / RATE as f64).fract();
        let angle = TAU * turns;
        let step = (angle.cos(), angle.sin());
        let mut turn = step;
        let mut sum = 0.0;
        for k in 0..HARMONICS {
            let amplitude = before.amplitudes[k] * (1.0 - mix) + after.amplitudes[k] * mix;
            let (s, c) = (timbre.phases[k], 1.0 - timbre.phases[k]);
            sum += amplitude * (turn.0 * c + turn.1 * s) / (s * s + c * c).sqrt();
            turn = (
                turn.0 * step.0 - turn.1 * step.1,
                turn.0 * step.1 + turn.1 * step.0,
            );
        }
        // the reed starts within 3 ms and stops within 3 ms
        let edge = ((t - here.breath.0) / 0.003)
            .min((here.breath.1 + 0.003 - t) / 0.003)
            .clamp(0.0, 1.0);
        if edge <= 0.0 {
            continue;
        }
        let mut level = edge * dip;
        for (when, depth) in &dips {
            let near = ((t - when) / 0.06).powi(2);
            if near < 9.0 {
                level *= 1.0 - depth * (-near).exp();
            }
        }
        noise = 0.6 * noise + 0.4 * normal(rng);
        *value = level * sum + 0.15 * (1.0 - dip) * noise + 0.004 * noise * edge;
    }
    if conditions.rough > 0.0 {
        for note in &take.notes {
            if rng.f64() < conditions.rough {
                let when = (note.start_s * RATE as f64) as usize;
                let pitch = between(rng, 150.0, 900.0);
                let gain = conditions.rough * between(rng, 0.1, 0.7);
                for i in 0..RATE / 50 {
                    let t = i as f64 / RATE as f64;
                    if let Some(value) = out.get_mut(when + i) {
                        *value += gain
                            * (-t / 0.003).exp()
                            * ((TAU * pitch * t).sin() + 0.5 * normal(rng));
                    }
                }
            }
        }
    }
    out
}

fn convolve(dry: &[f64], tail: &[f64]) -> Vec<f64> {
    let size = (dry.len() + tail.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f64>::new();
    let (forward, backward) = (
        planner.plan_fft_forward(size),
        planner.plan_fft_inverse(size),
    );
    let spectrum = |samples: &[f64]| {
        let mut input = forward.make_input_vec();
        input[..samples.len()].copy_from_slice(samples);
        let mut output = forward.make_output_vec();
        forward
            .process(&mut input, &mut output)
            .expect("lengths come from the plan");
        output
    };
    let mut product = spectrum(dry);
    for (value, other) in product.iter_mut().zip(spectrum(tail)) {
        *value *= other;
    }
    product[0].im = 0.0;
    if let Some(last) = product.last_mut() {
        last.im = 0.0;
    }
    let mut out = backward.make_output_vec();
    backward
        .process(&mut product, &mut out)
        .expect("lengths come from the plan");
    out.truncate(dry.len());
    out.iter().map(|value| value / size as f64).collect()
}

/// The impulse response of a room: a few early reflections and a tail of decaying noise.
fn room(rng: &mut Rng, seconds: f64, direct_db: f64) -> Vec<f64> {
    let count = (seconds * RATE as f64) as usize;
    let mut tail = vec![0.0; count];
    let gap = between(rng, 0.002, 0.008);
    let mut smooth = 0.0;
    let damping = between(rng, 0.2, 0.6);
    for (i, value) in tail.iter_mut().enumerate() {
        let t = i as f64 / RATE as f64;
        smooth = damping * smooth + (1.0 - damping) * normal(rng);
        if t > gap {
            *value = smooth * 10f64.powf(-3.0 * t / seconds);
        }
    }
    for _ in 0..5 {
        let at = (between(rng, 0.001, 0.03) * RATE as f64) as usize;
        if at < count {
            tail[at] += normal(rng) * 6.0 * 10f64.powf(-3.0 * at as f64 / RATE as f64 / seconds);
        }
    }
    let power: f64 = tail.iter().map(|v| v * v).sum();
    let scale = (10f64.powf(-direct_db / 10.0) / power).sqrt();
    for value in &mut tail {
        *value *= scale;
    }
    tail[0] = 1.0;
    tail
}

fn level(samples: &mut [f64], db: f64) {
    let power = samples.iter().map(|v| v * v).sum::<f64>() / samples.len().max(1) as f64;
    let scale = 10f64.powf(db / 20.0) / power.sqrt().max(1e-12);
    for value in samples {
        *value *= scale;
    }
}

fn noise(rng: &mut Rng, count: usize, kind: u8) -> Vec<f64> {
    let mut out = vec![0.0; count];
    match kind {
        1 => {
            let base = if rng.bool() { 50.0 } else { 60.0 };
            for k in 1..8 {
                let (gain, phase) = (rng.f64() / f64::from(k), rng.f64());
                for (i, value) in out.iter_mut().enumerate() {
                    *value +=
                        gain * (TAU * (base * f64::from(k) * i as f64 / RATE as f64 + phase)).sin();
                }
            }
        }
        2 => talk(rng, &mut out),
        _ => {
            let mut poles = [0.0; 4];
            for value in &mut out {
                let white = normal(rng);
                for (pole, (keep, gain)) in
                    poles
                        .iter_mut()
                        .zip([(0.998, 0.05), (0.98, 0.1), (0.85, 0.25), (0.3, 0.5)])
                {
                    *pole = keep * *pole + gain * white;
                }
                *value = poles.iter().sum();
            }
        }
    }
    out
}

/// Adds sound like speech, in syllables: a buzz of varying pitch through two moving resonances.
pub(crate) fn talk(rng: &mut Rng, out: &mut [f64]) {
    let mut phase = 0.0;
    let (mut pitch, mut aim) = (130.0, 130.0);
    let mut state = [[0.0f64; 2]; 2];
    let mut centres = [500.0, 1500.0];
    let (mut gain, mut gain_aim) = (0.0, 0.0);
    let mut voiced = true;
    for (i, value) in out.iter_mut().enumerate() {
        if i % 9600 == 0 {
            aim = between(rng, 90.0, 230.0);
            centres = [between(rng, 300.0, 800.0), between(rng, 900.0, 2400.0)];
            gain_aim = if rng.f64() < 0.25 {
                0.0
            } else {
                between(rng, 0.3, 1.0)
            };
            voiced = rng.f64() < 0.75;
        }
        pitch += (aim - pitch) * 0.0003;
        gain += (gain_aim - gain) * 0.0008;
        phase += pitch / RATE as f64;
        let mut source = 0.1 * normal(rng);
        if voiced && phase >= 1.0 {
            source += 20.0;
        }
        phase = phase.fract();
        let mut sum = 0.0;
        for (memory, centre) in state.iter_mut().zip(centres) {
            let radius = (-std::f64::consts::PI * 90.0 / RATE as f64).exp();
            let now = source + 2.0 * radius * (TAU * centre / RATE as f64).cos() * memory[0]
                - radius * radius * memory[1];
            *memory = [now, memory[0]];
            sum += now;
        }
        *value = gain * sum;
    }
}

fn add_clicks(rng: &mut Rng, out: &mut [f64], take: &Take, db: f64, kind: u8) {
    let pitch = match kind {
        0 => between(rng, 1200.0, 2500.0),
        1 => between(rng, 600.0, 1400.0),
        _ => between(rng, 800.0, 1600.0),
    };
    let fall = match kind {
        0 => 0.025,
        1 => 0.008,
        _ => 0.5,
    };
    let gain = 10f64.powf(db / 20.0) * 1.4;
    let bleed = between(rng, -0.01, 0.01);
    // half of the metronomes accent one beat of two, three or four by a higher sound
    let bar = if rng.bool() { rng.u8(2..5) } else { 1 };
    let accent = between(rng, 1.2, 2.0);
    let beat = 60.0 / take.bpm;
    let length = out.len() as f64 / RATE as f64;
    let mut when = take.first_click_s - (take.first_click_s / beat).floor() * beat + bleed;
    let mut beats = (0..bar).cycle();
    while when < length {
        let from = (when.max(0.0) * RATE as f64) as usize;
        let accented = bar > 1 && beats.next() == Some(0);
        let pitch = if accented { accent * pitch } else { pitch };
        for i in 0..RATE / 20 {
            let t = i as f64 / RATE as f64;
            let Some(value) = out.get_mut(from + i) else {
                break;
            };
            let edge = (t / 0.001).min(1.0)
                * if kind == 2 {
                    ((0.03 - t) / 0.002).clamp(0.0, 1.0)
                } else {
                    1.0
                };
            let tone = (TAU * pitch * t).sin()
                + if kind == 1 {
                    0.5 * (TAU * pitch * 2.7 * t).sin()
                } else {
                    0.0
                };
            *value += gain * edge * (-t / fall).exp() * tone;
        }
        when += beat;
    }
}

fn drones(rng: &mut Rng, count: usize, la_hz: f64, db: f64) -> Vec<f64> {
    let mut out = vec![0.0; count];
    for ratio in [0.5, 0.5, 0.25] {
        let hertz = la_hz * ratio * (between(rng, -2.0, 2.0) / 1200.0).exp2();
        let fall = between(rng, 0.6, 1.2);
        for k in 1..30 {
            let gain = between(rng, 0.3, 1.0) * f64::from(k).powf(-fall);
            let phase = rng.f64();
            if hertz * f64::from(k) > 6000.0 {
                break;
            }
            let step = hertz * f64::from(k) / RATE as f64;
            for (i, value) in out.iter_mut().enumerate() {
                *value += gain * (TAU * (step * i as f64 + phase)).sin();
            }
        }
    }
    level(&mut out, db);
    out
}

/// The whole recording, mono, with a peak of 0.7.
pub(crate) fn record(rng: &mut Rng, take: &Take, conditions: &Conditions) -> Vec<f32> {
    let mut out = chanter(rng, take, conditions);
    if let Some((seconds, direct)) = conditions.room {
        let tail = room(rng, seconds, direct);
        out = convolve(&out, &tail);
    }
    let count = out.len();
    if let Some(db) = conditions.drones {
        for (value, drone) in out.iter_mut().zip(drones(rng, count, conditions.la_hz, db)) {
            *value += drone;
        }
    }
    if let Some((db, kind)) = conditions.clicks {
        add_clicks(rng, &mut out, take, db, kind);
    }
    let (db, kind) = conditions.noise.unwrap_or((55.0, 0));
    let mut background = noise(rng, count, kind);
    level(&mut background, -db);
    for (value, other) in out.iter_mut().zip(background) {
        *value += other;
    }
    let peak = out.iter().fold(0.0f64, |most, value| most.max(value.abs()));
    out.iter()
        .map(|value| (value / peak * 0.7) as f32)
        .collect()
}
