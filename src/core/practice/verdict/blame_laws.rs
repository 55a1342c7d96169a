//! Tests of what is blamed when one fault causes another: notes that ran on, landings that were
//! pushed or waited for, a tempo that changed, pairs whose neighbours moved too.

use super::pointing_laws::{played, wanted};
use super::verdict_laws::{clean_grip, judged, note, pointed};
use super::*;
use crate::chanter::Note;
use crate::practice::Thresholds;
use crate::practice::measurement::{NoteKind, NoteMeasure};
use crate::units::Milliseconds;

fn ms(value: f64) -> Milliseconds {
    Milliseconds(value)
}

pub(super) fn faults(measured: &Measurement) -> Vec<Fault> {
    judge(measured, &Thresholds::default()).faults
}

pub(super) fn words(measured: &Measurement) -> Vec<String> {
    faults(measured)
        .into_iter()
        .map(|fault| fault.words)
        .collect()
}

fn kinds(measured: &Measurement) -> Vec<FaultKind> {
    faults(measured)
        .into_iter()
        .map(|fault| fault.kind)
        .collect()
}

fn grip(change: impl FnOnce(&mut Measurement)) -> Vec<FaultKind> {
    let verdict = judged(change);
    verdict.faults.iter().map(|fault| fault.kind).collect()
}

/// When the next note was not heard, this one sounded on over its place.
#[test]
fn a_note_that_ran_on_is_not_too_long() {
    let unheard = |measured: &mut Measurement, at: usize| {
        measured.notes[at].heard = None;
        measured.notes[at].length_ms = None;
    };
    assert_eq!(
        grip(|measured| {
            measured.notes[2].length_ms = Some(ms(160.0));
            unheard(measured, 3);
        }),
        [FaultKind::Missing]
    );
    assert_eq!(
        grip(|measured| {
            measured.notes[3].length_ms = Some(ms(95.0));
            unheard(measured, 4);
        }),
        [FaultKind::Swallowed]
    );
}

/// A first tone of 160 ms instead of 60 ms makes the landing 100 ms late. A landing is late by
/// itself only when it is later than that by more than the offset limit.
#[test]
fn a_landing_pushed_by_a_dragged_tone_is_that_tone() {
    let landed = |off: f64| {
        grip(|measured| {
            measured.notes[2].length_ms = Some(ms(160.0));
            measured.notes[5].offset_ms = Some(ms(off));
        })
    };
    assert_eq!(landed(120.0), [FaultKind::Dragged]);
    assert_eq!(landed(160.0), [FaultKind::Late, FaultKind::Dragged]);
    assert_eq!(landed(-120.0), [FaultKind::Early, FaultKind::Dragged]);
}

/// Only a tone that is too long may have waited, and only for a landing that came late.
#[test]
fn a_crushed_tone_never_waited_for_its_landing() {
    let of = |length: f64, off: f64| {
        grip(|measured| {
            measured.notes[4].length_ms = Some(ms(length));
            measured.notes[5].offset_ms = Some(ms(off));
        })
    };
    assert_eq!(of(30.0, 90.0), [FaultKind::Late, FaultKind::Crushed]);
    assert_eq!(of(120.0, -60.0), [FaultKind::Early, FaultKind::Dragged]);
}

/// In a grip before a cut that comes too late, the last tone sounds until the cut. The fault is the
/// pair.
#[test]
fn a_tone_waits_for_a_cut_that_is_told_as_pointing() {
    let mut measured = pointed(-160.0);
    measured.notes[1].pair = Some(wanted(true));
    let tone = NoteMeasure {
        expected_ms: Milliseconds(60.0),
        ..note(9, NoteKind::Tone, Note::LowG, 150.0)
    };
    measured.notes.insert(1, tone);
    assert_eq!(
        words(&measured),
        ["let the C sound: played 10.1 to 1, wanted 3 to 6"]
    );
}

/// When the tempo changes, a constant lead is still no fault, but a note off the line of the tempo
/// is.
#[test]
fn notes_are_measured_from_the_line_of_a_tempo_that_runs() {
    let running = |percent: f64, first: f64| {
        let mut measured = pointed(0.0);
        measured.drift_percent = percent;
        for note in &mut measured.notes {
            let place = note.place_ms.expect("a melody note").0;
            note.offset_ms = Some(ms(100.0 - place * percent / 100.0));
        }
        measured.notes[0].offset_ms = Some(ms(100.0 + first));
        measured
    };
    assert_eq!(kinds(&running(8.0, 0.0)), [FaultKind::Rushing]);
    assert_eq!(
        kinds(&running(8.0, -160.0)),
        [FaultKind::Early, FaultKind::Rushing]
    );
    // Up to 3 per cent a change of tempo is no fault, so the notes it moved are: 60 ms at the third
    // beat.
    let mut slight = pointed(0.0);
    slight.drift_percent = 3.0;
    for note in &mut slight.notes {
        note.offset_ms = note.place_ms.map(|place| place * -0.03);
    }
    assert_eq!(kinds(&slight), [FaultKind::Early]);
}

