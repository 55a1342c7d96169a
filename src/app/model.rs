//! What the program is now.

use super::choose::Choose;
use super::lateness::Lateness;
use super::notice::Notice;
use super::practising::Practising;
use super::session::Session;
use super::words::Words;
use crate::chanter::Tuning;
use crate::listening::HeardNow;
use crate::planning::Rule;
use crate::practice::{Mark, Thresholds};
use crate::rhythm::{ClickPlan, ReferencePlan, Subdivision};
use crate::sound::{Bus, ClickSound, Levels, Sound};

/// The whole program.
#[derive(Debug, Clone)]
pub struct Model {
    /// The page shown.
    pub page: Page,
    /// What is read over it.
    pub over: Option<Overlay>,
    /// Rows of that scrolled past.
    pub over_scroll: u16,
    /// The list of drills.
    pub choose: Choose,
    /// The drill that is practised.
    pub practising: Option<Practising>,
    /// The last press that says clean or not clean, and when: one that is held on repeats.
    pub(super) pressed: Option<(Mark, i64)>,
    /// Homework files whose goal was reached since the program began.
    pub reached: Vec<String>,
    /// The session that runs, if one does.
    pub session: Option<Session>,
    /// What the player chose for sound and picture.
    pub options: Options,
    /// What the player is writing; then letters are letters.
    pub words: Option<Words>,
    /// The last sentence for the player.
    pub notice: Option<Notice>,
    /// Some marks are not in the journal yet.
    pub unstored: bool,
    /// The device, or none.
    pub sound: SoundState,
    /// When the computer was late with the sound.
    pub lateness: Lateness,
    /// What the microphone hears now; none while nobody listens.
    pub ear: Option<HeardNow>,
    /// How many timelines were sent to the player: the serial of the last.
    pub sent: u64,
    /// The program was started with a drill: leaving its page leaves the program.
    pub straight: bool,
    /// The program is to end.
    pub quit: bool,
}

/// A page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Page {
    /// The list of drills.
    Choose,
    /// A drill.
    Practise,
    /// Between two things of a session, or after the last.
    Session,
}

/// What may lie over a page, to be read and closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overlay {
    /// The keys of the page.
    Keys,
    /// The movement the drill takes apart, explained in full.
    Movement,
    /// What keeps the marked drill from being played, every problem with its line.
    Problems,
}

/// Choices for sound and picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Levels and mutes.
    pub levels: Levels,
    /// Pitch.
    pub tuning: Tuning,
    /// Drones on.
    pub drones: bool,
    /// What the click sounds like.
    pub click_sound: ClickSound,
    /// In which repetitions the reference sounds.
    pub reference: ReferencePlan,
    /// Which clicks sound.
    pub clicks: ClickPlan,
    /// Clicks between the beats.
    pub subdivision: Subdivision,
    /// Three not clean in a row stop play.
    pub stop_rule: bool,
    /// When what was cleared comes again.
    pub rule: Rule,
    /// Repetitions mark themselves clean unless something else is said.
    pub hands_free: bool,
    /// A drill begins with the first step of its music hidden.
    pub from_memory: bool,
    /// Figures, fingers and the last verdict take the whole window, to be read from a stand.
    pub stand: bool,
    /// The picture of the chanter is for a left-handed player.
    pub left_handed: bool,
    /// The explanation takes the place of the board.
    pub explain: bool,
    /// Three clean in a row go a rung up, one that is not clean a rung down.
    pub staircase: bool,
    /// How what was heard is judged.
    pub thresholds: Thresholds,
    /// Repetitions are marked by what the microphone hears.
    pub by_ear: bool,
    /// The player wears headphones: the microphone hears the player alone.
    pub headphones: bool,
}

impl Options {
    /// What the renderer begins with.
    pub fn sound(&self) -> Sound {
        Sound {
            tuning: self.tuning,
            drones: self.drones,
            levels: self.levels,
            click: self.click_sound,
        }
    }
}

impl Default for Options {
    fn default() -> Self {
        Self {
            levels: Levels::default(),
            tuning: Tuning::default(),
            drones: false,
            click_sound: ClickSound::default(),
            reference: ReferencePlan::default(),
            clicks: ClickPlan::default(),
            subdivision: Subdivision::default(),
            stop_rule: true,
            rule: Rule::default(),
            hands_free: false,
            from_memory: false,
            stand: false,
            left_handed: false,
            explain: false,
            staircase: false,
            thresholds: Thresholds::default(),
            by_ear: false,
            headphones: false,
        }
    }
}

/// What the player hears from.
#[derive(Debug, Clone, PartialEq)]
pub enum SoundState {
    /// Nothing is open: nothing plays.
    Closed,
    /// A device plays.
    Sounding {
        /// Its name.
        device: String,
        /// Its rate, frames a second.
        rate: u32,
        /// From computed to heard, milliseconds.
        latency_ms: f64,
    },
    /// Playing goes on without sound.
    Silent {
        /// Why.
        why: String,
    },
}

impl Model {
    /// The program as it begins: the list of drills.
    pub fn new(options: Options) -> Self {
        Self {
            page: Page::Choose,
            over: None,
            over_scroll: 0,
            choose: Choose::default(),
            practising: None,
            pressed: None,
            reached: Vec::new(),
            session: None,
            options,
            words: None,
            notice: None,
            unstored: false,
            sound: SoundState::Closed,
            lateness: Lateness::default(),
            ear: None,
            sent: 0,
            straight: false,
            quit: false,
        }
    }

    /// True while our own chanter sounds where the microphone may hear it too.
    pub fn reference_reaches_the_microphone(&self) -> bool {
        let options = &self.options;
        let level = options.levels.of(Bus::Reference).0;
        let sounds = self.practising.as_ref().is_some_and(|practising| {
            practising.is_playing()
                && practising.heard.as_ref().is_some_and(|place| {
                    let plan = practising.reference(options.reference);
                    !place.counting_in && plan.factor(place.cycle) > 0.0
                })
        });
        let muted = options.levels.muted[Bus::Reference as usize];
        sounds && level > 0.0 && !muted && !options.headphones
    }

    /// True while anything is heard: practice, or what plays once without a mark.
    pub fn is_sounding(&self) -> bool {
        self.practising
            .as_ref()
            .is_some_and(Practising::is_sounding)
    }

    /// True while practice plays, so that the screen has to be drawn again and again.
    pub fn is_moving(&self) -> bool {
        self.practising.as_ref().is_some_and(Practising::is_playing)
    }
}
