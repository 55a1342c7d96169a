//! The repetitions whose recording is awaited: the one that plays, and those that are over while
//! their last sound is still on its way from the microphone.
//!
//! This module knows no device and no thread. All seconds are those of the microphone's stream.

use crate::listening::{AROUND_S, ExpectedStage};
use crate::units::Seconds;
use std::collections::VecDeque;

/// How many reports of a repetition's beginning are kept. It is about a second of reports.
const TELLINGS: usize = 200;

/// A repetition, named by the serial number of its timeline and its cycle.
pub(super) type Key = (u64, u64);

/// A repetition that plays or has just ended.
pub(crate) struct Awaited {
    pub(crate) key: Key,
    pub(crate) piece: ExpectedStage,
    /// The times at which the repetition begins, in seconds, as the devices report them again and
    /// again while it plays. A single report may be milliseconds off, where another program
    /// occupied the processor.
    starts_s: Vec<f64>,
    /// The measured latency that the devices do not report, in seconds; none where it was not
    /// calibrated.
    later_s: Option<f64>,
    /// The number of gaps in the microphone's stream when the repetition began.
    lost: u32,
    /// The number of gaps when the repetition ended. A gap in the breath after it does not concern
    /// it.
    lost_at_end: Option<u32>,
}

impl Awaited {
    /// A repetition that begins at `began_s` as the devices report it. `lost` is the number of gaps
    /// in the stream so far.
    pub(crate) fn new(
        key: Key,
        piece: ExpectedStage,
        began_s: f64,
        later_s: Option<f64>,
        lost: u32,
    ) -> Self {
        Self {
            key,
            piece,
            starts_s: vec![began_s + later_s.unwrap_or(0.0)],
            later_s,
            lost,
            lost_at_end: None,
        }
    }

    pub(crate) fn start(&self) -> Seconds {
        let mut sorted = self.starts_s.clone();
        sorted.sort_by(f64::total_cmp);
        Seconds(sorted.get(sorted.len() / 2).copied().unwrap_or(0.0))
    }

    /// True where the beginning is known to a few milliseconds, because the devices were
    /// calibrated.
    pub(crate) fn exact(&self) -> bool {
        self.later_s.is_some()
    }

    /// True where the whole repetition was recorded without a gap.
    pub(crate) fn is_whole(&self) -> bool {
        self.lost_at_end == Some(self.lost)
    }

    fn end_s(&self) -> f64 {
        (self.start() + self.piece.length).0
    }
}

/// All awaited repetitions.
#[derive(Default)]
pub(crate) struct Awaiting {
    all: VecDeque<Awaited>,
    /// The repetition that was added or skipped last.
    latest: Option<Key>,
}

impl Awaiting {
    /// Updates all repetitions at this second of the stream. `lost` is the number of gaps so far. A
    /// repetition that was cut short is dropped; one that came to its end stays, whatever plays
    /// now. A gap is reported `told_s` seconds after it happens.
    pub(crate) fn look(&mut self, second: f64, playing: Option<Key>, lost: u32, told_s: f64) {
        self.all
            .retain(|awaited| playing == Some(awaited.key) || second >= awaited.end_s());
        for awaited in &mut self.all {
            if second >= awaited.end_s() + told_s.min(AROUND_S) {
                awaited.lost_at_end.get_or_insert(lost);
            }
        }
    }

    /// Takes out the next repetition whose recording is complete, including a little sound after
    /// it.
    pub(crate) fn next_over(&mut self, second: f64) -> Option<Awaited> {
        let over = |awaited: &Awaited| second > awaited.end_s() + AROUND_S;
        self.all
            .front()
            .is_some_and(over)
            .then(|| self.all.pop_front())?
    }

    /// Takes one more report of where the playing repetition began.
    pub(crate) fn began(&mut self, key: Key, second: f64, beat: f64) {
        if let Some(awaited) = self.all.back_mut()
            && awaited.key == key
            && awaited.starts_s.len() < TELLINGS
        {
            let began_s = second - beat * awaited.piece.beat.0;
            awaited
                .starts_s
                .push(began_s + awaited.later_s.unwrap_or(0.0));
        }
    }

    /// True for a repetition that just begins: neither it nor a later one is known yet. Its
    /// timeline may be new as well.
    pub(crate) fn is_new(&self, key: Key) -> bool {
        self.latest < Some(key)
    }

