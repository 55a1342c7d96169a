//! The two documents: the assignment a teacher writes and the report that comes back.

use super::seal::{Broken, open_seal, sealed};
use super::yaml;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// What a teacher gives.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Assignment {
    /// The version of the format: 1.
    pub homework: u32,
    /// What it is called.
    pub title: String,
    /// For whom, as the teacher typed it; empty: for whoever opens it.
    #[serde(default, rename = "for", skip_serializing_if = "Vec::is_empty")]
    pub whom: Vec<String>,
    /// The day it was written.
    pub given: Date,
    /// By when.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<Date>,
    /// The teacher's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// What to do, one for each drill.
    pub tasks: Vec<Task>,
}

/// One drill to work on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Task {
    /// The drill's name.
    pub drill: String,
    /// What to reach: a stage and a tempo, `real time at 66`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reach: Option<String>,
    /// What counts as reached: `5 in a row`, `9 of 10`, `80 % sure of 80 %`; left out, the drill's
    /// own number in a row.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<String>,
    /// The drill's file, so that it is the same drill for everyone.
    pub file: String,
}

/// What a student returns.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Report {
    /// The version of the format: 1.
    pub report: u32,
    /// The homework's title.
    pub title: String,
    /// The checksum of the homework it answers; reports of earlier versions have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub homework: Option<String>,
    /// Who it is from, as the student typed it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// The day it was written.
    pub made: Date,
    /// By when it was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<Date>,
    /// What was done, drill by drill.
    pub drills: Vec<ReportedDrill>,
    /// Words and questions for the teacher.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub questions: Vec<HomeworkQuestion>,
    /// Names of recordings that go along beside this file.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub takes: Vec<String>,
}

/// One drill of a report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReportedDrill {
    /// Its name.
    pub drill: String,
    /// What was to be reached.
    pub reach: String,
    /// The day it was reached.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reached: Option<Date>,
    /// Where the climb stands: a stage and a tempo.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    /// Since when it stands there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<Date>,
    /// Marks by day.
    pub days: Vec<MarkedDay>,
    /// The two commonest faults, where listening found any.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<String>,
}

/// One day's marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MarkedDay {
    /// The day.
    pub day: Date,
    /// Said to be clean.
    pub clean: u32,
    /// Said not to be clean.
    pub not_clean: u32,
    /// Assumed clean, counted apart.
    #[serde(default, skip_serializing_if = "is_none")]
    pub assumed: u32,
}

#[allow(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde calls it with a reference"
)]
fn is_none(count: &u32) -> bool {
    *count == 0
}

/// A word for the teacher.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HomeworkQuestion {
    /// The day it was written, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub day: Option<Date>,
    /// The mark it stands beside, in words; left out for a question.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<String>,
    /// The words.
    pub text: String,
}

impl HomeworkQuestion {
    /// Says first which drill of several the words belong to.
    pub fn name_drill(&mut self, drill: &str) {
        self.about = Some(match self.about.take() {
            Some(about) => format!("{drill}, {about}"),
            None => drill.to_owned(),
        });
    }

    /// True where the words say that they belong to this drill.
    pub(super) fn names_drill(&self, drill: &str) -> bool {
        let rest = self
            .about
            .as_deref()
            .and_then(|about| about.strip_prefix(drill));
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(", "))
    }
}

/// Why a homework file cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HomeworkError {
    /// The file as a whole is damaged.
    Broken(Broken),
    /// Its text cannot be read.
    Unreadable(String),
    /// A newer program wrote it.
    Newer(u32),
    /// A report where an assignment was expected, or the other way round.
    Other(WhatFile),
}

impl std::fmt::Display for HomeworkError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Broken(broken) => broken.fmt(f),
            Self::Unreadable(why) => write!(f, "the file does not read: {why}"),
            Self::Newer(found) => write!(
                f,
                "a newer gracerung wrote this file (format {found}; this one knows 1): use the newer one"
            ),
            Self::Other(WhatFile::Report) => {
                write!(f, "this is a report; expected the homework a teacher gave")
            }
            Self::Other(WhatFile::Assignment) => {
                write!(f, "this is the homework itself; expected a report on it")
            }
        }
    }
}
impl std::error::Error for HomeworkError {}

