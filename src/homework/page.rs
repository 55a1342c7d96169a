//! A class at a glance, as rows and as a page: which students are stuck, where, and since when.

use super::document::{Assignment, HomeworkQuestion, Report, ReportedDrill};
use crate::planning::Chance;
use jiff::civil::Date;
use quick_xml::escape::escape;
use serde::Serialize;
use std::collections::HashMap;
use std::fmt::Write as _;

/// The row of one student's drill.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// The title of the homework.
    pub homework: String,
    /// The name of the report's file.
    pub file: String,
    /// The student's name as typed; empty for an unsigned report.
    pub from: String,
    /// The drill's name.
    pub drill: String,
    /// The goal that the homework set.
    pub reach: String,
    /// The day on which the goal was reached; none where it is not.
    pub reached: Option<Date>,
    /// The cell that the climb has reached, in words.
    pub at: Option<String>,
    /// The day on which the climb came to the cell in `at`.
    pub since: Option<Date>,
    /// The number of days with marks.
    pub days: usize,
    /// The share of clean repetitions on the last three days with marks.
    pub lately: Chance,
    /// The commonest faults that the microphone found.
    pub faults: Vec<String>,
    /// The student's questions for the teacher, and remarks on marks.
    pub questions: Vec<HomeworkQuestion>,
    /// True where the climb has stood in one place for `STUCK_DAYS` and less than half of the
    /// repetitions are clean, so that the teacher's help is needed.
    pub stuck: bool,
    /// True where the homework was for this student and no report came.
    pub missing: bool,
}

/// After this many days in one place, a climb with less than half of the repetitions clean counts
/// as stuck. Chosen.
const STUCK_DAYS: i32 = 4;

fn row(file: &str, report: &Report, drill: &ReportedDrill) -> Row {
    let from = drill.days.len().saturating_sub(3);
    let last = &drill.days[from..];
    let clean: u32 = last
        .iter()
        .map(|day| day.clean)
        .fold(0, u32::saturating_add);
    let not: u32 = last
        .iter()
        .map(|day| day.not_clean)
        .fold(0, u32::saturating_add);
    let lately = Chance::of(clean, clean.saturating_add(not));
    let stayed = drill
        .since
        .zip(drill.days.last())
        .and_then(|(since, last)| since.until(last.day).ok())
        .map_or(0, |span| span.get_days());
    Row {
        homework: report.title.clone(),
        file: file.to_owned(),
        from: report.from.clone().unwrap_or_default(),
        drill: drill.drill.clone(),
        reach: drill.reach.clone(),
        reached: drill.reached,
        at: drill.at.clone(),
        since: drill.since,
        days: drill.days.len(),
        lately,
        faults: drill.faults.clone(),
        questions: report.questions.clone(),
        missing: false,
        stuck: drill.reached.is_none() && stayed >= STUCK_DAYS && lately.mean < 0.5,
    }
}

/// The row of a student who sent no report.
fn missing(name: &str) -> Row {
    Row {
        homework: String::new(),
        file: String::new(),
        from: name.to_owned(),
        drill: String::new(),
        reach: String::new(),
        reached: None,
        at: None,
        since: None,
        days: 0,
        lately: Chance::of(0, 0),
        faults: Vec::new(),
        questions: Vec::new(),
        stuck: false,
        missing: true,
    }
}

/// A homework with the reports on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Answers {
    /// The homework's title.
    pub title: String,
    /// The homework's last day.
    pub by: Option<Date>,
    /// The number of students who sent a report.
    pub answered: usize,
    /// The rows of the reports on this homework.
    pub rows: Vec<Row>,
}

impl Answers {
    /// A summary such as `week 3, due 2027-01-15: 3 answered, no report yet from Ann and Bo`.
    pub fn words(&self) -> String {
        let due = self.by.map_or_else(String::new, |by| format!(", due {by}"));
        let silent: Vec<&str> = self
            .rows
            .iter()
            .filter(|row| row.missing)
            .map(|row| row.from.as_str())
            .collect();
        let silent = if silent.is_empty() {
            String::new()
        } else {
            format!(", no report yet from {}", crate::wording::list(&silent))
        };
        format!("{}{due}: {} answered{silent}", self.title, self.answered)
    }
}

