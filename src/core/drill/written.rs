//! Written music: bars of notes with their gracenotes, and the order in which the bars are played.
//!
//! The same type holds the ABC music of a drill and the bars that a stage makes of a movement.

use crate::chanter::Note;
use crate::movement::Resolved;
use crate::rhythm::{Length, Metre, Pointing, WrittenBar, write_bar};
use crate::units::{Beats, Fraction};
use std::ops::Range;

/// Bars as written on paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Music {
    /// The metre at the beginning; it applies until a bar changes it ([`Bar::metre`]).
    pub metre: Metre,
    /// The bars, in written order.
    pub bars: Vec<Bar>,
    /// Indices into `bars` in the order they are played: repeats and endings unrolled.
    pub order: Vec<usize>,
    /// How its pairs are pointed in playing. The written lengths do not depend on it.
    pub pointing: Pointing,
    /// The number of the first full bar. It is 1, or the number in the tune for bars taken from a
    /// tune.
    pub first_bar: u16,
}

/// One bar as written.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Bar {
    /// Its notes, in order.
    pub notes: Vec<Written>,
    /// True when a repeated part begins with this bar.
    pub repeat_begins: bool,
    /// True when a repeated part ends with this bar.
    pub repeat_ends: bool,
    /// A first (1) or second (2) ending begins with this bar; none otherwise.
    pub ending: Option<u8>,
    /// True when the bar ends with a double bar line, which ends a part of the tune.
    pub part_ends: bool,
    /// True when a written line, and with it a phrase, ends with this bar. Only music that begins
    /// without a metre has such bars.
    pub line_ends: bool,
    /// The metre that begins with this bar, when it changes. By default a beat keeps its length,
    /// whichever note it is, so lengths in beats stay the same (common practice, no source).
    pub metre: Option<Metre>,
}

/// One melody note as written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The note.
    pub note: Note,
    /// Its written length in beats.
    pub length: Beats,
    /// True when it is tied to the next note, which is the same note and is not sounded again.
    pub tied: bool,
    /// The gracenotes before it.
    pub group: Group,
}

/// The gracenotes before a melody note.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Group {
    /// No gracenotes.
    #[default]
    None,
    /// The opening gracenote of a bar, which depends on the note before.
    Opening,
    /// Gracenotes written one by one. Their movement is found from them and the notes around them.
    Spelled(Vec<Gracenote>),
    /// A movement or a part of one, already resolved.
    Movement(Resolved),
}

/// A gracenote as written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gracenote {
    /// The note.
    pub note: Note,
    /// Its written length in beats, when the group holds this note long; none otherwise.
    pub held: Option<Beats>,
}

impl Group {
    /// The number of gracenotes in it.
    pub fn len(&self) -> usize {
        match self {
            Self::None => 0,
            Self::Opening => 1,
            Self::Spelled(spelled) => spelled.len(),
            Self::Movement(movement) => movement.parts.len(),
        }
    }

    /// True when no gracenote stands before the note.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

impl Written {
    /// True when it is tied to `next` and no gracenote separates the two.
    fn sounds_on_in(&self, next: Option<&Self>) -> bool {
        self.tied && next.is_some_and(|next| next.note == self.note && next.group.is_empty())
    }
}

impl Bar {
    /// The sum of its notes.
    pub fn length(&self) -> Beats {
        self.notes.iter().map(|note| note.length).sum()
    }

    /// True when it is shorter than a full bar; always false without a metre.
    pub fn is_short(&self, metre: Metre) -> bool {
        !metre.is_free() && self.length() < metre.bar()
    }
}

impl Music {
    /// The music of bars that are played once, in written order.
    pub fn straight(metre: Metre, bars: Vec<Bar>) -> Self {
        let order = (0..bars.len()).collect();
        Self {
            metre,
            bars,
            order,
            pointing: Pointing::default(),
            first_bar: 1,
        }
    }

    /// The metre of each written bar.
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

