//! The page of `hear`: a movement is played, clean or with one fault, and the listener says which.
//!
//! A state machine that two buttons drive: what is pressed and how much time went by come in, what
//! is to be played comes out.

use crate::discrimination::{ENOUGH, Quest, SMALLEST, Spot};
use crate::practice::{Discrimination, Trial};
use crate::units::{Milliseconds, Seconds};
use crate::wording::count;

/// Seconds of silence after an example and at least between two questions, so that two movements
/// are not heard as one.
const AFTER_EXAMPLE_S: f64 = 0.5;
const BETWEEN_S: f64 = 0.2;
/// How many seconds "right" stands before the next movement is played. "Wrong" stands longer,
/// because its words are to be read. Chosen.
const RIGHT_S: f64 = 0.9;
const WRONG_S: f64 = 1.6;
/// Seconds in which a screen reader says what it was; what they are longer than those above does
/// not count as practice. Chosen.
const ALOUD_S: f64 = 3.5;
/// Seconds for which the end is shown before a session goes on: as long as the pause that follows.
/// Chosen.
const OVER_S: f64 = 8.0;
/// At most so many seconds of thinking about a question count: whoever stops to think, or answers
/// the door, does not lose his minute. Chosen.
const THINKING_S: f64 = 4.0;

/// What goes on on the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Asking {
    /// Examples sound: the clean one, then the one with the fault.
    Example {
        /// True where the example that sounds has the fault.
        faulty: bool,
    },
    /// Waits for the beginning.
    Ready,
    /// A movement sounds, or has sounded, and an answer is waited for.
    Question {
        /// The fault's size, none where the movement is clean. It is not to be shown.
        size: Option<Milliseconds>,
    },
    /// The answer was given, and the page says what it was.
    Answered(Trial),
    /// It is over.
    Over,
}

/// One of the two buttons, or the way out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Button {
    /// The right one: clean; begin; once more.
    Right,
    /// The left one: a fault; hear both again; leave at the end.
    Left,
    /// Out, at any time.
    Leave,
}

/// What the shell is to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ToPlay {
    /// Play the movement, with a fault of this size or clean, from its beginning.
    Piece(Option<Milliseconds>),
    /// End what sounds; what was found is to be stored where there is anything.
    Nothing,
    /// Leave the page; what was found is to be stored where there is anything.
    Leave,
}

/// The page as it stands.
#[derive(Debug, Clone)]
pub struct Discriminating {
    /// The drill, its stage and the tempo, in a few words.
    pub(super) title: String,
    /// What is listened for and where.
    pub(super) spot: Spot,
    /// What goes on.
    pub(super) asking: Asking,
    /// Questions and answers so far.
    pub(super) trials: Vec<Trial>,
    /// Seconds that count towards the end.
    pub(super) run: Seconds,
    /// Seconds until the end.
    pub(super) length: Seconds,
    /// The threshold that was found the time before, for comparison.
    pub(super) before: Option<Milliseconds>,
    /// True where a screen reader reads the page: nothing is to sound over it.
    pub(super) read_aloud: bool,
    /// True once the result is stored.
    pub(super) kept: bool,
    /// True where it is part of a session: at its end the session goes on by itself, and the right
    /// button goes on at once.
    pub(super) goes_on: bool,
    quest: Quest,
    random: fastrand::Rng,
    /// Seconds since the present piece began to be heard, or since the answer was given.
    since_s: f64,
    /// Seconds after the answer until the piece has ended and a little silence is over.
    sounds_on_s: f64,
    pub(super) piece_s: f64,
    judged_from_s: f64,
}

/// The fields, to be read; only this room changes them.
impl Discriminating {
    /// The drill, its stage and the tempo, in a few words.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// What is listened for and where.
    pub fn spot(&self) -> &Spot {
        &self.spot
    }

    /// What goes on.
    pub fn asking(&self) -> Asking {
        self.asking
    }

    /// Questions and answers so far.
    pub fn trials(&self) -> &[Trial] {
        &self.trials
    }

    /// Seconds that count towards the end.
    pub fn run(&self) -> Seconds {
        self.run
    }

