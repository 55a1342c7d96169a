//! The music that all three formats can hold: a title, a metre, a tempo, and sections of written
//! music.

mod finish;
mod remarks;

pub(super) use finish::{adopted, adopted_at, foreign, refused};
pub(super) use remarks::{BEAT, LADDER, REMARKS, REMARKS_HERE, STAGE_NAME, counted_by};

use crate::drill::{
    BarRange, Drill, DrillDocument, Exact, Gracenote, Group, Ladder, LadderDocument, Music,
    OneOrMany, Problem, Stage, StageDocument, Step, TuneHead, plain_body, read, write,
};
use crate::movement::{Lengths, Schools};
use crate::practice::Rung;
use crate::rhythm::{Metre, Pointing, PointingSource};
use crate::score::{Score, ScoreGroup, ScoreNote, resolve_music};
use crate::units::{Beats, Bpm, Fraction};

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
            .unwrap_or_else(|| usual_ladder(self.metre, None).from())
    }

    /// The drill file.
    pub fn document(&self) -> DrillDocument {
        let unit = self.metre.default_unit();
        let body = |section: &Section| plain_body(&section.music, unit);
        let ladder = self
            .ladder
            .clone()
            .unwrap_or_else(|| usual_ladder(self.metre, self.tempo));
        // without a pulse there is no tempo to climb
        let ladder = match &self.ladder {
            None if self.metre.is_free() => Ladder::of_one(ladder.to()),
            _ => ladder,
        };
        let tune = match self.sections.as_slice() {
            [only] if only.name == Section::ONLY => Some(body(only)),
            _ => None,
        };
        let first_bar =
            |section: &Section| Some(section.music.first_bar).filter(|first| *first > 1);
        let stages = tune.is_none().then(|| {
            self.sections
                .iter()
                .map(|section| StageDocument {
                    name: section.name.clone(),
                    first_bar: first_bar(section),
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
            first_bar: match self.sections.as_slice() {
                [only] if tune.is_some() => first_bar(only),
                _ => None,
            },
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

/// The ladder of a piece that brings none: up to its own tempo from three fifths of it (chosen: a
/// tune's tempo is where practice ends), or that of the drills that came with the program, whose beats
/// are crotchets.
fn usual_ladder(metre: Metre, tempo: Option<Bpm>) -> Ladder {
    let (from, to) = match tempo {
        Some(tempo) => {
            let low = (tempo.value() * Fraction::new(3, 5)).round().to_integer();
            let from = Bpm::whole(low.max(Bpm::SLOWEST)).map_or(tempo, |from| from.min(tempo));
            (from, tempo)
        }
        None => {
            let quicker = metre.beats_in_a_crotchet();
            let as_quick = |own: Bpm| Bpm::new(own.value() * quicker).unwrap_or(own);
            (as_quick(Bpm::FIFTY), as_quick(Bpm::EIGHTY))
        }
    };
    let step = Step::Percent(Fraction::from_integer(4));
    Ladder::new(from, to, step).unwrap_or_else(|_| Ladder::of_one(to))
}

/// A tempo of so many notes of a part of a semibreve a minute as beats of the metre.
pub(super) fn beats_a_minute(metre: Metre, part: Fraction, count: Fraction) -> Option<Bpm> {
    Bpm::new(metre.beats_of(part).0 * count).ok()
}
