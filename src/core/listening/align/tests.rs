//! How repetitions are followed, and whose lead is taken off them, worked out by hand.

use super::super::by_hand::written;
use super::*;
use crate::chanter::Note;
use NoteKind::{Gracenote, Melody};

/// Four crotchets at a tempo with a D gracenote before the second, and four beats of breath: a beat of
/// `beat_s` seconds.
fn bar(beat_s: f64) -> ExpectedStage {
    let at = |note: Note, beat: f64| written(Melody, note, 1, beat * beat_s, beat_s);
    let mut notes = vec![
        at(Note::LowA, 0.0),
        written(Gracenote, Note::D, 1, beat_s, 0.04),
        Expected {
            start_s: beat_s + 0.04,
            length_s: beat_s - 0.04,
            begun_by: 1,
            ..at(Note::B, 1.0)
        },
        at(Note::C, 2.0),
        at(Note::E, 3.0),
    ];
    notes.sort_by(|one, other| one.start_s.total_cmp(&other.start_s));
    ExpectedStage {
        notes,
        beat: Seconds(beat_s),
        cycle: Seconds(8.0 * beat_s),
        length: Seconds(4.0 * beat_s),
    }
}

/// The piece played once, each note so many seconds off.
fn once(piece: &ExpectedStage, start: f64, off: &[f64]) -> Vec<HeardNote> {
    let begins = |at: usize| {
        let by = off.get(at).copied().unwrap_or(0.0);
        start + piece.notes[at].start_s + by
    };
    let ends = |at: usize| match piece.notes.get(at + 1) {
        Some(_) => begins(at + 1),
        None => begins(at) + piece.notes[at].length_s,
    };
    let note =
        |at: usize| HeardNote::known(piece.notes[at].note, Seconds(begins(at)), Seconds(ends(at)));
    (0..piece.notes.len()).map(note).collect()
}

/// The piece played at each of these moments.
fn at_each(piece: &ExpectedStage, starts: &[f64]) -> Vec<HeardNote> {
    starts
        .iter()
        .flat_map(|start| once(piece, *start, &[]))
        .collect()
}

/// Each repetition's run and number in it.
fn runs(piece: &ExpectedStage, starts: &[f64]) -> Vec<(usize, i64)> {
    let heard = at_each(piece, starts);
    let found = rows(piece, &heard);
    for (row, start) in found.iter().zip(starts) {
        let off = row.start_s - start;
        assert!(off.abs() < 1e-6, "{start}: {off} s off");
    }
    found.iter().map(|row| (row.run, row.cycle)).collect()
}

/// `count` repetitions from a moment on, each so many seconds after the one before.
fn every(from: f64, seconds: f64, count: usize) -> Vec<f64> {
    (0..count).map(|at| from + at as f64 * seconds).collect()
}

/// A player who is a little slower or quicker than the click is followed: each repetition of 4 s comes
/// 60 ms later than asked for, or earlier, and after twelve he would be most of a second away. With a
/// hundred milliseconds or 0.15 of a beat at a time he would have begun anew.
#[test]
fn a_player_beside_the_tempo_is_followed() {
    let piece = bar(0.5);
    let one_run: Vec<(usize, i64)> = (0..12).map(|at| (0, at)).collect();
    for by in [-0.06, -0.03, 0.0, 0.03, 0.06] {
        assert_eq!(runs(&piece, &every(3.0, 4.0 + by, 12)), one_run, "{by}");
    }
    // of the same beat with a longer breath: the share of the cycle counts, and not the milliseconds
    let mut long = bar(0.5);
    long.cycle = Seconds(10.0);
    assert_eq!(runs(&long, &every(3.0, 10.08, 12)), one_run);
}

/// One repetition out of time moves nothing: the median of the last five holds where two were late.
#[test]
fn two_late_repetitions_do_not_lead_the_next_astray() {
    let piece = bar(0.5);
    let mut starts = every(3.0, 4.0, 10);
    for late in [5, 6] {
        starts[late] += 0.09;
    }
    let one_run: Vec<(usize, i64)> = (0..10).map(|at| (0, at)).collect();
    assert_eq!(runs(&piece, &starts), one_run);
}

