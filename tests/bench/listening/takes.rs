//! Generates what a simulated player plays: notes with exact times, and faults.
//!
//! Everything follows from the seed. Times are in seconds.

use fastrand::Rng;
use gracerung::chanter::{NOTES, Note, crossing, gracenote_sounds};

/// The role of a note in the music.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Melody,
    Grace,
    Crossing,
}

/// A note with its times.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sounding {
    pub note: Note,
    pub start_s: f64,
    pub end_s: f64,
    pub kind: Kind,
}

/// The notes of a recording, with what surrounds them.
#[derive(Debug, Clone)]
pub(crate) struct Take {
    pub bpm: f64,
    pub first_click_s: f64,
    pub notes: Vec<Sounding>,
    /// The movements, each from its first gracenote to the start of the note it closes on.
    pub movements: Vec<(f64, f64)>,
}

struct Plan {
    note: Note,
    kind: Kind,
    length: f64,
}

/// A random number between two others.
pub(crate) fn between(rng: &mut Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * rng.f64()
}

/// A number from an approximately normal distribution, as the sum of twelve uniform ones
/// (Irwin-Hall).
pub(crate) fn normal(rng: &mut Rng) -> f64 {
    (0..12).map(|_| rng.f64()).sum::<f64>() - 6.0
}

fn pick<T: Copy>(rng: &mut Rng, all: &[T]) -> T {
    all[rng.usize(..all.len())]
}

/// The gracenotes that lead from one melody note to the next, and true where they come before the
/// beat. Only playable fingerings are used.
fn ornament(rng: &mut Rng, from: Note, to: Note) -> (Vec<Note>, bool) {
    use Note::{B, C, D, E, F, HighA, HighG, LowA, LowG};
    let mut choices: Vec<(Vec<Note>, bool)> = Vec::new();
    for single in [HighG, E, D] {
        if gracenote_sounds(single, to) && from != single {
            choices.push((vec![single], false));
        }
    }
    if from != LowG && to != LowG {
        let separating = if from == D { B } else { D };
        choices.push((vec![LowG, separating, LowG], true));
        if matches!(to, LowA | B | C) {
            choices.push((vec![LowG, separating, LowG, E], true));
        }
    }
    if from == LowG && to == LowA {
        choices.push((vec![D, LowA, E], true));
    }
    if to == D && from != LowG && from != D {
        choices.push((vec![LowG, D, C], true));
    }
    if to == LowA && from != LowA {
        choices.push((vec![LowA, LowG, LowA, LowG], true));
    }
    if to <= C && from != HighG && from != HighA && from != to {
        choices.push((vec![HighG, to, D], false));
    }
    if to == E && from != HighG && from != HighA && from != F {
        choices.push((vec![HighG, E, F], false));
    }
    if matches!(to, LowA | B | C) && from == to {
        choices.push((vec![LowG], false));
    }
    if choices.is_empty() {
        return (Vec::new(), false);
    }
    let chosen = rng.usize(..choices.len());
    choices.swap_remove(chosen)
}

/// Generates a recording's notes. `faulty` is the probability of a fault at each place where one is
/// possible.
pub(crate) fn make(rng: &mut Rng, faulty: f64, beats: usize) -> Take {
    let bpm = between(rng, 50.0, 100.0);
    let beat = 60.0 / bpm;
    let first = between(rng, 0.25, 0.9);
    let wander = between(rng, 0.002, 0.01);
    let mut melody: Vec<(Note, f64)> = Vec::new();
    let mut at = 0.0;
    let mut index = rng.usize(..9) as i32;
    while at < beats as f64 {
        let step = pick(rng, &[-4, -3, -2, -1, -1, 0, 0, 1, 1, 2, 3, 5]);
        index = (index + step).rem_euclid(9);
        melody.push((NOTES[index as usize], at));
        at += pick(rng, &[0.5, 0.5, 1.0, 1.0, 1.0, 2.0]);
    }
    let end = first + at * beat;
    let mut take = Take {
        bpm,
        first_click_s: first,
        notes: Vec::new(),
        movements: Vec::new(),
    };
    let mut last: Option<Note> = None;
    for (place, (note, at)) in melody.iter().enumerate() {
        let mut lands = first + at * beat + normal(rng) * wander;
        let Some(before) = last else {
            take.notes.push(sounding(*note, first, end, Kind::Melody));
            last = Some(*note);
            continue;
        };
        if rng.f64() < faulty * 0.3 {
            lands += between(rng, 0.02, 0.08) * pick(rng, &[-1.0, 1.0]);
        }
        let (mut notes, mut early) = ornament(rng, before, *note);
        if rng.f64() < 0.45 && before != *note {
            notes.clear();
        }
        if notes.is_empty() && before == *note {
            last = Some(before);
            continue;
        }
        let mut plans: Vec<Plan> = Vec::new();
        if notes.is_empty() {
            early = true;
            if rng.f64() < faulty {
                let way = crossing(before, *note);
                let wrong = way.falling_first_note.or(way.hand_first_note);
                let wrong = wrong.unwrap_or(pick(rng, &NOTES));
                if wrong != before && wrong != *note {
                    plans.push(Plan {
                        note: wrong,
                        kind: Kind::Crossing,
                        length: between(rng, 0.005, 0.02),
                    });
                }
            }
        }
        let several = notes.len() > 2;
        if several && rng.f64() < faulty * 0.3 {
            // the tone between two gracenotes is left out
            notes.remove(if notes[0] <= Note::LowA { 2 } else { 1 });
            notes.dedup();
            if notes.first() == Some(&before) {
                notes.remove(0);
            }
            if notes.last() == Some(note) {
                notes.pop();
            }
        }
        for (index, grace) in notes.iter().enumerate() {
            let tone = several && (index % 2 == 0) == (notes[0] <= Note::LowA);
            let mut length = if tone {
                between(rng, 0.04, 0.09)
            } else {
                between(rng, 0.02, 0.055)
            };
            if !tone && rng.f64() < faulty * 0.25 {
                length = between(rng, 0.08, 0.15);
            }
            plans.push(Plan {
                note: *grace,
                kind: Kind::Grace,
                length,
            });
        }
        let whole: f64 = plans.iter().map(|plan| plan.length).sum();
        let mut start = if early { lands - whole } else { lands };
        let earliest = take.notes.last().map_or(first, |last| last.start_s + 0.08);
        start = start.max(earliest);
        let next = melody
            .get(place + 1)
            .map_or(end, |(_, beats)| first + beats * beat);
        if start + whole > next - 0.08 {
            // there is no room, so this note is left out of the tune
            continue;
        }
        let began = start;
        let movement = plans.len() > 1;
        for plan in plans {
            if let Some(last) = take.notes.last_mut() {
                last.end_s = start;
            }
            let stop = start + plan.length;
            take.notes.push(sounding(plan.note, start, stop, plan.kind));
            start = stop;
        }
        if let Some(last) = take.notes.last_mut() {
            last.end_s = start;
        }
        take.notes.push(sounding(*note, start, end, Kind::Melody));
        if movement {
            take.movements.push((began, start));
        }
        last = Some(*note);
    }
    take
}

fn sounding(note: Note, start_s: f64, end_s: f64, kind: Kind) -> Sounding {
    Sounding {
        note,
        start_s,
        end_s,
        kind,
    }
}
