//! The warm-up before band or practice: composed from what the journal holds, running by itself.
//!
//! Order and shares are common practice, no source. Two mornings differ: a number made from the date
//! turns the choices.

use super::chances::Chance;
use super::digest::Digest;
use super::today::Known;
use crate::practice::{CellKey, Rung};
use crate::units::Bpm;
use jiff::civil::Date;
use serde::Serialize;

/// What a step is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Purpose {
    /// Fingers on the chanter without blowing.
    Silent,
    /// A long steady tone.
    Tone,
    /// Single gracenotes up and down the scale.
    Gracenotes,
    /// Changes of notes that want several fingers at once.
    Crossing,
    /// A movement that is cleared, at an easy tempo.
    Movement,
    /// A bar of a tune.
    Tune,
}

/// One step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WarmStep {
    /// What it is for.
    pub purpose: Purpose,
    /// What to do, one sentence.
    pub says: String,
    /// The music, ABC body text in 4/4 with crotchets as its unit; empty where `drill` is given.
    pub music: String,
    /// A drill's name and its stage, from 0.
    pub drill: Option<(String, usize)>,
    /// The tempo.
    pub tempo: Bpm,
    /// How long, seconds.
    pub seconds: u32,
}

/// Single gracenotes up and down the scale, each where its finger can be lifted.
const GRACENOTES: [(&str, &str); 3] = [
    (
        "high G gracenotes",
        "{g}G {g}A {g}B {g}c|{g}d {g}e {g}f {g}e|{g}d {g}c {g}B {g}A|{g}G4|",
    ),
    (
        "D gracenotes",
        "{d}G {d}A {d}B {d}c|{d}B {d}A {d}G {d}A|{d}B {d}c {d}B {d}A|{d}G4|",
    ),
    (
        "E gracenotes",
        "{e}G {e}A {e}B {e}c|{e}d {e}c {e}B {e}A|{e}G {e}A {e}B {e}c|{e}d4|",
    ),
];

/// Changes that move fingers both ways, each its own bar pattern.
const CROSSINGS: [(&str, &str, &str); 5] = [
    ("low A to D", "A", "d"),
    ("B to E", "B", "e"),
    ("C to F", "c", "f"),
    ("D to E", "d", "e"),
    ("C to E", "c", "e"),
];

/// Bars of our own for the end.
const TUNES: [&str; 4] = [
    "{g}A2 {d}A B|{g}c2 {e}c d|{g}e2 {a}f e|{g}A4|",
    "{g}e2 {a}f e|{g}d2 {e}c B|{g}A2 {d}B c|{g}A4|",
    "{g}c2 {d}c e|{g}B2 {d}B c|{g}A2 {e}A G|{g}A4|",
    "{g}G2 {d}G A|{g}B2 {d}B d|{g}e2 {a}e d|{g}B4|",
];

/// What a day's number chooses of so many, differing from one day to the next.
fn turn(date: Date, which: i64, of: usize) -> usize {
    let day = i64::from(
        Date::constant(2000, 1, 1)
            .until(date)
            .map_or(0, |span| span.get_days()),
    );
    usize::try_from((day + which).rem_euclid(of.max(1) as i64)).unwrap_or(0)
}

/// The cleared cells of a drill a fifth below its highest: the easy ones.
fn easy(digest: &Digest, drill: &Known) -> Option<(usize, Bpm)> {
    let stages = drill.stages.iter().enumerate().rev();
    // an opened movement is no easy one to warm up with: its lengths are work
    stages
        .filter(|(_, planned)| !planned.is_opened())
        .find_map(|(stage, planned)| {
            let clear = |rung: &&Rung| {
                let cell = CellKey {
                    stage: planned.print,
                    rung: **rung,
                };
                let days = digest.cell(cell);
                days.is_some_and(|days| days.cleared.is_some())
            };
            let highest = planned.rungs.iter().rev().find(clear)?;
            let calm = highest.tempo().to_f64() * 0.8;
            let mut tempi = planned.rungs.iter().map(|rung| rung.tempo());
            let tempo = tempi.find(|tempo| tempo.to_f64() >= calm)?;
            Some((stage, tempo))
        })
}

/// The worst of a drill's marks, as a chance; nothing where it was never marked.
fn worst(digest: &Digest, drill: &Known) -> Option<f64> {
    drill
        .stages
        .iter()
        .flat_map(|stage| digest.cells().filter(move |(key, _)| stage.has(**key)))
        .map(|(_, days)| {
            let (clean, of) = days.lately(20);
            Chance::of(clean, of).mean
        })
        .min_by(f64::total_cmp)
}

