//! Makes a drill file from a movement: the four stages, other stages for a long movement, and
//! chains. It also makes drills of crossings and of one finger.
//!
//! Its results are documents as a player would write them. Writes no file and knows no folder.

mod body;
mod budget;
mod chain;
mod family;
mod fields;
mod held;
mod in_place;
mod partial;
mod phrase;
mod plan;
mod transfer;

use budget::Spent;
pub use family::{make_crossings, make_finger};
use fields::{bpm, one_or_many, school};
pub use held::make_held;
pub use in_place::{InPlace, make_in_place};
pub use phrase::{Tune, line_by_line, make_joined, make_phrase};

use super::document::{DrillDocument, Exact, StageDocument};
use super::stages::widest;
use super::value::Drill;
use super::{read, write};
use crate::chanter::Note;
use crate::movement::{
    Context, Family, Lengths, Movement, Resolution, Resolved, Role, Schools, explain, resolve,
};
use crate::rhythm::Metre;
use crate::units::{Beats, Bpm, Fraction};
use crate::wording;

/// How a movement is built up before it is played whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Build {
    /// Tone by tone for a movement with four tones or more, otherwise whole.
    #[default]
    AsFits,
    /// The four stages: all tones, with shorter lengths in each stage.
    Whole,
    /// The first tone, then one more tone in each stage.
    ToneByTone,
    /// The last tone, then one more tone before it in each stage.
    LastPartFirst,
    /// The first half, then the second.
    Groups,
}

/// A request for a drill.
#[derive(Debug, Clone)]
pub struct Request {
    /// The movement.
    pub movement: Movement,
    /// The notes before the movement, at least one.
    pub from: Vec<Note>,
    /// The closing notes, at least one.
    pub to: Vec<Note>,
    /// The schools under which it is played.
    pub schools: Schools,
    /// How it is built up.
    pub build: Build,
    /// True for an extra stage of eighths of a beat when real time is much quicker than the stage
    /// before.
    pub bridge: bool,
    /// True for chain stages: the movement four times in a row, and up and down the scale.
    pub chain: bool,
    /// True for transfer stages: the movement from other notes that come before it in tunes, then
    /// in a line of a tune.
    pub transfer: bool,
    /// The metre.
    pub metre: Metre,
}

/// Why a drill cannot be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CannotMake(pub String);

impl std::fmt::Display for CannotMake {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}
impl std::error::Error for CannotMake {}

/// The drill file of a movement.
///
/// # Errors
/// The movement cannot be played between some pair of notes; the error lists each pair with what is
/// played instead.
pub fn make(request: &Request) -> Result<DrillDocument, CannotMake> {
    let contexts = contexts(request)?;
    let metre = request.metre;
    let tones = contexts.iter().map(tones).max().unwrap_or(0);
    let (mut stages, main) = if request.movement.family() == Family::Figure {
        (figure(metre), 3)
    } else if tones == 0 {
        single(request, &contexts)
    } else {
        several(request, &contexts)
    };
    if request.transfer {
        let contexts = transfer::contexts(request.movement, &request.to, &request.schools);
        stages.extend(transfer::stages(metre, &contexts));
    }
    let opens = contexts.iter().all(Resolved::can_be_opened);
    let quicker = metre.beats_in_a_crotchet().to_integer();
    let between = match tones {
        0 => (50, 100),
        1..=3 => (50, 80),
        _ => (46, 76),
    };
    let between = (bpm(between.0 * quicker), bpm(between.1 * quicker));
    let Spent {
        stages,
        ladder,
        clean,
    } = budget::spend(stages, main, opens, between);
    let first = &contexts[0];
    let explanation = explain(
        request.movement,
        first.context,
        &request.schools,
        usual_tempo(),
        &Lengths::default(),
    );
    let from: Vec<&str> = request.from.iter().map(|note| note.spoken()).collect();
    let to: Vec<&str> = request.to.iter().map(|note| note.spoken()).collect();
    let written = stages.iter().any(|stage| stage.music.is_some());
    Ok(DrillDocument {
        title: wording::capital(&format!(
            "{} from {} to {}",
            request.movement.spoken(),
            wording::list(&from),
            wording::list(&to)
        )),
        about: Some(explanation.purpose.clone()),
        movement: Some(request.movement.name().to_owned()),
        from: Some(one_or_many(&request.from)),
        to: Some(one_or_many(&request.to)),
        school: school(&request.schools),
        listen_for: Some(
            explanation
                .listen_for
                .iter()
                .take(2)
                .cloned()
                .collect::<Vec<String>>()
                .join("; "),
        ),
        metre: Some(metre.printed()),
        beat: metre.own_beat().map(|beat| Exact::of(&beat)),
        unit: written.then(|| Exact::of(&body::unit())),
        stages: Some(stages),
        ladder: Some(ladder),
        clean: Some(clean),
        ..DrillDocument::default()
    })
}

/// The tempo for the explanation, whose milliseconds are not used here.
fn usual_tempo() -> Bpm {
    // 60 lies between 20 and 300
    Bpm::whole(60).unwrap_or_else(|_| unreachable!("60 beats a minute is a tempo"))
}

