//! The music that all three formats can hold: a title, a metre, a tempo, and sections of written
//! music.

use crate::drill::{
    BarRange, Drill, DrillDocument, Exact, Gracenote, Group, Ladder, LadderDocument, Music,
    OneOrMany, Place, Problem, ProblemKind, Severity, Stage, StageDocument, Step, TuneHead,
    plain_body, read, write,
};
use crate::movement::{Lengths, Schools};
use crate::practice::Rung;
use crate::rhythm::{Metre, Pointing, PointingSource};
use crate::score::{Score, ScoreGroup, ScoreNote, resolve_music};
use crate::units::{Beats, Bpm, Fraction, parse_fraction, write_fraction};

const ABOUT: &str = "about";
const LISTEN_FOR: &str = "listen for";
const LADDER: &str = "ladder";
const CLEAN: &str = "clean";
const BREATH: &str = "breath";
const POINTING: &str = "pointing";
const SCHOOL: &str = "school";
const PHRASES: &str = "phrases";
/// A beat that is not the usual one of the metre. Lengths are read in beats, so that the formats look
/// for it first.
pub(super) const BEAT: &str = "beat";
/// Names of what is said beside the music.
pub(super) const REMARKS: [&str; 9] = [
    ABOUT, LISTEN_FOR, LADDER, CLEAN, BREATH, POINTING, SCHOOL, PHRASES, BEAT,
];
/// The name under which a stage says its own name.
pub(super) const STAGE_NAME: &str = "stage";
/// What a stage says of itself: what to listen for, how it is pointed, the tempo it ends at. No name
/// begins with another and a space, or the formats could not tell them apart.
const LISTEN_HERE: &str = "listen here for";
const POINTED_HERE: &str = "pointed here";
const UP_TO_HERE: &str = "climbed here to";
/// Names of what is said of one stage.
pub(super) const REMARKS_HERE: [&str; 3] = [LISTEN_HERE, POINTED_HERE, UP_TO_HERE];

/// A drill on its way to or from another program.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// Its title.
    pub title: String,
    /// What stands at the head of a tune besides its title.
    pub head: TuneHead,
    /// A sentence about it.
    pub about: Option<String>,
    /// The metre.
    pub metre: Metre,
    /// The tempo it is to be played at.
    pub tempo: Option<Bpm>,
    /// The tempi it is practised at.
    pub ladder: Option<Ladder>,
    /// What else a drill says beside its music.
    pub practice: Practice,
    /// Lengths of gracenotes.
    pub lengths: Lengths,
    /// The stages of a drill; one for a tune.
    pub sections: Vec<Section>,
}

/// What a drill says of its practice, as far as the formats carry it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Practice {
    /// What to listen for.
    pub listen_for: Option<String>,
    /// Clean repetitions in a row that clear a cell.
    pub clean: Option<u32>,
    /// Bars to breathe and mark in.
    pub breath: Option<u32>,
    /// How its pairs are pointed, as its file says it.
    pub pointing: Option<String>,
    /// The schools that it is played by.
    pub schools: Schools,
    /// The phrases of a tune, as its file has them.
    pub phrases: Vec<BarRange>,
}

/// One stage.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Its name; the only section of a tune is [`Section::ONLY`].
    pub name: String,
    /// What to listen for in it.
    pub listen_for: Option<String>,
    /// How its pairs are pointed, where that is its own.
    pub pointing: Option<String>,
    /// The last tempo that it is worth practising at.
    pub up_to: Option<Bpm>,
    /// Its bars, every gracenote written out.
    pub music: Music,
    /// The music resolved.
    pub score: Score,
}

impl Section {
    /// The name of the only section of a tune.
    pub const ONLY: &'static str = "as written";

    /// A section of music that was read.
    pub fn new(name: String, music: Music) -> Self {
        let score = resolve_music(&music, Beats::ZERO, &Schools::none());
        Self {
            name,
            listen_for: None,
            pointing: None,
            up_to: None,
            music,
            score,
        }
    }

    /// The formats say what is written: how it is pointed stands beside it.
    fn of(stage: &Stage, breath: Beats, schools: &Schools) -> Self {
        let mut written = stage.music.clone();
        written.pointing = Pointing::default();
        let score = resolve_music(&written, breath, schools);
        Self {
            name: stage.name.clone(),
            listen_for: stage.listen_for.clone(),
            pointing: (stage.music.pointing.source == PointingSource::Stage)
                .then(|| stage.music.pointing.written())
                .flatten(),
            up_to: stage.up_to,
            music: spelled(&written, &score),
            score,
        }
    }

