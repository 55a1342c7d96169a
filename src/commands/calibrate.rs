//! `calibrate`: plays sweeps, records them with the microphone, and stores how much more latency
//! they have than the two devices report.

use super::{Outcome, Ran};
use crate::listening::{EARLY_S, LATE_S, SWEEP_S, find_sweep, spread, sweep};
use crate::live::{Asked, Microphone, Playback, Quiet, Stereo};
use crate::services::{
    Failure,
    calibration::{Calibrated, store, stored},
    needs, output, settings, terminal,
};
use crate::settings::{Key, keys, of};
use crate::units::{Gain, Milliseconds, SampleRate, Seconds, median};
use std::time::{Duration, Instant};

/// Arguments of `calibrate`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung calibrate\n  gracerung calibrate --device headphones --microphone \"USB microphone\"\n  \
    gracerung calibrate --list\n\n\
    About ten short sweeps, soft at first and louder until the microphone hears them. Take\n\
    headphones off your ears and hold one to the microphone. What is measured is kept for this pair\n\
    of devices: `practise --mark-by ear` then knows where you are against the click itself. The system's own device counts as one,\n\
    whatever is plugged in: calibrate again when you change it, or name your devices.\n\n\
    JSON: {\"device\":…,\"microphone\":…,\"later_ms\":…,\"round_trip_ms\":…,\"spread_ms\":…,\"sweeps\":…};\n\
    later_ms is what the devices do not say themselves.\n\n\
    Exit 0: measured and kept. Exit 1: it could not be measured; why, is said."
)]
pub(crate) struct Arguments {
    /// Sound device, by the name that `devices` prints.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Microphone, by the name that `devices` prints; the system's own when left out.
    #[arg(long, value_name = "NAME")]
    microphone: Option<String>,
    /// Frames in one block of the device, as for `practise`.
    #[arg(long, value_name = "FRAMES", value_parser = clap::value_parser!(u32).range(32..=16_384))]
    buffer: Option<u32>,
    /// Print what has been measured so far and play nothing.
    #[arg(long)]
    list: bool,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
}

/// Time from one sweep to the next, in seconds. It is longer than any latency that is accepted.
const PERIOD_S: f64 = 0.75;
/// How many sweeps are measured.
const WANTED: usize = 9;
/// How many sweeps may be missed at the loudest level, or after one was heard.
const MISSES: usize = 3;
/// The levels that are tried, in dB of full scale, the softest first.
const LEVELS: [f32; 6] = [-42.0, -36.0, -30.0, -24.0, -18.0, -12.0];
/// The widest spread of measurements that is accepted, in milliseconds. A deviation of 6 ms is just
/// noticeable in an even series of quick notes (Friberg & Sundberg, JASA 1995).
const WIDEST_MS: f64 = 6.0;
/// Limits of the mean level, in dB of full scale. Above the first the room is louder than the
/// sweeps; below the second the microphone hears nothing.
const NOISY_DB: f64 = -35.0;
const DEAF_DB: f64 = -75.0;
/// How long a device may take to start.
const PATIENCE: Duration = Duration::from_secs(4);

/// Runs `calibrate`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    if arguments.list {
        return list(arguments.json);
    }
    let own = settings::load(
        &[],
        &[needs::SOUND, &[keys::DEVICE.id(), keys::MICROPHONE.id()]],
    )?;
    let word = |given: &Option<String>, key: Key<of::Word>| {
        given.clone().or_else(|| own.given(key).map(str::to_owned))
    };
    let asked = Asked {
        device: word(&arguments.device, keys::DEVICE),
        buffer: arguments.buffer,
    };
    if !arguments.json {
        output::print(
            "Short sweeps, soft at first. Take headphones off your ears and hold one to the \
             microphone; be quiet for ten seconds.\n",
        )?;
    }
    let log = terminal::log_file();
    let quiet = Quiet::into_file(log.as_ref()).ok();
    let microphone = word(&arguments.microphone, keys::MICROPHONE);
    let measured = measure(&asked, microphone.as_deref());
    drop(quiet);
    match measured? {
        Ok(found) => {
            store(&found)?;
            if arguments.json {
                output::print_json(&found)?;
            } else {
                output::print(&told(&found))?;
            }
            Ok(Outcome::Done)
        }
        Err(why) => {
            output::complain(&format!("nothing was kept: {why}"));
            Ok(Outcome::Findings)
        }
    }
}