/// A repetition that was left out is counted, and one that was all wrong too.
#[test]
fn a_repetition_left_out_leaves_its_number() {
    let piece = bar(0.5);
    let mut starts = every(3.0, 4.0, 5);
    starts.remove(2);
    assert_eq!(runs(&piece, &starts), [(0, 0), (0, 1), (0, 3), (0, 4)]);
    // where the first of all was, only some of it was right
    let mut heard = at_each(&piece, &every(3.0, 4.0, 3));
    for note in &mut heard[2..5] {
        note.note = Note::F;
    }
    let found = rows(&piece, &heard);
    let numbers: Vec<(usize, i64)> = found.iter().map(|row| (row.run, row.cycle)).collect();
    assert_eq!(numbers, [(0, 1), (0, 2)]);
}

/// Who hesitates by nearly half a beat, or stops for a while, begins anew there: that is no change of
/// tempo. What lies no farther off than 0.15 of a beat, or a tenth of a second, is no new beginning.
#[test]
fn a_hesitation_is_a_new_beginning_and_no_slower_tempo() {
    for (beat_s, near, far) in [(0.5, 0.09, 0.2), (2.0, 0.25, 0.4)] {
        let piece = bar(beat_s);
        let starts = |by: f64| {
            let all = every(3.0, 8.0 * beat_s, 6);
            let late = (0..6).map(|at| all[at] + if at < 3 { 0.0 } else { by });
            late.collect::<Vec<f64>>()
        };
        let numbers = |by: f64| -> Vec<usize> {
            let numbers = runs(&piece, &starts(by)).into_iter();
            numbers.map(|(run, _)| run).collect()
        };
        assert_eq!(numbers(near), [0; 6], "{beat_s}");
        assert_eq!(numbers(far), [0, 0, 0, 1, 1, 1], "{beat_s}");
        let pace = align(&piece, &at_each(&piece, &starts(far))).pace;
        assert!((pace - 1.0).abs() < 1e-9, "{pace}");
    }
    // three cycles and a third of silence
    let piece = bar(0.5);
    let starts = [every(3.0, 4.0, 3), every(24.4, 4.0, 3)].concat();
    let found = runs(&piece, &starts);
    assert_eq!(found, [(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2)]);
}

/// A new beginning is counted from its own first repetition, also where the one before fell apart in the
/// middle: four blips stand for its second half, and nearly a beat too late it is begun anew. And where no
/// breath parts two repetitions, nothing is looked for before the first.
#[test]
fn a_new_beginning_is_counted_from_its_own_first_repetition() {
    let piece = bar(0.5);
    let mut heard = at_each(&piece, &every(3.0, 4.0, 3));
    // the C and the E of the third
    heard.truncate(13);
    heard[12].end_s = 11.8;
    for at in [11.9, 11.95, 12.0, 12.5] {
        heard.push(HeardNote::known(
            Note::LowG,
            Seconds(at),
            Seconds(at + 0.02),
        ));
    }
    heard.extend(once(&piece, 15.8, &[]));
    let found = rows(&piece, &heard);
    let numbers: Vec<(usize, i64)> = found.iter().map(|row| (row.run, row.cycle)).collect();
    assert_eq!(numbers, [(0, 0), (0, 1), (0, 2), (1, 0)]);
    let close = ExpectedStage {
        cycle: Seconds(2.0),
        ..piece
    };
    assert_eq!(runs(&close, &every(3.0, 2.0, 3)), [(0, 0), (0, 1), (0, 2)]);
}

/// Four times two repetitions, each pair one per cent slower than asked for: that is the pace, and the
/// stops between them are none of it.
#[test]
fn the_pace_is_that_of_the_playing_and_not_of_the_stops() {
    let piece = bar(0.5);
    let starts: Vec<f64> = (0..4)
        .flat_map(|run| every(3.0 + 21.3 * f64::from(run), 4.04, 2))
        .collect();
    let pace = align(&piece, &at_each(&piece, &starts)).pace;
    assert!((pace - 1.01).abs() < 1e-6, "{pace}");
}

