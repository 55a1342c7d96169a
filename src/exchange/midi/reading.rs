//! One way to read played notes, and how unusual it is: which are melody notes, where each is
//! written, and which gracenotes stand between them.

use super::places::Places;
use super::played::Played;
use crate::chanter::Note;
use crate::movement::{Context, is_movement, is_playable};
use std::collections::HashMap;

/// The most gracenotes before a note: a crunluath has seven.
pub(super) const MOST_GRACENOTES: usize = 8;

/// The longest usual gracenote, milliseconds (from memory: 25 to 60 with players; programs give
/// them up to a tenth of a second).
const SHORT: f64 = 70.0;

/// The longest usual tone inside a movement, milliseconds (from memory, of players).
const LONG: f64 = 150.0;

/// No note before the place of another is its gracenote if it begins earlier by this, milliseconds.
const LONGEST_GROUP: f64 = 3000.0;

/// Gracenotes that are more unusual than this are not thought of.
const FAR: f64 = 9.0;

/// The cost of a melody note to which no time is left. Costs say how unusual something is.
const NO_TIME: f64 = 20.0;

/// Gracenotes from which is known how long they are in this file.
const ENOUGH_GRACENOTES: usize = 8;

/// How long the gracenotes of a file are.
#[derive(Debug, Clone, Copy)]
pub(super) enum Style {
    /// Each lasts about as long as the others: the middle one as a power of two of milliseconds, and
    /// how far they spread.
    Lasting { middle: f64, spread: f64 },
    /// Those of a group together have half of the time with the note that they stand before.
    Halves,
}

impl Style {
    /// Tones inside a movement last twice as long as gracenotes.
    const LEAST_SPREAD: f64 = 0.5;
    const HALF_SPREAD: f64 = 0.2;

    fn off(by: f64, spread: f64) -> f64 {
        let off = by / spread;
        (off * off / 2.0).min(2.5)
    }
}

/// One reading of the notes: melody notes with where each is written, and the groups between.
pub(super) struct Reading<'a> {
    pub(super) played: &'a [Played],
    pub(super) places: &'a Places,
    /// Each note's place if it is written where it sounds, and how unusual that is.
    pub(super) snapped: Vec<(i64, f64)>,
    pub(super) style: Option<Style>,
    groups: HashMap<(Option<Note>, Vec<Note>, Note), f64>,
    /// How often a written length was looked at: most of the time goes into that.
    pub(super) looked_at: usize,
}

/// A note read as a melody note, at one of the places where it may be written, with the best reading
/// that leads there.
#[derive(Debug, Clone, Copy)]
pub(super) struct State {
    /// The note at whose sound the melody note is written: itself or one of its gracenotes.
    at: usize,
    pub(super) cost: f64,
    /// The melody note before and which of its states.
    from: Option<(usize, usize)>,
}

/// How unusual a melody note is, by its state and by the note at whose sound the next one is written.
struct Lengths {
    note: usize,
    width: usize,
    costs: Vec<f64>,
}

impl Lengths {
    fn of(&self, state: usize, at: usize) -> f64 {
        self.costs[state * self.width + at - self.note - 1]
    }
}

impl<'a> Reading<'a> {
    pub(super) fn new(played: &'a [Played], places: &'a Places, style: Option<Style>) -> Self {
        let snapped = played.iter().map(|note| snap(note, places)).collect();
        Self {
            played,
            places,
            snapped,
            style,
            groups: HashMap::new(),
            looked_at: 0,
        }
    }

    /// Calls `see` with each way to go on from a melody note: the next melody note, at whose sound
    /// it is written, and how unusual that is but for the length of the note before.
    fn ways(&mut self, note: Option<usize>, count: usize, mut see: impl FnMut(usize, usize, f64)) {
        let first = note.map_or(0, |note| note + 1);
        let before = note.map(|note| self.played[note].note);
        for next in first..count.min(first + MOST_GRACENOTES + 1) {
            let began = self.played[first].at;
            if self.played[next].at - began > LONGEST_GROUP {
                break;
            }
            let group = self.group(before, first, next);
            // nobody would read such gracenotes so; those that sound at one moment with their note can be read
            // in no other way
            if group > FAR && self.played[next].at > began {
                continue;
            }
            let bare = if next > first { 0.0 } else { self.bare(next) };
            // where gracenotes have half of their note's time, the first begins at the note's written place
            let last = match self.style {
                Some(Style::Halves) => first,
                _ => next,
            };
            for at in first..=last {
                see(next, at, group + bare + self.snapped[at].1);
            }
        }
    }

