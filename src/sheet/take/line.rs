//! One line of a picture: a row for each note, with bars and rings along the time.

use super::content::{FaultMark, Take, TimedNote};
use crate::chanter::{NOTES, Note};
use crate::engraving::font::{Face, Segment};
use crate::sheet::drawing::Ink;
use crate::sheet::writer::{SMALL, TEXT};
use crate::units::Seconds;

/// The height of a note's row in points.
pub(super) const ROW: f64 = 9.5;

/// The room left of the rows for the names of notes, in points.
pub(super) const NAMES: f64 = 26.0;

/// The room above the rows for the numbers of faults, in points.
pub(super) const NUMBERS: f64 = 12.0;
/// The radius of a ring in points.
const RING: f64 = 7.0;

/// One line of a picture.
pub(super) struct Line {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) left: f64,
    /// The scale in points a second.
    pub(super) scale: f64,
    /// The y of the top of the rows, in points.
    pub(super) top: f64,
}

impl Line {
    fn x(&self, seconds: f64) -> f64 {
        self.left + (seconds - self.from) * self.scale
    }

    fn y(&self, note: Note) -> f64 {
        self.top + (8 - note.index()) as f64 * ROW
    }

    fn bottom(&self) -> f64 {
        self.top + 9.0 * ROW
    }

    pub(super) fn draw(&self, take: &Take, faults: &[(usize, &FaultMark)]) -> Vec<Ink> {
        let mut ink = Vec::new();
        let right = self.x(self.to);
        for note in NOTES {
            let base = self.y(note) + ROW - 2.2;
            ink.push(Ink::words(
                &note.to_string(),
                self.left - NAMES + 4.0,
                base,
                SMALL * 0.85,
                Face::Regular,
            ));
        }
        for row in 0..=9 {
            let y = self.top + f64::from(row) * ROW;
            ink.push(Ink::rectangle(self.left, y - 0.1, right, y + 0.1));
        }
        self.beats(take, &mut ink);
        self.seconds(&mut ink);
        for bar in self.shown(&take.expected) {
            let (left, right) = (self.x(bar.start.0), self.x(bar.end.0));
            let top = self.y(bar.note) + 0.6;
            ink.push(Ink::frame(
                left,
                top,
                right.max(left + 1.6),
                top + ROW - 1.2,
                0.5,
            ));
        }
        for bar in self.shown(&take.heard) {
            let (left, right) = (self.x(bar.start.0), self.x(bar.end.0));
            let top = self.y(bar.note) + 3.0;
            ink.push(Ink::rectangle(
                left,
                top,
                right.max(left + 0.8),
                top + ROW - 6.0,
            ));
        }
        self.marks(faults, &mut ink);
        ink
    }

    /// The parts of bars that are inside this line.
    fn shown<'a>(&'a self, bars: &'a [TimedNote]) -> impl Iterator<Item = TimedNote> + 'a {
        bars.iter()
            .filter(|bar| bar.end.0 > self.from && bar.start.0 < self.to)
            .map(|bar| TimedNote {
                start: bar.start.max(Seconds(self.from)),
                end: bar.end.min(Seconds(self.to)),
                ..*bar
            })
    }

    fn beats(&self, take: &Take, ink: &mut Vec<Ink>) {
        let Some(length) = take.beat else {
            return;
        };
        for round in &take.rounds {
            let count = (round.length / length).round() as usize;
            for beat in 0..=count {
                let at = round.start.0 + beat as f64 * length.0;
                if at < self.from - 1e-6 || at > self.to + 1e-6 {
                    continue;
                }
                let x = self.x(at);
                let mut y = self.top - 3.0;
                while y < self.bottom() + 2.0 {
                    ink.push(Ink::rectangle(x - 0.25, y, x + 0.25, y + 1.2));
                    y += 3.0;
                }
                // the end of a repetition is not one of its beats
                if beat < count && at < self.to - 1e-6 {
                    let text = format!("beat {}", beat + 1);
                    let face = Face::Regular;
                    ink.push(Ink::centred(
                        &text,
                        x,
                        self.bottom() + 9.5,
                        SMALL * 0.85,
                        face,
                    ));
                }
            }
            let head = self.from..self.to - 1e-6;
            if head.contains(&round.start.0) {
                ink.push(Ink::words(
                    &round.words,
                    self.left,
                    self.top - NUMBERS - 3.0,
                    SMALL,
                    Face::Bold,
                ));
            }
        }
    }

