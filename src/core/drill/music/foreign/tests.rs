//! Music of other programs is read into a drill: what is kept and what is reported.

use super::*;
use std::fmt::Write as _;

#[track_caller]
fn adopts(text: &str, metre: Metre, told: &[&str]) -> Music {
    let (music, problems) = adopt_music(text, metre, Fraction::new(1, 8), None);
    let found: Vec<String> = problems.iter().map(|p| p.kind.to_string()).collect();
    assert_eq!(found, told, "{text}");
    music
}

fn letters(music: &Music) -> String {
    music
        .bars
        .iter()
        .flat_map(|bar| &bar.notes)
        .map(|note| note.note.abc_letter())
        .collect()
}

/// A piece for another instrument must not lose notes or time silently.
#[test]
fn nothing_foreign_is_dropped_without_a_word() {
    let music = adopts(
        "A4 z4|",
        Metre::FOUR_FOUR,
        &["a rest: the note before sounds on"],
    );
    assert!(music.bars[0].notes[0].tied);
    assert_eq!(music.bars[0].length(), Beats::whole(4));
    let music = adopts(
        "[ce]4 b4|",
        Metre::FOUR_FOUR,
        &[
            "a chord: E of it is kept",
            "the note `b` is not one of the chanter's nine: moved by an octave, to B",
        ],
    );
    assert_eq!(letters(&music), "eB");
    let music = adopts("(3ABc d2 e4|", Metre::FOUR_FOUR, &[]);
    assert_eq!(music.bars[0].notes[0].length, Beats::new(1, 3));
    adopts(
        "=c4 ^g4|",
        Metre::FOUR_FOUR,
        &[
            "the accidental in `=c`: left out: `c` as the chanter has it",
            "the accidental in `^g`: left out: `g` as the chanter has it",
        ],
    );
}

/// Each rest at the start is reported with its own replacement.
#[test]
fn of_each_rest_at_the_start_is_told_what_became_of_it() {
    let music = adopts(
        "z8|z4 A4|",
        Metre::FOUR_FOUR,
        &[
            "a rest at the start: left out",
            "a rest at the start: the first note begins there",
        ],
    );
    assert_eq!(music.bars[0].notes[0].length, Beats::whole(4));
}

/// The lengths have prime denominators without a common part of a beat; their sum would overflow
/// 128 bits.
#[test]
fn lengths_without_a_common_part_of_a_beat_are_told() {
    let primes = [
        999_983, 999_979, 999_961, 999_959, 999_953, 999_931, 999_917,
    ];
    let text: String = primes.map(|prime| format!("[L:1/{prime}]A{{g}}")).concat() + "B|";
    let (_, problems) = adopt_music(&text, Metre::FOUR_FOUR, Fraction::new(1, 8), None);
    let first = problems
        .iter()
        .find(|problem| matches!(problem.kind, ProblemKind::BadLength { .. }))
        .expect("told");
    let third = text.match_indices('A').nth(2).expect("a third note").0;
    assert_eq!((first.start, first.end), (third, third + 1));
}

#[test]
fn only_the_first_voice_is_read() {
    let music = adopts(
        "[V:1] A4 B4|\n[V:2] c4 d4|\n[V:1] c4 B4|",
        Metre::FOUR_FOUR,
        &["the voice `2`: left out: the chanter plays one line"],
    );
    assert_eq!(letters(&music), "ABcB");
}

#[test]
fn what_the_chanter_cannot_play_is_mended() {
    let music = adopts(
        "A4 A4|e4 {d}f4-|",
        Metre::FOUR_FOUR,
        &[
            "low A follows low A with nothing between in bar 1: the gracenote high G separates them",
            "the gracenote D cannot sound on F in bar 2: high G is played instead",
            "F is tied to no note: the tie is left out",
        ],
    );
    assert_eq!(letters(&music), "AAef");
}

/// A D gracenote before a D, after a D and on an F is reported with its bars. From D it becomes a
/// high G gracenote (common practice, no source).
#[test]
fn a_gracenote_that_says_nothing_is_told_with_its_bars() {
    let unit = Fraction::new(1, 8);
    let text = "{g}A4 {d}f4|{d}d4 {g}f4|{g}e4 {d}d4|{d}A4 {g}f4|]";
    let (music, told) = adopt_music(text, Metre::FOUR_FOUR, unit, None);
    let told: Vec<String> = told.iter().map(|own| own.kind.to_string()).collect();
    assert_eq!(
        told,
        [
            "a D gracenote cannot sound on F (bar 1): it is played before the beat, at the end of \
             the low A",
            "the gracenote D cannot sound on D (2 times) in bars 2 and 3: high G is played instead",
            "the gracenote D is the note that sounds already in bar 4: high G is played instead",
        ]
    );
    assert_eq!(letters(&music), "AfdfedAf");
}

