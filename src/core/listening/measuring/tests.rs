//! Measures worked out by hand. The repetition begins 10 s into the sound, a beat is a second.

use super::*;
use crate::chanter::Note;
use crate::listening::by_hand::written;
use crate::listening::piece::Expected;
use crate::units::Cents;
use NoteKind::{Gracenote, Melody};

/// Where the repetition begins in the sound.
const START: f64 = 10.0;

/// A C that a strike parts in two, then E and the closing low A in the second bar: five seconds, and
/// two of breath.
fn strike() -> ExpectedStage {
    ExpectedStage {
        notes: vec![
            written(Melody, Note::C, 1, 0.0, 1.0),
            written(Gracenote, Note::LowG, 1, 1.0, 0.05),
            Expected {
                begun_by: 1,
                place_s: 1.0,
                ..written(Melody, Note::C, 1, 1.05, 0.95)
            },
            written(Melody, Note::E, 1, 2.0, 2.0),
            written(Melody, Note::LowA, 2, 4.0, 1.0),
        ],
        beat: Seconds(1.0),
        cycle: Seconds(7.0),
        length: Seconds(5.0),
    }
}

/// A note heard, in seconds from the beginning of the repetition.
fn tone(note: Note, from: f64, to: f64) -> HeardNote {
    HeardNote::known(note, Seconds(START + from), Seconds(START + to))
}

/// What was heard where it was played as it is written.
fn exactly(piece: &ExpectedStage) -> Vec<HeardNote> {
    let notes = piece.notes.iter();
    notes
        .map(|note| tone(note.note, note.start_s, note.start_s + note.length_s))
        .collect()
}

fn measured(piece: &ExpectedStage, heard: &[HeardNote], pairs: &[Option<usize>]) -> Measurement {
    let extra: Vec<usize> = (0..heard.len())
        .filter(|at| !pairs.contains(&Some(*at)))
        .collect();
    measure(piece, heard, START, pairs, &extra)
}

/// The extra sounds: which note, how many milliseconds, after which note of the piece, in which bar.
fn extras(measured: &Measurement) -> Vec<(Note, f64, Option<u32>, u32)> {
    let told = measured.extra.iter();
    told.map(|extra| {
        let length = extra.length_ms.0.round();
        (extra.note, length, extra.after, extra.bar)
    })
    .collect()
}

fn sounded(measured: &Measurement) -> Vec<Option<Note>> {
    measured.notes.iter().map(|note| note.heard).collect()
}

/// A gracenote 20 ms late and 15 ms too long: its own beginning and length, and its melody note begins
/// where the gracenote did. Only a melody note has a place, and only one that was held has a pitch.
#[test]
fn a_late_gracenote_is_late_with_its_note() {
    let mut piece = strike();
    let mut heard = exactly(&piece);
    heard[0].end_s += 0.02;
    heard[1] = HeardNote {
        cents: Some(Cents(-30.0)),
        ..tone(Note::LowG, 1.02, 1.085)
    };
    heard[2] = HeardNote {
        cents: Some(Cents(4.0)),
        ..tone(Note::C, 1.085, 2.0)
    };
    let pairs: Vec<Option<usize>> = (0..5).map(Some).collect();
    let near = |found: Option<Milliseconds>, ms: f64| {
        found.is_some_and(|found| (found.0 - ms).abs() < 1e-6)
    };
    let found = measured(&piece, &heard, &pairs);
    let [first, gracenote, second, ..] = found.notes[..] else {
        panic!("five notes");
    };
    assert!(near(gracenote.offset_ms, 20.0) && near(gracenote.length_ms, 65.0));
    assert!(near(second.offset_ms, 20.0) && near(second.length_ms, 915.0));
    assert!(near(first.offset_ms, 0.0) && near(first.length_ms, 1020.0));
    assert!(near(second.place_ms, 1000.0));
    assert_eq!((gracenote.place_ms, gracenote.on_click), (None, false));
    assert_eq!((gracenote.cents, second.cents), (None, Some(Cents(4.0))));
    assert_eq!(found.extra, []);
    // without a metre no place is right or wrong
    piece.notes[2].placed = false;
    piece.notes[1].placed = false;
    let free = measured(&piece, &heard, &pairs).notes;
    assert_eq!((free[2].place_ms, free[2].offset_ms), (None, None));
    assert!(!free[2].on_click && free[1].place_ms.is_none());
    assert!(near(free[1].offset_ms, 20.0));
}

