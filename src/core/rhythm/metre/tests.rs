//! Tests of metres: how they are read and how they are counted.

use super::*;

#[test]
fn the_beat_is_the_minim_in_two_two_and_the_dotted_crotchet_in_compound_metres() {
    assert_eq!(Metre::TWO_TWO.beats_of(Fraction::new(1, 2)), Beats::ONE);
    assert_eq!(Metre::SIX_EIGHT.beats_of(Fraction::new(3, 8)), Beats::ONE);
    assert_eq!(
        Metre::FOUR_FOUR.beats_of(Fraction::new(1, 8)),
        Beats::new(1, 2)
    );
    for above in 1..=32 {
        for below in [1, 2, 4, 8, 16] {
            let metre = Metre::of(above, below).expect("a metre");
            let bar = metre.semibreves_of(metre.bar());
            assert_eq!(bar, Fraction::new(i128::from(above), i128::from(below)));
            assert_eq!(Metre::parse(&metre.to_string()), Ok(metre));
        }
    }
}

/// The beats of each metre as in theory books (common practice, no source).
#[test]
fn beats_are_counted_as_usual() {
    for (text, beats, name) in [
        ("3/8", 3, "quaver"),
        ("5/8", 5, "quaver"),
        ("7/8", 7, "quaver"),
        ("9/8", 3, "dotted crotchet"),
        ("5/4", 5, "crotchet"),
        ("6/4", 2, "dotted minim"),
        ("3/2", 3, "minim"),
        ("4/2", 4, "minim"),
        ("6/2", 6, "minim"),
        ("2/1", 2, "semibreve"),
        ("6/16", 2, "dotted quaver"),
        ("2+3/8", 5, "quaver"),
    ] {
        let metre = Metre::parse(text).expect("a metre");
        assert_eq!(metre.beats_in_a_bar(), beats, "{text}");
        let (value, dotted) = metre.beat_value();
        let dotted = if dotted { "dotted " } else { "" };
        assert_eq!(format!("{dotted}{}", value.name()), name, "{text}");
    }
}

/// The usual groups of theory books are two and three for 5/8, and twos and a three for 7/8 (common
/// practice, no source). ABC 2.1 section 3.1.6 writes other groups as sums.
#[test]
fn quavers_are_counted_in_groups() {
    for (text, counts, beams, written) in [
        ("5/8", 2, "00111", "5/8"),
        ("2+3/8", 2, "00111", "5/8"),
        ("3+2/8", 2, "00011", "3+2/8"),
        ("(3+2)/8", 2, "00011", "3+2/8"),
        ("7/8", 3, "0011222", "7/8"),
        ("3+2+2/8", 3, "0001122", "3+2+2/8"),
        ("2+2+2+3/8", 4, "001122333", "2+2+2+3/8"),
        ("3+3+3/8", 3, "012", "9/8"),
        ("3+3+2/8", 3, "00011122", "3+3+2/8"),
        ("3+2/4", 5, "01234", "3+2/4"),
        ("2+2/4", 4, "0123", "2+2/4"),
        ("5/4", 5, "01234", "5/4"),
    ] {
        let metre = Metre::parse(text).expect("a metre");
        assert_eq!(metre.counts_in_a_bar(), counts, "{text}");
        let beats = metre.beats_in_a_bar();
        let places = (0..i128::from(beats)).map(Beats::whole);
        let found: String = places.map(|at| metre.beam_at(at).to_string()).collect();
        assert_eq!(found, beams, "{text}");
        let counted = (0..beats).filter(|beat| metre.is_counted(*beat)).count();
        assert_eq!(counted as u32, counts, "{text}");
        let of: String = (0..beats)
            .map(|beat| metre.count_of(beat).to_string())
            .collect();
        assert_eq!(of, beams, "{text}");
        assert_eq!(metre.printed(), written);
        assert_eq!(
            Metre::parse(written).map(Metre::counts_in_a_bar),
            Ok(counts)
        );
    }
    // The written form does not depend on the groups.
    let metre = Metre::parse("3+2/8").expect("a metre");
    assert_eq!(metre.to_string(), "5/8");
    assert!(Metre::parse("0+5/8").is_err());
}

/// Equal groups are beats: 2+2+2/8 has three crotchet beats, not six quavers with three clicks.
#[test]
fn groups_that_are_alike_are_beats() {
    for (text, beats, name, same) in [
        ("2+2+2/8", 3, "crotchet", "6/8 by 1/4"),
        ("4+4/8", 2, "minim", "8/8 by 1/2"),
        ("2+2+2/4", 3, "minim", "6/4 by 1/2"),
        ("4+2/4", 6, "crotchet", "6/4 by 1/4"),
        ("3+3/8", 2, "crotchet", "6/8"),
    ] {
        let metre = Metre::parse(text).expect("a metre");
        assert_eq!(metre.beats_in_a_bar(), beats, "{text}");
        assert_eq!(metre.beat_value().0.name(), name, "{text}");
        assert_eq!(metre.to_string(), same, "{text}");
        assert!(!metre.is_grouped(), "{text}");
    }
}

