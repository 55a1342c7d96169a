//! What a row says of how its movement is taught: common practice, no source.
//!
//! It holds what the parts of a movement do not say by themselves. Everything else is told from the
//! parts by `explain`, alike for every row.

use crate::chanter::Note;

/// How a movement is taught.
#[derive(Debug, Clone, Copy)]
pub(in crate::movement) struct Teaching {
    /// What it is for, in a sentence or two that hold wherever it is played; `{to}` is the closing
    /// note. None where the words depend on the notes: then `explain` makes them.
    pub purpose: Option<&'static str>,
    /// Its likeliest fault as what to listen for, without a full stop: the first whose condition
    /// holds; `{first}` is the first note of its parts.
    pub listen_for: &'static [(When, &'static str)],
    /// The smaller movements it is made of, which come first: the first whose condition holds.
    pub made_of: &'static [(When, &'static [&'static str])],
    /// The notes that it is shown between, where the counted tunes hardly have it or its gracenotes
    /// cannot tell it there.
    pub shown_between: Option<(Note, Note)>,
    /// Whose time it takes.
    pub pace: Pace,
}

/// Where something that is taught holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::movement) enum When {
    /// Everywhere.
    Always,
    /// Where it closes on this note.
    ClosesOn(Note),
    /// Where nothing sounds before it.
    NothingBefore,
    /// Where the hand falls on its first low G, which is no tap.
    FallsOnLowG,
    /// Where a low G stands before its last part and no gracenote does.
    LowGBeforeTheLast,
    /// Where fewer than two low Gs are heard, the notes around it counted.
    OneLowG,
}

/// What a movement has to do with the beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::movement) enum Pace {
    /// It belongs to music that has a beat.
    Light,
    /// It belongs to a variation of pibroch, in which the theme note has the beat.
    Variation,
    /// It is so long that it takes its own time and not the note before's.
    LongVariation,
    /// It belongs to a ground, which has no pulse.
    Ground,
}

impl Teaching {
    /// Nothing that its parts do not say.
    pub(super) const OF_ITS_PARTS: Self = Self {
        purpose: None,
        listen_for: &[],
        made_of: &[],
        shown_between: None,
        pace: Pace::Light,
    };

    /// What it is for.
    pub(super) const fn purpose(mut self, words: &'static str) -> Self {
        self.purpose = Some(words);
        self
    }

    /// Its likeliest fault.
    pub(super) const fn listen_for(mut self, faults: &'static [(When, &'static str)]) -> Self {
        self.listen_for = faults;
        self
    }

    /// The smaller movements it is made of.
    pub(super) const fn made_of(
        mut self,
        movements: &'static [(When, &'static [&'static str])],
    ) -> Self {
        self.made_of = movements;
        self
    }

    /// The notes it is shown between.
    pub(super) const fn shown_between(mut self, before: Note, after: Note) -> Self {
        self.shown_between = Some((before, after));
        self
    }

    /// Whose time it takes.
    pub(super) const fn pace(mut self, pace: Pace) -> Self {
        self.pace = pace;
        self
    }
}
