//! Writes out endings for several passes (`[1,3` and `[2,4`) and third endings as pairs of first
//! and second endings, because a drill has no others.

use crate::drill::written::Bar;
use std::collections::BTreeMap;
use std::ops::Range;

/// The most passes that are written out; a usual tune has four.
pub const MOST_PASSES: u8 = 8;

/// Bars after their endings were written out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WrittenOut {
    /// The bars.
    pub bars: Vec<Bar>,
    /// For each bar, its index before writing out.
    pub source: Vec<usize>,
    /// The first endings of the parts that were written out, as indices before writing out.
    pub parts: Vec<usize>,
}

/// Writes out the parts that have more than a first and a second ending. `passes` has, for each bar
/// that begins such an ending, the passes in which it is played.
pub fn written_out(bars: &[Bar], passes: &BTreeMap<usize, Vec<u8>>) -> WrittenOut {
    let marks = |bar: usize| -> Option<Vec<u8>> {
        // An ending may be marked after the last bar, where no bar follows.
        let own = bars.get(bar)?;
        let plain = || own.ending.map(|ending| vec![ending]);
        passes.get(&bar).cloned().or_else(plain)
    };
    let ends = |bar: usize| bars[bar].part_ends || bars[bar].repeat_ends;
    let mut out = WrittenOut::default();
    let mut part = 0;
    let mut at = 0;
    while at < bars.len() {
        if bars[at].repeat_begins {
            part = at;
        }
        if marks(at).is_none() {
            out.push(bars, at..at + 1);
            if ends(at) {
                part = at + 1;
            }
            at += 1;
            continue;
        }
        let first = at;
        let mut endings: Vec<(Range<usize>, Vec<u8>)> = Vec::new();
        while let Some(own) = marks(at) {
            let begin = at;
            while at + 1 < bars.len() && !ends(at) && marks(at + 1).is_none() {
                at += 1;
            }
            at += 1;
            endings.push((begin..at, own));
        }
        if passes.range(first..at).next().is_none() {
            out.push(bars, first..at);
        } else {
            // The bars before the endings are repeated for each pair of endings.
            let before = first - part;
            out.bars.truncate(out.bars.len() - before);
            out.source.truncate(out.source.len() - before);
            out.parts.push(first);
            out.passes(bars, part..first, &endings);
        }
        part = at;
    }
    out
}

impl WrittenOut {
    fn push(&mut self, bars: &[Bar], range: Range<usize>) {
        self.bars.extend_from_slice(&bars[range.clone()]);
        self.source.extend(range);
    }

    /// Adds bars without their repeat signs.
    fn push_plain(&mut self, bars: &[Bar], range: Range<usize>) {
        let begin = self.bars.len();
        self.push(bars, range);
        for bar in &mut self.bars[begin..] {
            (bar.repeat_begins, bar.repeat_ends) = (false, false);
            (bar.part_ends, bar.ending) = (false, None);
        }
    }

    fn passes(&mut self, bars: &[Bar], common: Range<usize>, endings: &[(Range<usize>, Vec<u8>)]) {
        let ending = |pass: u8| {
            let has = |(_, own): &&(Range<usize>, Vec<u8>)| own.contains(&pass);
            endings.iter().find(has).map(|(range, _)| range.clone())
        };
        let last = endings.iter().flat_map(|(_, own)| own).max().copied();
        for pass in (1..=last.unwrap_or(1)).step_by(2) {
            let (odd, even) = (ending(pass), ending(pass + 1));
            let begin = self.bars.len();
            self.push_plain(bars, common.clone());
            let repeated = odd.is_some() && even.is_some();
            let own = self.bars.len();
            if let Some(range) = odd.clone().or(even.clone()) {
                self.push_plain(bars, range);
            }
            if let Some(bar) = self.bars.get_mut(begin) {
                bar.repeat_begins = repeated;
            }
            if let Some(bar) = self.bars.last_mut() {
                (bar.part_ends, bar.repeat_ends) = (true, repeated);
            }
            if let Some(range) = even
                && repeated
                && odd.as_ref() != Some(&range)
            {
                let second = self.bars.len();
                self.push_plain(bars, range);
                self.bars[own].ending = Some(1);
                self.bars[second].ending = Some(2);
                if let Some(bar) = self.bars.last_mut() {
                    bar.part_ends = true;
                }
            }
        }
    }
}
