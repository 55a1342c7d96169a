//! What a stage asks for, note by note, at 60: a beat is a second.

use super::*;
use crate::drill::read_music;
use crate::movement::Schools;
use crate::rhythm::{Metre, Pointing, PointingSource, Subdivision};
use crate::score::resolve_music;
use crate::timeline::{Layout, lay};
use crate::units::{Bpm, SampleRate};

/// What is listened for in music of quavers.
fn piece(text: &str, metre: &str, pointing: Option<&str>) -> ExpectedStage {
    at_tempo(text, metre, pointing, 60)
}

fn at_tempo(text: &str, metre: &str, pointing: Option<&str>, tempo: i128) -> ExpectedStage {
    let metre = Metre::parse(metre).expect("a metre");
    let (mut music, problems) = read_music(text, metre, Fraction::new(1, 8), "");
    assert_eq!(problems, [], "{text}");
    if let Some(ratio) = pointing {
        music.pointing = Pointing::parse(ratio, PointingSource::File).expect("a ratio");
    }
    let breath = Beats::whole(metre.beats_in_a_bar().into());
    let score = resolve_music(&music, breath, &Schools::none());
    let layout = Layout {
        subdivision: Subdivision::Halves,
        ..Layout::at(Bpm::whole(tempo).expect("a tempo"), SampleRate::USUAL)
    };
    ExpectedStage::of(&score, &lay(&score, &layout))
}

fn melody(piece: &ExpectedStage) -> impl Iterator<Item = &Expected> {
    piece
        .notes
        .iter()
        .filter(|note| note.part == NoteKind::Melody)
}

/// The low G taps of a birl are what is heard of it, and those of hiharin; a strike's tap is a gracenote,
/// and the low Gs of a grip are tones.
#[test]
fn the_taps_of_a_birl_are_taps_and_no_other_low_g_is_one() {
    for (text, taps) in [
        ("{g}A4 {GAG}A4|", 2),
        ("{g}e4 {AGAG}A4|", 2),
        ("{g}e4 {dAGAG}A4|", 2),
        ("{g}c4 {G}c4|", 0),
        ("{g}A4 {gcG}c4|", 0),
        ("{g}d4 {GBG}A4|", 0),
        ("{g}A4 {gef}e4|", 0),
    ] {
        let piece = piece(text, "4/4", None);
        let tapped: Vec<Note> = piece
            .notes
            .iter()
            .filter(|note| note.tap)
            .map(|note| note.note)
            .collect();
        assert_eq!(tapped, vec![Note::LowG; taps], "{text}");
    }
}

/// A movement has two notes at least and is told with the melody note that it leads to; a single gracenote
/// is none.
#[test]
fn a_movement_stands_with_the_note_it_leads_to() {
    for (text, told) in [
        ("{g}e4 {gf}g4|", vec![false, true]),
        ("{g}e4 {d}A4|", vec![false, false]),
        ("{g}A4 {GdG}e4|", vec![false, true]),
    ] {
        let piece = piece(text, "4/4", None);
        let movements: Vec<bool> = melody(&piece).map(|note| note.movement.is_some()).collect();
        assert_eq!(movements, told, "{text}");
        let others = piece
            .notes
            .iter()
            .filter(|note| note.part != NoteKind::Melody);
        assert!(others.clone().count() > 0 && others.clone().all(|note| note.movement.is_none()));
    }
}

