//! Selects the newest report of each student for each homework.
//!
//! This module knows reports, and of files only their names.

use super::document::Report;

/// A report with the name of its file.
type Named = (String, Report);

/// The reports that count, in their order, and the names of the files that newer reports replace. A
/// report replaces an older one where it is from the same student, answers the same homework and
/// contains at least the same drills. Of two reports from one day, and of two equal ones, the later
/// in the list counts.
pub fn newest(reports: Vec<Named>) -> (Vec<Named>, Vec<String>) {
    let replaced: Vec<bool> = reports
        .iter()
        .enumerate()
        .map(|(place, (_, older))| {
            reports.iter().enumerate().any(|(other, (_, newer))| {
                stands_for(newer, older) && (newer.made, other) > (older.made, place)
            })
        })
        .collect();
    let mut counting = Vec::new();
    let mut left_out = Vec::new();
    for (report, replaced) in reports.into_iter().zip(replaced) {
        if replaced {
            left_out.push(report.0);
        } else {
            counting.push(report);
        }
    }
    (counting, left_out)
}

fn stands_for(newer: &Report, older: &Report) -> bool {
    let named = |report: &Report| {
        report
            .from
            .as_deref()
            .map(|name| name.trim().to_lowercase())
    };
    let same_student = match (named(newer), named(older)) {
        (Some(one), Some(other)) => one == other,
        // without a name, only an identical report is from the same student
        (None, None) => newer == older,
        _ => false,
    };
    let has = |drill: &str| newer.drills.iter().any(|own| own.drill == drill);
    same_student
        && (&newer.homework, &newer.title) == (&older.homework, &older.title)
        && older.drills.iter().all(|drill| has(&drill.drill))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::homework::ReportedDrill;
    use jiff::civil::{Date, date};

    fn report(from: Option<&str>, made: Date, drills: &[&str]) -> Report {
        let drill = |name: &&str| ReportedDrill {
            drill: (*name).to_owned(),
            reach: "real time at 66".to_owned(),
            reached: None,
            at: None,
            since: None,
            days: Vec::new(),
            faults: Vec::new(),
        };
        Report {
            report: 1,
            title: "week 3".to_owned(),
            homework: None,
            from: from.map(str::to_owned),
            made,
            by: None,
            drills: drills.iter().map(drill).collect(),
            questions: Vec::new(),
            takes: Vec::new(),
        }
    }

    fn of(reports: &[Report]) -> (Vec<String>, Vec<String>) {
        let named = reports.iter().enumerate();
        let named = named.map(|(place, report)| (place.to_string(), report.clone()));
        let (counting, left_out) = newest(named.collect());
        (counting.into_iter().map(|one| one.0).collect(), left_out)
    }

    #[test]
    fn the_newest_report_of_a_student_counts() {
        let (first, later) = (date(2026, 11, 2), date(2026, 11, 9));
        let isla = |made, drills: &[&str]| report(Some("Isla"), made, drills);
        // the order in which the files are named does not matter
        let reports = [
            isla(later, &["birl", "grip"]),
            isla(first, &["birl"]),
            report(Some("Euan"), first, &["birl"]),
        ];
        assert_eq!(of(&reports).1, ["1"]);
        // the same report three times
        let same = [
            isla(first, &["birl"]),
            isla(first, &["birl"]),
            report(Some(" isla"), first, &["birl"]),
        ];
        assert_eq!(
            of(&same),
            (vec!["2".to_owned()], vec!["0".to_owned(), "1".to_owned()])
        );
        // an older report is kept where the newer one lacks one of its drills
        let other = [isla(first, &["birl"]), isla(later, &["grip"])];
        assert_eq!(of(&other).1, [""; 0]);
        // reports without names are from the same student only where they are identical
        let nameless = |made| report(None, made, &["birl"]);
        assert_eq!(of(&[nameless(first), nameless(later)]).1, [""; 0]);
        assert_eq!(of(&[nameless(first), nameless(first)]).1, ["0"]);
    }
}