    /// True when a note stands beside one of three times its length, as in a dot and its cut.
    pub fn has_pairs(&self) -> bool {
        self.pairs() > 0
    }

    /// How many pairs of notes stand side by side of which one is three times as long as the other.
    pub(super) fn pairs(&self) -> usize {
        let three = Fraction::from_integer(3);
        let of_a_bar = |bar: &Bar| {
            let beside = bar.notes.windows(2).filter(|two| {
                let (first, second) = (two[0].length, two[1].length);
                first == second * three || second == first * three
            });
            beside.count()
        };
        self.bars.iter().map(of_a_bar).sum()
    }

    /// True when the metre changes within the music.
    pub fn changes_metre(&self) -> bool {
        self.bars.iter().any(|bar| bar.metre.is_some())
    }

    /// The metre of a written bar.
    fn metre_of(&self, bar: usize) -> Metre {
        let mut so_far = self.bars.iter().take(bar + 1).rev();
        so_far.find_map(|bar| bar.metre).unwrap_or(self.metre)
    }

    /// The written bars of each part as index ranges; together they are all bars. A part ends at a
    /// repeat sign or a double bar line. A second ending belongs to the part of its first ending. A
    /// short bar alone before a full one is the pickup of the next part (common practice, no
    /// source).
    pub fn parts(&self) -> Vec<Range<usize>> {
        let mut parts = Vec::new();
        let mut begins = 0;
        for (at, bar) in self.bars.iter().enumerate() {
            let ends = match self.bars.get(at + 1) {
                None => true,
                Some(next) if next.ending.is_some_and(|ending| ending > 1) => false,
                Some(next)
                    if at == begins
                        && bar.is_short(self.metre_of(at))
                        && !next.is_short(self.metre_of(at + 1)) =>
                {
                    false
                }
                Some(next) => bar.repeat_ends || bar.part_ends || next.repeat_begins,
            };
            if ends {
                parts.push(begins..at + 1);
                begins = at + 1;
            }
        }
        parts
    }

    /// The length of a part's pickup in beats: its first bar, when that is short and not the whole
    /// part; otherwise 0.
    pub fn pickup_of(&self, part: &Range<usize>) -> Beats {
        match self.bars.get(part.start) {
            Some(first) if part.len() > 1 && first.is_short(self.metre_of(part.start)) => {
                first.length()
            }
            _ => Beats::ZERO,
        }
    }

    /// The length of the pickup at the start of the piece, in beats; 0 when the first bar is full.
    pub fn pickup(&self) -> Beats {
        // A short first bar is a pickup, whatever bar line follows it.
        self.pickup_of(&(0..self.bars.len()))
    }

    /// For each written bar that begins a part, the length of that part's pickup.
    pub(super) fn pickups(&self) -> Vec<Option<Beats>> {
        let mut pickups = vec![None; self.bars.len()];
        for part in self.parts() {
            pickups[part.start] = Some(self.pickup_of(&part));
        }
        if let Some(first) = pickups.first_mut() {
            *first = Some(self.pickup());
        }
        pickups
    }

