//! Hears a whole recording: finds low A where it was not given, the notes, and what was odd about
//! the sound.
//!
//! However long a recording is, it takes no more memory than the sound that is searched for low A,
//! a window of what is heard twice, and the notes.

use super::choosing::choose_low_a;
use super::heard::HeardNote;
use super::hearing::Listener;
use super::intake::RateError;
use super::low_a::LOOKED_AT;
use super::piece::ExpectedStage;
use super::twice::Twice;
use crate::chanter::{Tuning, TuningTable};
use crate::units::{Hertz, SampleRate, Seconds};

/// Share of samples at full scale from which a recording counts as clipped: a peak now and then does no
/// harm to what is heard. Chosen.
const CLIPPED: f64 = 0.001;

/// A recording as it was heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Hearing {
    /// Low A that was listened with; none where nothing sounded like a chanter.
    pub low_a: Option<Hertz>,
    /// The notes, in order.
    pub notes: Vec<HeardNote>,
    /// Length of the recording.
    pub length: Seconds,
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
    /// There is sound, and no chanter in it: none at the low A that was given, or none at all.
    NoChanter(Option<Hertz>),
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
            Self::NoChanter(None) => write!(
                f,
                "no chanter was heard in it; if there is one, give its low A with `--la`"
            ),
            Self::NoChanter(Some(low_a)) => write!(
                f,
                "no chanter was heard in it with a low A of {:.0} Hz; leave `--la` out to have it looked for",
                low_a.0
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
    next: impl FnMut() -> Vec<f32>,
) -> Result<Hearing, RateError> {
    hear_as(rate, low_a, table, None, next)
}

/// Hears a recording of a known piece: low A is the one that makes the recording most like the
/// piece.
///
/// # Errors
/// A sample rate that cannot be resampled.
pub fn hear_piece(
    rate: SampleRate,
    low_a: Option<Hertz>,
    table: TuningTable,
    piece: &ExpectedStage,
    next: impl FnMut() -> Vec<f32>,
) -> Result<Hearing, RateError> {
    hear_as(rate, low_a, table, Some(piece), next)
}

fn hear_as(
    rate: SampleRate,
    low_a: Option<Hertz>,
    table: TuningTable,
    piece: Option<&ExpectedStage>,
    mut next: impl FnMut() -> Vec<f32>,
) -> Result<Hearing, RateError> {
    let mut sound = Sound::default();
    let mut head: Vec<f32> = Vec::new();
    let mut ended = false;
    if low_a.is_none() {
        let looked_at = (LOOKED_AT * f64::from(rate.0)) as usize;
        while head.len() < looked_at && !ended {
            let piece = next();
            ended = piece.is_empty();
            head.extend(piece);
        }
    }
    let found = match low_a {
        Some(low_a) => Some(low_a),
        None => choose_low_a(rate, &head, table, piece)?.map(|chosen| chosen.low_a),
    };
    // where no low A was found, the rest is only searched for what is odd about it
    let tuned = found.map(|low_a| Tuning::with_low_a(low_a, table));
    let mut heard = match (tuned, piece) {
        (None, _) => Heard::Nothing,
        (Some(tuning), None) => Heard::Once(Listener::new(rate, tuning)?, Vec::new()),
        (Some(tuning), Some(piece)) => Heard::Twice(Twice::new(rate, tuning, piece)?),
    };
    let mut take = |piece: &[f32], sound: &mut Sound| {
        sound.add(piece);
        heard.push(piece);
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
    let mut notes = heard.finish();
    let seconds = sound.samples as f64 / f64::from(rate.0);
    for note in &mut notes {
        note.end_s = note.end_s.min(seconds);
    }
    if !is_chanter(&notes, seconds) {
        notes.clear();
    }
    let mut remarks = sound.remarks(rate);
    // an empty or silent recording has a remark of its own
    let sounds = !remarks
        .iter()
        .any(|remark| matches!(remark, Remark::Empty | Remark::Silent(_)));
    if notes.is_empty() && sounds {
        remarks.insert(0, Remark::NoChanter(low_a));
    }
    Ok(Hearing {
        low_a: found.filter(|_| !notes.is_empty()),
        notes,
        length: Seconds(seconds),
        remarks,
    })
}

/// How the sound is heard.
enum Heard<'a> {
    Nothing,
    Once(Listener, Vec<HeardNote>),
    Twice(Twice<'a>),
}

impl Heard<'_> {
    fn push(&mut self, samples: &[f32]) {
        match self {
            Self::Nothing => {}
            Self::Once(listener, notes) => {
                listener.push(samples);
                notes.append(&mut listener.heard());
            }
            Self::Twice(twice) => twice.push(samples),
        }
    }

    fn finish(self) -> Vec<HeardNote> {
        match self {
            Self::Nothing => Vec::new(),
            Self::Once(listener, mut notes) => {
                notes.append(&mut listener.finish());
                notes
            }
            Self::Twice(twice) => twice.finish(),
        }
    }
}

