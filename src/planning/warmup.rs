//! The warm-up before practice, and another before a band plays. Both run by themselves.
//!
//! What belongs into a warm-up, its order and its shares are common practice, no source: long
//! tones, the three gracenotes everything is made of, a scale, doublings, low G with every hole
//! covered. A band's is about beginning and ending together. Two mornings differ, because a number
//! made from the date turns the choices.

use super::chances::Chance;
use super::digest::Digest;
use super::known::Known;
use crate::practice::{CellKey, Rung};
use crate::units::{Bpm, write_fraction};
use jiff::civil::Date;
use serde::Serialize;

/// What a step is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Purpose {
    /// Fingers on the chanter without blowing.
    Silent,
    /// Long steady tones.
    Tone,
    /// Single gracenotes up and down the scale.
    Gracenotes,
    /// The nine notes up and down.
    Scale,
    /// Down to low G, every hole covered.
    Covering,
    /// Doublings up and down the scale.
    Doublings,
    /// Changes of notes that want several fingers at once.
    Crossing,
    /// A movement that is cleared, at an easy tempo.
    Movement,
    /// A band begins from the count-in, plays two bars and stops, all together.
    Attack,
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
    /// Bars without music after each repetition, which count in the next.
    pub breath: u32,
    /// A drill's name and its stage, from 0.
    pub drill: Option<(String, usize)>,
    /// The tempo.
    pub tempo: Bpm,
    /// How long, seconds, its count-in included.
    pub seconds: u32,
}

impl WarmStep {
    /// Its music as a drill file.
    pub fn document(&self) -> String {
        let tempo = write_fraction(&self.tempo.value());
        format!(
            "title: warm-up\nunit: 1/4\nbreath: {}\nmusic: |\n  {}\n\
             ladder: {{from: {tempo}, to: {tempo}, step: 4%}}\n",
            self.breath, self.music
        )
    }
}

/// What somebody asks of a warm-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WarmUpAsked {
    /// How long, minutes, 1 to 30.
    pub minutes: u32,
    /// How long a long tone lasts, seconds, 6 to 10.
    pub tone: u32,
    /// The tempo at which the band plays, where it is the band that warms up.
    pub band: Option<Bpm>,
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

/// The nine notes, each with a high G gracenote where its finger can be lifted; from high G the thumb.
const SCALE: &str = "{g}G {g}A {g}B {g}c|{g}d {g}e {g}f g|a g {a}f {g}e|{g}d {g}c {g}B {g}A|{g}G4|";

/// From each note down to low G: the bottom hand closes, the little finger last.
const COVERING: [&str; 3] = [
    "{g}A2 G2|{g}B A G2|{g}c A G2|{g}d A G2-|G4|",
    "{g}c B A G-|G4|{g}e c A G-|G4|",
    "{g}e2 G2|{g}d2 G2|{g}c2 G2|{g}B2 G2-|G4|",
];

/// The doubling of each note, going up from low G and coming down from high A: from high G the thumb
/// opens that of F, and from high A high G has only its F gracenote.
const DOUBLINGS: &str = "{gGd}G2 {gAd}A2|{gBd}B2 {gcd}c2|{gde}d2 {gef}e2|{gfg}f2 {gf}g2|\
    {ag}a2 {f}g2|{afg}f2 {gef}e2|{gde}d2 {gcd}c2|{gBd}B2 {gAd}A2|{gGd}G4|";

/// Two bars of our own to begin and to stop together.
const ATTACKS: [&str; 2] = [
    "{g}e2 {g}c {d}A|{gBd}B2 {g}e2|",
    "{g}e2 {gcd}c {e}A|{g}B {d}G {gAd}A2|",
];

/// Changes of note that move fingers both ways: a name and the two notes.
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

/// Which of `of` choices a day has; the next day has another.
fn turn(date: Date, which: i64, of: usize) -> usize {
    let day = i64::from(
        Date::constant(2000, 1, 1)
            .until(date)
            .map_or(0, |span| span.get_days()),
    );
    usize::try_from((day + which).rem_euclid(of.max(1) as i64)).unwrap_or(0)
}

