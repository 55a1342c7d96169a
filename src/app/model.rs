//! The state of the program.

use super::choose::Choose;
use super::lateness::Lateness;
use super::notice::{Notice, Others};
use super::options::Options;
use super::practising::Practising;
use super::session::Session;
use super::words::Words;
use crate::listening::HeardNow;
use crate::practice::Mark;
use crate::sound::Bus;

/// The whole program.
#[derive(Debug, Clone)]
pub struct Model {
    /// The page shown.
    pub(super) page: Page,
    /// The page of text that lies over it, to be read.
    pub(super) over: Option<Overlay>,
    /// Rows of that scrolled past.
    pub(super) over_scroll: u16,
    /// The list of drills.
    pub(super) choose: Choose,
    /// The drill that is practised.
    pub(super) practising: Option<Practising>,
    /// A press took the next of what is offered, and that is still to be done.
    pub(super) chosen: Option<Mark>,
    /// The last press that says clean or not clean, and when: one that is held on repeats.
    pub(super) pressed: Option<(Mark, i64)>,
    /// Homework files whose goal was reached since the program began.
    pub(super) reached: Vec<String>,
    /// The session that runs, if one does.
    pub(super) session: Option<Session>,
    /// What the player chose for sound and picture.
    pub(super) options: Options,
    /// The words that the player is writing; meanwhile letters are no keys.
    pub(super) words: Option<Words>,
    /// The last sentence for the player.
    pub(super) notice: Option<Notice>,
    /// Marks of another window that the player was not told of yet.
    pub(super) others: Others,
    /// Some marks are not in the journal yet.
    pub(super) unstored: bool,
    /// The device, or none.
    pub(super) sound: SoundState,
    /// When the computer was late with the sound.
    pub(super) lateness: Lateness,
    /// What the microphone hears now; none while nobody listens.
    pub(super) ear: Option<HeardNow>,
    /// How many timelines were sent to the player: the serial of the last.
    pub(super) sent: u64,
    /// The program was started with a drill: leaving its page leaves the program.
    pub(super) straight: bool,
    /// A session was left that goes on the same day.
    pub(super) left_session: bool,
    /// The program is to end.
    pub(super) quit: bool,
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

/// A page of text that lies over another, to be read and closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overlay {
    /// The keys of the page.
    Keys,
    /// The movement the drill takes apart, explained in full.
    Movement,
    /// What keeps the marked drill from being played, every problem with its line.
    Problems,
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
        /// Latency from computing to hearing, milliseconds.
        latency_ms: f64,
    },
    /// Playing goes on without sound.
    Silent {
        /// Why.
        why: String,
    },
}

/// The fields, to be read; only this room changes them.
impl Model {
    /// The page shown.
    pub fn page(&self) -> Page {
        self.page
    }

    /// What is read over it.
    pub fn over(&self) -> Option<Overlay> {
        self.over
    }

    /// Rows of that scrolled past.
    pub fn over_scroll(&self) -> u16 {
        self.over_scroll
    }

    /// The list of drills.
    pub fn choose(&self) -> &Choose {
        &self.choose
    }

    /// The drill that is practised.
    pub fn practising(&self) -> Option<&Practising> {
        self.practising.as_ref()
    }

    /// True where the program was begun for one drill or a session, and leaving that ends it.
    pub fn is_straight(&self) -> bool {
        self.straight
    }

    /// True where the last session was left before its end.
    pub fn left_session(&self) -> bool {
        self.left_session
    }

    /// Homework files whose goal was reached since the program began.
    pub fn reached(&self) -> &[String] {
        &self.reached
    }

    /// The session that runs, if one does.
    pub fn session(&self) -> Option<&Session> {
        self.session.as_ref()
    }

    /// What the player chose for sound and picture.
    pub fn options(&self) -> &Options {
        &self.options
    }

    /// What the player is writing; then letters are letters.
    pub fn words(&self) -> Option<&Words> {
        self.words.as_ref()
    }

    /// The last sentence for the player.
    pub fn notice(&self) -> Option<&Notice> {
        self.notice.as_ref()
    }

    /// Some marks are not in the journal yet.
    pub fn unstored(&self) -> bool {
        self.unstored
    }

    /// The device, or none.
    pub fn sound(&self) -> &SoundState {
        &self.sound
    }

    /// What the microphone hears now; none while nobody listens.
    pub fn ear(&self) -> Option<HeardNow> {
        self.ear
    }

    /// How many timelines were sent to the player: the serial of the last.
    pub fn sent(&self) -> u64 {
        self.sent
    }

    /// The program is to end.
    pub fn quit(&self) -> bool {
        self.quit
    }
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
            chosen: None,
            pressed: None,
            reached: Vec::new(),
            session: None,
            options,
            words: None,
            notice: None,
            others: Others::default(),
            unstored: false,
            sound: SoundState::Closed,
            lateness: Lateness::default(),
            ear: None,
            sent: 0,
            straight: false,
            left_session: false,
            quit: false,
        }
    }

    /// The program that was started with a drill or a session: leaving its page leaves the program.
    pub fn straight(options: Options) -> Self {
        Self {
            straight: true,
            ..Self::new(options)
        }
    }

    /// A page with what may lie over it, whatever led there.
    #[cfg(test)]
    pub(crate) fn showing(page: Page, over: Option<Overlay>, words: Option<Words>) -> Self {
        Self {
            page,
            over,
            words,
            ..Self::new(Options::default())
        }
    }

    /// The drill that is practised after a repetition whose tones were shaped like this.
    #[cfg(test)]
    pub(crate) fn shape_tones(&mut self, shape: &[crate::practice::ToneShape]) {
        if let Some(practising) = &mut self.practising {
            practising.shape = shape.to_vec();
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
