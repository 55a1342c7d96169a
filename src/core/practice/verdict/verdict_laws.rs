//! Tests of the verdict: a fault placed in the figures is named, and nothing else is.

use super::*;
use crate::chanter::Note;
use crate::practice::measurement::{NoteKind, NoteMeasure};
use crate::units::Milliseconds;

pub(super) fn note(id: u32, part: NoteKind, written: Note, length_ms: f64) -> NoteMeasure {
    NoteMeasure {
        id,
        bar: 1,
        part,
        written,
        heard: Some(written),
        length_ms: Some(Milliseconds(length_ms)),
        expected_ms: Milliseconds(length_ms),
        offset_ms: (part == NoteKind::Melody).then_some(Milliseconds(0.0)),
        on_click: part == NoteKind::Melody,
        place_ms: None,
        begun_by: 0,
        tap: false,
        movement: None,
        pair: None,
        cents: None,
    }
}

/// A grip from D in real time at 60 beats a minute, closing on low A, played without a fault.
pub(super) fn clean_grip() -> Measurement {
    Measurement {
        playing: true,
        beat_ms: Milliseconds(1000.0),
        notes: vec![
            note(0, NoteKind::Gracenote, Note::HighG, 35.0),
            note(1, NoteKind::Melody, Note::D, 1820.0),
            note(2, NoteKind::Tone, Note::LowG, 60.0),
            note(3, NoteKind::Gracenote, Note::B, 35.0),
            note(4, NoteKind::Tone, Note::LowG, 60.0),
            note(5, NoteKind::Melody, Note::LowA, 2000.0),
        ],
        extra: Vec::new(),
        lead_ms: Milliseconds(40.0),
        confidence: None,
        drift_percent: 0.5,
    }
}

pub(super) fn judged(change: impl FnOnce(&mut Measurement)) -> Verdict {
    let mut measured = clean_grip();
    change(&mut measured);
    judge(&measured, &Thresholds::default())
}

#[track_caller]
fn one_fault(change: impl FnOnce(&mut Measurement), kind: FaultKind, words: &str) {
    let verdict = judged(change);
    assert_eq!(verdict.mark, Some(Mark::NotClean));
    let found: Vec<_> = verdict
        .faults
        .iter()
        .map(|fault| (fault.kind, fault.words.as_str()))
        .collect();
    assert_eq!(found, [(kind, words)]);
}

/// A constant lead of 40 ms is human (Aschersleben & Prinz 1995) and is not a fault.
#[test]
fn a_clean_repetition_is_called_clean_in_spite_of_a_constant_lead() {
    let verdict = judged(|_| {});
    assert_eq!(verdict.mark, Some(Mark::Clean));
    assert!(verdict.faults.is_empty());
}

#[test]
fn a_long_gracenote_is_named_with_its_place_and_the_aim() {
    one_fault(
        |measured| measured.notes[3].length_ms = Some(Milliseconds(92.0)),
        FaultKind::TooLong,
        "the B gracenote before the second low G lasted 92 ms; aim for under 50",
    );
}

#[test]
fn a_tone_under_20_ms_does_not_count_as_heard() {
    one_fault(
        |measured| measured.notes[2].length_ms = Some(Milliseconds(14.0)),
        FaultKind::Swallowed,
        "the first low G lasted 14 of 60 ms and can hardly be heard; give it time",
    );
    one_fault(
        |measured| measured.notes[4].heard = None,
        FaultKind::Swallowed,
        "the second low G was swallowed; give it time to speak",
    );
}

/// D instead of B in the grip from D is the fault that this drill is for.
#[test]
fn a_wrong_gracenote_is_told_by_both_names() {
    one_fault(
        |measured| measured.notes[3].heard = Some(Note::D),
        FaultKind::Wrong,
        "the B gracenote before the second low G sounded as D",
    );
    one_fault(
        |measured| measured.notes[0].heard = None,
        FaultKind::Missing,
        "the high G gracenote before the D was not heard",
    );
}