/// A blip of 10 ms in a held note is a noise, and the note goes on after it to where it really ended.
/// After a moment of silence it was ended, and what comes then is another sound; so is a sound of
/// another name.
#[test]
fn a_note_that_a_blip_cut_in_two_goes_on_after_it() {
    let piece = strike();
    let cut = |again: Note, gap: f64| {
        let mut heard = exactly(&piece);
        heard[3].end_s = START + 3.0;
        let blip = tone(Note::F, 3.0, 3.01);
        let rest = tone(again, 3.01 + gap, 4.0);
        heard.splice(4..4, [blip, rest]);
        let pairs = [0, 1, 2, 3, 6].map(Some);
        let found = measured(&piece, &heard, &pairs);
        let length = found.notes[3].length_ms.expect("it was heard").0.round();
        (length, extras(&found))
    };
    let blip = (Note::F, 10.0, Some(3), 1);
    assert_eq!(cut(Note::E, 0.0), (2000.0, vec![blip]));
    let other = |note: Note, length: f64| vec![blip, (note, length, Some(3), 1)];
    assert_eq!(cut(Note::E, 0.05), (1000.0, other(Note::E, 940.0)));
    assert_eq!(cut(Note::B, 0.0), (1000.0, other(Note::B, 990.0)));
    // the note itself and no blip: it was silent for a moment
    let mut heard = exactly(&piece);
    heard[3].end_s = START + 3.0;
    heard.insert(4, tone(Note::E, 3.2, 4.0));
    let found = measured(&piece, &heard, &[0, 1, 2, 3, 5].map(Some));
    assert_eq!(extras(&found), []);
    // as it was, but paired with its later part
    let found = measured(&piece, &heard, &[0, 1, 2, 4, 5].map(Some));
    assert_eq!(extras(&found), []);
}

/// What is no longer than the limit is within it: a silence of 10 ms ends no note, and a noise that begins
/// 60 ms before the first note belongs to it. The repetition begins where such times are exact.
#[test]
fn silences_and_noises_may_be_as_long_as_their_limits() {
    let piece = ExpectedStage {
        notes: vec![
            written(Melody, Note::E, 1, 0.0, 2.0),
            written(Melody, Note::LowA, 1, 2.0, 1.0),
        ],
        ..strike()
    };
    let tone = |note: Note, from: f64, to: f64| HeardNote::known(note, Seconds(from), Seconds(to));
    let heard = [
        tone(Note::E, -1.0, -0.5),
        tone(Note::F, -0.5, 0.0),
        tone(Note::E, 0.01, 1.0),
        tone(Note::LowA, 1.0, 2.0),
    ];
    let found = measure(&piece, &heard, -1.0, &[Some(0), Some(3)], &[1, 2]);
    assert_eq!(found.notes[0].length_ms, Some(Milliseconds(2000.0)));
    assert_eq!(found.extra.len(), 1);
    // 60 ms before the first, and 10 ms after what sounded before
    let heard = [
        tone(Note::LowA, -1.0, -0.01),
        tone(Note::F, 0.0, 0.06),
        tone(Note::E, 0.06, 2.0),
        tone(Note::LowA, 2.0, 3.0),
    ];
    let found = measure(&piece, &heard, 0.06, &[Some(2), Some(3)], &[0, 1]);
    assert_eq!(extras(&found), [(Note::F, 60.0, None, 1)]);
}

/// A noise is told by the note before it and in that note's bar. One that leads to the first note is of
/// the repetition where it is no longer than a gracenote may be and hangs on to what sounded before; what
/// sounds in the breath is not.
#[test]
fn a_noise_belongs_to_the_repetition_it_was_made_in() {
    let piece = strike();
    let with = |noise: HeardNote, before: Option<HeardNote>| {
        let mut heard = exactly(&piece);
        heard.push(noise);
        heard.extend(before);
        heard.sort_by(|one, other| one.start_s.total_cmp(&other.start_s));
        let place = |note: &Expected| {
            let begins = START + note.start_s;
            heard.iter().position(|heard| heard.start_s == begins)
        };
        let pairs: Vec<Option<usize>> = piece.notes.iter().map(place).collect();
        extras(&measured(&piece, &heard, &pairs))
    };
    let closing = |to: f64| Some(tone(Note::E, -3.0, to));
    let low = |from: f64, to: f64| tone(Note::LowG, from, to);
    let first = [(Note::LowG, 30.0, None, 1)];
    assert_eq!(with(low(-0.03, 0.0), closing(-0.03)), first);
    // longer ago than a gracenote lasts; after a silence; with nothing before it
    assert_eq!(with(low(-0.08, 0.0), closing(-0.08)), []);
    assert_eq!(with(low(-0.03, 0.0), closing(-0.06)), []);
    assert_eq!(with(low(-0.03, 0.0), None), []);
    // in the middle, in the second bar, and in the breath
    assert_eq!(with(low(3.97, 4.0), None), [(Note::LowG, 30.0, Some(3), 1)]);
    assert_eq!(with(low(4.9, 4.93), None), [(Note::LowG, 30.0, Some(4), 2)]);
    assert_eq!(with(low(5.0, 5.03), None), []);
    assert_eq!(with(low(6.0, 6.03), None), []);
}

