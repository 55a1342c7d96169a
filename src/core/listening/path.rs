//! The likeliest path over nine notes and silence.
//!
//! Stretches of sound are explained each by one note; the path is the cheapest way to tile the
//! sound with stretches, found by dynamic programming over their ends. It knows prices, not
//! pitches. Memory is bounded: the path is settled some way behind the newest block.

#![expect(
    clippy::inline_always,
    reason = "pulp compiles for the machine's vectors only what is inlined into its dispatch"
)]

use super::harmonics::{LENGTHS, LONGEST};

/// Notes.
pub(super) const NOTE_COUNT: usize = 9;
const SILENCE: usize = NOTE_COUNT;
const STATES: usize = NOTE_COUNT + 1;
/// Blocks kept; the path is settled when half of them are new.
pub(super) const KEPT: usize = 2048;
/// How far behind the newest block the path counts as settled, blocks.
const SETTLED: usize = 600;
/// A note leads unchallenged when it leaves less than this of the last 10 and 40 blocks, nats a
/// block: 20 % of the power.
const FINE: f32 = 0.2 * 8.0 / (2.0 * 0.2);
/// Blocks after which a leading note that still fits is tried by two lengths only.
const STEADY: usize = 80;
/// Shortest silence, blocks: an unbroken instrument stops only to stop.
const REST: usize = 60;

/// After a note shorter than this, blocks, it is still the note before it that rings in the room;
/// without it that note came back for a moment, invented. 30 and 35 scored alike; from 40 on movements
/// lost notes.
const BRIEF: usize = 30;

/// Blocks between two looks at what is due.
const REPRICED: usize = 4;

/// Prices of the path, in nats.
#[derive(Debug, Clone)]
pub(super) struct Prices {
    /// From one note to another, `[from][to]`.
    pub change: [[f32; NOTE_COUNT]; NOTE_COUNT],
    /// Into and out of silence.
    pub stop: f32,
    /// What a quiet or unexplained sample costs more than the model says.
    pub silence: f32,
    /// Changes that are cheaper when they are due.
    pub due: Option<Due>,
}

/// Changes of note that return with a period.
#[derive(Debug, Clone)]
pub(super) struct Due {
    /// Blocks, of which the first period begins at `first`.
    pub period: f64,
    pub first: f64,
    /// When each is due, blocks from the start of a period, from which note and to which.
    pub changes: Vec<(f64, usize, usize)>,
    /// How far a change may lie off, blocks, and what it costs then.
    pub around: f64,
    pub price: f32,
}

impl Due {
    /// Makes what is due at a block cheaper.
    fn mark_down(&self, at: usize, change: &mut [[f32; NOTE_COUNT]; NOTE_COUNT]) {
        let since = at as f64 - self.first;
        for (due, from, to) in &self.changes {
            let off = (since - due).rem_euclid(self.period);
            if off.min(self.period - off) < self.around {
                change[*from][*to] = self.price;
            }
        }
    }
}

#[derive(Debug, Clone, Copy)]
struct Step {
    cost: f32,
    /// Blocks back to the stretch's start.
    back: u16,
    /// State before the stretch.
    from: u8,
    /// What the stretch costs beyond a perfect fit.
    left: f32,
    /// The note that rings on under the note it belongs to, and when that note began.
    tail: u8,
    since: usize,
}

/// How a stretch begins.
#[derive(Debug, Clone, Copy)]
struct Entry {
    cost: f32,
    /// State before the stretch.
    from: u8,
    /// The note that rings on under the note that the stretch belongs to, and when that note began.
    tail: u8,
    since: usize,
}

const NOWHERE: Step = Step {
    cost: f32::INFINITY,
    back: 1,
    from: SILENCE as u8,
    left: 0.0,
    tail: SILENCE as u8,
    since: 0,
};

const CLOSED: Entry = Entry {
    cost: f32::INFINITY,
    from: SILENCE as u8,
    tail: SILENCE as u8,
    since: 0,
};