    /// What it says beside its music, each under its name.
    pub(super) fn remarks(&self) -> Vec<(&'static str, String)> {
        [
            (LISTEN_HERE, self.listen_for.clone()),
            (POINTED_HERE, self.pointing.clone()),
            (
                UP_TO_HERE,
                self.up_to.map(|tempo| write_fraction(&tempo.value())),
            ),
        ]
        .into_iter()
        .filter_map(|(name, text)| Some((name, text?)))
        .collect()
    }

    /// Takes in what was said under a name of [`REMARKS_HERE`]; false where it does not read.
    pub(super) fn take_remark(&mut self, name: &str, text: &str) -> bool {
        match name {
            LISTEN_HERE => {
                self.listen_for = Some(text.to_owned());
                true
            }
            POINTED_HERE => {
                let read = Pointing::parse(text, PointingSource::Stage).ok();
                self.pointing = read.and_then(|pointing| pointing.written());
                self.pointing.is_some()
            }
            UP_TO_HERE => {
                self.up_to = Bpm::parse(text).ok();
                self.up_to.is_some()
            }
            _ => false,
        }
    }

    /// The resolved notes of every written bar, as they are played the first time.
    pub fn bars(&self) -> Vec<&[ScoreNote]> {
        let mut bars: Vec<&[ScoreNote]> = vec![&[]; self.music.bars.len()];
        for notes in self.score.notes.chunk_by(|a, b| a.bar == b.bar) {
            let written = notes
                .first()
                .and_then(|note| self.score.bars.get(note.bar))
                .map(|bar| bar.written);
            if let Some(bar) = written.and_then(|written| bars.get_mut(written))
                && bar.is_empty()
            {
                *bar = notes;
            }
        }
        bars
    }
}

/// The same music with every group written out.
fn spelled(music: &Music, score: &Score) -> Music {
    let section = Section {
        score: score.clone(),
        ..Section::new(String::new(), music.clone())
    };
    let mut music = music.clone();
    for (bar, notes) in music.bars.iter_mut().zip(section.bars()) {
        for (written, note) in bar.notes.iter_mut().zip(notes) {
            written.group = written_out(&note.group);
        }
    }
    music
}

fn written_out(group: &ScoreGroup) -> Group {
    if group.parts.is_empty() {
        return Group::None;
    }
    let gracenotes = group.parts.iter().map(|part| Gracenote {
        note: part.note,
        held: part.held,
    });
    Group::Spelled(gracenotes.collect())
}

impl Piece {
    /// A drill, or one stage of it, to be played on a rung. Where none is given, written music is played
    /// at the tempo that it is practised up to, which is the tune's own; a movement that is taken apart
    /// at the ladder's first.
    pub fn of(drill: &Drill, stage: Option<usize>, rung: Option<Rung>) -> Self {
        let up_to = stage.and_then(|stage| drill.stages.get(stage)?.up_to);
        let own = match drill.movement {
            Some(_) => drill.ladder.from(),
            None => up_to.unwrap_or(drill.ladder.to()),
        };
        let rung = rung.unwrap_or(Rung::Tempo(own));
        let breath = drill.breath_beats();
        Self {
            title: drill.title.clone(),
            head: drill.head.clone(),
            about: drill.about.clone(),
            metre: drill.metre,
            tempo: Some(rung.tempo()),
            ladder: Some(drill.ladder.clone()),
            practice: Practice {
                listen_for: drill.listen_for.clone(),
                clean: Some(drill.clean),
                breath: Some(drill.breath),
                pointing: drill
                    .stages
                    .iter()
                    .map(|stage| stage.music.pointing)
                    .find(|pointing| pointing.source == PointingSource::File)
                    .and_then(|pointing| pointing.written()),
                schools: drill.schools.clone().in_light_music(false),
                phrases: drill.phrases.clone(),
            },
            lengths: rung.lengths(drill.lengths),
            sections: drill
                .stages
                .iter()
                .enumerate()
                .filter(|(place, _)| stage.is_none_or(|wanted| wanted == *place))
                .map(|(_, stage)| Section::of(stage, breath, &drill.schools))
                .collect(),
        }
    }

    /// The tempo it is played at.
    pub fn played_at(&self) -> Bpm {
        self.tempo
            .or(self.ladder.as_ref().map(Ladder::from))
            .unwrap_or_else(|| usual_ladder(None).from())
    }

