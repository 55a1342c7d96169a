//! The click: four sounds, each with three weights.

use super::struck::{ring, scaled, stretched};
use super::{CHUNK, peak};
use crate::units::SampleRate;
use rodio::Source;
use serde::{Deserialize, Serialize};

/// What a click sounds like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ClickSound {
    /// Synthesised: short and dry, at 3 kHz and above, where a chanter has the least power.
    #[default]
    Tick,
    /// Synthesised: a soft pure tone between 1.8 and 2.8 kHz, for ears that no longer hear higher
    /// sounds.
    Pip,
    /// A sample: a struck bar of wood.
    Wood,
    /// A sample: a small bell.
    Bell,
}

impl ClickSound {
    /// All click sounds, in the order in which they are offered.
    pub const ALL: [Self; 4] = [Self::Tick, Self::Pip, Self::Wood, Self::Bell];

    /// The name that is typed and shown. Thread: any. Allocates: no. Blocks: no.
    pub fn name(self) -> &'static str {
        match self {
            Self::Tick => "tick",
            Self::Pip => "pip",
            Self::Wood => "wood",
            Self::Bell => "bell",
        }
    }

    /// Peak relative to the other sounds (chosen: a longer sound is louder at the same peak).
    fn level(self) -> f32 {
        match self {
            Self::Tick | Self::Pip | Self::Wood => 1.0,
            Self::Bell => 0.6,
        }
    }
}

/// The metrical weight of a click.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::sound) enum Weight {
    /// The first beat of a bar.
    Bar,
    /// Any other beat.
    Beat,
    /// A part of a beat.
    Part,
}

impl Weight {
    const ALL: [Self; 3] = [Self::Bar, Self::Beat, Self::Part];

    /// Level relative to the accent (chosen: 3 and 6 dB lower, so that all three stand above the
    /// pipes).
    fn level(self) -> f32 {
        match self {
            Self::Bar => 1.0,
            Self::Beat => 0.7,
            Self::Part => 0.5,
        }
    }

    /// Pitch relative to the plain beat. The accent is a fifth higher, so that bars are heard and
    /// not only felt; parts of a beat are a fourth higher and soft.
    fn pitch(self) -> f64 {
        match self {
            Self::Bar => 1.5,
            Self::Beat => 1.0,
            Self::Part => 4.0 / 3.0,
        }
    }
}

/// The time in seconds in which a sounding click fades out when playing stops.
const CUT: f64 = 0.005;

static WOOD: &[u8] = include_bytes!("../../../../samples/wood.wav");
static BELL: &[u8] = include_bytes!("../../../../samples/bell.wav");

/// All clicks as samples, and the one that sounds. A new click cuts off the one before. The lost
/// sound is masked by the new onset, and if two clicks added up, each would have to be softer.
pub(in crate::sound) struct Clicks {
    /// Samples by sound and weight, in the order of [`ClickSound::ALL`] and [`Weight::ALL`].
    laid_out: Vec<Vec<f32>>,
    ringing: Option<Ringing>,
    cut: usize,
}

#[derive(Debug, Clone, Copy)]
struct Ringing {
    which: usize,
    at: usize,
    /// Frames left before it is cut off. While it rings freely, this is more than its length.
    left: usize,
}

/// Decodes one of the program's own samples to mono at a sample rate. The files are part of the
/// program, so a failure gives silence and a test fails.
fn decoded(bytes: &'static [u8], rate: SampleRate) -> Vec<f32> {
    let Ok(decoder) = rodio::Decoder::new(std::io::Cursor::new(bytes)) else {
        return Vec::new();
    };
    let channels = usize::from(decoder.channels().get());
    let speed = f64::from(decoder.sample_rate().get()) / f64::from(rate.0);
    let every: Vec<f32> = decoder.collect();
    let mono: Vec<f32> = every
        .chunks(channels)
        .map(|frame| frame.iter().sum::<f32>() / channels as f32)
        .collect();
    stretched(&mono, speed)
}

fn laid_out(sound: ClickSound, weight: Weight, rate: SampleRate) -> Vec<f32> {
    let pitch = weight.pitch();
    let plain = match sound {
        ClickSound::Tick => ring(
            0.035,
            &[
                (3050.0 * pitch, 1.0, 0.0080),
                (5230.0 * pitch, 0.25, 0.0015),
            ],
            rate,
        ),
        ClickSound::Pip => ring(
            0.075,
            &[(1850.0 * pitch, 1.0, 0.018), (3700.0 * pitch, 0.1, 0.008)],
            rate,
        ),
        ClickSound::Wood => scaled(stretched(&decoded(WOOD, rate), pitch)),
        ClickSound::Bell => scaled(stretched(&decoded(BELL, rate), pitch)),
    };
    let level = sound.level() * weight.level() * peak::CLICK;
    plain.into_iter().map(|sample| sample * level).collect()
}

