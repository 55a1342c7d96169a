//! Optical spacing: turns lengths of notes into widths, and justifies a bar by springs.

use super::columns::{Bar, Column};
use super::proportions as p;
use super::settings::Spacing;
use crate::rhythm::Metre;
use num_traits::ToPrimitive;

/// A spring from one head to the next or to the bar line.
#[derive(Debug, Clone, Copy)]
struct Spring {
    /// The least length, at which nothing touches.
    least: f64,
    /// The natural length for the note.
    natural: f64,
    /// The spring's share of the room that is left over. It is the natural length for the note
    /// alone, so that longer notes stay wider.
    share: f64,
}

/// A bar as a row of springs.
#[derive(Debug, Clone)]
pub(super) struct Springs {
    /// The distance from the bar's left end to the left edge of its first head. It does not
    /// stretch.
    start: f64,
    gaps: Vec<Spring>,
    /// The width of the bar line at the bar's end.
    end: f64,
}

/// The natural space of a note by its length: one step more for each doubling and not in
/// proportion, as in printed music (LilyPond's reference describes the same rule; the widths are
/// our own).
fn suits(column: &Column, metre: Metre, spacing: Spacing) -> f64 {
    let part = metre
        .semibreves_of(column.duration)
        .to_f64()
        .unwrap_or(0.25);
    let doublings = (part * 8.0).max(1.0 / 64.0).log2();
    (spacing.quaver + spacing.doubling * doublings).max(spacing.least)
}

impl Springs {
    /// The springs of a bar. `before` is the width of repeat signs at its left end, `end` that of
    /// the bar line at its right.
    pub(super) fn of(bar: &Bar, metre: Metre, spacing: Spacing, before: f64, end: f64) -> Self {
        let start = before + p::AFTER_LINE + bar.columns.first().map_or(0.0, Column::left);
        let gaps = bar
            .columns
            .iter()
            .enumerate()
            .map(|(place, column)| {
                let suits = suits(column, metre, spacing);
                let (least, left) = match bar.columns.get(place + 1) {
                    Some(next) => (
                        column.right() + p::LEAST_GAP + next.left(),
                        next.grace.width,
                    ),
                    None => (column.right() + p::BEFORE_LINE, 0.0),
                };
                Spring {
                    least,
                    // a group of gracenotes is placed a little apart from the note before it
                    natural: (least + spacing.air * left.min(1.0))
                        .max(suits + left * spacing.gracenotes),
                    share: suits,
                }
            })
            .collect();
        Self { start, gaps, end }
    }

    fn width_at(&self, force: f64) -> f64 {
        let stretched: f64 = self
            .gaps
            .iter()
            .map(|spring| (spring.natural + force * spring.share).max(spring.least))
            .sum();
        self.start + stretched + self.end
    }

    /// The natural width of the bar.
    pub(super) fn natural(&self) -> f64 {
        self.width_at(0.0)
    }

    /// The least width of the bar, below which something would touch.
    pub(super) fn least(&self) -> f64 {
        let least: f64 = self.gaps.iter().map(|spring| spring.least).sum();
        self.start + least + self.end
    }

    /// The left edges of the heads and the end of the last spring, for a bar of this width that
    /// begins at `left`. A bar that is too narrow becomes wider than asked for, so that nothing
    /// collides.
    pub(super) fn places(&self, left: f64, width: f64) -> (Vec<f64>, f64) {
        let (mut low, mut high) = (-2.0, 20.0);
        for _ in 0..40 {
            let middle = f64::midpoint(low, high);
            if self.width_at(middle) > width {
                high = middle;
            } else {
                low = middle;
            }
        }
        let force = low;
        let mut x = left + self.start;
        let mut places = Vec::with_capacity(self.gaps.len());
        for spring in &self.gaps {
            places.push(x);
            x += (spring.natural + force * spring.share).max(spring.least);
        }
        (places, x)
    }
}