fn list(json: bool) -> Ran {
    let all = stored()?;
    if json {
        output::print_json(&all)?;
    } else if all.is_empty() {
        output::print("nothing is calibrated yet\n")?;
    } else {
        for found in &all {
            output::print(&told(found))?;
        }
    }
    Ok(Outcome::Done)
}

fn told(found: &Calibrated) -> String {
    format!(
        "`{}` to `{}`: {:.1} ms there and back ({} sweeps, {:.1} ms apart); {:.1} ms of it the devices do not say themselves\n",
        found.device,
        found.microphone,
        found.round_trip_ms,
        found.sweeps,
        found.spread_ms,
        found.later_ms
    )
}

/// The reason why nothing could be measured. [`std::fmt::Display`] puts it into words.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Refusal {
    /// The microphone delivers no sound, or almost none.
    Deaf,
    /// The microphone records sound, but no sweep is found in that sound.
    NotHeard,
    /// The room is louder than the sweeps; its mean level in dB of full scale.
    Noisy(f64),
    /// The microphone clips.
    Clips,
    /// The measurements differ too much; their spread in milliseconds.
    Wanders(f64),
    /// A device was disconnected.
    Gone,
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Deaf => write!(
                f,
                "the microphone hears nothing at all: is it on, and is it the right one?"
            ),
            Self::NotHeard => write!(
                f,
                "the sweeps were not heard: turn the loudspeaker up, or hold the headphones to the microphone"
            ),
            Self::Noisy(level) => write!(
                f,
                "it is too noisy ({level:.0} dB before anything was played): wait until it is quiet, or turn the microphone down"
            ),
            Self::Clips => write!(
                f,
                "the microphone clips: turn it down, or move it away from the loudspeaker"
            ),
            Self::Wanders(apart) => write!(
                f,
                "the delay wanders by {apart:.0} ms from one sweep to the next (at most {WIDEST_MS:.0}): close other programs that use sound, and try a larger --buffer"
            ),
            Self::Gone => write!(f, "a sound device ended while it was measured"),
        }
    }
}

/// The sound that is played: a sweep at the beginning of each period.
fn sweeps(rate: SampleRate) -> Stereo {
    let period = (PERIOD_S * f64::from(rate.0)) as usize;
    let mut frames = vec![[0.0; 2]; period];
    for (frame, sample) in frames.iter_mut().zip(sweep(rate.0)) {
        *frame = [sample; 2];
    }
    frames
}

/// What the microphone has recorded so far.
struct Taken {
    microphone: Microphone,
    sound: Vec<f32>,
}

impl Taken {
    fn second(&self) -> f64 {
        self.sound.len() as f64 / f64::from(self.microphone.rate.0)
    }

    fn between(&self, from: f64, to: f64) -> &[f32] {
        let place = |second: f64| {
            let place = second.max(0.0) * f64::from(self.microphone.rate.0);
            (place as usize).min(self.sound.len())
        };
        &self.sound[place(from)..place(to).max(place(from))]
    }

    /// Waits until the microphone has recorded `after_s` seconds beyond the playing of a frame.
    /// Returns the time at which that frame is played, in seconds of the recording: the median of
    /// what the devices report while waiting. A single report may be milliseconds off, where
    /// another program occupied the processor.
    fn until(&mut self, after_s: f64, frame: u64, playing: &Playback) -> Result<f64, Refusal> {
        let mut last = Instant::now();
        let mut places = Vec::new();
        loop {
            let before = self.sound.len();
            self.microphone.take(&mut self.sound);
            if self.sound.len() > before {
                last = Instant::now();
            } else if last.elapsed() > PATIENCE {
                return Err(Refusal::Deaf);
            }
            if playing.has_failed() {
                return Err(Refusal::Gone);
            }
            let said = playing
                .heard_at(frame)
                .and_then(|heard| self.microphone.second_at(heard));
            places.extend(said);
            if let Some(place) = median(&mut places)
                && self.second() >= place + after_s
            {
                return Ok(place);
            }
            std::thread::sleep(Duration::from_millis(5));
        }
    }
}

