//! Notices when the computer delivers sound too late again and again (underruns). This module knows
//! no clock and no device: each moment is passed in, in milliseconds of a monotonic clock.

/// Underruns within this many milliseconds count as one burst, because one busy moment causes
/// several. Chosen.
const BURST_MS: i64 = 1000;
/// This many bursts within [`SPAN_MS`] ask for a larger buffer.
const TOO_OFTEN: usize = 3;
/// The time in which bursts are counted, in milliseconds: a minute.
const SPAN_MS: i64 = 60_000;

/// The moments of recent underruns.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Lateness {
    /// The beginning of each burst that counts, in milliseconds.
    moments: Vec<i64>,
    /// The last underrun, counted or not, in milliseconds. A burst lasts as long as each underrun
    /// follows the one before closely enough.
    last: Option<i64>,
}

impl Lateness {
    /// Takes an underrun at this moment. Returns true where there were too many bursts within a
    /// minute; counting then starts again.
    pub fn late(&mut self, now_ms: i64) -> bool {
        self.moments.retain(|moment| now_ms - moment < SPAN_MS);
        let last = self.last.replace(now_ms);
        if last.is_some_and(|last| now_ms - last < BURST_MS) {
            return false;
        }
        self.moments.push(now_ms);
        let often = self.moments.len() >= TOO_OFTEN;
        if often {
            self.moments.clear();
        }
        often
    }

    /// Announces underruns that have a known cause, such as a program that was suspended. Neither
    /// they nor the rest of their burst count.
    pub fn known(&mut self, now_ms: i64) {
        self.last = Some(now_ms);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A buffer that grew at each underrun would become slow without need. One that never grew
    /// would spoil one repetition after the other.
    #[test]
    fn three_in_a_minute_are_too_often() {
        let mut lateness = Lateness::default();
        let told = [0, 300, 30_000, 61_000, 62_500, 64_000, 70_000].map(|at| lateness.late(at));
        assert_eq!(told, [false, false, false, false, true, false, false]);
        assert!(lateness.late(80_000), "counted anew");
    }

    /// Without this rule one busy moment would ask for a larger buffer, and ask again while it
    /// lasts.
    #[test]
    fn a_burst_is_one_lateness_however_long_it_lasts() {
        let mut lateness = Lateness::default();
        let burst = |from: i64| (from..from + 5000).step_by(100);
        let mut told = |from: i64| burst(from).filter(|at| lateness.late(*at)).count();
        assert_eq!([0, 10_000, 20_000, 30_000].map(&mut told), [0, 0, 1, 0]);
    }

    /// Without this rule pressing Ctrl-Z three times in a minute would ask for a larger buffer.
    #[test]
    fn what_is_known_does_not_count() {
        let mut lateness = Lateness::default();
        for at in [10_000, 20_000, 30_000, 40_000] {
            lateness.known(at);
            assert!(!lateness.late(at + 5) && !lateness.late(at + 900));
        }
        assert_eq!(
            [50_000, 60_000, 70_000].map(|at| lateness.late(at)),
            [false, false, true]
        );
    }
}