    /// Skips a repetition that is too long to be recorded. Returns true where its timeline differs
    /// from that of the repetition before.
    pub(crate) fn skip(&mut self, key: Key) -> bool {
        let before = self.latest.replace(key);
        before.map(|(serial, _)| serial) != Some(key.0)
    }

    pub(crate) fn wait_for(&mut self, awaited: Awaited) {
        self.latest = Some(awaited.key);
        self.all.push_back(awaited);
    }

    /// Takes out all awaited repetitions, before the stream starts again.
    pub(crate) fn take_all(&mut self) -> Vec<Awaited> {
        self.all.drain(..).collect()
    }

    /// Drops the repetitions that are not complete, because the stream was not read for a while.
    pub(crate) fn keep_whole(&mut self) {
        self.all.retain(Awaited::is_whole);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A repetition of four seconds; one begins every six seconds.
    fn awaited(cycle: u64, lost: u32) -> Awaited {
        let piece = ExpectedStage {
            notes: Vec::new(),
            beat: Seconds(1.0),
            cycle: Seconds(6.0),
            length: Seconds(4.0),
        };
        Awaited::new((1, cycle), piece, 6.0 * cycle as f64, None, lost)
    }

    /// Takes in the stream from one second to another, with a gap reported at `lost_at`. Returns
    /// the cycles that were complete, each with true where it had no gap.
    fn listen(awaiting: &mut Awaiting, (from, to): (f64, f64), lost_at: f64) -> Vec<(u64, bool)> {
        let mut over = Vec::new();
        let steps = ((to - from) * 100.0).round() as u32;
        for step in 0..steps {
            let second = from + f64::from(step) / 100.0;
            let cycle = (second / 6.0) as u64;
            let lost = u32::from(second >= lost_at);
            awaiting.look(second, Some((1, cycle)), lost, 0.1);
            while let Some(awaited) = awaiting.next_over(second) {
                over.push((awaited.key.1, awaited.is_whole()));
            }
            if awaiting.is_new((1, cycle)) {
                awaiting.wait_for(awaited(cycle, lost));
            }
        }
        over
    }

    /// A gap in the breath must not spoil a repetition that was recorded whole. A gap in its last
    /// note, although it is reported a little later, must not be judged as the player's fault.
    #[test]
    fn only_a_gap_in_a_repetition_voids_it() {
        for (lost_at, whole) in [
            (3.0, [false, true]),
            (4.05, [false, true]),
            (4.2, [true, true]),
            (9.0, [true, false]),
        ] {
            let over = listen(&mut Awaiting::default(), (0.0, 12.0), lost_at);
            assert_eq!(over, [(0, whole[0]), (1, whole[1])], "{lost_at}");
        }
    }

    /// A stream that starts again must not lose the repetition that is over and whose last sound is
    /// still awaited, nor the one that plays.
    #[test]
    fn before_the_stream_begins_anew_each_is_told() {
        let mut awaiting = Awaiting::default();
        assert_eq!(listen(&mut awaiting, (0.0, 4.2), 9.0), []);
        let left = awaiting.take_all();
        let told: Vec<_> = left.iter().map(|one| (one.key.1, one.is_whole())).collect();
        assert_eq!(told, [(0, true)]);
        let mut awaiting = Awaiting::default();
        assert_eq!(listen(&mut awaiting, (0.0, 8.0), 7.0), [(0, true)]);
        let left = awaiting.take_all();
        let told: Vec<_> = left.iter().map(|one| (one.key.1, one.is_whole())).collect();
        assert_eq!(told, [(1, false)]);
        assert!(awaiting.take_all().is_empty());
    }

    /// A repetition during which another program had the terminal was not recorded and is not
    /// judged.
    #[test]
    fn what_was_left_half_way_is_not_waited_for() {
        let mut awaiting = Awaiting::default();
        listen(&mut awaiting, (0.0, 3.0), 9.0);
        awaiting.keep_whole();
        assert!(awaiting.take_all().is_empty());
        listen(&mut awaiting, (6.0, 10.2), 99.0);
        awaiting.keep_whole();
        assert_eq!(awaiting.take_all().len(), 1);
    }
}