/// 5 % of a beat of 1000 ms is 50 ms. At the limit there is no fault; beyond it the fault gives
/// side and size.
#[test]
fn a_landing_is_judged_by_5_per_cent_of_the_beat() {
    let at_the_limit = judged(|measured| measured.notes[5].offset_ms = Some(Milliseconds(50.0)));
    assert_eq!(at_the_limit.mark, Some(Mark::Clean));
    one_fault(
        |measured| measured.notes[5].offset_ms = Some(Milliseconds(63.0)),
        FaultKind::Late,
        "the closing low A landed 63 ms after the click",
    );
    one_fault(
        |measured| measured.notes[5].offset_ms = Some(Milliseconds(-63.0)),
        FaultKind::Early,
        "the closing low A landed 63 ms before the click",
    );
    assert_eq!(
        Thresholds::default().offset_limit(Milliseconds(100.0)),
        Milliseconds(10.0)
    );
}

#[test]
fn a_note_between_clicks_out_of_its_place_is_uneven() {
    one_fault(
        |measured| {
            measured.notes[5].on_click = false;
            measured.notes[5].offset_ms = Some(Milliseconds(-70.0));
        },
        FaultKind::Uneven,
        "the closing low A came 70 ms early; keep the beat even",
    );
}

#[test]
fn a_crossing_noise_is_named_from_12_ms_and_from_7_on_pipes() {
    let blip = |length_ms| ExtraNote {
        bar: 1,
        after: Some(4),
        note: Note::B,
        length_ms: Milliseconds(length_ms),
    };
    one_fault(
        |measured| measured.extra.push(blip(14.0)),
        FaultKind::Crossing,
        "B slipped in between low G and low A for 14 ms; move the fingers together",
    );
    let short = judged(|measured| measured.extra.push(blip(9.0)));
    assert_eq!(short.mark, Some(Mark::Clean));
    let mut measured = clean_grip();
    measured.extra.push(blip(9.0));
    let on_pipes = judge(&measured, &Thresholds::for_pipes());
    assert_eq!(on_pipes.mark, Some(Mark::NotClean));
}

#[test]
fn a_tempo_that_runs_is_told_beyond_3_per_cent() {
    one_fault(
        |measured| measured.drift_percent = 4.0,
        FaultKind::Rushing,
        "the tempo ran ahead by 4 %; let the click lead",
    );
    one_fault(
        |measured| measured.drift_percent = -4.0,
        FaultKind::Dragging,
        "the tempo fell behind by 4 %; let the click carry you",
    );
}

#[test]
fn at_most_two_things_are_named_and_the_worst_first() {
    let verdict = judged(|measured| {
        measured.notes[0].length_ms = Some(Milliseconds(66.0));
        measured.notes[3].heard = Some(Note::D);
        measured.notes[5].offset_ms = Some(Milliseconds(140.0));
    });
    assert_eq!(verdict.faults.len(), 3);
    let worst: Vec<_> = verdict.work_on().iter().map(|fault| fault.kind).collect();
    assert_eq!(worst, [FaultKind::Wrong, FaultKind::Late]);

    // However long it lasted, it weighs no more than a missing note.
    let verdict = judged(|measured| {
        measured.notes[0].heard = None;
        measured.notes[3].length_ms = Some(Milliseconds(900.0));
    });
    let worst: Vec<_> = verdict.work_on().iter().map(|fault| fault.kind).collect();
    assert_eq!(worst, [FaultKind::Missing, FaultKind::TooLong]);
}

/// When the microphone hears only our own sound and nobody plays, there is nothing to judge.
#[test]
fn a_silent_player_earns_no_mark() {
    let verdict = judged(|measured| {
        measured.playing = false;
        measured.notes[3].heard = None;
    });
    assert_eq!(verdict.mark, None);
    assert!(verdict.faults.is_empty());
}

