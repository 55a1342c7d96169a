//! Tests of judging how pairs are pointed. The ranges come from experience (55 to 65 % sure) and
//! are never cited as fact.

use super::*;
use crate::chanter::Note;
use crate::practice::measurement::{NoteKind, NoteMeasure, PairWanted};
use crate::units::Milliseconds;

/// The wanted pointing of a pair, with the range of a march in 2/4 or of a strathspey: 3 to 6.
pub(super) fn wanted(long_first: bool) -> PairWanted {
    PairWanted {
        long_first,
        ratio: 4.0,
        range: Some((3.0, 6.0)),
    }
}

fn melody(id: u32, bar: u32, place: f64, length: f64, on_click: bool) -> NoteMeasure {
    let written = if id.is_multiple_of(2) {
        Note::C
    } else {
        Note::LowA
    };
    NoteMeasure {
        id,
        bar,
        part: NoteKind::Melody,
        written,
        heard: Some(written),
        length_ms: Some(Milliseconds(length)),
        expected_ms: Milliseconds(length),
        offset_ms: Some(Milliseconds(0.0)),
        on_click,
        place_ms: Some(Milliseconds(place)),
        begun_by: 0,
        tap: false,
        movement: None,
        pair: None,
        cents: None,
    }
}

/// Pairs of a beat of 750 ms (80 beats a minute), two in a bar, and a closing note. Each pair is
/// played at its own ratio; the timeline plays all at 4 to 1.
pub(super) fn played(ratios: &[f64], long_first: bool) -> Measurement {
    const BEAT: f64 = 750.0;
    let inner = |ratio: f64| {
        let share = if long_first { ratio } else { 1.0 } / (1.0 + ratio);
        BEAT * share
    };
    let mut notes = Vec::new();
    for (beat, ratio) in ratios.iter().enumerate() {
        let (id, bar) = (2 * beat as u32, beat as u32 / 2 + 1);
        let begins = beat as f64 * BEAT;
        notes.push(melody(id, bar, begins, inner(4.0), true));
        let mut second = melody(id + 1, bar, begins + inner(4.0), BEAT - inner(4.0), false);
        second.offset_ms = Some(Milliseconds(inner(*ratio) - inner(4.0)));
        second.pair = Some(wanted(long_first));
        notes.push(second);
    }
    let id = 2 * ratios.len() as u32;
    let end = ratios.len() as f64 * BEAT;
    notes.push(melody(id, id / 4 + 1, end, BEAT, true));
    Measurement {
        playing: true,
        beat_ms: Milliseconds(BEAT),
        notes,
        extra: Vec::new(),
        lead_ms: Milliseconds(0.0),
        confidence: None,
        drift_percent: 0.0,
    }
}

fn words(measured: &Measurement) -> Vec<String> {
    let faults = judge(measured, &Thresholds::default()).faults;
    assert!(faults.iter().all(|fault| fault.kind == FaultKind::Pointing));
    faults.into_iter().map(|fault| fault.words).collect()
}

const NONE: [&str; 0] = [];

/// The edges of the range are good, although the reference plays up to 40 ms away from them. So is
/// a player who cannot be distinguished from the edge.
#[test]
fn what_is_inside_the_range_is_never_blamed() {
    for long_first in [true, false] {
        for ratio in [3.0, 3.5, 4.0, 5.0, 6.0] {
            assert_eq!(words(&played(&[ratio; 8], long_first)), NONE, "{ratio}");
        }
        // 562.5 ms is three to one; 3 ms less cannot be distinguished from it.
        assert_eq!(words(&played(&[2.95; 8], long_first)), NONE);
        // The pairs scatter around the edge, so their median is not known well enough.
        let scattered = [3.3, 2.6, 3.2, 2.7, 2.95, 3.4, 2.7, 3.1];
        assert_eq!(words(&played(&scattered, long_first)), NONE);
    }
}

#[test]
fn dots_that_are_too_short_are_to_be_held_and_snaps_cut() {
    assert_eq!(
        words(&played(&[2.1; 8], true)),
        ["hold the dots: 2.1 : 1, wanted 3 to 6"]
    );
    assert_eq!(
        words(&played(&[2.1; 8], false)),
        ["cut the short notes of the snaps: 1 : 2.1, wanted 3 to 6"]
    );
    assert_eq!(
        words(&played(&[8.0; 8], true)),
        ["let the short notes sound, the dots are too long: 8.0 : 1, wanted 3 to 6"]
    );
    for ratio in [2.1, 8.0] {
        for long_first in [true, false] {
            let told = words(&played(&[ratio; 8], long_first));
            assert!(told[0].chars().count() <= 80, "{told:?}");
        }
    }
}

