//! The drones: two tenors and a bass that sound continuously.

use super::ramp::Ramp;
use super::reed::{self, Timbre};
use super::{CHUNK, peak};
use crate::chanter::Tuning;
use crate::units::{Cents, Hertz, SampleRate};
use fundsp::audionode::AudioNode;
use fundsp::buffer::BufferArray;
use fundsp::typenum::U1;
use fundsp::wavetable::WaveSynth;

/// How far the tenors are from their pitch in cents, one above and one below. In perfect unison
/// they would add up to one loud drone or cancel, so they beat once in about six seconds (chosen;
/// within the required accuracy of one cent).
const SPREAD: f64 = 0.6;
/// As for the chanter: the interpolation exceeds the peak of the tables by less than this factor.
const OVERSHOOT: f32 = 1.02;

/// Three drones that are switched together.
pub(in crate::sound) struct Drones {
    pipes: [Pipe; 3],
    on: Ramp,
    waves: BufferArray<U1>,
}

struct Pipe {
    reed: WaveSynth<U1>,
    pitches: BufferArray<U1>,
    level: f32,
}

fn tuned(tuning: &Tuning) -> [Hertz; 3] {
    let [left, right, bass] = tuning.drones();
    [
        left.shifted(Cents(-SPREAD)),
        right.shifted(Cents(SPREAD)),
        bass,
    ]
}

impl Drones {
    /// Builds the tables; the drones are off. Thread: any but audio. Allocates: yes. Blocks: no.
    pub(in crate::sound) fn new(rate: SampleRate, tuning: &Tuning) -> Self {
        let tables = reed::tables(Timbre::Drone, rate);
        let pipe = |hash, level| Pipe {
            reed: reed::oscillator(&tables, rate, hash),
            pitches: BufferArray::new(),
            level: level / OVERSHOOT,
        };
        let mut drones = Self {
            pipes: [
                pipe(11, peak::TENOR),
                pipe(12, peak::TENOR),
                pipe(13, peak::BASS),
            ],
            on: Ramp::at(0.0),
            waves: BufferArray::new(),
        };
        drones.tune(tuning);
        drones
    }

    /// Returns to the state at the start of playing. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn reset(&mut self) {
        for pipe in &mut self.pipes {
            pipe.reed.reset();
        }
        self.on = Ramp::at(0.0);
    }

    /// Sets another tuning: the phase continues, and the pitch changes at the next frame. Thread:
    /// audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn tune(&mut self, tuning: &Tuning) {
        for (pipe, hertz) in self.pipes.iter_mut().zip(tuned(tuning)) {
            for n in 0..CHUNK {
                pipe.pitches.set_f32(0, n, hertz.0 as f32);
            }
        }
    }

    /// Fades the drones in or out over a number of frames. Thread: audio. Allocates: no. Blocks:
    /// no.
    pub(in crate::sound) fn switch(&mut self, on: bool, over: u32) {
        self.on.go(if on { 1.0 } else { 0.0 }, over);
    }

    /// True when the drones neither sound nor fade. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn are_silent(&self) -> bool {
        self.on.is_silent()
    }

    /// Adds the next frames, at most 64, to `out`. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn render(&mut self, out: &mut [f32]) {
        if self.are_silent() {
            return;
        }
        let size = out.len().min(CHUNK);
        let mut sum = [0.0_f32; CHUNK];
        for pipe in &mut self.pipes {
            pipe.reed.process(
                size,
                &pipe.pitches.buffer_ref(),
                &mut self.waves.buffer_mut(),
            );
            let wave = self.waves.buffer_ref();
            for (sample, wave) in sum.iter_mut().zip(&wave.channel_f32(0)[..size]) {
                *sample += wave * pipe.level;
            }
        }
        self.on.apply(&mut sum[..size]);
        for (sample, drone) in out.iter_mut().zip(&sum[..size]) {
            *sample += drone;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: SampleRate = SampleRate(48_000);

    fn render(drones: &mut Drones, frames: usize) -> Vec<f32> {
        let mut samples = vec![0.0; frames];
        for chunk in samples.chunks_mut(CHUNK) {
            drones.render(chunk);
        }
        samples
    }

    /// Over a whole beat period of the tenors the sum stays within its reserve and never vanishes.
    #[test]
    fn the_drones_keep_within_their_peak_while_they_beat() {
        let mut drones = Drones::new(RATE, &Tuning::default());
        assert!(render(&mut drones, 640).iter().all(|sample| *sample == 0.0));
        drones.switch(true, 960);
        let samples = render(&mut drones, 8 * 48_000);
        let peak = samples.iter().fold(0.0_f32, |a, b| a.max(b.abs()));
        assert!(peak <= 2.0 * peak::TENOR + peak::BASS, "{peak}");
        let seconds: Vec<f32> = samples[48_000..]
            .chunks(48_000)
            .map(|second| second.iter().fold(0.0_f32, |a, b| a.max(b.abs())))
            .collect();
        let (least, most) = seconds
            .iter()
            .fold((f32::MAX, 0.0_f32), |(a, b), s| (a.min(*s), b.max(*s)));
        assert!(least > 0.03, "never gone: {seconds:?}");
        assert!(most > 1.05 * least, "they beat: {seconds:?}");
    }
}
