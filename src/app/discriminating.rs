//! Hear the difference: a movement is played, clean or with one fault, and the listener says which.
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
/// Seconds that "right" stands before the next one is played, and seconds for "wrong", which is to
/// be read. Chosen.
const RIGHT_S: f64 = 0.9;
const WRONG_S: f64 = 1.6;
/// Seconds for a screen reader to say what it was; these do not count beyond those above. Chosen.
const ALOUD_S: f64 = 3.5;
/// Seconds that the end is shown before a session goes on: as long as the pause that follows. Chosen.
const OVER_S: f64 = 8.0;
/// Seconds of thinking about one question that count: who stops to think, or answers the door, does
/// not lose the minute. Chosen.
const THINKING_S: f64 = 4.0;

/// What goes on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Asking {
    /// Examples sound: the clean one, then the one with the fault.
    Example {
        /// This one has the fault.
        faulty: bool,
    },
    /// Waits for the beginning.
    Ready,
    /// A movement sounds, or has sounded, and an answer is waited for.
    Question {
        /// The fault's size, none where it is clean. Not to be shown.
        size: Option<Milliseconds>,
    },
    /// What it was.
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
    /// Leave the page; likewise.
    Leave,
}

/// The page as it stands.
#[derive(Debug, Clone)]
pub struct Discriminating {
    /// The drill, its stage and the tempo, in a few words.
    pub title: String,
    /// What is listened for and where.
    pub spot: Spot,
    /// What goes on.
    pub asking: Asking,
    /// Questions and answers so far.
    pub trials: Vec<Trial>,
    /// Seconds that count towards the end.
    pub run: Seconds,
    /// Seconds until the end.
    pub length: Seconds,
    /// What it came to the time before, milliseconds, for comparison.
    pub before: Option<Milliseconds>,
    /// What is said is read aloud: nothing is to sound over it.
    pub read_aloud: bool,
    /// What was found is stored.
    pub kept: bool,
    /// It is part of a session: at its end it goes on by itself, and the right button goes on at once.
    pub goes_on: bool,
    quest: Quest,
    random: fastrand::Rng,
    /// Seconds since what sounds began to be heard, or the answer was given.
    since_s: f64,
    /// Seconds after the answer until the piece has ended and a little silence is over.
    sounds_on_s: f64,
    piece_s: f64,
    judged_from_s: f64,
}

impl Discriminating {
    /// At its beginning, for so long. The piece lasts so long and can be judged from so far
    /// in it on. The seed says which are clean.
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
                // A pedal still held down from the answer before is none to this one.
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

    /// What it came to; nothing of too few answers, or of answers that did not depend on what was
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

    /// The end in plain words.
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{built_in, read};
    use crate::practice::Difference;
    use crate::timeline::{Layout, lay};
    use crate::units::{Beats, Bpm, SampleRate};

    /// The unlike low Gs of the grip from D at 80, a piece of a second and a half.
    pub(crate) fn page(length_s: f64) -> Discriminating {
        let file = built_in("grip-from-d").expect("built in");
        let drill = read(file.text.as_bytes()).0.expect("it reads");
        let music = &drill.stages.last().expect("a stage").music;
        let score = crate::score::resolve_music(music, Beats::ZERO, &drill.schools);
        let tempo = Bpm::whole(80).expect("a tempo");
        let timeline = lay(&score, &Layout::at(tempo, SampleRate::USUAL));
        let wanted = drill.movement.as_ref().map(|line| line.movement);
        let spot = crate::discrimination::spots(&score, &timeline, wanted)
            .into_iter()
            .find(|spot| spot.difference == Difference::Unlike)
            .expect("two low Gs");
        Discriminating::new(
            "Grip from D · 80".to_owned(),
            spot,
            Seconds(length_s),
            (Seconds(1.5), Seconds(0.75)),
            3,
        )
    }

    /// Plays a listener who hears everything from 15 ms on; gives how often something was played.
    fn listen(page: &mut Discriminating) -> usize {
        let mut played = 0;
        for _ in 0..60_000 {
            if let Asking::Question { size } = page.asking {
                let faulty = size.is_some_and(|size| size >= Milliseconds(15.0));
                let button = if faulty { Button::Left } else { Button::Right };
                assert_eq!(page.press(button), None);
            }
            match page.pass(Seconds(0.05)) {
                Some(ToPlay::Nothing) => return played,
                Some(ToPlay::Piece(_)) => played += 1,
                Some(ToPlay::Leave) => panic!("nobody left"),
                None => {}
            }
        }
        panic!("it never ended: {:?}", page.asking);
    }

