//! Notices that the computer is late with the sound again and again. Knows no clock and no device:
//! moments come in milliseconds on a clock that never goes back.

/// Gaps within this time count as one lateness, milliseconds: a busy moment makes several. Chosen.
const BURST_MS: i64 = 1000;
/// So many within [`SPAN_MS`] ask for a larger buffer.
const TOO_OFTEN: usize = 3;
/// The time in which they are counted: a minute, in milliseconds.
const SPAN_MS: i64 = 60_000;

/// When the computer was late.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Lateness {
    /// The beginning of each lateness that counts.
    moments: Vec<i64>,
    /// When it was late last, counted or not: a burst lasts as long as its gaps follow each other.
    last: Option<i64>,
}

impl Lateness {
    /// The computer was late at a moment; true where that was too often within a minute. Then
    /// counting begins anew.
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

    /// The computer will be late about now for a known reason: that does not count, and neither
    /// does what follows in the same burst.
    pub fn known(&mut self, now_ms: i64) {
        self.last = Some(now_ms);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A buffer that grew at each gap would be slow without need; one that never grew would cost one
    /// repetition after the other.
    #[test]
    fn three_in_a_minute_are_too_often() {
        let mut lateness = Lateness::default();
        let told = [0, 300, 30_000, 61_000, 62_500, 64_000, 70_000].map(|at| lateness.late(at));
        assert_eq!(told, [false, false, false, false, true, false, false]);
        assert!(lateness.late(80_000), "counted anew");
    }

    /// Without it one busy moment would ask for a larger buffer, and once more while it lasts.
    #[test]
    fn a_burst_is_one_lateness_however_long_it_lasts() {
        let mut lateness = Lateness::default();
        let burst = |from: i64| (from..from + 5000).step_by(100);
        let mut told = |from: i64| burst(from).filter(|at| lateness.late(*at)).count();
        assert_eq!([0, 10_000, 20_000, 30_000].map(&mut told), [0, 0, 1, 0]);
    }

    /// Without it pressing Ctrl-Z three times in a minute would ask for a larger buffer.
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
