//! Care for the player: a gentle reminder after long playing without a break. This module reads no
//! clock: each moment is passed in, in milliseconds of a monotonic clock.

/// A pause of this length counts as a break, in milliseconds. Five minutes, chosen.
const BREAK_MS: i64 = 5 * 60 * 1000;

/// How long playing has gone on without a break.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Care {
    /// How long the player may play without a break before the reminder comes, in milliseconds.
    /// None turns the reminder off.
    pub after_ms: Option<i64>,
    since: Option<i64>,
    last: i64,
    said: bool,
}

impl Care {
    /// Sets the reminder to come after this many minutes of playing; none turns it off.
    pub fn after(minutes: Option<u32>) -> Self {
        Self {
            after_ms: minutes.map(|minutes| i64::from(minutes) * 60_000),
            ..Self::default()
        }
    }

    /// Remembers that the player plays at this moment. Returns the reminder once for each long
    /// stretch of playing.
    pub fn playing(&mut self, now_ms: i64) -> Option<String> {
        if self.since.is_none() || now_ms - self.last >= BREAK_MS {
            self.since = Some(now_ms);
            self.said = false;
        }
        self.last = now_ms;
        let stretch = now_ms - self.since?;
        if self.said || stretch < self.after_ms? {
            return None;
        }
        self.said = true;
        Some(format!(
            "{} minutes without a break: rest the hands for ten; stop before it hurts",
            stretch / 60_000
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A reminder at every bar would be turned off, and none at all would protect nobody.
    #[test]
    fn a_word_is_said_once_for_each_long_stretch() {
        let minute = 60_000;
        let words = |from: i64, to: i64, care: &mut Care| {
            (from..to)
                .filter(|at| care.playing(at * minute).is_some())
                .count()
        };
        let mut care = Care::after(Some(50));
        assert_eq!(words(0, 50, &mut care), 0);
        assert_eq!(words(50, 100, &mut care), 1);
        // after a break of ten minutes the count starts again
        assert_eq!(words(110, 160, &mut care), 0);
        assert_eq!(words(160, 170, &mut care), 1);
        let mut off = Care::after(None);
        assert_eq!(words(0, 500, &mut off), 0);
    }
}
