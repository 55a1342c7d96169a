//! Finds the bars, parts and phrases of a tune that were asked for, and makes a drill of them.

use super::{Failure, drill_files::Opened, files, folders, library, making, output, stages};
use crate::app::{prints, scores};
use crate::drill::{
    BarRange, Drill, DrillDocument, Stage, Tune, all_bars, make_held, make_phrase, parts, read,
    write,
};
use crate::timeline::kept_round;
use crate::wording;

/// The choice of bars of a tune.
#[derive(Debug, Clone, Default)]
pub(crate) struct Which {
    /// The range of bars that was given; none where another choice was made.
    pub(crate) bars: Option<BarRange>,
    /// The part with this number, from 1.
    pub(crate) part: Option<usize>,
    /// The phrase with this number, from 1, of the tune or of the chosen part.
    pub(crate) phrase: Option<usize>,
    /// True where dotted notes are first held longer, and then played as in the tune.
    pub(crate) held_dots: bool,
}

impl Which {
    /// A choice of this range of bars.
    pub(crate) fn of(bars: BarRange) -> Self {
        Self {
            bars: Some(bars),
            ..Self::default()
        }
    }

    /// A choice of the whole tune, with its dotted notes first held longer.
    pub(crate) fn held_dots() -> Self {
        Self {
            held_dots: true,
            ..Self::default()
        }
    }

    /// True where anything other than the plain whole tune is chosen.
    pub(crate) fn is_given(&self) -> bool {
        self.names_bars() || self.held_dots
    }

    /// The stage, from 0, with which the made drill begins: the stage of held dots, where these are
    /// chosen. Otherwise none, which lets the journal decide.
    pub(crate) fn first_stage(&self) -> Option<usize> {
        self.held_dots.then_some(0)
    }

    fn names_bars(&self) -> bool {
        self.bars.is_some() || self.part.is_some() || self.phrase.is_some()
    }

    /// The range of bars that is chosen.
    ///
    /// # Errors
    /// The tune has no such part or phrase, or no rule divides it into phrases.
    fn range(&self, tune: &Tune) -> Result<BarRange, Failure> {
        if let Some(bars) = self.bars {
            return Ok(bars);
        }
        let part = self.part.map(|number| part(tune, number)).transpose()?;
        match (self.phrase, part) {
            (None, Some(part)) => Ok(part),
            (None, None) => Err(Failure("name bars, a part or a phrase".to_owned())),
            (Some(number), part) => {
                let found = in_order(tune, part, "name the bars with `--bars`")?;
                pick("phrase", number, &found)
            }
        }
    }
}

/// The parts and phrases of a tune, with their names.
pub(crate) struct Pieces {
    /// All bars of the tune.
    pub(crate) bars: BarRange,
    /// The parts, where there are several, and the phrases.
    pub(crate) named: Vec<(String, BarRange)>,
    /// How the tune's dotted notes are pointed, where they can be held longer; none elsewhere.
    pub(crate) pointing: Option<String>,
}

/// The parts and phrases of a drill that is a tune; none for any other drill. Where no rule divides
/// the tune, the phrases are a guess and their names begin with "perhaps".
pub(crate) fn pieces(drill: &Drill) -> Option<Pieces> {
    let [stage] = drill.stages.as_slice() else {
        return None;
    };
    if !drill.is_tune() {
        return None;
    }
    let bars = all_bars(&stage.music);
    let phrasing = drill.phrasing(stage);
    let doubt = if phrasing.doubt.is_some() {
        "perhaps "
    } else {
        ""
    };
    let parts = parts(&stage.music);
    let several = parts.len() > 1;
    let mut named = Vec::new();
    for (part, number) in parts.iter().zip(1..).filter(|_| several) {
        named.push((format!("part {number}, {}", part.spoken()), *part));
    }
    for (phrase, number) in phrasing.phrases.iter().zip(1..) {
        if *phrase != bars {
            let title = format!("{doubt}phrase {number}, {}", phrase.spoken());
            named.push((title, *phrase));
        }
    }
    let can_be_held = stage.music.pointing.exaggerated().is_some();
    Some(Pieces {
        bars,
        named,
        pointing: drill.pointing().filter(|_| can_be_held),
    })
}

