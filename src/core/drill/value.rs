//! The validated drill.

use super::bar_range::BarRange;
use super::ladder::Ladder;
use super::written::Music;
use crate::chanter::Note;
use crate::movement::{Lengths, Movement, Schools};
use crate::rhythm::{Metre, PointingSource};
use crate::units::{Beats, Bpm, Fraction, Millis};

/// A drill without an error: every bar adds up, and every note can be played.
#[derive(Debug, Clone, PartialEq)]
pub struct Drill {
    /// Its title.
    pub title: String,
    /// The fields at the head of a tune other than its title.
    pub head: TuneHead,
    /// A sentence on what it is for.
    pub about: Option<String>,
    /// What to listen for.
    pub listen_for: Option<String>,
    /// The metre.
    pub metre: Metre,
    /// The movement that it drills; none when its music is written out.
    pub movement: Option<MovementLine>,
    /// The stages, at least one.
    pub stages: Vec<Stage>,
    /// The phrases of a tune from its file; empty when the usual rule applies.
    pub phrases: Vec<BarRange>,
    /// Its tempi.
    pub ladder: Ladder,
    /// Clean repetitions in a row that clear a cell, 1 to 50.
    pub clean: u32,
    /// Bars to breathe and mark in after each repetition, 0 to 8.
    pub breath: u32,
    /// Which cell comes next.
    pub route: Route,
    /// Whether play moves to the next cell by itself when a cell is clear.
    pub advance: Advance,
    /// Whether a suggested step back is taken automatically.
    pub step_back: StepBack,
    /// Lengths of gracenotes.
    pub lengths: Lengths,
    /// The selected schools.
    pub schools: Schools,
}

impl Drill {
    /// The length of the breath after each repetition, in beats.
    pub fn breath_beats(&self) -> Beats {
        self.metre.bar() * Fraction::from_integer(i128::from(self.breath))
    }

    /// True for a drill that is one piece of written-out music, such as a tune.
    pub fn is_tune(&self) -> bool {
        self.movement.is_none() && self.stages.len() == 1
    }

    /// The pointing of a drill's written-out music, for its head: `pointed 4 : 1 (from
    /// experience)`. None when the music has no pairs or no pointing.
    pub fn pointing(&self) -> Option<String> {
        let all = self.stages.iter().map(|stage| &stage.music);
        let of_the_drill = all.filter(|music| music.pointing.source != PointingSource::Stage);
        let mut pointed = of_the_drill.filter(|music| music.has_pairs());
        pointed.find_map(|music| music.pointing.spoken())
    }
}

/// The fields at the head of a tune other than its title.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct TuneHead {
    /// Other titles, each a line below the first.
    pub also: Vec<String>,
    /// What kind of tune it is: march, strathspey, slow air.
    pub kind: Option<String>,
    /// Who composed it.
    pub composer: Option<String>,
    /// Where it comes from.
    pub origin: Option<String>,
}

impl TuneHead {
    /// Composer and origin as they are printed: `A. Piper (Skye)`; none without either.
    pub fn made_by(&self) -> Option<String> {
        match (&self.composer, &self.origin) {
            (Some(composer), Some(origin)) => Some(format!("{composer} ({origin})")),
            (Some(only), None) | (None, Some(only)) => Some(only.clone()),
            (None, None) => None,
        }
    }
}

/// The movement a drill takes apart.
#[derive(Debug, Clone, PartialEq)]
pub struct MovementLine {
    /// The movement.
    pub movement: Movement,
    /// The notes it comes from, at least one.
    pub from: Vec<Note>,
    /// The notes it closes on, at least one.
    pub to: Vec<Note>,
}

/// A stage: one way to write the music out.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Its name, which is unique in the drill.
    pub name: String,
    /// What to listen for here.
    pub listen_for: Option<String>,
    /// What the stage is made of.
    pub kind: StageKind,
    /// The last tempo worth practising at; none for the top of the ladder.
    pub up_to: Option<Bpm>,
    /// Its bars.
    pub music: Music,
}

/// The reminder that every slow stage has. Slow fingers practise a different movement from the one
/// that is wanted (common practice, no source).
pub const SLOW: &str = "notes slow, fingers at full speed";

impl Stage {
    /// The pointing of this stage when it has its own: `pointed 7 : 1`; none otherwise.
    pub fn own_pointing(&self) -> Option<String> {
        let pointing = self.music.pointing;
        (pointing.source == PointingSource::Stage)
            .then(|| pointing.spoken())
            .flatten()
    }

    /// True when the movement's tones are longer than in real time. Such a stage shows [`SLOW`].
    pub fn is_slow(&self) -> bool {
        match self.kind {
            StageKind::Apart { .. } | StageKind::Opening { .. } => true,
            StageKind::RealTime { .. } | StageKind::Written => false,
        }
    }
}

/// What a stage is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StageKind {
    /// The movement's tones are written notes.
    Apart {
        /// Length of the note before, in beats.
        before: Beats,
        /// Length of each sounding tone, in beats.
        tone: Beats,
    },
    /// The whole movement is written as gracenotes.
    RealTime {
        /// Length of the note before, in beats: the place at which the closing note lands.
        before: Beats,
    },
    /// The whole movement is written as gracenotes, and its tones are longer than in real time at
    /// first. The tempo stays the same while the tones become shorter.
    Opening {
        /// Length of the note before, in beats. It is longer than in real time when the opened
        /// movement would take more than [`Lengths::MOST_OF_A_NOTE`] of it.
        before: Beats,
        /// The first length of each tone inside the movement. The last is the tone's length in real
        /// time at the tempo `at`.
        from: Millis,
        /// The tempo, which stays the same.
        at: Bpm,
    },
    /// The music is written out in the file.
    Written,
}

/// Which cell comes next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Route {
    /// All stages at one tempo, then all at the next tempo.
    #[default]
    Across,
    /// One stage up to its highest tempo, then the next stage.
    Up,
}

/// What happens when a cell is clear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Advance {
    /// Play moves to the next cell at the end of the breath.
    #[default]
    ByItself,
    /// The next cell is named, and play moves there when the player asks.
    WhenAsked,
}

/// What happens after three repetitions in a row that are not clean.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum StepBack {
    /// A step back is suggested, and taken when the player asks.
    #[default]
    WhenAsked,
    /// The step back is taken automatically.
    ByItself,
}

/// Where a movement begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Begins {
    /// As usual for the movement and its school.
    #[default]
    AsUsual,
    /// Before the beat, so that the closing note lands on its written place.
    BeforeTheBeat,
    /// On the beat, so that the closing note comes after its written place.
    OnTheBeat,
}
