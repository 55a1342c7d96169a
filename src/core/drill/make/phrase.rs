//! Bars of a tune as a drill, and a tune built up from its phrases: phrase by phrase, joined in
//! pairs, from the end backwards, and whole.

use super::body::{body, repeated_body, unit};
use super::{CannotMake, read_back};
use crate::drill::bar_range::BarRange;
use crate::drill::document::{
    DrillDocument, Exact, LadderDocument, LengthsDocument, OneOrMany, StageDocument,
};
use crate::drill::ladder::Ladder;
use crate::drill::phrases::{Around, all_bars, excerpt, first_number, numbers_played, parts};
use crate::drill::value::{Drill, Stage, StageKind};
use crate::drill::written::{Bar, Music};
use crate::movement::Lengths;
use crate::wording::capital;
use std::collections::BTreeSet;

/// A tune: a drill and the one of its stages that holds the tune.
#[derive(Debug, Clone, Copy)]
pub struct Tune<'a> {
    /// The drill.
    pub drill: &'a Drill,
    /// The stage.
    pub stage: &'a Stage,
}

/// The most stages that a drill may have.
const MOST_STAGES: usize = 64;
/// The most clean repetitions for a tune that is built up from phrases, where that is possible
/// (chosen: twice the limit of a movement's drill).
const MOST: usize = 240;
/// The most rungs of a phrase before the whole tune is played (chosen).
const MOST_RUNGS: usize = 4;

/// The drill of some bars of a tune, on the tune's own ladder. It begins with the pickup and ends
/// on the next note with its movement.
///
/// # Errors
/// The bars are not in the tune, never follow each other, or cannot stand alone.
pub fn make_phrase(tune: &Tune, range: BarRange) -> Result<DrillDocument, CannotMake> {
    let bars = taken(tune, range)?;
    let document = DrillDocument {
        title: titled(tune, &range.spoken()),
        about: Some(format!(
            "{} of {}{}: begun with the pickup, ended on the next note with its movement.",
            capital(&range.spoken()),
            titled_as(tune),
            own_numbers(tune, range)
        )),
        listen_for: Some("the pulse, from the pickup to the note it lands on".to_owned()),
        first_bar: first_number(&tune.stage.music, range),
        music: Some(body(tune.stage.music.metre, &bars)),
        ..ground(tune)
    };
    let phrases = phrases_within(tune, range, &document);
    Ok(DrillDocument {
        phrases: (!phrases.is_empty())
            .then(|| OneOrMany::Many(phrases.iter().map(ToString::to_string).collect())),
        ..document
    })
}

/// The bar numbers that these bars have in their own drill, as a clause for a sentence. Empty when
/// the numbers are those of the tune.
fn own_numbers(tune: &Tune, range: BarRange) -> String {
    let music = &tune.stage.music;
    let played = numbers_played(music, range);
    let first = first_number(music, range).unwrap_or(1);
    if played
        .iter()
        .copied()
        .eq(first..first.saturating_add(played.len() as u16))
    {
        return String::new();
    }
    let own = BarRange {
        first: 1,
        last: u16::try_from(played.len().max(1)).unwrap_or(u16::MAX),
    };
    format!(", here {}", own.spoken())
}

/// The phrases of the tune within some of its bars, in bar numbers of the new drill. The landing
/// note belongs to the last phrase. Empty when the phrases of the tune are in doubt.
fn phrases_within(tune: &Tune, range: BarRange, piece: &DrillDocument) -> Vec<BarRange> {
    let whole = tune.drill.phrasing(tune.stage);
    let piece = read_back(piece);
    let Some(piece) = piece.filter(|_| whole.doubt.is_none()) else {
        return Vec::new();
    };
    let played = numbers_played(&tune.stage.music, range);
    let BarRange { first, last } = all_bars(&piece.stages[0].music);
    let mut phrases: Vec<BarRange> = Vec::new();
    for phrase in whole.phrases {
        let holds = |bar: &u16| (phrase.first..=phrase.last).contains(bar);
        let own = (first..).zip(&played).filter(|(_, bar)| holds(bar));
        let own: Vec<u16> = own.map(|(place, _)| place).collect();
        if let (Some(first), Some(last)) = (own.first(), own.last()) {
            phrases.push(BarRange {
                first: *first,
                last: *last,
            });
        }
    }
    match phrases.last_mut() {
        Some(landing) if landing.last <= last => landing.last = last,
        _ => return Vec::new(),
    }
    phrases
}