#[test]
fn a_later_threshold_judges_the_kept_figures_again() {
    let mut measured = clean_grip();
    measured.notes[3].length_ms = Some(Milliseconds(92.0));
    let kept = measured.to_json().expect("plain figures");
    let again = Measurement::from_json(&kept).expect("what was kept");
    assert_eq!(again, measured);
    let lenient = Thresholds {
        gracenote_longest: Milliseconds(100.0),
        ..Thresholds::default()
    };
    assert_eq!(judge(&again, &lenient).mark, Some(Mark::Clean));
}

#[test]
fn two_bars_are_told_apart() {
    one_fault(
        |measured| {
            let mut second = clean_grip().notes;
            for note in &mut second {
                note.id += 6;
                note.bar = 2;
            }
            second[3].length_ms = Some(Milliseconds(80.0));
            measured.notes.extend(second);
        },
        FaultKind::TooLong,
        "the B gracenote before the second low G in bar 2 lasted 80 ms; aim for under 50",
    );
}

/// A grip whose low Gs last 25 ms instead of 73 ms is not clean.
#[test]
fn a_tone_is_measured_by_its_length_in_the_timeline() {
    let of = |first: f64, second: f64| {
        judged(|measured| {
            for (at, length) in [(2, first), (4, second)] {
                measured.notes[at].expected_ms = Milliseconds(73.0);
                measured.notes[at].length_ms = Some(Milliseconds(length));
            }
        })
    };
    let words = |verdict: &Verdict| -> Vec<String> {
        let faults = verdict.faults.iter();
        faults.map(|fault| fault.words.clone()).collect()
    };
    assert_eq!(
        words(&of(73.0, 25.0)),
        ["the second low G lasted 25 of 73 ms; give it time"]
    );
    assert_eq!(of(25.0, 25.0).faults.len(), 2);
    // At 0.6 of its length, or at 40 ms, the length of a tone is not a fault.
    assert_eq!(words(&of(44.0, 73.0)), [""; 0]);
    assert_eq!(words(&of(41.0, 41.0)), [""; 0]);
    assert_eq!(
        words(&of(135.0, 100.0)),
        ["the first low G lasted 135 of 73 ms; close it up"]
    );
    assert_eq!(words(&of(131.0, 100.0)), [""; 0]);
}

/// Tones of 30 and 120 ms in one movement are not alike.
#[test]
fn like_tones_of_one_movement_are_alike() {
    let of = |first: f64, second: f64| {
        judged(|measured| {
            measured.notes[2].length_ms = Some(Milliseconds(first));
            measured.notes[4].length_ms = Some(Milliseconds(second));
        })
    };
    let verdict = of(42.0, 88.0);
    let [fault] = &verdict.faults[..] else {
        panic!("{:?}", verdict.faults)
    };
    assert_eq!(fault.kind, FaultKind::Unlike);
    assert_eq!(
        fault.words,
        "the second low G lasted 88 ms and the first low G 42; make them alike"
    );
    assert_eq!(of(60.0, 95.0).faults, []);
    assert_eq!(of(39.0, 77.0).faults, []);
    // A tone of half its length that is unlike its twin is one fault: its length.
    let kinds = |verdict: &Verdict| -> Vec<FaultKind> {
        verdict.faults.iter().map(|fault| fault.kind).collect()
    };
    assert_eq!(
        kinds(&of(30.0, 120.0)),
        [FaultKind::Crushed, FaultKind::Dragged]
    );
    assert_eq!(kinds(&of(30.0, 62.0)), [FaultKind::Crushed]);
}

/// The taps of a birl from low A: low G, low A, low G.
pub(super) fn birl(first: f64, second: f64) -> Measurement {
    let mut measured = clean_grip();
    let tap = |id, length| NoteMeasure {
        tap: true,
        expected_ms: Milliseconds(35.0),
        ..note(id, NoteKind::Gracenote, Note::LowG, length)
    };
    measured.notes = vec![
        note(0, NoteKind::Melody, Note::LowA, 1800.0),
        tap(1, first),
        note(2, NoteKind::Tone, Note::LowA, 55.0),
        tap(3, second),
        NoteMeasure {
            begun_by: 3,
            movement: crate::movement::find("birl").ok(),
            ..note(4, NoteKind::Melody, Note::LowA, 1800.0)
        },
    ];
    measured
}