#[test]
fn a_full_bar_before_a_pickup_gives_it_room() {
    let music = adopts(
        "A2|B4 c4|d4 B4|",
        Metre::FOUR_FOUR,
        &["a full bar stands before a pickup: its last note is shortened by the pickup"],
    );
    assert_eq!(music.length(), Beats::whole(8));
}

/// Collections of songs omit the bar line at the end of a line. In other music a bar continues on
/// the next line.
#[test]
fn a_bar_line_that_a_line_end_stands_for_is_put_there() {
    let told = ["no bar line at the end of a line (2 times): the bar is full and ends there"];
    let text = "A4 B4\nc4 d4\ne4 f4|A2\nB2 c4|]";
    let music = adopts(text, Metre::FOUR_FOUR, &told);
    assert_eq!(music.bars.len(), 4);
    // A line that continues on the next one does not end a bar.
    let (music, _) = adopt_music(
        "A4 B4\\\nc4 d4|",
        Metre::FOUR_FOUR,
        Fraction::new(1, 8),
        None,
    );
    assert_eq!(music.bars.len(), 1);
}

/// An ending inside a bar is read, and begins with the notes of the bar before it.
#[test]
fn an_ending_inside_a_bar_begins_with_its_beginning() {
    let music = adopts(
        "|:A8|B4 c2[1 d2:|[2 e2||f8|",
        Metre::FOUR_FOUR,
        &["an ending that begins inside a bar: the beginning of the bar stands in each ending"],
    );
    assert_eq!(letters(&music), "ABcdBcef");
    assert_eq!(music.order, [0, 1, 0, 2, 3]);
}

/// A repeat gives the note two different notes before it. The gracenote must sound after both, so
/// that it is not added for one and removed for the other endlessly.
#[test]
fn a_gracenote_between_equal_notes_sounds_from_wherever_a_repeat_comes() {
    let music = adopts(
        "A4 d4||d4 g4:|",
        Metre::FOUR_FOUR,
        &["D follows D with nothing between in bar 2: the gracenote high A separates them"],
    );
    assert_eq!(music.order, [0, 1, 1]);
}

#[test]
fn endings_for_several_passes_are_written_out() {
    let told = ["endings for several passes: each pair of passes is written out"];
    let played = |music: &Music| -> String {
        let bars = music.order.iter().flat_map(|bar| &music.bars[*bar].notes);
        bars.map(|note| note.note.abc_letter()).collect()
    };
    // ABC 2.1 section 4.10 has both `[1,3` and `[1-3`.
    let music = adopts("e8|:A8|[1,3 B8:|[2,4 c8:|f8|", Metre::FOUR_FOUR, &told);
    assert_eq!(played(&music), "eABAcABAcf");
    assert_eq!(music.bars.len(), 8);
    let music = adopts("|:A8|1 B8:|2 c8:|3 d8||e8|", Metre::FOUR_FOUR, &told);
    assert_eq!(played(&music), "ABAcAde");
    let music = adopts("|:A8|1-2 B8:|3 d8|]", Metre::FOUR_FOUR, &told);
    assert_eq!(played(&music), "ABABAd");
    // The ending is marked but never begins.
    adopts("A8|e8|[1,3", Metre::FOUR_FOUR, &[]);
    let (_, problems) = adopt_music(
        "|:A8|[1,9 B8:|[2 c8|]",
        Metre::FOUR_FOUR,
        Fraction::new(1, 8),
        None,
    );
    assert!(matches!(problems[0].kind, ProblemKind::Foreign { .. }));
}