/// A part of a tune, from 1.
///
/// # Errors
/// There is no such part.
pub(crate) fn part(tune: &Tune, number: usize) -> Result<BarRange, Failure> {
    pick("part", number, &parts(&tune.stage.music))
}

fn pick(what: &str, number: usize, there: &[BarRange]) -> Result<BarRange, Failure> {
    let found = number.checked_sub(1).and_then(|index| there.get(index));
    found.copied().ok_or_else(|| {
        let all: Vec<String> = there.iter().map(|range| range.spoken()).collect();
        Failure(format!(
            "there is no {what} {number}: the tune has {}, {}",
            wording::count(there.len(), what, &format!("{what}s")),
            wording::list(&all)
        ))
    })
}

/// Checks that the named phrases can be joined: they must be bars of the tune, or of its part, one
/// phrase after the other.
///
/// # Errors
/// They cannot be joined.
pub(crate) fn check(
    tune: &Tune,
    part: Option<BarRange>,
    named: &[BarRange],
) -> Result<(), Failure> {
    let within = part.unwrap_or_else(|| all_bars(&tune.stage.music));
    let mut before = None;
    for range in named {
        range
            .follows(before, within)
            .map_err(|expected| Failure(format!("--phrases has `{range}`; expected {expected}")))?;
        before = Some(*range);
    }
    Ok(())
}

/// The phrases of a tune, or of a part of it.
///
/// # Errors
/// Neither a rule nor the drill file divides the tune into phrases; the message says how to name
/// them.
pub(crate) fn in_order(
    tune: &Tune,
    part: Option<BarRange>,
    instead: &str,
) -> Result<Vec<BarRange>, Failure> {
    let found = tune.drill.phrasing(tune.stage);
    let within = |phrase: &BarRange| {
        part.is_none_or(|part| phrase.first >= part.first && phrase.last <= part.last)
    };
    if let Some(doubt) = found.doubt {
        let offered: Vec<String> = found.phrases.iter().map(BarRange::to_string).collect();
        return Err(Failure(format!(
            "where the phrases of `{}` end is in doubt: {doubt}. Write them as you hear them into \
             its drill file, such as `phrases: [{}]`, or {instead}",
            tune.drill.title,
            offered.join(", ")
        )));
    }
    Ok(found.phrases.into_iter().filter(within).collect())
}

/// The stage that holds the tune: the one with this name, or else the only one.
///
/// # Errors
/// There is no such stage, or there are several and none was named.
pub(crate) fn tune<'a>(drill: &'a Drill, wanted: Option<&str>) -> Result<Tune<'a>, Failure> {
    let stage: &Stage = match (wanted, drill.stages.as_slice()) {
        (Some(wanted), _) => stages::stage(drill, wanted)?.1,
        (None, [only]) => only,
        (None, stages) => {
            return Err(Failure(format!(
                "`{}` has {}: say with --stage which of them is the tune",
                drill.title,
                wording::count(stages.len(), "stage", "stages")
            )));
        }
    };
    Ok(Tune { drill, stage })
}

/// The chosen bars as a drill, which is not stored yet.
pub(crate) struct Chosen {
    opened: Opened,
    document: DrillDocument,
}

/// Takes the chosen bars out of a tune.
///
/// # Errors
/// The tune does not have these bars, or they cannot stand alone.
pub(crate) fn choose(
    opened: &Opened,
    stage: Option<&str>,
    which: &Which,
) -> Result<Chosen, Failure> {
    let tune = tune(&opened.drill, stage)?;
    let whole = which.held_dots && !which.names_bars();
    let range = (!whole).then(|| which.range(&tune)).transpose()?;
    let document = match range {
        Some(range) if !which.held_dots => make_phrase(&tune, range),
        range => make_held(&tune, range),
    };
    let mut document = document.map_err(|error| Failure(error.to_string()))?;
    let text = write(&document).map_err(Failure)?;
    let what = range.map_or_else(|| "the tune".to_owned(), BarRange::spoken);
    let mut drill = read(text.as_bytes())
        .0
        .ok_or_else(|| Failure(format!("{what} cannot be played alone")))?;
    if which.held_dots
        && let Some(listen) = held_but(&drill)
        && let Some(stage) = document.stages.as_mut().and_then(|all| all.first_mut())
        && let Some(own) = drill.stages.first_mut()
    {
        stage.listen_for = Some(listen.clone());
        own.listen_for = Some(listen);
    }
    let bars = range.map_or_else(String::new, |range| format!("-bars-{range}"));
    let held = if which.held_dots { "-held-dots" } else { "" };
    let name = format!("{}{bars}{held}", opened.name);
    Ok(Chosen {
        opened: Opened { name, drill },
        document,
    })
}

