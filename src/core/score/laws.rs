//! Tests of a score: the names of its notes, its written text, its bars and pairs, and where its
//! movements take their time from.

use super::*;
use crate::drill::{built_in, read, read_music};
use crate::movement::Schools;
use crate::rhythm::{Metre, Pointing, PointingSource};
use crate::units::{Beats, Fraction};

/// Resolves the music of `text`. The unit note length is a quaver.
fn score_by(text: &str, metre: Metre, pointing: Pointing, schools: &Schools) -> Score {
    let (mut music, problems) = read_music(text, metre, Fraction::new(1, 8), "");
    assert_eq!(problems, [], "{text}");
    music.pointing = pointing;
    resolve_music(&music, Beats::ZERO, schools)
}

fn score(text: &str, metre: Metre) -> Score {
    score_by(text, metre, Pointing::default(), &Schools::none())
}

fn pointed() -> Pointing {
    Pointing::parse("4:1", PointingSource::File).expect("a ratio")
}

fn names(score: &Score) -> Vec<String> {
    let notes = score.notes.iter();
    notes.map(|note| note.id.to_string()).collect()
}

/// Documents for other programs and the journal use these names, so they never change.
#[test]
fn a_note_is_named_by_bar_note_gracenote_and_pass() {
    let id = |grace, pass| NoteId {
        bar: 2,
        pass,
        note: 3,
        grace,
    };
    let shown = [id(0, 1), id(1, 1), id(0, 2), id(4, 2)].map(|id| id.to_string());
    assert_eq!(shown, ["2.3", "2.3g1", "2.3x2", "2.3g4x2"]);
    assert_eq!(id(4, 2).melody(), id(0, 2));
    assert_eq!(
        names(&score("|:B2|A2 c2:|", Metre::THREE_FOUR)),
        ["0.1", "1.1", "1.2", "0.1x2", "1.1x2", "1.2x2"]
    );
    // The short last bar of a part and the pickup of the next part have the same bar number.
    assert_eq!(
        names(&score("A2 c2 B2|d2 e2||f2|e2 c2 d2|", Metre::THREE_FOUR)),
        [
            "1.1", "1.2", "1.3", "2.1", "2.2", "2.3", "3.1", "3.2", "3.3"
        ]
    );
}

/// The fingerprint of this text names a cell in every journal, so the text never changes.
#[test]
fn the_written_text_is_metre_bars_gracenotes_and_lengths() {
    for (text, written) in [
        (
            "{g}A2 {GdG}B2|c4-|c4|",
            "2/4 | {HG}LA:1 {LG D LG}B:1 | C:2 | ~C:2",
        ),
        (
            "A3 B|[M:3/4]A2 B2 c2|d3 e/f/ e2|[M:2/4]f2 e2|",
            "2/4 | LA:3/2 B:1/2 | [3/4] LA:1 B:1 C:1 | D:3/2 E:1/4 F:1/4 E:1 | [2/4] F:1 E:1",
        ),
    ] {
        let metre = Metre::TWO_FOUR;
        assert_eq!(score(text, metre).written_text(), written);
        let (music, _) = read_music(text, metre, Fraction::new(1, 8), "");
        assert_eq!(super::written_text(&music, &Schools::none()), written);
    }
}

/// With equal quavers a dotted crotchet lasts one and a half of the preceding crotchets, but it is
/// one beat of its own bar.
#[test]
fn a_bar_is_told_in_the_tempos_beats_and_in_its_own() {
    let score = score(
        "B2|A2 c2|[M:6/8][Q:1/8=1/8]A3 B3|[M:2/4][Q:1/8=1/8]c2|",
        Metre::TWO_FOUR,
    );
    assert!(score.changes_metre());
    let halves = |score: &Score, of: fn(&Score, &ScoreNote) -> Beats| -> Vec<Beats> {
        score.notes.iter().map(|note| of(score, note)).collect()
    };
    let beats = |halves: &[i128]| -> Vec<Beats> {
        halves.iter().map(|half| Beats::new(*half, 2)).collect()
    };
    assert_eq!(
        halves(&score, |_, note| note.start),
        beats(&[0, 2, 4, 6, 9, 12])
    );
    assert_eq!(
        halves(&score, |_, note| note.written),
        beats(&[2, 2, 2, 3, 3, 2])
    );
    assert_eq!(
        halves(&score, Score::beats_written),
        beats(&[2, 2, 2, 2, 2, 2])
    );
    assert_eq!(score.bar_lines(), beats(&[0, 2, 6, 12]));
    let places: Vec<Beats> = score.bars.iter().map(|bar| bar.place).collect();
    assert_eq!(places, beats(&[2, 0, 0, 0]), "a pickup ends its bar");
    assert!(!super::laws::score("A2 c2|", Metre::TWO_FOUR).changes_metre());
}

