//! The page for blowing evenly: what the microphone hears now, and how steady it has been.

use crate::chanter::Note;
use crate::listening::HeardNow;
use crate::units::{Cents, Hertz, Seconds};
use std::collections::VecDeque;

/// Points that are added to the trail per second.
const TRAIL_RATE: f64 = 5.0;
/// How many points of the trail are kept. This is more than a screen is wide.
const KEPT: usize = 400;
/// The page reports a silence that lasts this long.
const SILENT: Seconds = Seconds(2.0);
/// The page reports sound in which no note is recognised once it lasts this long. It is longer than
/// a breath between repetitions. Chosen.
const UNHEARD: Seconds = Seconds(6.0);

/// The state of the page for blowing evenly.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Blowing {
    /// The microphone's name.
    pub(super) microphone: String,
    /// The frequency of low A in the player's tuning.
    pub(super) low_a: Hertz,
    /// What is heard now; none before the first sound and after the microphone is disconnected.
    pub(super) now: Option<HeardNow>,
    /// One point for each fifth of a second, oldest first: the note and its deviation in cents.
    /// None is silence.
    pub(super) trail: VecDeque<Option<(Note, Cents)>>,
    /// How long the longest note so far was held.
    pub(super) longest: Seconds,
    /// When the next point of the trail is due, in the microphone stream's time.
    due: Seconds,
}

/// Read access to the fields. Only this room changes them.
impl Blowing {
    /// The microphone's name.
    pub fn microphone(&self) -> &str {
        &self.microphone
    }

    /// The frequency of low A in the player's tuning.
    pub fn low_a(&self) -> Hertz {
        self.low_a
    }

    /// What is heard now; none before the first sound and after the microphone is disconnected.
    pub fn now(&self) -> Option<HeardNow> {
        self.now
    }

    /// One point for each fifth of a second, oldest first: the note and its deviation in cents.
    /// None is silence.
    pub fn trail(&self) -> &VecDeque<Option<(Note, Cents)>> {
        &self.trail
    }

    /// How long the longest note so far was held.
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

    /// Takes what is heard at time `at` of the microphone stream.
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

/// The warning where the loudspeaker drowns the player, or may do so: the microphone cannot tell
/// the player from the reference.
pub const DROWNED: &str = "reference in the microphone: m mutes";

/// The sentence that says what is wrong with the microphone's signal; none where it is usable.
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

    /// After an hour of blowing the trail holds no more points than a screen shows, and the longest
    /// note is still known.
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
