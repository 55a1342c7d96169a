//! Body text is read: lengths, gracenotes and repeats; each mistake is reported once.

use super::*;
use crate::chanter::Note;
use crate::drill::Group;

fn reads(text: &str, metre: Metre) -> Music {
    let (music, problems) = read_music(text, metre, metre.default_unit(), "");
    assert_eq!(problems, [], "{text}");
    music
}

#[track_caller]
fn tells(text: &str, metre: Metre, expected: &ProblemKind) {
    let (_, problems) = read_music(text, metre, metre.default_unit(), "");
    assert!(
        problems.iter().any(|problem| problem.kind == *expected),
        "{text}: {problems:?}"
    );
}

/// The sum of the lengths in this bar would overflow 128 bits.
#[test]
fn a_bar_of_lengths_without_a_common_part_is_told_at_the_first_that_is_too_fine() {
    let primes = [
        1021, 1019, 1013, 1009, 997, 991, 983, 977, 971, 967, 953, 947,
    ];
    let letters = ["A", "B"].into_iter().cycle();
    let notes = primes.iter().zip(letters);
    let text: String = notes
        .map(|(prime, letter)| format!("{letter}/{prime} "))
        .collect::<String>()
        + "|";
    for metre in [Metre::FOUR_FOUR, Metre::FREE] {
        let (_, problems) = read_music(&text, metre, metre.default_unit(), "");
        let first = &problems[0];
        let found = "B/1009".to_owned();
        assert_eq!(first.kind, ProblemKind::BadLength { found });
        assert_eq!(Some(first.start), text.find("B/1009"));
        // The length of the bar is then unknown.
        let only = |problem: &MusicProblem| matches!(problem.kind, ProblemKind::BadLength { .. });
        assert!(problems.iter().all(only), "{problems:?}");
    }
    // The length is halved again and again.
    let text = format!("A{} B4|", "< ".repeat(200));
    tells(
        &text,
        Metre::FOUR_FOUR,
        &ProblemKind::UnknownSign {
            sign: "<".to_owned(),
        },
    );
}

#[test]
fn notes_have_their_lengths() {
    let music = reads("{g}d2 G2 {B}G2 A2|", Metre::FOUR_FOUR);
    let notes: Vec<(Note, Beats)> = music.bars[0]
        .notes
        .iter()
        .map(|written| (written.note, written.length))
        .collect();
    assert_eq!(
        notes,
        [
            (Note::D, Beats::ONE),
            (Note::LowG, Beats::ONE),
            (Note::LowG, Beats::ONE),
            (Note::LowA, Beats::ONE),
        ]
    );
    assert_eq!(
        music.bars[0].notes[2].group,
        Group::Spelled(vec![Gracenote {
            note: Note::B,
            held: None
        }])
    );
}

/// ABC 2.1 §4.3: "A2 … A3/2 … A/2 … A/ … A//" and §4.4: "a>b is a3/2 b/".
#[test]
fn lengths_and_broken_rhythm_are_those_of_the_standard() {
    let lengths = |text: &str| -> Vec<Beats> {
        let (music, _) = read_music(text, Metre::FOUR_FOUR, Fraction::new(1, 4), "");
        music.bars[0].notes.iter().map(|note| note.length).collect()
    };
    assert_eq!(
        lengths("A2 B3/2 c/2 d/ e// f/4"),
        [
            Beats::whole(2),
            Beats::new(3, 2),
            Beats::new(1, 2),
            Beats::new(1, 2),
            Beats::new(1, 4),
            Beats::new(1, 4),
        ]
    );
    assert_eq!(lengths("A>B"), [Beats::new(3, 2), Beats::new(1, 2)]);
    assert_eq!(lengths("A<B"), [Beats::new(1, 2), Beats::new(3, 2)]);
    assert_eq!(lengths("A>>B"), [Beats::new(7, 4), Beats::new(1, 4)]);
}

/// ABC 2.1 §4.12 has its own example of pipe music: the taorluath `{GdGe}`.
#[test]
fn the_standards_taorluath_is_read() {
    let (music, problems) = read_music("B4 {GdGe}A4|", Metre::FOUR_FOUR, Fraction::new(1, 8), "");
    assert_eq!(problems, []);
    let Group::Spelled(group) = &music.bars[0].notes[1].group else {
        panic!("gracenotes were expected");
    };
    let notes: Vec<Note> = group.iter().map(|gracenote| gracenote.note).collect();
    assert_eq!(notes, [Note::LowG, Note::D, Note::LowG, Note::E]);
}

#[test]
fn a_long_note_in_a_group_keeps_its_length() {
    let (music, _) = read_music("A8 {ge4d}B8|", Metre::TWO_TWO, Fraction::new(1, 16), "");
    let Group::Spelled(group) = &music.bars[0].notes[1].group else {
        panic!("gracenotes were expected");
    };
    assert_eq!(group[0].held, None);
    assert_eq!(group[1].held, Some(Beats::new(1, 2)));
}

/// ABC 2.1 §4.8 and §4.9 define repeats and first and second endings.
#[test]
fn repeats_and_endings_are_played_in_order() {
    let order = |text: &str| reads(text, Metre::TWO_FOUR).order;
    assert_eq!(order("|:A4 B4|c4 d4:|e4 f4|"), [0, 1, 0, 1, 2]);
    assert_eq!(order("|:A4 B4|1c4 d4:|2e4 f4|]"), [0, 1, 0, 2]);
    assert_eq!(order("A4 B4:|:c4 d4:|"), [0, 0, 1, 1]);
    assert_eq!(order("A4 B4|c4 d4||e4 f4:|"), [0, 1, 2, 2]);
    assert_eq!(
        order("|:A4 B4|[1 c4 d4:|[2 e4 f4||B4 c4:|"),
        [0, 1, 0, 2, 3, 3]
    );
}

