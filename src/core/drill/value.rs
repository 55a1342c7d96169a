//! The validated drill.

use super::bar_range::BarRange;
use super::ladder::Ladder;
use super::written::Music;
use crate::chanter::Note;
use crate::movement::{Lengths, Movement, Schools};
use crate::rhythm::{Metre, PointingSource};
use crate::units::{Beats, Bpm, Fraction, Millis};

/// A drill without a problem: every bar adds up, every note can be played.
#[derive(Debug, Clone, PartialEq)]
pub struct Drill {
    /// Its title.
    pub title: String,
    /// What stands at the head of a tune besides its title.
    pub head: TuneHead,
    /// A sentence on what it is for.
    pub about: Option<String>,
    /// What to listen for.
    pub listen_for: Option<String>,
    /// The metre.
    pub metre: Metre,
    /// The movement it drills; none where its music is written out.
    pub movement: Option<MovementLine>,
    /// The stages, at least one.
    pub stages: Vec<Stage>,
    /// The phrases of a tune as its file has them; none where the usual rule says them.
    pub phrases: Vec<BarRange>,
    /// Its tempi.
    pub ladder: Ladder,
    /// Clean repetitions in a row that clear a cell, 1 to 50.
    pub clean: u32,
    /// Bars to breathe and mark in after each repetition, 0 to 8.
    pub breath: u32,
    /// Which cell comes next.
    pub route: Route,
    /// Whether play moves to the next cell by itself.
    pub advance: Advance,
    /// Whether a suggested step back is taken by itself.
    pub step_back: StepBack,
    /// Lengths of gracenotes.
    pub lengths: Lengths,
    /// Variants chosen.
    pub schools: Schools,
}

impl Drill {
    /// How long the player breathes and marks after each repetition, in beats.
    pub fn breath_beats(&self) -> Beats {
        self.metre.bar() * Fraction::from_integer(i128::from(self.breath))
    }

    /// True of a drill that is one piece of written-out music: a tune, not a movement in stages.
    pub fn is_tune(&self) -> bool {
        self.movement.is_none() && self.stages.len() == 1
    }

    /// How the pairs of a drill's written-out music are pointed, for its head: `pointed 4 : 1 (from
    /// experience)`. Nothing where it has no pairs, or nobody said anything.
    pub fn pointing(&self) -> Option<String> {
        let all = self.stages.iter().map(|stage| &stage.music);
        let of_the_drill = all.filter(|music| music.pointing.source != PointingSource::Stage);
        let mut pointed = of_the_drill.filter(|music| music.has_pairs());
        pointed.find_map(|music| music.pointing.spoken())
    }
}

/// What stands at the head of a tune besides its title.
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
    /// Composer and origin as they are printed: `A. Piper (Skye)`.
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

/// One way of writing the movement out.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Its name, its own within the drill.
    pub name: String,
    /// What to listen for here.
    pub listen_for: Option<String>,
    /// What the stage is made of.
    pub kind: StageKind,
    /// The last tempo it is worth practising at; nothing: to the top of the ladder.
    pub up_to: Option<Bpm>,
    /// Its bars.
    pub music: Music,
}

/// What every slow stage says once: with slow fingers another movement is practised than the one
/// that is wanted (common practice, no source).
pub const SLOW: &str = "notes slow, fingers at full speed";

impl Stage {
    /// How it is pointed for itself: `pointed 7 : 1`.
    pub fn own_pointing(&self) -> Option<String> {
        let pointing = self.music.pointing;
        (pointing.source == PointingSource::Stage)
            .then(|| pointing.spoken())
            .flatten()
    }

    /// True where the movement's tones are longer than in real time: such a stage says [`SLOW`].
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
    /// The movement's tones as written notes.
    Apart {
        /// Length of the note before.
        before: Beats,
        /// Length of each sounding tone.
        tone: Beats,
    },
    /// The whole movement as gracenotes.
    RealTime {
        /// Length of the note before: where the closing note lands.
        before: Beats,
    },
    /// The whole movement as gracenotes, its tones longer than in real time at first: the tempo
    /// stands still and the movement closes up.
    Opening {
        /// Length of the note before: as in real time, or longer where the opened movement would
        /// take more than [`Lengths::MOST_OF_A_NOTE`] of it.
        before: Beats,
        /// The length of each tone inside to begin with. It ends with what real time is at `at`.
        from: Millis,
        /// The tempo.
        at: Bpm,
    },
    /// Written out in the file.
    Written,
}

/// Which cell comes next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Route {
    /// All stages at this tempo, then up.
    #[default]
    Across,
    /// This stage to the top, then the next stage.
    Up,
}

/// What happens when a cell is clear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Advance {
    /// Play moves to the next cell at the end of the breath.
    #[default]
    ByItself,
    /// The next cell is named, and taken on a key.
    WhenAsked,
}

/// What happens after three not-clean in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum StepBack {
    /// It is suggested, and taken on a press.
    #[default]
    WhenAsked,
    /// It is taken by itself.
    ByItself,
}

/// Where a movement begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Begins {
    /// Where its school begins it.
    #[default]
    AsUsual,
    /// Before the beat: the closing note lands on its written place.
    BeforeTheBeat,
    /// On the beat: the closing note comes after it.
    OnTheBeat,
}
