//! Draws the music as a line of text, for windows without room for a staff: notes with their
//! lengths, gracenotes in braces, and the note that sounds in reverse video.

use super::put;
use crate::score::{NoteId, Score};
use crate::screen::Theme;
use crate::units::spell_fraction;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::collections::BTreeSet;

/// The text that replaces a hidden bar.
const HIDDEN: &str = "(from memory)";

/// A word of the line.
pub(in crate::screen) struct Word {
    pub(in crate::screen) text: String,
    pub(in crate::screen) id: Option<NoteId>,
}

/// The words of a score: bar lines, gracenotes and notes. The hidden notes of a bar are replaced by
/// one word.
pub(in crate::screen) fn words(score: &Score, hidden: &BTreeSet<NoteId>) -> Vec<Word> {
    let mut words = Vec::new();
    let mut bar = None;
    for note in &score.notes {
        if bar.is_some_and(|bar| bar != note.bar) {
            words.push(Word {
                text: "|".to_owned(),
                id: None,
            });
        }
        let begins = bar.replace(note.bar) != Some(note.bar);
        if hidden.contains(&NoteId { pass: 1, ..note.id }) {
            if begins {
                words.push(Word {
                    text: HIDDEN.to_owned(),
                    id: Some(note.id),
                });
            }
            continue;
        }
        if !note.group.parts.is_empty() {
            words.push(Word {
                text: "{".to_owned(),
                id: None,
            });
            for part in &note.group.parts {
                words.push(Word {
                    text: part.note.name().to_owned(),
                    id: Some(part.id),
                });
            }
            words.push(Word {
                text: "}".to_owned(),
                id: None,
            });
        }
        let tie = if note.continues { "~" } else { "" };
        words.push(Word {
            text: format!(
                "{tie}{} {}",
                note.note,
                spell_fraction(&score.beats_written(note).0)
            ),
            id: Some(note.id),
        });
    }
    words
}

/// The words of each note, which stay together: its gracenotes, the note, and the bar line after
/// it.
fn notes(words: &[Word]) -> Vec<Vec<&Word>> {
    let mut notes: Vec<Vec<&Word>> = vec![Vec::new()];
    let mut complete = false;
    for word in words {
        let bar_line = word.text == "|";
        if complete
            && !bar_line
            && let Some(last) = notes.last()
            && !last.is_empty()
        {
            notes.push(Vec::new());
            complete = false;
        }
        complete |= word.id.is_some_and(|id| id.grace == 0);
        if let Some(last) = notes.last_mut() {
            last.push(word);
        }
    }
    notes
}

fn width(words: &[&Word]) -> usize {
    words
        .iter()
        .map(|word| word.text.chars().count() + 1)
        .sum::<usize>()
        .saturating_sub(1)
}

/// Breaks the words into lines of at most this many columns. A line ends between two notes, and
/// within a note's gracenotes only where the note alone is wider than a line.
fn broken(words: &[Word], columns: usize) -> Vec<Vec<&Word>> {
    let mut lines: Vec<Vec<&Word>> = vec![Vec::new()];
    for note in notes(words) {
        let pieces = if width(&note) > columns {
            note.into_iter().map(|word| vec![word]).collect()
        } else {
            vec![note]
        };
        for piece in pieces {
            if let Some(line) = lines.last_mut()
                && (line.is_empty() || width(line) + 1 + width(&piece) <= columns)
            {
                line.extend(piece);
            } else {
                lines.push(piece);
            }
        }
    }
    lines
}

/// The character at the end of the last line where more music follows.
const MORE: &str = "…";

/// Draws the line into the area. Where the line is too long, the part around the note that sounds
/// is shown.
pub(super) fn draw(
    buffer: &mut Buffer,
    theme: Theme,
    area: Rect,
    (score, hidden): (&Score, &BTreeSet<NoteId>),
    sounding: Option<NoteId>,
) {
    let words = words(score, hidden);
    // two columns are kept free for the character that says that more follows
    let lines = broken(&words, usize::from(area.width.saturating_sub(2)));
    let current = sounding
        .and_then(|id| {
            lines
                .iter()
                .position(|line| line.iter().any(|word| word.id == Some(id)))
        })
        .unwrap_or(0);
    let room = usize::from(area.height);
    let first = current.min(lines.len().saturating_sub(room));
    for (row, line) in lines.iter().skip(first).take(room).enumerate() {
        let mut x = area.x;
        for word in line {
            let style = if word.id.is_some() && word.id == sounding {
                theme.accent()
            } else {
                theme.plain()
            };
            x = put(buffer, area, x, area.y + row as u16, &word.text, style) + 1;
        }
        if row + 1 == room && first + room < lines.len() {
            put(buffer, area, x, area.y + row as u16, MORE, theme.plain());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{BUILT_IN, read};
    use crate::movement::Schools;
    use crate::score::resolve_music;
    use crate::units::Beats;

    /// A movement divided over two lines cannot be read while playing.
    #[test]
    fn lines_break_between_notes_and_never_inside_braces() {
        let mut lines = 0;
        for file in BUILT_IN {
            let drill = read(file.text.as_bytes()).0.expect("it reads");
            for stage in &drill.stages {
                let score = resolve_music(&stage.music, Beats::ZERO, &Schools::none());
                let words = words(&score, &BTreeSet::new());
                for line in broken(&words, 36) {
                    let text: Vec<&str> = line.iter().map(|word| word.text.as_str()).collect();
                    let signs = |sign: &str| text.iter().filter(|word| **word == sign).count();
                    assert_eq!(signs("{"), signs("}"), "{}: {text:?}", file.name);
                    assert_ne!(text.last(), Some(&"}"), "{}: {text:?}", file.name);
                    assert!(text.join(" ").chars().count() <= 36, "{text:?}");
                    lines += 1;
                }
            }
        }
        assert!(lines > 100);
    }
}
