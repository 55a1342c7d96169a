//! Bar lines, repeats and endings, and the order of play.

use super::foreign::written_out;
use super::mend::mend;
use super::order::body_order;
use super::{MusicProblem, Reader};
use crate::drill::problem::ProblemKind;
use crate::drill::written::{Bar, Music};
use crate::rhythm::Pointing;
use crate::units::Beats;

impl Reader {
    pub(super) fn bar_line(&mut self) {
        let start = self.at;
        while matches!(self.peek(), Some('|' | ':' | ']'))
            || (self.peek() == Some('[') && self.peek_next() == Some('|'))
        {
            self.at += 1;
        }
        let line: String = self.signs[start..self.at].iter().collect();
        let ends_repeat = line.starts_with(':');
        let begins_repeat = line.ends_with(':') && (line.len() > 1);
        let part_ends = line.contains("||") || line.contains("|]") || line.contains("[|");
        let bracket = self.peek() == Some('[');
        let digit = if bracket {
            self.peek_next()
        } else {
            self.peek()
        };
        let inside = line.is_empty() && digit == Some('1') && self.begin_ending_inside(start);
        if !inside {
            self.close_bar(ends_repeat, part_ends || ends_repeat);
        }
        if begins_repeat {
            self.bar.repeat_begins = true;
        }
        let foreign = self.foreign.is_some();
        match digit {
            Some('1') if !inside => self.forget_shared(),
            Some('2'..='9') if foreign => self.begin_later_ending(),
            _ => {}
        }
        if foreign && matches!(digit, Some('1'..='9')) {
            self.at += usize::from(bracket);
            self.ending_numbers();
        } else if let Some(ending @ ('1' | '2')) = digit {
            self.at += 1 + usize::from(bracket);
            self.bar.ending = Some(if ending == '1' { 1 } else { 2 });
        } else if line.is_empty() {
            self.at += 1;
            self.tell(
                start,
                self.at,
                ProblemKind::UnknownSign {
                    sign: "[".to_owned(),
                },
            );
        }
    }

    fn close_bar(&mut self, repeat_ends: bool, part_ends: bool) {
        if let Some(pending) = self.group.take() {
            self.tell(pending.start, pending.end, ProblemKind::GroupWithoutNote);
        }
        if self.bar.notes.is_empty() {
            // A change of metre applies to the next bar. A bar that has only a rest and stands
            // before the first note is left out: the music begins after it.
            self.owed("left out");
            self.unsure = false;
            if let Some(last) = self.bars.last_mut() {
                last.repeat_ends |= repeat_ends;
                last.part_ends |= part_ends;
            }
            return;
        }
        self.part_at_lines();
        let mut bar = std::mem::take(&mut self.bar);
        bar.repeat_ends = repeat_ends;
        bar.part_ends = part_ends;
        self.bars.push(bar);
        self.bars_unsure.push(std::mem::take(&mut self.unsure));
        self.bar_spans.push(std::mem::take(&mut self.spans));
    }

    /// Handles the end of a line of text. Music that begins without a metre ends a phrase there. In
    /// music of other programs it also ends a bar, because such music seldom has a bar line there.
    pub(super) fn end_line(&mut self) {
        let before = self.signs[..self.at].iter().rev();
        let goes_on = before.copied().find(|sign| !sign.is_whitespace()) == Some('\\');
        self.at += 1;
        if goes_on {
            return;
        }
        if self.first.is_free() {
            if self.foreign.is_some() && self.metre.is_free() && self.group.is_none() {
                self.close_bar(false, false);
            }
            if self.bar.notes.is_empty()
                && let Some(last) = self.bars.last_mut()
            {
                last.line_ends = true;
            }
        } else if self.foreign.is_some() && !self.bar.notes.is_empty() {
            self.line_ends.push(self.bar.notes.len());
        }
    }

    /// Splits long bars at line ends, because collections of songs write no bar line at the end of
    /// a line. A bar is split where it is full, if the rest fits into a bar.
    fn part_at_lines(&mut self) {
        let ends = std::mem::take(&mut self.line_ends);
        let full = self.metre.bar();
        if ends.is_empty() || self.bar.length() <= full {
            return;
        }
        let mut cuts = Vec::new();
        let mut lasts = Beats::ZERO;
        for (at, written) in self.bar.notes.iter().enumerate() {
            if lasts == full && ends.contains(&at) {
                cuts.push(at);
                lasts = Beats::ZERO;
            }
            lasts = lasts + written.length;
        }
        if cuts.is_empty() || lasts > full {
            return;
        }
        let mut before = 0;
        for cut in cuts {
            let rest = Bar {
                notes: self.bar.notes.split_off(cut - before),
                ..Bar::default()
            };
            let spans = self.spans.split_off(cut - before);
            let (start, end) = self.spans.last().copied().unwrap_or_default();
            let kind = ProblemKind::adopted(
                "no bar line at the end of a line",
                "the bar is full and ends there",
                Vec::new(),
            );
            self.tell(start, end, kind);
            self.bars.push(std::mem::replace(&mut self.bar, rest));
            self.bars_unsure.push(self.unsure);
            self.bar_spans
                .push(std::mem::replace(&mut self.spans, spans));
            before = cut;
        }
    }

    pub(super) fn finish(mut self, label: &str) -> (Music, Vec<MusicProblem>) {
        self.close_bar(false, true);
        if let Some(last) = self.bars.last_mut() {
            last.line_ends = false;
        }
        self.write_endings_out();
        let order = self.unroll();
        let mut music = Music {
            metre: self.first,
            bars: std::mem::take(&mut self.bars),
            order,
            pointing: Pointing::default(),
            first_bar: 1,
        };
        if self.foreign.is_some() {
            let (mended, source) = mend(&mut music);
            for mended in mended {
                let span = self.bar_spans[mended.bar][mended.note];
                self.tell(span.0, span.1, mended.kind());
            }
            // Bars that mending added have the place of the bar before them.
            let spans = |bar: &usize| self.bar_spans[*bar].clone();
            self.bar_spans = source.iter().map(spans).collect();
        }
        self.check_bars(&music, label);
        self.check_notes(&music);
        self.problems.sort_by_key(|problem| problem.start);
        (music, self.problems)
    }

    /// Writes endings for several passes as first and second endings.
    fn write_endings_out(&mut self) {
        let passes = match &mut self.foreign {
            Some(own) if !own.passes.is_empty() => std::mem::take(&mut own.passes),
            _ => return,
        };
        let out = written_out(&self.bars, &passes);
        for bar in out.parts {
            let (start, end) = self.bar_place(bar);
            self.tell(
                start,
                end,
                ProblemKind::adopted(
                    "endings for several passes",
                    "each pair of passes is written out",
                    Vec::new(),
                ),
            );
        }
        let spans = |bar: &usize| self.bar_spans[*bar].clone();
        self.bar_spans = out.source.iter().map(spans).collect();
        self.bars_unsure = vec![false; out.bars.len()];
        self.bars = out.bars;
    }

    pub(super) fn bar_place(&self, bar: usize) -> (usize, usize) {
        let spans = &self.bar_spans[bar];
        let start = spans.first().map_or(0, |span| span.0);
        (start, spans.last().map_or(start + 1, |span| span.1))
    }

    /// The order of play; its problems are reported.
    fn unroll(&mut self) -> Vec<usize> {
        let (order, told) = body_order(&self.bars);
        for (bar, kind) in told {
            let (start, end) = self.bar_place(bar);
            self.tell(start, end, kind);
        }
        order
    }
}
