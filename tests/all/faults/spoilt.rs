//! Homework and reports that were damaged on their way.

use super::{Home, told};
use gracerung::homework::{read_assignment, read_report};
use std::collections::BTreeSet;

const FILES: usize = 1000;

/// Damages a file in one of the ways in which mail, editors, disks and students do.
fn spoil(bytes: &[u8], way: usize, random: &mut fastrand::Rng) -> Vec<u8> {
    let mut spoilt = bytes.to_vec();
    let end = bytes.len() - 1;
    match way % 8 {
        // cut off
        0 => spoilt.truncate(random.usize(..end)),
        // one bit is flipped
        1 => spoilt[random.usize(..end)] ^= 1 << random.u8(..8),
        // a figure is improved
        2 => {
            let digits: Vec<usize> = (0..end).filter(|at| bytes[*at].is_ascii_digit()).collect();
            let at = digits[random.usize(..digits.len())];
            spoilt[at] = b'0' + (bytes[at] - b'0' + random.u8(1..10)) % 10;
        }
        // two different lines change places
        3 => {
            let mut lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
            let one = random.usize(..lines.len());
            let others: Vec<usize> = (0..lines.len())
                .filter(|other| lines[*other] != lines[one])
                .collect();
            lines.swap(one, others[random.usize(..others.len())]);
            spoilt = lines.concat();
        }
        // a line is repeated or missing
        4 => {
            let mut lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
            let at = random.usize(..lines.len());
            if random.bool() {
                lines.insert(at, lines[at]);
            } else {
                lines.remove(at);
            }
            spoilt = lines.concat();
        }
        // a stretch of noise
        5 => {
            let from = random.usize(..end);
            let to = (from + random.usize(1..64)).min(end);
            for byte in &mut spoilt[from..to] {
                *byte ^= random.u8(1..);
            }
        }
        // nothing but noise, sometimes after a correct beginning
        6 => {
            let keep = if random.bool() { random.usize(..40) } else { 0 };
            spoilt.truncate(keep);
            spoilt.extend((0..random.usize(1..4000)).map(|_| random.u8(..)));
        }
        // two files joined, or one with something before it
        _ => {
            if random.bool() {
                spoilt.extend_from_slice(bytes);
                spoilt.truncate(bytes.len() + random.usize(20..bytes.len()));
            } else {
                spoilt.insert(0, random.u8(..));
            }
        }
    }
    spoilt
}

fn homework(home: &Home) -> (Vec<u8>, Vec<u8>) {
    home.said(&[
        "assign",
        "birl",
        "grip",
        "count",
        "--by",
        "2027-01-15",
        "--note",
        "the little finger does it\nchecksum: of your ears",
        "--for",
        "the Tuesday class",
        "-o",
        "week.yaml",
    ]);
    home.said(&[
        "report",
        "week.yaml",
        "--name",
        "a player",
        "--question",
        "how hard?",
        "-o",
        "report.yaml",
    ]);
    let read = |name: &str| std::fs::read(home.path(name)).expect("written");
    (read("week.yaml"), read("report.yaml"))
}

/// A report that was improved on the way must not be in the teacher's table. One that was cut off
/// must not prevent the others from being shown.
#[test]
fn a_thousand_spoilt_reports_are_each_told() {
    let home = Home::new();
    let (_, report) = homework(&home);
    let mut random = fastrand::Rng::with_seed(1954);
    let mut names: Vec<String> = Vec::with_capacity(FILES);
    for way in 0..FILES {
        let name = format!("r{way}.yaml");
        let spoilt = spoil(&report, way, &mut random);
        assert_ne!(spoilt, report, "way {way} spoils nothing");
        std::fs::write(home.path(&name), spoilt).expect("written");
        names.push(name);
    }
    // only the undamaged report among them is in the table
    let mut arguments = vec!["review", "--json"];
    arguments.extend(names[..500].iter().map(String::as_str));
    arguments.push("report.yaml");
    arguments.extend(names[500..].iter().map(String::as_str));
    let output = home.run(&arguments);
    let said = String::from_utf8(output.stderr).expect("text");
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(!said.contains("panicked"), "{said}");
    let rows: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let files: BTreeSet<&str> = rows
        .as_array()
        .expect("rows")
        .iter()
        .filter_map(|row| row["file"].as_str())
        .collect();
    assert_eq!(files, BTreeSet::from(["report.yaml"]));
    for name in &names {
        let about = said.matches(&format!("`{name}`: ")).count();
        assert_eq!(about, 1, "{name} is told {about} times");
    }
    // where no report is undamaged, there is nothing to show
    told(&home.run(&["review", "r0.yaml", "r1.yaml"]), &["review"]);
}

