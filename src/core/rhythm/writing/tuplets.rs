//! Notes at places that halving does not reach: which of them share a tuplet, and which tuplet.

use super::grid::Span;
use super::{Tuplet, Writer};
use crate::rhythm::WrittenLength;
use crate::units::Fraction;
use num_integer::Integer;

/// A tuplet that a group may be written as.
struct Figures {
    notes: i64,
    time: i64,
}

impl Figures {
    /// The written length, in ticks, of a sounding length.
    fn written(&self, ticks: i64) -> Option<i64> {
        let all = ticks.checked_mul(self.notes)?;
        (all % self.time == 0).then_some(all / self.time)
    }
}

impl Writer<'_> {
    /// Writes notes that lie between two plain places. Whole beats that a long note sounds through,
    /// at either end, are written before or behind the tuplet. A group that is longer than a beat
    /// is cut at its beats unless it is a regular figure, such as triplet crotchets over two beats.
    pub(super) fn odd(&mut self, group: &[Span]) {
        let mut group = group.to_vec();
        let (Some(first), Some(last)) = (group.first().copied(), group.last().copied()) else {
            return;
        };
        let beat = self.grid.beat();
        let whole = self.grid.is_plain(first.from) && self.grid.is_plain(last.to);
        if !whole || last.to - first.from <= beat || self.is_a_figure(&group) {
            self.tuplet(&group);
            return;
        }
        let from = first.to / beat * beat;
        if from > first.from && !self.grid.is_plain(first.to) {
            self.run(&[Span {
                to: from,
                tied: true,
                ..first
            }]);
            group[0].from = from;
        }
        let end = group.len() - 1;
        let to = (group[end].from / beat + 1) * beat;
        let mut behind = None;
        if to < last.to && !self.grid.is_plain(group[end].from) {
            behind = Some(Span { from: to, ..last });
            group[end].to = to;
            group[end].tied = true;
        }
        if self.is_a_figure(&group) {
            self.tuplet(&group);
        } else {
            self.beat_by_beat(&group);
        }
        if let Some(behind) = behind {
            self.run(&[behind]);
        }
    }

    fn beat_by_beat(&mut self, group: &[Span]) {
        let beat = self.grid.beat();
        let mut cell: Vec<Span> = Vec::new();
        for span in group {
            let mut left = *span;
            loop {
                let line = (left.from / beat + 1) * beat;
                if left.to <= line {
                    cell.push(left);
                } else {
                    cell.push(Span {
                        to: line,
                        tied: true,
                        ..left
                    });
                }
                if left.to >= line {
                    self.cell(&std::mem::take(&mut cell));
                }
                if left.to <= line {
                    break;
                }
                left.from = line;
            }
        }
        self.cell(&cell);
    }

    /// Writes the notes within one beat.
    fn cell(&mut self, cell: &[Span]) {
        match cell {
            [] => {}
            [only] if self.grid.is_plain(only.from) && self.grid.is_plain(only.to) => {
                self.run(cell);
            }
            _ => self.tuplet(cell),
        }
    }

    /// True when a reader recognises the group at once: it lasts a plain note value, and each of
    /// its notes is written as one head with at most one dot.
    fn is_a_figure(&self, group: &[Span]) -> bool {
        let (Some(first), Some(last)) = (group.first(), group.last()) else {
            return false;
        };
        let figures = self.figures(group);
        self.grid.odd_of(last.to - first.from) == 1
            && group.iter().all(|span| {
                let written = figures.written(span.to - span.from);
                let value = written.and_then(|ticks| self.grid.value_of(ticks));
                value.is_some_and(|value| value.dots < 2)
            })
    }

    /// The figures of a group. Its places divide the semibreve by a number: that many notes stand
    /// in the time of the next smaller number that leaves a plain note value. Five stand in the
    /// time of three when the group lasts a dotted crotchet, and in the time of four when it lasts
    /// a crotchet.
    fn figures(&self, group: &[Span]) -> Figures {
        let places = group.iter().flat_map(|span| [span.from, span.to]);
        let notes = places.fold(1_i64, |all, place| all.lcm(&self.grid.division(place)));
        let whole = match (group.first(), group.last()) {
            (Some(first), Some(last))
                if self.grid.is_plain(first.from) && self.grid.is_plain(last.to) =>
            {
                last.to - first.from
            }
            _ => self.grid.beat(),
        };
        let below = |mut time: i64| {
            while time * 2 < notes {
                time *= 2;
            }
            Figures { notes, time }
        };
        let fits = |figures: &Figures| {
            group.iter().all(|span| {
                let written = figures.written(span.to - span.from);
                written.is_some_and(|ticks| self.grid.is_plain(ticks))
            })
        };
        Some(self.grid.odd_of(whole))
            .filter(|odd| *odd < notes)
            .map(below)
            .filter(fits)
            .unwrap_or_else(|| below(1))
    }

    fn tuplet(&mut self, group: &[Span]) {
        let figures = self.figures(group);
        let (Ok(notes), Ok(time)) = (u32::try_from(figures.notes), u32::try_from(figures.time))
        else {
            self.bar.exact = false;
            return;
        };
        let begin = self.bar.heads.len();
        let own = self.bar.tuplets.len();
        for span in group {
            let written = figures.written(span.to - span.from);
            let values = written.map_or_else(Vec::new, |ticks| {
                WrittenLength::tied(self.grid.semibreves(ticks))
            });
            if values.is_empty() {
                self.bar.exact = false;
                return;
            }
            let mut from = span.from;
            for (place, value) in values.iter().enumerate() {
                let last = place + 1 == values.len();
                let part = value.part_of_semibreve()
                    * Fraction::new(i128::from(figures.time), i128::from(figures.notes));
                let to = if last {
                    span.to
                } else {
                    from + self.grid.ticks(part)
                };
                let tied = !last || span.tied;
                let note = span.note;
                self.push(
                    Span {
                        note,
                        from,
                        to,
                        tied,
                    },
                    *value,
                    Some(own),
                );
                from = to;
            }
        }
        self.bar.tuplets.push(Tuplet {
            notes,
            time,
            heads: begin..self.bar.heads.len(),
        });
    }
}
