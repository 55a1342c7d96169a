//! Tests of the exact limits, of the figures in a fault, and of its weight.

use super::blame_laws::{faults, words};
use super::pointing_laws::{played, wanted};
use super::verdict_laws::{birl, clean_grip, judged, note, pointed};
use super::*;
use crate::chanter::Note;
use crate::practice::measurement::{Measurement, NoteKind};
use crate::practice::{Thresholds, Verdict};
use crate::units::Milliseconds;

fn lasting(at: usize, length: f64) -> Verdict {
    judged(|measured| measured.notes[at].length_ms = Some(Milliseconds(length)))
}

/// The two tones of the grip, which last `model` milliseconds in the timeline.
fn tones(model: f64, first: f64, second: f64) -> Verdict {
    judged(|measured| {
        for (at, length) in [(2, first), (4, second)] {
            measured.notes[at].expected_ms = Milliseconds(model);
            measured.notes[at].length_ms = Some(Milliseconds(length));
        }
    })
}

/// The closing note of the grip is `by` milliseconds off at a beat of `beat` milliseconds.
fn off(beat: f64, by: f64) -> Verdict {
    judged(|measured| {
        measured.beat_ms = Milliseconds(beat);
        measured.notes[5].offset_ms = Some(Milliseconds(by));
    })
}

fn birl_judged(first: f64, second: f64) -> Verdict {
    judge(&birl(first, second), &Thresholds::default())
}

#[track_caller]
fn near(found: Option<f64>, expected: f64) {
    assert!(
        found.is_some_and(|found| (found - expected).abs() < 1e-9),
        "{found:?} is not {expected}"
    );
}

/// The report and the homework show both figures, and a fault weighs the ratio of figure to limit:
/// 92 ms at a limit of 60 ms weighs 1.53, and 25 ms at a least length of 40 ms weighs 1.6.
#[test]
fn a_fault_says_what_was_measured_the_limit_and_weighs_their_ratio() {
    let landed =
        |off: f64| judged(|measured| measured.notes[5].offset_ms = Some(Milliseconds(off)));
    let drifted = |percent: f64| judged(|measured| measured.drift_percent = percent);
    let slipped = judged(|measured| {
        measured.extra.push(ExtraNote {
            bar: 1,
            after: Some(4),
            note: Note::B,
            length_ms: Milliseconds(18.0),
        });
    });
    for (verdict, kind, measured, limit, weight) in [
        (
            lasting(3, 92.0),
            FaultKind::TooLong,
            92.0,
            60.0,
            92.0 / 60.0,
        ),
        // 0.6 of 73 ms is more than 40 ms; 0.6 of 60 ms is less.
        (tones(73.0, 73.0, 25.0), FaultKind::Crushed, 25.0, 40.0, 1.6),
        (tones(60.0, 60.0, 30.0), FaultKind::Crushed, 30.0, 36.0, 1.2),
        (
            tones(75.0, 162.0, 110.0),
            FaultKind::Dragged,
            162.0,
            135.0,
            1.2,
        ),
        (
            tones(40.0, 100.0, 80.0),
            FaultKind::Dragged,
            100.0,
            80.0,
            1.25,
        ),
        (tones(60.0, 50.0, 100.0), FaultKind::Unlike, 2.0, 1.6, 1.25),
        (
            birl_judged(20.0, 30.0),
            FaultKind::Crushed,
            20.0,
            25.0,
            1.25,
        ),
        (
            birl_judged(100.0, 70.0),
            FaultKind::Dragged,
            100.0,
            80.0,
            1.25,
        ),
        (landed(75.0), FaultKind::Late, 75.0, 50.0, 1.5),
        (landed(-75.0), FaultKind::Early, -75.0, 50.0, 1.5),
        (drifted(6.0), FaultKind::Rushing, 6.0, 3.0, 2.0),
        (drifted(-6.0), FaultKind::Dragging, -6.0, 3.0, 2.0),
        (slipped, FaultKind::Crossing, 18.0, 12.0, 1.5),
    ] {
        let [fault] = &verdict.faults[..] else {
            panic!("{kind:?} alone was expected: {:?}", verdict.faults)
        };
        assert_eq!(fault.kind, kind);
        near(fault.measured, measured);
        near(fault.limit, limit);
        near(Some(fault.weight), weight);
    }
}