/// Homework that lost a line on its way must not be practised as if it were complete.
#[test]
fn a_thousand_spoilt_homework_files_are_each_told() {
    let home = Home::new();
    let (week, report) = homework(&home);
    assert!(read_assignment(&week).is_ok() && read_report(&report).is_ok());
    let mut random = fastrand::Rng::with_seed(1998);
    for way in 0..FILES {
        let spoilt = spoil(&week, way, &mut random);
        assert_ne!(spoilt, week, "way {way} spoils nothing");
        let error = read_assignment(&spoilt).expect_err("spoilt").to_string();
        assert!(error.len() > 20, "way {way}: {error}");
        // the program itself gets every kind of damage a few times
        if way < 24 {
            let _ = std::fs::remove_file(home.path("out.yaml"));
            std::fs::write(home.path("spoilt.yaml"), &spoilt).expect("written");
            let arguments = ["report", "spoilt.yaml", "-o", "out.yaml"];
            let said = told(&home.run(&arguments), &arguments);
            assert!(said.contains("`spoilt.yaml`: "), "way {way}: {said}");
            assert!(!home.path("out.yaml").exists(), "way {way}");
        }
    }
}

/// Mail programs change line ends and add a byte order mark or empty lines. That must not count as
/// an edit.
#[test]
fn what_mail_does_is_no_edit() {
    let home = Home::new();
    let (week, _) = homework(&home);
    let text = String::from_utf8(week.clone()).expect("text");
    for carried in [
        text.replace('\n', "\r\n"),
        format!("\u{feff}{text}"),
        format!("{text}\n\n"),
    ] {
        assert_eq!(read_assignment(carried.as_bytes()), read_assignment(&week));
    }
}

/// A file without end, such as `/dev/zero`, must not fill the memory. Every command that reads a
/// file gets one of zeros and one of empty lines.
#[cfg(target_os = "linux")]
#[test]
fn a_file_without_an_end_costs_a_sentence() {
    let home = Home::new();
    for line in [
        ["journal", "import", "/dev/zero"].as_slice(),
        &["journal", "check", "/dev/zero"],
        &["journal", "merge", "/dev/zero"],
        &["check", "/dev/zero"],
        &["practise", "/dev/zero"],
        &["timeline", "/dev/zero"],
        &["tune", "/dev/zero"],
        &["listen", "/dev/zero"],
        &["report", "/dev/zero", "-o", "x.yaml"],
        &["review", "/dev/zero"],
        &["sheet", "/dev/zero", "-o", "x.pdf"],
    ] {
        let limited = ["sh", "-c", "ulimit -v 307200; exec \"$0\" \"$@\""];
        let output = home.run_through(&limited, line);
        let said = String::from_utf8_lossy(&output.stderr).into_owned()
            + &String::from_utf8_lossy(&output.stdout);
        assert!(
            matches!(output.status.code(), Some(1 | 2)),
            "{line:?}: {said}"
        );
        assert!(!said.contains("panicked"), "{line:?}: {said}");
    }
    let mut endless = String::from("{\"journal\": 1}\n").repeat(5000);
    endless.push_str(&"x".repeat(2 << 20));
    std::fs::write(home.path("strange.jsonl"), &endless).expect("a file");
    let output = home.run(&["journal", "import", "strange.jsonl"]);
    let said = told(&output, &["a thousand lines"]);
    assert!(said.lines().count() < 5, "{said}");
    std::fs::write(home.path("long.jsonl"), &endless[5000 * 15..]).expect("a file");
    let output = home.run(&["journal", "import", "long.jsonl"]);
    let said = told(&output, &["a long line"]);
    assert!(said.contains("more than 1048576 bytes"), "{said}");
}
