//! What is wrong once everything is read: bars that do not add up, notes that cannot follow each
//! other, gracenotes that cannot sound.

use super::Reader;
use crate::chanter::Note;
use crate::drill::problem::Kind;
use crate::drill::written::{Bar, Gracenote, Group, Music};
use crate::movement::{Context, is_playable};
use crate::units::Beats;
use std::collections::BTreeMap;

impl Reader {
    /// Every bar as played is full, or short with a neighbour that completes it: the short last
    /// bar of a part and the pickup that follows it.
    pub(super) fn check_bars(&mut self, music: &Music, label: &str) {
        let full = music.metre.bar();
        let lengths: Vec<Beats> = music.bars.iter().map(Bar::length).collect();
        let pickup = music.pickup();
        let numbers = music.bar_numbers();
        let number = |bar: usize| numbers[bar];
        let mut told = vec![false; music.bars.len()];
        let unsure = |bar: usize| self.bars_unsure.get(bar).copied().unwrap_or(false);
        let unsure: Vec<bool> = (0..music.bars.len()).map(unsure).collect();
        let mut at = 0;
        while at < music.order.len() {
            let bar = music.order[at];
            let length = lengths[bar];
            let last = at + 1 == music.order.len();
            // what completes it, or what it completes, cannot be told from what was not read
            let beside = match music.order.get(at + 1) {
                Some(next) => unsure[*next] && length < full,
                None => unsure[0] && length <= full,
            };
            if unsure[bar] || beside {
                at += 1;
                continue;
            }
            let completes = music
                .order
                .get(at + 1)
                .is_some_and(|next| lengths[*next] < full && length + lengths[*next] == full);
            if length == full {
                if last && !pickup.is_zero() && !told[bar] {
                    told[bar] = true;
                    let (start, end) = self.bar_place(bar);
                    self.tell(
                        start,
                        end,
                        Kind::Complement {
                            stage: label.to_owned(),
                            number: number(bar),
                            lasts: length,
                            pickup,
                            metre: music.metre,
                        },
                    );
                }
            } else if at == 0 && bar == 0 && !pickup.is_zero() {
                // A pickup; what completes it is checked at the end.
            } else if length < full && completes {
                at += 1;
                let next = music.order[at];
                let ends = at + 1 == music.order.len();
                if ends && !pickup.is_zero() && next != 0 {
                    // The piece ends with another part's pickup: nothing follows it.
                    told[next] = true;
                }
            } else if last && !pickup.is_zero() && length + pickup == full {
                // The short last bar that completes the pickup.
            } else if !told[bar] {
                told[bar] = true;
                let (start, end) = self.bar_place(bar);
                let kind = if last && !pickup.is_zero() && length < full {
                    Kind::Complement {
                        stage: label.to_owned(),
                        number: number(bar),
                        lasts: length,
                        pickup,
                        metre: music.metre,
                    }
                } else {
                    Kind::Bar {
                        stage: label.to_owned(),
                        number: number(bar),
                        lasts: length,
                        metre: music.metre,
                    }
                };
                self.tell(start, end, kind);
            }
            at += 1;
        }
    }

    /// Two equal notes need something between; a gracenote needs a note that can sound it.
    pub(super) fn check_notes(&mut self, music: &Music) {
        let mut before: Option<(Note, bool)> = None;
        let mut seen = vec![false; music.bars.len()];
        // what was told of a bar's first note, which a repeat gives another note before it
        let mut told: BTreeMap<usize, Vec<Kind>> = BTreeMap::new();
        for &index in &music.order {
            let fresh = !std::mem::replace(&mut seen[index], true);
            for (position, written) in music.bars[index].notes.iter().enumerate() {
                let span = self.bar_spans[index][position];
                if self.gaps.contains(&(index, position)) {
                    before = Some((written.note, written.tied));
                    continue;
                }
                let problem = match (&written.group, before) {
                    (_, Some((from, true))) if from != written.note => Some(Kind::TieToOther {
                        from,
                        to: written.note,
                    }),
                    (Group::None, Some((from, false))) if from == written.note => {
                        Some(Kind::Repeated { note: from })
                    }
                    (Group::Spelled(gracenotes), _) => {
                        unplayable(gracenotes, before.map(|(note, _)| note), written.note)
                    }
                    _ => None,
                };
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
            self.tell(end.saturating_sub(1), end, Kind::TieAtEnd);
        }
    }
}

/// Keeps a kind unless it is there already.
fn is_new(told: &mut Vec<Kind>, kind: &Kind) -> bool {
    let new = !told.contains(kind);
    if new {
        told.push(kind.clone());
    }
    new
}

/// What is wrong with a written group, if anything.
fn unplayable(gracenotes: &[Gracenote], before: Option<Note>, after: Note) -> Option<Kind> {
    let notes: Vec<Note> = gracenotes.iter().map(|gracenote| gracenote.note).collect();
    let all: Vec<Note> = before
        .into_iter()
        .chain(notes.iter().copied())
        .chain([after])
        .collect();
    if let Some(pair) = all.windows(2).find(|pair| pair[0] == pair[1]) {
        return Some(Kind::GracenoteEqual { note: pair[0] });
    }
    let context = Context { before, after };
    if notes.len() == 1 && !is_playable(&notes, context) {
        return Some(Kind::CannotSound {
            gracenote: notes[0],
            held: after,
        });
    }
    None
}
