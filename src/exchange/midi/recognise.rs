//! Notes at their times to written music: short ones are gracenotes, the others stand on a grid.

use crate::chanter::Note;
use crate::drill::{Bar, Gracenote, Group, Music, Written};
use crate::rhythm::Metre;
use crate::units::{Beats, Fraction};

/// A note that was played.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Played {
    /// Beats from the first downbeat.
    pub(super) start: Beats,
    /// To the next note, or its own end.
    pub(super) end: Beats,
    pub(super) note: Note,
    /// Milliseconds.
    pub(super) lasts: f64,
}

/// A note of less than this is a gracenote, milliseconds (chosen: between the longest gracenotes
/// of the trade, from memory 25–70, and a semiquaver's third at a reel's tempo).
const SHORT: f64 = 95.0;
/// A note of up to this is still one where it stands beside others that begin at no place a written
/// note would, milliseconds (chosen: the longest tone inside a movement at the slowest rung of our
/// drills).
const SHORTISH: f64 = 170.0;

/// Which of the notes are gracenotes. Tones of a movement that are as long as a written
/// demisemiquaver are told from it by their run: if each of them, or the gracenotes before it, begins
/// on a demisemiquaver, they are written; one that does not takes the others with it.
fn gracenotes(played: &[Played], metre: Metre) -> Vec<bool> {
    let demisemiquaver = metre.beats_of(Fraction::new(1, 32)).0;
    let is_placed = |beat: Beats| {
        let past = (beat.0 / demisemiquaver).fract();
        past.min(Fraction::from_integer(1) - past) < Fraction::new(1, 16)
    };
    let mut are: Vec<bool> = played.iter().map(|note| note.lasts < SHORT).collect();
    let mut first = 0;
    for run in played.chunk_by(|a, b| (a.lasts < SHORTISH) == (b.lasts < SHORTISH)) {
        let last = first + run.len();
        if run[0].lasts < SHORTISH {
            let mut led = None;
            let mut all_placed = true;
            for note in run {
                let begins = led.get_or_insert(note.start);
                if note.lasts >= SHORT {
                    all_placed &= is_placed(*begins) || is_placed(note.start);
                    led = None;
                }
            }
            if !all_placed {
                are[first..last].fill(true);
            }
        }
        first = last;
    }
    // whatever it lasts, the last note is what the rest leads to
    if let Some(last) = are.last_mut() {
        *last = false;
    }
    are
}

/// The written music, and how far the onsets lay from the grid at most, in beats.
pub(super) fn recognise(played: &[Played], metre: Metre) -> (Music, Beats) {
    let grid = metre.beats_of(Fraction::new(1, 64)).0;
    let fine = grid / Fraction::from_integer(3);
    let snap = |beat: Beats| {
        let near = |grid: Fraction| {
            let steps = (beat.0 / grid + Fraction::new(1, 2)).floor();
            Beats(steps * grid)
        };
        let coarse = near(grid);
        let off = |to: Beats| if to > beat { to - beat } else { beat - to };
        // a third only where it is much nearer
        let third = near(fine);
        if off(third).0 * Fraction::from_integer(8) < off(coarse).0 {
            third
        } else {
            coarse
        }
    };
    let off = |beat: Beats| {
        let near = snap(beat);
        if near > beat {
            near - beat
        } else {
            beat - near
        }
    };
    let mut notes: Vec<(Beats, Note, Vec<Gracenote>)> = Vec::new();
    let mut group: Vec<Played> = Vec::new();
    let mut worst = Beats::ZERO;
    for (now, short) in played.iter().zip(gracenotes(played, metre)) {
        if short {
            group.push(*now);
            continue;
        }
        let onsets = group.iter().map(|own| own.start).chain([now.start]);
        let start = onsets
            .min_by_key(|onset| (off(*onset), *snap(*onset).0.denom()))
            .unwrap_or(now.start);
        worst = worst.max(off(start));
        let gracenotes = std::mem::take(&mut group)
            .into_iter()
            .map(|own| Gracenote {
                note: own.note,
                held: None,
            })
            .collect();
        notes.push((snap(start), now.note, gracenotes));
    }
    let end = played.last().map_or(Beats::ZERO, |last| snap(last.end));
    (in_bars(notes, end, metre), worst)
}

/// Notes at their places to bars; what crosses a bar line is tied.
fn in_bars(notes: Vec<(Beats, Note, Vec<Gracenote>)>, end: Beats, metre: Metre) -> Music {
    let full = metre.bar();
    let first = notes.first().map_or(Beats::ZERO, |note| note.0);
    let mut bars: Vec<Bar> = Vec::new();
    let mut room = full - Beats(first.0 - (first.0 / full.0).floor() * full.0);
    let mut bar = Bar::default();
    for (place, (start, note, gracenotes)) in notes.iter().enumerate() {
        let next = notes.get(place + 1).map_or(end, |next| next.0);
        let mut left = if next > *start {
            next - *start
        } else {
            Beats::ZERO
        };
        let mut group = if gracenotes.is_empty() {
            Group::None
        } else {
            Group::Spelled(gracenotes.clone())
        };
        while left > Beats::ZERO {
            let now = left.min(room);
            left = left - now;
            bar.notes.push(Written {
                note: *note,
                length: now,
                tied: left > Beats::ZERO,
                group: std::mem::take(&mut group),
            });
            room = room - now;
            if room.is_zero() {
                bars.push(std::mem::take(&mut bar));
                room = full;
            }
        }
    }
    if !bar.notes.is_empty() {
        // the last note fills its bar, less a pickup
        let pickup = bars
            .first()
            .map(Bar::length)
            .filter(|length| *length < full);
        let wanted = full - pickup.unwrap_or(Beats::ZERO);
        let length = bar.length();
        if length < wanted
            && let Some(last) = bar.notes.last_mut()
        {
            last.length = last.length + (wanted - length);
        }
        bars.push(bar);
    }
    if let Some(last) = bars.last_mut() {
        last.part_ends = true;
    }
    Music::straight(metre, bars)
}