/// Groups reports by the homework that they answer, which is found by its checksum, or by its title
/// for reports of earlier versions. Each homework comes with its checksum and says which students
/// it is for.
pub fn groups(reports: &[(String, Report)], homework: &[(String, Assignment)]) -> Vec<Answers> {
    let mut left: Vec<&(String, Report)> = reports.iter().collect();
    let mut groups = Vec::new();
    for (checksum, assignment) in homework {
        let answers = |report: &Report| match &report.homework {
            Some(own) => own == checksum,
            None => report.title == assignment.title,
        };
        let (own, others): (Vec<_>, Vec<_>) = left.into_iter().partition(|one| answers(&one.1));
        left = others;
        groups.push(group(
            &assignment.title,
            assignment.by,
            &own,
            &assignment.whom,
        ));
    }
    // reports whose homework is not among the files
    while let Some((_, first)) = left.first().copied() {
        let same =
            |report: &Report| (&report.homework, &report.title) == (&first.homework, &first.title);
        let (own, others): (Vec<_>, Vec<_>) = left.into_iter().partition(|one| same(&one.1));
        left = others;
        groups.push(group(&first.title, first.by, &own, &[]));
    }
    groups.sort_by(|one, other| (one.by, &one.title).cmp(&(other.by, &other.title)));
    groups
}

fn group(title: &str, by: Option<Date>, own: &[&(String, Report)], whom: &[String]) -> Answers {
    let own: Vec<(String, Report)> = own.iter().map(|one| (*one).clone()).collect();
    let mut rows = rows(&own, whom);
    for row in &mut rows {
        title.clone_into(&mut row.homework);
    }
    Answers {
        title: title.to_owned(),
        by,
        answered: own.len(),
        rows,
    }
}

/// The rows of a class: students who are stuck come first, then those without a report, then those
/// on the way, then those who are done. Drills of equal rank are in the order of the homework.
/// `class` holds the students' names as the teacher typed them. A student who spells the name
/// differently has two rows, which the teacher will notice.
pub fn rows(reports: &[(String, Report)], class: &[String]) -> Vec<Row> {
    let plain = |name: &str| name.trim().to_lowercase();
    let answered: Vec<String> = reports
        .iter()
        .filter_map(|(_, report)| report.from.as_deref().map(plain))
        .collect();
    let mut rows: Vec<Row> = reports
        .iter()
        .flat_map(|(file, report)| {
            report
                .drills
                .iter()
                .map(move |drill| row(file, report, drill))
        })
        .collect();
    let silent = class.iter().filter(|name| !answered.contains(&plain(name)));
    rows.extend(silent.map(|name| missing(name)));
    // ordered by student, the one who needs the teacher most first; the drills of a student are
    // ordered likewise
    let weight = |row: &Row| (!row.stuck, !row.missing, row.reached.is_some(), row.since);
    let mut students = HashMap::new();
    let student = |row: &Row| (row.from.clone(), row.file.clone());
    for row in &rows {
        let first = students.entry(student(row)).or_insert_with(|| weight(row));
        *first = (*first).min(weight(row));
    }
    rows.sort_by_cached_key(|row| {
        let own = student(row);
        (students.get(&own).copied(), own, weight(row))
    });
    // a question is shown once: with the drill that it names, or else with the student's first
    // drill
    let drills: Vec<(String, String)> = rows
        .iter()
        .map(|row| (row.file.clone(), row.drill.clone()))
        .collect();
    let mut asked: Vec<String> = Vec::new();
    for row in &mut rows {
        let first = !asked.contains(&row.file);
        if first {
            asked.push(row.file.clone());
        }
        let (file, drill) = (&row.file, &row.drill);
        let has_own_row = |question: &HomeworkQuestion| {
            let mut own = drills.iter().filter(|(of, _)| of == file);
            own.any(|(_, drill)| question.names_drill(drill))
        };
        row.questions
            .retain(|question| question.names_drill(drill) || (first && !has_own_row(question)));
    }
    rows
}

impl Row {
    /// The student's name; for an unsigned report the name of its file.
    pub fn who(&self) -> String {
        if self.from.is_empty() {
            self.file.clone()
        } else {
            self.from.clone()
        }
    }

