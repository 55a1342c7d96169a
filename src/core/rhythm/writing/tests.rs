use super::*;
use crate::rhythm::NoteValue;
use proptest::prelude::*;
use std::fmt::Write as _;

/// A written bar in the letters of ABC with unit 1/8: a letter for each note, `-` for a tie, `(3:2`
/// before a tuplet and `)` behind it.
fn shown(metre: Metre, offset: Beats, notes: &[Length]) -> String {
    let bar = write_bar(metre, offset, notes);
    assert!(bar.tuplets.iter().all(|tuplet| !tuplet.heads.is_empty()));
    let mut text = String::new();
    for (place, head) in bar.heads.iter().enumerate() {
        let tuplet = head.tuplet.map(|tuplet| &bar.tuplets[tuplet]);
        if let Some(tuplet) = tuplet
            && tuplet.heads.start == place
        {
            let _ = write!(text, "({}:{} ", tuplet.notes, tuplet.time);
        }
        let units = head.value.part_of_semibreve() * Fraction::from_integer(8);
        text.push(char::from(
            b'a' + u8::try_from(head.note).expect("few notes"),
        ));
        text.push_str(&crate::units::write_fraction(&units));
        text.push_str(if head.tied { "-" } else { " " });
        if tuplet.is_some_and(|tuplet| tuplet.heads.end == place + 1) {
            text.push_str(") ");
        }
    }
    text.trim_end().to_owned()
}

/// `quavers` are the lengths in quavers, such as `3` or `1/2`; a `-` behind a length is a tie.
#[track_caller]
fn writes(metre: &str, quavers: &str, expected: &str) {
    let metre = Metre::parse(metre).expect("a metre");
    let notes: Vec<Length> = quavers
        .split_whitespace()
        .map(|word| {
            let bare = word.trim_end_matches('-');
            let quavers = crate::units::parse_fraction(bare).expect("a length");
            Length {
                beats: metre.beats_of(quavers / Fraction::from_integer(8)),
                tied: word.ends_with('-'),
            }
        })
        .collect();
    let sum: Beats = notes.iter().map(|note| note.beats).sum();
    assert_eq!(
        shown(metre, metre.bar() - sum, &notes),
        expected,
        "{quavers}"
    );
}

/// No head lasts five quavers, so a tie is needed.
#[test]
fn a_length_that_no_head_has_is_tied_at_the_heaviest_place() {
    writes("4/4", "5 1 2", "a4-a1 b1 c2");
    writes("4/4", "3 5", "a3 b1-b4");
    writes("4/4", "1 5 2", "a1 b3-b2 c2");
    writes("3/4", "5 1", "a4-a1 b1");
    writes("3/4", "1 5", "a1 b1-b4");
    writes("9/8", "9", "a6-a3");
    writes("12/8", "12", "a12");
    // Without a metre no place requires a tie.
    let free = |quavers: &[i128]| {
        let notes: Vec<Length> = quavers
            .iter()
            .map(|quavers| Length {
                beats: Beats::new(*quavers, 2),
                tied: false,
            })
            .collect();
        shown(Metre::FREE, Beats::ZERO, &notes)
    };
    assert_eq!(free(&[1, 4, 3, 12, 1]), "a1 b4 c3 d12 e1");
}

/// Where common practice allows one head, a tie would only make the music harder to read.
#[test]
fn dots_and_even_syncopes_stay_one_head() {
    writes("4/4", "3 1 4", "a3 b1 c4");
    writes("4/4", "1 3 4", "a1 b3 c4");
    writes("4/4", "2 4 2", "a2 b4 c2");
    writes("4/4", "1 2 1 4", "a1 b2 c1 d4");
    writes("4/4", "7/2 1/2 4", "a7/2 b1/2 c4");
    writes("2/4", "1/2 3/2 3/2 1/2", "a1/2 b3/2 c3/2 d1/2");
    writes("3/4", "1 2 2 1", "a1 b2 c2 d1");
    writes("6/8", "2 1 3/2 1/2 1", "a2 b1 c3/2 d1/2 e1");
    writes("6/8", "6", "a6");
}

#[test]
fn a_note_over_a_heavier_place_is_split_there() {
    writes("4/4", "1 2 2 2 1", "a1 b2 c1-c1 d2 e1");
    writes("4/4", "1 4 3", "a1 b3-b1 c3");
    writes("4/4", "2 3 3", "a2 b2-b1 c3");
    writes("6/8", "4 2", "a3-a1 b2");
    writes("6/8", "1 5", "a1 b2-b3");
    writes("6/8", "2 2 2", "a2 b1-b1 c2");
    writes("9/8", "2 4 3", "a2 b1-b3 c3");
}

