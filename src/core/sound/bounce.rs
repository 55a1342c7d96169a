//! Renders a timeline into a WAV file, as fast as the machine can.
//!
//! Writes to any seekable writer; knows no file system.

use super::mix::Sound;
use super::orders::{Command, Entrance, Load, Timed, When};
use super::renderer::Renderer;
use crate::rhythm::{ClickPlan, ReferencePlan};
use crate::timeline::Timeline;
use crate::units::{Fraction, Frames, SampleRate};
use std::io::{Seek, Write};
use std::sync::Arc;

/// A request to render a timeline into a file.
#[derive(Debug, Clone)]
pub struct Bounce {
    /// The timeline to render, at its own tempo and at the sample rate of the file.
    pub timeline: Arc<Timeline>,
    /// The number of repetitions; the count-in and the breath bars are added to them.
    pub repetitions: u64,
    /// Frames a second of the file.
    pub rate: SampleRate,
    /// Tuning, drones, levels, click.
    pub sound: Sound,
    /// The repetitions in which the reference sounds.
    pub reference: ReferencePlan,
    /// The clicks that sound.
    pub clicks: ClickPlan,
}

/// Why the file was not written completely.
#[derive(Debug)]
pub enum BounceError {
    /// The sound is longer than the 4 GiB of a WAV file can hold.
    TooLong {
        /// Frames asked for.
        frames: u64,
        /// Frames that fit.
        most: u64,
    },
    /// The writer failed.
    Write(hound::Error),
}

impl std::fmt::Display for BounceError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooLong { frames, most } => write!(
                f,
                "{frames} frames do not fit a WAV file, which holds at most {most}: \
                 ask for fewer repetitions"
            ),
            Self::Write(error) => write!(f, "the sound could not be written: {error}"),
        }
    }
}

impl std::error::Error for BounceError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::TooLong { .. } => None,
            Self::Write(error) => Some(error),
        }
    }
}

impl From<hound::Error> for BounceError {
    fn from(error: hound::Error) -> Self {
        Self::Write(error)
    }
}

/// Bytes of the file that are not samples: the RIFF, format and data headers.
const HEADER: u64 = 44;
/// Bytes of a frame: one channel of 16 bits.
const FRAME: u64 = 2;

impl Bounce {
    /// The length of the file in frames: count-in, repetitions and breath bars. Thread: any.
    /// Allocates: no. Blocks: no.
    pub fn frames(&self) -> Frames {
        Frames::of(
            Fraction::from_integer(0),
            self.timeline.cycle_start(self.repetitions),
            self.rate,
            self.timeline.tempo,
        )
    }

    /// Writes a WAV file with one channel of 16 bits. After each second of sound it reports the
    /// frames done and the frames in all. In the last 10 ms everything fades out. Thread: any but
    /// audio. Allocates: yes. Blocks: on the writer.
    ///
    /// # Errors
    /// Too long for a WAV file, or the writer fails.
    pub fn write<W: Write + Seek>(
        &self,
        out: W,
        mut progress: impl FnMut(Frames, Frames),
    ) -> Result<Frames, BounceError> {
        let total = self.frames();
        let most = (u64::from(u32::MAX) - HEADER) / FRAME;
        if total.0 > most {
            return Err(BounceError::TooLong {
                frames: total.0,
                most,
            });
        }
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: self.rate.0,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut writer = hound::WavWriter::new(out, spec)?;
        let mut samples = self.samples();
        let mut second = vec![0.0; self.rate.0 as usize];
        let mut done = 0;
        while done < total.0 {
            let rest = usize::try_from(total.0 - done).unwrap_or(usize::MAX);
            let count = second.len().min(rest);
            samples.fill(&mut second[..count]);
            for sample in &second[..count] {
                writer.write_sample((sample * f32::from(i16::MAX)).round() as i16)?;
            }
            done += count as u64;
            progress(Frames(done), total);
        }
        writer.finalize()?;
        Ok(total)
    }

    /// The renderer at the start of the music. Thread: any but audio. Allocates: yes. Blocks: no.
    pub(super) fn samples(&self) -> Renderer {
        let (renderer, mut controls) = Renderer::new(self.rate, self.sound);
        let load = Load {
            timeline: Arc::clone(&self.timeline),
            serial: 0,
            when: When::Now,
            entry: Entrance::CountIn,
        };
        for command in [
            Command::Load(load),
            Command::Reference(self.reference),
            Command::Clicks(self.clicks),
            Command::Play {
                repetitions: Some(self.repetitions),
            },
        ] {
            let timed = Timed {
                at: Frames(0),
                command,
            };
            // The ring is empty and has room for many more than these four commands.
            let _ = controls.commands.push(timed);
        }
        renderer
    }
}

#[cfg(test)]
mod tests {
    use super::super::fixture::drill;
    use super::super::{Bus, ClickSound, Controls, Cue, Levels};
    use super::*;
    use crate::chanter::{Instrument, Tuning};
    use crate::units::Gain;
    use proptest::prelude::*;
    use std::io::Cursor;

