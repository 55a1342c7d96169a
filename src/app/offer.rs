//! The offers: what the program proposes after play has stopped by itself, and how many of them
//! were taken.

/// An offer, in the order in which they are made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Offer {
    /// Hear the reference once, with nothing to play.
    Hear,
    /// Hear the click alone once, to sing or tap to.
    Sing,
    /// Go to an easier cell.
    Easier,
}

impl Offer {
    /// All offers, in the order in which they are made.
    pub const ALL: [Self; 3] = [Self::Hear, Self::Sing, Self::Easier];

    /// The offer's place in [`Self::ALL`], from 0.
    pub(super) fn place(self) -> usize {
        self as usize
    }
}

/// A demonstration: it plays once and takes no mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Demo {
    pub(super) offer: Offer,
    pub(super) with_reference: bool,
    pub(super) serial: u64,
}

/// How far the offers have been taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Offers {
    /// How many offers were taken so far.
    pub(super) taken: usize,
    pub(super) demo: Option<Demo>,
}