    /// The whole way with two buttons: the examples, a minute, the end, once more, and out.
    #[test]
    fn two_buttons_do_all() {
        let mut page = page(60.0);
        assert_eq!(page.examples(), ToPlay::Piece(None));
        let mut pieces = Vec::new();
        while page.asking != Asking::Ready {
            pieces.extend(page.pass(Seconds(0.1)));
        }
        assert_eq!(pieces, [ToPlay::Piece(Some(page.spot.widest))]);
        assert_eq!(
            page.press(Button::Left),
            Some(ToPlay::Piece(None)),
            "hear both again"
        );
        assert!(
            matches!(page.press(Button::Right), Some(ToPlay::Piece(_))),
            "begin"
        );
        listen(&mut page);
        assert_eq!(page.asking, Asking::Over);
        let found = page.found().expect("a minute is enough");
        assert!((9.0..25.0).contains(&found.threshold.0), "{found:?}");
        assert!(
            page.says()[0].starts_with("You hear an unlike pair from"),
            "{:?}",
            page.says()
        );
        assert!(
            matches!(page.press(Button::Right), Some(ToPlay::Piece(_))),
            "once more"
        );
        assert_eq!(page.trials, []);
        assert_eq!(page.before, Some(found.threshold));
        listen(&mut page);
        assert_eq!(page.press(Button::Left), Some(ToPlay::Leave));
    }

    /// A minute holds as many questions as the figures of the search are told for.
    #[test]
    fn a_minute_is_a_minute_and_longer_is_longer() {
        let mut minute = page(60.0);
        let _ = minute.press(Button::Right);
        listen(&mut minute);
        // An answer as soon as the movement has landed: 0.8 s, and 0.9 s to read.
        assert!((60.0..63.0).contains(&minute.run.0), "{}", minute.run);
        assert!(minute.trials.len() >= 18, "{}", minute.trials.len());
        let mut five = page(300.0);
        let _ = five.press(Button::Right);
        listen(&mut five);
        assert!(five.trials.len() >= 4 * minute.trials.len());
    }

    /// A pedal that bounces, or is held down, must not answer a movement that was not heard yet, nor
    /// a listener who thinks long lose the minute.
    #[test]
    fn an_answer_before_the_landing_is_none_and_thinking_is_free() {
        let mut page = page(60.0);
        let _ = page.press(Button::Right);
        assert_eq!(page.press(Button::Left), None);
        let _ = page.pass(Seconds(0.7));
        assert_eq!(page.press(Button::Left), None);
        assert_eq!(page.trials, []);
        for _ in 0..10_000 {
            let _ = page.pass(Seconds(0.1));
        }
        assert!(page.run.0 < 6.0, "{}", page.run);
        assert_eq!(page.press(Button::Left), None);
        assert_eq!(page.trials.len(), 1);
        assert_eq!(page.press(Button::Left), None, "the answer is being read");
        assert_eq!(page.trials.len(), 1);
    }

    /// A quick answer at a slow tempo must not cut off the end of what sounds.
    #[test]
    fn the_next_one_waits_until_this_one_has_ended() {
        let mut page = page(60.0);
        page.piece_s = 4.0;
        let _ = page.press(Button::Right);
        let _ = page.pass(Seconds(1.0));
        assert_eq!(page.press(Button::Right), None);
        let mut waited = 0.0;
        while page.pass(Seconds(0.1)).is_none() {
            waited += 0.1;
        }
        assert!((3.0..3.3).contains(&waited), "{waited}");
    }

    /// Few answers say nothing, and nobody is told an ear that was not measured.
    #[test]
    fn leaving_early_finds_nothing() {
        let mut page = page(60.0);
        let _ = page.press(Button::Right);
        let _ = page.pass(Seconds(1.0));
        let _ = page.press(Button::Right);
        assert_eq!(page.press(Button::Leave), Some(ToPlay::Leave));
        assert_eq!(page.found(), None);
    }

    /// Clean and faulty come as often, in no pattern that could be learned from the answers.
    #[test]
    fn half_of_them_are_clean() {
        let mut page = page(1200.0);
        let _ = page.press(Button::Right);
        listen(&mut page);
        let faulty = page.trials.iter().filter(|trial| trial.size.is_some());
        let share = faulty.count() as f64 / page.trials.len() as f64;
        assert!(
            (0.43..0.57).contains(&share),
            "{share} of {}",
            page.trials.len()
        );
        let changes = page
            .trials
            .windows(2)
            .filter(|pair| pair[0].size.is_some() != pair[1].size.is_some())
            .count() as f64;
        let share = changes / page.trials.len() as f64;
        assert!((0.43..0.57).contains(&share), "{share}");
    }
}
