//! The journal: what happened at practice, in one SQLite file, only ever added to.
//!
//! The only folder that knows SQLite. Knows entries and their order; knows nothing of what they
//! come to (practice folds them), where the data folder is, and what time it is.
//!
//! Every addition is one IMMEDIATE transaction that first gives back what other programs stored
//! since, in WAL with `synchronous=FULL`: what was answered is on the disk, and two programs on
//! one journal both work. Nothing is changed or removed, not even to mend a damaged file.

mod care;
mod copied;
mod error;
mod format;
#[cfg(test)]
mod journal_laws;
mod marks;
mod mend;
mod reading;
mod row;
mod store;
mod summary;
mod trial;

pub use care::{Health, look_over};
pub use error::{JournalError, Trouble};
pub use format::FORMAT;
pub use mend::{Odd, WrongClock, absurd, mended, odd};
pub use reading::LastPlace;
pub use store::{Appended, Journal, Merged};
