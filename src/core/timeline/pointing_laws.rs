//! Tests of pointing: bars add up, beats stay in place, and each pair has the ratio asked for.

use super::*;
use crate::drill::read_music;
use crate::movement::{Lengths, Schools};
use crate::rhythm::{Metre, Pointing, PointingSource};
use crate::score::{Score, resolve_music};
use crate::units::{Beats, Bpm, Fraction, Millis, SampleRate};
use proptest::prelude::*;
use std::fmt::Write as _;

fn score(text: &str, metre: Metre, pointing: Pointing) -> Score {
    let (mut music, problems) = read_music(text, metre, Fraction::new(1, 8), "");
    assert_eq!(problems, [], "{text}");
    music.pointing = pointing;
    resolve_music(
        &music,
        Beats::whole(metre.beats_in_a_bar().into()),
        &Schools::none(),
    )
}

fn pointed(text: &str) -> Pointing {
    Pointing::parse(text, PointingSource::File).expect("a ratio")
}

fn laid(score: &Score, tempo: &str) -> Timeline {
    lay(
        score,
        &Layout::at(Bpm::parse(tempo).expect("a tempo"), SampleRate::USUAL),
    )
}

/// Where each melody note begins. Gracenotes that begin on its place count as its beginning.
fn onsets(score: &Score, timeline: &Timeline) -> Vec<Beats> {
    let mut found = Vec::new();
    for note in score.notes.iter().filter(|note| !note.continues) {
        let begins = timeline.first.iter().find(|event| match event.kind {
            EventKind::Sound(sound) => {
                let before = usize::from(sound.id.grace) <= note.group.before_beat;
                sound.id.melody() == note.id && (sound.id.grace == 0 || !before)
            }
            _ => false,
        });
        found.push(begins.expect("it sounds").beat);
    }
    found
}

fn between(all: &[Beats]) -> Vec<Beats> {
    all.windows(2).map(|two| two[1] - two[0]).collect()
}

/// A line of a march composed for this test, in 2/4. It has pairs of a beat and of half a beat,
/// snaps, and a taorluath onto a cut note.
const MARCH: &str =
    "{g}A>B {gcd}c3/2{GdGe}A/|{g}c3/4d//{e}c3/4A// {g}B<d|{g}e>c {g}A2|{g}c>A {g}A2|";

/// In a pair of a beat four to one puts the onset at 4/5 of the beat, and in a snap at 1/5. Pairs
/// of half a beat are divided alike.
#[test]
fn pairs_of_a_beat_and_of_half_a_beat_get_their_ratio() {
    let score = score(MARCH, Metre::TWO_FOUR, pointed("4:1"));
    let timeline = laid(&score, "60");
    let fifths = |all: &[(i128, i128)]| -> Vec<Beats> {
        all.iter()
            .map(|(above, below)| Beats::new(*above, *below))
            .collect()
    };
    let (dot, cut) = ((4, 5), (1, 5));
    let expected = fifths(&[
        dot,
        cut,
        dot,
        cut,
        (2, 5),
        (1, 10),
        (2, 5),
        (1, 10),
        cut,
        dot,
        dot,
        cut,
        (1, 1),
        dot,
        cut,
    ]);
    assert_eq!(between(&onsets(&score, &timeline)), expected);
    assert_eq!(timeline.pairs.len(), 7);
    // When the closing note is the second of a pair, the timeline gives its moved place.
    let score = self::score("{g}A2 {g}c>B|", Metre::TWO_FOUR, pointed("4:1"));
    assert_eq!(laid(&score, "60").closing, Beats::new(9, 5));
}

/// Three to one to two: in a beat of three parts the first two notes are the pair, and the third
/// stays in place.
#[test]
fn in_a_compound_beat_the_quaver_stays_where_it_is() {
    let text = "{g}A>B c {g}B2 c|{g}d<e f {g}d e>d|";
    let score = score(text, Metre::SIX_EIGHT, pointed("4:1"));
    let found = between(&onsets(&score, &laid(&score, "60")));
    let thirds: Vec<Beats> = [8, 2, 5, 10, 5, 2, 8, 5, 5, 8]
        .map(|fifteenths| Beats::new(fifteenths, 15))
        .into();
    assert_eq!(found, thirds);
}