/// One long note where a strike should part two: the strike is missing, and the note after it is not,
/// whichever of the two the long note was taken for.
#[test]
fn a_note_whose_strike_is_missing_is_not_missing_too() {
    let piece = strike();
    let (c, e, a) = (Some(Note::C), Some(Note::E), Some(Note::LowA));
    let rest = [tone(Note::E, 2.0, 4.0), tone(Note::LowA, 4.0, 5.0)];
    let with = |long: HeardNote, second: bool| {
        let heard = [&[long][..], &rest].concat();
        let (one, two) = if second {
            (None, Some(0))
        } else {
            (Some(0), None)
        };
        sounded(&measured(
            &piece,
            &heard,
            &[one, None, two, Some(1), Some(2)],
        ))
    };
    let long = tone(Note::C, 0.0, 2.0);
    assert_eq!(with(long, false), [c, None, c, e, a]);
    assert_eq!(with(long, true), [c, None, c, e, a]);
    // it has to sound where the other would have: its first 30 ms, the strike's 50 counted in
    assert_eq!(with(tone(Note::C, 0.0, 1.07), false), [c, None, None, e, a]);
    assert_eq!(with(tone(Note::C, 0.0, 1.09), false), [c, None, c, e, a]);
    assert_eq!(with(tone(Note::C, 0.02, 2.0), true), [c, None, c, e, a]);
    assert_eq!(with(tone(Note::C, 0.04, 2.0), true), [None, None, c, e, a]);
    // what ends at a moment does not sound there: of a note of a 32nd of a second a 64th
    let mut short = strike();
    short.notes[1].length_s = 0.0;
    short.notes[2] = written(Melody, Note::C, 1, 1.0, 0.031_25);
    let ends_at = |to: f64, held: bool| {
        let from = if held { -2.0 } else { 0.0 };
        let heard = [&[tone(Note::C, from, to)][..], &rest].concat();
        let first = (!held).then_some(0);
        sounded(&measured(
            &short,
            &heard,
            &[first, None, None, Some(1), Some(2)],
        ))[2]
    };
    for held in [false, true] {
        assert_eq!(ends_at(1.015_625, held), None);
        assert_eq!(ends_at(1.02, held), c);
    }
    // another note is no C, however long
    let d = Some(Note::D);
    let wrong = tone(Note::D, 0.0, 2.0);
    assert_eq!(with(wrong, false), [d, None, None, e, a]);
    assert_eq!(with(wrong, true), [None, None, d, e, a]);
}

/// A missing note is missing where what sounds on is another note, or stands right beside it with nothing
/// written between: two equal notes in a row must be separated by a gracenote (National Museums Scotland,
/// 000-000-580-040-C).
#[test]
fn a_missing_note_is_missing() {
    let mut piece = strike();
    let (c, e, a) = (Some(Note::C), Some(Note::E), Some(Note::LowA));
    // the second half of the strike is a D: the C before it does not run on into that
    piece.notes[2].note = Note::D;
    let heard = [
        tone(Note::C, 0.0, 2.0),
        tone(Note::E, 2.0, 4.0),
        tone(Note::LowA, 4.0, 5.0),
    ];
    let pairs = [Some(0), None, None, Some(1), Some(2)];
    let found = measured(&piece, &heard, &pairs);
    assert_eq!(sounded(&found), [c, None, None, e, a]);
    // two Es side by side
    piece.notes[2] = written(Melody, Note::E, 1, 1.05, 0.95);
    let heard = [
        tone(Note::C, 0.0, 1.0),
        tone(Note::E, 1.0, 4.0),
        tone(Note::LowA, 4.0, 5.0),
    ];
    for (second, third) in [(Some(1), None), (None, Some(1))] {
        let pairs = [Some(0), None, second, third, Some(2)];
        let found = sounded(&measured(&piece, &heard, &pairs));
        let told = (second.and(e), third.and(e));
        assert_eq!(found, [c, None, told.0, told.1, a]);
    }
    // a sound that could be the note is an extra one where others were told before and after it
    let piece = strike();
    let heard = exactly(&piece);
    let pairs = [Some(0), Some(1), Some(2), None, Some(4)];
    let found = measured(&piece, &heard, &pairs);
    assert_eq!(sounded(&found)[3], None);
    assert_eq!(extras(&found), [(Note::E, 2000.0, Some(2), 1)]);
}