/// A grip falls before the beat and takes its time from the note before [P]: at the beginning of a
/// repetition from the last note of the one before.
#[test]
fn a_grip_at_the_beginning_begins_before_it() {
    let piece = piece("{GdG}A4 {g}e4|", "4/4", None);
    let [one, two, three, first, gracenote, second] = &piece.notes[..] else {
        panic!("{:?}", piece.notes);
    };
    assert_eq!(
        [one, two, three].map(|note| note.note),
        [Note::LowG, Note::D, Note::LowG]
    );
    assert!(one.start_s < two.start_s && two.start_s < three.start_s && three.start_s < 0.0);
    // up to 0, each as long as it lasts
    let lasts = one.length_s + two.length_s + three.length_s;
    assert!((one.start_s + lasts).abs() < 1e-9 && lasts < 0.3, "{one:?}");
    assert_eq!(
        (first.start_s, first.place_s, first.begun_by),
        (0.0, 0.0, 0)
    );
    // an HG gracenote begins on the beat, and its note with it
    assert_eq!((gracenote.start_s, gracenote.place_s), (2.0, 2.0));
    assert_eq!((second.place_s, second.begun_by), (2.0, 1));
    assert!((second.start_s - gracenote.length_s - 2.0).abs() < 1e-9);
    assert!((one.place_s - one.start_s).abs() < 1e-9);
}

/// At another tempo the beats are shorter and the gracenotes are not (Timmers et al., Music Perception
/// 20(1), 2002).
#[test]
fn a_piece_is_laid_out_in_seconds() {
    let slow = piece("{g}A4 {g}e4|", "4/4", None);
    let quick = at_tempo("{g}A4 {g}e4|", "4/4", None, 120);
    let places = |piece: &ExpectedStage| melody(piece).map(|note| note.place_s).collect::<Vec<_>>();
    assert_eq!(
        (places(&slow), places(&quick)),
        (vec![0.0, 2.0], vec![0.0, 1.0])
    );
    assert_eq!((slow.beat.0, slow.length.0, slow.cycle.0), (1.0, 4.0, 8.0));
    assert_eq!(
        (quick.beat.0, quick.length.0, quick.cycle.0),
        (0.5, 2.0, 4.0)
    );
    let (one, other) = (slow.notes[0], quick.notes[0]);
    assert!(
        (one.length_s - other.length_s).abs() < 1e-9,
        "{one:?} {other:?}"
    );
}

/// A landing is a note on a beat. In five quavers counted as three and two, clicks stand on the first and
/// the fourth, whatever sounds more softly between them.
#[test]
fn a_note_is_on_a_click_where_one_is_counted() {
    let on = |text: &str, metre: &str| -> Vec<bool> {
        let piece = piece(text, metre, None);
        assert!(
            piece
                .notes
                .iter()
                .all(|note| note.part == NoteKind::Melody || !note.on_click)
        );
        melody(&piece).map(|note| note.on_click).collect()
    };
    assert_eq!(on("{g}A3B {g}c2d2|", "4/4"), [true, false, true, true]);
    assert_eq!(on("{g}ABcde|", "3+2/8"), [true, false, false, true, false]);
    assert_eq!(on("{g}ABcde|", "2+3/8"), [true, false, true, false, false]);
    assert_eq!(on("{g}A2Bc2d|", "6/8"), [true, false, true, false]);
}

/// A dot of four to one: its cut comes after four fifths of the beat, and in a snap after one fifth; of
/// five to two after five sevenths. What is wanted stands with the second note of the pair alone.
#[test]
fn the_second_note_of_a_pair_says_how_it_is_pointed() {
    for (ratio, cut, wanted) in [("4:1", 4.0 / 5.0, 4.0), ("5:2", 5.0 / 7.0, 2.5)] {
        let piece = piece("{g}A>B {g}c<d|", "2/4", Some(ratio));
        let told: Vec<(Note, Option<(bool, f64)>)> = melody(&piece)
            .map(|note| {
                let pair = note.pair.map(|pair| (pair.long_first, pair.ratio));
                (note.note, pair)
            })
            .collect();
        assert_eq!(
            told,
            [
                (Note::LowA, None),
                (Note::B, Some((true, wanted))),
                (Note::C, None),
                (Note::D, Some((false, wanted))),
            ]
        );
        for (note, place) in melody(&piece).zip([0.0, cut, 1.0, 2.0 - cut]) {
            assert!((note.place_s - place).abs() < 1e-9, "{note:?}");
        }
        let others = piece
            .notes
            .iter()
            .filter(|note| note.part != NoteKind::Melody);
        assert!(others.clone().count() == 2 && others.clone().all(|note| note.pair.is_none()));
    }
}