/// Beyond four per cent it is another tempo: of two beats at 60 that follow each other without a breath one
/// pair in 2.08 s is followed, and one in 2.14 s is not, although the first is not far off.
#[test]
fn beyond_the_pace_it_is_another_tempo() {
    let piece = ExpectedStage {
        cycle: Seconds(2.0),
        ..two(false)
    };
    let runs = |seconds: f64| {
        let found = runs(&piece, &every(3.0, seconds, 9));
        assert_eq!(found.len(), 9, "{seconds}");
        found.iter().filter(|(run, _)| *run == 0).count()
    };
    assert_eq!(runs(2.08), 9);
    assert_eq!(runs(1.92), 9);
    assert!(runs(2.14) < 9);
}

/// Other music for three minutes and then the piece: it is found where it begins.
#[test]
fn the_piece_is_found_behind_other_music() {
    let piece = bar(0.5);
    let other = (0..300_u16).map(|at| {
        let note = [Note::F, Note::HighG, Note::HighA][usize::from(at) % 3];
        let start = 1.0 + 0.6 * f64::from(at);
        HeardNote::known(note, Seconds(start), Seconds(start + 0.6))
    });
    let mut heard: Vec<HeardNote> = other.collect();
    heard.extend(at_each(&piece, &every(183.0, 4.0, 3)));
    let found = rows(&piece, &heard);
    let starts: Vec<f64> = found.iter().map(|row| row.start_s).collect();
    assert_eq!(starts, [183.0, 187.0, 191.0]);
}

/// How like the piece it is: the share of its notes that are themselves, less what is too many of them;
/// below a fifth it is another piece that has some notes of this.
#[test]
fn what_is_unlike_the_piece_is_another() {
    let piece = bar(0.5);
    let two = at_each(&piece, &[3.0, 7.0]);
    let near = |heard: &[HeardNote], expected: f64| {
        let found = likeness(&piece, heard);
        assert!((found - expected).abs() < 1e-9, "{found} for {expected}");
    };
    near(&two, 1.0);
    near(&[], 0.0);
    // one of ten is another note
    let mut wrong = two.clone();
    wrong[3].note = Note::F;
    near(&wrong, 0.9);
    // noises in the held notes
    let with = |noises: usize| {
        let mut heard = two.clone();
        for at in 0..noises {
            let start = 3.05 + 4.0 * (at % 2) as f64 + 0.2 * (at / 2) as f64;
            heard.push(HeardNote::known(
                Note::HighA,
                Seconds(start),
                Seconds(start + 0.02),
            ));
        }
        heard.sort_by(|one, other| one.start_s.total_cmp(&other.start_s));
        heard
    };
    near(&with(1), 0.9);
    near(&with(7), 0.3);
    assert_eq!(align(&piece, &with(7)).repetitions.len(), 2);
    near(&with(9), 0.1);
    assert_eq!(align(&piece, &with(9)).repetitions.len(), 0);
}

/// A try at the piece has most of its notes near their places: three of four within 0.3 of a beat, which
/// is 150 ms at 120; where two are farther off it is another tempo.
#[test]
fn most_notes_lie_near_their_places() {
    let piece = bar(0.5);
    let with = |off: &[f64]| row(&piece, &once(&piece, 3.0, off), 3.0, 0, 0).is_some();
    assert!(with(&[]));
    assert!(with(&[0.0, 0.0, 0.0, 0.0, 0.2]));
    assert!(with(&[0.0, 0.0, 0.0, 0.14, 0.14]));
    assert!(!with(&[0.0, 0.0, 0.0, 0.2, 0.2]));
}

