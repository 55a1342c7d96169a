//! Written music: bars of notes with their gracenotes, and the order the bars are played in.
//!
//! One value for what a drill writes out in ABC and for what a stage makes of a movement.

use crate::chanter::Note;
use crate::movement::Resolved;
use crate::rhythm::{Length, Metre, WrittenBar, write_bar};
use crate::units::Beats;

/// Bars as they stand on paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Music {
    /// How its bars are counted, up to a change ([`Bar::metre`]).
    pub metre: Metre,
    /// The bars, in written order.
    pub bars: Vec<Bar>,
    /// Indices into `bars` in the order they are played: repeats and endings unrolled.
    pub order: Vec<usize>,
}

/// One bar as written.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Bar {
    /// Its notes, in order.
    pub notes: Vec<Written>,
    /// A repeated part begins here.
    pub repeat_begins: bool,
    /// A repeated part ends here.
    pub repeat_ends: bool,
    /// A first (1) or second (2) ending begins here.
    pub ending: Option<u8>,
    /// The bar ends with a double bar line: a part of the tune is over.
    pub part_ends: bool,
    /// Another metre begins here. A beat lasts as long as before, whichever note it is, so that
    /// lengths in beats need no other measure (common practice, no source).
    pub metre: Option<Metre>,
}

/// One melody note as written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The note.
    pub note: Note,
    /// Its written length.
    pub length: Beats,
    /// Tied to the next note, which is the same and sounds on.
    pub tied: bool,
    /// What stands before it.
    pub group: Group,
}

/// The gracenotes before a melody note.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Group {
    /// None.
    #[default]
    None,
    /// The opening gracenote of a bar, chosen against the last note sounded.
    Opening,
    /// Written out; what they are is found from the notes.
    Spelled(Vec<Gracenote>),
    /// A movement or a part of one, already resolved.
    Movement(Resolved),
}

/// A gracenote as written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gracenote {
    /// The note.
    pub note: Note,
    /// A written length, where the group holds this note long.
    pub held: Option<Beats>,
}

impl Group {
    /// How many gracenotes stand in it.
    pub fn len(&self) -> usize {
        match self {
            Self::None => 0,
            Self::Opening => 1,
            Self::Spelled(spelled) => spelled.len(),
            Self::Movement(movement) => movement.parts.len(),
        }
    }

    /// True where nothing stands before the note.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

impl Bar {
    /// The sum of its notes.
    pub fn length(&self) -> Beats {
        self.notes.iter().map(|note| note.length).sum()
    }
}

impl Music {
    /// Bars played once, in written order.
    pub fn straight(metre: Metre, bars: Vec<Bar>) -> Self {
        let order = (0..bars.len()).collect();
        Self { metre, bars, order }
    }

    /// How each written bar is counted.
    pub fn metres(&self) -> Vec<Metre> {
        let mut now = self.metre;
        self.bars
            .iter()
            .map(|bar| {
                now = bar.metre.unwrap_or(now);
                now
            })
            .collect()
    }

    /// True where the metre changes on the way.
    pub fn changes_metre(&self) -> bool {
        self.bars.iter().any(|bar| bar.metre.is_some())
    }

    /// The length of the pickup: nothing where the first bar is full.
    pub fn pickup(&self) -> Beats {
        match self.bars.first() {
            Some(first)
                if self.bars.len() > 1 && is_short(first, first.metre.unwrap_or(self.metre)) =>
            {
                first.length()
            }
            _ => Beats::ZERO,
        }
    }

    /// The number of each written bar: the first full bar is 1, a pickup is 0 and not counted. A
    /// part's short last bar and the pickup of the next part are one bar with one number (common
    /// practice of engravers, no source).
    pub fn bar_numbers(&self) -> Vec<u16> {
        let metres = self.metres();
        let first = u16::from(self.pickup().is_zero());
        let mut numbers: Vec<u16> = Vec::with_capacity(self.bars.len());
        let mut halved = true;
        for (place, bar) in self.bars.iter().enumerate() {
            let length = bar.length();
            let before = place
                .checked_sub(1)
                .map(|before| self.bars[before].length());
            let full = metres[place].bar();
            let completes = !metres[place].is_free()
                && !halved
                && before.is_some_and(|before| before < full && before + length == full);
            numbers.push(match numbers.last() {
                Some(last) => last.saturating_add(u16::from(!completes)),
                None => first,
            });
            // the pickup of the piece is completed by its last bar, not by the next
            halved = completes || (place == 0 && first == 0);
        }
        numbers
    }

    /// Where the first note of each written bar stands in a full bar: a short bar that begins a
    /// part is its pickup and stands at the end of one.
    pub fn offsets(&self) -> Vec<Beats> {
        let mut begins_a_part = self.bars.len() > 1;
        self.bars
            .iter()
            .zip(self.metres())
            .map(|(bar, metre)| {
                let (length, full) = (bar.length(), metre.bar());
                let pickup =
                    std::mem::replace(&mut begins_a_part, bar.repeat_ends || bar.part_ends);
                if pickup && is_short(bar, metre) {
                    full - length
                } else {
                    Beats::ZERO
                }
            })
            .collect()
    }

    /// Every bar as it is written: heads, dots, ties, tuplets. Within a bar a note sounds on where it
    /// is tied to the next, which is the same and has no gracenote.
    pub fn write_bars(&self) -> Vec<WrittenBar> {
        let places = self.metres().into_iter().zip(self.offsets());
        self.bars
            .iter()
            .zip(places)
            .map(|(bar, (metre, offset))| {
                let after = bar.notes.iter().skip(1).map(Some).chain([None]);
                let lengths: Vec<Length> = bar
                    .notes
                    .iter()
                    .zip(after)
                    .map(|(note, next)| Length {
                        beats: note.length,
                        tied: note.tied
                            && next
                                .is_none_or(|next| next.note == note.note && next.group.is_empty()),
                    })
                    .collect();
                write_bar(metre, offset, &lengths)
            })
            .collect()
    }

    /// The length of all bars as played.
    pub fn length(&self) -> Beats {
        self.order
            .iter()
            .filter_map(|index| self.bars.get(*index))
            .map(Bar::length)
            .sum()
    }
}

/// Less than a full bar; without a metre none is.
fn is_short(bar: &Bar, metre: Metre) -> bool {
    !metre.is_free() && bar.length() < metre.bar()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::read_music;

    /// The screen, the sheet and `tune` would otherwise each count in their own way.
    #[test]
    fn a_pickup_is_not_counted_and_a_bar_in_two_halves_once() {
        let numbers = |text: &str| {
            let metre = Metre::TWO_FOUR;
            let (music, problems) = read_music(text, metre, metre.default_unit(), "");
            assert_eq!(problems, [], "{text}");
            music.bar_numbers()
        };
        assert_eq!(numbers("A4 B4|c4 d4|"), [1, 2]);
        assert_eq!(numbers("A2|B4 c4|d4 B2|"), [0, 1, 2]);
        assert_eq!(numbers("A2|B4 c2|"), [0, 1]);
        assert_eq!(
            numbers("A2|B4 c4|d4 B2:|e2|B4 c4|d4 B2:|"),
            [0, 1, 2, 2, 3, 4]
        );
    }
}