/// A tempo that counts quavers is twice the tempo that counts crotchets, and the text says which.
#[test]
fn the_tempo_of_short_beats_is_that_of_their_notes() {
    for (text, quicker, counts, groups) in [
        ("5/8", 2, "quavers", Some("2 + 3")),
        ("3+2/8", 2, "quavers", Some("3 + 2")),
        ("3/8", 2, "quavers", None),
        ("5/16", 4, "semiquavers", Some("2 + 3")),
        ("6/8", 1, "beats", None),
        ("6/16", 1, "beats", None),
        ("4/4", 1, "beats", None),
        ("2/2", 1, "beats", None),
    ] {
        let metre = Metre::parse(text).expect("a metre");
        let own = metre.beats_in_a_crotchet();
        assert_eq!(own, Fraction::from_integer(quicker), "{text}");
        assert_eq!(metre.counts_of_tempo(), counts, "{text}");
        assert_eq!(metre.groups_spoken().as_deref(), groups, "{text}");
    }
    let orders = |text| -> Vec<String> {
        let metre = Metre::parse(text).expect("a metre");
        let orders = metre.orders_of_groups().into_iter();
        orders.filter_map(Metre::groups_spoken).collect()
    };
    assert_eq!(orders("7/8"), ["2 + 2 + 3", "3 + 2 + 2", "2 + 3 + 2"]);
    assert_eq!(orders("6/8"), [""; 0]);
}

#[test]
fn a_beat_of_ones_own_must_fill_the_bar() {
    let metre = Metre::parse("3/8").expect("a metre");
    let one = metre.with_beat(Fraction::new(3, 8)).expect("one in a bar");
    assert_eq!((one.beats_in_a_bar(), one.is_compound()), (1, true));
    assert_eq!(one.to_string(), "3/8 by 3/8");
    let quavers = Metre::TWO_FOUR.with_beat(Fraction::new(1, 8));
    assert_eq!(quavers.map(Metre::beats_in_a_bar), Some(4));
    assert_eq!(metre.with_beat(Fraction::new(1, 4)), None);
    assert_eq!(metre.with_beat(Fraction::new(1, 3)), None);
    // Groups are groups of the usual beat; a metre with another beat has none.
    let grouped = Metre::parse("3+2/8").expect("a metre");
    let counts = |below: i128| {
        let metre = grouped.with_beat(Fraction::new(1, below));
        metre.map(Metre::counts_in_a_bar)
    };
    assert_eq!((counts(8), counts(16)), (Some(2), Some(10)));
    assert_eq!(
        Metre::of(32, 1).and_then(|m| m.with_beat(Fraction::new(1, 2))),
        None
    );
}

#[test]
fn what_is_no_metre_is_told() {
    for text in [
        "", "4", "0/4", "33/4", "4/3", "4/32", "4/0", "-4/4", "4/4/4", "free", "٣/٤", "0004/4",
    ] {
        let told = Metre::parse(text).expect_err(text).to_string();
        assert_eq!(told, format!("metre `{text}` is not {}", Metre::EXPECTED));
    }
}

/// ABC 2.1 §3.1.6: "the symbols C and C| to denote common time (4/4) and cut time (2/2)".
#[test]
fn the_letters_of_abc_are_metres() {
    assert_eq!(Metre::parse("C"), Ok(Metre::FOUR_FOUR));
    assert_eq!(Metre::parse(" C| "), Ok(Metre::TWO_TWO));
}