/// A stretch of the settled path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stretch {
    /// Index of the note; `None` for silence.
    pub note: Option<usize>,
    /// First block.
    pub start: usize,
    /// One past the last block.
    pub end: usize,
    /// What it costs beyond a perfect fit, nats.
    pub left: f32,
    /// What the likeliest third note would cost more than this one, beside the notes before and after,
    /// nats.
    pub ahead: f32,
}

/// The dynamic programme.
pub(super) struct Path {
    prices: Prices,
    /// Those of the changes now.
    change: [[f32; NOTE_COUNT]; NOTE_COUNT],
    steps: Vec<[Step; STATES]>,
    /// Cheapest way to begin a stretch of each state at a block.
    entries: Vec<[Entry; STATES]>,
    silent: Vec<f32>,
    end: usize,
    told: usize,
    leader: usize,
    /// What was taken off all costs so far, nats.
    taken_off: f64,
    /// Blocks for which it has led.
    led: usize,
}

impl Path {
    pub(super) fn new(prices: &Prices) -> Self {
        let mut path = Self {
            change: prices.change,
            prices: prices.clone(),
            steps: vec![[NOWHERE; STATES]; KEPT],
            entries: vec![[CLOSED; STATES]; KEPT],
            silent: vec![0.0; KEPT],
            end: 0,
            told: 0,
            leader: 0,
            taken_off: 0.0,
            led: 0,
        };
        path.steps[0][SILENCE].cost = 0.0;
        path.settle_entries(0);
        path
    }

    /// What it costs from now on to fall silent, and to begin.
    pub(super) fn stops_cost(&mut self, stop: f32) {
        self.prices.stop = stop;
    }

    fn settle_entries(&mut self, at: usize) {
        let slot = at % KEPT;
        let steps = self.steps[slot];
        for (to, own) in steps.iter().enumerate() {
            let mut best = Entry {
                cost: own.cost,
                from: to as u8,
                tail: own.tail,
                since: own.since,
            };
            for (from, step) in steps.iter().enumerate() {
                if from == to {
                    continue;
                }
                let price = if from == SILENCE || to == SILENCE {
                    self.prices.stop
                } else {
                    self.change[from][to]
                };
                if step.cost + price < best.cost {
                    let tail = usize::from(step.tail);
                    let rings =
                        from != SILENCE && tail != SILENCE && tail != to && at - step.since < BRIEF;
                    best = Entry {
                        cost: step.cost + price,
                        from: from as u8,
                        tail: if rings { step.tail } else { from as u8 },
                        since: at,
                    };
                }
            }
            self.entries[slot][to] = best;
        }
    }