/// A tone of 0 ms weighs as much as one that was not heard; from there the weight falls linearly up
/// to 20 ms.
#[test]
fn a_swallowed_tone_weighs_the_more_the_less_of_it_is_heard() {
    let unheard = judged(|measured| measured.notes[2].heard = None);
    for (verdict, measured, weight) in [
        (unheard, 0.0, 4.0),
        (lasting(2, 0.0), 0.0, 4.0),
        (lasting(2, 5.0), 5.0, 3.25),
        (lasting(2, 10.0), 10.0, 2.5),
        (lasting(2, 18.0), 18.0, 1.3),
    ] {
        let [fault] = &verdict.faults[..] else {
            panic!("{:?}", verdict.faults)
        };
        assert_eq!(fault.kind, FaultKind::Swallowed);
        near(fault.measured, measured);
        near(fault.limit, 20.0);
        near(Some(fault.weight), weight);
    }
}

/// A value at its limit is good; one just beyond it is a fault.
#[test]
fn what_is_at_its_limit_is_good() {
    for (at_it, beyond) in [
        (lasting(3, 60.0), lasting(3, 60.5)),
        // The shortest audible tone is 20 ms, although 0.6 of a model of 30 ms is 18 ms.
        (tones(30.0, 18.0, 18.0), tones(30.0, 17.5, 18.0)),
        (tones(60.0, 36.0, 36.0), tones(60.0, 35.5, 36.0)),
        (tones(75.0, 135.0, 135.0), tones(75.0, 135.5, 135.0)),
        (tones(60.0, 50.0, 80.0), tones(60.0, 50.0, 80.5)),
        (tones(60.0, 38.0, 76.0), tones(60.0, 38.0, 76.5)),
        (birl_judged(25.0, 25.0), birl_judged(24.5, 25.0)),
        (birl_judged(80.0, 80.0), birl_judged(80.5, 80.0)),
        // `off(beat, by)`, both in ms: a closing note may be off its place by 5 % of the beat (50 ms
        // of 1000 ms), and always by 10 ms (5 % of 100 ms would be 5 ms).
        (off(1000.0, 50.0), off(1000.0, 50.5)),
        (off(1000.0, -50.0), off(1000.0, -50.5)),
        (off(100.0, 10.0), off(100.0, 10.5)),
        (
            judged(|measured| measured.drift_percent = 3.0),
            judged(|measured| measured.drift_percent = 3.1),
        ),
    ] {
        assert_eq!(at_it.faults, []);
        assert_eq!(beyond.faults.len(), 1, "{:?}", beyond.faults);
    }
}

/// A drill may set unusual lengths for gracenotes and taps. The timeline's own length is never a
/// fault.
#[test]
fn a_length_that_the_timeline_itself_gives_is_never_a_fault() {
    let tapped = |model: f64, played: f64| {
        let mut measured = birl(played, played);
        for at in [1, 3] {
            measured.notes[at].expected_ms = Milliseconds(model);
        }
        faults(&measured).len()
    };
    // A fifth shorter than a tap of 20 ms is 16 ms; a quarter longer than one of 100 ms is 125 ms.
    assert_eq!((tapped(20.0, 16.5), tapped(20.0, 15.5)), (0, 2));
    assert_eq!((tapped(100.0, 124.0), tapped(100.0, 126.0)), (0, 2));
    let graced = |length: f64| {
        let verdict = judged(|measured| {
            measured.notes[3].expected_ms = Milliseconds(50.0);
            measured.notes[3].length_ms = Some(Milliseconds(length));
        });
        verdict.faults.len()
    };
    assert_eq!((graced(75.0), graced(76.0)), (0, 1));
}

/// Of two unlike tones, the fault names the one further from its length in the timeline, whatever
/// other faults there are.
#[test]
fn the_tone_farther_from_its_model_is_the_unlike_one() {
    let verdict = judged(|measured| {
        measured.notes[0].length_ms = Some(Milliseconds(92.0));
        measured.notes[2].length_ms = Some(Milliseconds(37.0));
        measured.notes[4].length_ms = Some(Milliseconds(81.0));
    });
    let told: Vec<(FaultKind, &str)> = verdict
        .faults
        .iter()
        .map(|fault| (fault.kind, fault.words.as_str()))
        .collect();
    assert_eq!(
        told,
        [
            (
                FaultKind::TooLong,
                "the high G gracenote before the D lasted 92 ms; aim for under 50"
            ),
            (
                FaultKind::Unlike,
                "the first low G lasted 37 ms and the second low G 81; make them alike"
            ),
        ]
    );
}

