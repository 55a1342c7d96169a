//! The music of an ABC tune as one text, with where each character stands in the file.

use super::lines::{directive, is_field, line_place, text_of};
use crate::drill::{Place, Problem};
use crate::exchange::piece::{adopted_at, foreign};

/// Fields that may stand inside a tune body (ABC 2.1 §3); others there are music.
const BODY_FIELDS: &str = "IKLMmNPQRrsTUVWw";

/// Body text with where its characters stand in the file.
pub(super) struct Body {
    pub(super) text: String,
    /// First character of each line, its number, and the columns put in front of it.
    lines: Vec<(usize, usize, usize)>,
}

impl Body {
    /// Fields of the body become inline fields, lyrics and the like are told.
    pub(super) fn of(lines: &[(usize, &str)], problems: &mut Vec<Problem>) -> Self {
        let mut body = Self {
            text: String::new(),
            lines: Vec::new(),
        };
        let mut length = 0;
        for (number, line) in lines {
            let place = line_place(*number);
            if let Some(rest) = line.strip_prefix("%%") {
                directive(rest, place, problems);
                continue;
            }
            let letter = line.chars().next().unwrap_or(' ');
            let (text, shift) = if is_field(line) && (BODY_FIELDS.contains(letter) || letter == '+')
            {
                match letter {
                    'K' | 'L' | 'M' | 'Q' | 'V' | 'r' => {
                        let value = text_of(line).replace(']', " ");
                        (format!("[{letter}:{value}]\n"), 1)
                    }
                    'I' => continue,
                    'm' => {
                        problems.push(foreign(
                            place,
                            "a macro (`m:`)",
                            "music written out: a macro changes what the notes mean",
                        ));
                        continue;
                    }
                    letter => {
                        problems.push(adopted_at(
                            place,
                            format!("the field `{letter}:` in the music"),
                            "left out",
                        ));
                        continue;
                    }
                }
            } else {
                (format!("{line}\n"), 0)
            };
            body.lines.push((length, *number, shift));
            length += text.chars().count();
            body.text.push_str(&text);
        }
        body
    }

    /// Where characters of the text stand in the file.
    pub(super) fn place(&self, start: usize, end: usize) -> Place {
        let after = self.lines.partition_point(|(first, ..)| *first <= start);
        match after.checked_sub(1).and_then(|line| self.lines.get(line)) {
            Some((first, number, shift)) => Place {
                line: *number,
                column: (start - first + 1).saturating_sub(*shift).max(1),
                width: end.saturating_sub(start).max(1),
            },
            None => line_place(self.lines.first().map_or(1, |line| line.1)),
        }
    }
}
