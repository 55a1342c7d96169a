//! Divides a score into written bars, and each bar into columns. A column is one head of the melody
//! with the room that it needs.

use super::gracenotes::{self, GraceGroup};
use super::proportions::{self as p, height};
use crate::chanter::Note;
use crate::drill::Music;
use crate::engraving::font::Glyph;
use crate::rhythm::{Length, Metre, NoteValue, Tuplet, WrittenLength, write_bar};
use crate::score::{NoteId, Score, ScoreGroup};
use crate::units::Beats;

/// A written bar.
#[derive(Debug, Clone)]
pub(super) struct Bar {
    pub number: u16,
    pub written: usize,
    pub columns: Vec<Column>,
    pub length: Beats,
    /// The place of the first note within a full bar, in beats. An upbeat is placed at the end of
    /// its bar.
    pub offset: Beats,
    pub signs: Signs,
    /// The metre of the bar, and whether that metre begins here.
    pub metre: Metre,
    pub changes_metre: bool,
    /// The tuplets of the bar, each with its columns.
    pub tuplets: Vec<Tuplet>,
}

/// The signs at the two ends of a bar.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Signs {
    pub repeat_begins: bool,
    pub repeat_ends: bool,
    pub ending: Option<u8>,
    pub part_ends: bool,
    /// True where a system must end with this bar.
    pub line_ends: bool,
    /// True for the last bar of the music.
    pub last: bool,
}

/// One head of the melody. A long note may have several heads, joined by ties.
#[derive(Debug, Clone)]
pub(super) struct Column {
    pub id: NoteId,
    /// True for the first head of its note.
    pub begins: bool,
    pub note: Note,
    pub length: WrittenLength,
    /// The place of the head within the bar in beats; an upbeat's offset is included.
    pub place: Beats,
    pub duration: Beats,
    /// True where a tie leads to the next head.
    pub tied: bool,
    pub group: ScoreGroup,
    pub grace: GraceGroup,
    /// The number of its beam within the bar, from 0; none where it has no beam.
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

    /// The height of the note's head in staff spaces.
    pub(super) fn y(&self) -> f64 {
        height(self.note)
    }

    /// The distance from the left edge of its head to the right end of head and dots, in staff
    /// spaces.
    pub(super) fn ink_right(&self) -> f64 {
        let head = self.head().outline().right;
        let dots = if self.length.dots == 0 {
            0.0
        } else {
            p::DOT_GAP + f64::from(self.length.dots - 1) * p::DOT_STEP + Glyph::Dot.outline().right
        };
        head + dots
    }

    /// The distance from the left edge of its head to the right end of head, dots and flag, in
    /// staff spaces.
    pub(super) fn right(&self) -> f64 {
        let head = self.head().outline().right;
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
        self.ink_right().max(head + ledger).max(flag)
    }

    /// The distance from the left end of its gracenotes and ledger line to the left edge of its
    /// head, in staff spaces.
    pub(super) fn left(&self) -> f64 {
        let ledger = if self.note == Note::HighA {
            p::LEDGER_REACH
        } else {
            0.0
        };
        self.grace.width.max(ledger)
    }
}

/// Every written bar once. Its notes have the ids and names of their first time through.
pub(super) fn bars_of(score: &Score, music: Option<&Music>) -> Vec<Bar> {
    let offsets = music.map(Music::offsets).unwrap_or_default();
    let mut bars: Vec<Bar> = Vec::new();
    for (index, bar) in score.bars.iter().enumerate() {
        if bars.iter().any(|seen| seen.written == bar.written) {
            continue;
        }
        let signs = music
            .and_then(|music| music.bars.get(bar.written))
            .map(|bar| Signs {
                repeat_begins: bar.repeat_begins,
                repeat_ends: bar.repeat_ends,
                ending: bar.ending,
                part_ends: bar.part_ends,
                line_ends: bar.line_ends,
                last: false,
            })
            .unwrap_or_default();
        let offset = offsets.get(bar.written).copied().unwrap_or_default();
        let (columns, tuplets) = columns(score, index, offset, bar.metre);
        bars.push(Bar {
            number: bar.number,
            written: bar.written,
            columns,
            length: Beats(bar.length.0 / bar.metre.pace()),
            offset,
            signs,
            metre: bar.metre,
            changes_metre: false,
            tuplets,
        });
    }
    bars.sort_by_key(|bar| bar.written);
    for place in 1..bars.len() {
        bars[place].changes_metre = bars[place].metre != bars[place - 1].metre;
    }
    if let Some(last) = bars.last_mut() {
        last.signs.last = true;
    }
    bars
}

/// The columns of a bar as written, and its tuplets.
fn columns(score: &Score, bar: usize, offset: Beats, metre: Metre) -> (Vec<Column>, Vec<Tuplet>) {
    let first = score.notes.partition_point(|note| note.bar < bar);
    let end = score.notes.partition_point(|note| note.bar <= bar);
    let lengths: Vec<Length> = (first..end)
        .map(|place| Length {
            beats: score.beats_written(&score.notes[place]),
            tied: score
                .notes
                .get(place + 1)
                .is_some_and(|next| next.continues),
        })
        .collect();
    let written = write_bar(metre, offset, &lengths);
    let mut columns: Vec<Column> = written
        .heads
        .iter()
        .map(|head| {
            let note = &score.notes[first + head.note];
            let group = if head.begins {
                note.group.clone()
            } else {
                ScoreGroup::default()
            };
            Column {
                id: note.id,
                begins: head.begins,
                note: note.note,
                length: head.value,
                place: head.place,
                duration: head.beats,
                tied: head.tied,
                grace: gracenotes::space(&group, height(note.note)),
                group,
                beam: None,
            }
        })
        .collect();
    join_beams(&mut columns, metre);
    (columns, written.tuplets)
}

/// Joins quavers and shorter notes that begin in the same beat with a beam.
fn join_beams(columns: &mut [Column], metre: Metre) {
    let mut beam = 0;
    let mut begin = 0;
    while begin < columns.len() {
        let beat = metre.beam_at(columns[begin].place);
        let short = |column: &Column| column.length.value.flags() > 0;
        let mut end = begin;
        while end < columns.len()
            && short(&columns[end])
            && metre.beam_at(columns[end].place) == beat
        {
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
