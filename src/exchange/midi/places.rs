//! The places of bars and beats in a file, and how usual a place in a bar and a length are.

use crate::drill::{Bar, Music, Written};
use crate::rhythm::Metre;
use crate::units::{Beats, Fraction};

/// Parts of a semibreve that places are counted in: 64ths, thirds and fifths of one are whole.
pub(super) const UNITS: i64 = 960;

/// A part of a semibreve.
fn part(units: i64) -> Fraction {
    Fraction::new(i128::from(units), i128::from(UNITS))
}

fn units(part: Fraction) -> i64 {
    let exact = part * Fraction::from_integer(i128::from(UNITS));
    i64::try_from(exact.to_integer()).unwrap_or(0)
}

/// Where each metre begins.
#[derive(Debug, Clone)]
pub(super) struct Places {
    /// Where a bar begins, and its metre; the first is where the file begins or after a pickup.
    changes: Vec<(i64, Metre)>,
}

impl Places {
    /// `changes` from the first unit of the file on, in order; never empty.
    pub(super) fn new(changes: Vec<(i64, Metre)>) -> Self {
        Self { changes }
    }

    /// The same metres with a pickup of so many units before the first bar line.
    pub(super) fn with_pickup(&self, pickup: i64) -> Self {
        let mut changes = self.changes.clone();
        if let Some(first) = changes.first_mut() {
            first.0 += pickup;
        }
        // a change that the pickup would move behind the next one is that one's
        while changes.len() > 1 && changes[0].0 >= changes[1].0 {
            changes.remove(0);
        }
        Self { changes }
    }

    /// True where the metre never changes.
    pub(super) fn stays(&self) -> bool {
        self.changes.len() == 1
    }

    /// The shortest bar.
    pub(super) fn shortest(&self) -> i64 {
        let lengths = self.changes.iter().map(|change| bar_length(change.1));
        lengths.min().unwrap_or(UNITS)
    }

    pub(super) fn first(&self) -> Metre {
        self.changes
            .first()
            .map_or(Metre::FOUR_FOUR, |first| first.1)
    }

    /// The metre at a place, where the bar that holds it begins, and where it ends.
    fn bar(&self, at: i64) -> (Metre, i64, i64) {
        let index = self.changes.partition_point(|change| change.0 <= at);
        let (from, metre) = self.changes[index.saturating_sub(1).min(self.changes.len() - 1)];
        let full = bar_length(metre);
        let begins = from + (at - from).div_euclid(full) * full;
        let ends = match self.changes.get(index.max(1)) {
            Some((next, _)) if *next < begins + full => *next,
            _ => begins + full,
        };
        // before the first bar line there is a pickup
        let ends = if at < self.changes[0].0 {
            ends.min(self.changes[0].0)
        } else {
            ends
        };
        (metre, begins, ends)
    }

    /// The number of the bar that holds a place, from 1; a pickup is 0.
    pub(super) fn number(&self, at: i64) -> i64 {
        let mut number = 0;
        for (index, (from, metre)) in self.changes.iter().enumerate() {
            let full = bar_length(*metre);
            match self.changes.get(index + 1) {
                Some((next, _)) if *next <= at => number += (next - from + full - 1) / full,
                _ => return number + (at - from).div_euclid(full) + 1,
            }
        }
        number
    }

    /// How unusual it is that a note begins there: 0 on a beat, 6 and more on a 64th.
    pub(super) fn strangeness(&self, at: i64) -> f64 {
        let (metre, begins, _) = self.bar(at);
        of_place(metre, at - begins)
    }

    /// How unusual a written note from here to there is, 0 where one head in its place writes it.
    pub(super) fn strangeness_of(&self, from: i64, to: i64) -> f64 {
        let (metre, begins, ends) = self.bar(from);
        let across = if to > ends && from > begins { 0.8 } else { 0.0 };
        let length = to - from;
        let whole = length % bar_length(metre) == 0;
        let shared = gcd(length, UNITS);
        let (mut above, below) = (length / shared, UNITS / shared);
        above >>= above.trailing_zeros();
        let heads = match above {
            1 => 0.0,
            3 => 0.1,
            5 => 1.0,
            7 => 0.4,
            _ if whole => 0.0,
            _ => 1.2,
        };
        // a length beside a beat is as fine as its place
        across + heads + 0.25 * fineness(below)
    }