/// A tap of 61 ms is not too long a gracenote: in a birl the taps are what is heard.
#[test]
fn the_taps_of_a_birl_have_a_band_of_their_own() {
    let words = |measured: &Measurement| -> Vec<String> {
        let faults = judge(measured, &Thresholds::default()).faults;
        faults.into_iter().map(|fault| fault.words).collect()
    };
    assert_eq!(words(&birl(70.0, 65.0)), [""; 0]);
    assert_eq!(words(&birl(26.0, 30.0)), [""; 0]);
    assert_eq!(
        words(&birl(30.0, 18.0)),
        ["the second low G tap lasted 18 ms; let it sound"]
    );
    assert_eq!(
        words(&birl(95.0, 60.0)),
        ["the first low G tap lasted 95 ms; tap quicker"]
    );
    assert_eq!(
        words(&birl(30.0, 75.0)),
        ["the second low G tap lasted 75 ms and the first low G tap 30; make them alike"]
    );
}

/// The movement begins on the beat, so it is blamed and not the note after it.
#[test]
fn a_movement_that_begins_early_is_named_and_not_its_note() {
    let mut measured = birl(35.0, 35.0);
    measured.notes[4].offset_ms = Some(Milliseconds(-140.0));
    let verdict = judge(&measured, &Thresholds::default());
    let [fault] = &verdict.faults[..] else {
        panic!("{:?}", verdict.faults)
    };
    assert_eq!((fault.kind, fault.id), (FaultKind::Early, Some(1)));
    assert_eq!(
        fault.words,
        "the birl on low A began 140 ms before the click"
    );
}

/// A long gracenote that makes its landing late is one fault; a still later landing is another.
#[test]
fn a_landing_pushed_by_a_long_gracenote_is_that_gracenote() {
    let of = |late: f64| {
        judged(|measured| {
            measured.notes[3].length_ms = Some(Milliseconds(95.0));
            measured.notes[3].expected_ms = Milliseconds(35.0);
            measured.notes[5].offset_ms = Some(Milliseconds(late));
        })
    };
    let kinds = |verdict: &Verdict| -> Vec<FaultKind> {
        verdict.faults.iter().map(|fault| fault.kind).collect()
    };
    assert_eq!(kinds(&of(62.0)), [FaultKind::TooLong]);
    assert_eq!(kinds(&of(130.0)), [FaultKind::Late, FaultKind::TooLong]);
    assert_eq!(kinds(&of(-62.0)), [FaultKind::TooLong, FaultKind::Early]);
}

/// Four melody notes at 60 beats a minute: a dot, its cut, and two crotchets.
pub(super) fn pointed(cut_early: f64) -> Measurement {
    let mut measured = clean_grip();
    let melody = |id, written, place, length, on_click| NoteMeasure {
        place_ms: Some(Milliseconds(place)),
        on_click,
        ..note(id, NoteKind::Melody, written, length)
    };
    measured.notes = vec![
        melody(0, Note::D, 0.0, 750.0, true),
        melody(1, Note::C, 750.0, 250.0, false),
        melody(2, Note::B, 1000.0, 1000.0, true),
        melody(3, Note::LowA, 2000.0, 1000.0, true),
    ];
    measured.notes[1].offset_ms = Some(Milliseconds(-cut_early));
    measured
}

