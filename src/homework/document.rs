//! The two documents: the assignment a teacher writes and the report that comes back.

use super::seal::{Broken, open_seal, sealed};
use super::yaml;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// An assignment: the homework that a teacher gives.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Assignment {
    /// The version of the format, always 1.
    pub homework: u32,
    /// The title of the homework.
    pub title: String,
    /// The names of the students, as the teacher typed them; empty where it is for anybody.
    #[serde(default, rename = "for", skip_serializing_if = "Vec::is_empty")]
    pub whom: Vec<String>,
    /// The day on which the homework was written.
    pub given: Date,
    /// The last day; none without a limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<Date>,
    /// The teacher's note.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The tasks, one for each drill.
    pub tasks: Vec<Task>,
}

/// A task: one drill to work on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Task {
    /// The drill's name.
    pub drill: String,
    /// The goal: a stage and a tempo, such as `real time at 66`. None for the top of the ladder.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reach: Option<String>,
    /// The criterion that counts as reached, such as `5 in a row`, `9 of 10` or `80 % sure of 80
    /// %`. None for the drill's own number in a row.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<String>,
    /// The text of the drill's file, so that it is the same drill for everyone.
    pub file: String,
}

/// A report: what a student returns.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Report {
    /// The version of the format, always 1.
    pub report: u32,
    /// The homework's title.
    pub title: String,
    /// The checksum of the homework that the report answers. Reports of earlier versions have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub homework: Option<String>,
    /// The student's name as typed; none for an unsigned report.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// The day on which the report was written.
    pub made: Date,
    /// The last day of the homework.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<Date>,
    /// The results of each drill.
    pub drills: Vec<ReportedDrill>,
    /// Remarks and questions for the teacher.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub questions: Vec<HomeworkQuestion>,
    /// The file names of recordings that are sent beside this file.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub takes: Vec<String>,
}

/// The part of a report about one drill.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReportedDrill {
    /// The drill's name.
    pub drill: String,
    /// The goal that the homework set.
    pub reach: String,
    /// The day on which the goal was reached; none where it is not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reached: Option<Date>,
    /// The cell that the climb has reached: a stage and a tempo, such as `half beats at 52`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<String>,
    /// The day on which the climb came to the cell in `at`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<Date>,
    /// The marks of each day.
    pub days: Vec<MarkedDay>,
    /// The two commonest faults that the microphone found; empty where there are none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<String>,
}

/// The marks of one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MarkedDay {
    /// The day.
    pub day: Date,
    /// The number of repetitions marked clean.
    pub clean: u32,
    /// The number of repetitions marked not clean.
    pub not_clean: u32,
    /// The number of repetitions assumed to be clean, which is not part of `clean`.
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

/// A remark or a question for the teacher.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HomeworkQuestion {
    /// The day on which the text was written; none where it is unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub day: Option<Date>,
    /// The mark that a remark is about, in words; none for a question.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<String>,
    /// The text.
    pub text: String,
}

impl HomeworkQuestion {
    /// Puts the drill's name before the description of what the text is about, for homework with
    /// several drills.
    pub fn name_drill(&mut self, drill: &str) {
        self.about = Some(match self.about.take() {
            Some(about) => format!("{drill}, {about}"),
            None => drill.to_owned(),
        });
    }

    /// True where the description says that the text is about this drill.
    pub(super) fn names_drill(&self, drill: &str) -> bool {
        let rest = self
            .about
            .as_deref()
            .and_then(|about| about.strip_prefix(drill));
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(", "))
    }
}

/// The reason why a homework file cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum HomeworkError {
    /// The file as a whole is damaged.
    Broken(Broken),
    /// The text cannot be parsed; with the reason.
    Unreadable(String),
    /// A newer version of the program wrote it; with the version of its format.
    Newer(u32),
    /// The file is a report where an assignment was expected, or the reverse. The value says what
    /// it is.
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

/// The kind of a document.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhatFile {
    /// What a teacher gives.
    Assignment,
    /// What a student returns.
    Report,
}

/// The kind of document that a file's beginning shows; none for any other file.
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

/// The text of an assignment's file.
///
/// # Errors
/// A text in it cannot be written as YAML.
pub fn write_assignment(assignment: &Assignment) -> Result<String, String> {
    yaml::write(assignment).map(|body| sealed(&body))
}

/// The text of a report's file.
///
/// # Errors
/// A text in it cannot be written as YAML.
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

    /// Of a thousand files, each damaged in a different way, every one is reported and none causes
    /// a panic.
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
