//! What a catalogue row says about teaching its movement (common practice, no source).
//!
//! A row holds only what the parts of the movement do not show. `explain` derives everything else
//! from the parts, in the same way for every row.

use crate::chanter::Note;

/// How a movement is taught.
#[derive(Debug, Clone, Copy)]
pub(in crate::movement) struct Teaching {
    /// What the movement is, in a sentence or two that hold in every context; `{to}` is replaced by
    /// the closing note. None when the words depend on the notes; `explain` then makes them.
    pub purpose: Option<&'static str>,
    /// Its likeliest fault as something to listen for, without a full stop. The first entry whose
    /// condition holds is used; `{first}` is replaced by the first note of the parts.
    pub listen_for: &'static [(When, &'static str)],
    /// The smaller movements that it is made of and that are practised first. The first entry whose
    /// condition holds is used.
    pub made_of: &'static [(When, &'static [&'static str])],
    /// The notes between which it is shown by default; none to use the commonest context in the
    /// counted tunes. It is needed when the tunes hardly have the movement, or when its gracenotes
    /// do not identify it there.
    pub shown_between: Option<(Note, Note)>,
    /// Whose time it takes.
    pub pace: Pace,
}

/// A condition under which something that is taught holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::movement) enum When {
    /// Always.
    Always,
    /// The movement closes on this note.
    ClosesOn(Note),
    /// No note sounds before the movement.
    NothingBefore,
    /// The hand comes to the first low G from another note, so this low G is not a tap.
    FallsOnLowG,
    /// A low G stands before its last part and no gracenote does.
    LowGBeforeTheLast,
    /// Fewer than two low Gs sound in the movement and the notes around it.
    OneLowG,
}

/// How a movement relates to the beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::movement) enum Pace {
    /// It belongs to music that has a beat.
    Light,
    /// It belongs to a variation of pibroch, in which the theme note has the beat.
    Variation,
    /// It is so long that it takes its own time, none of it from the note before.
    LongVariation,
    /// It belongs to a ground, which has no pulse.
    Ground,
}

impl Teaching {
    /// A row that adds nothing to what the parts show.
    pub(super) const OF_ITS_PARTS: Self = Self {
        purpose: None,
        listen_for: &[],
        made_of: &[],
        shown_between: None,
        pace: Pace::Light,
    };

    /// Sets what the movement is.
    pub(super) const fn purpose(mut self, words: &'static str) -> Self {
        self.purpose = Some(words);
        self
    }

    /// Sets its likeliest fault, with conditions.
    pub(super) const fn listen_for(mut self, faults: &'static [(When, &'static str)]) -> Self {
        self.listen_for = faults;
        self
    }

    /// Sets the smaller movements that it is made of.
    pub(super) const fn made_of(
        mut self,
        movements: &'static [(When, &'static [&'static str])],
    ) -> Self {
        self.made_of = movements;
        self
    }

    /// Sets the notes between which it is shown.
    pub(super) const fn shown_between(mut self, before: Note, after: Note) -> Self {
        self.shown_between = Some((before, after));
        self
    }

    /// Sets whose time it takes.
    pub(super) const fn pace(mut self, pace: Pace) -> Self {
        self.pace = pace;
        self
    }
}