/// The cut note lasts at least 90 ms with its gracenote (from experience, 55 to 65 % sure). A pair
/// of half a beat at 80 beats a minute lasts 375 ms, so four to one would leave 75 ms. The range
/// does not ask for a ratio that the timeline cannot play.
#[test]
fn the_cut_note_keeps_ninety_milliseconds() {
    let score = score(MARCH, Metre::TWO_FOUR, pointed("4:1"));
    let tempo = Bpm::whole(80).expect("a tempo");
    let timeline = laid(&score, "80");
    let least = Millis::whole(90).to_beats(tempo);
    let found = between(&onsets(&score, &timeline));
    assert_eq!(found[4..6], [Beats::new(1, 2) - least, least]);
    assert_eq!(found[..2], [Beats::new(4, 5), Beats::new(1, 5)]);
    let half = &timeline.pairs[2];
    assert_eq!(half.ratio, Fraction::new(19, 6));
    assert_eq!(
        half.range,
        Some((Fraction::from_integer(3), Fraction::from_integer(6)))
    );
    let quick = laid(&score, "110");
    let half = &quick.pairs[2];
    assert!(half.ratio < Fraction::from_integer(3));
    assert_eq!(half.range.map(|range| range.0), Some(half.ratio));
    // At the quickest tempo the two notes are equally long; the short note never becomes the longer
    // one.
    let quickest = laid(&score, "300");
    let pair = &quickest.pairs[2];
    assert_eq!(pair.ratio, Fraction::from_integer(1));
}

/// A taorluath to the note behind a pair takes 180 ms at 80 beats a minute. A cut of 150 ms cannot
/// give that, so the dot gives it.
#[test]
fn a_movement_behind_the_cut_takes_its_time_from_the_dot() {
    let score = score("{g}c>B {GdGe}A2|", Metre::TWO_FOUR, pointed("4:1"));
    let timeline = laid(&score, "80");
    let ms = |whole: i128| Millis::whole(whole).to_beats(timeline.tempo);
    let found = between(&onsets(&score, &timeline));
    let taken: Beats = ms(55) + ms(35) + ms(55) + ms(35);
    // The movement takes at most three fifths of its note.
    assert_eq!(taken, ms(180));
    assert_eq!(found[1], ms(300));
    assert!(timeline.crowded.is_empty());
}

/// A grip from low G takes 90 ms at 80 beats a minute, and the cut keeps 90 ms besides.
#[test]
fn a_cut_keeps_ninety_milliseconds_beside_what_is_taken_from_it() {
    let score = score("{g}A>G {dG}A2|", Metre::TWO_FOUR, pointed("4:1"));
    let timeline = laid(&score, "80");
    let found = between(&onsets(&score, &timeline));
    assert_eq!(found[1], Millis::whole(180).to_beats(timeline.tempo));
}

/// Only pairs move. A dot that crosses the beat, a triplet and an even quaver stay as written.
#[test]
fn what_is_no_pair_inside_a_beat_stays_as_written() {
    for (text, metre) in [
        ("{g}A3 B {g}c2 d2|", Metre::FOUR_FOUR),
        ("{g}A2 {g}c d {g}e2 d2|", Metre::FOUR_FOUR),
        ("{g}A c3/2B/ {g}A {g}c4|", Metre::FOUR_FOUR),
        ("{g}A2 B {g}c2 d|", Metre::SIX_EIGHT),
    ] {
        let plain = laid(&score(text, metre, Pointing::default()), "60");
        assert_eq!(
            laid(&score(text, metre, pointed("7:1")), "60"),
            plain,
            "{text}"
        );
    }
    let written = score(MARCH, Metre::TWO_FOUR, pointed("as written"));
    let plain = score(MARCH, Metre::TWO_FOUR, Pointing::default());
    assert_eq!(laid(&written, "60"), laid(&plain, "60"));
    assert!(laid(&plain, "60").pairs.is_empty());
}