    /// What is said beside the music, each under the name that the formats carry it by.
    pub(super) fn remarks(&self) -> Vec<(&'static str, String)> {
        let practice = &self.practice;
        let number = |number: Option<u32>| number.map(|number| number.to_string());
        [
            (ABOUT, self.about.clone()),
            (LISTEN_FOR, practice.listen_for.clone()),
            (LADDER, self.ladder.as_ref().map(ladder_text)),
            (CLEAN, number(practice.clean)),
            (BREATH, number(practice.breath)),
            (POINTING, practice.pointing.clone()),
            (SCHOOL, listed(practice.schools.names())),
            (PHRASES, listed(&practice.phrases)),
            (
                BEAT,
                self.metre.own_beat().map(|beat| write_fraction(&beat)),
            ),
        ]
        .into_iter()
        .filter_map(|(name, text)| Some((name, text?)))
        .collect()
    }

    /// Takes in what was said under a name of [`REMARKS`]; false where it does not read.
    pub(super) fn take_remark(&mut self, name: &str, text: &str) -> bool {
        let number = |most: u32| text.parse::<u32>().ok().filter(|number| *number <= most);
        let practice = &mut self.practice;
        match name {
            ABOUT => {
                self.about.get_or_insert_with(|| text.to_owned());
                true
            }
            LISTEN_FOR => {
                practice.listen_for = Some(text.to_owned());
                true
            }
            LADDER => {
                self.ladder = ladder_of(text);
                self.ladder.is_some()
            }
            CLEAN => {
                practice.clean = number(50).filter(|number| *number > 0);
                practice.clean.is_some()
            }
            BREATH => {
                practice.breath = number(8);
                practice.breath.is_some()
            }
            POINTING => {
                let read = Pointing::parse(text, PointingSource::File).ok();
                practice.pointing = read.and_then(|pointing| pointing.written());
                practice.pointing.is_some()
            }
            SCHOOL => {
                let mut names = text.split(", ");
                let read = names.try_fold(Schools::none(), Schools::with);
                practice.schools = read.unwrap_or_default();
                practice.schools != Schools::none()
            }
            PHRASES => {
                let read: Option<Vec<BarRange>> = text.split(", ").map(BarRange::parse).collect();
                practice.phrases = read.unwrap_or_default();
                !practice.phrases.is_empty()
            }
            BEAT => counted_by(self.metre, text) == Some(self.metre),
            _ => false,
        }
    }

    /// The drill file.
    pub fn document(&self) -> DrillDocument {
        let unit = self.metre.default_unit();
        let body = |section: &Section| plain_body(&section.music, unit);
        let ladder = self
            .ladder
            .clone()
            .unwrap_or_else(|| usual_ladder(self.tempo));
        // without a pulse there is no tempo to climb
        let ladder = match &self.ladder {
            None if self.metre.is_free() => Ladder::of_one(ladder.to()),
            _ => ladder,
        };
        let tune = match self.sections.as_slice() {
            [only] if only.name == Section::ONLY => Some(body(only)),
            _ => None,
        };
        let stages = tune.is_none().then(|| {
            self.sections
                .iter()
                .map(|section| StageDocument {
                    name: section.name.clone(),
                    music: Some(body(section)),
                    listen_for: section.listen_for.clone(),
                    pointing: section.pointing.clone(),
                    up_to: section.up_to.map(|tempo| Exact::of(&tempo.value())),
                    ..StageDocument::default()
                })
                .collect()
        });
        DrillDocument {
            title: self.title.clone(),
            also: several(&self.head.also),
            kind: self.head.kind.clone(),
            composer: self.head.composer.clone(),
            origin: self.head.origin.clone(),
            about: self.about.clone(),
            listen_for: self.practice.listen_for.clone(),
            clean: self.practice.clean,
            breath: self.practice.breath,
            pointing: self.practice.pointing.clone(),
            school: several(self.practice.schools.names()),
            phrases: several(&self.practice.phrases),
            metre: Some(self.metre.printed()),
            beat: self.metre.own_beat().map(|beat| Exact::of(&beat)),
            unit: Some(Exact::of(&unit)),
            music: tune,
            stages,
            ladder: Some(LadderDocument::of(&ladder)),
            ..DrillDocument::default()
        }
    }

    /// The drill, read from the drill file as it would be written, and what that reader says.
    pub fn drill(&self) -> (Option<Drill>, Vec<Problem>) {
        match write(&self.document()) {
            Ok(text) => read(text.as_bytes()),
            Err(error) => (None, vec![refused(error)]),
        }
    }

