//! The music in one line of text, for screens without room for a staff: notes with their lengths,
//! gracenotes in braces, the one that sounds reversed.

use super::put;
use crate::score::{NoteId, Score};
use crate::screen::Theme;
use crate::units::spell_fraction;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// A word of the line.
pub(in crate::screen) struct Word {
    pub(in crate::screen) text: String,
    pub(in crate::screen) id: Option<NoteId>,
}

/// The words of a score: bar lines, gracenotes, notes.
pub(in crate::screen) fn words(score: &Score) -> Vec<Word> {
    let mut words = Vec::new();
    let mut bar = None;
    for note in &score.notes {
        if bar.is_some_and(|bar| bar != note.bar) {
            words.push(Word {
                text: "|".to_owned(),
                id: None,
            });
        }
        bar = Some(note.bar);
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
            text: format!("{tie}{} {}", note.note, spell_fraction(&note.written.0)),
            id: Some(note.id),
        });
    }
    words
}

/// Draws the line into the area, the part around the sounding note where it is longer.
pub(super) fn draw(
    buffer: &mut Buffer,
    theme: Theme,
    area: Rect,
    score: &Score,
    sounding: Option<NoteId>,
) {
    let words = words(score);
    let mut lines: Vec<Vec<&Word>> = vec![Vec::new()];
    let mut used = 0;
    for word in &words {
        let width = word.text.chars().count() + 1;
        if used + width > usize::from(area.width) && used > 0 {
            lines.push(Vec::new());
            used = 0;
        }
        used += width;
        if let Some(line) = lines.last_mut() {
            line.push(word);
        }
    }
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
                theme.here()
            } else {
                theme.plain()
            };
            x = put(buffer, area, x, area.y + row as u16, &word.text, style) + 1;
        }
    }
}