    /// Draws a tick every tenth of a second, and a longer one with a number every half second.
    fn seconds(&self, ink: &mut Vec<Ink>) {
        let mut tenth = (self.from * 10.0).ceil() as i64;
        while tenth as f64 / 10.0 <= self.to {
            let x = self.x(tenth as f64 / 10.0);
            let named = tenth % 5 == 0;
            let down = if named { 4.0 } else { 2.0 };
            let y = self.bottom() + 11.0;
            ink.push(Ink::rectangle(x - 0.2, y, x + 0.2, y + down));
            if named {
                let text = format!("{:.1} s", tenth as f64 / 10.0);
                ink.push(Ink::centred(
                    &text,
                    x,
                    y + 10.5,
                    SMALL * 0.75,
                    Face::Regular,
                ));
            }
            tenth += 1;
        }
        let y = self.bottom() + 11.0;
        ink.push(Ink::rectangle(self.left, y - 0.2, self.x(self.to), y + 0.2));
    }

    /// Draws rings, each with its number above the rows and a thin line to it. Numbers that would
    /// touch are placed beside each other.
    fn marks(&self, faults: &[(usize, &FaultMark)], ink: &mut Vec<Ink>) {
        let mut free = f64::NEG_INFINITY;
        for (number, fault) in faults {
            let x = self.x(fault.at.0);
            let y = self.y(fault.note) + ROW / 2.0;
            let text = (number + 1).to_string();
            let half = Face::Bold.width(&text, TEXT) / 2.0;
            let at = x.max(free + half);
            free = at + half + 3.0;
            let foot = self.top - 4.0;
            ink.push(Ink::centred(&text, at, foot, TEXT, Face::Bold));
            ink.push(slant((at, foot + 1.5), (x, y - RING)));
            ink.push(ring(x, y, RING));
        }
    }

    pub(super) fn in_words(&self, take: &Take, faults: &[(usize, &FaultMark)]) -> String {
        let notes: Vec<String> = self
            .shown(&take.heard)
            .map(|bar| bar.note.to_string())
            .collect();
        let marks: String = faults
            .iter()
            .map(|(number, fault)| format!("; {}: {}", number + 1, fault.words))
            .collect();
        format!(
            "heard from {:.2} to {:.2} s: {}{marks}",
            self.from,
            self.to,
            notes.join(" ")
        )
    }
}

/// A thin line from one point to another.
fn slant(from: (f64, f64), to: (f64, f64)) -> Ink {
    const HALF: f64 = 0.2;
    Ink::Fill(vec![
        Segment::Move((from.0 - HALF, from.1)),
        Segment::Line((from.0 + HALF, from.1)),
        Segment::Line((to.0 + HALF, to.1)),
        Segment::Line((to.0 - HALF, to.1)),
        Segment::Close,
    ])
}

/// A circle of four curves. Its inner edge runs the other way round, so that the inside is not
/// filled.
fn ring(x: f64, y: f64, radius: f64) -> Ink {
    const EDGE: f64 = 1.0;
    /// The length of the handles of a quarter of a circle, in radii: 4/3 (√2 − 1).
    const HANDLE: f64 = 0.552_284_749_8;
    let mut segments = Vec::new();
    for (radius, turn) in [(radius, 1.0), (radius - EDGE, -1.0)] {
        let at = |a: f64, b: f64| (x + a * radius, y + turn * b * radius);
        segments.push(Segment::Move(at(1.0, 0.0)));
        let quarters = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)];
        for quarter in 0..4 {
            let (from, to) = (quarters[quarter], quarters[(quarter + 1) % 4]);
            segments.push(Segment::Curve(
                at(from.0 + HANDLE * to.0, from.1 + HANDLE * to.1),
                at(to.0 + HANDLE * from.0, to.1 + HANDLE * from.1),
                at(to.0, to.1),
            ));
        }
        segments.push(Segment::Close);
    }
    Ink::Fill(segments)
}