/// What the last note of the repetition before was held into: nothing is missing but what should have
/// parted the two. The first note of all has nothing before it that could.
#[test]
fn a_note_held_through_the_breath_is_heard_where_a_gracenote_is_written() {
    let mut piece = strike();
    let (c, e, a) = (Some(Note::C), Some(Note::E), Some(Note::LowA));
    let rest = [tone(Note::E, 2.0, 4.0), tone(Note::LowA, 4.0, 5.0)];
    let held = |piece: &ExpectedStage, note: Note| {
        let heard = [&[tone(note, -2.0, 2.0)][..], &rest].concat();
        let pairs = [None, None, None, Some(1), Some(2)];
        sounded(&measured(piece, &heard, &pairs))
    };
    assert_eq!(held(&piece, Note::C), [None, None, c, e, a]);
    assert_eq!(held(&piece, Note::D), [None, None, None, e, a]);
    piece.notes[2].note = Note::D;
    assert_eq!(held(&piece, Note::C), [None, None, None, e, a]);
}

/// How sure the ear is: each note that sounds in the repetition counts once, however long it is. What
/// ends as it begins and what begins as it ends is of another.
#[test]
fn confidence_is_the_mean_of_the_notes_that_sound_in_the_repetition() {
    let piece = strike();
    let sure = |note: HeardNote, confidence: f64| HeardNote { confidence, ..note };
    let heard = [
        sure(tone(Note::C, -2.0, 0.0), 0.1),
        sure(tone(Note::LowA, 0.0, 0.02), 0.4),
        sure(tone(Note::C, 0.02, 4.0), 1.0),
        sure(tone(Note::LowA, 4.0, 5.0), 0.7),
        sure(tone(Note::F, 5.0, 45.0), 0.2),
    ];
    let found = measured(&piece, &heard, &[Some(2), None, None, None, Some(3)]);
    let confidence = found.confidence.expect("something sounds");
    assert!((confidence - 0.7).abs() < 1e-9, "{confidence}");
    let nothing = measured(&piece, &heard[..1], &[None; 5]);
    assert_eq!(nothing.confidence, None);
    let later = measured(&piece, &heard[4..], &[None; 5]);
    assert_eq!(later.confidence, None);
}

/// Five crotchets at 120, each so many milliseconds off.
fn crotchets(off_ms: &[f64]) -> f64 {
    let names = [Note::LowA, Note::B, Note::C, Note::D, Note::E];
    let notes = (0..off_ms.len()).map(|at| {
        let start_s = 0.5 * at as f64;
        written(Melody, names[at % 5], 1, start_s, 0.5)
    });
    let piece = ExpectedStage {
        notes: notes.collect(),
        beat: Seconds(0.5),
        cycle: Seconds(5.0),
        length: Seconds(2.5),
    };
    let heard: Vec<HeardNote> = piece
        .notes
        .iter()
        .zip(off_ms)
        .map(|(note, off)| tone(note.note, note.start_s + off / 1e3, note.start_s + 0.5))
        .collect();
    let pairs: Vec<Option<usize>> = (0..off_ms.len()).map(Some).collect();
    measured(&piece, &heard, &pairs).drift_percent
}

/// Who comes 5 ms earlier with each half second is one per cent quicker, wherever he began; five notes say
/// so and four do not. One note far off is no change of tempo: of ten slopes six stay as they were.
#[test]
fn a_tempo_that_becomes_quicker_is_told_in_per_cent() {
    let near = |drift: f64, percent: f64| assert!((drift - percent).abs() < 1e-6, "{drift}");
    near(crotchets(&[0.0, -5.0, -10.0, -15.0, -20.0]), 1.0);
    near(crotchets(&[30.0, 35.0, 40.0, 45.0, 50.0]), -1.0);
    near(crotchets(&[0.0, -5.0, -10.0, -15.0, 60.0]), 1.0);
    near(crotchets(&[0.0, -5.0, 90.0, -15.0, -20.0]), 1.0);
    near(crotchets(&[0.0, -5.0, -10.0, -15.0]), 0.0);
}