#[test]
fn the_ends_of_parts_are_made_to_add_up() {
    // Nothing follows the short bar, so its last note fills it.
    let music = adopts(
        "A4 B4|c4 d2:|",
        Metre::FOUR_FOUR,
        &["the last bar of a part is short: its last note is lengthened to fill it"],
    );
    assert_eq!(music.bars[1].notes[1].length, Beats::whole(2));
    // The last note is as short as the pickup, so the notes before it give room as well.
    let music = adopts(
        "A2|B4 c4|d4 e2 c2|",
        Metre::FOUR_FOUR,
        &["the last note leaves the pickup no room: the last notes are shortened by the pickup"],
    );
    assert_eq!(letters(&music), "ABcdec");
    assert_eq!(music.length(), Beats::whole(8));
    let last = music.bars[2].notes.iter().map(|note| note.length);
    assert_eq!(
        last.collect::<Vec<_>>(),
        [Beats::whole(2), Beats::new(1, 2), Beats::new(1, 2)]
    );
    // A pickup follows the last bar only the second time.
    let music = adopts(
        "A4 B4|c4 d2:|f2|e4 d4|c4 B2:|",
        Metre::FOUR_FOUR,
        &[
            "a pickup follows the last bar of a part once, and none the other time (2 times): \
             the bar stands in two endings",
            "the last bar of a part is short (2 times): its last note is lengthened to fill it",
        ],
    );
    assert_eq!(music.order, [0, 1, 0, 2, 3, 4, 5, 3, 4, 6]);
    let lengths: Vec<Beats> = music.bars.iter().map(crate::drill::Bar::length).collect();
    let beats = [4, 4, 3, 1, 4, 3, 4].map(Beats::whole);
    assert_eq!(lengths, beats);
    // A bar of rest before the first note is not a pickup.
    let music = adopts(
        "z2|A4 B4|c4 d4|",
        Metre::FOUR_FOUR,
        &["a rest at the start: left out"],
    );
    assert_eq!(music.length(), Beats::whole(8));
}

/// The last bar and the pickup form one bar, as printed, whatever their notes are. No bar is added.
#[test]
fn a_last_bar_and_its_pickup_are_one_bar() {
    // Every way to fill a bar of eight quavers; the bits say after which quavers a note ends.
    for ends in 0_u32..128 {
        let (mut bar, mut length) = (String::new(), 1);
        for quaver in 0..8 {
            if quaver == 7 || ends & (1 << quaver) != 0 {
                let letter = ['A', 'c', 'e'][bar.len() % 3];
                let _ = write!(bar, "{{g}}{letter}{length}");
                length = 0;
            }
            length += 1;
        }
        for pickup in 1..8 {
            let text = format!("{{g}}f{pickup}|{{g}}B8|{bar}|]");
            let unit = Fraction::new(1, 8);
            let (music, _) = adopt_music(&text, Metre::FOUR_FOUR, unit, None);
            assert_eq!(music.bars.len(), 3, "{text}");
            assert_eq!(music.length(), Beats::whole(8), "{text}");
            let plain = |length: Beats| length.0.denom().count_ones() == 1;
            assert!(
                music.bars[2]
                    .notes
                    .iter()
                    .all(|note| note.length > Beats::ZERO && plain(note.length)),
                "{text}: {:?}",
                music.bars[2]
            );
        }
    }
    // A last bar that is short by the pickup stays as printed.
    let music = adopts("A2|B4 c4|d4 e2|]", Metre::FOUR_FOUR, &[]);
    assert_eq!(music.bars.len(), 3);
}

#[test]
fn the_metre_can_change_on_the_way() {
    // A tempo that keeps the length of the beat is not reported.
    let unit = Fraction::new(1, 8);
    let text = "A4 B4|[M:6/8][Q:3/8=60]A3 B3|[Q:1/8=60]c3 B3|";
    let (_, told) = adopt_music(text, Metre::FOUR_FOUR, unit, Bpm::whole(60).ok());
    let told: Vec<String> = told
        .iter()
        .map(|problem| problem.kind.to_string())
        .collect();
    assert_eq!(
        told,
        ["the tempo changes to `1/8=60`: left out: a beat lasts as long as before"]
    );
    let music = adopts("A4 B4|[M:3/4]A4 B2|[M:C]A4 B4|", Metre::FOUR_FOUR, &[]);
    let beats: Vec<u32> = music.metres().iter().map(|m| m.beats_in_a_bar()).collect();
    assert_eq!(beats, [4, 3, 4]);
    assert!(music.bars[2].metre.is_some());
    for text in ["A4[M:3/4]B4|", "A8|[M:free]B8|"] {
        let (_, problems) = adopt_music(text, Metre::FOUR_FOUR, unit, None);
        assert!(
            matches!(problems[0].kind, ProblemKind::Foreign { .. }),
            "{text}"
        );
    }
}

#[test]
fn the_unit_can_change_on_the_way() {
    let music = adopts("A4 B4|[L:1/16]A8 B8|", Metre::FOUR_FOUR, &[]);
    assert_eq!(music.bars[1].length(), Beats::whole(4));
}
