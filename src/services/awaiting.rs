//! The repetitions that are waited for with the microphone: those that play, and those that are over
//! and whose last sound is still on its way.
//!
//! Knows no device and no thread: seconds are those of the microphone's stream.

use crate::listening::{AROUND_S, ExpectedStage};
use crate::units::Seconds;
use std::collections::VecDeque;

/// How many reports of a beginning are kept: those of a second.
const TELLINGS: usize = 200;

/// A repetition, by the serial of its timeline and its cycle.
pub(super) type Key = (u64, u64);

/// A repetition that plays or has just ended.
pub(crate) struct Awaited {
    pub(crate) key: Key,
    pub(crate) piece: ExpectedStage,
    /// Where it begins, seconds, as the devices say it again and again while it plays: one such
    /// report may be milliseconds off, where another program had the processor.
    starts_s: Vec<f64>,
    /// How much later the microphone hears it than the devices say, seconds; none where that was not
    /// measured.
    later_s: Option<f64>,
    /// How often the microphone had lost sound when the repetition began.
    lost: u32,
    /// How often the microphone had lost sound when the repetition ended: what is lost in the
    /// breath after it is not part of its sound.
    lost_at_end: Option<u32>,
}

impl Awaited {
    /// A repetition that begins at `began_s` by the devices' word, when sound had been lost `lost`
    /// times.
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

    /// True where its place is known to a few milliseconds.
    pub(crate) fn exact(&self) -> bool {
        self.later_s.is_some()
    }

    /// True where all of its sound came in and none was lost.
    pub(crate) fn is_whole(&self) -> bool {
        self.lost_at_end == Some(self.lost)
    }

    fn end_s(&self) -> f64 {
        (self.start() + self.piece.length).0
    }
}

/// All of them, oldest first.
#[derive(Default)]
pub(crate) struct Awaiting {
    all: VecDeque<Awaited>,
    /// The one that was waited for last.
    latest: Option<Key>,
}

impl Awaiting {
    /// Looks at all of them at a second of the stream, when sound had been lost `lost` times. A
    /// repetition that was cut short is not waited for; one that came to its end is, whatever plays
    /// now. A gap in the sound is reported `told_s` later than it happens.
    pub(crate) fn look(&mut self, second: f64, playing: Option<Key>, lost: u32, told_s: f64) {
        self.all
            .retain(|awaited| playing == Some(awaited.key) || second >= awaited.end_s());
        for awaited in &mut self.all {
            if second >= awaited.end_s() + told_s.min(AROUND_S) {
                awaited.lost_at_end.get_or_insert(lost);
            }
        }
    }

    /// The next one that has come in with the sound after it.
    pub(crate) fn next_over(&mut self, second: f64) -> Option<Awaited> {
        let over = |awaited: &Awaited| second > awaited.end_s() + AROUND_S;
        self.all
            .front()
            .is_some_and(over)
            .then(|| self.all.pop_front())?
    }

    /// Takes one more report of where the repetition that plays began.
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

    /// True for a repetition that just begins: no later one was waited for. Its timeline may be new
    /// as well.
    pub(crate) fn is_new(&self, key: Key) -> bool {
        self.latest < Some(key)
    }

    /// Skips a repetition that is too long to be heard; true where its timeline is not that of the
    /// one before.
    pub(crate) fn skip(&mut self, key: Key) -> bool {
        let before = self.latest.replace(key);
        before.map(|(serial, _)| serial) != Some(key.0)
    }

    pub(crate) fn wait_for(&mut self, awaited: Awaited) {
        self.latest = Some(awaited.key);
        self.all.push_back(awaited);
    }

    /// Takes out all that are waited for, before the stream begins anew.
    pub(crate) fn take_all(&mut self) -> Vec<Awaited> {
        self.all.drain(..).collect()
    }

    /// Drops the repetitions that were not whole, because nobody listened for a while.
    pub(crate) fn keep_whole(&mut self) {
        self.all.retain(Awaited::is_whole);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A repetition that lasts four seconds; one begins every six.
    fn awaited(cycle: u64, lost: u32) -> Awaited {
        let piece = ExpectedStage {
            notes: Vec::new(),
            beat: Seconds(1.0),
            cycle: Seconds(6.0),
            length: Seconds(4.0),
        };
        Awaited::new((1, cycle), piece, 6.0 * cycle as f64, None, lost)
    }

    /// Takes in the stream from one second to another, with a gap reported at `lost_at`. Gives the
    /// cycles that were over, and of each whether none of it was lost.
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

    /// A gap in the breath would void a repetition that was heard whole; one in its last note would be
    /// heard as a fault, because it is told a little later.
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

    /// A stream that begins anew would swallow the repetition that is over and waits for what sounds
    /// after it, and nobody would hear of the one that plays.
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

    /// A repetition during which something else had the terminal was not listened to and is not judged.
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
