//! The one way from the lengths in a bar to what is written: heads with dots, ties, tuplets.
//!
//! Where a note is split, and where not, is common practice without a source ([`Grid`] says it in
//! full). Tuplets are those of MusicXML 4.0 (`time-modification`): so many notes of a kind in the
//! time of so many of the same kind. Knows lengths and their places in a bar; knows no pitches, so
//! it is told which notes sound on.

mod grid;
mod tuplets;

use super::{Metre, WrittenLength};
use crate::units::{Beats, Fraction};
use grid::{Grid, Span};
use num_traits::ToPrimitive;
use std::ops::Range;

/// A note of a bar: how long it is, and whether the next sounds on from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Length {
    /// Its length, above nothing.
    pub beats: Beats,
    /// The next note, of this bar or the next, is the same one sounding on.
    pub tied: bool,
}

/// One head as it is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    /// The note that it begins in. Of notes that sound on from one another a later one may have no
    /// head of its own.
    pub note: usize,
    /// The first head of that note, where its gracenotes stand.
    pub begins: bool,
    /// Where it begins, from the start of the full bar.
    pub place: Beats,
    /// How long it lasts; with a tuplet that is not what its value says.
    pub beats: Beats,
    /// The value it is written in.
    pub value: WrittenLength,
    /// Index into [`WrittenBar::tuplets`].
    pub tuplet: Option<usize>,
    /// Tied to the next head, which may stand in the next bar.
    pub tied: bool,
}

/// A tuplet: so many notes of a kind in the time of so many others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tuplet {
    /// The number that is printed: MusicXML's `actual-notes`.
    pub notes: u32,
    /// Notes of the same kind that would fill its time: MusicXML's `normal-notes`.
    pub time: u32,
    /// The heads in it.
    pub heads: Range<usize>,
}

impl Tuplet {
    /// The factor that a written length is multiplied by.
    pub fn factor(&self) -> Fraction {
        Fraction::new(i128::from(self.time), i128::from(self.notes))
    }
}

/// A bar as it is written.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WrittenBar {
    /// The heads from left to right.
    pub heads: Vec<Head>,
    /// The tuplets from left to right; none overlap.
    pub tuplets: Vec<Tuplet>,
    /// False where a length is finer than any note value (a dotted 64th's dot and below), and a
    /// head only comes near it.
    pub exact: bool,
}

impl WrittenBar {
    /// What a head adds to the bar by its value, dots and tuplet, as a part of a semibreve.
    pub fn part_of_semibreve(&self, head: &Head) -> Fraction {
        let part = head.value.part_of_semibreve();
        match head.tuplet.and_then(|tuplet| self.tuplets.get(tuplet)) {
            Some(tuplet) => part * tuplet.factor(),
            None => part,
        }
    }
}

/// Writes the notes of a bar. `offset` is where the first of them stands in the full bar: a pickup
/// stands at the end of one.
///
/// Each note is written in as few heads as its place allows. Notes that sound on keep the tie that
/// joins them where each is one head in its place; where one would have to be split, all that sound
/// on are written anew as one length.
pub fn write_bar(metre: Metre, offset: Beats, notes: &[Length]) -> WrittenBar {
    let semibreves = |beats: Beats| metre.semibreves_of(beats);
    let Some(grid) = Grid::of(metre, semibreves(offset), notes.iter().map(|n| n.beats)) else {
        return nearly(metre, offset, notes);
    };
    let mut at = grid.ticks(semibreves(offset));
    let spans: Vec<Span> = notes
        .iter()
        .enumerate()
        .map(|(note, length)| {
            let from = at;
            at += grid.ticks(semibreves(length.beats));
            let (to, tied) = (at, length.tied);
            Span {
                note,
                from,
                to,
                tied,
            }
        })
        .collect();
    let mut writer = Writer {
        grid: &grid,
        metre,
        bar: WrittenBar {
            exact: true,
            ..WrittenBar::default()
        },
    };
    writer.spans(&spans);
    if writer.bar.exact {
        writer.bar
    } else {
        nearly(metre, offset, notes)
    }
}

struct Writer<'a> {
    grid: &'a Grid,
    metre: Metre,
    bar: WrittenBar,
}

impl Writer<'_> {
    /// Plain notes one run of ties at a time, tuplets whole.
    fn spans(&mut self, spans: &[Span]) {
        let mut at = 0;
        while at < spans.len() {
            let odd = self.grid.odd_run(&spans[at..]);
            if odd > 0 {
                self.odd(&spans[at..at + odd]);
                at += odd;
                continue;
            }
            let plain = |span: &Span| self.grid.is_plain(span.from) && self.grid.is_plain(span.to);
            let mut end = at + 1;
            while end < spans.len() && spans[end - 1].tied && plain(&spans[end]) {
                end += 1;
            }
            self.run(&spans[at..end]);
            at = end;
        }
    }

    /// Notes that sound on from one another.
    fn run(&mut self, run: &[Span]) {
        let pieces = |from, to| {
            let mut cuts = Vec::new();
            self.grid.pieces(from, to, &mut cuts);
            cuts
        };
        let kept = run
            .iter()
            .all(|span| pieces(span.from, span.to).len() == 1 && self.grid.value(*span).is_some());
        let cuts = match run {
            [.., last] if !kept => pieces(run[0].from, last.to),
            _ => run.iter().map(|span| (span.from, span.to)).collect(),
        };
        let last = cuts.len().saturating_sub(1);
        for (place, (from, to)) in cuts.into_iter().enumerate() {
            let span = run.iter().rev().find(|span| span.from <= from);
            let Some(span) = span.copied() else { continue };
            let tied = place < last || run.last().is_some_and(|span| span.tied);
            self.head(Span {
                from,
                to,
                tied,
                ..span
            });
        }
    }

    /// One head outside a tuplet.
    fn head(&mut self, span: Span) {
        match self.grid.value(span) {
            Some(value) => self.push(span, value, None),
            None => self.bar.exact = false,
        }
    }

    fn push(&mut self, span: Span, value: WrittenLength, tuplet: Option<usize>) {
        let last = self.bar.heads.last();
        let beats = |ticks| self.metre.beats_of(self.grid.semibreves(ticks));
        self.bar.heads.push(Head {
            note: span.note,
            begins: last.is_none_or(|last| last.note != span.note),
            place: beats(span.from),
            beats: beats(span.to - span.from),
            value,
            tuplet,
            tied: span.tied,
        });
    }
}

/// Writes a bar with a length that is finer than any note value: the nearest value for each note.
fn nearly(metre: Metre, offset: Beats, notes: &[Length]) -> WrittenBar {
    let mut place = offset;
    let heads = notes
        .iter()
        .enumerate()
        .map(|(note, length)| {
            let wanted = metre
                .semibreves_of(length.beats)
                .to_f64()
                .unwrap_or_default();
            let here = place;
            place = place + length.beats;
            Head {
                note,
                begins: true,
                place: here,
                beats: length.beats,
                value: WrittenLength::nearest(wanted),
                tuplet: None,
                tied: length.tied,
            }
        })
        .collect();
    WrittenBar {
        heads,
        tuplets: Vec::new(),
        exact: false,
    }
}

#[cfg(test)]
mod tests;