/// The advice where movements prevent some dotted notes from being held longer; none where no
/// movement does.
fn held_but(drill: &Drill) -> Option<String> {
    let scores = scores(drill);
    let [held, usual] = scores.as_slice() else {
        return None;
    };
    let tempo = drill.stages.first()?.up_to.unwrap_or(drill.ladder.to());
    let movements = kept_round(held, usual, tempo, drill.lengths);
    let each: Vec<String> = movements
        .iter()
        .map(|name| format!("each {name}"))
        .collect();
    (!each.is_empty()).then(|| {
        format!(
            "every dot but those before {} held longer than in the tune, its cut short and clear, \
             the beat where it was",
            wording::list(&each)
        )
    })
}

/// Takes the chosen bars out of the only tune among some drills, or out of the only drill. Returns
/// the place of that drill, and the bars as a drill.
///
/// # Errors
/// There is no tune or more than one among several drills; else the same as of [`choose`].
pub(crate) fn choose_among(
    drills: &[&Opened],
    stage: Option<&str>,
    which: &Which,
) -> Result<(usize, Chosen), Failure> {
    let tunes: Vec<usize> = (0..drills.len())
        .filter(|place| drills.len() == 1 || drills[*place].drill.is_tune())
        .collect();
    let [place] = tunes.as_slice() else {
        return Err(Failure(format!(
            "bars, parts, phrases and held dots are those of one tune, and {} of these drills {}: \
             name the tune by itself",
            if tunes.is_empty() {
                "none".to_owned()
            } else {
                tunes.len().to_string()
            },
            if tunes.is_empty() {
                "is one"
            } else {
                "are tunes"
            },
        )));
    };
    choose(drills[*place], stage, which).map(|chosen| (*place, chosen))
}

impl Chosen {
    /// The bars as a drill, with the text of its file. Nothing is stored.
    ///
    /// # Errors
    /// The drill cannot be written as YAML.
    pub(crate) fn with_file(self) -> Result<(Opened, String), Failure> {
        let text = making::text_of(&self.document)?;
        Ok((self.opened, text))
    }

    /// Stores the bars among the player's own drills, so that `today`, homework and the list know
    /// them, and returns a sentence that says where. A stored drill with the same music is used
    /// instead.
    pub(crate) fn kept(self) -> (Opened, Option<String>) {
        let Self { opened, document } = self;
        let music = prints(&scores(&opened.drill));
        let known = library::playable()
            .into_iter()
            .find(|known| prints(&scores(&known.drill)) == music);
        if let Some(known) = known {
            return (known, None);
        }
        match put_away(&opened.name, &document) {
            Ok(name) => {
                let told = format!("kept as `{name}`: in the list, and asked for by `today`");
                (Opened { name, ..opened }, Some(told))
            }
            // practice goes on; only the list does not know the drill
            Err(failure) => {
                let told = format!("not kept among your drills: {failure}");
                (opened, Some(told))
            }
        }
    }
}

/// Writes a drill under a free name among the player's own drills. Returns the name.
fn put_away(base: &str, document: &DrillDocument) -> Result<String, Failure> {
    let folder = folders::own_drills()?;
    output::make_folder(&folder)?;
    let name = files::free_name(&folder, base, "yaml");
    let path = folder.join(format!("{name}.yaml"));
    output::write_bytes(&path, false, making::text_of(document)?.as_bytes())?;
    Ok(name)
}