/// The pairs of an air are never judged: a note between the beats has no exact place when it is at
/// most half or at least twice as long as its neighbour. A note on a beat has an exact place, and
/// so have equal quavers.
#[test]
fn of_an_air_the_pairs_between_the_beats_are_left_alone() {
    let air = Pointing {
        judged: false,
        ..Pointing::default()
    };
    let pairs = |text: &str, metre: Metre| -> Vec<(String, bool, Fraction, Beats)> {
        let timeline = laid(&score(text, metre, air), "60");
        let pairs = timeline.pairs.iter();
        pairs
            .map(|pair| {
                assert_eq!(pair.range, None, "{text}");
                (
                    pair.second.to_string(),
                    pair.long_first,
                    pair.ratio,
                    pair.onset,
                )
            })
            .collect()
    };
    let of = |id: &str, long_first, ratio, onset| {
        (
            id.to_owned(),
            long_first,
            Fraction::from_integer(ratio),
            onset,
        )
    };
    // The music has a dot and its cut, a snap, equal quavers, and a minim before a crotchet that
    // stands on its beat.
    assert_eq!(
        pairs("A3/2B/ c/d3/2 A B c2|d4 e2 f2|", Metre::FOUR_FOUR),
        [
            of("1.2", true, 3, Beats::new(3, 4)),
            of("1.4", false, 3, Beats::new(5, 4)),
        ]
    );
    // Pairs of exactly two to one are never judged either.
    assert_eq!(
        pairs("A2 B c2 B|A B2 c B2|", Metre::SIX_EIGHT),
        [
            of("1.2", true, 2, Beats::new(2, 3)),
            of("1.4", true, 2, Beats::new(5, 3)),
            of("2.2", false, 2, Beats::new(7, 3)),
            of("2.4", false, 2, Beats::new(10, 3)),
        ]
    );
    assert_eq!(
        pairs("A3 B2 c d2|", Metre::FOUR_FOUR),
        [of("1.3", true, 2, Beats::new(5, 2))]
    );
}

/// A grip takes 145 ms at 80 beats a minute and the cut before it keeps 90 ms, so seven to one
/// comes out as round as four to one. The same holds for the short note of a snap. Where no
/// movement takes time, seven to one is reached.
#[test]
fn what_keeps_pairs_round_is_the_movement_that_takes_their_time() {
    let tempo = Bpm::whole(80).expect("a tempo");
    let kept = |text: &str| {
        let of = |ratio| score(text, Metre::TWO_FOUR, pointed(ratio));
        let names = kept_round(&of("7:1"), &of("4:1"), tempo, Lengths::default());
        names.into_iter().collect::<Vec<_>>()
    };
    assert_eq!(kept("{g}A>B {GdG}c2|"), ["grip"]);
    assert_eq!(kept("{g}A<{GdG}B {g}c2|"), ["grip"]);
    assert_eq!(
        kept("{g}A>B {GdGe}A2|{g}d<{GdG}c {g}A2|"),
        ["grip", "taorluath"]
    );
    assert_eq!(kept("{g}A>B {g}c2|"), [""; 0]);
    let even = score("{g}A B {GdG}c2|", Metre::TWO_FOUR, pointed("4:1"));
    assert!(kept_round(&even, &even, tempo, Lengths::default()).is_empty());
}

/// The pointing of a tune does not change its cells. A stage with its own pointing is another cell.
#[test]
fn the_written_text_stays_unless_a_stage_is_pointed_for_itself() {
    let text = |pointing| score(MARCH, Metre::TWO_FOUR, pointing).written_text();
    let plain = text(Pointing::default());
    assert_eq!(text(pointed("4:1")), plain);
    assert_eq!(text(Pointing::of_kind("march", Metre::TWO_FOUR)), plain);
    let own = Pointing::parse("7:1", PointingSource::Stage).expect("a ratio");
    assert_eq!(text(own), format!("{plain} pointed 7:1"));
}