    /// A note on a beat without a gracenote is a little less usual.
    fn bare(&self, note: usize) -> f64 {
        if self.snapped[note].1 < 0.1 { 0.3 } else { 0.0 }
    }

    /// How unusual the notes from `first` up to `on` are as gracenotes.
    fn group(&mut self, before: Option<Note>, first: usize, on: usize) -> f64 {
        let gracenotes: Vec<Note> = self.played[first..on].iter().map(|own| own.note).collect();
        let after = self.played[on].note;
        let known = *self
            .groups
            .entry((before, gracenotes, after))
            .or_insert_with_key(|(before, gracenotes, after)| {
                let context = Context {
                    before: *before,
                    after: *after,
                };
                kind(gracenotes, context)
            });
        known + self.lengths(first, on)
    }

    /// How unusual the lengths of the gracenotes from `first` up to `on` are.
    fn lengths(&self, first: usize, on: usize) -> f64 {
        let each = self.played[first..on].iter().map(|own| lasting(own.lasts));
        match self.style {
            Some(Style::Lasting { middle, spread }) => each
                .map(|lasts| {
                    let like_others = Style::off(lasts.log2() - middle, spread);
                    like_others.min(length(lasts).max(0.5))
                })
                .sum(),
            Some(Style::Halves) if first < on => {
                let share = self.share(first, on);
                // and of that all have the same
                let own = (self.played[on].at - self.played[first].at) / (on - first) as f64;
                let unlike = each
                    .map(|lasts| Style::off((lasts / lasting(own)).log2(), Style::LEAST_SPREAD));
                let half = Style::off((2.0 * share).log2(), Style::HALF_SPREAD);
                half * (on - first) as f64 + unlike.sum::<f64>()
            }
            Some(Style::Halves) => 0.0,
            None => each.map(length).sum(),
        }
    }

    /// The share that the gracenotes from `first` up to `on` have of their time and the note's
    /// together.
    fn share(&self, first: usize, on: usize) -> f64 {
        let gracenotes = self.played[on].at - self.played[first].at;
        lasting(gracenotes) / lasting(gracenotes + self.played[on].lasts)
    }

    /// How unusual a melody note is that is written from one place to another.
    fn melody(&self, note: usize, from: i64, to: i64) -> f64 {
        if to <= from {
            return NO_TIME;
        }
        let lasts = self.played[note].lasts;
        let short = if lasts < 95.0 {
            ((95.0 - lasts) / 20.0).min(3.0)
        } else {
            0.0
        };
        short + self.places.strangeness_of(from, to)
    }

    /// How unusual a melody note is from each of its states to each place that it may last to: the
    /// same place ends it however many gracenotes stand there, so that each is looked at once.
    fn lasting_to(&mut self, note: usize, own: &[State], ends: &[(usize, usize, f64)]) -> Lengths {
        let to = ends.iter().map(|(_, at, _)| *at).max().unwrap_or(note);
        let width = to - note;
        let mut costs = vec![f64::NAN; own.len() * width];
        for (_, at, _) in ends {
            for (index, state) in own.iter().enumerate() {
                let cost = &mut costs[index * width + at - note - 1];
                if cost.is_nan() {
                    *cost = self.melody(note, self.snapped[state.at].0, self.snapped[*at].0);
                    self.looked_at += 1;
                }
            }
        }
        Lengths { note, width, costs }
    }

