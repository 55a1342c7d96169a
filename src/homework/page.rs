//! A class at a glance: who is stuck, where, since when; as rows and as a page.

use super::document::{Question, Report, ReportedDrill};
use crate::planning::Chance;
use jiff::civil::Date;
use serde::Serialize;
use std::fmt::Write as _;

/// One student's drill.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// The file it came from.
    pub file: String,
    /// The name as it was typed; empty for an unsigned report.
    pub from: String,
    /// The drill.
    pub drill: String,
    /// What was to be reached.
    pub reach: String,
    /// The day it was reached.
    pub reached: Option<Date>,
    /// Where the climb stands.
    pub at: Option<String>,
    /// Since when.
    pub since: Option<Date>,
    /// Days with marks.
    pub days: usize,
    /// Clean ones of the last three days with marks.
    pub lately: Chance,
    /// The commonest faults.
    pub faults: Vec<String>,
    /// Questions for the teacher, and words beside marks.
    pub questions: Vec<Question>,
    /// More days in the same place than reached, and less clean than not: a word may help.
    pub stuck: bool,
    /// The homework was for this name and no report came.
    pub missing: bool,
}

/// Days in one place from which a climb that is clean less than half the time counts as stuck.
/// Chosen.
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

/// A name of the class without a report.
fn missing(name: &str) -> Row {
    Row {
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

/// The class as rows: who is stuck first, then who has not answered, who is on the way, who is done.
/// `class` is for whom the homework was, as the teacher typed it; a name whose report carries it
/// otherwise written stands there twice, which is seen.
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
    rows.sort_by(|one, other| {
        let key = |row: &Row| {
            (
                !row.stuck,
                !row.missing,
                row.reached.is_some(),
                row.since,
                row.from.clone(),
                row.drill.clone(),
            )
        };
        key(one).cmp(&key(other))
    });
    // A question belongs to the student and not to each drill: it stands once, with the first.
    let mut asked: Vec<String> = Vec::new();
    for row in rows.iter_mut().filter(|row| !row.questions.is_empty()) {
        if asked.contains(&row.file) {
            row.questions.clear();
        } else {
            asked.push(row.file.clone());
        }
    }
    rows
}

impl Row {
    /// Who it is from; the file of an unsigned report.
    pub fn who(&self) -> String {
        if self.from.is_empty() {
            self.file.clone()
        } else {
            self.from.clone()
        }
    }

    /// The questions and words in quotation marks, each with what it stands beside.
    pub fn quoted(&self) -> Vec<String> {
        let quoted = |question: &Question| match &question.about {
            Some(about) => format!("{about}: “{}”", question.text.trim()),
            None => format!("“{}”", question.text.trim()),
        };
        self.questions.iter().map(quoted).collect()
    }

    /// How it stands, in a few words.
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

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

/// The class as a page that prints.
pub fn page(title: &str, rows: &[Row]) -> String {
    let mut html = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{0}</title>\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<style>\n\
         body{{font:16px/1.45 system-ui,sans-serif;margin:2em auto;max-width:62em;padding:0 1em}}\n\
         table{{border-collapse:collapse;width:100%}}th,td{{text-align:left;vertical-align:top;\
         padding:.35em .7em;border-bottom:1px solid #bbb}}.stuck{{font-weight:bold}}\n\
         @media print{{body{{margin:0}}tr{{break-inside:avoid}}}}\n</style></head><body>\n\
         <h1>{0}</h1>\n<table>\n<thead><tr><th scope=\"col\">who</th><th scope=\"col\">drill</th>\
         <th scope=\"col\">to reach</th><th scope=\"col\">stands</th><th scope=\"col\">days</th>\
         <th scope=\"col\">clean lately</th><th scope=\"col\">faults and questions</th></tr></thead>\n<tbody>\n",
        escaped(title)
    );
    for row in rows {
        let mut more = row.faults.clone();
        more.extend(row.quoted());
        let class = if row.stuck { " class=\"stuck\"" } else { "" };
        let _ = writeln!(
            html,
            "<tr{class}><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
            escaped(&row.who()),
            escaped(&row.drill),
            escaped(&row.reach),
            escaped(&row.stands()),
            row.days,
            clean_words(&row.lately),
            escaped(&more.join("; ")),
        );
    }
    html.push_str("</tbody></table>\n</body></html>\n");
    html
}

/// `9 of 12`, or a dash where nothing was marked.
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

    /// A name is whatever a student typed; on a page it must not become a script.
    #[test]
    fn what_was_typed_stays_text() {
        let report = Report {
            report: 1,
            title: "x".to_owned(),
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
        let rows = rows(&[("a.yaml".to_owned(), report)], &class);
        let stands: Vec<String> = rows.iter().map(Row::stands).collect();
        assert_eq!(stands, ["no report yet", "not begun"]);
        let html = page("week <3>", &rows);
        assert!(!html.contains("<script>") && html.contains("week &lt;3&gt;"));
    }
}