/// The shape always shows tones and taps. It shows a gracenote only when that lasted too long, and
/// never a wrong note. Faulty ones come first.
#[test]
fn a_gracenote_that_lasted_too_long_is_part_of_the_shape() {
    let shown = |verdict: &Verdict| -> Vec<(String, String, bool)> {
        let shape = verdict.shape.iter();
        shape
            .map(|tone| (tone.name.clone(), tone.figures(), tone.faulty))
            .collect()
    };
    let tone = |name: &str, figures: &str, faulty| (name.to_owned(), figures.to_owned(), faulty);
    let verdict = judged(|measured| {
        measured.notes[3].length_ms = Some(Milliseconds(92.0));
        measured.notes[4].length_ms = Some(Milliseconds(75.0));
    });
    assert_eq!(
        shown(&verdict),
        [
            tone("B gracenote", "92 of 35 ms", true),
            tone("second low G", "75 of 60 ms", false),
            tone("first low G", "60 of 60 ms", false),
        ]
    );
    let other = judged(|measured| measured.notes[2].heard = Some(Note::LowA));
    assert_eq!(shown(&other), [tone("second low G", "60 of 60 ms", false)]);
}

/// A movement with one tap names it without a number.
#[test]
fn the_one_tap_of_a_movement_is_named_without_a_number() {
    let mut one = birl(18.0, 30.0);
    one.notes.truncate(2);
    one.notes
        .push(note(4, NoteKind::Melody, Note::LowA, 1800.0));
    assert_eq!(words(&one), ["the low G tap lasted 18 ms; let it sound"]);
}

/// When one gracenote begins a note on its place, the note itself is the landing.
#[test]
fn a_note_with_one_gracenote_on_its_place_lands_itself() {
    let mut measured = birl(35.0, 35.0);
    measured.notes[4].begun_by = 1;
    measured.notes[4].offset_ms = Some(Milliseconds(-140.0));
    let faults = faults(&measured);
    let told: Vec<(Option<u32>, &str)> = faults
        .iter()
        .map(|fault| (fault.id, fault.words.as_str()))
        .collect();
    assert_eq!(
        told,
        [(Some(4), "the closing low A landed 140 ms before the click")]
    );
}

/// A dot and its cut of one second together, or a snap, with the range 3 to 6. The inner note is
/// `early` milliseconds early.
fn ranged(long_first: bool, early: f64) -> Vec<Fault> {
    let mut measured = pointed(early);
    if !long_first {
        measured.notes[1].place_ms = Some(Milliseconds(250.0));
    }
    measured.notes[1].pair = Some(wanted(long_first));
    faults(&measured)
}

/// Three to one gives the long note 750 of 1000 ms, six to one 857 ms. A note may be 50 ms off its
/// place.
#[test]
fn one_pair_may_be_outside_its_range_by_as_much_as_a_note_may_be_off_its_place() {
    assert_eq!(ranged(true, 50.0), []);
    assert_eq!(ranged(true, -157.0), []);
    assert_eq!(ranged(false, -50.0), []);
    assert_eq!(ranged(false, 157.0), []);
    let short = "hold the D, cut the C shorter: played 2.3 to 1, wanted 3 to 6";
    let long = "let the C sound: played 10.1 to 1, wanted 3 to 6";
    let late = "cut the D shorter, hold the C: played 1 to 2.3, wanted 3 to 6";
    let soon = "let the D sound: played 1 to 10.1, wanted 3 to 6";
    for (long_first, early, by, limit, words) in [
        (true, 51.0, 51.0, 3.0, short),
        (true, -160.0, 910.0 - 6000.0 / 7.0, 6.0, long),
        (false, -51.0, 51.0, 3.0, late),
        (false, 160.0, 910.0 - 6000.0 / 7.0, 6.0, soon),
    ] {
        let told = ranged(long_first, early);
        let [fault] = &told[..] else {
            panic!("one fault was expected: {told:?}")
        };
        assert_eq!(fault.words, words);
        near(Some(fault.weight), by / 50.0);
        near(fault.limit, limit);
    }
}