#[test]
fn thirds_are_triplets_and_fifths_are_fives() {
    writes("4/4", "2/3 2/3 2/3 6", "(3:2 a1 b1 c1 ) d6");
    writes("4/4", "4/3 2/3 2 4", "(3:2 a2 b1 ) c2 d4");
    writes("4/4", "4/3 4/3 4/3 4", "(3:2 a2 b2 c2 ) d4");
    writes(
        "2/4",
        "2/5 2/5 2/5 2/5 2/5 2",
        "(5:4 a1/2 b1/2 c1/2 d1/2 e1/2 ) f2",
    );
    writes("6/8", "3/5 3/5 3/5 3/5 3/5 3", "(5:3 a1 b1 c1 d1 e1 ) f3");
    // The whole beats of a long note stand outside the tuplet.
    writes("4/4", "10/3 2/3 4", "a2-(3:2 a2 b1 ) c4");
    writes("4/4", "2/3 10/3 4", "(3:2 a1 b2-) b2 c4");
    // A pickup of a third of a crotchet belongs to a triplet.
    writes("4/4", "2/3", "(3:2 a1 )");
}

/// Where all beats weigh the same, a bar of five beats has no half.
#[test]
fn a_place_weighs_by_the_divisions_that_lead_to_it() {
    writes("5/4", "3 2 1 4", "a3 b2 c1 d4");
    writes("4/4", "3 2 3", "a3 b1-b1 c3");
    // A note that crosses a quarter of a beat must begin or end on such a quarter.
    writes("2/4", "1/4 3/8 3/8 1 2", "a1/4 b1/4-b1/8 c3/8 d1 e2");
    // A note that crosses a quaver of a compound beat must begin or end on such a quaver.
    writes("6/8", "1/2 3/4 3/4 1 3", "a1/2 b1/2-b1/4 c3/4 d1 e3");
}

/// Five notes stand in the time of three when they last a dotted crotchet, and in the time of four
/// when they last a crotchet, at any place of the bar.
#[test]
fn the_figure_of_a_tuplet_says_what_it_lasts() {
    let fives = |length: &str, before: &str, after: &str| {
        format!("{before} {length} {length} {length} {length} {length} {after}")
    };
    writes(
        "6/8",
        &fives("2/5", "", "1 3"),
        "(5:4 a1/2 b1/2 c1/2 d1/2 e1/2 ) f1 g3",
    );
    writes("6/8", &fives("3/5", "3", ""), "a3 (5:3 b1 c1 d1 e1 f1 )");
    writes("4/4", "4 4/3 4/3 4/3", "a4 (3:2 b2 c2 d2 )");
    writes("4/2", "16/3 16/3 16/3", "(3:2 a8 b8 c8 )");
    // Five notes may also last a dotted quaver.
    writes(
        "2/4",
        &fives("3/10", "", "1/2 2"),
        "(5:3 a1/2 b1/2 c1/2 d1/2 e1/2 ) f1/2 g2",
    );
    writes(
        "2/4",
        &fives("3/10", "1/2", "2"),
        "a1/2 (5:3 b1/2 c1/2 d1/2 e1/2 f1/2 ) g2",
    );
    // A pickup of three fifths of a beat.
    writes("6/8", "6/5 3/5", "(5:3 a2 b1 )");
    // Two crotchets of a triplet last a third of a beat more than a beat; the group is not cut at
    // the beat.
    writes("4/4", "4/3 4/3", "(3:2 a2 b2 )");
}

/// Triplets are easy to read when as much of a long note as possible stands outside them, when
/// irregular groups are written beat by beat, and when no tuplet has a double dot.
#[test]
fn a_long_note_stands_outside_its_tuplet_in_whole_beats() {
    writes("3/4", "2/3 16/3", "(3:2 a1 b2-) b4");
    writes("3/4", "16/3 2/3", "a4-(3:2 a2 b1 )");
    writes("4/4", "7/3 1/3 4/3 4", "a2-(3:2 a1/2 b1/2 c2 ) d4");
    writes(
        "4/4",
        "2/3 3 7/3 2",
        "(3:2 a1 b2-) (3:2 b2-b1/2 c1/2-) c2 d2",
    );
    writes(
        "4/4",
        "2/3 5 1/3 2",
        "(3:2 a1 b2-) b2-(3:2 b2-b1/2 c1/2 ) d2",
    );
    // A group as long as a beat that crosses a beat line is still one tuplet.
    writes("4/4", "1 5/3 1/3 1 4", "a1 (3:2 b2-b1/2 c1/2 ) d1 e4");
    writes("4/4", "2- 2/3 2/3 2/3 4", "a2-(3:2 b1 c1 d1 ) e4");
}

#[test]
fn ties_of_a_writer_stay_where_they_can_stand() {
    writes("4/4", "4- 4", "a4-b4");
    writes("4/4", "2- 2 4", "a2-b2 c4");
    // A crotchet may not cross beat 4 when it begins a semiquaver before it, so it is split.
    writes("4/4", "5 1/2 2- 1/2", "a4-a1 b1/2 c1/2-c2");
    writes("4/4", "4 4-", "a4 b4-");
}

