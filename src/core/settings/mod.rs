//! The player's settings: one value, and where each part of it came from.
//!
//! Pure: gets the file's text, the environment's words and the flags' words, and gives values and
//! every problem at once. Knows no file system, no environment and no command line.

mod layered;
mod problem;
mod read;
mod table;
mod value;
mod words;

pub use layered::{Origin, SettingNow, Settings};
pub use problem::SettingProblem;
pub use read::{LARGEST_FILE, Source, read};
pub use table::{CLICKS, Id, Key, SETTINGS, Setting, SettingKind, id_of, keys, of, setting};
pub use value::Value;
