//! The metrical weight of each place in a bar, and where a note must be split.

use crate::rhythm::{Metre, WrittenLength};
use crate::units::{Beats, Fraction};
use num_integer::Integer;

/// A stretch of a bar from one tick to another.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    pub(super) note: usize,
    pub(super) from: i64,
    pub(super) to: i64,
    pub(super) tied: bool,
}

/// The places of a bar, counted in ticks.
///
/// The fewer subdivisions lead to a place, the heavier it is: first the bar line, then the half bar
/// where the number of beats is even, then the beat, then the parts of the beat. A note may sound
/// across a place
///
/// - when it begins or ends at a place that is at least as heavy (a dotted crotchet from beat 1 of
///   4/4, or up to beat 3), or
/// - when it lies evenly across the place and is as long as the parts that meet there (crotchet,
///   minim, crotchet in 4/4; quaver, crotchet, quaver).
///
/// Across a compound beat a note may sound only from beat to beat: in 6/8 no plain minim crosses
/// the second beat. Every other note is split at the heaviest place that it crosses. This is the
/// common practice of engravers, without a source.
pub(super) struct Grid {
    /// Ticks in a semibreve.
    semibreve: i64,
    /// The largest odd divisor of `semibreve`.
    odd: i64,
    /// The sizes of the parts in ticks, from the bar to the finest, each a multiple of the next.
    sizes: Vec<i64>,
    /// Index of the beat in `sizes`.
    beat: usize,
    compound: bool,
    /// True when the bar has no metre; then every place weighs the same.
    free: bool,
}

/// The most ticks in a semibreve. A bar of 32 such semibreves still fits easily in 64 bits.
const MOST_TICKS: i128 = 1 << 40;
/// Enough ticks in a semibreve for a 64th note with two dots, and for 64 further divisions.
const FINEST: i128 = 256 * 64;

impl Grid {
    /// The grid on which every place of the bar falls; none when the lengths are too fine for one.
    pub(super) fn of(
        metre: Metre,
        offset: Fraction,
        lengths: impl Iterator<Item = Beats>,
    ) -> Option<Self> {
        let places = lengths.map(|beats| metre.semibreves_of(beats));
        let mut semibreve = FINEST * 3;
        for place in places.chain([offset]) {
            semibreve = semibreve.lcm(place.denom());
            if semibreve > MOST_TICKS {
                return None;
            }
        }
        let semibreve = i64::try_from(semibreve).ok()?;
        let ticks = |part: Fraction| ticks_of(part, semibreve);
        let beat = ticks(metre.beat_of_semibreve());
        let mut beats = i64::from(metre.beats_in_a_bar());
        let mut sizes = vec![beats * beat];
        while beats % 2 == 0 {
            beats /= 2;
            sizes.push(beats * beat);
        }
        if beats > 1 {
            sizes.push(beat);
        }
        let level = sizes.len() - 1;
        let part = ticks(metre.part_of_a_beat());
        if part < beat {
            sizes.push(part);
        }
        let mut size = part;
        // `size` stays well above one tick here, so that halving it leaves no remainder.
        while size > semibreve / 512 {
            size /= 2;
            sizes.push(size);
        }
        Some(Self {
            semibreve,
            odd: semibreve >> semibreve.trailing_zeros(),
            sizes,
            beat: level,
            compound: metre.is_compound(),
            free: metre.is_free(),
        })
    }

    pub(super) fn ticks(&self, part_of_semibreve: Fraction) -> i64 {
        ticks_of(part_of_semibreve, self.semibreve)
    }

    pub(super) fn semibreves(&self, ticks: i64) -> Fraction {
        Fraction::new(i128::from(ticks), i128::from(self.semibreve))
    }

    /// True when halving, any number of times, leads from the bar to this place.
    pub(super) fn is_plain(&self, tick: i64) -> bool {
        tick % self.odd == 0
    }

    /// The odd number by which the semibreve must be divided to reach a place.
    pub(super) fn division(&self, tick: i64) -> i64 {
        self.odd / tick.gcd(&self.odd)
    }

    pub(super) fn beat(&self) -> i64 {
        self.sizes[self.beat]
    }

    /// The one written note of this length, if there is one.
    pub(super) fn value_of(&self, ticks: i64) -> Option<WrittenLength> {
        WrittenLength::exactly(self.semibreves(ticks))
    }

    pub(super) fn value(&self, span: Span) -> Option<WrittenLength> {
        self.value_of(span.to - span.from)
    }

    /// The odd factor by which the length in ticks differs from a plain note value: 1 for a note
    /// value.
    pub(super) fn odd_of(&self, ticks: i64) -> i64 {
        let shared = ticks.gcd(&self.semibreve);
        let above = ticks / shared;
        above >> above.trailing_zeros()
    }

    /// The level of a place: 0 is a bar line, and a larger number is a lighter place.
    fn level(&self, tick: i64) -> usize {
        let found = self.sizes.iter().position(|size| tick % size == 0);
        found.unwrap_or(self.sizes.len())
    }

    /// The heaviest level strictly between two places, with the first and the last place of that
    /// level.
    fn heaviest(&self, from: i64, to: i64) -> Option<(usize, i64, i64)> {
        self.sizes.iter().enumerate().find_map(|(level, size)| {
            let first = (from / size + 1) * size;
            let last = (to - 1) / size * size;
            (first < to).then_some((level, first, last))
        })
    }

    fn may_stand(&self, from: i64, to: i64) -> bool {
        let heaviest = self.heaviest(from, to).filter(|_| !self.free);
        let Some((level, first, last)) = heaviest else {
            return true;
        };
        let (begins, ends) = (self.level(from), self.level(to));
        if self.compound && level <= self.beat && begins.max(ends) > self.beat {
            return false;
        }
        let evenly = first == last && first - from == to - first && to - from == self.sizes[level];
        begins.min(ends) <= level || evenly
    }

    /// Adds the heads that write a note from one place to another, each as its begin and end tick.
    pub(super) fn pieces(&self, from: i64, to: i64, into: &mut Vec<(i64, i64)>) {
        let one = |from, to| self.value_of(to - from).is_some() && self.may_stand(from, to);
        if one(from, to) {
            into.push((from, to));
            return;
        }
        let Some((level, first, last)) = self.heaviest(from, to) else {
            into.push((from, to));
            return;
        };
        let size = self.sizes[level];
        let mut places = (0..=(last - first) / size).map(|step| first + step * size);
        // The longer head stands at the heavier end.
        let cut = if self.level(from) <= self.level(to) {
            places.rev().find(|place| one(from, *place)).unwrap_or(last)
        } else {
            places.find(|place| one(*place, to)).unwrap_or(first)
        };
        self.pieces(from, cut, into);
        self.pieces(cut, to, into);
    }

    /// How many notes, from the first on, lie between two plain places without a plain place
    /// between them. 0 when the first note itself lies on plain places.
    pub(super) fn odd_run(&self, spans: &[Span]) -> usize {
        let Some(first) = spans.first() else { return 0 };
        if self.is_plain(first.from) && self.is_plain(first.to) {
            return 0;
        }
        let end = spans.iter().position(|span| self.is_plain(span.to));
        end.map_or(spans.len(), |end| end + 1)
    }
}

fn ticks_of(part: Fraction, semibreve: i64) -> i64 {
    let ticks = part * Fraction::from_integer(i128::from(semibreve));
    i64::try_from(ticks.to_integer()).unwrap_or(i64::MAX / 4)
}