/// A bar with a single note has no closing note.
#[test]
fn the_only_note_of_its_bar_is_called_by_its_name() {
    let mut measured = pointed(0.0);
    for note in &mut measured.notes[1..] {
        note.bar = 2;
    }
    measured.notes[0].offset_ms = Some(ms(63.0));
    assert_eq!(
        words(&measured),
        ["the D in bar 1 landed 63 ms after the click"]
    );
}

/// Only tones of the same note must be alike. From 80 ms on the limit for long tones applies.
#[test]
fn only_tones_of_one_note_are_to_be_alike() {
    let tones = |second: Note, first_ms: f64, second_ms: f64| {
        grip(|measured| {
            measured.notes[4].written = second;
            measured.notes[4].heard = Some(second);
            measured.notes[2].length_ms = Some(ms(first_ms));
            measured.notes[4].length_ms = Some(ms(second_ms));
        })
    };
    assert_eq!(tones(Note::LowG, 50.0, 100.0), [FaultKind::Unlike]);
    assert_eq!(tones(Note::C, 50.0, 100.0), []);
    assert_eq!(tones(Note::LowG, 45.0, 79.5), []);
    assert_eq!(tones(Note::LowG, 45.0, 80.0), [FaultKind::Unlike]);
}

/// Taps are numbered among taps only; a tone of the same note does not count.
#[test]
fn a_tap_is_not_counted_with_tones() {
    let mut measured = clean_grip();
    let tap = NoteMeasure {
        tap: true,
        expected_ms: Milliseconds(35.0),
        ..note(2, NoteKind::Gracenote, Note::LowG, 18.0)
    };
    measured.notes = vec![
        note(0, NoteKind::Melody, Note::D, 1800.0),
        note(1, NoteKind::Tone, Note::LowG, 60.0),
        tap,
        note(3, NoteKind::Melody, Note::LowA, 1800.0),
    ];
    assert_eq!(
        words(&measured),
        ["the low G tap lasted 18 ms; let it sound"]
    );
}

/// The tone whose length is further off in proportion is shown first.
#[test]
fn the_shape_is_ordered_by_how_many_times_a_tone_is_off() {
    let verdict = judged(|measured| {
        measured.notes[2].expected_ms = Milliseconds(100.0);
        measured.notes[2].length_ms = Some(ms(90.0));
        measured.notes[4].expected_ms = Milliseconds(20.0);
        measured.notes[4].length_ms = Some(ms(25.0));
    });
    let shown: Vec<String> = verdict.shape.iter().map(ToneShape::figures).collect();
    assert_eq!(shown, ["25 of 20 ms", "90 of 100 ms"]);
}

/// Our own sound matches the timeline: four notes in five are within 3 ms. No player is so exact.
#[test]
fn four_exact_notes_in_five_are_our_own_sound() {
    let own = |change: &dyn Fn(&mut Measurement)| {
        let mut measured = clean_grip();
        change(&mut measured);
        measured.is_our_own()
    };
    let off = |measured: &mut Measurement, at: usize| {
        measured.notes[at].length_ms = Some(ms(measured.notes[at].expected_ms.0 + 10.0));
    };
    assert!(own(&|_| {}));
    assert!(own(&|measured| off(measured, 2)));
    assert!(!own(&|measured| {
        off(measured, 2);
        off(measured, 4);
    }));
    // The length of a melody note does not show whose sound it is, but its onset does.
    assert!(own(&|measured| {
        off(measured, 2);
        off(measured, 5);
    }));
    let came = |late: f64| {
        own(&|measured| {
            off(measured, 2);
            measured.notes[5].offset_ms = Some(ms(late));
        })
    };
    assert!(came(2.9) && came(-2.9) && !came(3.0));
    assert!(!own(&|measured| measured.playing = false));
}

