//! Writes the head of a tune's first page.

use super::drawing::{Ink, TagRole};
use super::writer::{HEADING, MARGIN, TEXT, TITLE, Writer, wrap};
use crate::drill::Drill;
use crate::engraving::font::Face;
use crate::wording;

/// The kind and the pointing of a tune, such as `March, pointed 4 : 1 (from experience)`. A tune
/// without a kind has its pointing only.
pub(super) fn kind_and_pointing(drill: &Drill) -> String {
    let kind = drill.head.kind.clone();
    let both: Vec<String> = kind.into_iter().chain(drill.pointing()).collect();
    wording::capital(&both.join(", "))
}

/// Writes the head of a tune as players print it: the title in the middle, other titles below it,
/// the kind of tune at the left, and composer and origin at the right (common practice, no source).
pub(super) fn tune_head(writer: &mut Writer, drill: &Drill) {
    let width = writer.width();
    let middle = MARGIN + width / 2.0;
    let mut lines = |text: &str, size: f64, face: Face| -> Vec<Ink> {
        let wrapped = wrap(text, face, size, width);
        let line = |line: &String| {
            writer.skip(size * 0.95);
            let ink = Ink::centred(line, middle, writer.y, size, face);
            writer.skip(size * 0.25);
            ink
        };
        wrapped.iter().map(line).collect()
    };
    let title = lines(&drill.title, TITLE, Face::Bold);
    let also: Vec<Vec<Ink>> = drill
        .head
        .also
        .iter()
        .map(|other| lines(other, HEADING, Face::Regular))
        .collect();
    writer.put(TagRole::Heading(1, drill.title.clone()), title);
    for ink in also {
        writer.put(TagRole::Paragraph, ink);
    }
    kind_and_maker(writer, drill);
}

/// Writes the kind of tune at the left, and composer and origin at the right.
pub(super) fn kind_and_maker(writer: &mut Writer, drill: &Drill) {
    let width = writer.width();
    let half = (width - 20.0) / 2.0;
    let left = wrap(&kind_and_pointing(drill), Face::Italic, TEXT, half);
    let right = drill.head.made_by().unwrap_or_default();
    let right = wrap(&right, Face::Regular, TEXT, half);
    let rows = left.len().max(right.len());
    let top = writer.y;
    let base = |row: usize| top + TEXT * (1.0 + 1.3 * row as f64);
    let kind = left
        .iter()
        .enumerate()
        .map(|(row, line)| Ink::words(line, MARGIN, base(row), TEXT, Face::Italic));
    let made = right.iter().enumerate().map(|(row, line)| {
        let x = MARGIN + width - Face::Regular.width(line, TEXT);
        Ink::words(line, x, base(row), TEXT, Face::Regular)
    });
    for ink in [kind.collect::<Vec<_>>(), made.collect()] {
        if !ink.is_empty() {
            writer.put(TagRole::Paragraph, ink);
        }
    }
    writer.skip(rows as f64 * TEXT * 1.3);
}