/// The text must not ask for an even beat, because the player would play the pair even rounder.
#[test]
fn a_round_dot_and_cut_is_told_as_that() {
    let words = |measured: &Measurement| -> Vec<String> {
        let faults = judge(measured, &Thresholds::default()).faults;
        faults.into_iter().map(|fault| fault.words).collect()
    };
    assert_eq!(words(&pointed(40.0)), [""; 0]);
    assert_eq!(
        words(&pointed(250.0)),
        ["hold the D, cut the C shorter: played 1.0 to 1, written 3.0 to 1"]
    );
    // A pair that is too sharp is not round.
    assert_eq!(
        words(&pointed(-80.0)),
        ["the C came 80 ms late; keep the beat even"]
    );
    // A grip before the cut takes its time from the dot.
    let mut taken = pointed(250.0);
    taken
        .notes
        .insert(1, note(9, NoteKind::Tone, Note::LowG, 60.0));
    assert_eq!(
        words(&taken),
        ["cut the C shorter: played 1.0 to 1, written 3.0 to 1"]
    );
    // In a snap the dot comes late.
    let mut snap = pointed(0.0);
    snap.notes[1].place_ms = Some(Milliseconds(250.0));
    snap.notes[1].offset_ms = Some(Milliseconds(250.0));
    assert_eq!(
        words(&snap),
        ["cut the D shorter, hold the C: played 1 to 1.0, written 1 to 3.0"]
    );
}

/// When the tempo changes, every note is off its place, but the fault is the tempo.
#[test]
fn a_tempo_that_runs_is_one_fault() {
    let mut measured = pointed(0.0);
    measured.drift_percent = 8.0;
    for note in &mut measured.notes {
        note.offset_ms = note.place_ms.map(|place| place * -0.08);
    }
    let verdict = judge(&measured, &Thresholds::default());
    let kinds: Vec<FaultKind> = verdict.faults.iter().map(|fault| fault.kind).collect();
    assert_eq!(kinds, [FaultKind::Rushing]);
}

/// In the lowest third of a ladder the fingers are still learning.
#[test]
fn a_gracenote_may_be_longer_in_the_lowest_third_of_the_ladder() {
    let tempo = |tempo| crate::units::Bpm::whole(tempo).expect("a usual tempo");
    let ladder = [tempo(50), tempo(65), tempo(80)];
    let of = |at, longest: f64| {
        let mut measured = clean_grip();
        measured.notes[3].length_ms = Some(Milliseconds(longest));
        let limits = Thresholds::default().at(tempo(at), &ladder);
        judge(&measured, &limits).mark
    };
    assert_eq!(of(59, 75.0), Some(Mark::Clean));
    assert_eq!(of(59, 85.0), Some(Mark::NotClean));
    assert_eq!(of(60, 75.0), Some(Mark::NotClean));
    let one = Thresholds::default().at(tempo(50), &[tempo(50)]);
    assert_eq!(one, Thresholds::default());
}

/// The shape shows `second low G 25 of 73 ms`, the worst first, and no good gracenote.
#[test]
fn the_shape_tells_lengths_beside_their_models() {
    let verdict = judged(|measured| measured.notes[4].length_ms = Some(Milliseconds(25.0)));
    let told: Vec<String> = verdict
        .worst_shape()
        .iter()
        .map(|tone| format!("{} {}", tone.name, tone.figures()))
        .collect();
    assert_eq!(
        told,
        ["second low G 25 of 60 ms", "first low G 60 of 60 ms"]
    );
}

/// A tone before a late landing sounds until the landing, so the fault is the landing.
#[test]
fn a_tone_that_waits_for_a_late_landing_is_not_dragged() {
    let of = |length: f64| {
        judged(|measured| {
            measured.notes[4].length_ms = Some(Milliseconds(length));
            measured.notes[5].offset_ms = Some(Milliseconds(90.0));
        })
    };
    let kinds = |verdict: &Verdict| -> Vec<FaultKind> {
        verdict.faults.iter().map(|fault| fault.kind).collect()
    };
    assert_eq!(kinds(&of(150.0)), [FaultKind::Late]);
    assert_eq!(kinds(&of(250.0)), [FaultKind::Dragged, FaultKind::Late]);
}
