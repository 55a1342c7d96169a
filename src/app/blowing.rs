//! Blowing evenly: what is heard now, and how it went.

use crate::chanter::Note;
use crate::listening::HeardNow;
use crate::units::{Cents, Hertz, Seconds};
use std::collections::VecDeque;

/// Points of the trail a second.
const TRAIL_RATE: f64 = 5.0;
/// How many points are kept: more than a screen is wide.
const KEPT: usize = 400;
/// Silence of this length is told.
const SILENT: Seconds = Seconds(2.0);
/// Sound without a note is told from this length on: longer than a breath between repetitions. Chosen.
const UNHEARD: Seconds = Seconds(6.0);

/// The page for blowing evenly as it stands.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Blowing {
    /// The microphone's name.
    pub(super) microphone: String,
    /// Low A that the tuning has.
    pub(super) low_a: Hertz,
    /// What is heard now; none before the first sound, or when the microphone has gone.
    pub(super) now: Option<HeardNow>,
    /// A point for each fifth of a second, oldest first: the note and its cents, none in silence.
    pub(super) trail: VecDeque<Option<(Note, Cents)>>,
    /// The longest note held so far.
    pub(super) longest: Seconds,
    /// When the next point is due.
    due: Seconds,
}

/// The fields, to be read; only this room changes them.
impl Blowing {
    /// The microphone's name.
    pub fn microphone(&self) -> &str {
        &self.microphone
    }

    /// Low A that is tuned to.
    pub fn low_a(&self) -> Hertz {
        self.low_a
    }

    /// What is heard now; none before the first sound, or when the microphone has gone.
    pub fn now(&self) -> Option<HeardNow> {
        self.now
    }

    /// Where each fifth of a second lay, oldest first; none in silence.
    pub fn trail(&self) -> &VecDeque<Option<(Note, Cents)>> {
        &self.trail
    }

    /// The longest note held so far.
    pub fn longest(&self) -> Seconds {
        self.longest
    }
}

impl Blowing {
    /// The page at its beginning.
    pub fn new(microphone: String, low_a: Hertz) -> Self {
        Self {
            microphone,
            low_a,
            ..Self::default()
        }
    }

    /// Takes what is heard at a moment of the microphone's stream.
    pub fn hear(&mut self, at: Seconds, now: Option<HeardNow>) {
        self.now = now;
        self.low_a = now.map_or(self.low_a, |now| now.low_a);
        if let Some(held) = now.and_then(|now| now.held) {
            self.longest = self.longest.max(held.length);
        }
        if at < self.due {
            return;
        }
        self.due = at + Seconds(1.0 / TRAIL_RATE);
        let note = now.and_then(|now| now.note);
        self.trail
            .push_back(note.and_then(|(note, off)| Some((note, off?))));
        if self.trail.len() > KEPT {
            self.trail.pop_front();
        }
    }

    /// What is wrong with the sound, in a sentence.
    pub fn trouble(&self) -> Option<&'static str> {
        match self.now {
            None => Some("the microphone gives no sound: is it plugged in?"),
            Some(now) => trouble(now),
        }
    }
}

/// Said where the loudspeaker drowns the player, or might: what is heard cannot be told apart.
pub const DROWNED: &str = "reference in the microphone: m mutes";

/// What is wrong with what the microphone hears, in a sentence.
pub fn trouble(now: HeardNow) -> Option<&'static str> {
    if now.clips {
        Some("the microphone clips: turn it down, or sit further away")
    } else if now.silent > SILENT {
        Some("nothing is heard: is the microphone on, and near?")
    } else if now.unheard > UNHEARD {
        Some("no chanter is heard: is its low A the right one (--la)?")
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listening::HeldNote;
    use crate::units::FullScale;

    fn now(seconds: f64) -> HeardNow {
        HeardNow {
            level: FullScale(-20.0),
            note: Some((Note::LowA, Some(Cents(4.0)))),
            held: Some(HeldNote {
                length: Seconds(seconds),
                cents: Cents(4.0),
                spread: Cents(1.0),
            }),
            clips: false,
            silent: Seconds(0.0),
            unheard: Seconds(0.0),
            low_a: Hertz(238.5),
        }
    }

    /// An hour of blowing keeps what a screen shows and no more; the longest note stands.
    #[test]
    fn the_trail_is_bounded_and_the_longest_note_stands() {
        let mut blowing = Blowing::new("card".to_owned(), Hertz(236.0));
        for step in 0..36_000 {
            let at = f64::from(step) * 0.1;
            blowing.hear(Seconds(at), Some(now(if step == 100 { 30.0 } else { 2.0 })));
        }
        assert_eq!(blowing.trail.len(), KEPT);
        assert_eq!(blowing.longest, Seconds(30.0));
        assert_eq!(blowing.trouble(), None);
        assert_eq!(blowing.low_a, Hertz(238.5), "as it is listened with");
    }

    #[test]
    fn what_is_wrong_is_said() {
        let quiet = HeardNow {
            silent: Seconds(5.0),
            ..now(1.0)
        };
        let loud = HeardNow {
            clips: true,
            ..now(1.0)
        };
        let talk = HeardNow {
            note: None,
            unheard: Seconds(7.0),
            ..now(1.0)
        };
        assert!(trouble(talk).is_some_and(|words| words.contains("no chanter")));
        assert!(trouble(quiet).is_some_and(|words| words.contains("nothing is heard")));
        assert!(trouble(loud).is_some_and(|words| words.contains("clips")));
        let unplugged = Blowing::default();
        assert!(unplugged.trouble().is_some());
    }
}
