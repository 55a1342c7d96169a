//! Homework: what a teacher gives and a student returns, as documents that a person can read.
//!
//! This room takes text and returns values. It knows no files, no journal and no screen. Names of
//! people are only what was typed.

mod document;
mod newest;
mod outcome;
mod page;
mod seal;
mod yaml;

pub use document::{
    Assignment, HomeworkError, HomeworkQuestion, MarkedDay, Report, ReportedDrill, Task, WhatFile,
    kind_of, read_assignment, read_report, write_assignment, write_report,
};
pub use newest::newest;
pub use outcome::{GoalError, goal_in, reached, report_drill, words_of};
pub use page::{Answers, Row, clean_words, groups, page, rows};
pub use seal::{Broken, LARGEST_FILE, checksum, open_seal, sealed};
