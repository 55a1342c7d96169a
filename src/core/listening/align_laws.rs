//! The laws of the alignment: what a player did is told as that and as nothing else.

mod pairing;

use super::align::{align, places};
use super::heard::HeardNote;
use super::piece::ExpectedStage;
use crate::chanter::Note;
use crate::drill::{built_in, read};
use crate::movement::Lengths;
use crate::practice::{FaultKind, Mark, NoteKind, Rung, Thresholds, judge};
use crate::score::resolve_music;
use crate::timeline::{Layout, lay};
use crate::units::{Bpm, SampleRate, Seconds};

/// The grip from D in real time at 60: two bars, on low A and on D.
fn grip() -> ExpectedStage {
    piece("grip-from-d", 3, 60)
}

/// A stage of a built-in drill at a tempo.
fn piece(name: &str, stage: usize, tempo: i128) -> ExpectedStage {
    let tempo = Bpm::whole(tempo).expect("a usual tempo");
    piece_at(name, stage, &Layout::at(tempo, SampleRate::USUAL))
}

fn piece_at(name: &str, stage: usize, layout: &Layout) -> ExpectedStage {
    let text = built_in(name).expect("it is built in").text;
    let (drill, _) = read(text.as_bytes());
    let drill = drill.expect("it reads");
    let breath = drill.breath_beats();
    let score = resolve_music(&drill.stages[stage].music, breath, &drill.schools);
    ExpectedStage::of(&score, &lay(&score, layout))
}

fn tone(note: Note, start_s: f64, end_s: f64) -> HeardNote {
    HeardNote::known(note, Seconds(start_s), Seconds(end_s))
}

/// The notes of some repetitions as if played exactly, the first from `start` on.
fn played(piece: &ExpectedStage, start: f64, count: usize) -> Vec<HeardNote> {
    let mut heard: Vec<HeardNote> = Vec::new();
    for cycle in 0..count {
        for note in &piece.notes {
            let at = start + cycle as f64 * piece.cycle.0 + note.start_s;
            if let Some(last) = heard.last_mut() {
                last.end_s = at;
            }
            heard.push(tone(note.note, at, at + note.length_s));
        }
    }
    heard
}

fn kinds(piece: &ExpectedStage, heard: &[HeardNote]) -> Vec<Vec<FaultKind>> {
    align(piece, heard)
        .repetitions
        .iter()
        .map(|found| {
            let verdict = judge(&found.measured, &Thresholds::default());
            assert_eq!(verdict.mark == Some(Mark::Clean), verdict.faults.is_empty());
            verdict.faults.iter().map(|fault| fault.kind).collect()
        })
        .collect()
}

/// Moves the border between two notes.
fn move_border(heard: &mut [HeardNote], at: usize, by: f64) {
    heard[at - 1].end_s += by;
    heard[at].start_s += by;
}

fn place(piece: &ExpectedStage, note: Note, part: NoteKind) -> usize {
    piece
        .notes
        .iter()
        .position(|expected| expected.note == note && expected.part == part)
        .expect("the grip has it")
}

/// Without it a constant lead, or a recording that began at any moment, would be a fault.
#[test]
fn a_clean_take_is_clean_wherever_it_begins() {
    let piece = grip();
    for start in [0.4, 1.77, 33.3] {
        let found = kinds(&piece, &played(&piece, start, 3));
        assert_eq!(found, vec![Vec::new(); 3], "from {start}");
    }
}

/// Without it the fault this drill exists for would be two faults, or none.
#[test]
fn the_wrong_gracenote_is_one_wrong_note() {
    let piece = grip();
    let mut heard = played(&piece, 1.0, 2);
    let at = place(&piece, Note::B, NoteKind::Gracenote);
    heard[at].note = Note::D;
    assert_eq!(kinds(&piece, &heard), [vec![FaultKind::Wrong], vec![]]);
}

/// Without it a slow finger would shift everything after it instead of being one long gracenote.
#[test]
fn a_long_gracenote_is_measured_alone() {
    let piece = grip();
    let mut heard = played(&piece, 1.0, 2);
    let at = place(&piece, Note::B, NoteKind::Gracenote);
    move_border(&mut heard, at - 1, -0.06);
    move_border(&mut heard, at, -0.06);
    let found = align(&piece, &heard).repetitions;
    let length = found[0].measured.notes[at].length_ms.expect("it was heard");
    assert!(
        (length.0 - piece.notes[at].length_s * 1e3 - 60.0).abs() < 1.0,
        "{length}"
    );
    assert_eq!(kinds(&piece, &heard), [vec![FaultKind::TooLong], vec![]]);
}

