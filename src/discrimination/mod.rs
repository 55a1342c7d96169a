//! Training the ear to tell a clean movement from one with a fault: a fault is put into a timeline,
//! a short piece of it is listened to, and the smallest audible fault is searched for.
//!
//! This room is pure: values go in and values come out. It knows no device, no screen and no
//! journal.

mod excerpt;
mod figure;
mod plant;
mod quest;

pub use excerpt::{Excerpt, excerpt};
pub use plant::{SMALLEST, Spot, plant, spots};
pub use quest::{ENOUGH, Estimate, Quest};
