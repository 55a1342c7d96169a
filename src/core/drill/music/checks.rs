//! The checks that need all of the music: bars that do not add up, notes that cannot follow each
//! other, and gracenotes that cannot sound.

use super::Reader;
use crate::chanter::Note;
use crate::drill::problem::ProblemKind;
use crate::drill::written::{Bar, Gracenote, Group, Music};
use crate::movement::{Context, is_playable, is_played_early};
use crate::units::Beats;
use std::collections::BTreeMap;

/// A bar whose length is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Misfit {
    /// Index of the bar.
    pub(super) bar: usize,
    /// True for the last bar played, when it would be right without the pickup or with another one.
    pub(super) complements: bool,
}

/// The bars whose length as played is wrong: neither full nor short with a neighbour that completes
/// them, as the short last bar of a part and the next pickup complete each other. `unsure` marks
/// the bars of which something was not read.
pub(super) fn misfits(music: &Music, unsure: &[bool]) -> Vec<Misfit> {
    let metres = music.metres();
    let lengths: Vec<Beats> = music.bars.iter().map(Bar::length).collect();
    let pickup = music.pickup();
    let is_unsure = |bar: usize| unsure.get(bar).copied().unwrap_or(false);
    let mut told = vec![false; music.bars.len()];
    let mut found = Vec::new();
    let mut at = 0;
    while at < music.order.len() {
        let bar = music.order[at];
        if metres[bar].is_free() {
            at += 1;
            continue;
        }
        let (length, full) = (lengths[bar], metres[bar].bar());
        let last = at + 1 == music.order.len();
        // When something was not read, it is unknown whether this bar and its neighbour complete
        // each other.
        let beside = match music.order.get(at + 1) {
            Some(next) => is_unsure(*next) && length < full,
            None => is_unsure(0) && length <= full,
        };
        if is_unsure(bar) || beside {
            at += 1;
            continue;
        }
        let completes = music
            .order
            .get(at + 1)
            .is_some_and(|next| lengths[*next] < full && length + lengths[*next] == full);
        let fits = if length == full {
            !last || pickup.is_zero() || told[bar]
        } else if at == 0 && bar == 0 && !pickup.is_zero() {
            // This is a pickup; the bar that completes it is checked at the end.
            true
        } else if length < full && completes {
            at += 1;
            let next = music.order[at];
            let ends = at + 1 == music.order.len();
            if ends && !pickup.is_zero() && next != 0 {
                // The piece ends with the pickup of another part, which nothing follows.
                told[next] = true;
            }
            true
        } else {
            // This is the short last bar that completes the pickup.
            (last && !pickup.is_zero() && length + pickup == full) || told[bar]
        };
        if !fits {
            told[bar] = true;
            found.push(Misfit {
                bar,
                complements: last && !pickup.is_zero() && length <= full,
            });
        }
        at += 1;
    }
    found
}

impl Reader {
    /// Reports every played bar that is neither full nor short with a neighbour that completes it.
    pub(super) fn check_bars(&mut self, music: &Music, label: &str) {
        let numbers = music.bar_numbers();
        let metres = music.metres();
        let pickup = music.pickup();
        for misfit in misfits(music, &self.bars_unsure) {
            // The first bar is nearly full and no last bar completes it, so it was meant to be
            // full.
            let first = misfit.complements
                && music.bars[misfit.bar].length() == metres[misfit.bar].bar()
                && pickup + pickup > metres[0].bar();
            let bar = if first { 0 } else { misfit.bar };
            let number = numbers[bar].max(u16::from(first));
            let stage = label.to_owned();
            let (lasts, metre) = (music.bars[bar].length(), metres[bar]);
            let kind = if misfit.complements && !first {
                ProblemKind::Complement {
                    stage,
                    number,
                    lasts,
                    pickup,
                    metre,
                }
            } else {
                ProblemKind::Bar {
                    stage,
                    number,
                    lasts,
                    metre,
                }
            };
            let (start, end) = self.bar_place(bar);
            self.tell(start, end, kind);
        }
    }

    /// Reports two equal notes without anything between them, and gracenotes that their note cannot
    /// sound.
    pub(super) fn check_notes(&mut self, music: &Music) {
        let numbers = music.bar_numbers();
        let mut before: Option<(Note, bool)> = None;
        let mut seen = vec![false; music.bars.len()];
        // What was reported for a bar's first note, which has another note before it after a
        // repeat.
        let mut told: BTreeMap<usize, Vec<ProblemKind>> = BTreeMap::new();
        for &index in &music.order {
            let fresh = !std::mem::replace(&mut seen[index], true);
            for (position, written) in music.bars[index].notes.iter().enumerate() {
                let span = self.bar_spans[index][position];
                if self.gaps.contains(&(index, position)) {
                    before = Some((written.note, written.tied));
                    continue;
                }
                let problem = match (&written.group, before) {
                    (_, Some((from, true))) if from != written.note => {
                        Some(ProblemKind::TieToOther {
                            from,
                            to: written.note,
                        })
                    }
                    (Group::None, Some((from, false))) if from == written.note => {
                        Some(ProblemKind::Repeated { note: from })
                    }
                    (Group::Spelled(gracenotes), _) => {
                        unplayable(gracenotes, before.map(|(note, _)| note), written.note)
                    }
                    _ => None,
                };
                if let (Group::Spelled(gracenotes), Some((from, _)), None) =
                    (&written.group, before, &problem)
                    && fresh
                    && let [only] = gracenotes.as_slice()
                    && is_played_early(only.note, written.note)
                {
                    let kind = ProblemKind::PlayedEarly {
                        gracenote: only.note,
                        held: written.note,
                        before: from,
                        bar: numbers[index],
                    };
                    self.tell(span.0, span.1, kind);
                }
                if let Some(kind) = problem
                    && (fresh || position == 0)
                    && (position > 0 || is_new(told.entry(index).or_default(), &kind))
                {
                    self.tell(span.0, span.1, kind);
                }
                before = Some((written.note, written.tied));
            }
            if self.gaps.contains(&(index, music.bars[index].notes.len())) {
                before = None;
            }
        }
        if let Some((_, true)) = before {
            let end = self.signs.len();
            self.tell(end.saturating_sub(1), end, ProblemKind::TieAtEnd);
        }
    }
}

/// True when the kind is new; it is then added.
fn is_new(told: &mut Vec<ProblemKind>, kind: &ProblemKind) -> bool {
    let new = !told.contains(kind);
    if new {
        told.push(kind.clone());
    }
    new
}

/// What is wrong with a written group of gracenotes; none when it can be played.
fn unplayable(gracenotes: &[Gracenote], before: Option<Note>, after: Note) -> Option<ProblemKind> {
    let notes: Vec<Note> = gracenotes.iter().map(|gracenote| gracenote.note).collect();
    let all: Vec<Note> = before
        .into_iter()
        .chain(notes.iter().copied())
        .chain([after])
        .collect();
    if let Some(pair) = all.windows(2).find(|pair| pair[0] == pair[1]) {
        return Some(ProblemKind::GracenoteEqual { note: pair[0] });
    }
    let context = Context { before, after };
    if notes.len() == 1 && !is_playable(&notes, context) {
        return Some(ProblemKind::CannotSound {
            gracenote: notes[0],
            held: after,
        });
    }
    None
}