    /// This piece when a drill can be made of it: no error among `problems`, and the drill file
    /// reads without one. Equal changes are told once, with their number.
    pub(super) fn finished(self, mut problems: Vec<Problem>) -> (Option<Self>, Vec<Problem>) {
        let mut this = self;
        this.clean(&mut problems);
        let fails = |problems: &[Problem]| {
            problems
                .iter()
                .any(|problem| problem.severity() == Severity::Error)
        };
        if this.sections.is_empty() && !fails(&problems) {
            problems.push(refused("no music was found".to_owned()));
        }
        if !fails(&problems) {
            this.drop_what_does_not_fit(&mut problems);
            let (_, found) = this.drill();
            problems.extend(
                found
                    .iter()
                    .filter(|problem| problem.severity() == Severity::Error)
                    .map(|problem| refused(problem.kind.to_string())),
            );
        }
        let problems = counted(problems);
        let piece = (!fails(&problems)).then_some(this);
        (piece, problems)
    }

    /// Another program may have changed the music or the ladder, and our remarks beside them say what was
    /// true before: the music counts.
    fn drop_what_does_not_fit(&mut self, problems: &mut Vec<Problem>) {
        let fits = |piece: &Self| piece.drill().0.is_some();
        let says = !self.practice.phrases.is_empty()
            || (self.sections.iter()).any(|own| own.up_to.is_some() || own.pointing.is_some());
        if !says || fits(self) {
            return;
        }
        let mut without = self.clone();
        without.practice.phrases.clear();
        for section in &mut without.sections {
            section.up_to = None;
            section.pointing = None;
        }
        if fits(&without) {
            *self = without;
            problems.push(adopted(
                "phrases, or what a stage says of itself, that no longer fit the music",
                "left out",
            ));
        }
    }

    /// Names that a drill file can hold.
    fn clean(&mut self, problems: &mut Vec<Problem>) {
        let title = plain(&self.title, 120);
        if title.is_empty() {
            problems.push(adopted("no title", "it is called `untitled`"));
            "untitled".clone_into(&mut self.title);
        } else {
            self.title = title;
        }
        let tidy = |text: &mut Option<String>| {
            *text = text
                .take()
                .map(|text| plain(&text, 2000))
                .filter(|text| !text.is_empty());
        };
        let short = |text: &String| Some(plain(text, 110)).filter(|text| !text.is_empty());
        let head = &mut self.head;
        head.also = head.also.iter().filter_map(short).collect();
        for text in [&mut head.kind, &mut head.composer, &mut head.origin] {
            *text = text.as_ref().and_then(short);
        }
        tidy(&mut self.about);
        tidy(&mut self.practice.listen_for);
        let mut names: Vec<String> = Vec::new();
        for (place, section) in self.sections.iter_mut().enumerate() {
            let mut name = plain(&section.name, 110);
            if name.is_empty() {
                name = format!("stage {}", place + 1);
            }
            let first = name.clone();
            let mut number = 2;
            while names.contains(&name) {
                name = format!("{first} {number}");
                number += 1;
            }
            names.push(name.clone());
            section.name = name;
            tidy(&mut section.listen_for);
        }
    }
}

/// Some names as a drill file has them.
fn several(names: &[impl ToString]) -> Option<OneOrMany> {
    match names {
        [] => None,
        [one] => Some(OneOrMany::One(one.to_string())),
        many => Some(OneOrMany::Many(
            many.iter().map(ToString::to_string).collect(),
        )),
    }
}

/// Some names as a remark has them; nothing where there are none.
fn listed(names: &[impl ToString]) -> Option<String> {
    let names: Vec<String> = names.iter().map(ToString::to_string).collect();
    (!names.is_empty()).then(|| names.join(", "))
}

/// Text without what would upset a terminal, of so many characters at most.
fn plain(text: &str, most: usize) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    let shown: String = words
        .join(" ")
        .chars()
        .filter(|sign| {
            !sign.is_control()
                && !matches!(sign, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
        })
        .take(most)
        .collect();
    shown.trim().to_owned()
}

/// The ladder of a piece that brings none: up to its own tempo from three fifths of it (chosen: a
/// tune's tempo is where practice ends), or that of the drills that came with the program.
fn usual_ladder(tempo: Option<Bpm>) -> Ladder {
    let (from, to) = match tempo {
        Some(tempo) => {
            let low = (tempo.value() * Fraction::new(3, 5)).round().to_integer();
            let from = Bpm::whole(low.max(Bpm::SLOWEST)).map_or(tempo, |from| from.min(tempo));
            (from, tempo)
        }
        None => (Bpm::FIFTY, Bpm::EIGHTY),
    };
    let step = Step::Percent(Fraction::from_integer(4));
    Ladder::new(from, to, step).unwrap_or_else(|_| Ladder::of_one(to))
}