/// A repetition is whole where something sounds at its first and at its closing note, up to a quarter of
/// a beat late: half a second at 30. What ends as the closing note is due is not that note.
#[test]
fn what_lacks_its_first_or_its_closing_note_is_not_whole() {
    let piece = bar(2.0);
    let pairs: Vec<Option<usize>> = (0..5).map(Some).collect();
    let with = |first: f64, closing: f64| {
        let heard = once(&piece, 16.0, &[first, 0.0, 0.0, 0.0, closing]);
        let row = Row {
            start_s: 16.0,
            cycle: 0,
            run: 0,
            pairs: pairs.clone(),
            extra: Vec::new(),
        };
        whole(&piece, &heard, &row)
    };
    assert!(with(0.0, 0.0) && with(0.45, 0.0) && !with(0.55, 0.0));
    let closing = |ends: f64, begins: f64| {
        let mut heard = once(&piece, 16.0, &[]);
        heard[3].end_s = 22.0 + ends;
        heard[4].start_s = 22.0 + begins;
        let row = rows(&piece, &once(&piece, 16.0, &[])).remove(0);
        whole(&piece, &heard, &row)
    };
    assert!(closing(0.0, 0.45));
    assert!(!closing(0.0, 0.55));
    assert!(closing(0.1, 0.55), "the note before sounds on");
    // exactly half a second late is too late: a stretch of time has its beginning and not its end
    assert!(!with(0.5, 0.0) && !closing(0.0, 0.5));
    // at 120 a quarter of a beat would be 125 ms, and 150 are let pass
    let quick = bar(0.5);
    let heard = once(&quick, 16.0, &[0.14]);
    let row = |late: f64| Row {
        start_s: 16.0 - late,
        cycle: 0,
        run: 0,
        pairs: pairs.clone(),
        extra: Vec::new(),
    };
    assert!(whole(&quick, &heard, &row(0.0)) && !whole(&quick, &heard, &row(0.02)));
}

/// Two melody notes a beat apart and four beats from one repetition to the next, at 60; a movement leads
/// to the second where `after_movement`.
fn two(after_movement: bool) -> ExpectedStage {
    let grip = crate::movement::find("grip").ok();
    assert!(grip.is_some());
    ExpectedStage {
        notes: vec![
            written(Melody, Note::LowA, 1, 0.0, 1.0),
            Expected {
                movement: grip.filter(|_| after_movement),
                ..written(Melody, Note::E, 1, 1.0, 1.0)
            },
        ],
        beat: Seconds(1.0),
        cycle: Seconds(4.0),
        length: Seconds(2.0),
    }
}

/// Where repetitions begin whose two notes are so many seconds off; none where one was not heard.
fn begun(piece: &ExpectedStage, off: &[[Option<f64>; 2]]) -> (Vec<f64>, f64) {
    let mut heard = Vec::new();
    let rows: Vec<Row> = (0_i32..)
        .zip(off)
        .map(|(cycle, off)| {
            let start_s = 20.0 + 4.0 * f64::from(cycle);
            let pair = |at: usize| {
                let begins = start_s + piece.notes[at].start_s + off[at]?;
                let note = piece.notes[at].note;
                heard.push(HeardNote::known(
                    note,
                    Seconds(begins),
                    Seconds(begins + 0.5),
                ));
                Some(heard.len() - 1)
            };
            Row {
                start_s,
                cycle: cycle.into(),
                run: 0,
                pairs: [0, 1].map(pair).to_vec(),
                extra: Vec::new(),
            }
        })
        .collect();
    let (starts, pace) = fitted(piece, &heard, &rows);
    let off = (0_i32..)
        .zip(starts)
        .map(|(cycle, start)| start - 20.0 - 4.0 * f64::from(cycle));
    (off.collect(), pace)
}

#[track_caller]
fn leads(found: &(Vec<f64>, f64), at: usize, lead: f64) {
    assert!((found.1 - 1.0).abs() < 1e-9, "{}", found.1);
    assert!((found.0[at] - lead).abs() < 1e-9, "{:?}", found.0);
}

