//! Where the clicks of a cycle and of its count-in stand.

use super::event::{EventKind, TimelineEvent};
use crate::rhythm::{Click, ClickWeight, Metre, Subdivision};
use crate::score::Score;
use crate::units::{Beats, Fraction};

/// The grid that clicks stand on: a metre, and a place where one of its bars begins.
#[derive(Clone, Copy)]
pub(super) struct Grid {
    metre: Metre,
    downbeat: Beats,
}

impl Grid {
    /// The grid of a score whose metre stays the same: the first downbeat stands after the pickup.
    pub(super) fn of(score: &Score) -> Self {
        Self {
            metre: score.metre,
            downbeat: score.pickup,
        }
    }

    /// Clicks from `from` (inclusive) to `to` (exclusive), in beats from the start of the
    /// repetition. The grid is counted from the downbeat in parts; nothing is added up.
    pub(super) fn clicks(
        self,
        subdivision: Subdivision,
        from: Beats,
        to: Beats,
    ) -> Vec<TimelineEvent> {
        // beats that are counted in groups have their own notes between the counts
        let grouped = self.metre.counts_in_a_bar() < self.metre.beats_in_a_bar();
        let parts = if grouped {
            1
        } else {
            i128::from(subdivision.parts())
        };
        let beats_in_a_bar = i128::from(self.metre.beats_in_a_bar());
        let step_lasts = self.metre.pace() / Fraction::from_integer(parts);
        let steps = |beats: Beats| (beats - self.downbeat).0 / step_lasts;
        let mut step = steps(from).ceil().to_integer();
        let end = steps(to);
        let mut events = Vec::new();
        while Fraction::from_integer(step) < end {
            let beat_number = step.div_euclid(parts).rem_euclid(beats_in_a_bar);
            let beat = u32::try_from(beat_number).unwrap_or(0);
            let between = step.rem_euclid(parts) != 0 || !self.metre.is_counted(beat);
            if between && subdivision == Subdivision::Beats {
                step += 1;
                continue;
            }
            let weight = if between {
                ClickWeight::Part
            } else if beat_number == 0 {
                ClickWeight::Bar
            } else {
                ClickWeight::Beat
            };
            events.push(TimelineEvent {
                beat: self.downbeat + Beats(Fraction::from_integer(step) * step_lasts),
                kind: EventKind::Click(Click {
                    weight,
                    beat: u8::try_from(self.metre.count_of(beat)).unwrap_or(0),
                }),
                ahead: false,
            });
            step += 1;
        }
        events
    }
}

/// Clicks of a cycle whose metre changes: each bar is counted by its own metre. In the breath they
/// lead to the first bar of the next repetition.
pub(super) fn clicks_by_bar(
    score: &Score,
    subdivision: Subdivision,
    cycle: Beats,
) -> Vec<TimelineEvent> {
    let mut events = Vec::new();
    let mut counted = |from: Beats, to: Beats, metre: Metre, downbeat: Beats| {
        if !metre.is_free() {
            events.extend(Grid { metre, downbeat }.clicks(subdivision, from, to));
        }
    };
    // where the next note stands in its full bar
    let mut place = score.metre.bar_of_time() - score.pickup;
    let mut before = score.metre;
    for (index, bar) in score.bars.iter().enumerate() {
        if std::mem::replace(&mut before, bar.metre) != bar.metre
            || place >= bar.metre.bar_of_time()
        {
            // a short bar that begins here is a pickup, unless it is completed by what follows
            let full = bar.metre.bar_of_time();
            let completed = match score.bars.get(index + 1) {
                Some(next) => next.length < full && bar.length + next.length == full,
                None => true,
            };
            place = if completed {
                Beats::ZERO
            } else {
                (full - bar.length).max(Beats::ZERO)
            };
        }
        let end = bar.start + bar.length;
        counted(bar.start, end, bar.metre, bar.start - place);
        place = place + bar.length;
    }
    counted(score.length, cycle, score.metre, cycle + score.pickup);
    events
}

/// One bar of clicks that ends with the pickup; where the pickup leaves less than half a bar to
/// count, one bar more.
pub(super) fn count_in_length(score: &Score) -> Beats {
    if score.metre.is_free() {
        // in music without clicks the count-in is one beat, which leaves room for the gracenotes
        // before the first note
        return Beats::ONE;
    }
    let bar = score.metre.bar_of_time();
    let rest = bar - score.pickup;
    if score.pickup * Fraction::from_integer(2) > bar {
        rest + bar
    } else {
        rest
    }
}
