//! What the commands share: opened drills, settings, the plan of the day, homework, the terminal,
//! the event loop, the shell around the app, and the microphone.
//!
//! This room uses files, folders, the clock and streams. It knows no command and no command line.

pub(crate) mod awaiting;
pub(crate) mod calibration;
pub(crate) mod drill_files;
pub(crate) mod ear;
pub(crate) mod event_loop;
pub(crate) mod failure;
pub(crate) mod files;
pub(crate) mod finding;
pub(crate) mod folders;
pub(crate) mod homework;
pub(crate) mod library;
pub(crate) mod low_a;
pub(crate) mod making;
pub(crate) mod needs;
pub(crate) mod open;
pub(crate) mod output;
pub(crate) mod pedals;
pub(crate) mod phrases;
pub(crate) mod plan;
pub(crate) mod session;
pub(crate) mod settings;
pub(crate) mod shell;
pub(crate) mod signals;
pub(crate) mod stages;
pub(crate) mod table;
pub(crate) mod takes;
pub(crate) mod terminal;
pub(crate) mod told;

pub(crate) use failure::Failure;
