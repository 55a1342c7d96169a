//! The journal: a record of practice in one SQLite file, to which entries are only added.
//!
//! This is the only room that knows SQLite. It knows entries and their order. It does not know what
//! they amount to (practice folds them), where the data folder is, or what time it is.
//!
//! Each append is one IMMEDIATE transaction, in WAL mode with `synchronous=FULL`. It first returns
//! what other programs have stored since the last one. So everything that was confirmed is on the
//! disk, and two programs can use one journal. Nothing is changed or removed, not even to mend a
//! damaged file.

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
