//! `review`: shows the reports of a class in a table.

use super::paper;
use crate::commands::{Outcome, Ran, sheet::told_lacking, takes};
use crate::homework::{
    Answers, Assignment, HomeworkError, LARGEST_FILE, Report, Row, WhatFile, checksum, groups,
    kind_of, newest, page, read_assignment, read_report,
};
use crate::services::homework::told;
use crate::services::{Failure, files, output};
use crate::sheet::write_pdf;
use crate::wording::is_unseen;
use std::path::{Path, PathBuf};

/// Arguments of `review`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung review reports/*.yaml\n  \
    gracerung review reports/*.yaml --play Isla\n  gracerung review reports/*.yaml -o class.html\n  \
    gracerung review week3.yaml reports/*.yaml -o class.pdf\n\n\
    Reports stand under the homework they answer, of each student the newest. The homework itself may be among the files: whoever it is for and has not answered is named.\n\
    Exit 0: all read. Exit 1: some could not be read, or names on paper\n    have characters that the font does not have; each is told.")]
pub(crate) struct Arguments {
    /// Reports, and the homework they answer.
    #[arg(required = true, value_name = "REPORT")]
    files: Vec<PathBuf>,
    /// Play the takes that came with this student's report.
    #[arg(long, value_name = "NAME", conflicts_with_all = ["json", "output"])]
    play: Option<String>,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
    /// Write a page: .html for a browser, .pdf for paper.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Replace the page when it exists.
    #[arg(long)]
    force: bool,
}

/// Runs `review`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let form = match &arguments.output {
        None => None,
        Some(target) => {
            output::ready_to_write(target, arguments.force)?;
            Some((target, form_of(target)?))
        }
    };
    let (reports, homework, broken) = read_all(&arguments.files);
    if reports.is_empty() && homework.is_empty() {
        return Err(Failure(
            "none of the files is a report that reads".to_owned(),
        ));
    }
    let (reports, left_out) = newest(reports);
    for file in left_out {
        output::complain(&format!(
            "`{file}` is left out: a later report of the same student stands for it"
        ));
    }
    if let Some(name) = &arguments.play {
        return play(name, &reports);
    }
    let groups = groups(&reports, &homework);
    let mut titles: Vec<&str> = groups.iter().map(|group| group.title.as_str()).collect();
    titles.dedup();
    let title = titles.join(", ");
    if arguments.json {
        let rows: Vec<&Row> = groups.iter().flat_map(|group| &group.rows).collect();
        output::print_json(&rows)?;
    } else {
        let tables: Vec<String> = groups
            .iter()
            .map(|group| table(&group.words(), &group.rows))
            .collect();
        output::print(&tables.join("\n"))?;
    }
    let mut lacking = false;
    if let Some((target, form)) = form {
        let bytes = match form {
            Form::Html => page(&title, &groups).into_bytes(),
            Form::Pdf => {
                let several = groups.len() > 1;
                let below: Vec<String> = groups.iter().map(Answers::words).collect();
                let mut rows: Vec<Row> =
                    groups.iter().flat_map(|group| group.rows.clone()).collect();
                for row in rows.iter_mut().filter(|row| several && !row.missing) {
                    row.drill = format!("{}, {}", row.homework, row.drill);
                }
                let booklet = paper::booklet(&title, &below, &rows);
                lacking = told_lacking(&booklet) == Outcome::Findings;
                write_pdf(&booklet).map_err(|error| Failure(error.to_string()))?
            }
        };
        output::write_bytes(target, arguments.force, &bytes)?;
        if !arguments.json {
            output::print("\n")?;
            output::wrote(
                target,
                &crate::wording::count(reports.len(), "report", "reports"),
            )?;
        }
    }
    Ok(if broken > 0 || lacking {
        Outcome::Findings
    } else {
        Outcome::Done
    })
}

/// The reports with their file names, the homework with its checksum, and the number of files that
/// could not be read.
type ReadAll = (Vec<(String, Report)>, Vec<(String, Assignment)>, usize);

/// Reads the reports and the homework among some files, and counts those that could not be read.
/// Each unreadable file is reported.
fn read_all(named: &[PathBuf]) -> ReadAll {
    let mut reports = Vec::new();
    let mut homework = Vec::new();
    let mut broken = 0;
    for file in named {
        let read = files::read_bytes(file, LARGEST_FILE).and_then(|bytes| {
            let failed = |error: HomeworkError| told(file, &error);
            match kind_of(&bytes) {
                Some(WhatFile::Assignment) => {
                    let assignment = read_assignment(&bytes).map_err(failed)?;
                    homework.push((checksum(&bytes).unwrap_or_default(), assignment));
                }
                _ => reports.push((
                    file.display().to_string(),
                    read_report(&bytes).map_err(failed)?,
                )),
            }
            Ok(())
        });
        if let Err(failure) = read {
            output::complain(&failure.0);
            broken += 1;
        }
    }
    (reports, homework, broken)
}

/// Plays the recordings that came with a student's report, one after the other.
fn play(name: &str, reports: &[(String, Report)]) -> Ran {
    let plain = |name: &str| name.trim().to_lowercase();
    let own: Vec<&(String, Report)> = reports
        .iter()
        .filter(|(_, report)| report.from.as_deref().map(plain) == Some(plain(name)))
        .collect();
    if own.is_empty() {
        let names: Vec<&str> = reports
            .iter()
            .filter_map(|one| one.1.from.as_deref())
            .collect();
        let near = crate::wording::nearest(name, names.iter().copied())
            .map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
        return Err(Failure(format!("no report is signed `{name}`{near}")));
    }
    let mut files = Vec::new();
    for (report, read) in own {
        for take in &read.takes {
            // a recording is looked for only beside its report, whatever path the report names
            if let Some(take) = Path::new(take).file_name() {
                files.push(Path::new(report).with_file_name(take));
            }
        }
    }
    if files.is_empty() {
        return Err(Failure(format!("no take came with the report of `{name}`")));
    }
    for file in &files {
        takes::play_file(file)?;
    }
    Ok(Outcome::Done)
}

/// The format of a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Html,
    Pdf,
}

fn form_of(target: &Path) -> Result<Form, Failure> {
    match target.extension().and_then(|end| end.to_str()) {
        Some("html") => Ok(Form::Html),
        Some("pdf") => Ok(Form::Pdf),
        _ => Err(Failure(format!(
            "`{}` does not say what to write: end it with .html or .pdf",
            target.display()
        ))),
    }
}

/// The width that every terminal has, in columns.
const COLUMNS: usize = 80;
/// The width at which a student's or drill's name is cut, in columns.
const WIDEST: usize = 20;

fn table(title: &str, rows: &[Row]) -> String {
    use std::fmt::Write as _;
    let who = |row: &Row| cut(&row.who());
    let drill = |row: &Row| cut(&row.drill);
    let wide = |of: &dyn Fn(&Row) -> String| {
        let widths = rows.iter().map(|row| of(row).chars().count());
        widths.max().unwrap_or(0)
    };
    let (names, drills) = (wide(&who), wide(&drill));
    let indent = " ".repeat(2 + names + 2 + drills + 2);
    let mut text = format!("{title}\n");
    let mut before: Option<(String, &str)> = None;
    for row in rows {
        // a student's name is shown only in the first of that student's rows
        let student = (row.who(), row.file.as_str());
        let name = if before.as_ref() == Some(&student) {
            String::new()
        } else {
            who(row)
        };
        before = Some(student);
        let sign = match (row.stuck, row.reached.is_some()) {
            (true, _) => '!',
            (_, true) => '✓',
            _ => '·',
        };
        let mut stands = row.stands();
        if row.lately.of > 0 {
            let _ = write!(
                stands,
                "; lately {} of {} clean",
                row.lately.clean, row.lately.of
            );
        }
        let first = format!("{sign} {name:names$}  {:drills$}  ", drill(row));
        let options = |first: &str| {
            textwrap::Options::new(COLUMNS)
                .word_separator(textwrap::WordSeparator::AsciiSpace)
                .word_splitter(textwrap::WordSplitter::NoHyphenation)
                .initial_indent("")
                .subsequent_indent(&indent)
                .break_words(true)
                .width(COLUMNS.max(first.chars().count() + 20))
        };
        let lines = textwrap::fill(&format!("{first}{stands}"), options(&first));
        let _ = writeln!(text, "{}", lines.trim_end());
        for more in row.faults.iter().cloned().chain(row.quoted()) {
            let more: String = more.chars().filter(|sign| !is_unseen(*sign)).collect();
            let lines = textwrap::fill(&format!("{indent}{more}"), options(&indent));
            let _ = writeln!(text, "{}", lines.trim_end());
        }
    }
    text
}

/// A name without control characters, which would upset a terminal, cut to [`WIDEST`].
fn cut(name: &str) -> String {
    let plain: String = name.chars().filter(|sign| !is_unseen(*sign)).collect();
    if plain.chars().count() <= WIDEST {
        return plain;
    }
    let kept: String = plain.chars().take(WIDEST - 1).collect();
    format!("{kept}…")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::homework::{HomeworkQuestion, MarkedDay, ReportedDrill, rows};
    use jiff::civil::date;

    /// With names as students type them and very long reports, the table still fits eighty columns
    /// and hides nothing that a teacher needs.
    #[test]
    fn the_class_fits_a_terminal() {
        let drill = |name: &str| ReportedDrill {
            drill: name.to_owned(),
            reach: "real time at 66".to_owned(),
            reached: None,
            at: Some("dotted and sixteenths at 133½".to_owned()),
            since: Some(date(2027, 1, 1)),
            days: vec![MarkedDay {
                day: date(2027, 1, 9),
                clean: 3,
                not_clean: 11,
                assumed: 0,
            }],
            faults: vec!["a gracenote too long (12 times)".to_owned()],
        };
        let report = Report {
            report: 1,
            title: "week 3".to_owned(),
            homework: None,
            from: Some("a name\u{7} that its owner never managed to keep short".to_owned()),
            made: date(2027, 1, 10),
            by: None,
            drills: vec![
                drill("birl"),
                drill("a-drill-with-a-very-long-name-of-its-own"),
            ],
            questions: vec![HomeworkQuestion {
                day: None,
                about: Some("not clean, real time at 66".to_owned()),
                text: "is it the little finger or the wrist? ".repeat(4),
            }],
            takes: Vec::new(),
        };
        let text = table("week 3", &rows(&[("r.yaml".to_owned(), report)], &[]));
        for line in text.lines() {
            assert!(line.chars().count() <= COLUMNS, "{line}");
        }
        assert!(
            text.contains("since 2027-01-01") && text.contains("lately"),
            "{text}"
        );
        assert!(text.contains("not clean, real time at 66"), "{text}");
    }
}