    /// Seconds until the end.
    pub fn length(&self) -> Seconds {
        self.length
    }

    /// What is said is read aloud: nothing is to sound over it.
    pub fn read_aloud(&self) -> bool {
        self.read_aloud
    }

    /// The same page with the threshold that was found the time before.
    #[must_use]
    pub fn compared_with(self, before: Option<Milliseconds>) -> Self {
        Self { before, ..self }
    }

    /// The same page, read by a screen reader or not.
    #[must_use]
    pub fn aloud(self, read_aloud: bool) -> Self {
        Self { read_aloud, ..self }
    }

    /// Asks for a fault of this size, whatever chance says.
    #[cfg(test)]
    pub(crate) fn ask_for(&mut self, size: Option<Milliseconds>) {
        self.asking = Asking::Question { size };
    }

    /// From now on it is part of a session.
    pub fn join_a_session(&mut self) {
        self.goes_on = true;
    }

    /// Gives the result once, to be stored.
    pub fn take_found(&mut self) -> Option<Discrimination> {
        let found = self.found().filter(|_| !self.kept)?;
        self.kept = true;
        Some(found)
    }
}

impl Discriminating {
    /// The page at its beginning, to last for `length`. `piece` says how long a piece lasts and
    /// from when on it can be judged; `seed` decides which are clean.
    pub fn new(
        title: String,
        spot: Spot,
        length: Seconds,
        piece: (Seconds, Seconds),
        seed: u64,
    ) -> Self {
        Self {
            title,
            quest: Quest::new(SMALLEST, spot.widest),
            spot,
            asking: Asking::Ready,
            trials: Vec::new(),
            run: Seconds(0.0),
            length,
            before: None,
            read_aloud: false,
            kept: false,
            goes_on: false,
            random: fastrand::Rng::with_seed(seed),
            since_s: 0.0,
            sounds_on_s: 0.0,
            piece_s: piece.0.0,
            judged_from_s: piece.1.0,
        }
    }

    /// Begins with the two examples.
    pub fn examples(&mut self) -> ToPlay {
        self.asking = Asking::Example { faulty: false };
        self.since_s = 0.0;
        ToPlay::Piece(None)
    }

    /// A button was pressed.
    pub fn press(&mut self, button: Button) -> Option<ToPlay> {
        match (self.asking, button) {
            (_, Button::Leave) => Some(ToPlay::Leave),
            (Asking::Over, _) if (button == Button::Right) == self.goes_on => Some(ToPlay::Leave),
            (Asking::Example { .. } | Asking::Ready, Button::Right) => Some(self.ask()),
            (Asking::Example { .. } | Asking::Ready, Button::Left) => Some(self.examples()),
            (Asking::Over, _) => {
                self.before = self.found().map(|found| found.threshold);
                self.quest = Quest::new(SMALLEST, self.spot.widest);
                self.trials.clear();
                self.kept = false;
                self.run = Seconds(0.0);
                Some(self.ask())
            }
            (Asking::Question { size }, Button::Right | Button::Left) => {
                // a pedal that is still held down from the answer before does not answer this one
                if self.since_s >= self.judged_from_s {
                    self.answer(Trial {
                        size,
                        said_fault: button == Button::Left,
                    });
                }
                None
            }
            (Asking::Answered(_), _) => None,
        }
    }

    fn ask(&mut self) -> ToPlay {
        let size = self.random.bool().then(|| self.quest.size());
        self.asking = Asking::Question { size };
        self.since_s = 0.0;
        ToPlay::Piece(size)
    }

    fn answer(&mut self, trial: Trial) {
        self.quest.take(trial);
        self.trials.push(trial);
        self.asking = Asking::Answered(trial);
        self.sounds_on_s = (self.piece_s + BETWEEN_S - self.since_s).max(0.0);
        self.since_s = 0.0;
    }

