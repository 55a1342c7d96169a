//! The page of `hear`: a movement is played, either clean or with one fault, and the listener says
//! which of the two it was.
//!
//! It is a state machine that two buttons drive. Button presses and elapsed time go in; what the
//! shell is to play comes out.

use crate::discrimination::{ENOUGH, Quest, SMALLEST, Spot};
use crate::practice::{Discrimination, Trial};
use crate::units::{Milliseconds, Seconds};
use crate::wording::count;

/// Seconds of silence after an example, and the least silence between two questions, so that two
/// movements are not heard as one.
const AFTER_EXAMPLE_S: f64 = 0.5;
const BETWEEN_S: f64 = 0.2;
/// How many seconds the answer "right" is shown before the next movement. "Wrong" is shown longer,
/// because its explanation is to be read. Chosen.
const RIGHT_S: f64 = 0.9;
const WRONG_S: f64 = 1.6;
/// How many seconds an answer is shown where a screen reader reads it aloud. The time beyond
/// `RIGHT_S` or `WRONG_S` does not count as practice. Chosen.
const ALOUD_S: f64 = 3.5;
/// How many seconds the end is shown before a session goes on. It is as long as the pause between
/// two parts of a session. Chosen.
const OVER_S: f64 = 8.0;
/// The longest time for one question, in seconds, that counts towards the end, so that a listener
/// who stops to think or answers the door keeps the rest of the minute. Chosen.
const THINKING_S: f64 = 4.0;

/// The state of the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Asking {
    /// The two examples sound: first the clean one, then the one with the fault.
    Example {
        /// True where the example that sounds has the fault.
        faulty: bool,
    },
    /// The page waits for the listener to begin.
    Ready,
    /// A movement sounds or has sounded, and the page waits for the answer.
    Question {
        /// The fault's size; none where the movement is clean. The page must not show it.
        size: Option<Milliseconds>,
    },
    /// The answer was given, and the page says what it was.
    Answered(Trial),
    /// The questions are over.
    Over,
}

/// One of the two buttons, or the way out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Button {
    /// The right button: answers "clean", begins, or starts once more at the end.
    Right,
    /// The left button: answers "a fault", plays both examples again, or leaves at the end.
    Left,
    /// Leaves the page at any time.
    Leave,
}

/// What the shell is to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ToPlay {
    /// Play the movement, with a fault of this size or clean, from its beginning.
    Piece(Option<Milliseconds>),
    /// Stop what sounds, and store the result where there is one.
    Nothing,
    /// Leave the page, and store the result where there is one.
    Leave,
}

/// The state of the page.
#[derive(Debug, Clone)]
pub struct Discriminating {
    /// The drill, its stage and the tempo, in a few words.
    pub(super) title: String,
    /// The place in the music that is listened to, and the kind of fault.
    pub(super) spot: Spot,
    /// The state of the page.
    pub(super) asking: Asking,
    /// The questions so far with their answers, oldest first.
    pub(super) trials: Vec<Trial>,
    /// Seconds so far that count towards the end.
    pub(super) run: Seconds,
    /// Seconds that the whole run takes.
    pub(super) length: Seconds,
    /// The threshold that was found in the run before, for comparison.
    pub(super) before: Option<Milliseconds>,
    /// True where a screen reader reads the page aloud, so that nothing may sound over it.
    pub(super) read_aloud: bool,
    /// True once the result is stored.
    pub(super) kept: bool,
    /// True where the page is part of a session. At its end the session goes on by itself, and the
    /// right button goes on at once.
    pub(super) goes_on: bool,
    quest: Quest,
    random: fastrand::Rng,
    /// Seconds since the present piece was first heard, or since the answer was given.
    since_s: f64,
    /// Seconds from the answer until the piece has ended and a short silence has passed.
    sounds_on_s: f64,
    pub(super) piece_s: f64,
    judged_from_s: f64,
}

/// Read access to the fields. Only this room changes them.
impl Discriminating {
    /// The drill, its stage and the tempo, in a few words.
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The place in the music that is listened to, and the kind of fault.
    pub fn spot(&self) -> &Spot {
        &self.spot
    }

    /// The state of the page.
    pub fn asking(&self) -> Asking {
        self.asking
    }

    /// The questions so far with their answers, oldest first.
    pub fn trials(&self) -> &[Trial] {
        &self.trials
    }

    /// Seconds so far that count towards the end.
    pub fn run(&self) -> Seconds {
        self.run
    }

    /// Seconds that the whole run takes.
    pub fn length(&self) -> Seconds {
        self.length
    }

    /// True where a screen reader reads the page aloud, so that nothing may sound over it.
    pub fn read_aloud(&self) -> bool {
        self.read_aloud
    }

    /// The same page with the threshold of the run before.
    #[must_use]
    pub fn compared_with(self, before: Option<Milliseconds>) -> Self {
        Self { before, ..self }
    }

    /// The same page, marked as read aloud by a screen reader or not.
    #[must_use]
    pub fn aloud(self, read_aloud: bool) -> Self {
        Self { read_aloud, ..self }
    }

    /// Makes the next question one with this fault, instead of a random one.
    #[cfg(test)]
    pub(crate) fn ask_for(&mut self, size: Option<Milliseconds>) {
        self.asking = Asking::Question { size };
    }

    /// Makes the page part of a session.
    pub fn join_a_session(&mut self) {
        self.goes_on = true;
    }

    /// Returns the result the first time it is asked for, so that it is stored once.
    pub fn take_found(&mut self) -> Option<Discrimination> {
        let found = self.found().filter(|_| !self.kept)?;
        self.kept = true;
        Some(found)
    }
}

impl Discriminating {
    /// The page at its beginning. `length` is how long the run lasts in seconds. `piece` says how
    /// long a piece lasts and from when on it can be judged. `seed` decides which pieces are clean.
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

    /// Starts the two examples.
    pub fn examples(&mut self) -> ToPlay {
        self.asking = Asking::Example { faulty: false };
        self.since_s = 0.0;
        ToPlay::Piece(None)
    }

    /// Handles a button and returns what the shell is to play, if anything changes.
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
                // a pedal that is still held down from the answer before must not answer this
                // question
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

    /// Lets seconds go by in which the piece was audible. Returns what the shell is to play next,
    /// if anything changes.
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

    /// The result; none where there were too few answers, or where the answers did not depend on
    /// what was played.
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

    /// The state of the page in sentences, which are the same on the screen and in plain lines.
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

    /// What the left and the right button do now, in that order.
    pub fn buttons(&self) -> (&'static str, &'static str) {
        match self.asking {
            Asking::Example { .. } | Asking::Ready => ("both again", "begin"),
            Asking::Question { .. } | Asking::Answered(_) => ("fault", "clean"),
            Asking::Over if self.goes_on => ("once more", "go on"),
            Asking::Over => ("leave", "once more"),
        }
    }
}
