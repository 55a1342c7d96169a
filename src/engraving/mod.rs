//! Engraving: a score as glyphs, lines and words placed in staff spaces.
//!
//! Paper and terminal both read it. Knows proportions, widths and where a stem ends. Knows no
//! paper, no unit of length, no pixel and no terminal: [`terminal`] rounds to cells of characters
//! and leaves colours to whoever draws them.
//!
//! x runs to the right from the left end of the staff, y upwards from its lowest line, both in
//! staff spaces: the staff's lines are y = 0, 1, 2, 3, 4.

mod beams;
mod columns;
mod endings;
pub mod font;
mod gracenotes;
mod lay;
mod metre;
mod names;
mod placed;
mod proportions;
mod settings;
mod spacing;
mod systems;
pub mod terminal;
mod tuplets;

pub use lay::lay_out;
pub use placed::{Align, BarPlace, Bounds, Element, ElementKind, Engraved, InkShape, System};
pub use proportions::GRACE_SCALE;
pub use settings::{LayoutSettings, Spacing};
