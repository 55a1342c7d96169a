//! What is offered where play has stopped by itself, and how far it was taken.

/// A way on that is offered, in the order of the offers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Offer {
    /// The reference once, nothing to play.
    Hear,
    /// The click alone once, to sing to or to tap to.
    Sing,
    /// The stage or rung before.
    Easier,
}

impl Offer {
    /// All of them, in the order in which they are offered.
    pub const ALL: [Self; 3] = [Self::Hear, Self::Sing, Self::Easier];

    /// Its place in that order, from 0.
    pub(super) fn place(self) -> usize {
        self as usize
    }
}

/// What plays once without a mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Demo {
    pub(super) offer: Offer,
    pub(super) with_reference: bool,
    pub(super) serial: u64,
}

/// How far the offers have been taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Offers {
    /// How many were taken, in their order.
    pub(super) taken: usize,
    pub(super) demo: Option<Demo>,
}
