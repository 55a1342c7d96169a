//! What was expected over what was heard, as an SVG picture: a row a note, time to the right,
//! faults ringed and numbered. Meaning is carried by shape and number, never by colour alone.

use super::align::{Piece, Repetition};
use super::heard::HeardNote;
use crate::chanter::{NOTES, Note};
use crate::practice::Verdict;
use std::fmt::Write as _;

/// Pixels a second, a row's height, and the margins.
const SECOND: f64 = 240.0;
const ROW: f64 = 18.0;
const LEFT: f64 = 44.0;
const TOP: f64 = 34.0;
/// Longest picture, seconds: what a browser still draws.
const LONGEST: f64 = 240.0;

/// Draws the notes, and the piece under them when there is one.
pub fn picture(
    heard: &[HeardNote],
    compared: Option<(&Piece, &[(Repetition, Verdict)])>,
) -> String {
    let start = heard
        .first()
        .map_or(0.0, |note| note.start_s - 0.3)
        .max(0.0);
    let end = heard
        .last()
        .map_or(1.0, |note| note.end_s + 0.2)
        .min(start + LONGEST);
    let x = |seconds: f64| LEFT + (seconds - start) * SECOND;
    let y = |note: Note| TOP + (8 - note.index()) as f64 * ROW;
    let faults: Vec<(usize, &str)> = compared
        .map(|(_, found)| {
            found
                .iter()
                .enumerate()
                .flat_map(|(number, (_, verdict))| {
                    verdict
                        .faults
                        .iter()
                        .map(move |fault| (number + 1, fault.words.as_str()))
                })
                .collect()
        })
        .unwrap_or_default();
    let width = x(end) + 20.0;
    let height = TOP + 9.0 * ROW + 30.0 + 16.0 * faults.len() as f64;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.0}\" height=\"{height:.0}\" \
         font-family=\"sans-serif\" font-size=\"12\">\n<title>What was heard</title>\n\
         <rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n"
    );
    for note in NOTES {
        let _ = writeln!(
            svg,
            "<text x=\"6\" y=\"{:.1}\">{note}</text><line x1=\"{LEFT}\" x2=\"{:.1}\" y1=\"{:.1}\" y2=\"{:.1}\" stroke=\"#ddd\"/>",
            y(note) + 13.0,
            width - 10.0,
            y(note) + ROW,
            y(note) + ROW,
        );
    }
    if let Some((piece, found)) = compared {
        for (repetition, _) in found {
            let beats = (piece.length_s / piece.beat_s).round() as usize;
            for beat in 0..=beats {
                let at = x(repetition.start_s + beat as f64 * piece.beat_s);
                let _ = writeln!(
                    svg,
                    "<line x1=\"{at:.1}\" x2=\"{at:.1}\" y1=\"{:.1}\" y2=\"{:.1}\" stroke=\"#888\" stroke-dasharray=\"2 3\"/>",
                    TOP - 6.0,
                    TOP + 9.0 * ROW,
                );
            }
            for note in &piece.notes {
                let _ = writeln!(
                    svg,
                    "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"none\" stroke=\"#555\"/>",
                    x(repetition.start_s + note.start_s),
                    y(note.note) + 1.0,
                    (note.length_s * SECOND).max(1.0),
                    ROW - 2.0,
                );
            }
        }
    }
    for note in heard.iter().take_while(|note| note.start_s < end) {
        let _ = writeln!(
            svg,
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"#2a6f97\" fill-opacity=\"0.75\"><title>{} {:.0} ms</title></rect>",
            x(note.start_s),
            y(note.note) + 4.0,
            (note.length_s() * SECOND).max(1.0),
            ROW - 8.0,
            note.note,
            note.length_s() * 1e3,
        );
    }
    let mut number = 0;
    for (repetition, verdict) in compared.map(|(_, found)| found).unwrap_or_default() {
        for fault in &verdict.faults {
            number += 1;
            let place = fault.id.map(|id| id as usize);
            let heard_there = place
                .and_then(|at| repetition.pairs.get(at).copied().flatten())
                .and_then(|at| heard.get(at));
            let written = compared.and_then(|(piece, _)| piece.notes.get(place?));
            let (at, note) = match (heard_there, written) {
                (Some(note), _) => (note.start_s, note.note),
                (None, Some(written)) => (repetition.start_s + written.start_s, written.note),
                (None, None) => (repetition.start_s, Note::HighA),
            };
            let _ = writeln!(
                svg,
                "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"11\" fill=\"none\" stroke=\"#b00020\" stroke-width=\"2\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-weight=\"bold\">{number}</text>",
                x(at),
                y(note) + ROW / 2.0,
                x(at),
                TOP - 12.0,
            );
        }
    }
    for (line, (repetition, words)) in faults.iter().enumerate() {
        let _ = writeln!(
            svg,
            "<text x=\"{LEFT}\" y=\"{:.1}\">{}. repetition {repetition}: {words}</text>",
            TOP + 9.0 * ROW + 24.0 + 16.0 * line as f64,
            line + 1,
        );
    }
    svg.push_str("</svg>\n");
    svg
}
