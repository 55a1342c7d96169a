//! Blowing evenly: what is heard now, and how it went.

use crate::chanter::Note;
use crate::listening::HeardNow;
use std::collections::VecDeque;

/// Points of the trail a second.
const TRAIL_RATE: f64 = 5.0;
/// Points that are kept: more than a screen is wide.
const KEPT: usize = 400;
/// Silence of this length is told, seconds.
const SILENT_S: f64 = 2.0;
/// So long of sound without a note, seconds: longer than a breath between repetitions. Chosen.
const UNHEARD_S: f64 = 6.0;

/// The page for blowing evenly as it stands.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Blowing {
    /// The microphone's name.
    pub microphone: String,
    /// Low A that is tuned to, hertz.
    pub low_a: f64,
    /// What is heard now; none before the first sound, or when the microphone has gone.
    pub now: Option<HeardNow>,
    /// Where each fifth of a second lay, oldest first: cents, none in silence.
    pub trail: VecDeque<Option<(Note, f64)>>,
    /// The longest note held so far, seconds.
    pub longest_s: f64,
    /// When the next point is due, seconds.
    due: f64,
}

impl Blowing {
    /// At its beginning.
    pub fn new(microphone: String, low_a: f64) -> Self {
        Self {
            microphone,
            low_a,
            ..Self::default()
        }
    }

    /// Takes what is heard at a moment, seconds of the microphone's stream.
    pub fn hear(&mut self, seconds: f64, now: Option<HeardNow>) {
        self.now = now;
        self.low_a = now.map_or(self.low_a, |now| now.low_a);
        if let Some(held) = now.and_then(|now| now.held) {
            self.longest_s = self.longest_s.max(held.seconds);
        }
        if seconds < self.due {
            return;
        }
        self.due = seconds + 1.0 / TRAIL_RATE;
        let note = now.and_then(|now| now.note);
        self.trail
            .push_back(note.and_then(|(note, off)| Some((note, off?.0))));
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
    } else if now.silent_s > SILENT_S {
        Some("nothing is heard: is the microphone on, and near?")
    } else if now.unheard_s > UNHEARD_S {
        Some("no chanter is heard: is its low A the right one (--la)?")
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listening::HeldNote;
    use crate::units::Cents;

    fn now(seconds: f64) -> HeardNow {
        HeardNow {
            level: -20.0,
            note: Some((Note::LowA, Some(Cents(4.0)))),
            held: Some(HeldNote {
                seconds,
                cents: Cents(4.0),
                spread: 1.0,
            }),
            clips: false,
            silent_s: 0.0,
            unheard_s: 0.0,
            low_a: 238.5,
        }
    }

    /// An hour of blowing keeps what a screen shows and no more; the longest note stands.
    #[test]
    fn the_trail_is_bounded_and_the_longest_note_stands() {
        let mut blowing = Blowing::new("card".to_owned(), 236.0);
        for step in 0..36_000 {
            let at = f64::from(step) * 0.1;
            blowing.hear(at, Some(now(if step == 100 { 30.0 } else { 2.0 })));
        }
        assert_eq!(blowing.trail.len(), KEPT);
        assert_eq!(blowing.longest_s, 30.0);
        assert_eq!(blowing.trouble(), None);
        assert_eq!(blowing.low_a, 238.5, "as it is listened with");
    }

    #[test]
    fn what_is_wrong_is_said() {
        let quiet = HeardNow {
            silent_s: 5.0,
            ..now(1.0)
        };
        let loud = HeardNow {
            clips: true,
            ..now(1.0)
        };
        let talk = HeardNow {
            note: None,
            unheard_s: 7.0,
            ..now(1.0)
        };
        assert!(trouble(talk).is_some_and(|words| words.contains("no chanter")));
        assert!(trouble(quiet).is_some_and(|words| words.contains("nothing is heard")));
        assert!(trouble(loud).is_some_and(|words| words.contains("clips")));
        let unplugged = Blowing::default();
        assert!(unplugged.trouble().is_some());
    }
}