    /// For each note the states in which it is a melody note, up to `count` notes.
    pub(super) fn forward(&mut self, count: usize) -> Vec<Vec<State>> {
        let mut states: Vec<Vec<State>> = vec![Vec::new(); count];
        let put = |states: &mut Vec<State>, new: State| match states
            .iter_mut()
            .find(|own| own.at == new.at)
        {
            Some(own) if own.cost <= new.cost => {}
            Some(own) => *own = new,
            None => states.push(new),
        };
        self.ways(None, count, |next, at, cost| {
            let state = State {
                at,
                cost,
                from: None,
            };
            put(&mut states[next], state);
        });
        for note in 0..count {
            let (done, ahead) = states.split_at_mut(note + 1);
            let own = &done[note];
            if own.is_empty() {
                continue;
            }
            let mut found: Vec<(usize, usize, f64)> = Vec::new();
            self.ways(Some(note), count, |next, at, cost| {
                found.push((next, at, cost));
            });
            let lengths = self.lasting_to(note, own, &found);
            for (next, at, cost) in found {
                for (index, state) in own.iter().enumerate() {
                    let state = State {
                        at,
                        cost: state.cost + cost + lengths.of(index, at),
                        from: Some((note, index)),
                    };
                    put(&mut ahead[next - note - 1], state);
                }
            }
        }
        states
    }

    /// The melody notes of the best reading, each with the note that it is written at. The last
    /// note is one: it is what the rest leads to.
    pub(super) fn best(states: &[Vec<State>]) -> Vec<(usize, usize)> {
        let mut path = Vec::new();
        let Some(last) = (0..states.len())
            .rev()
            .find(|note| !states[*note].is_empty())
        else {
            return path;
        };
        let least = (0..states[last].len()).min_by(|one, other| {
            states[last][*one]
                .cost
                .total_cmp(&states[last][*other].cost)
        });
        let mut now = least.map(|index| (last, index));
        while let Some((note, index)) = now {
            let state = states[note][index];
            path.push((note, state.at));
            now = state.from;
        }
        path.reverse();
        path
    }

    /// How long the gracenotes of a reading are, where it has enough of them.
    pub(super) fn style_of(&self, best: &[(usize, usize)]) -> Option<Style> {
        let melody: Vec<usize> = best.iter().map(|own| own.0).collect();
        let mut lengths: Vec<f64> = (0..self.played.len())
            .filter(|note| melody.binary_search(note).is_err())
            .map(|note| lasting(self.played[note].lasts).log2())
            .collect();
        if lengths.len() < ENOUGH_GRACENOTES {
            return None;
        }
        lengths.sort_by(f64::total_cmp);
        let at = |share: f64| lengths[(share * (lengths.len() - 1) as f64) as usize];
        // of a normal distribution these lie 2.56 spreads apart
        let spread = (at(0.9) - at(0.1)) / 2.56;
        Some(Style::Lasting {
            middle: at(0.5),
            spread: spread.max(Style::LEAST_SPREAD),
        })
    }

    /// For each note how much more unusual the best reading is in which it is a gracenote than the
    /// best in which it is none; negative where it is one.
    pub(super) fn margins(&mut self, states: &[Vec<State>]) -> Vec<f64> {
        let count = states.len();
        // what is still to come from each state
        let mut rest: Vec<Vec<f64>> = states
            .iter()
            .map(|own| vec![f64::INFINITY; own.len()])
            .collect();
        if let Some(last) = rest.last_mut() {
            last.fill(0.0);
        }
        let mut grace = vec![f64::INFINITY; count];
        for note in (0..count).rev() {
            let mut found: Vec<(usize, usize, f64)> = Vec::new();
            self.ways(Some(note), count, |next, at, cost| {
                found.push((next, at, cost));
            });
            let lengths = self.lasting_to(note, &states[note], &found);
            for (next, at, cost) in found {
                let Some(index) = states[next].iter().position(|state| state.at == at) else {
                    continue;
                };
                let after = rest[next][index];
                for (own, state) in states[note].iter().enumerate() {
                    let ahead = cost + lengths.of(own, at) + after;
                    rest[note][own] = rest[note][own].min(ahead);
                    let whole = state.cost + ahead;
                    for between in &mut grace[note + 1..next] {
                        *between = between.min(whole);
                    }
                }
            }
        }
        let mut first: Vec<(usize, usize, f64)> = Vec::new();
        self.ways(None, count, |next, at, cost| first.push((next, at, cost)));
        for (next, at, cost) in first {
            if let Some(index) = states[next].iter().position(|state| state.at == at) {
                for between in &mut grace[..next] {
                    *between = between.min(cost + rest[next][index]);
                }
            }
        }
        (0..count)
            .map(|note| {
                let melody = states[note].iter().zip(&rest[note]);
                let melody = melody.map(|(state, rest)| state.cost + rest);
                grace[note] - melody.fold(f64::INFINITY, f64::min)
            })
            .collect()
    }
}

