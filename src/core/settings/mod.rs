//! The player's settings, and the source of each value.
//!
//! Pure: takes the text of the file, the words of the environment and the words of the flags, and
//! gives the values and all problems at once. Knows no file system, no environment and no command
//! line.

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