    /// Takes the next block: `silence` is what it costs as silence, `cost(note, tail, which)` what
    /// the `LENGTHS[which]` blocks that end with it cost as a note over another's tail, and `least`
    /// what they cost at least.
    #[inline(always)]
    pub(super) fn push(
        &mut self,
        silence: f32,
        tails: usize,
        least: impl Fn(usize, Option<usize>, usize) -> f32,
        cost: impl Fn(usize, Option<usize>, usize) -> f32,
    ) {
        self.end += 1;
        let end = self.end;
        if let Some(due) = self
            .prices
            .due
            .as_ref()
            .filter(|_| end.is_multiple_of(REPRICED))
        {
            self.change = self.prices.change;
            due.mark_down(end, &mut self.change);
        }
        let slot = end % KEPT;
        let mut steps = [NOWHERE; STATES];
        // the note that led before comes first: what is dearer than it by a change can never lead
        let mut order: [usize; NOTE_COUNT] = std::array::from_fn(|note| note);
        order.swap(0, self.leader);
        let mut limits = [f32::INFINITY; NOTE_COUNT];
        for (place, note) in order.into_iter().enumerate() {
            let step = &mut steps[note];
            let mut good = 0;
            for (which, length) in LENGTHS.iter().enumerate().rev() {
                // long since, and still whole: other ways to part the same note are no better
                let steady = place == 0 && self.led > STEADY && good > 0;
                if *length > end || steady && *length != 10 {
                    continue;
                }
                let entry = self.entries[(end - length) % KEPT][note];
                let tail = (usize::from(entry.tail) != SILENCE
                    && end - length < entry.since + tails)
                    .then_some(usize::from(entry.tail));
                let least = least(note, tail, which);
                if entry.cost + least >= limits[note].min(step.cost) {
                    continue;
                }
                let own = cost(note, tail, which);
                let total = entry.cost + own;
                if (*length == 10 || *length == 40) && (own - least) < *length as f32 * FINE {
                    good += 1;
                }
                if total < step.cost {
                    *step = Step {
                        cost: total,
                        back: *length as u16,
                        from: entry.from,
                        left: own - least,
                        tail: entry.tail,
                        since: entry.since,
                    };
                }
            }
            let cost = step.cost;
            for (limit, price) in limits.iter_mut().zip(&self.change[note]) {
                *limit = limit.min(cost + price);
            }
            if place == 0 && good == 2 {
                break;
            }
        }
        let leader = (0..NOTE_COUNT)
            .min_by(|a, b| steps[*a].cost.total_cmp(&steps[*b].cost))
            .unwrap_or(0);
        self.led = if leader == self.leader {
            self.led + 1
        } else {
            0
        };
        self.leader = leader;
        let silent = self.silent[(end - 1) % KEPT] + silence + self.prices.silence;
        self.silent[slot] = silent;
        let before = self.steps[(end - 1) % KEPT][SILENCE].cost;
        let mut rest = Step {
            cost: before + silence + self.prices.silence,
            back: 1,
            from: SILENCE as u8,
            ..NOWHERE
        };
        if end >= REST {
            let at = (end - REST) % KEPT;
            let entry = self.entries[at][SILENCE];
            let total = entry.cost + silent - self.silent[at];
            if total < rest.cost {
                rest = Step {
                    cost: total,
                    back: REST as u16,
                    from: entry.from,
                    ..NOWHERE
                };
            }
        }
        steps[SILENCE] = rest;
        // keep the numbers small for ever
        let least = steps.iter().map(|s| s.cost).fold(f32::INFINITY, f32::min);
        self.steps[slot] = steps;
        self.settle_entries(end);
        if least > 1e4 && least.is_finite() {
            self.rebase(least);
        }
    }

    /// What the cheapest path costs so far, nats.
    pub(super) fn cost(&self) -> f64 {
        let steps = &self.steps[self.end % KEPT];
        let least = steps.iter().map(|s| s.cost).fold(f32::INFINITY, f32::min);
        self.taken_off + f64::from(least)
    }

    fn rebase(&mut self, by: f32) {
        self.taken_off += f64::from(by);
        for back in 0..=(LONGEST.max(REST)).min(self.end) {
            let slot = (self.end - back) % KEPT;
            for step in &mut self.steps[slot] {
                step.cost -= by;
            }
            for entry in &mut self.entries[slot] {
                entry.cost -= by;
            }
        }
        let base = self.silent[self.end % KEPT];
        for back in 0..=REST.min(self.end) {
            self.silent[(self.end - back) % KEPT] -= base;
        }
    }

    /// The note that leads at the newest block.
    pub(super) fn leader(&self) -> Option<usize> {
        let steps = &self.steps[self.end % KEPT];
        let best = (0..STATES).min_by(|a, b| steps[*a].cost.total_cmp(&steps[*b].cost))?;
        (best != SILENCE).then_some(best)
    }

    /// The block up to which the path has been told.
    pub(super) fn told(&self) -> usize {
        self.told
    }