    /// The stronger a note's place in the bar, the more is it worth as a beginning of bars: for
    /// finding a pickup that the file does not tell.
    pub(super) fn weight(&self, from: i64, to: i64, gracenotes: usize) -> f64 {
        let (metre, begins, ends) = self.bar(from);
        let beats = (to - from) as f64
            / UNITS as f64
            / (*metre.beat_of_semibreve().numer() as f64
                / *metre.beat_of_semibreve().denom() as f64);
        let decorated = gracenotes.min(4) as f64 * 0.05;
        let across = if to > ends { 0.5 } else { 0.0 };
        if from == begins {
            0.15 * beats.min(3.0) + decorated
        } else {
            -across
        }
    }

    /// Notes at their places to bars; what crosses a bar line is tied. `notes` have their places and
    /// ends in order, none empty.
    pub(super) fn in_bars(&self, notes: Vec<(i64, i64, Written)>) -> Music {
        let mut bars: Vec<Bar> = Vec::new();
        let mut now: Option<(i64, Metre)> = None;
        for (from, to, note) in notes {
            let mut group = note.group;
            let mut at = from;
            while at < to {
                let (metre, begins, ends) = self.bar(at);
                if now.is_none_or(|now| now.0 != begins) {
                    let changed = now.is_some_and(|now| now.1 != metre);
                    bars.push(Bar {
                        metre: changed.then_some(metre),
                        ..Bar::default()
                    });
                    now = Some((begins, metre));
                }
                let end = ends.min(to);
                let written = Written {
                    note: note.note,
                    length: metre.beats_of(part(end - at)),
                    tied: end < to,
                    group: std::mem::take(&mut group),
                };
                if let Some(bar) = bars.last_mut() {
                    bar.notes.push(written);
                }
                at = end;
            }
        }
        let metre = self.first();
        let pickup = bars
            .first()
            .map(Bar::length)
            .filter(|length| *length < metre.bar() && bars.len() > 1);
        let last_metre = now.map_or(metre, |now| now.1);
        if let Some(last) = bars.last_mut() {
            // the last note lasts to the end of its bar; a pickup is left free there where it has room
            let full = last_metre.bar();
            let length = last.length();
            let less = full - pickup.unwrap_or(Beats::ZERO);
            let wanted = if length <= less { less } else { full };
            if length < wanted
                && let Some(note) = last.notes.last_mut()
            {
                note.length = note.length + (wanted - length);
            }
            last.part_ends = true;
        }
        Music::straight(metre, bars)
    }
}

/// A bar in units.
pub(super) fn bar_length(metre: Metre) -> i64 {
    units(metre.semibreves_of(metre.bar())).max(1)
}

fn of_place(metre: Metre, place: i64) -> f64 {
    let beat = units(metre.beat_of_semibreve()).max(1);
    if place % beat == 0 {
        return 0.0;
    }
    if metre.is_compound() {
        let third = beat / 3;
        return match place {
            _ if place % third == 0 => 0.2,
            _ if place * 2 % third == 0 => 0.8,
            _ if place * 2 % beat == 0 => 1.5,
            _ if place * 4 % third == 0 => 2.5,
            _ if place * 4 % beat == 0 => 2.0,
            _ if place * 3 % third == 0 || place * 5 % beat == 0 => 2.2,
            _ if place * 8 % third == 0 => 5.0,
            _ => 8.0,
        };
    }
    fineness(UNITS / gcd(place, UNITS))
}

/// How fine a part of a semibreve is, from the number of such parts in it.
fn fineness(below: i64) -> f64 {
    match below {
        1 | 2 | 4 => 0.0,
        8 => 0.3,
        16 => 0.8,
        32 => 2.5,
        3 | 6 | 12 => 1.0,
        24 => 1.8,
        48 => 3.0,
        5 | 10 | 20 | 40 => 2.2,
        64 | 80 => 5.0,
        96 => 6.0,
        _ => 9.0,
    }
}

fn gcd(a: i64, b: i64) -> i64 {
    num_integer::gcd(a, b).max(1)
}