    /// The questions and remarks in quotation marks, each with what it is about.
    pub fn quoted(&self) -> Vec<String> {
        let quoted = |question: &HomeworkQuestion| match &question.about {
            Some(about) => format!("{about}: “{}”", question.text.trim()),
            None => format!("“{}”", question.text.trim()),
        };
        self.questions.iter().map(quoted).collect()
    }

    /// The state of the climb, in a few words.
    pub fn stands(&self) -> String {
        if self.missing {
            return "no report yet".to_owned();
        }
        match (&self.reached, &self.at, self.since) {
            (Some(day), ..) => format!("reached {day}"),
            (None, Some(at), Some(since)) if self.stuck => format!("stuck in {at} since {since}"),
            (None, Some(at), Some(since)) => format!("in {at} since {since}"),
            _ => "not begun".to_owned(),
        }
    }
}

/// The class as a page that can be printed, with a table for each homework.
pub fn page(title: &str, groups: &[Answers]) -> String {
    let mut html = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{0}</title>\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<style>\n\
         body{{font:16px/1.45 system-ui,sans-serif;margin:2em auto;max-width:62em;padding:0 1em}}\n\
         table{{border-collapse:collapse;width:100%}}th,td{{text-align:left;vertical-align:top;\
         padding:.35em .7em;border-bottom:1px solid #bbb}}.stuck{{font-weight:bold}}\n\
         @media print{{body{{margin:0}}tr{{break-inside:avoid}}}}\n</style></head><body>\n\
         <h1>{0}</h1>\n",
        escape(title)
    );
    for group in groups {
        table_of(group, &mut html);
    }
    html.push_str("</body></html>\n");
    html
}

fn table_of(group: &Answers, html: &mut String) {
    let _ = write!(
        html,
        "<h2>{}</h2>\n<table>\n<thead><tr><th scope=\"col\">who</th><th scope=\"col\">drill</th>\
         <th scope=\"col\">to reach</th><th scope=\"col\">stands</th><th scope=\"col\">days</th>\
         <th scope=\"col\">clean lately</th><th scope=\"col\">faults and questions</th></tr></thead>\n<tbody>\n",
        escape(group.words())
    );
    let mut before: Option<(String, &str)> = None;
    for row in &group.rows {
        // a student's name is shown only in the first of that student's rows
        let student = (row.who(), row.file.as_str());
        let who = if before.as_ref() == Some(&student) {
            String::new()
        } else {
            row.who()
        };
        before = Some(student);
        let mut more = row.faults.clone();
        more.extend(row.quoted());
        let class = if row.stuck { " class=\"stuck\"" } else { "" };
        let _ = writeln!(
            html,
            "<tr{class}><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            escape(&who),
            escape(&row.drill),
            escape(&row.reach),
            escape(row.stands()),
            row.days,
            clean_words(&row.lately),
            escape(more.join("; ")),
        );
    }
    html.push_str("</tbody></table>\n");
}

/// A share such as `9 of 12`; a dash where nothing was marked.
pub fn clean_words(chance: &Chance) -> String {
    if chance.of == 0 {
        "–".to_owned()
    } else {
        format!("{} of {}", chance.clean, chance.of)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A folder holds the reports of two weeks. Each report is listed under the homework that it
    /// answers, even where both have the same title, and a missing report is named only there. A
    /// report of an earlier version is matched by its title.
    #[test]
    fn reports_stand_under_the_homework_they_answer() {
        let date = |day| jiff::civil::date(2027, 1, day);
        let given = |by| Assignment {
            homework: 1,
            title: "the week".to_owned(),
            whom: vec!["Ann".to_owned(), "Bo".to_owned()],
            given: date(1),
            by: Some(date(by)),
            note: None,
            tasks: Vec::new(),
        };
        let report = |from: &str, homework: Option<&str>, title: &str| {
            let report = Report {
                report: 1,
                title: title.to_owned(),
                homework: homework.map(str::to_owned),
                from: Some(from.to_owned()),
                made: date(9),
                by: None,
                drills: Vec::new(),
                questions: Vec::new(),
                takes: Vec::new(),
            };
            (format!("{from}.yaml"), report)
        };
        let found = groups(
            &[
                report("Ann", Some("2"), "the week"),
                report("Bo", Some("1"), "the week"),
                report("Cy", None, "another"),
            ],
            &[("1".to_owned(), given(8)), ("2".to_owned(), given(15))],
        );
        let words: Vec<String> = found.iter().map(Answers::words).collect();
        assert_eq!(
            words,
            [
                "another: 1 answered",
                "the week, due 2027-01-08: 1 answered, no report yet from Ann",
                "the week, due 2027-01-15: 1 answered, no report yet from Bo",
            ]
        );
    }

    /// The drills are listed in the order of the homework, each remark with its drill, and a
    /// question about nothing in particular once.
    #[test]
    fn words_stand_with_the_drill_they_are_about() {
        let drill = |name: &str| ReportedDrill {
            drill: name.to_owned(),
            reach: "real time at 66".to_owned(),
            reached: None,
            at: None,
            since: None,
            days: Vec::new(),
            faults: Vec::new(),
        };
        let word = |drill: Option<&str>, about: Option<&str>, text: &str| {
            let mut word = HomeworkQuestion {
                day: None,
                about: about.map(str::to_owned),
                text: text.to_owned(),
            };
            if let Some(drill) = drill {
                word.name_drill(drill);
            }
            word
        };
        let report = Report {
            report: 1,
            title: "week".to_owned(),
            homework: None,
            from: Some("Ann".to_owned()),
            made: jiff::civil::date(2027, 1, 9),
            by: None,
            drills: ["taorluath", "birl", "grip-from-d", "grip"]
                .map(drill)
                .into(),
            questions: vec![
                word(None, None, "when is the next lesson?"),
                word(Some("grip"), Some("not clean, real time at 66"), "rushed"),
                word(Some("birl"), None, "which finger?"),
                word(None, Some("grips, as a whole"), "are they even?"),
            ],
            takes: Vec::new(),
        };
        let rows = rows(&[("a.yaml".to_owned(), report)], &[]);
        let told: Vec<(String, Vec<String>)> = rows
            .iter()
            .map(|row| (row.drill.clone(), row.quoted()))
            .collect();
        let one = |drill: &str, said: &[&str]| {
            let said = said.iter().map(|one| (*one).to_owned()).collect();
            (drill.to_owned(), said)
        };
        let general = [
            "“when is the next lesson?”",
            "grips, as a whole: “are they even?”",
        ];
        assert_eq!(
            told,
            [
                one("taorluath", &general),
                one("birl", &["birl: “which finger?”"]),
                one("grip-from-d", &[]),
                one("grip", &["grip, not clean, real time at 66: “rushed”"]),
            ]
        );
    }

    /// A name is whatever a student typed, and must not become a script on the page.
    #[test]
    fn what_was_typed_stays_text() {
        let report = Report {
            report: 1,
            title: "x".to_owned(),
            homework: None,
            from: Some("<script>alert(1)</script>".to_owned()),
            made: jiff::civil::date(2027, 1, 1),
            by: None,
            drills: vec![ReportedDrill {
                drill: "grip".to_owned(),
                reach: "66".to_owned(),
                reached: None,
                at: None,
                since: None,
                days: Vec::new(),
                faults: Vec::new(),
            }],
            questions: Vec::new(),
            takes: Vec::new(),
        };
        let class = [
            "<SCRIPT>alert(1)</script> ".to_owned(),
            "another".to_owned(),
        ];
        let given = Assignment {
            homework: 1,
            title: "x".to_owned(),
            whom: class.to_vec(),
            given: jiff::civil::date(2027, 1, 1),
            by: None,
            note: None,
            tasks: Vec::new(),
        };
        let groups = groups(&[("a.yaml".to_owned(), report)], &[("1".to_owned(), given)]);
        let stands: Vec<String> = groups[0].rows.iter().map(Row::stands).collect();
        assert_eq!(stands, ["no report yet", "not begun"]);
        let html = page("week <3>", &groups);
        assert!(!html.contains("<script>") && html.contains("week &lt;3&gt;"));
    }
}
