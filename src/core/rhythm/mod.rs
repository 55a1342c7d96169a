//! Metres, written note values, the patterns of clicks, and how pairs are pointed.
//!
//! Knows how a bar is counted and how a length is written. Knows no tempo and no notes.

mod duration;
mod metre;
mod pattern;
mod pointing;
mod tune_kind;
mod writing;

pub use duration::{NoteValue, WrittenLength};
pub use metre::{Metre, MetreError, plain_or_dotted};
pub use pattern::{Click, ClickPlan, ClickWeight, ReferencePlan, Subdivision};
pub use pointing::{Pointed, Pointing, PointingSource};
pub use tune_kind::{names_air, names_march_or_dance, names_pibroch};
pub use writing::{Head, Length, Tuplet, WrittenBar, write_bar};
