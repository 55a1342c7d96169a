//! Adds the program's own sound to a recording: its click and its drones, each as loud as the
//! chanter.
//!
//! Drones belong to the pipes (Encyclopaedia Britannica, 11th ed.). Our tenor drones sound the low
//! A of a practice chanter. Alone they are that note, and together with the chanter's high A they
//! are a low A with strong even harmonics. Nothing in the sound tells the two apart, so this case
//! is measured and does not count in the result.

use super::cases::Case;
use gracerung::chanter::{Instrument, Tuning, TuningTable};
use gracerung::drill::{built_in, read};
use gracerung::score::resolve_music;
use gracerung::sound::{Bus, Command, Entrance, Levels, Load, Renderer, Sound, Timed, When};
use gracerung::timeline::{Layout, lay};
use gracerung::units::{Beats, Bpm, Frames, Hertz};
use std::error::Error;
use std::sync::Arc;

/// The number of samples over which a click's level is measured: 20 ms at 48 kHz.
const CLICK: usize = 960;

fn power(samples: &[f32]) -> f32 {
    samples.iter().map(|sample| sample * sample).sum::<f32>() / samples.len().max(1) as f32
}

/// The sound of one bus, at the recording's tempo and low A and of its length.
fn bus(case: &Case, alone: Bus) -> Result<Vec<f32>, Box<dyn Error>> {
    let text = built_in("grip-from-d").ok_or("no such drill")?.text;
    let drill = read(text.as_bytes())
        .0
        .ok_or("a drill that does not read")?;
    let score = resolve_music(&drill.stages[0].music, Beats::whole(4), &drill.schools);
    let tempo = Bpm::whole(case.take.bpm.round() as i128)?;
    let timeline = Arc::new(lay(&score, &Layout::at(tempo, case.rate)));
    let mut sound = Sound {
        tuning: Tuning::with_low_a(Hertz(case.la_hz), TuningTable::Modern),
        levels: Levels::FULL,
        drones: true,
        ..Sound::default()
    };
    for bus in [Bus::Reference, Bus::Drones, Bus::Click] {
        sound.levels.mute(bus, bus != alone);
    }
    let (mut renderer, mut controls) = Renderer::new(case.rate, sound);
    let load = Load {
        timeline,
        serial: 1,
        when: When::Now,
        entry: Entrance::CountIn,
    };
    for command in [Command::Load(load), Command::Play { repetitions: None }] {
        let at = Frames(0);
        if controls.commands.push(Timed { at, command }).is_err() {
            return Err("the renderer takes no command".into());
        }
    }
    let mut samples = vec![0.0; case.samples.len()];
    renderer.fill(&mut samples);
    Ok(samples)
}

/// True where our drones sound a note of the chanter's own scale.
pub(crate) fn drones_are_notes(case: &Case) -> bool {
    let tuning = Tuning::with_low_a(Hertz(case.la_hz), TuningTable::Modern);
    tuning.instrument == Instrument::PracticeChanter
}

/// The case with our own click added, and with our drones where `drones` is true.
pub(crate) fn beside(case: &Case, drones: bool) -> Result<Vec<f32>, Box<dyn Error>> {
    let loud = power(&case.samples);
    let drones = if drones {
        bus(case, Bus::Drones)?
    } else {
        vec![0.0; case.samples.len()]
    };
    let click = bus(case, Bus::Click)?;
    let loudest = click.chunks(CLICK).map(power).fold(0.0, f32::max);
    let gain = |own: f32| (loud / own.max(1e-12)).sqrt();
    let (drone_gain, click_gain) = (gain(power(&drones)), gain(loudest));
    let own = drones.iter().zip(&click);
    let sums = case
        .samples
        .iter()
        .zip(own)
        .map(|(sample, (drone, click))| 0.4 * (sample + drone_gain * drone + click_gain * click));
    Ok(sums.collect())
}
