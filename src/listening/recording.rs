//! A whole recording heard: low A found where it was not given, the notes, and what was odd about
//! the sound.
//!
//! Memory is bounded by what is looked at for low A and by the notes.

use super::heard::HeardNote;
use super::hearing::{Listener, RateError};
use super::low_a::{LOOKED_AT, find_low_a, refined};
use crate::chanter::{Tuning, TuningTable};
use crate::units::{Hertz, SampleRate};

/// Share of samples at full scale from which a recording counts as clipped.
const CLIPPED: f64 = 0.001;

/// A recording as it was heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Hearing {
    /// Low A that was listened with; none where nothing sounded like a chanter.
    pub low_a: Option<Hertz>,
    /// The notes, in order.
    pub notes: Vec<HeardNote>,
    /// Length of the recording, seconds.
    pub seconds: f64,
    /// What the player should know about the recording.
    pub remarks: Vec<Remark>,
}

/// Something odd about a recording, in words by [`std::fmt::Display`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Remark {
    /// It has no samples.
    Empty,
    /// Next to nothing is on it: the loudest sample, dB of full scale.
    Silent(f64),
    /// There is sound, and no chanter in it.
    NoChanter,
    /// Too loud for the recorder: the share of samples at full scale.
    Clipped(f64),
    /// Samples that are no numbers, taken as silence.
    Broken(u64),
    /// A rate that leaves the chanter's upper harmonics out.
    Narrow(u32),
}

impl std::fmt::Display for Remark {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => write!(f, "the recording is empty"),
            Self::Silent(peak) if peak.is_finite() => write!(
                f,
                "next to nothing was recorded: the loudest moment is {peak:.0} dB; turn the microphone up or move it nearer"
            ),
            Self::Silent(_) => write!(f, "the recording is silent; is the microphone on?"),
            Self::NoChanter => write!(
                f,
                "no chanter was heard in it; if there is one, give its low A with `--la`"
            ),
            Self::Clipped(share) => write!(
                f,
                "the recording clips ({:.1} % of it is at full scale): turn the microphone down",
                share * 100.0
            ),
            Self::Broken(count) => write!(
                f,
                "{count} samples are no numbers and were taken as silence"
            ),
            Self::Narrow(rate) => write!(
                f,
                "only {rate} samples a second were recorded: short notes are told less surely"
            ),
        }
    }
}

/// Hears a recording. `next` gives the next mono samples and nothing at the end.
///
/// # Errors
/// A sample rate that cannot be resampled.
pub fn hear(
    rate: SampleRate,
    low_a: Option<Hertz>,
    table: TuningTable,
    mut next: impl FnMut() -> Vec<f32>,
) -> Result<Hearing, RateError> {
    let mut sound = Sound::default();
    let mut head: Vec<f32> = Vec::new();
    let looked_at = (LOOKED_AT * f64::from(rate.0)) as usize;
    let mut ended = false;
    if low_a.is_none() {
        while head.len() < looked_at && !ended {
            let piece = next();
            ended = piece.is_empty();
            head.extend(piece);
        }
    }
    let found = match low_a {
        Some(low_a) => Some(low_a),
        None => find_low_a(rate, &head, table)?
            .map(|coarse| -> Result<Hertz, RateError> {
                let mut listener = Listener::new(rate, Tuning::with_low_a(coarse, table))?;
                listener.push(&head);
                Ok(refined(coarse, &listener.finish()))
            })
            .transpose()?,
    };
    // with no low A the rest is only looked at for what is odd about it
    let mut listener = found
        .map(|low_a| Listener::new(rate, Tuning::with_low_a(low_a, table)))
        .transpose()?;
    let mut notes = Vec::new();
    let mut take = |piece: &[f32], sound: &mut Sound| {
        sound.add(piece);
        if let Some(listener) = &mut listener {
            listener.push(piece);
            notes.append(&mut listener.heard());
        }
    };
    for piece in head.chunks(65_536) {
        take(piece, &mut sound);
    }
    drop(head);
    while !ended {
        let piece = next();
        ended = piece.is_empty();
        take(&piece, &mut sound);
    }
    if let Some(listener) = listener {
        notes.append(&mut listener.finish());
    }
    let remarks = sound.remarks(rate, notes.is_empty());
    Ok(Hearing {
        low_a: found,
        notes,
        seconds: sound.samples as f64 / f64::from(rate.0),
        remarks,
    })
}

/// What is counted of the samples.
#[derive(Debug, Default)]
struct Sound {
    samples: u64,
    full: u64,
    broken: u64,
    peak: f32,
}

impl Sound {
    fn add(&mut self, piece: &[f32]) {
        for sample in piece {
            self.samples += 1;
            if sample.is_finite() {
                self.peak = self.peak.max(sample.abs());
                self.full += u64::from(sample.abs() >= 0.999);
            } else {
                self.broken += 1;
            }
        }
    }

    fn remarks(&self, rate: SampleRate, nothing_heard: bool) -> Vec<Remark> {
        let mut remarks = Vec::new();
        let clipped = self.full as f64 / self.samples.max(1) as f64;
        let peak = 20.0 * f64::from(self.peak).log10();
        if self.samples == 0 {
            remarks.push(Remark::Empty);
        } else if peak < -60.0 {
            remarks.push(Remark::Silent(peak));
        } else if nothing_heard {
            remarks.push(Remark::NoChanter);
        }
        if clipped > CLIPPED {
            remarks.push(Remark::Clipped(clipped));
        }
        if self.broken > 0 {
            remarks.push(Remark::Broken(self.broken));
        }
        if rate.0 < 8000 {
            remarks.push(Remark::Narrow(rate.0));
        }
        remarks
    }
}