/// The written notes of one beat of a tune in 2/4 or 4/4, in quavers.
fn beat() -> impl Strategy<Value = &'static [(i128, i128)]> {
    const BEATS: [&[(i128, i128)]; 8] = [
        &[(2, 1)],
        &[(3, 2), (1, 2)],
        &[(1, 2), (3, 2)],
        &[(1, 1), (1, 1)],
        &[(3, 4), (1, 4), (3, 4), (1, 4)],
        &[(1, 4), (3, 4), (1, 1)],
        &[(1, 2), (1, 1), (1, 2)],
        &[(1, 1), (3, 4), (1, 4)],
    ];
    (0..BEATS.len()).prop_map(|at| BEATS[at])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Random bars at random ratios and tempi. Every note at the beginning of a beat stands where
    /// it is written; clicks and lengths are those of the written music; no sound has a negative
    /// length. A pair has the ratio asked for unless its cut would be shorter than 90 ms.
    #[test]
    fn bars_add_up_and_beats_stay(
        beats in prop::collection::vec(beat(), 4..13),
        (long, short) in (1_i128..40, 1_i128..12),
        tempo in 30_u16..160,
        graced in prop::collection::vec(0..4_usize, 64),
    ) {
        let groups = ["", "{g}", "{GdGe}", "{gcd}"];
        let notes = ["A", "c"];
        let mut text = String::new();
        let mut number = 0;
        let whole = beats.len() / 4 * 4;
        for (place, beat) in beats[..whole].iter().enumerate() {
            for (above, below) in *beat {
                let note = notes[number % 2];
                // Each group stands where it can be played: a taorluath closes on low A, a doubling
                // on C.
                let group = match (graced[number % 64], note) {
                    (2, "c") | (3, "A") => groups[1],
                    (which, _) => groups[which],
                };
                write!(text, "{group}{note}{above}/{below} ").expect("text has room");
                number += 1;
            }
            if place % 4 == 3 {
                text += "|";
            }
        }
        let ratio = format!("{}:{short}", (long * short).min(16 * short));
        let pointing = pointed(&ratio);
        let asked = pointing.dots.expect("a ratio").ratio;
        let plain = score(&text, Metre::FOUR_FOUR, Pointing::default());
        let score = score(&text, Metre::FOUR_FOUR, pointing);
        let tempo = tempo.to_string();
        let (timeline, as_written) = (laid(&score, &tempo), laid(&plain, &tempo));
        prop_assert_eq!(timeline.cycle, as_written.cycle);
        prop_assert_eq!(&timeline.bar_lines, &as_written.bar_lines);
        let clicks = |timeline: &Timeline| -> Vec<TimelineEvent> {
            let click = |event: &&TimelineEvent| matches!(event.kind, EventKind::Click(_));
            timeline.first.iter().filter(click).copied().collect()
        };
        prop_assert_eq!(clicks(&timeline), clicks(&as_written));
        let onsets = onsets(&score, &timeline);
        for (note, onset) in score.notes.iter().zip(&onsets) {
            if note.place == note.place.floor() {
                prop_assert_eq!(*onset, note.start);
            }
        }
        let ends = onsets.iter().skip(1).copied().chain([score.length]);
        let total: Beats = onsets.iter().zip(ends).map(|(start, end)| end - *start).sum();
        prop_assert_eq!(total, Beats::whole(whole as i128));
        let sounds: Vec<Beats> = timeline.first.iter().filter_map(|event| match event.kind {
            EventKind::Sound(_) if !event.ahead => Some(event.beat),
            _ => None,
        }).collect();
        prop_assert!(sounds.windows(2).all(|two| two[0] < two[1]));
        let shortest = Millis::whole(90).to_beats(timeline.tempo);
        for pair in &timeline.pairs {
            let at = score.notes.iter().position(|note| note.id == pair.second).expect("a note");
            let end = onsets.get(at + 1).copied().unwrap_or(score.length);
            let (first, second) = (onsets[at] - onsets[at - 1], end - onsets[at]);
            let (long, short) = if pair.long_first { (first, second) } else { (second, first) };
            prop_assert_eq!(long.0 / short.0, pair.ratio);
            if pair.ratio != asked {
                let behind = if pair.long_first { at + 1 } else { at };
                let group = score.notes.get(behind).map(|note| &note.group);
                let taken: Beats = group.into_iter().flat_map(|group| {
                    let before = group.parts.iter().take(group.before_beat);
                    before.map(|part| Lengths::default().of(part.role, timeline.tempo))
                }).sum();
                prop_assert!(pair.ratio < asked);
                let needed = (shortest + taken).max(taken * (Fraction::from_integer(1) / Lengths::MOST_OF_A_NOTE));
                prop_assert!(short == needed || long == short);
            }
        }
    }
}

/// When the cut of a snap has too little time for the grip behind it, the grip takes its time from
/// the dot and keeps its full length. At 100 beats a minute a cut of a fifth of a beat would be 120
/// ms, of which a movement may take 72 ms.
#[test]
fn a_grip_behind_a_cut_is_not_crowded() {
    for text in ["{g}A<{GdG}B {g}A2|", "{g}c<{GdG}e {g}A2|"] {
        let timeline = laid(&score(text, Metre::TWO_FOUR, pointed("4:1")), "100");
        assert_eq!(timeline.crowded, [], "{text}");
    }
}