    const RATE: SampleRate = SampleRate(48_000);

    fn bounce(repetitions: u64, breath: i128) -> Bounce {
        Bounce {
            timeline: Arc::new(drill("97", breath)),
            repetitions,
            rate: RATE,
            sound: Sound {
                drones: true,
                levels: Levels::FULL,
                ..Sound::default()
            },
            reference: ReferencePlan::Every,
            clicks: ClickPlan::Every,
        }
    }

    /// The file is as long as the music: (4 + 2 * 8) beats at 97 beats a minute are 593814.4
    /// frames.
    #[test]
    fn the_file_holds_count_in_repetitions_and_breath() {
        let mut bytes = Cursor::new(Vec::new());
        let mut told = Vec::new();
        let total = bounce(2, 1)
            .write(&mut bytes, |done, total| told.push((done, total)))
            .expect("written");
        assert_eq!(total, Frames(593_814));
        assert_eq!(told.len(), 13);
        assert_eq!(told.last(), Some(&(total, total)));
        bytes.set_position(0);
        let reader = hound::WavReader::new(bytes).expect("a WAV file");
        assert_eq!(reader.spec().sample_rate, 48_000);
        let samples: Vec<i16> = reader
            .into_samples()
            .map(|s| s.expect("a sample"))
            .collect();
        assert_eq!(samples.len(), 593_814);
        let end = &samples[593_814 - 10..];
        assert!(end.iter().all(|sample| sample.abs() < 500), "{end:?}");
        assert!(samples.iter().any(|sample| *sample > 10_000));
        assert!(samples.iter().all(|sample| *sample < i16::MAX));
    }

    #[test]
    fn what_no_wav_file_can_hold_is_refused_before_anything_is_written() {
        let mut bytes = Cursor::new(Vec::new());
        let error = bounce(1_000_000, 1).write(&mut bytes, |_, _| {});
        assert!(matches!(error, Err(BounceError::TooLong { .. })));
        assert!(bytes.into_inner().is_empty());
    }

    /// The commands of a session at all kinds of frames: on the grid, between grid points, in the
    /// past.
    fn script() -> Vec<Timed> {
        let load = |tempo, serial, when, entry| {
            Command::Load(Load {
                timeline: Arc::new(drill(tempo, i128::from(serial) % 2)),
                serial,
                when,
                entry,
            })
        };
        let mut muted = Levels::FULL;
        muted.mute(Bus::Click, true);
        [
            (0, load("97", 1, When::Now, Entrance::CountIn)),
            (0, Command::Play { repetitions: None }),
            (30_001, Command::Level(Bus::Click, Gain(0.3))),
            (64 * 500, Command::Drones(true)),
            (64 * 500, Command::Cue(Cue::CellClear)),
            (50_123, load("180", 3, When::BarLine, Entrance::SamePlace)),
            (130_017, Command::ClickSound(ClickSound::Bell)),
            (150_000, Command::Tune(Tuning::of(Instrument::PipeChanter))),
            (160_001, Command::Levels(muted)),
            (170_000, load("240", 4, When::CycleEnd, Entrance::CountIn)),
            (220_000, Command::Mute(Bus::Click, false)),
            (240_077, Command::Pause),
            (
                250_000,
                Command::Play {
                    repetitions: Some(2),
                },
            ),
            (260_000, Command::Reference(ReferencePlan::Alternate)),
        ]
        .into_iter()
        .map(|(at, command)| Timed {
            at: Frames(at),
            command,
        })
        .collect()
    }

    fn played(total: usize, mut block: impl FnMut() -> usize) -> Vec<f32> {
        let (mut renderer, mut controls): (Renderer, Controls) =
            Renderer::new(RATE, Sound::default());
        for timed in script() {
            controls.commands.push(timed).expect("room");
        }
        let mut samples = vec![0.0; total];
        let mut rest = &mut samples[..];
        while !rest.is_empty() {
            let (now, later) = rest.split_at_mut(block().clamp(1, rest.len()));
            renderer.fill(now);
            rest = later;
        }
        samples
    }

    /// Seven and a half seconds of the script.
    const LENGTH: usize = 360_000;

    /// What the player hears must not depend on the device. The samples are bit for bit the same
    /// for every block length, including a second at once as for a file.
    #[test]
    fn live_equals_offline_for_every_block_length() {
        let offline = played(LENGTH, || 48_000);
        assert!(offline.iter().any(|sample| sample.abs() > 0.1));
        for length in [1, 64, 441, 480, 1000] {
            assert!(played(LENGTH, || length) == offline, "blocks of {length}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

        /// The samples are also the same when the length of the blocks varies.
        #[test]
        fn live_equals_offline_for_random_blocks(lengths in prop::collection::vec(1_usize..3000, 1..40)) {
            let mut next = lengths.iter().cycle();
            let live = played(LENGTH, || next.next().copied().unwrap_or(1));
            prop_assert!(live == played(LENGTH, || 48_000));
        }
    }
}