/// Two to one, with a margin for rounding, is the roundest ratio that is written as a pair.
#[test]
fn notes_nearly_alike_are_no_pair() {
    let kind = |first: f64, second: f64, early: f64| {
        let mut measured = pointed(early);
        measured.notes[1].place_ms = Some(ms(first));
        measured.notes[2].place_ms = Some(ms(first + second));
        measured.notes[3].place_ms = Some(ms(first + second + 1000.0));
        kinds(&measured)
    };
    assert_eq!(kind(660.0, 340.0, 100.0), [FaultKind::Pointing]);
    assert_eq!(kind(650.0, 350.0, 100.0), [FaultKind::Uneven]);
    assert_eq!(kind(340.0, 660.0, -100.0), [FaultKind::Pointing]);
    assert_eq!(kind(350.0, 650.0, -100.0), [FaultKind::Uneven]);
    // A minim and a crotchet that both stand on a click are not a dot and its cut.
    let mut beats = pointed(250.0);
    for (note, place) in beats.notes.iter_mut().zip([0.0, 2000.0, 3000.0, 4000.0]) {
        note.place_ms = Some(ms(place));
        note.on_click = true;
    }
    assert_eq!(words(&beats), ["the C landed 250 ms before the click"]);
}

/// The last note of the music ends as written.
#[test]
fn a_cut_that_ends_the_music_is_judged_too() {
    let mut measured = pointed(250.0);
    measured.notes.truncate(2);
    assert_eq!(
        words(&measured),
        ["hold the D, cut the closing C shorter: played 1.0 to 1, written 3.0 to 1"]
    );
}

/// In a snap the movement behind it takes its time from the long note. Behind a dot that is only
/// written it takes its time from the cut, so the dot may be blamed.
#[test]
fn what_a_movement_behind_a_pair_takes_from_is_not_told_to_be_held() {
    let behind = |place: f64, early: f64| {
        let mut measured = pointed(early);
        measured.notes[1].place_ms = Some(ms(place));
        measured
            .notes
            .insert(2, note(9, NoteKind::Tone, Note::LowG, 60.0));
        words(&measured)
    };
    assert_eq!(
        behind(250.0, -250.0),
        ["cut the D shorter: played 1 to 1.0, written 1 to 3.0"]
    );
    assert_eq!(
        behind(750.0, 250.0),
        ["hold the D, cut the C shorter: played 1.0 to 1, written 3.0 to 1"]
    );
}

/// The onsets are at 40, 760 and 980 ms, so the lengths are 720 and 220 ms.
#[test]
fn the_ratio_of_a_pair_is_that_of_its_onsets() {
    let mut measured = pointed(0.0);
    measured.notes[1].pair = Some(wanted(true));
    for (note, off) in measured.notes.iter_mut().zip([40.0, 10.0, -20.0]) {
        note.offset_ms = Some(ms(off));
    }
    let verdict = judge(&measured, &Thresholds::default());
    assert_eq!(verdict.faults, []);
    let ratio = verdict.pointing[0].pairs[0].ratio;
    assert!((ratio - 720.0 / 220.0).abs() < 1e-9, "{ratio}");
}

/// When both notes of a pair are early by the same time, the pair is early and not round.
#[test]
fn a_whole_pair_that_came_early_is_no_matter_of_pointing() {
    let mut early = played(&[4.0; 4], true);
    for note in &mut early.notes[3..] {
        note.offset_ms = note.offset_ms.map(|offset| offset - Milliseconds(350.0));
    }
    let told = kinds(&early);
    assert!(!told.contains(&FaultKind::Pointing), "{told:?}");
    assert!(told.contains(&FaultKind::Early), "{told:?}");
}

/// At the offset limit there is no fault, even when the end of the pair was not heard.
#[test]
fn a_pair_without_its_end_is_judged_by_its_inner_note() {
    let open = |early: f64| {
        let mut measured = pointed(early);
        measured.notes[1].pair = Some(wanted(true));
        measured.notes[2].offset_ms = None;
        kinds(&measured)
    };
    assert_eq!(open(50.0), []);
    assert_eq!(open(51.0), [FaultKind::Pointing]);
}

/// Four pairs are enough to judge all together. Their median must be outside the range by 3 ms and
/// twice its standard error. With half of eight pairs 8 ms from the median, that is 2 · 1.2533 ·
/// 1.4826 · 8 / √8 = 10.5 ms.
#[test]
fn all_pairs_are_told_where_their_median_is_surely_outside() {
    assert_eq!(
        words(&played(&[2.5; 4], true)),
        ["hold the dots: 2.5 : 1, wanted 3 to 6"]
    );
    let outside = |by: f64| {
        let offs = [-8.0, -8.0, -8.0, 0.0, 0.0, 8.0, 8.0, 8.0];
        let ratios = offs.map(|off| {
            let long = 562.5 - by - off;
            long / (750.0 - long)
        });
        kinds(&played(&ratios, true)).len()
    };
    assert_eq!((outside(13.0), outside(14.0)), (0, 1));
}
