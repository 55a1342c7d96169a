//! A recording on paper: the expected notes above the heard ones, with a row for each note and time
//! to the right. Faults are ringed and numbered. It is black on white only: an outline is an
//! expected note, a solid bar a heard one.

mod content;
mod fault;
mod line;
mod pointing;

pub use content::{FaultMark, PairsPlayed, Round, Take, TimedNote};

use super::drawing::{Booklet, Paper, TagRole};
use super::writer::{SMALL, TEXT, TITLE, Writer};
use crate::engraving::font::Face;
use crate::units::Seconds;
use fault::{FAULT, write_fault};
use line::{Line, NAMES, NUMBERS, ROW};

/// The room above the rows for the words of a repetition, in points. The numbers of faults are
/// below them.
const WORDS: f64 = 11.0;
/// The room below the rows for the beats and the seconds, in points.
const SCALES: f64 = 22.0;
/// The longest line in seconds. A gracenote of 20 ms is then 2 points wide.
const LONGEST: f64 = 4.6;
/// How many seconds are shown before the first beat of a repetition, for opening gracenotes and an
/// early player.
const BEFORE: f64 = 0.25;
/// The most pages. A picture of a few minutes is read, and one of hours is not.
const PAGES: usize = 12;

/// Draws a recording in lines from top to bottom, like music.
pub fn draw_take(take: &Take, paper: Paper) -> Booklet {
    let mut writer = Writer::new(paper);
    writer.new_page();
    writer.heading(1, &take.title, TITLE * 0.8);
    writer.skip(2.0);
    if let Some(source) = &take.source {
        writer.paragraph(source, SMALL, Face::Italic);
    }
    let key = if take.expected.is_empty() {
        "A solid bar was heard."
    } else {
        "An outline is what is written, a solid bar what was heard; where they differ too much there is a ring with a number, and the place again, enlarged: above what was heard, below what is written, in milliseconds. Dotted lines are beats."
    };
    writer.paragraph(key, SMALL, Face::Regular);
    writer.skip(6.0);
    pointing::write(&mut writer, &take.pointing);
    let mut faults = take.faults.clone();
    faults.sort_by(|a, b| a.at.total_cmp(&b.at));
    let length = line_length(take.beat);
    for (from, to) in lines(take, length) {
        let inside = |at: f64| (from..to).contains(&at);
        let here: Vec<(usize, &FaultMark)> = faults
            .iter()
            .enumerate()
            .filter(|(_, fault)| inside(fault.at.0))
            .collect();
        let width = writer.width() - NAMES;
        let first = here.first().map_or(0.0, |_| FAULT);
        let height = WORDS + NUMBERS + 9.0 * ROW + SCALES + first + 13.0;
        writer.need(height);
        if writer.pages() > PAGES {
            writer.paragraph(
                &format!("The picture ends here; the take goes on at {from:.1} s."),
                TEXT,
                Face::Italic,
            );
            break;
        }
        let early = if take.rounds.is_empty() { 0.0 } else { BEFORE };
        let scale = width / (length + early);
        // beats are aligned from line to line, even where a line has nothing before its first beat
        let opens = take
            .rounds
            .iter()
            .any(|round| from < round.start.0 && round.start.0 < to);
        let indent = if opens { 0.0 } else { early * scale };
        let line = Line {
            from,
            to,
            left: Writer::left() + NAMES + indent,
            scale,
            top: writer.y + WORDS + NUMBERS,
        };
        let figure = line.draw(take, &here);
        writer.put(TagRole::Figure(line.in_words(take, &here)), figure);
        writer.skip(WORDS + NUMBERS + 9.0 * ROW + SCALES);
        writer.skip(3.0);
        for (number, fault) in &here {
            write_fault(&mut writer, take, *number, fault);
        }
        writer.skip(10.0);
    }
    writer.finish(take.title.clone())
}

/// The length of a line in seconds: a whole number of beats where there are beats.
fn line_length(beat: Option<Seconds>) -> f64 {
    let Some(beat) = beat.map(|beat| beat.0).filter(|beat| *beat > 0.0) else {
        return 4.0;
    };
    let most = (LONGEST / beat).floor();
    [8.0, 6.0, 4.0, 3.0, 2.0]
        .into_iter()
        .find(|beats| *beats <= most)
        .unwrap_or(1.0)
        * beat
}

/// The beginning and end of each line in seconds. Each repetition begins a new line, and a line
/// without a note is left out.
fn lines(take: &Take, length: f64) -> Vec<(f64, f64)> {
    let all = || take.heard.iter().chain(&take.expected);
    let first = all().map(|bar| bar.start.0).fold(f64::INFINITY, f64::min);
    let last = all().map(|bar| bar.end.0).fold(0.0, f64::max);
    if !first.is_finite() {
        return Vec::new();
    }
    let mut starts = vec![first - 0.1];
    for round in &take.rounds {
        starts.push(round.start.0);
        starts.push((round.start + round.length).0);
    }
    starts.sort_by(f64::total_cmp);
    let mut lines = Vec::new();
    for (place, start) in starts.iter().enumerate() {
        let end = starts.get(place + 1).copied().unwrap_or(last);
        let mut from = *start;
        while from < end - 1e-6 {
            let to = (from + length).min(end);
            if all().any(|bar| bar.start.0 < to - 0.02 && bar.end.0 > from + 0.02) {
                lines.push((from, to));
            }
            from += length;
        }
    }
    // the gracenotes that open a repetition come before its first beat
    for round in &take.rounds {
        if let Some(line) = lines
            .iter_mut()
            .find(|(from, _)| (from - round.start.0).abs() < 1e-6)
        {
            line.0 -= BEFORE;
        }
    }
    lines
}

#[cfg(test)]
mod tests;
