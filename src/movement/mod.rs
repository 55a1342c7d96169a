//! Movements: which gracenotes a named figure has between two notes, and what each is for.
//!
//! Knows the catalogue, the context (note before, note after) and the schools. Knows no tempo,
//! no drill and no sound.

mod context;
mod parts;

pub use context::Context;
pub use parts::{Part, Role};