/// A first ending of two bars without a second ending must not repeat endlessly.
#[test]
fn a_first_ending_of_two_bars_without_a_second_ends() {
    let (music, problems) = read_music(
        "|:A4 B4|1c4 d4|e4 f4:|",
        Metre::TWO_FOUR,
        Metre::TWO_FOUR.default_unit(),
        "",
    );
    assert!(music.order.len() <= 8);
    assert!(
        problems
            .iter()
            .any(|problem| problem.kind == ProblemKind::NoSecondEnding)
    );
}

#[test]
fn a_pickup_and_the_short_bar_that_completes_it_add_up() {
    let music = reads("A2|B4 c4|d4 B2|", Metre::TWO_FOUR);
    assert_eq!(music.pickup(), Beats::new(1, 2));
    assert_eq!(music.length(), Beats::whole(4));
    let parts = reads("A2|B4 c4|d4 B2:|e2|B4 c4|d4 B2:|", Metre::TWO_FOUR);
    assert_eq!(parts.order, [0, 1, 2, 0, 1, 2, 3, 4, 5, 3, 4, 5]);
}

#[test]
fn what_cannot_be_played_is_told() {
    tells(
        "A4 A4|",
        Metre::TWO_FOUR,
        &ProblemKind::Repeated { note: Note::LowA },
    );
    tells(
        "e4 {d}f4|",
        Metre::TWO_FOUR,
        &ProblemKind::CannotSound {
            gracenote: Note::D,
            held: Note::F,
        },
    );
    tells(
        "A4 {d}f4|",
        Metre::TWO_FOUR,
        &ProblemKind::PlayedEarly {
            gracenote: Note::D,
            held: Note::F,
            before: Note::LowA,
            bar: 1,
        },
    );
    tells(
        "d4 {d}A4|",
        Metre::TWO_FOUR,
        &ProblemKind::GracenoteEqual { note: Note::D },
    );
    tells("A4 z4|", Metre::TWO_FOUR, &ProblemKind::Rest);
    tells("A4 ^c4|", Metre::TWO_FOUR, &ProblemKind::Accidental);
    tells("A4 [ce]4|", Metre::TWO_FOUR, &ProblemKind::Chord);
    tells("A4 (3ABc|", Metre::TWO_FOUR, &ProblemKind::Tuplet);
    tells("A4 {g", Metre::TWO_FOUR, &ProblemKind::OpenGroup);
    tells("A4 {g}|", Metre::TWO_FOUR, &ProblemKind::GroupWithoutNote);
    tells(
        "A4-B4|",
        Metre::TWO_FOUR,
        &ProblemKind::TieToOther {
            from: Note::LowA,
            to: Note::B,
        },
    );
    tells(
        "A4 b4|",
        Metre::TWO_FOUR,
        &ProblemKind::NoSuchLetter {
            letter: 'b',
            nearest: Some('B'),
        },
    );
    tells(
        "A4 B3|",
        Metre::TWO_FOUR,
        &ProblemKind::Bar {
            stage: String::new(),
            number: 1,
            lasts: Beats::new(7, 4),
            metre: Metre::TWO_FOUR,
        },
    );
}

/// Several messages for one mistake would hide the one that helps, and the others would be wrong.
#[test]
fn one_slip_is_one_problem() {
    for text in [
        "{g}c2 H2 c2 B2|A2 {g}B2 A2 c2|",
        "{g}c2 h/ c2 B2|A2 {g}B2 A2 c2|",
        "{g}c2 b2 c2 B2|A2 {g}B2 A2 c2|",
        "{g}c2 B2 A2 z2|A2 {g}B2 A2 c2|",
        "{g}c2 B2 A2 H2|A2 {g}B2 A2 c2|",
        "{g}c2 ^c2 d2 B2|A2 {g}B2 A2 c2|",
        "{g}c2 [ce]2 c2 B2|A2 {g}B2 A2 c2|",
        "{g}c2 (3ABc B2|A2 {g}B2 A2 c2|",
        "{g}c2 B0 A2 B2|A2 {g}B2 A2 c2|",
        "{g}c2 {d B2 c2 B2|A2 {g}B2 A2 c2|",
        "{g}c2 {h}c2 d2 B2|A2 {g}B2 A2 c2|",
        "{g}c2 {}B2 d2 B2|A2 {g}B2 A2 c2|",
        "{g}c2 B2 $2 d2|A2 {g}B2 A2 c2|",
        "H2 B2 A2 d2|A2 {g}B2 A2 c2|",
        "c2 B2 A2 d2|A2 {g}B2 A2 H2|",
    ] {
        let metre = Metre::FOUR_FOUR;
        let (_, problems) = read_music(text, metre, metre.default_unit(), "");
        assert_eq!(problems.len(), 1, "{text}: {problems:?}");
    }
}

#[test]
fn a_tie_carries_a_note_over_the_bar_line() {
    let music = reads("A4 B4-|B4 c4|", Metre::TWO_FOUR);
    assert!(music.bars[0].notes[1].tied);
}