/// The metre with a beat that a format carries beside it.
pub(super) fn counted_by(metre: Metre, text: &str) -> Option<Metre> {
    metre.with_beat(parse_fraction(text).ok()?)
}

/// `50 to 80 by 4 per cent`, as the formats carry it.
pub(super) fn ladder_text(ladder: &Ladder) -> String {
    let step = match ladder.step() {
        Step::Percent(step) => format!("{} per cent", write_fraction(&step)),
        Step::Beats(step) => write_fraction(&step),
    };
    format!("{} to {} by {step}", ladder.from(), ladder.to())
}

/// Reads `50 to 80 by 4 per cent`; a percent sign would begin a comment in ABC.
pub(super) fn ladder_of(text: &str) -> Option<Ladder> {
    let (from, rest) = text.split_once(" to ")?;
    let (to, step) = rest.split_once(" by ")?;
    let number = |text: &str| parse_fraction(text).ok();
    let step = match step.trim().strip_suffix("per cent") {
        Some(percent) => Step::Percent(number(percent)?),
        None => Step::Beats(number(step)?),
    };
    let (from, to) = (Bpm::parse(from).ok()?, Bpm::parse(to).ok()?);
    Ladder::new(from, to, step).ok()
}

/// A tempo of so many notes of a part of a semibreve a minute as beats of the metre.
pub(super) fn beats_a_minute(metre: Metre, part: Fraction, count: Fraction) -> Option<Bpm> {
    Bpm::new(metre.beats_of(part).0 * count).ok()
}

/// The report of a change to the whole file.
pub(super) fn adopted(found: impl Into<String>, done: impl Into<String>) -> Problem {
    adopted_at(Place::WHOLE_FILE, found, done)
}

/// The report of a change, at its place.
pub(super) fn adopted_at(
    place: Place,
    found: impl Into<String>,
    done: impl Into<String>,
) -> Problem {
    let kind = ProblemKind::Adopted {
        found: found.into(),
        done: done.into(),
        times: 1,
        bars: Vec::new(),
    };
    Problem::new(place, kind)
}

/// Why no drill can be made of the whole file.
pub(super) fn refused(found: String) -> Problem {
    foreign(Place::WHOLE_FILE, found, "music that a drill can hold")
}

/// Why no drill can be made of it, at its place.
pub(super) fn foreign(
    place: Place,
    found: impl Into<String>,
    expected: impl Into<String>,
) -> Problem {
    let kind = ProblemKind::Foreign {
        found: found.into(),
        expected: expected.into(),
    };
    Problem::new(place, kind)
}

/// Equal changes become one, told where the first stands.
fn counted(mut problems: Vec<Problem>) -> Vec<Problem> {
    problems.sort_by_key(|problem| problem.place);
    let mut merged: Vec<Problem> = Vec::new();
    let mut seen: std::collections::HashMap<(String, String), usize> =
        std::collections::HashMap::new();
    for problem in problems {
        if let ProblemKind::Adopted {
            found,
            done,
            times: own,
            bars: here,
        } = &problem.kind
        {
            let key = (found.clone(), done.clone());
            if let Some(first) = seen.get(&key) {
                if let Some(ProblemKind::Adopted { times, bars, .. }) =
                    merged.get_mut(*first).map(|first| &mut first.kind)
                {
                    *times += own;
                    let new = here.iter().filter(|bar| !bars.contains(bar));
                    let new: Vec<u16> = new.copied().collect();
                    bars.extend(new);
                }
                continue;
            }
            seen.insert(key, merged.len());
        }
        merged.push(problem);
    }
    merged
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ladder_reads_back_from_its_text() {
        for text in ["50 to 80 by 4 per cent", "133/2 to 90 by 3/2"] {
            let ladder = ladder_of(text).expect("a ladder");
            assert_eq!(ladder_text(&ladder), text);
        }
        assert_eq!(ladder_of("up by ear"), None);
    }

    #[test]
    fn equal_changes_are_told_once_with_their_number() {
        let problems = counted(vec![
            adopted("a slur", "left out"),
            adopted("a slur", "left out"),
        ]);
        assert_eq!(problems.len(), 1);
        assert_eq!(problems[0].kind.to_string(), "a slur (2 times): left out");
    }
}