/// A usual example of theory books: from 2/4 to 6/8 with quaver = quaver, a dotted crotchet lasts a
/// crotchet and a half. With crotchet = dotted crotchet the beat keeps its length (common practice,
/// no source).
#[test]
fn a_note_that_stays_equal_says_how_long_a_beat_lasts() {
    let quaver = Fraction::new(1, 8);
    let crotchet = Fraction::new(1, 4);
    let jig = Metre::SIX_EIGHT
        .where_equal(Metre::TWO_FOUR, (quaver, quaver))
        .expect("a pace");
    assert_eq!(jig.pace(), Fraction::new(3, 2));
    assert_eq!(jig.to_string(), "6/8 at 3/2");
    assert_eq!(jig.bar_of_time(), Beats::whole(3));
    assert_eq!(jig.equal_notes(Metre::TWO_FOUR), Some((quaver, quaver)));
    let beat = Metre::SIX_EIGHT
        .where_equal(Metre::TWO_FOUR, (crotchet, Fraction::new(3, 8)))
        .expect("a pace");
    assert_eq!(beat, Metre::SIX_EIGHT);
    assert_eq!(beat.equal_notes(Metre::TWO_FOUR), None);
    // Changing back gives the crotchet its first length again.
    let march = Metre::TWO_FOUR
        .where_equal(jig, (quaver, quaver))
        .expect("a pace");
    assert_eq!(march, Metre::TWO_FOUR);
    assert_eq!(march.equal_notes(jig), Some((quaver, quaver)));
    // After 2/2 the beat keeps its length with minim = crotchet, and lasts half as long with
    // crotchet = crotchet.
    let minim = Fraction::new(1, 2);
    let slow = Metre::FOUR_FOUR.where_equal(Metre::TWO_TWO, (minim, crotchet));
    assert_eq!(slow, Some(Metre::FOUR_FOUR));
    let reel = Metre::FOUR_FOUR
        .where_equal(Metre::TWO_TWO, (crotchet, crotchet))
        .expect("a pace");
    assert_eq!(reel.pace(), minim);
    assert_eq!(reel.equal_notes(Metre::TWO_TWO), Some((quaver, quaver)));
    for none in [(Fraction::new(5, 8), quaver), (quaver, Fraction::new(1, 3))] {
        assert_eq!(Metre::SIX_EIGHT.where_equal(Metre::TWO_FOUR, none), None);
    }
}

#[test]
fn a_pace_is_a_ratio_of_small_numbers() {
    let with = |above, below| {
        let metre = Metre::TWO_FOUR.with_pace(Fraction::new(above, below))?;
        Some(metre.pace())
    };
    for (above, below) in [(1, 1), (3, 2), (255, 1), (1, 255)] {
        assert_eq!(with(above, below), Some(Fraction::new(above, below)));
    }
    for (above, below) in [(0, 1), (-1, 1), (256, 1), (1, 256)] {
        assert_eq!(with(above, below), None, "{above}/{below}");
    }
}

/// A ratio that is less than two per cent off is taken; a ratio that is exactly two per cent off is
/// not.
#[test]
fn a_beat_of_about_a_simple_ratio_has_that_ratio() {
    let jig = Metre::SIX_EIGHT
        .with_pace(Fraction::new(3, 2))
        .expect("a pace");
    for before in [Metre::TWO_FOUR, jig] {
        let ratio = Fraction::new(2, 3);
        let near = |percent: i128| {
            let pace = before.pace() * ratio * Fraction::new(percent, 100);
            let metre = Metre::SIX_EIGHT.at_about(before, pace)?;
            Some(metre.pace() / before.pace())
        };
        for percent in [99, 100, 101] {
            assert_eq!(near(percent), Some(ratio), "{percent}");
        }
        for percent in [97, 98, 102, 103] {
            assert_eq!(near(percent), None, "{percent}");
        }
    }
}

#[test]
fn no_metre_is_none() {
    assert_eq!(Metre::parse("none"), Ok(Metre::FREE));
    assert_eq!(Metre::FREE.to_string(), "none");
    assert!(Metre::FREE != Metre::FOUR_FOUR && Metre::FREE.is_free());
    // ABC 2.1 section 3.1.7: "if there is no M: field … or it is M:none … the default is 1/8"
    assert_eq!(Metre::FREE.default_unit(), Fraction::new(1, 8));
}

#[test]
fn short_beats_share_a_beam_up_to_a_crotchet() {
    let beams = |text: &str| -> Vec<i128> {
        let metre = Metre::parse(text).expect("a metre");
        (0..i128::from(metre.beats_in_a_bar()))
            .map(|beat| metre.beam_at(Beats::whole(beat)))
            .collect()
    };
    assert_eq!(beams("3/8"), [0, 0, 0]);
    assert_eq!(beams("5/8"), [0, 0, 1, 1, 1]);
    assert_eq!(beams("7/8"), [0, 0, 1, 1, 2, 2, 2]);
    assert_eq!(beams("4/8"), [0, 0, 1, 1]);
    assert_eq!(beams("4/4"), [0, 1, 2, 3]);
    assert_eq!(beams("6/16"), [0, 1]);
    assert_eq!(beams("8/16"), [0, 0, 0, 0, 1, 1, 1, 1]);
    // An odd number of semiquavers is counted in groups, as quavers are.
    assert_eq!(beams("7/16"), [0, 0, 1, 1, 2, 2, 2]);
}

/// ABC 2.1 §3.1.7: "if the meter … is less than 0.75 the default unit note length is a
/// sixteenth note; if it is 0.75 or greater, it is an eighth note".
#[test]
fn the_default_unit_is_that_of_abc() {
    assert_eq!(Metre::TWO_FOUR.default_unit(), Fraction::new(1, 16));
    for metre in [
        Metre::THREE_FOUR,
        Metre::FOUR_FOUR,
        Metre::SIX_EIGHT,
        Metre::TWO_TWO,
    ] {
        assert_eq!(metre.default_unit(), Fraction::new(1, 8), "{metre}");
    }
}