/// The mean level of a sound, in dB of full scale.
fn level(sound: &[f32]) -> f64 {
    let sum: f64 = sound.iter().map(|one| f64::from(*one).powi(2)).sum();
    10.0 * (sum / sound.len().max(1) as f64).max(1e-20).log10()
}

fn gain(decibels: f32) -> Gain {
    Gain(10f32.powf(decibels / 20.0))
}

fn measure(
    asked: &Asked,
    microphone: Option<&str>,
) -> Result<Result<Calibrated, Refusal>, Failure> {
    let mut taken = Taken {
        microphone: Microphone::open(microphone)?,
        sound: Vec::new(),
    };
    let playback: Playback =
        Playback::open::<Failure>(asked, Gain(0.0), true, |rate| Ok(sweeps(rate)))?;
    Ok(listen(&mut taken, &playback))
}

fn listen(taken: &mut Taken, playback: &Playback) -> Result<Calibrated, Refusal> {
    let begins = taken.until(1.0, 0, playback)?;
    let room = level(taken.between(begins + 0.3, begins + 1.0));
    if room > NOISY_DB {
        return Err(Refusal::Noisy(room));
    }
    let period = (PERIOD_S * f64::from(playback.rate.0)) as u64;
    let rate = taken.microphone.rate.0;
    let shape = sweep(rate);
    let mut levels = LEVELS.into_iter().peekable();
    let mut missed = 0;
    let mut later: Vec<Milliseconds> = Vec::new();
    let mut told: Vec<Milliseconds> = Vec::new();
    let mut loudest = f64::NEG_INFINITY;
    if let Some(softest) = levels.next() {
        playback.set_level(gain(softest));
    }
    while later.len() < WANTED {
        // the number of the next sweep that was not handed to the device yet
        let number = playback.played() / period + 1;
        let due = Instant::now() + PATIENCE;
        while playback.played() < number * period {
            if playback.has_failed() || Instant::now() > due {
                return Err(Refusal::Gone);
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        let place = taken.until(LATE_S + SWEEP_S, number * period, playback)?;
        let (from, to) = (place - EARLY_S, place + LATE_S + SWEEP_S);
        let around = taken.between(from, to);
        if around.iter().any(|sample| sample.abs() >= 0.999) {
            return Err(Refusal::Clips);
        }
        loudest = loudest.max(level(around));
        if let Some(at) = find_sweep(around, &shape, rate) {
            let found = from.max(0.0) + at as f64 / f64::from(rate);
            later.push(Seconds(found - place).milliseconds());
            let latency = playback.latency() + taken.microphone.latency();
            told.push(Seconds(latency.as_secs_f64()).milliseconds());
        } else if later.is_empty()
            && let Some(louder) = levels.next()
        {
            playback.set_level(gain(louder));
        } else {
            missed += 1;
            if missed >= MISSES {
                return Err(if loudest < DEAF_DB {
                    Refusal::Deaf
                } else {
                    Refusal::NotHeard
                });
            }
        }
    }
    let sweeps = later.len();
    let (Some(later), Some(told)) = (spread(&later), spread(&told)) else {
        return Err(Refusal::NotHeard);
    };
    if later.spread.0 > WIDEST_MS {
        return Err(Refusal::Wanders(later.spread.0));
    }
    let rounded = |value: Milliseconds| (value.0 * 100.0).round() / 100.0;
    Ok(Calibrated {
        device: playback.name.clone(),
        microphone: taken.microphone.name.clone(),
        later_ms: rounded(later.median),
        round_trip_ms: rounded(later.median + told.median),
        spread_ms: rounded(later.spread),
        sweeps,
    })
}