/// Which of the two a file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhatFile {
    /// What a teacher gives.
    Assignment,
    /// What a student returns.
    Report,
}

/// Which document a file begins as; nothing for another file.
pub fn kind_of(bytes: &[u8]) -> Option<WhatFile> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if bytes.starts_with(b"homework:") {
        Some(WhatFile::Assignment)
    } else if bytes.starts_with(b"report:") {
        Some(WhatFile::Report)
    } else {
        None
    }
}

fn read<T: serde::de::DeserializeOwned>(
    bytes: &[u8],
    wanted: WhatFile,
) -> Result<T, HomeworkError> {
    if let Some(found) = kind_of(bytes)
        && found != wanted
    {
        return Err(HomeworkError::Other(found));
    }
    let body = open_seal(bytes).map_err(HomeworkError::Broken)?;
    let format = body
        .lines()
        .next()
        .and_then(|line| line.split_once(':'))
        .and_then(|(_, number)| number.trim().parse().ok())
        .unwrap_or(0);
    if format > 1 {
        return Err(HomeworkError::Newer(format));
    }
    yaml::read(body).map_err(HomeworkError::Unreadable)
}

/// Reads an assignment.
///
/// # Errors
/// See [`HomeworkError`].
pub fn read_assignment(bytes: &[u8]) -> Result<Assignment, HomeworkError> {
    read(bytes, WhatFile::Assignment)
}

/// Reads a report.
///
/// # Errors
/// See [`HomeworkError`].
pub fn read_report(bytes: &[u8]) -> Result<Report, HomeworkError> {
    read(bytes, WhatFile::Report)
}

/// An assignment as a file's text.
///
/// # Errors
/// A text that YAML cannot hold.
pub fn write_assignment(assignment: &Assignment) -> Result<String, String> {
    yaml::write(assignment).map(|body| sealed(&body))
}

/// A report as a file's text.
///
/// # Errors
/// A text that YAML cannot hold.
pub fn write_report(report: &Report) -> Result<String, String> {
    yaml::write(report).map(|body| sealed(&body))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn assignment() -> Assignment {
        Assignment {
            homework: 1,
            title: "week 3".to_owned(),
            whom: vec!["the Tuesday class".to_owned()],
            given: date(2027, 1, 8),
            by: Some(date(2027, 1, 15)),
            note: Some("listen to the B gracenote\nchecksum: of your ears".to_owned()),
            tasks: vec![Task {
                drill: "grip".to_owned(),
                file: "title: Grip\nmovement: grip\n".to_owned(),
                reach: Some("real time at 66".to_owned()),
                until: None,
            }],
        }
    }

    #[test]
    fn what_was_written_reads_back() {
        let given = assignment();
        let text = write_assignment(&given).expect("written");
        assert_eq!(read_assignment(text.as_bytes()), Ok(given));
        let wrong = read_report(text.as_bytes());
        assert_eq!(wrong, Err(HomeworkError::Other(WhatFile::Assignment)));
    }

    /// A thousand files, each spoilt in a way of its own: every one is told, none is a panic.
    #[test]
    fn a_thousand_spoilt_files_are_told() {
        let text = write_assignment(&assignment()).expect("written");
        let mut state = 88_172_645_463_325_252_u64;
        let mut roll = |below: usize| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            usize::try_from(state % below as u64).unwrap_or(0)
        };
        for way in 0..1000 {
            let mut bytes = text.clone().into_bytes();
            let at = roll(text.trim_end().len() - 1);
            match way % 4 {
                0 => bytes.truncate(at),
                1 => bytes[at] ^= 1 << roll(8),
                2 => {
                    bytes.remove(at);
                }
                _ => bytes.insert(at, b'#'),
            }
            let read = read_assignment(&bytes);
            assert!(read.is_err(), "way {way} at {at}");
        }
    }
}
