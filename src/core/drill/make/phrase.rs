//! Bars of a tune as a drill, and a tune built up from its phrases: phrase by phrase, joined in
//! pairs, from the end backwards, whole.

use super::body::{body, repeated_body, unit};
use super::{CannotMake, sentence};
use crate::drill::document::{
    DrillDocument, Exact, LadderDocument, LengthsDocument, OneOrMany, StageDocument,
};
use crate::drill::ladder::rungs;
use crate::drill::phrases::{Around, BarRange, excerpt};
use crate::drill::value::{Drill, Stage, Step};
use crate::drill::written::Bar;
use crate::drill::{read, write};
use crate::movement::Lengths;

/// A tune: a drill and the stage of it that holds the tune.
#[derive(Debug, Clone, Copy)]
pub struct Tune<'a> {
    /// The drill.
    pub drill: &'a Drill,
    /// The stage.
    pub stage: &'a Stage,
}

/// A drill may have so many stages.
const MOST_STAGES: usize = 64;
/// Clean repetitions that clear a tune built up from phrases, at most, where that goes at all.
/// Chosen: twice what a movement's drill may ask for.
const MOST: usize = 240;
/// The most rungs of a phrase before the whole is played (chosen).
const MOST_RUNGS: usize = 4;

/// The drill of some bars of a tune: a tune of its own, begun with the pickup and ended on the next note with
/// its movement, on the ladder of the tune.
///
/// # Errors
/// Bars that the tune does not have, that never follow each other, or that cannot stand alone.
pub fn make_phrase(tune: &Tune, range: BarRange) -> Result<DrillDocument, CannotMake> {
    let bars = taken(tune, range)?;
    Ok(DrillDocument {
        title: titled(tune, &range.spoken()),
        about: Some(
            "Bars of a tune: begun with the pickup, ended on the next note with its movement."
                .to_owned(),
        ),
        listen_for: Some("the pulse, from the pickup to the note it lands on".to_owned()),
        music: Some(body(tune.stage.music.metre, &bars)),
        ..ground(tune)
    })
}