impl Clicks {
    /// Computes the samples of every click. Thread: any but audio. Allocates: yes. Blocks: no.
    pub(in crate::sound) fn new(rate: SampleRate) -> Self {
        Self {
            laid_out: ClickSound::ALL
                .into_iter()
                .flat_map(|sound| Weight::ALL.map(|weight| laid_out(sound, weight, rate)))
                .collect(),
            ringing: None,
            cut: (CUT * f64::from(rate.0)) as usize,
        }
    }

    /// Strikes a click at the next frame. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn strike(&mut self, sound: ClickSound, weight: Weight) {
        self.ringing = Some(Ringing {
            which: sound as usize * Weight::ALL.len() + weight as usize,
            at: 0,
            left: usize::MAX,
        });
    }

    /// Lets the sounding click fade out. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn cut_off(&mut self) {
        if let Some(ringing) = &mut self.ringing {
            ringing.left = self.cut;
        }
    }

    /// Adds the next frames, at most 64, to `out`. Thread: audio. Allocates: no. Blocks: no.
    pub(in crate::sound) fn render(&mut self, out: &mut [f32]) {
        let Some(now) = &mut self.ringing else { return };
        let size = out.len().min(CHUNK);
        let samples = self.laid_out.get(now.which).map_or(&[][..], Vec::as_slice);
        for sample in &mut out[..size] {
            if now.at >= samples.len() || now.left == 0 {
                break;
            }
            let fade = if now.left > self.cut {
                1.0
            } else {
                now.left as f32 / self.cut as f32
            };
            *sample += samples[now.at] * fade;
            now.at += 1;
            now.left -= 1;
        }
        if now.at >= samples.len() || now.left == 0 {
            self.ringing = None;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::struck::highest;
    use super::*;

    const RATE: SampleRate = SampleRate(48_000);

    fn render(clicks: &mut Clicks, frames: usize) -> Vec<f32> {
        let mut samples = vec![0.0; frames];
        for chunk in samples.chunks_mut(CHUNK) {
            clicks.render(chunk);
        }
        samples
    }

    /// A missing sample or a silent weight would be a beat that nobody hears. A late first frame
    /// would move the onset from its frame.
    #[test]
    fn every_click_sounds_from_its_first_frame_and_the_accent_is_loudest() {
        for rate in [44_100, 48_000, 96_000] {
            let mut clicks = Clicks::new(SampleRate(rate));
            for sound in ClickSound::ALL {
                let mut last = f32::MAX;
                for weight in Weight::ALL {
                    clicks.strike(sound, weight);
                    let samples = render(&mut clicks, 9600);
                    let peak = highest(&samples);
                    assert!(samples[0] != 0.0, "{sound:?} {weight:?}");
                    assert!(highest(&samples[..96]) > 0.5 * peak);
                    assert!(peak > 0.05 && peak < last, "{sound:?} {weight:?}: {peak}");
                    last = peak;
                }
            }
        }
    }

    /// Beats are 3 dB below the accent and parts are 6 dB below it (chosen). For each sound the
    /// peak of a weight is compared with the peak of the accent; the other pitch changes it a
    /// little.
    #[test]
    fn beats_lie_three_decibels_below_the_accent_and_parts_six() {
        let mut clicks = Clicks::new(RATE);
        for sound in ClickSound::ALL {
            let mut peak = |weight| {
                clicks.strike(sound, weight);
                f64::from(highest(&render(&mut clicks, 9600)))
            };
            let accent = peak(Weight::Bar);
            for (weight, expected) in [(Weight::Beat, -3.0), (Weight::Part, -6.0)] {
                let decibels = 20.0 * (peak(weight) / accent).log10();
                assert!(
                    (decibels - expected).abs() < 0.25,
                    "{sound:?} {weight:?}: {decibels:.2} dB"
                );
            }
        }
    }

    /// The clicks stay within their peak however they follow each other. This includes changes of
    /// sound in between and a start right after a stop.
    #[test]
    fn clicks_on_top_of_each_other_keep_within_their_peak() {
        let mut clicks = Clicks::new(RATE);
        for gap in [1, 7, 64, 480, 959, 960, 961, 1000, 1600, 2400] {
            for first in ClickSound::ALL {
                for second in ClickSound::ALL {
                    render(&mut clicks, 9600);
                    clicks.strike(first, Weight::Bar);
                    let mut all = render(&mut clicks, gap);
                    clicks.strike(second, Weight::Bar);
                    all.extend(render(&mut clicks, gap));
                    clicks.strike(first, Weight::Bar);
                    all.extend(render(&mut clicks, 4800));
                    let peak = highest(&all);
                    assert!(peak <= peak::CLICK, "{first:?} {second:?} {gap}: {peak}");
                }
            }
        }
    }
}