fn contexts(request: &Request) -> Result<Vec<Resolved>, CannotMake> {
    let mut contexts = Vec::new();
    let mut refused = Vec::new();
    for from in &request.from {
        for to in &request.to {
            let context = Context::between(*from, *to);
            match resolve(request.movement, context, &request.schools) {
                Resolution::Played(resolved) => contexts.push(resolved),
                Resolution::NotPlayable { why, instead } => refused.push(format!(
                    "there is no {} from {} to {} to drill: {why}{}",
                    request.movement.spoken(),
                    from.spoken(),
                    to.spoken(),
                    instead.map_or(String::new(), |instead| format!(
                        "; make `{}` instead",
                        instead.movement
                    ))
                )),
            }
        }
    }
    if !refused.is_empty() {
        return Err(CannotMake(refused.join("\n")));
    }
    if contexts.is_empty() {
        return Err(CannotMake(
            "a drill needs a note to come from and a note to close on".to_owned(),
        ));
    }
    Ok(contexts)
}

fn tones(resolved: &Resolved) -> usize {
    resolved
        .parts
        .iter()
        .filter(|part| part.role == Role::Sounding)
        .count()
}

/// The stages of a movement with tones, and the index of the stage in real time.
fn several(request: &Request, contexts: &[Resolved]) -> (Vec<StageDocument>, usize) {
    let Some(widest) = widest(contexts) else {
        return (Vec::new(), 0);
    };
    let (metre, tones) = (request.metre, tones(widest));
    let build = match request.build {
        Build::AsFits if tones >= 4 => Build::ToneByTone,
        Build::AsFits => Build::Whole,
        chosen => chosen,
    };
    let mut stages = match build {
        Build::ToneByTone => partial::tone_by_tone(metre, contexts),
        Build::LastPartFirst => partial::last_part_first(metre, contexts),
        Build::Groups => partial::in_groups(metre, contexts),
        Build::Whole | Build::AsFits => vec![plan::apart(metre, widest, Beats::ONE)],
    };
    let mut tone = plan::short(metre);
    for _ in 0..if request.bridge { 3 } else { 2 } {
        stages.push(plan::apart(metre, widest, tone));
        tone = tone * Fraction::new(1, 2);
    }
    let main = stages.len();
    stages.push(StageDocument {
        name: "real time".to_owned(),
        ..StageDocument::default()
    });
    stages.extend(chained(request, contexts));
    (stages, main)
}

/// The stages of a lone gracenote or tap, and the index of the one with the shortest note before.
/// The gracenote cannot be taken apart, so the note before it becomes shorter while the gracenote
/// stays on the beat.
fn single(request: &Request, contexts: &[Resolved]) -> (Vec<StageDocument>, usize) {
    let mut stages = vec![
        before_only("two beats", Beats::whole(2)),
        before_only("one beat", Beats::ONE),
    ];
    let (metre, before) = (request.metre, plan::short(request.metre));
    stages.extend(
        chain::on_every_beat(metre, contexts, before).map(|music| StageDocument {
            name: if metre.is_compound() {
                "a third of a beat".to_owned()
            } else {
                "half a beat".to_owned()
            },
            music: Some(music),
            ..StageDocument::default()
        }),
    );
    let main = stages.len() - 1;
    stages.extend(chained(
        &Request {
            chain: true,
            ..request.clone()
        },
        contexts,
    ));
    (stages, main)
}

/// The stages of a figure of two melody notes. The first note, which has the beat, becomes shorter.
fn figure(metre: Metre) -> Vec<StageDocument> {
    let names = if metre.is_compound() {
        [
            "full beat",
            "third of a beat",
            "sixth of a beat",
            "real time",
        ]
    } else {
        ["full beat", "half beat", "quarter beat", "real time"]
    };
    let quick = plan::short(metre);
    let lengths = [1, 2, 4].map(|part| quick * Fraction::new(1, part));
    names
        .into_iter()
        .zip(std::iter::once(Beats::ONE).chain(lengths))
        .map(|(name, before)| before_only(name, before))
        .collect()
}

fn before_only(name: &str, before: Beats) -> StageDocument {
    StageDocument {
        name: name.to_owned(),
        before: Some(Exact::of(&before.0)),
        ..StageDocument::default()
    }
}

fn chained(request: &Request, contexts: &[Resolved]) -> Vec<StageDocument> {
    let Some(first) = contexts.first().filter(|_| request.chain) else {
        return Vec::new();
    };
    let stage = |name: &str, music: Option<String>| {
        music.map(|music| StageDocument {
            name: name.to_owned(),
            music: Some(music),
            ..StageDocument::default()
        })
    };
    [
        stage(
            "four in a row",
            chain::four_in_a_row(request.metre, first, &request.schools),
        ),
        stage(
            "up and down the scale",
            chain::scale(request.metre, first, &request.schools),
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The drill that is read back from a document's text; none when the text has an error.
fn read_back(document: &DrillDocument) -> Option<Drill> {
    let text = write(document).ok()?;
    read(text.as_bytes()).0
}

#[cfg(test)]
mod tests;
