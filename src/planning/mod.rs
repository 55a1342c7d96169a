//! Planning: from what the journal holds and a date to what to practise today, what five in a row
//! is worth, how the weeks went, and a warm-up.
//!
//! Pure: the date comes in as a value. Knows no journal file, no clock, no sound and no screen.

mod bars;
mod chances;
mod criterion;
mod digest;
mod known;
mod pointed;
mod progress;
mod session;
mod staircase;
mod today;
mod warmup;

#[cfg(test)]
pub(crate) use bars::tests::{READ, missed};
pub use bars::{BarLine, Lately, bar_lines, is_part_of, work_on, work_on_words};
pub use chances::{Chance, repetitions_needed};
pub use criterion::{Criterion, CriterionError};
pub use digest::{CellDays, Day, Digest, Said, date_of, day_of, local_day};
pub use known::Known;
pub use pointed::{PointedWeek, pointed_weeks};
pub use progress::{
    CellLine, Climbed, DayLine, EARLIER, Earlier, HeardApart, HeardOnDay, HeldCells, Played,
    Progress, heard_apart, progress, rise,
};
pub use session::{SessionPart, session, warm_minutes};
pub use staircase::Staircase;
pub use today::{Due, Item, Order, Rule, Why, ago, due_again, homework_item, is_newcomer, today};
pub use warmup::{Purpose, WarmStep, WarmUpAsked, warm_up};