/// A pair is written three to one and stands inside one beat, in bars where the beat is the tempo's
/// beat. Bars with another metre, or without a metre, have no pairs.
#[test]
fn a_pair_stands_inside_a_beat_of_the_first_metre() {
    let pairs = |text: &str, metre: Metre| -> Vec<String> {
        let score = score(text, metre);
        let note = |at: usize| (&score.notes[at], score.sounding_length(at));
        let seconds = 1..score.notes.len();
        seconds
            .filter(|at| score.is_pair(note(at - 1), note(*at)))
            .map(|at| score.notes[at].id.to_string())
            .collect()
    };
    assert_eq!(pairs("A>B c<d|", Metre::TWO_FOUR), ["1.2", "1.4"]);
    assert_eq!(
        pairs("A>B c2|[M:3/4]A>B c2 d2|[M:2/4]c>B A2|", Metre::TWO_FOUR),
        ["1.2", "3.2"]
    );
    assert_eq!(pairs("A>B c2|", Metre::FREE), [""; 0]);
    // After a pickup of a semiquaver the beats begin a quarter of a beat later.
    assert_eq!(
        pairs("c/|A>B d2|A>B c3/2|", Metre::TWO_FOUR),
        ["1.2", "2.2"]
    );
    // A pair may begin at any third of a compound beat, but not between two thirds.
    assert_eq!(pairs("A B>c d>e f|", Metre::SIX_EIGHT), ["1.3", "1.5"]);
    assert_eq!(pairs("A/4c/4B3/2c/d/ e3|", Metre::SIX_EIGHT), [""; 0]);
    // A pair may cross the middle of a bar, but not a beat.
    assert_eq!(pairs("A3 B c2 d2|", Metre::FOUR_FOUR), [""; 0]);
    assert_eq!(pairs("A3 B c2 d2|", Metre::TWO_TWO), ["1.2"]);
}

/// Common practice, no source: a grip takes its time before the beat, a doubling on the beat, and a
/// throw differs by school.
#[test]
fn where_the_time_of_a_movement_comes_from_is_told() {
    let told = |text: &str| where_time_comes_from(&score(text, Metre::FOUR_FOUR));
    let grip = "the grip takes its time from the end of low A; C lands on beat 3";
    let doubling = "the doubling begins on beat 3 and takes its time from C";
    // A single gracenote has no sentence, and no sentence is repeated.
    assert_eq!(told("{g}A4 {GdG}c4|{g}A4 {GdG}c4|"), [grip]);
    assert_eq!(told("{g}A4 {gcd}c4|"), [doubling]);
    assert_eq!(
        told("{g}A4 {GdG}c4|{g}A4 {gcd}c4|"),
        [format!("in bar 1 {grip}"), format!("in bar 2 {doubling}")]
    );
    assert_eq!(
        told("{g}A2 {GdG}c2 {gde}d4|"),
        [
            "the grip takes its time from the end of low A; C lands on beat 2",
            "the doubling begins on beat 3 and takes its time from D"
        ]
    );
    assert_eq!(
        told("{gef}e2|{g}A4 {GdG}c4|{g}A4 c2|"),
        [
            "in the pickup the doubling begins on beat 1 and takes its time from E".to_owned(),
            format!("in bar 1 {grip}")
        ]
    );
    assert_eq!(
        told("{GdG}A8|"),
        ["the grip takes its time from the end of the note before; low A lands on beat 1"]
    );
    let school = Schools::none()
        .with("throw-d-on-the-beat")
        .expect("a school");
    let thrown = score_by(
        "{g}A4 {Gdc}d4|",
        Metre::FOUR_FOUR,
        Pointing::default(),
        &school,
    );
    assert_eq!(
        where_time_comes_from(&thrown),
        ["the throw on D begins before beat 3, at the end of low A; its D falls on the beat"]
    );
    // A drill made from a movement knows that movement by name.
    let file = built_in("grip-from-d").expect("it is built in");
    let drill = read(file.text.as_bytes()).0.expect("it reads");
    let real = drill
        .stages
        .iter()
        .find(|stage| !stage.is_slow())
        .expect("real time");
    let real = resolve_music(&real.music, Beats::ZERO, &drill.schools);
    let told = where_time_comes_from(&real);
    assert!(
        told.iter()
            .any(|one| one.contains("the grip takes its time from the end of D")),
        "{told:?}"
    );
}

/// Behind a dot and its cut a movement may take its time from the dot, when the tune has a
/// pointing.
#[test]
fn behind_a_cut_the_dot_gives_time_too() {
    let told = |text: &str, pointing: Pointing| {
        let score = score_by(text, Metre::TWO_FOUR, pointing, &Schools::none());
        where_time_comes_from(&score)
    };
    let plain = "the taorluath takes its time from the end of B; low A lands on beat 2";
    let by_both = "the taorluath takes its time from the end of B and, where B is too short, from \
                   the dot before it; low A lands on beat 2";
    let dot = "{g}c>B {GdGe}A2|";
    assert_eq!(told(dot, pointed()), [by_both]);
    assert_eq!(
        told("c-c/B/ {GdGe}A2|", pointed()),
        [by_both],
        "a dot that is tied"
    );
    assert_eq!(told(dot, Pointing::default()), [plain]);
    let air = Pointing {
        judged: false,
        ..pointed()
    };
    assert_eq!(told(dot, air), [plain]);
    for even in [
        "{g}c<B {GdGe}A2|",
        "{g}c B {GdGe}A2|",
        "{g}c3/4d//B {GdGe}A2|",
    ] {
        assert_eq!(told(even, pointed()), [plain], "{even}");
    }
}
