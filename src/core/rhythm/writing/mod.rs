//! Turns the lengths in a bar into written notes: heads with dots, ties and tuplets.
//!
//! Where a note is split is common practice without a source; [`Grid`] has the full rule. Tuplets
//! follow MusicXML 4.0 (`time-modification`): a number of notes of one kind in the time of another
//! number of the same kind. This module knows lengths and their places in a bar. It knows no
//! pitches, so the caller says which notes are tied.

mod grid;
mod tuplets;

use super::{Metre, WrittenLength};
use crate::units::{Beats, Fraction};
use grid::{Grid, Span};
use num_traits::ToPrimitive;
use std::ops::Range;

/// A note of a bar: its length, and whether it is tied to the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Length {
    /// Its length, above 0.
    pub beats: Beats,
    /// True when it is tied to the next note, which may stand in the next bar.
    pub tied: bool,
}

/// One written note head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    /// Index of the note that the head begins in. When tied notes are written as one length, a
    /// later one of them may have no head of its own.
    pub note: usize,
    /// True for the first head of that note. Its gracenotes stand before this head.
    pub begins: bool,
    /// The place where it begins, in beats from the start of the full bar.
    pub place: Beats,
    /// How long it lasts. In a tuplet this is not the length of its written value.
    pub beats: Beats,
    /// The value it is written in.
    pub value: WrittenLength,
    /// Index into [`WrittenBar::tuplets`].
    pub tuplet: Option<usize>,
    /// True when it is tied to the next head, which may stand in the next bar.
    pub tied: bool,
}

/// A tuplet: a number of notes of one kind in the time of another number of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tuplet {
    /// The number that is printed: MusicXML's `actual-notes`.
    pub notes: u32,
    /// How many notes of the same kind would fill its time without the tuplet: MusicXML's
    /// `normal-notes`.
    pub time: u32,
    /// The indices of its heads.
    pub heads: Range<usize>,
}

impl Tuplet {
    /// The factor that a written length is multiplied by.
    pub fn factor(&self) -> Fraction {
        Fraction::new(i128::from(self.time), i128::from(self.notes))
    }
}

/// A bar as written notes.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WrittenBar {
    /// The heads from left to right.
    pub heads: Vec<Head>,
    /// The tuplets from left to right; none overlap.
    pub tuplets: Vec<Tuplet>,
    /// False when a length is finer than any note value (finer than the dot of a dotted 64th note),
    /// so that a head is only close to it.
    pub exact: bool,
}

impl WrittenBar {
    /// The written length of a head, from its value, dots and tuplet, as a part of a semibreve.
    pub fn part_of_semibreve(&self, head: &Head) -> Fraction {
        let part = head.value.part_of_semibreve();
        match head.tuplet.and_then(|tuplet| self.tuplets.get(tuplet)) {
            Some(tuplet) => part * tuplet.factor(),
            None => part,
        }
    }
}

/// Writes the notes of a bar. `offset` is the place of the first note in the full bar: a pickup
/// stands at the end of a full bar.
///
/// Each note gets as few heads as its place allows. Tied notes keep their ties when each of them
/// can be one head in its place. When one of them would have to be split, all the tied notes are
/// written anew as one length.
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
    /// Writes plain notes one run of tied notes at a time, and the notes of a tuplet together.
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

    /// Writes a run of tied notes.
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

    /// Writes one head outside a tuplet.
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

/// Writes a bar in which a length is finer than any note value: each note gets the nearest value.
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