/// A drill that builds a tune up from phrases. Each phrase comes by itself, then with the next,
/// then the tune grows from the end backwards until it is whole. The board opens these stages one
/// after the other. With `part`, from 1, only that part of the tune is built up.
///
/// # Errors
/// There are fewer than two phrases, more than a drill has stages for, no such part, or no such
/// bars.
pub fn make_joined(
    tune: &Tune,
    phrases: &[BarRange],
    part: Option<usize>,
) -> Result<DrillDocument, CannotMake> {
    let music = &tune.stage.music;
    let whole = match part {
        Some(number) => number
            .checked_sub(1)
            .and_then(|index| parts(music).get(index).copied())
            .ok_or_else(|| CannotMake(format!("the tune has no part {number}")))?,
        None => all_bars(music),
    };
    let joins = joins(phrases, whole)?;
    if joins.len() + 1 > MOST_STAGES {
        return Err(CannotMake(format!(
            "{} phrases make {} stages, and a drill has {MOST_STAGES} at most: take one part at a \
             time, such as `--part 1`",
            phrases.len(),
            joins.len() + 1
        )));
    }
    let mut stages = Vec::with_capacity(joins.len() + 1);
    for (name, range) in &joins {
        stages.push(stage(tune, name, *range, &taken(tune, *range)?));
    }
    stages.push(match part {
        Some(_) => stage(tune, "whole part", whole, &taken(tune, whole)?),
        None => StageDocument {
            name: "whole".to_owned(),
            music: Some(repeated_body(music)),
            ..StageDocument::default()
        },
    });
    share(tune.drill, &mut stages);
    let title = match part {
        Some(part) => titled(tune, &format!("part {part} from its phrases")),
        None => titled(tune, "from its phrases"),
    };
    let document = DrillDocument {
        title,
        about: Some(
            "A tune built up: phrase by phrase, each joined to the next, from the end backwards, \
             whole."
                .to_owned(),
        ),
        listen_for: Some("the join: no wait before it and no hurry after it".to_owned()),
        stages: Some(stages),
        ..ground(tune)
    };
    match read_back(&document) {
        Some(_) => Ok(document),
        None => Err(CannotMake(
            "this tune cannot be written out again from its phrases".to_owned(),
        )),
    }
}

/// A tune that begins without a metre as it is practised: line by line, each line landing on the
/// next, and then whole. It has no ladder, because a ground has no pulse that a tempo could be set
/// for; a variation with a metre of its own has clicks. None for any other drill, and for a tune
/// whose lines cannot be played alone.
pub fn line_by_line(drill: &Drill) -> Option<Drill> {
    let [stage] = drill.stages.as_slice() else {
        return None;
    };
    if !drill.is_tune() || !stage.music.metre.is_free() {
        return None;
    }
    let tune = Tune { drill, stage };
    let mut stages = Vec::new();
    let lines = drill.phrasing(stage).phrases;
    if lines.len() > 1 && lines.len() < MOST_STAGES {
        for (line, number) in lines.iter().zip(1..) {
            let mut bars = taken(&tune, *line).ok()?;
            // A line that has a metre is counted in by that metre.
            let metre = bars.first_mut().and_then(|bar| bar.metre.take());
            stages.push(Stage {
                name: format!("line {number}"),
                listen_for: None,
                kind: StageKind::Written,
                up_to: None,
                music: Music::straight(metre.unwrap_or(stage.music.metre), bars),
            });
        }
    }
    stages.push(stage.clone());
    Some(Drill {
        stages,
        ladder: Ladder::of_one(drill.ladder.to()),
        phrases: Vec::new(),
        ..drill.clone()
    })
}