/// Without it a tone that vanished between two gracenotes would go unnoticed.
#[test]
fn a_tone_that_is_not_there_was_swallowed() {
    let piece = grip();
    let mut heard = played(&piece, 1.0, 2);
    let at = place(&piece, Note::B, NoteKind::Gracenote) + 1;
    assert_eq!(piece.notes[at].part, NoteKind::Tone);
    let gone = heard.remove(at);
    heard[at].start_s = gone.start_s;
    let found = kinds(&piece, &heard);
    assert!(found[0].contains(&FaultKind::Swallowed), "{found:?}");
    assert_eq!(found[1], []);
}

/// Without it a note that failed for a moment, or was lost under a drone, would be told as a
/// crossing noise of its own name.
#[test]
fn a_note_with_a_hole_in_it_is_one_note() {
    let piece = grip();
    let mut heard = played(&piece, 1.0, 2);
    let whole = heard[0];
    heard[0].end_s = whole.start_s + 0.4 * whole.length().0;
    let rest = tone(whole.note, heard[0].end_s + 0.1, whole.end_s);
    heard.insert(1, rest);
    let found = align(&piece, &heard).repetitions;
    assert_eq!(found[0].measured.extra, []);
    let length = found[0].measured.notes[0].length_ms.expect("it was heard");
    assert!(
        (length - whole.length().milliseconds()).0.abs() < 0.1,
        "{length}"
    );
}

/// Without it a blip between two notes would be taken for one of them.
#[test]
fn a_blip_is_a_crossing_noise_and_nothing_else() {
    let piece = grip();
    let mut heard = played(&piece, 1.0, 2);
    let closing = piece.notes.len() - 1;
    let start = heard[closing].start_s;
    heard[closing].start_s = start + 0.015;
    heard.insert(closing, tone(Note::F, start, start + 0.015));
    let found = align(&piece, &heard).repetitions;
    assert_eq!(found[0].measured.extra.len(), 1);
    assert!((found[0].measured.extra[0].length_ms.0 - 15.0).abs() < 0.1);
    let found = kinds(&piece, &heard);
    assert!(found[0].contains(&FaultKind::Crossing), "{found:?}");
}

/// Without it a note late on the click would be excused as the player's lead.
#[test]
fn one_late_landing_is_late_and_the_others_are_not() {
    let piece = grip();
    let mut heard = played(&piece, 1.0, 3);
    let closing = piece.notes.len() - 1;
    for at in closing - 3..=closing {
        move_border(&mut heard, at, 0.08);
    }
    let found = kinds(&piece, &heard);
    assert!(found[0].contains(&FaultKind::Late), "{found:?}");
    assert_eq!(found[1..], [vec![], vec![]]);
}

/// An opened grip is so long that it begins between the clicks: when it began is nobody's fault, and
/// its landing and the notes around it are judged as ever.
#[test]
fn an_opened_movement_is_judged_by_its_landing_and_evenness_and_not_by_its_start() {
    let rung = Rung::parse("148 ms at 60").expect("a rung");
    let layout = Layout {
        lengths: rung.lengths(Lengths::default()),
        ..Layout::at(rung.tempo(), SampleRate::USUAL)
    };
    let piece = piece_at("grip-from-d", 3, &layout);
    let limits = Thresholds::default().on(rung, &[rung.tempo()]);
    let first = place(&piece, Note::LowG, NoteKind::Tone);
    let landing = first + 3;
    assert_eq!(piece.notes[landing].part, NoteKind::Melody);
    assert!(piece.notes[first].length_s > 0.147);
    let told = |moved: &[usize], by: f64| -> Vec<(FaultKind, usize)> {
        let mut heard = played(&piece, 1.0, 3);
        for at in moved {
            move_border(&mut heard, *at, by);
        }
        let found = align(&piece, &heard).repetitions;
        let measured = &found[1].measured;
        let inside = measured
            .notes
            .iter()
            .filter(|note| note.part == NoteKind::Tone);
        assert!(inside.clone().count() >= 2);
        for tone in inside {
            assert!(!tone.on_click);
        }
        assert_eq!(judge(measured, &limits).faults, []);
        let whose = |id| measured.notes.iter().position(|note| Some(note.id) == id);
        let faults = judge(&found[0].measured, &limits).faults.into_iter();
        faults
            .filter_map(|fault| Some((fault.kind, whose(fault.id)?)))
            .collect()
    };
    // begun 60 ms early, or as much late, its tones still near the rung
    for by in [-0.06, 0.04] {
        assert_eq!(told(&[first], by), [], "{by}");
    }
    // the whole of it, late with its landing
    let late = told(&[first, first + 1, first + 2, landing], 0.12);
    assert_eq!(late, [(FaultKind::Late, landing)]);
    // real time asks the same of its landing, and neither asks when it began
    let early = told(&[first, first + 1, first + 2, landing], -0.12);
    assert_eq!(early, [(FaultKind::Early, landing)]);
}