    /// Time went by in which what is to be played was heard.
    pub fn pass(&mut self, by: Seconds) -> Option<ToPlay> {
        let seconds = by.0.max(0.0);
        self.since_s += seconds;
        match self.asking {
            Asking::Over if self.goes_on && self.since_s >= OVER_S => Some(ToPlay::Leave),
            Asking::Ready | Asking::Over => None,
            Asking::Example { faulty } => {
                if self.since_s < self.piece_s + AFTER_EXAMPLE_S {
                    return None;
                }
                self.since_s = 0.0;
                if faulty {
                    self.asking = Asking::Ready;
                    return None;
                }
                self.asking = Asking::Example { faulty: true };
                Some(ToPlay::Piece(Some(self.spot.widest)))
            }
            Asking::Question { .. } => {
                if self.since_s < self.piece_s + THINKING_S {
                    self.run.0 += seconds;
                }
                None
            }
            Asking::Answered(trial) => {
                let shown = if trial.is_right() { RIGHT_S } else { WRONG_S };
                if self.since_s <= shown {
                    self.run.0 += seconds;
                }
                let shown = if self.read_aloud { ALOUD_S } else { shown };
                if self.since_s < shown.max(self.sounds_on_s) {
                    return None;
                }
                if self.run < self.length {
                    return Some(self.ask());
                }
                self.asking = Asking::Over;
                self.since_s = 0.0;
                Some(ToPlay::Nothing)
            }
        }
    }

    /// The result; none where there were too few answers, or where they did not depend on what was
    /// played.
    pub fn found(&self) -> Option<Discrimination> {
        let estimate = self.quest.estimate();
        (self.trials.len() >= ENOUGH && estimate.tells()).then(|| Discrimination {
            difference: self.spot.difference,
            what: self.spot.what.clone(),
            threshold: estimate.threshold,
            low: estimate.low,
            high: estimate.high,
            widest: self.spot.widest,
            trials: self.trials.clone(),
        })
    }

    /// What goes on, in sentences: the same on the screen and in plain lines.
    pub fn says(&self) -> Vec<String> {
        match self.asking {
            Asking::Example { faulty: false } => vec!["This is clean.".to_owned()],
            Asking::Example { faulty: true } => {
                vec![format!("This has the fault: {}.", self.spot.what)]
            }
            Asking::Ready => vec![
                format!("Listen for {}.", self.spot.what),
                "It will be clean as often as not. The fault grows smaller as you hear it."
                    .to_owned(),
            ],
            Asking::Question { .. } => vec!["Clean, or with the fault?".to_owned()],
            Asking::Answered(trial) => {
                let told = self.spot.told(trial.size);
                vec![if trial.is_right() {
                    format!("Right: {told}.")
                } else {
                    format!("No: {told}.")
                }]
            }
            Asking::Over => self.summary(),
        }
    }

    /// The result in plain words.
    fn summary(&self) -> Vec<String> {
        let of = self.trials.len();
        let right = self.trials.iter().filter(|trial| trial.is_right()).count();
        let answers = format!("{right} of {of} answers were right.");
        let Some(found) = self.found() else {
            return vec![if of < ENOUGH {
                format!(
                    "{} too little: it takes {ENOUGH}.",
                    count(of, "answer says", "answers say")
                )
            } else {
                format!("{answers} They do not tell yet what you hear.")
            }];
        };
        if !found.is_heard() {
            return vec![
                format!(
                    "You did not hear {} yet, not even by {:.0} ms.",
                    found.what, found.widest
                ),
                answers,
            ];
        }
        let mut said = vec![
            format!("You hear {}.", self.spot.heard_from(found.threshold)),
            format!(
                "{answers} It lies between {:.0} and {:.0} ms, eight chances in ten.",
                found.low,
                found.high.0.min(found.widest.0)
            ),
        ];
        if let Some(before) = self.before {
            said.push(format!("The time before it was {before:.0} ms."));
        }
        said
    }

    /// What the two buttons do now: left, right.
    pub fn buttons(&self) -> (&'static str, &'static str) {
        match self.asking {
            Asking::Example { .. } | Asking::Ready => ("both again", "begin"),
            Asking::Question { .. } | Asking::Answered(_) => ("fault", "clean"),
            Asking::Over if self.goes_on => ("once more", "go on"),
            Asking::Over => ("leave", "once more"),
        }
    }
}
