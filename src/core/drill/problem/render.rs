//! Problems as text: file, line, column, the line with a caret, how to mend.

use super::{Place, Problem, Severity};

/// Problems as text: file, line and column, the line with a caret, how to mend.
pub fn render(file: &str, source: &str, problems: &[Problem]) -> String {
    problems
        .iter()
        .map(|problem| {
            let level = match problem.severity() {
                Severity::Error => "",
                Severity::Note => "note: ",
            };
            let says = problem.kind.to_string();
            let mend = problem.kind.mend();
            render_line(file, source, problem.place, level, &says, mend.as_deref())
        })
        .collect()
}

/// One problem of any kind of text file, as [`render`] writes those of drills.
pub fn render_line(
    file: &str,
    source: &str,
    place: Place,
    level: &str,
    says: &str,
    mend: Option<&str>,
) -> String {
    use std::fmt::Write as _;
    let Place {
        line,
        column,
        width,
    } = place;
    let mut text = String::new();
    if line == 0 {
        let _ = writeln!(text, "{file}: {level}{says}");
    } else {
        let _ = writeln!(text, "{file}:{line}:{column}: {level}{says}");
    }
    if let Some(found) = line
        .checked_sub(1)
        .and_then(|line| source.lines().nth(line))
    {
        let clean: String = found
            .chars()
            .map(|sign| {
                if sign == '\t' {
                    ' '
                } else if sign.is_control() {
                    '·'
                } else {
                    sign
                }
            })
            .collect();
        let (shown, shift) = window(&clean, column);
        let number = line.to_string();
        let gap = " ".repeat(number.len());
        let caret_at = column.saturating_sub(1).saturating_sub(shift);
        let room = shown.chars().count().saturating_sub(caret_at).max(1);
        let _ = writeln!(text, " {number} | {shown}");
        let _ = writeln!(
            text,
            " {gap} | {}{}",
            " ".repeat(caret_at),
            "^".repeat(width.min(room))
        );
    }
    if let Some(mend) = mend {
        let _ = writeln!(text, "     {mend}");
    }
    text
}

/// At most 100 characters of a line around a column, and how many were cut at the front.
fn window(line: &str, column: usize) -> (String, usize) {
    const WIDTH: usize = 100;
    let length = line.chars().count();
    if length <= WIDTH {
        return (line.to_owned(), 0);
    }
    let start = column.saturating_sub(WIDTH / 2).min(length - WIDTH);
    (line.chars().skip(start).take(WIDTH).collect(), start)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::Kind;

    #[test]
    fn a_problem_shows_its_line_with_a_caret_and_how_to_mend_it() {
        let source = "title: x\nladder: {from: 80, to: 50, step: 4%}\n";
        let problem = Problem::new(
            Place {
                line: 2,
                column: 10,
                width: 8,
            },
            Kind::LadderDown {
                from: "80".to_owned(),
                to: "50".to_owned(),
            },
        );
        assert_eq!(
            render("x.yaml", source, &[problem]),
            "x.yaml:2:10: the ladder goes down, from 80 to 50\n \
             2 | ladder: {from: 80, to: 50, step: 4%}\n   \
             |          ^^^^^^^^\n     write `from: 50, to: 80`\n"
        );
    }
}