/// An easy cell of a drill: its last stage with a cleared cell, at the slowest tempo of at least
/// four fifths of the quickest cleared one.
fn easy(digest: &Digest, drill: &Known) -> Option<(usize, Bpm)> {
    let stages = drill.stages.iter().enumerate().rev();
    // the lengths of an opened movement are too hard to warm up with
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

/// A part of a warm-up before its length is known.
struct Part {
    step: WarmStep,
    /// Its weight where the time is shared out.
    share: u32,
    /// Where the time is short the highest rank is left out first, and 0 never.
    rank: u32,
}

/// The shortest part, seconds: a bar of count-in and two of music at the slowest (chosen).
const SHORTEST: u32 = 12;

/// A calm tempo, crotchets a minute: each lasts a second, so that tones are counted by the click.
const CALM: i128 = 60;

fn part(purpose: Purpose, says: impl Into<String>, music: &str, (share, rank): (u32, u32)) -> Part {
    let tempo = Bpm::whole(CALM).unwrap_or(Bpm::FIFTY);
    Part {
        step: WarmStep {
            purpose,
            says: says.into(),
            music: music.to_owned(),
            breath: 0,
            drill: None,
            tempo,
            seconds: 0,
        },
        share,
        rank,
    }
}

/// Four long tones one after the other, each so many seconds, a crotchet a second.
fn tones(notes: [&str; 4], seconds: u32) -> String {
    let mut text = String::new();
    let mut room = 4;
    for note in notes {
        let mut left = seconds.clamp(6, 10);
        while left > 0 {
            let length = left.min(room);
            left -= length;
            room -= length;
            text.push_str(note);
            text.push_str(&length.to_string());
            // One long note: the same pitch again would need a gracenote.
            text.push_str(if left > 0 { "-" } else { "" });
            text.push_str(if room > 0 { " " } else { "|" });
            room = if room > 0 { room } else { 4 };
        }
    }
    text
}

/// Low A and E, or others, as long as they are asked for; the step ends with a tone.
fn long_tones(says: &str, notes: [&str; 4], asked: &WarmUpAsked) -> Part {
    let tone = asked.tone.clamp(6, 10);
    let mut part = part(Purpose::Tone, says, &tones(notes, tone), (0, 0));
    // A bar of count-in, then whole tones: about an eighth of the time, two of them at least.
    let count = (asked.minutes.clamp(1, 30) * 60 / 8 / tone).max(2);
    part.step.seconds = 4 + count * tone;
    part
}

/// The player's own crossings where they go badly, else the day's pair.
fn crossing(digest: &Digest, drills: &[Known], date: Date) -> Part {
    let (name, one, other) = CROSSINGS[turn(date, 3, CROSSINGS.len())];
    let mut part = part(
        Purpose::Crossing,
        format!("{name} and back: all fingers at once"),
        &format!("{{g}}{one} {other} {one} {other}|").repeat(2),
        (10, 6),
    );
    if let Some(own) = drills.iter().find(|drill| drill.name == "crossings")
        && let Some(chance) = worst(digest, own)
        && chance < 0.8
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
        part.step.says = format!("the crossings that go worst: {name}");
        part.step.drill = Some((own.name.clone(), stage));
        part.step.music.clear();
    }
    part
}

/// Two cleared movements; another day has others.
fn movements(digest: &Digest, drills: &[Known], date: Date) -> Vec<Part> {
    let mut cleared: Vec<(&Known, (usize, Bpm))> = drills
        .iter()
        .filter(|drill| drill.name != "crossings")
        .filter_map(|drill| easy(digest, drill).map(|cell| (drill, cell)))
        .collect();
    let first = turn(date, 0, cleared.len()).min(cleared.len());
    cleared.rotate_left(first);
    cleared
        .into_iter()
        .take(2)
        .map(|(drill, (stage, tempo))| {
            let says = format!("{}, easily", drill.title);
            let mut part = part(Purpose::Movement, says, "", (10, 7));
            part.step.drill = Some((drill.name.clone(), stage));
            part.step.tempo = tempo;
            part
        })
        .collect()
}

/// The gracenotes of high G, D and E; another day begins with another.
fn gracenotes(date: Date, how: &str) -> impl Iterator<Item = Part> {
    (0..3).map(move |which| {
        let (name, music) = GRACENOTES[turn(date, which, 3)];
        part(Purpose::Gracenotes, format!("{name} {how}"), music, (9, 1))
    })
}

