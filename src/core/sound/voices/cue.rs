//! Two short sounds that report what the screen shows, so that the player's eyes may stay on the
//! paper.

use super::struck::{highest, ring};
use super::{CHUNK, peak};
use crate::units::SampleRate;

/// What a cue reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Cue {
    /// The cell is clear: two rising notes.
    CellClear,
    /// A step back is suggested: two low falling notes.
    StepBack,
}

/// The samples of both cues, and the one that sounds.
pub(in crate::sound) struct Cues {
    laid_out: [Vec<f32>; 2],
    sounding: Option<(usize, usize)>,
}

/// The time in seconds from the first note of a cue to the second.
const APART: f64 = 0.11;

/// Two notes, one after the other; `first` and `second` are frequencies in hertz.
fn pair(first: f64, second: f64, decay: f64, rate: SampleRate) -> Vec<f32> {
    let note = |hertz| {
        ring(
            0.22,
            &[(hertz, 1.0, decay), (2.0 * hertz, 0.25, 0.5 * decay)],
            rate,
        )
    };
    let shift = (APART * f64::from(rate.0)) as usize;
    let mut samples = note(first);
    samples.resize(samples.len() + shift, 0.0);
    for (sample, late) in samples[shift..].iter_mut().zip(note(second)) {
        *sample += late;
    }
    let scale = 0.99 * peak::CUE / highest(&samples);
    for sample in &mut samples {
        *sample *= scale;
    }
    samples
}

impl Cues {
    /// Computes the samples of both cues. Thread: any but audio. Allocates: yes. Blocks: no.
    pub(in crate::sound) fn new(rate: SampleRate) -> Self {
        Self {
            laid_out: [
                pair(1318.5, 1975.5, 0.060, rate),
                pair(440.0, 329.6, 0.070, rate),
            ],
            sounding: None,
        }
    }

    /// Begins a cue at the next frame and replaces a sounding one. Thread: audio. Allocates: no.
    /// Blocks: no.
    pub(in crate::sound) fn sound(&mut self, cue: Cue) {
        self.sounding = Some((cue as usize, 0));
    }

    /// Adds the next frames, at most 64, to `out`. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn render(&mut self, out: &mut [f32]) {
        let Some((which, at)) = self.sounding else {
            return;
        };
        let size = out.len().min(CHUNK);
        let rest = &self.laid_out[which][at..];
        for (sample, cue) in out[..size].iter_mut().zip(rest) {
            *sample += cue;
        }
        self.sounding = (rest.len() > size).then_some((which, at + size));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The cues must not be mistaken for each other: one rises and the other falls, and they lie an
    /// octave or more apart. The pitch is measured by zero crossings.
    #[test]
    fn the_cues_rise_and_fall_and_keep_within_their_peak() {
        let rate = SampleRate(48_000);
        let mut cues = Cues::new(rate);
        let mut heard = [[0, 0]; 2];
        for cue in [Cue::CellClear, Cue::StepBack] {
            cues.sound(cue);
            let mut samples = vec![0.0; 19_200];
            for chunk in samples.chunks_mut(CHUNK) {
                cues.render(chunk);
            }
            let peak = highest(&samples);
            assert!(peak <= peak::CUE && peak > 0.9 * peak::CUE, "{peak}");
            let crossings = |part: &[f32]| {
                part.windows(2)
                    .filter(|pair| pair[0] < 0.0 && pair[1] >= 0.0)
                    .count()
            };
            heard[cue as usize] = [
                crossings(&samples[..4800]),
                crossings(&samples[6720..11_520]),
            ];
            assert!(samples[17_000..].iter().all(|sample| *sample == 0.0));
        }
        assert!(heard[0][1] > heard[0][0], "{heard:?}");
        assert!(heard[1][1] < heard[1][0], "{heard:?}");
        assert!(heard[0][0] > 2 * heard[1][0], "{heard:?}");
    }
}