/// The bars to practise before the whole, each once and with a name: each phrase, each pair of
/// phrases in a row, and from each phrase to the end.
///
/// # Errors
/// There are fewer than two phrases.
fn joins(phrases: &[BarRange], whole: BarRange) -> Result<Vec<(String, BarRange)>, CannotMake> {
    let [_, .., last] = phrases else {
        return Err(CannotMake(
            "a tune is joined from two phrases or more: name them, such as `--phrases=1-2,3-4`"
                .to_owned(),
        ));
    };
    let single = phrases.iter().zip(1..).map(|(phrase, number)| {
        let name = format!("phrase {number}, {}", phrase.spoken());
        (name, *phrase)
    });
    let pairs = phrases.windows(2).zip(1..).map(|(pair, number)| {
        let both = pair[0].to(pair[1]);
        let name = format!("phrases {number} and {}, {}", number + 1, both.spoken());
        (name, both)
    });
    let backwards = phrases.iter().enumerate().rev().map(|(index, phrase)| {
        let number = index + 1;
        let rest = phrase.to(*last);
        let name = if last.last == whole.last {
            format!("from phrase {number} to the end, {}", rest.spoken())
        } else {
            format!("phrases {number} to {}, {}", phrases.len(), rest.spoken())
        };
        (name, rest)
    });
    let mut known = BTreeSet::from([whole]);
    let found = single.chain(pairs).chain(backwards);
    Ok(found.filter(|(_, range)| known.insert(*range)).collect())
}

/// Limits the rungs of each stage before the whole, so that the whole is reached within the usual
/// number of repetitions.
fn share(drill: &Drill, stages: &mut [StageDocument]) {
    let ladder = &drill.ladder;
    let tempi = ladder.rungs();
    let most = (MOST / drill.clean.max(1) as usize).saturating_sub(tempi.len());
    let before = stages.len().saturating_sub(1);
    let each = (most / before.max(1)).clamp(1, MOST_RUNGS);
    let Some(up_to) = tempi.get(each - 1) else {
        return;
    };
    for stage in &mut stages[..before] {
        stage.up_to = Some(Exact::of(&up_to.value()));
    }
}

/// Bars that stand alone, with as much of the pickup and the landing as possible.
pub(super) fn taken(tune: &Tune, range: BarRange) -> Result<Vec<Bar>, CannotMake> {
    let music = &tune.stage.music;
    for (run_in, landing) in [(true, true), (false, true), (true, false), (false, false)] {
        let around = Around { run_in, landing };
        let bars = excerpt(music, range, around).map_err(CannotMake)?;
        let alone = DrillDocument {
            title: "bars".to_owned(),
            stages: Some(vec![stage(tune, "bars", range, &bars)]),
            ..ground(tune)
        };
        if read_back(&alone).is_some() {
            return Ok(bars);
        }
    }
    Err(CannotMake(format!(
        "{} cannot be played without the bars around: take one bar more at either end",
        range.spoken()
    )))
}

pub(super) fn stage(tune: &Tune, name: &str, range: BarRange, bars: &[Bar]) -> StageDocument {
    StageDocument {
        name: name.to_owned(),
        first_bar: first_number(&tune.stage.music, range),
        music: Some(body(tune.stage.music.metre, bars)),
        ..StageDocument::default()
    }
}

pub(super) fn titled(tune: &Tune, what: &str) -> String {
    capital(&format!("{}, {what}", titled_as(tune)))
}

/// The title of the tune. A stage among several has its own name as title.
fn titled_as<'a>(tune: &Tune<'a>) -> &'a str {
    if tune.drill.stages.len() > 1 {
        &tune.stage.name
    } else {
        &tune.drill.title
    }
}

/// The fields that every drill made from a tune copies from it.
pub(super) fn ground(tune: &Tune) -> DrillDocument {
    let Drill {
        ladder,
        lengths,
        schools,
        head,
        ..
    } = tune.drill;
    let metre = tune.stage.music.metre;
    let names = schools.names().iter().map(|name| (*name).to_owned());
    let names: Vec<String> = names.collect();
    DrillDocument {
        kind: head.kind.clone(),
        composer: head.composer.clone(),
        origin: head.origin.clone(),
        pointing: tune.stage.music.pointing.written(),
        school: (!names.is_empty()).then_some(OneOrMany::Many(names)),
        metre: Some(metre.printed()),
        beat: metre.own_beat().map(|beat| Exact::of(&beat)),
        unit: Some(Exact::of(&unit())),
        ladder: Some(LadderDocument::of(ladder)),
        clean: Some(tune.drill.clean),
        breath: Some(tune.drill.breath),
        lengths: (*lengths != Lengths::default()).then(|| LengthsDocument {
            gracenote: Some(Exact::of(&lengths.separating.0)),
            tone: Some(Exact::of(&lengths.tone.0)),
            opens: Some(lengths.opens),
        }),
        ..DrillDocument::default()
    }
}

#[cfg(test)]
mod tests;
