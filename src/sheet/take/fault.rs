//! Draws a fault below the picture: its words, and an enlarged view of its place.

use super::content::{FaultMark, Take, TimedNote};
use super::line::NAMES;
use crate::engraving::font::Face;
use crate::sheet::drawing::{Ink, TagRole};
use crate::sheet::writer::{MARGIN, SMALL, TEXT, Writer, wrap};
use crate::units::Milliseconds;

/// The scale of the two bars of a length, in points a millisecond, at which 25 ms and 73 ms clearly
/// differ.
const LENGTH: f64 = 0.8;

/// The height of each of the two bars, in points.
const LENGTH_BAR: f64 = 3.6;

/// The height of a row of words below the picture, or of the two bars of a length, in points.
const TOLD: f64 = TEXT * 1.3;

/// The least height of the enlarged view of a fault, in points.
pub(super) const FAULT: f64 = 60.0;

/// The share of the width that the words about a fault get.
const WORDS_SHARE: f64 = 0.36;

/// Writes a fault in words, and draws the enlarged view of its place.
pub(super) fn write_fault(writer: &mut Writer, take: &Take, number: usize, fault: &FaultMark) {
    let left = MARGIN + NAMES;
    let width = writer.width() - NAMES;
    let words = format!("{}  {}", number + 1, fault.words);
    let words = wrap(&words, Face::Regular, TEXT, width * WORDS_SHARE - 8.0);
    let lengths = f64::from(u8::from(fault.lengths.is_some()));
    let height = (TOLD * (words.len() as f64 + lengths) + 4.0).max(FAULT);
    writer.need(height);
    let top = writer.y;
    let mut ink = Vec::new();
    for (row, text) in words.iter().enumerate() {
        let base = top + TOLD * row as f64 + TEXT;
        ink.push(Ink::words(text, left, base, TEXT, Face::Regular));
    }
    if let Some(lengths) = fault.lengths {
        let below = top + TOLD * words.len() as f64;
        ink.extend(two_bars(lengths, left, below, width * WORDS_SHARE - 8.0));
    }
    writer.put(TagRole::Paragraph, ink);
    let window = Window::around(fault, take);
    let x = left + width * WORDS_SHARE;
    let (ink, said) = window.draw(take, fault, x, top, width * (1.0 - WORDS_SHARE));
    writer.put(TagRole::Figure(said), ink);
    writer.skip(height);
}

/// The stretch of time around a fault that is enlarged.
struct Window {
    from: f64,
    to: f64,
}

impl Window {
    /// The least and the most that is shown, in seconds. A gracenote of 30 ms is then wide enough
    /// for its figure, and a long note is shown to its end.
    const SHORTEST: f64 = 0.5;
    const LONGEST: f64 = 1.2;

    fn around(fault: &FaultMark, take: &Take) -> Self {
        let at = |bars: &[TimedNote]| {
            let own = |bar: &&TimedNote| {
                bar.note == fault.note
                    && bar.start.0 < fault.at.0 + 0.05
                    && bar.end.0 > fault.at.0 - 0.05
            };
            bars.iter()
                .filter(own)
                .map(|bar| bar.end.0 - bar.start.0)
                .fold(0.0, f64::max)
        };
        let longest = at(&take.heard).max(at(&take.expected));
        let length = (longest * 1.4).clamp(Self::SHORTEST, Self::LONGEST);
        let from = fault.at.0 - length * 0.3;
        Self {
            from,
            to: from + length,
        }
    }

    /// Draws two lanes, the heard notes above the written ones, each note with its name and whole
    /// length. Returns the same in words.
    fn draw(
        &self,
        take: &Take,
        fault: &FaultMark,
        left: f64,
        top: f64,
        width: f64,
    ) -> (Vec<Ink>, String) {
        let x = |at: f64| left + (at - self.from) / (self.to - self.from) * width;
        let middle = top + 26.0;
        let mut ink = Vec::new();
        let fault_at = x(fault.at.0);
        for dash in 0..17 {
            let y = top + 3.0 * f64::from(dash);
            ink.push(Ink::rectangle(fault_at - 0.2, y, fault_at + 0.2, y + 1.2));
        }
        let mut said = Vec::new();
        for (bars, heard) in [(&take.heard, true), (&take.expected, false)] {
            let mut words = Vec::new();
            // the right end of the figures written so far
            let mut free = left;
            for bar in bars {
                let (start, end) = (bar.start.0.max(self.from), bar.end.0.min(self.to));
                if start >= end {
                    continue;
                }
                let ms = format!("{:.0}", (bar.end.0 - bar.start.0) * 1000.0);
                words.push(format!("{} {ms}", bar.note));
                // a narrow gap between neighbours
                let (from, to) = (x(start), (x(end) - 0.8).max(x(start) + 1.2));
                let [name_base, ms_base] = if heard {
                    ink.push(Ink::rectangle(from, middle - 8.0, to, middle - 1.0));
                    [middle - 18.0, middle - 10.0]
                } else {
                    ink.push(Ink::frame(from, middle + 1.0, to, middle + 8.0, 0.6));
                    [middle + 24.0, middle + 16.0]
                };
                let size = SMALL * 0.85;
                let name = bar.note.to_string();
                let wide = |text: &str| Face::Regular.width(text, size);
                let wider = wide(&name).max(wide(&ms));
                if from >= free {
                    free = from + wider + 2.0;
                    ink.push(Ink::words(&name, from, name_base, size, Face::Bold));
                    ink.push(Ink::words(&ms, from, ms_base, size, Face::Regular));
                }
            }
            let what = if heard { "heard" } else { "written" };
            said.push(format!("{what}: {}", words.join(", ")));
        }
        ink.push(Ink::rectangle(
            left,
            middle - 0.2,
            left + width,
            middle + 0.2,
        ));
        (ink, format!("enlarged, milliseconds; {}", said.join("; ")))
    }
}

/// Draws the played length as a solid bar above the written length as an outline, with figures.
/// Both are reduced where the longer one does not fit.
fn two_bars(
    (played, written): (Milliseconds, Milliseconds),
    left: f64,
    top: f64,
    width: f64,
) -> Vec<Ink> {
    let figures = format!("{played:.0} of {written:.0} ms");
    let room = width - Face::Regular.width(&figures, SMALL) - 8.0;
    let scale = LENGTH.min(room / played.max(written).0.max(1.0));
    let end = |length: Milliseconds| left + (length.0 * scale).max(0.8);
    let middle = top + 1.6 + LENGTH_BAR;
    let right = end(played).max(end(written));
    vec![
        Ink::rectangle(left, middle - LENGTH_BAR, end(played), middle - 0.5),
        Ink::frame(left, middle + 0.5, end(written), middle + LENGTH_BAR, 0.5),
        Ink::words(&figures, right + 5.0, middle + 2.5, SMALL, Face::Regular),
    ]
}
