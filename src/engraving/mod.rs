//! Engraving: turns a score into glyphs, lines and words at places in staff spaces.
//!
//! Both paper and terminal use the result. This room knows proportions, widths and where a stem
//! ends. It knows no paper, no unit of length, no pixel and no terminal: [`terminal`] rounds the
//! layout to cells of characters, and the caller chooses colours.
//!
//! x points right from the left end of the staff, and y points up from its lowest line. Both are in
//! staff spaces, so the staff's lines are at y = 0, 1, 2, 3 and 4.

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