/// A tune built up from phrases: each by itself, each with the next, from the end backwards, whole.
/// The board opens one after the other. `part` leaves the rest of the tune out; then whole is that.
///
/// # Errors
/// Fewer than two phrases, more than a drill has stages for, or bars that are not there.
pub fn make_joined(
    tune: &Tune,
    phrases: &[BarRange],
    part: Option<usize>,
) -> Result<DrillDocument, CannotMake> {
    let [first, .., last] = phrases else {
        return Err(CannotMake(
            "a tune is joined from two phrases or more: name them, such as `--phrases=1-2,3-4`"
                .to_owned(),
        ));
    };
    let mut stages: Vec<StageDocument> = Vec::new();
    let mut known: Vec<BarRange> = vec![first.to(*last)];
    let mut add = |name: String, range: BarRange| -> Result<(), CannotMake> {
        if !known.contains(&range) {
            known.push(range);
            stages.push(stage(tune, &name, &taken(tune, range)?));
        }
        Ok(())
    };
    for (index, phrase) in phrases.iter().enumerate() {
        let name = format!("phrase {}, {}", index + 1, phrase.spoken());
        add(name, *phrase)?;
    }
    for (index, pair) in phrases.windows(2).enumerate() {
        let both = pair[0].to(pair[1]);
        let (one, other) = (index + 1, index + 2);
        add(
            format!("phrases {one} and {other}, {}", both.spoken()),
            both,
        )?;
    }
    for (index, phrase) in phrases.iter().enumerate().rev() {
        let rest = phrase.to(*last);
        let name = format!("from phrase {} to the end, {}", index + 1, rest.spoken());
        add(name, rest)?;
    }
    stages.push(match part {
        Some(_) => stage(tune, "whole part", &taken(tune, first.to(*last))?),
        None => StageDocument {
            name: "whole".to_owned(),
            music: Some(repeated_body(&tune.stage.music)),
            ..StageDocument::default()
        },
    });
    if stages.len() > MOST_STAGES {
        return Err(CannotMake(format!(
            "{} phrases make {} stages, and a drill has {MOST_STAGES} at most: take one part at a \
             time, such as `--part 1`",
            phrases.len(),
            stages.len()
        )));
    }
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

/// How far each stage before the whole climbs, so that what comes before it is not too long a way.
fn share(drill: &Drill, stages: &mut [StageDocument]) {
    let ladder = &drill.ladder;
    let tempi = rungs(ladder.from, ladder.to, ladder.step).unwrap_or_default();
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

/// Bars that stand by themselves, with as much around them as goes.
fn taken(tune: &Tune, range: BarRange) -> Result<Vec<Bar>, CannotMake> {
    let music = &tune.stage.music;
    for (run_in, landing) in [(true, true), (false, true), (true, false), (false, false)] {
        let around = Around { run_in, landing };
        let bars = excerpt(music, range, around).map_err(|error| CannotMake(error.0))?;
        let alone = DrillDocument {
            title: "bars".to_owned(),
            stages: Some(vec![stage(tune, "bars", &bars)]),
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

fn stage(tune: &Tune, name: &str, bars: &[Bar]) -> StageDocument {
    StageDocument {
        name: name.to_owned(),
        music: Some(body(tune.stage.music.metre, bars)),
        ..StageDocument::default()
    }
}

fn titled(tune: &Tune, what: &str) -> String {
    let drill = tune.drill;
    let name = if drill.stages.len() > 1 {
        &tune.stage.name
    } else {
        &drill.title
    };
    sentence(&format!("{name}, {what}"))
}

fn read_back(document: &DrillDocument) -> Option<Drill> {
    let text = write(document).ok()?;
    read(text.as_bytes()).0
}

/// What every drill made of a tune takes over from it.
fn ground(tune: &Tune) -> DrillDocument {
    let Drill {
        ladder,
        lengths,
        schools,
        head,
        ..
    } = tune.drill;
    let metre = tune.stage.music.metre;
    let step = match ladder.step {
        Step::Percent(step) => Exact::Text(format!("{}%", Exact::of(&step).text())),
        Step::Beats(step) => Exact::of(&step),
    };
    let names = schools.names().iter().map(|name| (*name).to_owned());
    let names: Vec<String> = names.collect();
    DrillDocument {
        kind: head.kind.clone(),
        school: (!names.is_empty()).then_some(OneOrMany::Many(names)),
        metre: Some(metre.printed()),
        beat: metre.own_beat().map(|beat| Exact::of(&beat)),
        unit: Some(Exact::of(&unit())),
        ladder: Some(LadderDocument {
            from: Exact::of(&ladder.from.value()),
            to: Exact::of(&ladder.to.value()),
            step,
        }),
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
mod tests {
    use super::*;
    use crate::drill::phrases::parts;
    use crate::drill::{BUILT_IN, Music, built_in};

    fn slipway() -> Drill {
        let file = built_in("lamp-on-the-slipway").expect("a tune of our own");
        read(file.text.as_bytes()).0.expect("it reads")
    }

    fn only_music(drill: &Drill) -> &Music {
        &drill.stages[0].music
    }

    fn tune(drill: &Drill) -> Tune<'_> {
        Tune {
            drill,
            stage: &drill.stages[0],
        }
    }

    fn range(text: &str) -> BarRange {
        BarRange::parse(text).expect("bars")
    }

    /// A phrase begins with its pickup, and its landing includes the next note's movement [P].
    #[test]
    fn the_third_phrase_of_our_march_is_what_a_piper_would_play() {
        let drill = slipway();
        let made = make_phrase(&tune(&drill), range("3-4")).expect("it is there");
        assert_eq!(made.title, "The Lamp on the Slipway, bars 3 to 4");
        let made = read_back(&made).expect("it reads");
        assert_eq!(
            body(made.metre, &only_music(&made).bars),
            "{g}G2 | {dAe}A2 {g}c2 {gef}e2 {g}c2 | {gBd}B4 {g}B2 e2 | {g}A6 |"
        );
        assert_eq!(made.ladder, drill.ladder);
        assert_eq!(made.clean, drill.clean);
    }

    /// Every range of bars of every tune in the program can be practised, and every bar of it is
    /// there as it stands in the tune.
    #[test]
    fn any_bars_of_any_written_stage_read_back() {
        let mut made = 0;
        for built in BUILT_IN {
            let drill = read(built.text.as_bytes()).0.expect("built-in drills read");
            for stage in &drill.stages {
                let tune = Tune {
                    drill: &drill,
                    stage,
                };
                let last = stage.music.bar_numbers().into_iter().max().expect("bars");
                for first in 1..=last {
                    for last in first..=last.min(first + 4) {
                        let range = BarRange { first, last };
                        let document = make_phrase(&tune, range).expect(built.name);
                        let phrase = read_back(&document).expect("it reads");
                        let bars = &only_music(&phrase).bars;
                        assert!(bars.len() >= usize::from(last - first), "{}", built.name);
                        made += 1;
                    }
                }
            }
        }
        assert!(made > 400, "{made}");
    }

    /// The whole stage is the tune itself: what was marked in the tune counts there too.
    #[test]
    fn a_tune_is_built_up_to_itself() {
        let drill = slipway();
        let tune = tune(&drill);
        let found = drill.phrasing(tune.stage);
        assert_eq!(found.doubt, None);
        let document = make_joined(&tune, &found.phrases, None).expect("it can be joined");
        let made = read_back(&document).expect("it reads");
        let names: Vec<&str> = made
            .stages
            .iter()
            .map(|stage| stage.name.as_str())
            .collect();
        assert_eq!(
            names,
            [
                "phrase 1, bars 1 to 4",
                "phrase 2, bars 5 to 8",
                "phrase 3, bars 9 to 12",
                "phrase 4, bars 13 to 16",
                "phrases 1 and 2, bars 1 to 8",
                "phrases 2 and 3, bars 5 to 12",
                "phrases 3 and 4, bars 9 to 16",
                "from phrase 2 to the end, bars 5 to 16",
                "whole",
            ]
        );
        let whole = &made.stages.last().expect("a stage").music;
        assert_eq!(whole, only_music(&drill));
        let climbed = made.stages.iter().filter(|stage| stage.up_to.is_none());
        assert_eq!(climbed.count(), 1, "only the whole goes to the top");
        let part = parts(&tune.stage.music)[1];
        let own: Vec<BarRange> = found.phrases[2..].to_vec();
        assert_eq!(own[0].first, part.first);
        let made = make_joined(&tune, &own, Some(2)).expect("it can be joined");
        let names: Vec<String> = made
            .stages
            .expect("stages")
            .into_iter()
            .map(|s| s.name)
            .collect();
        assert_eq!(
            names,
            [
                "phrase 1, bars 9 to 12",
                "phrase 2, bars 13 to 16",
                "whole part"
            ]
        );
    }

    #[test]
    fn one_phrase_is_not_joined_and_too_many_are_told() {
        let drill = slipway();
        let tune = tune(&drill);
        let error = make_joined(&tune, &[range("1-4")], None).expect_err("one phrase");
        assert!(error.0.contains("two phrases"), "{error}");
        let error = make_phrase(&tune, range("15-20")).expect_err("no such bars");
        assert_eq!(error.0, "there is no bar 17: the tune has bars 1 to 16");
    }
}