/// One pair of eight that is far off gives exactly one sentence, with its bar, and no fault of all
/// pairs together. Three pairs that are all a little too round give none, because a fault of all
/// pairs together needs at least four.
#[test]
fn one_round_pair_is_told_with_its_bar() {
    let mut ratios = [4.0; 8];
    ratios[3] = 1.0;
    assert_eq!(
        words(&played(&ratios, true)),
        [
            "hold the second C in bar 2, cut the closing low A shorter: played 1.0 to 1, wanted 3 to 6"
        ]
    );
    assert_eq!(
        words(&played(&ratios, false)),
        [
            "cut the second C in bar 2 shorter, hold the closing low A: played 1 to 1.0, wanted 3 to 6"
        ]
    );
    assert_eq!(words(&played(&[2.5; 3], true)), NONE);
}

/// When a grip or a taorluath takes its time from the dot, the text never says "hold", for one pair
/// or for all.
#[test]
fn where_a_movement_takes_its_time_from_the_dot_nothing_is_said() {
    let mut taken = played(&[1.5; 6], true);
    let tone = NoteMeasure {
        part: NoteKind::Tone,
        offset_ms: None,
        place_ms: None,
        on_click: false,
        ..melody(0, 1, 0.0, 60.0, false)
    };
    for at in (1..12).step_by(2).rev() {
        taken.notes.insert(
            at,
            NoteMeasure {
                id: 100 + at as u32,
                ..tone
            },
        );
    }
    let verdict = judge(&taken, &Thresholds::default());
    assert_eq!(verdict.faults, []);
    assert_eq!(verdict.pointing, []);
    // Such pairs do not count among the others either.
    let mut one = taken.clone();
    one.notes.remove(1);
    let heard = &judge(&one, &Thresholds::default()).pointing[0];
    let count = heard.pairs.iter().filter(|pair| pair.taken).count();
    assert_eq!((count, heard.pairs.len()), (5, 6));
    assert!(
        heard.spoken().contains("half of 1 within"),
        "{}",
        heard.spoken()
    );
    // A gracenote that begins the cut on its place takes nothing from the dot.
    for note in &mut taken.notes {
        note.begun_by = usize::from(note.pair.is_some());
    }
    assert_eq!(words(&taken), ["hold the dots: 1.5 : 1, wanted 3 to 6"]);
}

/// Airs and grounds are never judged: the player decides where a note between the beats stands.
#[test]
fn a_pair_without_a_range_is_never_judged() {
    let mut air = played(&[1.0; 8], true);
    for note in &mut air.notes {
        if let Some(pair) = &mut note.pair {
            pair.range = None;
        }
    }
    let verdict = judge(&air, &Thresholds::default());
    assert_eq!(
        (verdict.mark, verdict.pointing.len()),
        (Some(Mark::Clean), 0)
    );
}

/// The median ratio and the spread, separately for dots and snaps.
#[test]
fn the_ratio_and_its_spread_are_told_bar_by_bar() {
    let ratios = [3.0, 3.5, 4.0, 4.5, 5.0, 9.0, 3.8];
    let verdict = judge(&played(&ratios, true), &Thresholds::default());
    let [dots] = &verdict.pointing[..] else {
        panic!("dots were expected: {:?}", verdict.pointing);
    };
    assert!((dots.ratio - 4.0).abs() < 1e-9 && (dots.spread - 0.5).abs() < 1e-9);
    assert_eq!(dots.range, (3.0, 6.0));
    for (pair, ratio) in dots.pairs.iter().zip(ratios) {
        assert!((pair.ratio - ratio).abs() < 1e-9, "{pair:?}");
    }
    let bars: Vec<u32> = dots.pairs.iter().map(|pair| pair.bar).collect();
    assert_eq!(bars, [1, 1, 2, 2, 3, 3, 4]);
    assert_eq!(
        dots.spoken(),
        "dots 4.0 : 1, half of 7 within 0.5; wanted 3 to 6"
    );
}

/// A pair whose notes are all late by the same time is late, not round.
#[test]
fn a_whole_pair_that_came_late_is_no_matter_of_pointing() {
    let mut late = played(&[4.0; 4], true);
    for note in &mut late.notes[3..] {
        note.offset_ms = note.offset_ms.map(|offset| offset + Milliseconds(90.0));
    }
    let faults = judge(&late, &Thresholds::default()).faults;
    assert!(
        faults.iter().all(|fault| fault.kind != FaultKind::Pointing),
        "{faults:?}"
    );
    assert!(!faults.is_empty());
}

/// The journal keeps the measurement of pairs; data of earlier versions has no pairs.
#[test]
fn a_measurement_with_pairs_is_read_again_and_an_older_one_too() {
    let measured = played(&[3.0; 2], true);
    let json = measured.to_json().expect("JSON");
    assert_eq!(Measurement::from_json(&json), Some(measured));
    let mut older = played(&[3.0; 2], true);
    for note in &mut older.notes {
        note.pair = None;
    }
    let json = older.to_json().expect("JSON");
    assert!(!json.contains("pair"), "{json}");
    assert_eq!(Measurement::from_json(&json), Some(older));
}
