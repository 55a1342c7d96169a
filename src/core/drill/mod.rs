//! Drill files: reads what a player writes into one validated value and reports every problem.
//!
//! Knows the file format, ABC body text and the stage rule. Knows no playing tempo, no screen and
//! no file system: it gets text and returns values.

mod bar_range;
mod body_text;
mod document;
mod ladder;
mod library;
mod make;
mod memory;
mod music;
mod phrases;
mod problem;
mod read;
#[cfg(test)]
mod stage_laws;
mod stages;
mod value;
mod written;
mod yaml;

pub use bar_range::BarRange;
pub use body_text::{near_tempo, plain_body, printed_body};
pub use document::{
    DrillDocument, Exact, LadderDocument, LengthsDocument, OneOrMany, OpeningDocument, SCHEMA,
    StageDocument,
};
pub use ladder::{Ladder, LadderError, Step, lengths_down, rungs};
pub use library::{BUILT_IN, BuiltIn, built_in};
pub use make::{
    Build, CannotMake, InPlace, Request, Tune, line_by_line, make, make_crossings, make_finger,
    make_held, make_in_place, make_joined, make_phrase,
};
pub use memory::{Hiding, hidden_bars, hidden_in_turn, hidden_phrases};
pub use music::{
    MOST_PASSES, Mended, MusicProblem, adopt_music, body_order, is_pipe_key, mend_music,
    read_music, written_out,
};
pub use phrases::{Phrasing, all_bars, parts};
pub use problem::{
    MOST_SHOWN, Place, Problem, ProblemKind, Severity, how_many, more, render, render_line,
};
pub use read::{LARGEST_FILE, MOST_BARS, read, read_for};
pub use stages::{Taken, apart, real_time};
pub use value::{
    Advance, Begins, Drill, MovementLine, Route, SLOW, Stage, StageKind, StepBack, TuneHead,
};
pub use written::{Bar, Gracenote, Group, Music, Written};
pub use yaml::write;