fn own_parts(digest: &Digest, drills: &[Known], date: Date, asked: &WarmUpAsked) -> Vec<Part> {
    let notes = [
        ["A", "e", "A", "G"],
        ["A", "d", "A", "G"],
        ["A", "c", "e", "G"],
        ["e", "c", "A", "G"],
    ][turn(date, 1, 4)];
    let mut parts = vec![
        part(
            Purpose::Silent,
            "without blowing: lift quickly, return slowly, one finger after the other",
            GRACENOTES[turn(date, 0, 3)].1,
            (8, 9),
        ),
        long_tones(
            "long steady tones, each even from beginning to end",
            notes,
            asked,
        ),
        part(
            Purpose::Covering,
            "down to low G: every hole covered, the little finger too, and the low G full at once",
            COVERING[turn(date, 2, 3)],
            (8, 4),
        ),
        part(
            Purpose::Scale,
            "the scale up and down, each note with the click",
            SCALE,
            (9, 3),
        ),
    ];
    parts.extend(gracenotes(date, "up and down the scale, light and even"));
    parts.push(part(
        Purpose::Doublings,
        "doublings up and down the scale: begun on the click, both gracenotes small",
        DOUBLINGS,
        (14, 2),
    ));
    parts.push(crossing(digest, drills, date));
    parts.extend(movements(digest, drills, date));
    let bars = TUNES[turn(date, 1, TUNES.len())];
    let mut tune = part(Purpose::Tune, "a few bars to end with", bars, (9, 8));
    tune.step.tempo = Bpm::whole(66).unwrap_or(tune.step.tempo);
    parts.push(tune);
    parts
}

fn band_parts(date: Date, asked: &WarmUpAsked, tempo: Bpm) -> Vec<Part> {
    let mut parts = vec![long_tones(
        "low A and E together: begin as one, end as one, and listen to the others",
        ["A", "e", "A", "e"],
        asked,
    )];
    parts.extend(gracenotes(
        date,
        "in unison: one sound from the whole circle",
    ));
    let mut doublings = part(
        Purpose::Doublings,
        "doublings up and down the scale at the band's tempo, every one with the click",
        DOUBLINGS,
        (30, 2),
    );
    doublings.step.tempo = tempo;
    let mut attack = part(
        Purpose::Attack,
        "attacks: strike in together after the count-in, two bars, stop together on the next beat",
        ATTACKS[turn(date, 1, ATTACKS.len())],
        (30, 3),
    );
    attack.step.tempo = tempo;
    attack.step.breath = 1;
    parts.push(doublings);
    parts.push(attack);
    parts
}

/// Composes a warm-up for a day. Where the time is short, what matters least is left out; what
/// rounding leaves goes to the last part.
pub fn warm_up(
    digest: &Digest,
    drills: &[Known],
    date: Date,
    asked: &WarmUpAsked,
) -> Vec<WarmStep> {
    let total = asked.minutes.clamp(1, 30) * 60;
    let mut parts = match asked.band {
        Some(tempo) => band_parts(date, asked, tempo),
        None => own_parts(digest, drills, date, asked),
    };
    let fixed = |parts: &[Part]| parts.iter().map(|part| part.step.seconds).sum::<u32>();
    let free = |parts: &[Part]| parts.iter().filter(|part| part.share > 0).count() as u32;
    while fixed(&parts) + free(&parts) * SHORTEST > total {
        let least = parts.iter().map(|part| part.rank).max().unwrap_or(0);
        match parts
            .iter()
            .rposition(|part| part.rank == least && least > 0)
        {
            Some(at) => parts.remove(at),
            None => break,
        };
    }
    // The time beyond the shortest length of each part is shared out.
    let over = total.saturating_sub(fixed(&parts) + free(&parts) * SHORTEST);
    let shares: u32 = parts.iter().map(|part| part.share).sum();
    for part in parts.iter_mut().filter(|part| part.share > 0) {
        part.step.seconds = SHORTEST + over * part.share / shares.max(1);
    }
    let mut steps: Vec<WarmStep> = parts.into_iter().map(|part| part.step).collect();
    let used: u32 = steps.iter().map(|step| step.seconds).sum();
    if let Some(last) = steps.last_mut() {
        last.seconds += total.saturating_sub(used);
    }
    steps
}

#[cfg(test)]
mod tests;
