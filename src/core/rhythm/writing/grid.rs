//! A bar's places by weight, and where a note must be split at one.

use crate::rhythm::{Metre, WrittenLength};
use crate::units::{Beats, Fraction};
use num_integer::Integer;

/// A stretch from one tick of the bar to another.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    pub(super) note: usize,
    pub(super) from: i64,
    pub(super) to: i64,
    pub(super) tied: bool,
}

/// The places of a bar, counted in ticks of it.
///
/// A place weighs more than another the fewer subdivisions lead to it: the bar, its half where it
/// has an even number of beats, the beat, the beat's parts. A note may stand over a place within it
///
/// - when it begins or ends at a place that weighs as much or more (a dotted crotchet from beat 1
///   of 4/4, or up to beat 3), or
/// - when it stands over it evenly and is as long as the parts that meet there (crotchet, minim,
///   crotchet in 4/4; quaver, crotchet, quaver).
///
/// Over a compound beat it may stand only from beat to beat: in 6/8 no plain minim crosses the
/// second beat. Otherwise it is split there, at the heaviest place within it. Common practice of
/// engravers, no source.
pub(super) struct Grid {
    /// Ticks in a semibreve.
    semibreve: i64,
    /// The odd factor of that number.
    odd: i64,
    /// The sizes of the parts in ticks, from the bar to the finest, each a multiple of the next.
    sizes: Vec<i64>,
    /// Index of the beat in `sizes`.
    beat: usize,
    compound: bool,
    /// True without a metre: then every place weighs the same.
    free: bool,
}

/// The most ticks in a semibreve: a bar of 32 semibreves of them is far from the end of 64 bits.
const MOST_TICKS: i128 = 1 << 40;
/// Ticks of a 64th with two dots, and finer by what tuplets divide.
const FINEST: i128 = 256 * 64;

impl Grid {
    /// A grid on which every place of the bar falls; none where the lengths have no such grid.
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
        // far above the finest tick, so that it halves without a rest
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

    /// True for a place that is reached by halving, however often.
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

    /// The one head of these ticks, when there is one.
    pub(super) fn value_of(&self, ticks: i64) -> Option<WrittenLength> {
        WrittenLength::exactly(self.semibreves(ticks))
    }

    pub(super) fn value(&self, span: Span) -> Option<WrittenLength> {
        self.value_of(span.to - span.from)
    }

    /// What a number of ticks would be without its odd part: 1 for a note value.
    pub(super) fn odd_of(&self, ticks: i64) -> i64 {
        let shared = ticks.gcd(&self.semibreve);
        let above = ticks / shared;
        above >> above.trailing_zeros()
    }

    /// How heavy a place is: 0 is a bar line.
    fn level(&self, tick: i64) -> usize {
        let found = self.sizes.iter().position(|size| tick % size == 0);
        found.unwrap_or(self.sizes.len())
    }

    /// The heaviest level within two places, with the first and the last place of it.
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

    /// Adds the heads that a note from one place to another is written with, as their beginnings
    /// and ends.
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
        // the longest head stands at the heavier end
        let cut = if self.level(from) <= self.level(to) {
            places.rev().find(|place| one(from, *place)).unwrap_or(last)
        } else {
            places.find(|place| one(*place, to)).unwrap_or(first)
        };
        self.pieces(from, cut, into);
        self.pieces(cut, to, into);
    }

    /// How many notes from here on stand between two plain places with none between them; 0 where the
    /// first note is plain itself.
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
