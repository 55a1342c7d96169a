//! Writes problems as text: file, line, column, the line with a caret, and how to mend.

use super::{Place, Problem, ProblemKind, Severity};
use crate::wording;
use std::fmt::Write as _;

/// The most problems shown for one file. A bad file must not hide the problems of the others.
pub const MOST_SHOWN: usize = 20;

/// The longest sentence about a problem, in characters. A word in a hostile file may be as long as
/// the file.
const LONGEST_SENTENCE: usize = 400;

/// Problems as text: file, line and column, the line with a caret, and how to mend. It has the
/// first [`MOST_SHOWN`] problems and the number of the others.
pub fn render(file: &str, source: &str, problems: &[Problem]) -> String {
    let mut text: String = problems
        .iter()
        .take(MOST_SHOWN)
        .map(|problem| {
            let level = match problem.severity() {
                Severity::Error => "",
                Severity::Note => "note: ",
            };
            let says = problem.says();
            let mend = problem.kind.mend();
            render_line(file, source, problem.place, level, &says, mend.as_deref())
        })
        .collect();
    if let Some(more) = more(problems) {
        let _ = writeln!(text, "{file}: {more}");
    }
    text
}

/// A line about the problems beyond [`MOST_SHOWN`]; none when there are no more.
pub fn more(problems: &[Problem]) -> Option<String> {
    let left = problems
        .len()
        .checked_sub(MOST_SHOWN)
        .filter(|left| *left > 0)?;
    Some(match gave_up(problems) {
        Some(after) => format!(
            "and {} more; after {after} no more were looked for",
            left - 1
        ),
        None => format!("and {left} more"),
    })
}

/// How many errors, in words: `1 problem`, `3 problems`, `at least 1000 problems`. Notes do not
/// count.
pub fn how_many(problems: &[Problem]) -> String {
    let errors = problems
        .iter()
        .filter(|problem| problem.severity() == Severity::Error)
        .count();
    match gave_up(problems) {
        Some(_) => format!("at least {} problems", errors - 1),
        None => wording::count(errors, "problem", "problems"),
    }
}

fn gave_up(problems: &[Problem]) -> Option<usize> {
    problems.iter().find_map(|problem| match problem.kind {
        ProblemKind::GaveUp { after } => Some(after),
        _ => None,
    })
}

impl Problem {
    /// Its sentence, cut when the content of the file makes it too long.
    pub fn says(&self) -> String {
        let says = self.kind.to_string();
        match says.char_indices().nth(LONGEST_SENTENCE) {
            Some((end, _)) => format!("{}…", &says[..end]),
            None => says,
        }
    }
}

/// Writes one problem of any kind of text file, in the same form as [`render`].
pub fn render_line(
    file: &str,
    source: &str,
    place: Place,
    level: &str,
    says: &str,
    mend: Option<&str>,
) -> String {
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
        let (shown, shift) = window(found, column);
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

/// At most 100 characters of a line around a column, and how many characters were cut off in front.
/// A character that would move the cursor is shown as a dot, so that the caret is under its place.
fn window(line: &str, column: usize) -> (String, usize) {
    const WIDTH: usize = 100;
    let length = line.chars().count();
    let start = if length <= WIDTH {
        0
    } else {
        column.saturating_sub(WIDTH / 2).min(length - WIDTH)
    };
    let shown = line.chars().skip(start).take(WIDTH).map(|sign| match sign {
        '\t' => ' ',
        sign if wording::is_unseen(sign) => '·',
        sign => sign,
    });
    (shown.collect(), start)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{ProblemKind, read, read_music};
    use crate::rhythm::Metre;

    #[test]
    fn a_problem_shows_its_line_with_a_caret_and_how_to_mend_it() {
        let source = "title: x\nladder: {from: 80, to: 50, step: 4%}\n";
        let problem = Problem::new(
            Place {
                line: 2,
                column: 10,
                width: 8,
            },
            ProblemKind::LadderDown {
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

    /// A file with a problem in each character must not print gigabytes.
    #[test]
    fn twenty_problems_are_shown_and_the_rest_counted() {
        let music = |signs: &str| {
            format!("title: x\nladder: {{from: 50, to: 80, step: 4%}}\nmusic: |\n  {signs}\n")
        };
        for (count, last) in [
            (20, None),
            (21, Some("x: and 1 more")),
            (500, Some("x: and 480 more")),
            (
                5000,
                Some("x: and 980 more; after 1000 no more were looked for"),
            ),
        ] {
            let source = music(&"$".repeat(count));
            let (drill, problems) = read(source.as_bytes());
            assert!(drill.is_none());
            let text = render("x", &source, &problems);
            let shown = text.lines().filter(|line| line.starts_with("x:4:")).count();
            assert_eq!(shown, 20, "{count}");
            let said = text.lines().last().filter(|line| line.starts_with("x: "));
            assert_eq!(said, last, "{count}");
        }
    }

    /// The text that is read, reported and shown is bounded however much of it is wrong. The test
    /// counts problems and characters; the benchmark `worst` measures the time for a megabyte.
    #[test]
    fn the_worst_text_costs_no_more_than_a_page() {
        for piece in [
            "{", "[", "$", "z", "^", "A", "A|", "A-", "A>", "(3", "{}", "{g}", "|1", ":|", "h/",
        ] {
            let text = piece.repeat(100_000 / piece.len());
            let metre = Metre::FOUR_FOUR;
            let (music, problems) = read_music(&text, metre, metre.default_unit(), "");
            assert!(problems.len() <= 1001, "{piece}: {}", problems.len());
            assert!(music.bars.len() <= 1026, "{piece}: {}", music.bars.len());
            let source = format!("title: x\nmusic: |\n  {text}\n");
            let (_, problems) = read(source.as_bytes());
            assert!(problems.len() <= 1001, "{piece}: {}", problems.len());
            let shown = render("x", &source, &problems);
            assert!(shown.len() < 20_000, "{piece}: {}", shown.len());
        }
        let fields: String = (0..50_000).map(|n| format!("k{n}: 1\n")).collect();
        let (_, problems) = read(fields.as_bytes());
        assert!(problems.len() <= 1001);
        for alone in ["{", "[", "- ", "? ", "a:\n ", "!x ", "&a ", "*", "x, "] {
            let (drill, problems) = read(alone.repeat(100_000 / alone.len()).as_bytes());
            assert!(drill.is_none() && !problems.is_empty(), "{alone}");
            assert!(problems.len() <= 1001, "{alone}");
        }
        let (_, problems) = read(format!("title: {}\n", "9".repeat(100_000)).as_bytes());
        assert!(render("x", "", &problems).len() < 5000);
    }
}