/// Composes a warm-up of so many minutes for a day. With `for_band` the pipes are not yet blown:
/// the silent part is longer and the tune slower.
pub fn warm_up(
    digest: &Digest,
    drills: &[Known],
    date: Date,
    minutes: u32,
    for_band: bool,
) -> Vec<WarmStep> {
    let total = minutes.clamp(1, 30) * 60;
    let share = |part: u32| (total * part / 100).max(8);
    let tempo = |beats: i128| Bpm::whole(beats).ok();
    let Some((calm, easy_tempo)) = tempo(60).zip(tempo(if for_band { 56 } else { 66 })) else {
        return Vec::new();
    };
    let step = |purpose, says: String, music: &str, seconds| WarmStep {
        purpose,
        says,
        music: music.to_owned(),
        drill: None,
        tempo: calm,
        seconds,
    };
    let mut steps = vec![step(
        Purpose::Silent,
        "without blowing: lift quickly, return slowly, one finger after the other".to_owned(),
        GRACENOTES[turn(date, 0, 3)].1,
        share(if for_band { 25 } else { 15 }),
    )];
    let low = [
        "A4|A4|A4|A4|",
        "e4|e4|e4|e4|",
        "c4|c4|c4|c4|",
        "d4|d4|d4|d4|",
    ][turn(date, 1, 4)];
    // One long note: the same pitch again would need a gracenote.
    let long = low.replace('|', "-|").trim_end_matches("-|").to_owned() + "|";
    steps.push(step(
        Purpose::Tone,
        "one long steady tone, even from beginning to end".to_owned(),
        &long,
        share(15),
    ));
    let (name, music) = GRACENOTES[turn(date, 2, 3)];
    steps.push(step(
        Purpose::Gracenotes,
        format!("{name} up and down the scale, light and even"),
        music,
        share(20),
    ));
    let (name, one, other) = CROSSINGS[turn(date, 3, CROSSINGS.len())];
    let pair = format!("{{g}}{one} {other} {one} {other}|");
    steps.push(step(
        Purpose::Crossing,
        format!("{name} and back: all fingers at once"),
        &pair.repeat(2),
        share(15),
    ));
    // The player's own crossings drill, where it is not going well, in place of the day's pair.
    if let Some(own) = drills.iter().find(|drill| drill.name == "crossings")
        && let Some(chance) = worst(digest, own)
        && chance < 0.8
        && let Some(last) = steps.last_mut()
    {
        let stage = own
            .stages
            .iter()
            .enumerate()
            .filter_map(|(stage, planned)| {
                let known = digest.cells().filter(|(key, _)| planned.has(**key));
                let chances = known.map(|(_, days)| {
                    let (clean, of) = days.lately(20);
                    Chance::of(clean, of).mean
                });
                chances.min_by(f64::total_cmp).map(|chance| (chance, stage))
            })
            .min_by(|one, other| one.0.total_cmp(&other.0))
            .map_or(0, |(_, stage)| stage);
        let name = own.stage_names.get(stage).map_or("", String::as_str);
        last.says = format!("the crossings that go worst: {name}");
        last.drill = Some((own.name.clone(), stage));
        last.music.clear();
    }
    let mut cleared: Vec<(&Known, (usize, Bpm))> = drills
        .iter()
        .filter(|drill| drill.name != "crossings")
        .filter_map(|drill| easy(digest, drill).map(|cell| (drill, cell)))
        .collect();
    let first = turn(date, 0, cleared.len()).min(cleared.len());
    cleared.rotate_left(first);
    for (drill, (stage, tempo)) in cleared.into_iter().take(2) {
        steps.push(WarmStep {
            purpose: Purpose::Movement,
            says: format!("{}, easily", drill.title),
            music: String::new(),
            drill: Some((drill.name.clone(), stage)),
            tempo,
            seconds: share(12),
        });
    }
    let mut tune = step(
        Purpose::Tune,
        "a few bars to end with".to_owned(),
        TUNES[turn(date, 1, TUNES.len())],
        share(11),
    );
    tune.tempo = easy_tempo;
    steps.push(tune);
    let used: u32 = steps.iter().map(|step| step.seconds).sum();
    if let Some(gracenotes) = steps
        .iter_mut()
        .find(|step| step.purpose == Purpose::Gracenotes)
    {
        gracenotes.seconds += total.saturating_sub(used);
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::read;
    use jiff::civil::date;

    #[test]
    fn two_mornings_differ_and_the_minutes_are_kept() {
        let digest = Digest::default();
        for minutes in [2, 5, 10] {
            let one = warm_up(&digest, &[], date(2027, 1, 15), minutes, false);
            let two = warm_up(&digest, &[], date(2027, 1, 16), minutes, false);
            assert_ne!(one, two);
            let used: u32 = one.iter().map(|step| step.seconds).sum();
            assert_eq!(used, minutes * 60);
        }
    }

    /// A step whose music a chanter cannot play would stop the warm-up in the middle.
    #[test]
    fn every_morning_of_a_month_can_be_played() {
        for day in 1..=31 {
            for step in warm_up(&Digest::default(), &[], date(2027, 1, day), 5, day % 2 == 0) {
                let text = format!(
                    "title: x\nunit: 1/4\nmusic: |\n  {}\nladder: {{from: 60, to: 60, step: 4%}}\n",
                    step.music
                );
                let (drill, problems) = read(text.as_bytes());
                assert!(drill.is_some(), "{:?}: {problems:?}", step.music);
            }
        }
    }
}