/// The cost of gracenotes that are no known movement.
pub(super) const UNKNOWN: f64 = 2.0;

/// How unusual these gracenotes are, whatever they last.
pub(super) fn kind(gracenotes: &[Note], context: Context) -> f64 {
    let playable = is_playable(gracenotes, context);
    let count = gracenotes.len() as f64;
    match gracenotes {
        // two equal notes with nothing between are one
        [] if context.before == Some(context.after) => 5.0,
        [] => 0.0,
        _ if is_movement(gracenotes, context) => 0.5 + 0.1 * count,
        [_] if playable => 0.6,
        [_] => 4.0,
        _ if playable => UNKNOWN + 0.6 * count,
        _ => 4.0 + count,
    }
}

/// The likeliest place of a note, and how unusual it is with how far it lies from it.
fn snap(note: &Played, places: &Places) -> (i64, f64) {
    let milliseconds = note.unit;
    let mut best = (note.start.round() as i64, f64::INFINITY);
    for grid in [60_i64, 80, 48, 30, 40, 24, 15, 20] {
        let place = (note.start / grid as f64).round() as i64 * grid;
        let off = (place as f64 - note.start).abs() * milliseconds / 12.0;
        let cost = places.strangeness(place) + off * off / 2.0;
        if cost < best.1 - 1e-9 {
            best = (place, cost);
        }
    }
    best
}

/// How unusual a gracenote of so many milliseconds is, before it is known how long the others are.
fn length(lasts: f64) -> f64 {
    let longer = 0.9 * (lasts / SHORT).log2();
    (longer + (lasts / LONG).log2().max(0.0)).clamp(0.0, 3.0)
}

/// Milliseconds that have a logarithm: gracenotes may begin together with their note.
fn lasting(milliseconds: f64) -> f64 {
    milliseconds.max(4.0)
}

/// The cost of the best reading: how unusual it is.
pub(super) fn least(states: &[Vec<State>]) -> f64 {
    let last = states.last().map_or(&[][..], Vec::as_slice);
    last.iter()
        .map(|own| own.cost)
        .fold(f64::INFINITY, f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::NOTES;
    use crate::rhythm::Metre;

    /// Where notes are dense, each may be one of nine gracenotes and be written at nine places: a
    /// file of some thousands of notes once took seconds, with 500 lengths looked at for each note.
    #[test]
    fn a_length_is_looked_at_once() {
        let mut random = fastrand::Rng::with_seed(4);
        let count = 600;
        let mut notes: Vec<Played> = Vec::new();
        let mut at = 0.0;
        while notes.len() < count {
            let note = NOTES[random.usize(..NOTES.len())];
            if notes.last().is_some_and(|last| last.note == note) {
                continue;
            }
            let lasts = 30.0 + 60.0 * random.f64();
            let unit = 1.0;
            let start = at / unit;
            notes.push(Played {
                start,
                at,
                lasts,
                unit,
                note,
            });
            at += lasts;
        }
        let places = Places::new(vec![(0, Metre::FOUR_FOUR)]);
        let mut reading = Reading::new(&notes, &places, None);
        let states = reading.forward(count);
        let most = (MOST_GRACENOTES + 1) * (MOST_GRACENOTES + 1) * count;
        assert!(states.iter().all(|own| own.len() <= MOST_GRACENOTES + 1));
        assert!(
            reading.looked_at > 0 && reading.looked_at <= most,
            "{}",
            reading.looked_at
        );
    }
}