/// When only the written place defines a pair, the offset limit is its range.
#[test]
fn a_written_pair_weighs_as_many_times_as_its_note_is_off_its_place() {
    for (early, weight) in [(50.5, 1.01), (100.0, 2.0), (175.0, 3.5)] {
        let told = faults(&pointed(early));
        let [fault] = &told[..] else {
            panic!("one fault was expected: {told:?}")
        };
        assert_eq!(fault.kind, FaultKind::Pointing);
        near(Some(fault.weight), weight);
    }
}

/// A fault of all pairs weighs twice as much as the same fault of one pair, but at most as much as
/// a missing note.
#[test]
fn what_is_wrong_with_all_pairs_weighs_twice() {
    for long_first in [true, false] {
        for (ratio, weight) in [(2.0, 3.0), (9.0, 3.0), (1.0, 5.0)] {
            let told = faults(&played(&[ratio; 8], long_first));
            let [fault] = &told[..] else {
                panic!("one fault was expected: {told:?}")
            };
            near(Some(fault.weight), weight);
            near(fault.measured, ratio);
        }
    }
}

/// When one note of a pair was another note, its pointing is unknown.
#[test]
fn a_pair_with_a_wrong_note_is_not_judged() {
    for wrong in [2, 3] {
        let mut ratios = [4.0; 8];
        ratios[1] = 1.0;
        let mut measured = played(&ratios, true);
        measured.notes[wrong].heard = Some(Note::HighA);
        let verdict = judge(&measured, &Thresholds::default());
        let pointing = |fault: &&Fault| fault.kind == FaultKind::Pointing;
        assert_eq!(verdict.faults.iter().find(pointing), None, "note {wrong}");
        assert_eq!(verdict.faults[0].kind, FaultKind::Wrong);
        // A wrong second note only removes its pair; a wrong first note also removes the end of the
        // pair before.
        let pairs: Vec<u32> = verdict.pointing[0]
            .pairs
            .iter()
            .map(|pair| pair.id)
            .collect();
        let expected: &[u32] = if wrong == 2 {
            &[5, 7, 9, 11, 13, 15]
        } else {
            &[1, 5, 7, 9, 11, 13, 15]
        };
        assert_eq!(pairs, expected, "note {wrong}");
    }
}

/// Data of an earlier version or another program may have two notes at one place, which gives no
/// ratio.
#[test]
fn notes_at_one_place_are_no_pair() {
    let mut measured = pointed(-100.0);
    measured.notes[1].place_ms = Some(Milliseconds(0.0));
    assert_eq!(
        words(&measured),
        ["the C came 100 ms late; keep the beat even"]
    );
    let mut measured = pointed(100.0);
    measured.notes[2].place_ms = Some(Milliseconds(750.0));
    assert_eq!(
        words(&measured),
        ["the C came 100 ms early; keep the beat even"]
    );
}

/// The journal keeps figures and limits with a mark so that it can be judged again; both are read
/// back unchanged.
#[test]
fn figures_and_limits_are_read_again_as_they_were() {
    let measured = birl(30.0, 35.0);
    let json = measured.to_json().expect("JSON");
    assert_eq!(Measurement::from_json(&json), Some(measured));
    let limits = Thresholds {
        gracenote_longest: Milliseconds(77.0),
        opened_to: Some(Milliseconds(148.0)),
        ..Thresholds::for_pipes()
    };
    let json = limits.to_json().expect("JSON");
    assert_eq!(Thresholds::from_json(&json), Some(limits));
    assert_eq!(
        Thresholds::from_json(r#"{"crossing_ms":7.0}"#),
        Some(Thresholds::for_pipes())
    );
    assert_eq!(Thresholds::from_json("figures"), None);
}

/// A player who was heard with too little confidence is not judged; at exactly the limit he is.
#[test]
fn less_sure_than_is_asked_is_not_judged() {
    let sure = |confidence: f64| {
        let mut measured = clean_grip();
        measured.confidence = Some(confidence);
        judge(&measured, &Thresholds::default()).mark
    };
    assert_eq!(sure(0.95), Some(Mark::Clean));
    assert_eq!(sure(0.94), None);
}