/// A recording of a chanter has somewhere a stretch of notes of at least so many seconds, because
/// its sound is continuous (the trade's facts: no rests). On tuning takes vowels of a speaker were
/// held for no longer than 0.6 s, and whole performances were one stretch. Chosen between them.
const STRETCH_S: f64 = 0.75;
/// A gap of no more than so many seconds does not end a stretch.
const JOINED_S: f64 = 0.05;

/// True where somebody plays: a long enough stretch of notes, or in a short recording half of it.
fn is_chanter(notes: &[HeardNote], seconds: f64) -> bool {
    let enough = STRETCH_S.min(0.5 * seconds);
    let stretches = notes.chunk_by(|one, next| next.start_s - one.end_s < JOINED_S);
    let lasts = |stretch: &[HeardNote]| {
        let ends = stretch.last().map_or(0.0, |last| last.end_s);
        ends - stretch.first().map_or(0.0, |first| first.start_s)
    };
    stretches
        .into_iter()
        .any(|stretch| lasts(stretch) >= enough)
}

/// What is counted of a recording's samples.
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

    fn remarks(&self, rate: SampleRate) -> Vec<Remark> {
        let mut remarks = Vec::new();
        let clipped = self.full as f64 / self.samples.max(1) as f64;
        let peak = 20.0 * f64::from(self.peak).log10();
        if self.samples == 0 {
            remarks.push(Remark::Empty);
        } else if peak < -60.0 {
            remarks.push(Remark::Silent(peak));
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::Note;

    fn heard(rate: u32, samples: &[f32]) -> Hearing {
        let mut pieces = samples.chunks(10_000);
        let table = TuningTable::Modern;
        let next = || pieces.next().unwrap_or_default().to_vec();
        hear(SampleRate(rate), None, table, next).expect("a usual rate")
    }

    fn words(hearing: &Hearing) -> String {
        let all: Vec<String> = hearing.remarks.iter().map(ToString::to_string).collect();
        all.join("; ")
    }

    /// A reed by formula on low A, C, E and low A.
    fn tune(rate: u32) -> Vec<f32> {
        let mut phase = 0.0f64;
        let mut samples = Vec::new();
        for hertz in [237.0, 296.25, 355.5, 237.0] {
            for _ in 0..rate / 2 {
                phase = (phase + hertz / f64::from(rate)).fract();
                let sum: f64 = (1..10)
                    .map(|k| (std::f64::consts::TAU * phase * f64::from(k)).cos() * 0.7f64.powi(k))
                    .sum();
                samples.push((0.2 * sum) as f32);
            }
        }
        samples
    }

    /// Without it low A would have to be typed: it is found within 5 cents, at any rate.
    #[test]
    fn low_a_is_found() {
        for rate in [8000, 44_100] {
            let hearing = heard(rate, &tune(rate));
            let low_a = hearing.low_a.expect("a chanter sounds").0;
            let cents = 1200.0 * (low_a / 237.0).log2();
            assert!(cents.abs() < 5.0, "{cents} cents at {rate}");
            assert_eq!(hearing.notes.len(), 4);
        }
    }

    /// Without it pipes would be taken for a practice chanter an octave lower, with weak odd harmonics.
    #[test]
    fn pipes_are_no_practice_chanter_an_octave_lower() {
        let mut phase = 0.0f64;
        let mut samples = Vec::new();
        for hertz in [474.0, 592.5, 414.75, 711.0] {
            for _ in 0..24_000 {
                phase = (phase + hertz / 48_000.0).fract();
                let sum: f64 = (1..10)
                    .map(|k| (std::f64::consts::TAU * phase * f64::from(k)).cos() * 0.7f64.powi(k))
                    .sum();
                samples.push((0.2 * sum) as f32);
            }
        }
        let low_a = heard(48_000, &samples).low_a.expect("pipes sound").0;
        assert!((470.0..478.0).contains(&low_a), "{low_a}");
    }

    /// Without it an odd recording would be answered by nothing, or by a panic.
    #[test]
    fn odd_recordings_get_a_sentence() {
        assert_eq!(words(&heard(48_000, &[])), "the recording is empty");
        let silent = heard(48_000, &vec![0.0; 48_000]);
        assert!(words(&silent).contains("silent"), "{}", words(&silent));
        let broken = heard(48_000, &vec![f32::NAN; 48_000]);
        assert!(words(&broken).contains("48000 samples are no numbers"));
        assert_eq!(broken.notes, []);
        let loud: Vec<f32> = tune(48_000)
            .iter()
            .map(|s| (s * 20.0).clamp(-1.0, 1.0))
            .collect();
        let clipped = heard(48_000, &loud);
        assert!(words(&clipped).contains("clips"), "{}", words(&clipped));
        assert!(!clipped.notes.is_empty(), "what clips is still heard");
        let one = heard(48_000, &[0.1]);
        assert_eq!(one.notes, []);
    }

    /// Without it talk would be reported as a few notes, and a recording heard with a wrong low A
    /// as nothing at all.
    #[test]
    fn what_is_no_chanter_is_told_with_and_without_low_a() {
        let hum: Vec<f32> = (0..96_000_u32)
            .map(|at| 0.3 * (std::f32::consts::TAU * 50.0 * at as f32 / 48_000.0).sin())
            .collect();
        for low_a in [None, Some(Hertz(236.0))] {
            let mut all = Some(hum.clone());
            let next = || all.take().unwrap_or_default();
            let hearing = hear(SampleRate(48_000), low_a, TuningTable::Modern, next);
            let hearing = hearing.expect("a usual rate");
            assert_eq!(hearing.remarks, [Remark::NoChanter(low_a)]);
            assert_eq!((hearing.low_a, hearing.notes.len()), (None, 0));
        }
        let known = |from, to| HeardNote::known(Note::E, Seconds(from), Seconds(to));
        let vowels = [known(1.0, 1.4), known(2.0, 2.5), known(2.52, 2.7)];
        assert!(!is_chanter(&vowels, 20.0));
        assert!(is_chanter(&[known(1.0, 1.4), known(1.4, 1.8)], 20.0));
        assert!(is_chanter(&[known(0.1, 0.4)], 0.5), "a short recording");
    }

    /// Without it the note in which a recording ends would be lost, or would last beyond the end.
    #[test]
    fn a_recording_cut_in_a_note_ends_with_it() {
        let samples = tune(48_000);
        let cut = &samples[..samples.len() - 10_000];
        let hearing = heard(48_000, cut);
        let last = hearing.notes.last().expect("notes were heard");
        assert!(
            (last.end_s - hearing.length.0).abs() < 0.02,
            "{}",
            last.end_s
        );
    }
}