    /// The number of each written bar. The first full bar has the number [`Music::first_bar`],
    /// usually 1. A pickup is 0 and is not counted. A part's short last bar and the next part's
    /// pickup are one bar with one number (common practice of engravers, no source).
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
            // The pickup at the start of the piece is completed by its last bar, not by the next
            // bar.
            halved = completes || (place == 0 && first == 0);
        }
        let ahead = self.first_bar.saturating_sub(1);
        for number in numbers.iter_mut().filter(|number| **number > 0) {
            *number = number.saturating_add(ahead);
        }
        numbers
    }

    /// Where the first note of each written bar stands in a full bar, in beats. A short bar that
    /// begins a part is its pickup and stands at the end of a full bar.
    pub fn offsets(&self) -> Vec<Beats> {
        let pickups = self.pickups().into_iter().map(Option::unwrap_or_default);
        self.metres()
            .into_iter()
            .zip(pickups)
            .map(|(metre, pickup)| {
                if pickup.is_zero() {
                    Beats::ZERO
                } else {
                    metre.bar() - pickup
                }
            })
            .collect()
    }

    /// Every bar as written notes with heads, dots, ties and tuplets. A note is tied when the next
    /// note is the same and has no gracenote, even across a bar line.
    pub fn write_bars(&self) -> Vec<WrittenBar> {
        let mut sounds_on = vec![false; self.bars.len()];
        for pair in self.order.windows(2) {
            let last = self.bars[pair[0]].notes.last();
            let next = self.bars[pair[1]].notes.first();
            sounds_on[pair[0]] |= last.is_some_and(|last| last.sounds_on_in(next));
        }
        let places = self.metres().into_iter().zip(self.offsets());
        self.bars
            .iter()
            .zip(places)
            .zip(sounds_on)
            .map(|((bar, (metre, offset)), across)| {
                let within = bar.notes.windows(2);
                let within = within.map(|pair| pair[0].sounds_on_in(Some(&pair[1])));
                let lengths: Vec<Length> = bar
                    .notes
                    .iter()
                    .zip(within.chain([across]))
                    .map(|(note, tied)| Length {
                        beats: note.length,
                        tied,
                    })
                    .collect();
                write_bar(metre, offset, &lengths)
            })
            .collect()
    }

    /// The length of all bars as played, in beats.
    pub fn length(&self) -> Beats {
        self.order
            .iter()
            .filter_map(|index| self.bars.get(*index))
            .map(Bar::length)
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::read_music;

    fn reads(text: &str, metre: Metre) -> Music {
        let (music, problems) = read_music(text, metre, metre.default_unit(), "");
        assert_eq!(problems, [], "{text}");
        music
    }

    /// A short second ending completes its part's pickup but is not a pickup, so its notes are
    /// beamed from the start of the bar.
    #[test]
    fn a_pickup_stands_at_the_end_of_its_bar_and_a_short_ending_at_the_start() {
        let music = reads("|:e2|A4 B4|1c4 d2:|2c4 B2||", Metre::FOUR_FOUR);
        assert_eq!(music.parts(), std::slice::from_ref(&(0..4)));
        let offsets: Vec<Beats> = [3, 0, 0, 0].map(Beats::whole).into();
        assert_eq!(music.offsets(), offsets);
        // The music has a pickup of the second part, and a repeat sign after a pickup.
        let music = reads("e2|:A4 B4|c4 d4:|e4 d2||e2|A4 B4|c4 A2|]", Metre::FOUR_FOUR);
        assert_eq!(music.parts(), [0..3, 3..4, 4..7]);
    }

    /// A tied note never sounds on through a gracenote.
    #[test]
    fn a_tie_across_a_bar_line_stands_only_where_the_note_sounds_on() {
        let music = reads("A4 B4-|B4 c4-|{g}c4 d4|]", Metre::FOUR_FOUR);
        let tied = |bar: &WrittenBar| bar.heads.last().is_some_and(|head| head.tied);
        let all: Vec<bool> = music.write_bars().iter().map(tied).collect();
        assert_eq!(all, [true, false, false]);
    }

    #[test]
    fn without_a_metre_no_bar_is_a_pickup() {
        let music = reads("A2|B4 c4|d2|e8|]", Metre::FREE);
        assert_eq!(music.pickup_of(&music.parts()[0]), Beats::ZERO);
        assert_eq!(music.offsets(), [Beats::ZERO; 4]);
    }

    /// Bars of a tune that are practised alone keep the numbers that are printed on the tune's
    /// sheet.
    #[test]
    fn bars_of_a_tune_are_counted_as_the_tune_has_them() {
        let music = Music {
            first_bar: 5,
            ..reads("e2|A4 B4|c4 d4|e4 A2|]", Metre::FOUR_FOUR)
        };
        assert_eq!(music.bar_numbers(), [0, 5, 6, 7]);
    }

    /// The screen, the sheet and `tune` all use these numbers.
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
