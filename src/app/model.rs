//! The whole state of the program.

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
    /// The page that is shown.
    pub(super) page: Page,
    /// The overlay: a page of text that lies over the page, to be read.
    pub(super) over: Option<Overlay>,
    /// How many rows of the overlay are scrolled past.
    pub(super) over_scroll: u16,
    /// The list of drills.
    pub(super) choose: Choose,
    /// The drill that is practised.
    pub(super) practising: Option<Practising>,
    /// The offer that the last press took, until it is carried out: clean takes the next offer, not
    /// clean the easier cell.
    pub(super) chosen: Option<Mark>,
    /// The last press for clean or not clean, and its moment in milliseconds, to recognise a key
    /// that is held down and repeats.
    pub(super) pressed: Option<(Mark, i64)>,
    /// Homework files whose goal was reached since the program began.
    pub(super) reached: Vec<String>,
    /// The session that runs, if one does.
    pub(super) session: Option<Session>,
    /// What the player chose for sound and picture.
    pub(super) options: Options,
    /// The text that the player is writing. While there is one, letter keys add to it.
    pub(super) words: Option<Words>,
    /// The last notice to the player.
    pub(super) notice: Option<Notice>,
    /// Marks from another window that were not announced yet.
    pub(super) others: Others,
    /// True while some marks are not stored in the journal yet.
    pub(super) unstored: bool,
    /// The audio device, if one is open.
    pub(super) sound: SoundState,
    /// The recent underruns.
    pub(super) lateness: Lateness,
    /// What the microphone hears now; none while it is closed.
    pub(super) ear: Option<HeardNow>,
    /// The number of timelines sent to the player so far. It is the serial number of the last one.
    pub(super) sent: u64,
    /// True where the program was started with a drill or a session, so that leaving its page ends
    /// the program.
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
    /// The session's page: shown between two parts and after the last part.
    Session,
}

/// A page of text that lies over another, to be read and closed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Overlay {
    /// The keys of the page.
    Keys,
    /// The full explanation of the movement that the drill practises.
    Movement,
    /// Every problem that prevents playing the marked drill, each with its line in the file.
    Problems,
}

/// Where the sound goes.
#[derive(Debug, Clone, PartialEq)]
pub enum SoundState {
    /// No device is open, and nothing plays.
    Closed,
    /// A device is open and plays.
    Sounding {
        /// The device's name.
        device: String,
        /// The sample rate, in frames a second.
        rate: u32,
        /// The latency from rendering to hearing, in milliseconds.
        latency_ms: f64,
    },
    /// Practice goes on without sound.
    Silent {
        /// The reason why there is no sound.
        why: String,
    },
}

/// Read access to the fields. Only this room changes them.
impl Model {
    /// The page that is shown.
    pub fn page(&self) -> Page {
        self.page
    }

    /// The overlay that lies over the page; none where the page itself is read.
    pub fn over(&self) -> Option<Overlay> {
        self.over
    }

    /// How many rows of the overlay are scrolled past.
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

    /// The text that the player is writing. While there is one, letter keys add to it.
    pub fn words(&self) -> Option<&Words> {
        self.words.as_ref()
    }

    /// The last notice to the player.
    pub fn notice(&self) -> Option<&Notice> {
        self.notice.as_ref()
    }

    /// True while some marks are not stored in the journal yet.
    pub fn unstored(&self) -> bool {
        self.unstored
    }

    /// The audio device, if one is open.
    pub fn sound(&self) -> &SoundState {
        &self.sound
    }

    /// What the microphone hears now; none while it is closed.
    pub fn ear(&self) -> Option<HeardNow> {
        self.ear
    }

    /// The number of timelines sent to the player so far. It is the serial number of the last one.
    pub fn sent(&self) -> u64 {
        self.sent
    }

    /// True once the program is to end.
    pub fn quit(&self) -> bool {
        self.quit
    }
}

impl Model {
    /// The program at its start, on the list of drills.
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

    /// The program as started with a drill or a session: leaving its page ends the program.
    pub fn straight(options: Options) -> Self {
        Self {
            straight: true,
            ..Self::new(options)
        }
    }

    /// A model on this page, with this overlay and this text being written, for tests.
    #[cfg(test)]
    pub(crate) fn showing(page: Page, over: Option<Overlay>, words: Option<Words>) -> Self {
        Self {
            page,
            over,
            words,
            ..Self::new(Options::default())
        }
    }

    /// Sets the tone shapes of the repetition judged last, for tests.
    #[cfg(test)]
    pub(crate) fn shape_tones(&mut self, shape: &[crate::practice::ToneShape]) {
        if let Some(practising) = &mut self.practising {
            practising.shape = shape.to_vec();
        }
    }

    /// True while the reference sounds at a level that the microphone may hear too.
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

    /// True while practice or a demonstration sounds.
    pub fn is_sounding(&self) -> bool {
        self.practising
            .as_ref()
            .is_some_and(Practising::is_sounding)
    }

    /// True while practice plays, so that the screen must be redrawn all the time.
    pub fn is_moving(&self) -> bool {
        self.practising.as_ref().is_some_and(Practising::is_playing)
    }
}
