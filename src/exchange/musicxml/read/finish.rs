//! Makes a piece of what was read of a part: its sections, each in its order of play.

use super::part::PartReader;
use super::text::{at, shown};
use crate::drill::{Bar, Group, Music, Problem, TuneHead, body_order, mend_music, written_out};
use crate::exchange::piece::{Piece, Practice, Section, adopted, adopted_at};
use crate::movement::Lengths;
use crate::rhythm::Metre;
use std::collections::BTreeMap;

impl PartReader {
    pub(super) fn finish(
        mut self,
        title: String,
        head: TuneHead,
        remarks: Vec<(&str, String)>,
        here: Vec<Vec<(&str, String)>>,
    ) -> (Option<Piece>, Vec<Problem>) {
        if !self.group.is_empty() {
            self.problems
                .push(adopted("gracenotes before no note", "left out"));
        }
        let metre = self.metre.unwrap_or_else(|| {
            self.problems
                .push(adopted("no time signature", "read as 4/4"));
            Metre::FOUR_FOUR
        });
        let mut sections = Vec::new();
        // a section begins in the metre that the one before it ends in
        let mut started = metre;
        let named = std::mem::take(&mut self.sections);
        for ((name, bars), own) in named.into_iter().zip(here) {
            let mut lines: Vec<usize> = bars.iter().map(|(_, line, _)| *line).collect();
            let places = bars.iter().enumerate();
            let passes: BTreeMap<usize, Vec<u8>> = places
                .filter(|(_, (_, _, passes))| !passes.is_empty())
                .map(|(place, (_, _, passes))| (place, passes.clone()))
                .collect();
            let mut bars: Vec<Bar> = bars.into_iter().map(|(bar, ..)| bar).collect();
            let mut now = started;
            for bar in &mut bars {
                now = bar.metre.unwrap_or(now);
                in_beats(bar, now);
            }
            if let Some(first) = bars.first_mut() {
                first.metre = first.metre.or(Some(started)).filter(|own| *own != metre);
            }
            started = now;
            if let Some(last) = bars.last_mut() {
                last.part_ends = true;
            } else {
                continue;
            }
            if !passes.is_empty() {
                let out = written_out(&bars, &passes);
                for bar in out.parts {
                    self.problems.push(adopted_at(
                        at(lines[bar]),
                        "endings for several passes",
                        "each pair of passes is written out",
                    ));
                }
                lines = out.source.iter().map(|bar| lines[*bar]).collect();
                bars = out.bars;
            }
            let (order, told) = body_order(&bars);
            for (bar, kind) in told {
                let line = lines.get(bar).copied().unwrap_or(1);
                self.problems.push(Problem::new(at(line), kind));
            }
            let mut music = Music {
                order,
                ..Music::straight(metre, bars)
            };
            for mended in mend_music(&mut music) {
                let line = lines.get(mended.bar).copied().unwrap_or(1);
                self.problems.push(Problem::new(at(line), mended.kind()));
            }
            let mut section = Section::new(name, music);
            for (name, said) in own {
                if !section.take_remark(name, &said) {
                    self.problems.push(unread(name, &said));
                }
            }
            sections.push(section);
        }
        let mut piece = Piece {
            title,
            head,
            about: None,
            metre,
            tempo: self.tempo,
            ladder: None,
            practice: Practice::default(),
            lengths: Lengths::default(),
            sections,
        };
        for (name, said) in remarks {
            if !piece.take_remark(name, &said) {
                self.problems.push(unread(name, &said));
            }
        }
        piece.finished(self.problems)
    }
}

/// A field of ours that does not read.
fn unread(name: &str, said: &str) -> Problem {
    let found = format!(
        "the field `{name}` of `{}`, which does not read",
        shown(said)
    );
    adopted(found, "left out")
}

/// Lengths that were read as parts of a semibreve, in beats.
fn in_beats(bar: &mut Bar, metre: Metre) {
    for written in &mut bar.notes {
        written.length = metre.beats_of(written.length.0);
        if let Group::Spelled(gracenotes) = &mut written.group {
            for held in gracenotes.iter_mut().filter_map(|own| own.held.as_mut()) {
                *held = metre.beats_of(held.0);
            }
        }
    }
}