fn metres() -> impl Strategy<Value = Metre> {
    let figures = (1_u32..=32, prop::sample::select(vec![1_u32, 2, 4, 8, 16]));
    let any = figures.prop_filter_map("a metre", |(above, below)| Metre::of(above, below));
    prop_oneof![prop::sample::select(Metre::USUAL.to_vec()), any]
}

/// Lengths that fill a bar to its end: 64th notes and longer, with thirds and ninths, fifths or
/// sevenths.
fn bars() -> impl Strategy<Value = (Metre, Beats, Vec<Length>)> {
    let length = (
        1_i128..9,
        prop::sample::select(vec![1_i128, 2, 4, 8, 16]),
        0..4_usize,
    );
    let odd = prop::sample::select(vec![[1_i128, 1, 3, 9], [1, 1, 5, 5], [1, 7, 7, 7]]);
    let lengths = prop::collection::vec((length, any::<bool>()), 1..12);
    (metres(), odd, lengths, 0_i128..8).prop_map(|(metre, odd, lengths, offset)| {
        let offset = Beats(metre.bar().0 * Fraction::new(offset, 16));
        let mut left = metre.bar() - offset;
        let mut notes = Vec::new();
        for ((above, below, by), tied) in lengths {
            let beats = Beats(Fraction::new(above, below * odd[by]) * Fraction::new(1, 2));
            if beats >= left {
                break;
            }
            left = left - beats;
            notes.push(Length { beats, tied });
        }
        notes.push(Length {
            beats: left,
            tied: false,
        });
        (metre, offset, notes)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    /// The values, dots and tuplets alone must add up to the bar.
    #[test]
    fn what_is_printed_in_a_bar_adds_up_to_it((metre, offset, notes) in bars()) {
        let bar = write_bar(metre, offset, &notes);
        // Note values go down to a 64th; tuplets divide at most three times further.
        let mut at = offset;
        let places: Vec<Fraction> = notes
            .iter()
            .map(|note| {
                at = at + note.beats;
                metre.semibreves_of(at)
            })
            .chain([metre.semibreves_of(offset)])
            .collect();
        let depth = places.iter().map(|place| place.denom().trailing_zeros()).max();
        let plain = places.iter().all(|place| place.denom().count_ones() == 1);
        let reached = if plain { 6 } else { 3 };
        let finest = depth.is_none_or(|depth| depth <= reached);
        prop_assert!(bar.exact || !finest, "{bar:?}");
        if bar.exact {
            let mut place = offset;
            for head in &bar.heads {
                prop_assert_eq!(head.place, place);
                let printed = metre.beats_of(bar.part_of_semibreve(head));
                prop_assert_eq!(printed, head.beats, "{:?}", head);
                place = place + head.beats;
            }
            prop_assert_eq!(place, metre.bar());
        }
        // Each note begins at its own place, and ties join the heads of one note.
        let mut at = offset;
        let mut before = false;
        for (index, note) in notes.iter().enumerate() {
            let from = bar.heads.partition_point(|head| head.note < index);
            let to = bar.heads.partition_point(|head| head.note <= index);
            let heads = &bar.heads[from..to];
            if !before {
                prop_assert_eq!(heads.first().map(|head| (head.place, head.begins)), Some((at, true)));
            }
            if let [inner @ .., last] = heads {
                prop_assert!(inner.iter().all(|head| head.tied));
                if !note.tied {
                    prop_assert!(!last.tied);
                }
            }
            at = at + note.beats;
            before = note.tied;
        }
        for (own, tuplet) in bar.tuplets.iter().enumerate() {
            for (place, head) in bar.heads.iter().enumerate() {
                prop_assert_eq!(head.tuplet == Some(own), tuplet.heads.contains(&place));
            }
        }
    }

    /// In 6/8 no plain minim crosses the second beat.
    #[test]
    fn over_a_compound_beat_a_head_stands_from_beat_to_beat((metre, offset, notes) in bars()) {
        let bar = write_bar(metre, offset, &notes);
        for head in bar.heads.iter().filter(|_| metre.is_compound() && bar.exact) {
            let end = head.place + head.beats;
            let crosses = head.place.floor() + Beats::ONE < end;
            let whole = head.place == head.place.floor() && end == end.floor();
            prop_assert!(!crosses || whole || head.tuplet.is_some(), "{:?}", head);
        }
    }
}

#[test]
fn a_length_finer_than_any_value_is_said_to_be_inexact() {
    let metre = Metre::FOUR_FOUR;
    let fine = Length {
        beats: Beats::new(1, 1024),
        tied: false,
    };
    let rest = Length {
        beats: metre.bar() - fine.beats,
        tied: false,
    };
    let bar = write_bar(metre, Beats::ZERO, &[fine, rest]);
    assert!(!bar.exact);
    assert_eq!(bar.heads.len(), 2);
    assert_eq!(bar.heads[0].value.value, NoteValue::Hemidemisemiquaver);
}
