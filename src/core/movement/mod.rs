//! Movements: the gracenotes that a named movement has between two notes, and what each is for.
//!
//! Knows the catalogue, the context (note before, note after) and the schools. Knows no tempo,
//! no drill and no sound.

mod catalogue;
mod context;
pub mod explain;
mod group;
mod lengths;
mod parts;
mod pattern;
mod recognise;
mod refusal;
mod resolve;
mod school;
mod search;

pub use catalogue::{
    Family, FormRow, Movement, Named, TuneCount, UnknownMovement, find, find_said,
    names_of_schools, tune_counts,
};
pub use context::Context;
pub use explain::{Explanation, explain};
pub use group::{PlacedGroup, place_group};
pub use lengths::Lengths;
pub use parts::{Part, Role};
pub use pattern::write_parts;
pub use recognise::{Recognition, is_movement, is_playable, is_played_early, recognise};
pub use resolve::{Resolution, Resolved, opening_gracenote, resolve};
pub use school::{SCHOOLS, School, Schools, UnknownSchool};
pub use search::{
    Usage, counted, counted_contexts, difficulty, search, typical_context, works_finger,
};