/// Where the first gracenote on a place is left out, the second begins there; without this it would be
/// told as late.
#[test]
fn the_second_gracenote_on_a_place_begins_in_the_first_ones_stead() {
    let piece = piece("doubling-on-c", 3, 60);
    let at = (0..piece.notes.len())
        .find(|at| piece.notes[*at].begun_by > 1)
        .expect("a doubling has several gracenotes on its place");
    let first = at - piece.notes[at].begun_by;
    let mut heard = played(&piece, 1.0, 3);
    let gone = heard.remove(first);
    heard[first].start_s = gone.start_s;
    assert_eq!(
        kinds(&piece, &heard),
        [vec![FaultKind::Missing], vec![], vec![]]
    );
}

/// Without it one late repetition of few notes would tilt the line that the others are judged
/// by: the second half of the third is late, and nothing else.
#[test]
fn one_late_repetition_leaves_the_others_where_they_were() {
    let piece = piece("strike-on-c", 0, 92);
    let mut heard = played(&piece, 1.0, 5);
    let count = piece.notes.len();
    for at in 2 * count + count / 2..3 * count {
        heard[at].start_s += 0.07;
        heard[at - 1].end_s = heard[at].start_s;
    }
    let found = align(&piece, &heard);
    assert!((found.pace - 1.0).abs() < 1e-3, "{}", found.pace);
    let late = vec![FaultKind::Late];
    assert_eq!(
        kinds(&piece, &heard),
        [vec![], vec![], late, vec![], vec![]]
    );
}

/// Without it any music at all would be judged by the drill.
#[test]
fn another_tune_is_no_repetition() {
    let piece = grip();
    let heard: Vec<HeardNote> = (0..40)
        .map(|at| {
            let start = f64::from(at) * 0.37;
            let note = [Note::F, Note::HighG, Note::C, Note::HighA][at as usize % 4];
            tone(note, start, start + 0.37)
        })
        .collect();
    assert_eq!(align(&piece, &heard).repetitions, []);
    assert_eq!(align(&piece, &[]).repetitions, []);
}

/// Without it a long recording would slide out of its grid: two clocks that differ by 500 parts
/// in a million, over ten minutes, are neither late nor lost.
#[test]
fn clocks_that_drift_apart_are_no_fault() {
    let piece = grip();
    let mut heard = played(&piece, 1.0, 40);
    for note in &mut heard {
        note.start_s *= 1.0005;
        note.end_s *= 1.0005;
    }
    let found = align(&piece, &heard);
    assert_eq!(found.repetitions.len(), 40);
    assert!((found.pace - 1.0005).abs() < 1e-5, "{}", found.pace);
    assert_eq!(kinds(&piece, &heard), vec![Vec::new(); 40]);
}

/// Without it a break in the playing would end the listening.
#[test]
fn playing_that_begins_anew_at_any_moment_is_found_again() {
    let piece = grip();
    let mut heard = played(&piece, 1.0, 3);
    let later = heard.last().expect("it was played").end_s + 3.21;
    heard.extend(played(&piece, later, 4));
    assert_eq!(kinds(&piece, &heard), vec![Vec::new(); 7]);
}

/// Without it a repetition that was never finished would count as not clean.
#[test]
fn what_was_cut_short_is_not_judged() {
    let piece = grip();
    let mut heard = played(&piece, 1.0, 3);
    heard.truncate(heard.len() - 2);
    if let Some(last) = heard.last_mut() {
        last.end_s = last.start_s + 0.1;
    }
    let found = align(&piece, &heard);
    assert_eq!((found.repetitions.len(), found.cut_short), (2, 1));
    assert_eq!(kinds(&piece, &heard), vec![Vec::new(); 2]);
}