/// What a repetition's own notes agree on is its lead, also where all its neighbours have another: their
/// notes weigh a fifth of its own, so that four times two are 1.6 against 2.
#[test]
fn a_repetitions_own_notes_say_where_it_began() {
    let (on, late) = ([Some(0.0); 2], [Some(0.1); 2]);
    let found = begun(&two(false), &[on, on, late, on, on]);
    leads(&found, 2, 0.1);
    leads(&found, 1, 0.0);
    // 20 ms between them agree: the middle
    leads(&begun(&two(false), &[[Some(0.0), Some(0.02)]]), 0, 0.01);
    // a tenth of a second does not, and the first note counts
    leads(&begun(&two(false), &[[Some(0.0), Some(0.1)]]), 0, 0.0);
    // a note that a movement leads to weighs less than a plain one
    leads(&begun(&two(true), &[[Some(0.0), Some(0.1)]]), 0, 0.0);
    let turned = ExpectedStage {
        notes: two(true).notes.into_iter().rev().collect(),
        ..two(true)
    };
    leads(&begun(&turned, &[[Some(0.1), Some(0.0)]]), 0, 0.0);
}

/// Where a repetition's own notes do not agree the neighbours decide, two on each side.
#[test]
fn neighbours_decide_where_a_repetition_does_not_agree_with_itself() {
    let piece = two(false);
    let (on, late) = ([Some(0.0); 2], [Some(0.1); 2]);
    let torn = [Some(0.0), Some(0.1)];
    // late: 1 and three times a fifth; on its place: 1 and four times a fifth
    let one = [Some(0.1), None];
    leads(&begun(&piece, &[late, one, torn, on, on]), 2, 0.0);
    leads(&begun(&piece, &[on, on, torn, one, late]), 2, 0.0);
    // and the other way round
    let one = [Some(0.0), None];
    leads(&begun(&piece, &[late, late, torn, one, on]), 2, 0.1);
    leads(&begun(&piece, &[on, one, torn, late, late]), 2, 0.1);
    // the first has neighbours on one side, and the fourth is none of them
    leads(&begun(&piece, &[torn, late, one, on, on]), 0, 0.1);
    leads(&begun(&piece, &[on, on, one, late, torn]), 4, 0.1);
}

/// Where the written period fits as well as another, nothing says that the tempo was another: the second of
/// two repetitions began an eighth of a second late, and its second note was on its place.
#[test]
fn in_doubt_the_tempo_is_the_written_one() {
    let piece = two(false);
    let (mut heard, mut rows) = (Vec::new(), Vec::new());
    for (cycle, late) in [(0, 0.0), (1, 0.125)] {
        let start_s = 20.0 + 4.0 * f64::from(cycle) + late;
        for (at, off) in [(0, 0.0), (1, -late)] {
            let begins = start_s + f64::from(at) + off;
            let note = piece.notes[usize::from(at == 1)].note;
            heard.push(HeardNote::known(
                note,
                Seconds(begins),
                Seconds(begins + 0.5),
            ));
        }
        rows.push(Row {
            start_s,
            cycle: cycle.into(),
            run: 0,
            pairs: vec![Some(heard.len() - 2), Some(heard.len() - 1)],
            extra: Vec::new(),
        });
    }
    let sums = [4.0, 4.125].map(|slope| off_the_line(&piece, &heard, &rows, slope));
    assert_eq!(sums, [0.125, 0.125]);
    assert_eq!(fitted(&piece, &heard, &rows).1, 1.0);
}

/// How far the notes lie from a line: a repetition begun 50 ms late whose second note came 50 ms early in
/// it has that note on the line.
#[test]
fn notes_are_held_against_the_line_and_not_against_their_repetition() {
    let piece = two(false);
    let mut heard = Vec::new();
    let mut rows = Vec::new();
    for (cycle, late) in [(0, 0.0), (1, 0.05), (2, 0.0)] {
        let start_s = 20.0 + 4.0 * f64::from(cycle) + late;
        for (at, off) in [(0, 0.0), (1, -late)] {
            let begins = start_s + f64::from(at) + off;
            heard.push(HeardNote::known(
                Note::E,
                Seconds(begins),
                Seconds(begins + 0.5),
            ));
        }
        rows.push(Row {
            start_s,
            cycle: cycle.into(),
            run: 0,
            pairs: vec![Some(heard.len() - 2), Some(heard.len() - 1)],
            extra: Vec::new(),
        });
    }
    let found = off_the_line(&piece, &heard, &rows, 4.0);
    assert!((found - 0.05).abs() < 1e-9, "{found}");
}
