//! A score as written bars of columns: one column a melody note, with the room it needs.

use super::gracenotes::{self, GraceGroup};
use super::proportions as p;
use crate::chanter::Note;
use crate::drill::Music;
use crate::engraving::font::Glyph;
use crate::rhythm::{Metre, NoteValue, WrittenLength};
use crate::score::{NoteId, Score, ScoreGroup};
use crate::units::Beats;

/// A written bar.
#[derive(Debug, Clone)]
pub(super) struct Bar {
    pub number: u16,
    pub written: usize,
    pub columns: Vec<Column>,
    pub length: Beats,
    /// Where its first note falls in a full bar: an upbeat stands at the end of one.
    pub offset: Beats,
    pub signs: Signs,
}

/// What stands at a bar's ends.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Signs {
    pub repeat_begins: bool,
    pub repeat_ends: bool,
    pub ending: Option<u8>,
    pub part_ends: bool,
    /// The last bar of the music.
    pub last: bool,
}

/// A melody note.
#[derive(Debug, Clone)]
pub(super) struct Column {
    pub id: NoteId,
    pub note: Note,
    pub length: WrittenLength,
    /// Place in the bar as counted, the offset of an upbeat included.
    pub place: Beats,
    pub duration: Beats,
    /// The next note sounds on from this one.
    pub tied: bool,
    pub group: ScoreGroup,
    pub grace: GraceGroup,
    /// Index of the beam it stands under, in its bar.
    pub beam: Option<usize>,
}

impl Column {
    pub(super) fn head(&self) -> Glyph {
        match self.length.value {
            NoteValue::Semibreve => Glyph::HeadWhole,
            NoteValue::Minim => Glyph::HeadHalf,
            _ => Glyph::HeadBlack,
        }
    }

    /// Height of a note's head.
    pub(super) fn y(&self) -> f64 {
        height(self.note)
    }

    /// From the left edge of its head to the right end of its head, dots and flag.
    pub(super) fn right(&self) -> f64 {
        let head = self.head().outline().right;
        let dots = if self.length.dots == 0 {
            0.0
        } else {
            p::DOT_GAP + f64::from(self.length.dots - 1) * p::DOT_STEP + Glyph::Dot.outline().right
        };
        let ledger = if self.note == Note::HighA {
            p::LEDGER_REACH
        } else {
            0.0
        };
        let flag = if self.beam.is_none() && self.length.value.flags() > 0 {
            Glyph::FlagQuaverDown.outline().right
        } else {
            0.0
        };
        (head + dots).max(head + ledger).max(flag)
    }

    /// From the left end of what stands before it to the left edge of its head.
    pub(super) fn left(&self) -> f64 {
        let ledger = if self.note == Note::HighA {
            p::LEDGER_REACH
        } else {
            0.0
        };
        self.grace.width.max(ledger)
    }
}

/// Height of a note's middle.
pub(super) fn height(note: Note) -> f64 {
    f64::from(note.staff_step()) / 2.0
}

/// Every written bar once, with the notes and names of its first time through.
pub(super) fn bars_of(score: &Score, music: Option<&Music>) -> Vec<Bar> {
    let mut bars: Vec<Bar> = Vec::new();
    for (index, bar) in score.bars.iter().enumerate() {
        if bars.iter().any(|seen| seen.written == bar.written) {
            continue;
        }
        let full = score.metre.bar();
        let previous = bars.last().map(|bar: &Bar| bar.signs);
        let begins_a_part = previous.is_none_or(|signs| signs.repeat_ends || signs.part_ends);
        let offset = if begins_a_part && bar.length < full && score.bars.len() > 1 {
            full - bar.length
        } else {
            Beats::ZERO
        };
        let signs = music
            .and_then(|music| music.bars.get(bar.written))
            .map(|bar| Signs {
                repeat_begins: bar.repeat_begins,
                repeat_ends: bar.repeat_ends,
                ending: bar.ending,
                part_ends: bar.part_ends,
                last: false,
            })
            .unwrap_or_default();
        let mut columns: Vec<Column> = score
            .notes
            .iter()
            .enumerate()
            .filter(|(_, note)| note.bar == index)
            .map(|(place, note)| {
                let length = written(score.metre, note.written);
                let tied = score
                    .notes
                    .get(place + 1)
                    .is_some_and(|next| next.continues);
                Column {
                    id: note.id,
                    note: note.note,
                    length,
                    place: offset + note.place,
                    duration: note.written,
                    tied,
                    grace: gracenotes::space(&note.group, height(note.note)),
                    group: note.group.clone(),
                    beam: None,
                }
            })
            .collect();
        join_beams(&mut columns);
        bars.push(Bar {
            number: bar.number,
            written: bar.written,
            columns,
            length: bar.length,
            offset,
            signs,
        });
    }
    bars.sort_by_key(|bar| bar.written);
    if let Some(last) = bars.last_mut() {
        last.signs.last = true;
    }
    bars
}

/// The written note of a length; of one that no single note writes, the longest that fits into it.
/// The readers of drills split such lengths into tied notes, so that it is not met in practice.
fn written(metre: Metre, length: Beats) -> WrittenLength {
    let part = metre.semibreves_of(length);
    WrittenLength::exactly(part)
        .or_else(|| WrittenLength::tied(part).first().copied())
        .unwrap_or(WrittenLength {
            value: NoteValue::Crotchet,
            dots: 0,
        })
}

/// Quavers and shorter notes that begin in one beat share a beam.
fn join_beams(columns: &mut [Column]) {
    let mut beam = 0;
    let mut begin = 0;
    while begin < columns.len() {
        let beat = columns[begin].place.floor();
        let short = |column: &Column| column.length.value.flags() > 0;
        let mut end = begin;
        while end < columns.len() && short(&columns[end]) && columns[end].place.floor() == beat {
            end += 1;
        }
        if end - begin > 1 {
            for column in &mut columns[begin..end] {
                column.beam = Some(beam);
            }
            beam += 1;
        }
        begin = end.max(begin + 1);
    }
}