/// Without it one missing gracenote would be told as a missing note as well.
#[test]
fn two_notes_that_ran_together_miss_only_what_is_between() {
    let piece = grip();
    let mut heard = played(&piece, 1.0, 2);
    let at = place(&piece, Note::B, NoteKind::Gracenote);
    heard[at - 1].end_s = heard[at + 1].end_s;
    heard.drain(at..at + 2);
    assert_eq!(kinds(&piece, &heard), [vec![FaultKind::Missing], vec![]]);
}

/// Without it a doubling begun early on a click would make the plain notes beside it late: two of
/// four notes moved, and only they are told, by the movement.
#[test]
fn doublings_begun_early_leave_the_plain_notes_where_they_were() {
    let piece = piece("doubling-on-e", 3, 60);
    let begins: Vec<usize> = (0..piece.notes.len())
        .filter(|at| piece.notes[*at].begun_by > 1)
        .map(|at| at - piece.notes[at].begun_by)
        .collect();
    assert_eq!(begins.len(), 2);
    let mut heard = played(&piece, 1.0, 3);
    for first in &begins {
        // all of it, so that the note itself stands on the click
        let closing =
            (*first..piece.notes.len()).find(|at| piece.notes[*at].part == NoteKind::Melody);
        for at in *first..=closing.expect("a doubling closes") {
            move_border(&mut heard, at, -0.125);
        }
    }
    let found = align(&piece, &heard).repetitions;
    let verdict = judge(&found[0].measured, &Thresholds::default());
    let told: Vec<&str> = verdict
        .faults
        .iter()
        .map(|fault| fault.words.as_str())
        .collect();
    assert_eq!(
        told,
        [
            "the doubling on E in bar 1 began 125 ms before the click",
            "the doubling on E in bar 2 began 125 ms before the click"
        ]
    );
    for later in &found[1..] {
        assert_eq!(judge(&later.measured, &Thresholds::default()).faults, []);
    }
}

/// Without it a closing note that is held through the breath into the next repetition, because its
/// first gracenote is missing, would be told as a missing note as well.
#[test]
fn a_note_held_through_the_breath_misses_only_the_gracenote() {
    let piece = piece("strike-on-c", 0, 68);
    let mut heard = played(&piece, 1.0, 3);
    let again = piece.notes.len();
    assert_eq!(heard[again].note, Note::HighG);
    heard[again - 1].end_s = heard[again + 1].end_s;
    heard.drain(again..again + 2);
    assert_eq!(
        kinds(&piece, &heard),
        [vec![], vec![FaultKind::Missing], vec![]]
    );
}

/// The pace of the playing is told as it was, also where it is farther from the tempo asked for than
/// any two clocks differ, and each repetition is still found.
#[test]
fn the_pace_is_told_and_followed() {
    let piece = grip();
    for pace in [0.99, 0.996, 1.0, 1.004, 1.01] {
        let heard: Vec<HeardNote> = played(&piece, 1.0, 8)
            .iter()
            .map(|note| tone(note.note, note.start_s * pace, note.end_s * pace))
            .collect();
        let found = align(&piece, &heard);
        assert_eq!(found.repetitions.len(), 8, "at {pace}");
        assert!(
            (found.pace - pace).abs() < 0.002,
            "at {pace}: {}",
            found.pace
        );
    }
}

/// Each repetition is told to begin where it began, also where it begins with the cycle in which its
/// place is voted for and the notes lie a little to both sides of it.
#[test]
fn repetitions_begin_where_they_began() {
    let piece = grip();
    let cycle = piece.cycle.0;
    let starts = (0..8).map(|eighth| f64::from(eighth) * cycle / 8.0).chain([
        0.003,
        cycle - 0.003,
        2.0 * cycle + 0.001,
    ]);
    for start in starts {
        let mut heard = played(&piece, start, 4);
        for at in 1..heard.len() {
            let by = if at % 2 == 0 { 0.005 } else { -0.005 };
            move_border(&mut heard, at, by);
        }
        let found = align(&piece, &heard);
        assert_eq!(
            (found.repetitions.len(), found.cut_short),
            (4, 0),
            "{start}"
        );
        assert!((found.pace - 1.0).abs() < 1e-3, "{start}: {}", found.pace);
        let placed = places(&piece, &heard);
        for (number, repetition) in found.repetitions.iter().enumerate() {
            let off = repetition.start.0 - (start + number as f64 * cycle);
            assert!(off.abs() < 0.006, "{start}, {number}: {off} s off");
            assert_eq!(placed[number].1, repetition.pairs);
            assert_eq!(placed[number].0, repetition.start.0);
        }
    }
}
