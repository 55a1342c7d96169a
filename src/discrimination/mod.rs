//! Telling a clean movement from one with a fault: the fault planted in a timeline, a short piece of
//! it to listen to, and the search for the smallest fault that is heard.
//!
//! Pure: values in, values out; whoever plays and asks is elsewhere. Knows no device, no screen and
//! no journal.

mod excerpt;
mod figure;
mod plant;
mod quest;

pub use excerpt::{Excerpt, excerpt};
pub use plant::{SMALLEST, Spot, plant, spots};
pub use quest::{ENOUGH, Estimate, Quest};