    /// The stretches that no later sound can change any more (or all of them, at the end).
    pub(super) fn settled(&mut self, all: bool) -> Vec<Stretch> {
        if !all && self.end < self.told + SETTLED + KEPT / 4 {
            return Vec::new();
        }
        let steps = self.steps[self.end % KEPT];
        let mut state = (0..STATES)
            .min_by(|a, b| steps[*a].cost.total_cmp(&steps[*b].cost))
            .unwrap_or(SILENCE);
        let mut at = self.end;
        let mut found = Vec::new();
        let mut after = SILENCE;
        while at > self.told {
            let all = &self.steps[at % KEPT];
            let step = all[state];
            let from = usize::from(step.from);
            let start = at.saturating_sub(usize::from(step.back));
            let third = (0..NOTE_COUNT)
                .filter(|other| ![state, from, after].contains(other))
                .map(|other| all[other].cost)
                .fold(f32::INFINITY, f32::min);
            found.push(Stretch {
                note: (state != SILENCE).then_some(state),
                start: start.max(self.told),
                end: at,
                left: step.left,
                ahead: third - step.cost,
            });
            if from != state {
                after = state;
            }
            state = from;
            at = start;
        }
        found.reverse();
        if !all {
            let limit = self.end - SETTLED;
            found.retain(|stretch| stretch.end <= limit);
        }
        if let Some(last) = found.last() {
            self.told = last.end;
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without it a gracenote that can hardly be heard would be told as missing where it is written:
    /// the same weak sign is taken for a note only where the note is due, a little early or late.
    #[test]
    fn a_change_that_is_due_is_cheaper() {
        let change = [[13.0; NOTE_COUNT]; NOTE_COUNT];
        let due = Due {
            period: 1000.0,
            first: 60.0,
            changes: vec![(340.0, 0, 1), (370.0, 1, 0)],
            around: 60.0,
            price: 5.0,
        };
        let prices = Prices {
            change,
            stop: 30.0,
            silence: -1.0,
            due: Some(due),
        };
        // neither explains blocks 100 to 130 and 420 to 450 well, the second note a little better
        let sign = |block: usize| (100..130).contains(&block) || (420..450).contains(&block);
        let mut sums = vec![[0.0f32; 2]];
        let mut path = Path::new(&prices);
        for block in 0..600 {
            let before = sums[block];
            let own = if sign(block) { [5.0, 4.5] } else { [0.0, 3.0] };
            sums.push([before[0] + own[0], before[1] + own[1]]);
            let cost = |note: usize, _: Option<usize>, which: usize| {
                let (end, length) = (block + 1, LENGTHS[which]);
                if note < 2 {
                    sums[end][note] - sums[end - length][note]
                } else {
                    9.0 * length as f32
                }
            };
            path.push(50.0, 0, |_, _, _| 0.0, cost);
        }
        let seconds: Vec<(usize, usize)> = path
            .settled(true)
            .iter()
            .filter(|stretch| stretch.note == Some(1))
            .map(|stretch| (stretch.start, stretch.end))
            .collect();
        assert_eq!(seconds.first().map(|stretch| stretch.0), Some(420));
        assert_eq!(seconds.last().map(|stretch| stretch.1), Some(450));
    }

    /// What rings under the third of three notes, some blocks after it began.
    fn rings_after(middle: usize) -> Option<usize> {
        let prices = Prices {
            change: [[13.0; NOTE_COUNT]; NOTE_COUNT],
            stop: 30.0,
            silence: -1.0,
            due: None,
        };
        let mut path = Path::new(&prices);
        let mut sums = vec![[0.0f32; 3]];
        let heard = std::cell::Cell::new(None);
        for block in 0..(340 + middle) {
            let now = usize::from(block >= 300) + usize::from(block >= 300 + middle);
            let before = sums[block];
            sums.push(std::array::from_fn(|note| {
                before[note] + if note == now { 0.0 } else { 8.0 }
            }));
            let cost = |note: usize, tail: Option<usize>, which: usize| {
                if note == 2 && LENGTHS[which] == 5 {
                    heard.set(tail);
                }
                let (end, length) = (block + 1, LENGTHS[which]);
                if note < 3 {
                    sums[end][note] - sums[end - length][note]
                } else {
                    9.0 * length as f32
                }
            };
            path.push(50.0, 60, |_, _, _| 0.0, cost);
        }
        heard.get()
    }

    /// Otherwise, in a room, the melody note before a gracenote would come back for a moment under
    /// the note after it, invented.
    #[test]
    fn under_a_brief_note_the_one_before_it_rings_on() {
        assert_eq!(rings_after(20), Some(0));
        assert_eq!(rings_after(60), Some(1));
    }
}
