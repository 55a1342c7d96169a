//! Which note heard is which note written.

use super::*;

/// Without it a strike's two like notes would be taken for each other where the second one moved: what
/// stands between them tells which is which.
#[test]
fn like_notes_are_told_apart_by_what_is_between_them() {
    let piece = piece("strike-on-c", 0, 68);
    let mut heard = played(&piece, 1.0, 4);
    let strike = place(&piece, Note::LowG, NoteKind::Gracenote);
    let count = piece.notes.len();
    for (cycle, by) in [(0, 0.1), (1, -0.1)] {
        move_border(&mut heard, cycle * count + strike, by);
        move_border(&mut heard, cycle * count + strike + 1, by);
    }
    let missing = 2 * count + strike;
    heard[missing - 1].end_s = heard[missing + 1].end_s;
    heard.drain(missing..missing + 2);
    let told = kinds(&piece, &heard);
    assert_eq!(
        told,
        [
            vec![FaultKind::Late],
            vec![FaultKind::Early],
            vec![FaultKind::Missing],
            vec![]
        ]
    );
}

/// What an edit costs decides what a player is told: another note in a note's place is that, and not
/// one missing and one extra; a blip beside a note leaves the note its pair; a note far from its
/// place is missing.
#[test]
fn each_slip_is_paired_as_what_it_was() {
    let piece = grip();
    let plain = played(&piece, 1.0, 3);
    let once = |heard: &[HeardNote]| {
        let found = align(&piece, heard);
        assert_eq!(found.repetitions.len(), 3);
        found.repetitions[1].clone()
    };
    let right = once(&plain);
    assert!(right.pairs.iter().all(Option::is_some) && right.extra.is_empty());
    let count = piece.notes.len();
    for place in 1..count - 1 {
        // another note in its place
        let mut heard = plain.clone();
        let at = count + place;
        let other = if heard[at].note == Note::F {
            Note::C
        } else {
            Note::F
        };
        heard[at] = tone(other, heard[at].start_s, heard[at].end_s);
        let found = once(&heard);
        assert_eq!(
            (found.pairs[place], found.extra.len()),
            (Some(at), 0),
            "note {place}"
        );
        // not there at all: the note before sounds on
        let mut heard = plain.clone();
        let gone = heard.remove(at);
        heard[at - 1].end_s = gone.end_s;
        let found = once(&heard);
        let missing = found.pairs.iter().filter(|pair| pair.is_none()).count();
        assert_eq!((missing, found.extra.len()), (1, 0), "note {place}");
        // a blip of a note that is not written stands before it
        let mut heard = plain.clone();
        let begins = heard[at].start_s;
        heard[at - 1].end_s = begins - 0.02;
        heard.insert(at, tone(Note::HighA, begins - 0.02, begins));
        let found = once(&heard);
        assert!(found.pairs.iter().all(Option::is_some), "note {place}");
        assert_eq!(found.extra, [at], "note {place}");
    }
}

/// One edit costs less than a note missing and another too many only where the other note sounds about
/// when the one was due, and long enough to be it.
#[test]
fn another_note_far_away_or_far_too_short_is_not_the_one_that_was_due() {
    for (tempo, near, far) in [(60, 0.28, 0.34), (120, 0.23, 0.29)] {
        let piece = piece("grip-from-d", 3, tempo);
        // neither the first nor the closing one: without these a repetition was cut short
        let melody = |at: &usize| piece.notes[*at].part == NoteKind::Melody;
        let due = (0..piece.notes.len()).filter(melody).nth(1).expect("three");
        let at = piece.notes.len() + due;
        let plain = played(&piece, 1.0, 3);
        let found = |begins: f64, lasts: f64| {
            let mut heard = plain.clone();
            let start = heard[at].start_s + begins;
            heard[at] = tone(Note::F, start, start + lasts);
            let found = align(&piece, &heard).repetitions;
            (found[1].pairs[due], found[1].extra.clone())
        };
        let itself = (Some(at), Vec::new());
        let another = (None, vec![at]);
        let whole = 0.1;
        assert_eq!(found(near, whole), itself, "{near} s late at {tempo}");
        assert_eq!(found(far, whole), another, "{far} s late at {tempo}");
        // a blip under 25 ms is no note; one that is short counts only in its place
        assert_eq!(found(0.0, 0.03), itself);
        assert_eq!(found(0.0, 0.02), another);
        assert_eq!(found(0.18, 0.05), another);
        assert_eq!(found(0.18, 0.07), itself);
    }
}
