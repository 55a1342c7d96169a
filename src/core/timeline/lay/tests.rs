use super::*;
use crate::chanter::Note;
use crate::drill::{built_in, read, read_music};
use crate::movement::Schools;
use crate::rhythm::{ClickWeight, Metre, Subdivision};
use crate::score::resolve_music;
use crate::units::{Fraction, Frames};

fn tempo(text: &str) -> Bpm {
    Bpm::parse(text).expect("a tempo")
}

fn written(text: &str, metre: Metre, breath: i128) -> Score {
    let (music, problems) = read_music(text, metre, metre.default_unit(), "");
    assert_eq!(problems, [], "{text}");
    resolve_music(&music, Beats::whole(breath), &Schools::default())
}

/// Melody notes and gracenotes of a cycle, each with its beat.
fn sounded(events: &[TimelineEvent]) -> Vec<(Note, Beats)> {
    events
        .iter()
        .filter_map(|event| match event.kind {
            EventKind::Sound(sounded) => Some((sounded.note, event.beat)),
            _ => None,
        })
        .collect()
}

/// The closing note of a grip falls on its written place; the grip stands before it.
#[test]
fn a_grip_takes_its_time_from_the_note_before() {
    let drill = built_in("grip-from-d").expect("it is built in");
    let (drill, _) = read(drill.text.as_bytes());
    let drill = drill.expect("it reads");
    let score = resolve_music(&drill.stages[4].music, Beats::whole(4), &drill.schools);
    let timeline = lay(&score, &Layout::at(tempo("80"), SampleRate(48_000)));
    // At 80 beats a minute a beat is 750 ms, a gracenote 35 ms and each tone 55 ms.
    let ms = |count: i128| Millis::whole(count).to_beats(tempo("80"));
    let two = Beats::whole(2);
    assert_eq!(
        sounded(&timeline.first)[..6],
        [
            (Note::HighG, Beats::ZERO),
            (Note::D, ms(35)),
            (Note::LowG, two - ms(145)),
            (Note::B, two - ms(90)),
            (Note::LowG, two - ms(55)),
            (Note::LowA, two),
        ]
    );
    assert!(timeline.crowded.is_empty());
}

/// These gracenotes sound in the count-in and at the end of a cycle, so none of them is lost.
#[test]
fn gracenotes_before_the_first_note_sound_before_the_repetition() {
    let score = written("{GdG}A2 B2 {GdG}c2 B2|", Metre::TWO_FOUR, 2);
    let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
    let ahead = |events: &[TimelineEvent]| events.iter().filter(|event| event.ahead).count();
    assert_eq!(ahead(&timeline.lead_in), 3);
    assert_eq!(ahead(&timeline.first), 3);
    let played = timeline.played(2);
    assert_eq!(played.iter().filter(|placed| placed.event.ahead).count(), 6);
    assert!(played.windows(2).all(|pair| pair[0].frame <= pair[1].frame));
}

/// Without a breath the last note is shortened by the gracenotes that begin the next repetition;
/// otherwise both would sound at once. Every sound ends where the next one begins, from cycle to
/// cycle.
#[test]
fn the_last_note_ends_where_the_next_repetitions_gracenotes_begin() {
    for breath in [0, 2] {
        let score = written("{GdG}A2 B2 {GdG}c2 B2|", Metre::TWO_FOUR, breath);
        let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
        let sounds: Vec<(Beats, Beats)> = timeline
            .again
            .iter()
            .filter_map(|event| match event.kind {
                EventKind::Sound(sounded) => Some((event.beat, sounded.length)),
                _ => None,
            })
            .collect();
        assert_eq!(sounds.len(), 10);
        let (melody, ahead) = sounds.split_at(7);
        for pair in melody.windows(2) {
            assert_eq!(pair[0].0 + pair[0].1, pair[1].0, "breath {breath}");
        }
        let (last, length) = melody[6];
        let end = if breath == 0 {
            ahead[0].0
        } else {
            score.length
        };
        assert_eq!(last + length, end, "breath {breath}");
        for pair in ahead.windows(2) {
            assert_eq!(pair[0].0 + pair[0].1, pair[1].0, "breath {breath}");
        }
        assert_eq!(ahead[2].0 + ahead[2].1, timeline.cycle);
    }
}

/// When the pickup leaves half a bar or more, the count-in is what it leaves. When the pickup
/// leaves less, the count-in is one bar longer.
#[test]
fn a_pickup_of_half_a_bar_is_counted_in_by_the_other_half() {
    for (pickup, beats) in [("A2", 3), ("A4", 2), ("A6", 5)] {
        let rest = match pickup {
            "A2" => "d4 B2",
            "A4" => "d4",
            _ => "d2",
        };
        let score = written(&format!("{pickup}|B4 c4|{rest}|"), Metre::FOUR_FOUR, 4);
        let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
        assert_eq!(timeline.lead_in_length, Beats::whole(beats), "{pickup}");
        let clicks = timeline
            .lead_in
            .iter()
            .filter(|event| matches!(event.kind, EventKind::Click(_)));
        assert_eq!(clicks.count() as i128, beats, "{pickup}");
    }
}

#[test]
fn the_count_in_ends_with_the_pickup() {
    let score = written("A2|B4 c4|d4 B2|", Metre::TWO_FOUR, 2);
    let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
    assert_eq!(timeline.lead_in_length, Beats::new(3, 2));
    let downbeats: Vec<Beats> = timeline
        .first
        .iter()
        .filter(|event| {
            matches!(event.kind, EventKind::Click(click) if click.weight == ClickWeight::Bar)
        })
        .map(|event| event.beat)
        .collect();
    assert_eq!(
        downbeats,
        [Beats::new(1, 2), Beats::new(5, 2), Beats::new(9, 2)]
    );
    assert_eq!(timeline.cycle, Beats::whole(6));
}

/// A player of 5/8 counts two in a bar, but the tempo counts quavers. So each quaver has a click,
/// and the quavers between the counts have a soft one.
#[test]
fn quavers_that_are_counted_in_groups_have_a_louder_click_for_each_group() {
    let clicks = |metre: &str, subdivision: Subdivision| -> Vec<(String, i128, u8)> {
        let metre = Metre::parse(metre).expect("a metre");
        let score = written("{g}A4 {g}B6|", metre, 5);
        let layout = Layout {
            subdivision,
            ..Layout::at(tempo("120"), SampleRate(48_000))
        };
        let timeline = lay(&score, &layout);
        let bar = timeline
            .again
            .iter()
            .filter(|event| event.beat < Beats::whole(5));
        bar.filter_map(|event| match event.kind {
            EventKind::Click(click) => Some((
                format!("{:?}", click.weight),
                event.beat.0.to_integer(),
                click.beat,
            )),
            _ => None,
        })
        .collect()
    };
    let click = |weight: &str, beat, count| (weight.to_owned(), beat, count);
    assert_eq!(
        clicks("5/8", Subdivision::Beats),
        [
            click("Bar", 0, 0),
            click("Part", 1, 0),
            click("Beat", 2, 1),
            click("Part", 3, 1),
            click("Part", 4, 1)
        ]
    );
    // No click is finer than the quavers.
    for subdivision in [Subdivision::Beats, Subdivision::Halves] {
        assert_eq!(
            clicks("3+2/8", subdivision),
            [
                click("Bar", 0, 0),
                click("Part", 1, 0),
                click("Part", 2, 0),
                click("Beat", 3, 1),
                click("Part", 4, 1)
            ]
        );
    }
    // Crotchets are counted one by one, even where they are printed in groups.
    assert_eq!(clicks("3+2/4", Subdivision::Beats).len(), 5);
}

/// At quick tempi a movement may take at most three fifths of its note.
#[test]
fn a_crowded_movement_is_told_and_never_swallows_its_note() {
    let score = written("B {GdG}A B {GdG}A B4|", Metre::TWO_FOUR, 2);
    let timeline = lay(&score, &Layout::at(tempo("150"), SampleRate(48_000)));
    assert_eq!(timeline.crowded.len(), 2);
    let notes = sounded(&timeline.first);
    // The first B lasts a quarter of a beat; the grip takes 3/5 of it.
    assert_eq!(notes[1].1, Beats::new(1, 4) - Beats::new(3, 20));
    for events in [&timeline.first, &timeline.again] {
        let notes = sounded(events);
        assert!(notes.windows(2).all(|pair| pair[0].1 < pair[1].1));
    }
}

/// F is opened by a high G gracenote after silence. In later repetitions the note before is high G,
/// so F is opened by the thumb.
#[test]
fn the_last_note_counts_as_the_note_before_from_the_second_repetition_on() {
    let text = "title: x\nmovement: doubling\nfrom: F\nto: HG\nbreath: 0\n\
                stages: [{name: a, before: 2}]\nladder: {from: 50, to: 60, step: 4}\n";
    let (drill, problems) = read(text.as_bytes());
    assert!(problems.is_empty(), "{problems:?}");
    let drill = drill.expect("it reads");
    let score = resolve_music(&drill.stages[0].music, Beats::ZERO, &drill.schools);
    let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
    let opened = |events: &[TimelineEvent]| sounded(events)[0].0;
    assert_eq!(opened(&timeline.first), Note::HighG);
    assert_eq!(opened(&timeline.again), Note::HighA);
    assert_eq!(timeline.first.len(), timeline.again.len());
    let played: Vec<(Option<u64>, Note)> = timeline
        .played(3)
        .iter()
        .filter_map(|placed| match placed.event.kind {
            EventKind::Sound(sounded) if sounded.id.grace == 1 && sounded.id.note == 1 => {
                Some((placed.repetition, sounded.note))
            }
            _ => None,
        })
        .collect();
    assert_eq!(
        played,
        [
            (Some(0), Note::HighG),
            (Some(1), Note::HighA),
            (Some(2), Note::HighA)
        ]
    );
}

/// The clicks of the count-in are counted from its first click. Bar lines stand in the music and in
/// the breath, but not at the end, which is the first bar line of the next repetition.
#[test]
fn clicks_of_the_count_in_and_bar_lines_stand_on_their_beats() {
    let score = written("A4 B4|c4 d4|", Metre::TWO_TWO, 4);
    let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
    let begins: Vec<Beats> = timeline.lead_in.iter().map(|event| event.beat).collect();
    assert_eq!(begins, [0, 1].map(Beats::whole));
    assert_eq!(timeline.bar_lines, [0, 2, 4, 6].map(Beats::whole));
    assert_eq!(timeline.bars_in_a_cycle, 4);
    assert_eq!(timeline.repetition, Beats::whole(4));
    assert_eq!(timeline.closing, Beats::whole(3));
    let none = Layout {
        count_in: false,
        ..Layout::at(tempo("60"), SampleRate(48_000))
    };
    let timeline = lay(&score, &none);
    assert_eq!(
        (timeline.lead_in.len(), timeline.lead_in_length),
        (0, Beats::ZERO)
    );
}

/// Properties of every built-in stage at several tempi: events are sorted without gaps, and no note
/// is swallowed.
#[test]
fn every_built_in_stage_is_sorted_and_gapless() {
    for drill in crate::drill::BUILT_IN {
        let (value, _) = read(drill.text.as_bytes());
        let value = value.expect("built-in drills read");
        for stage in &value.stages {
            for (breath, at) in [(0, "50"), (1, "77.7"), (2, "300")] {
                let breath = value.metre.bar() * Fraction::from_integer(breath);
                let score = resolve_music(&stage.music, breath, &value.schools);
                let timeline = lay(&score, &Layout::at(tempo(at), SampleRate(44_100)));
                let played = timeline.played(3);
                let mut end = None;
                for placed in &played {
                    match placed.event.kind {
                        EventKind::Sound(sounded) => {
                            assert!(sounded.length > Beats::ZERO, "{}", drill.name);
                            if let Some(end) = end {
                                assert_eq!(placed.beat, end, "{} {at}", drill.name);
                            }
                            end = Some(placed.beat + sounded.length);
                        }
                        EventKind::Hush => end = None,
                        EventKind::Click(_) => {}
                    }
                }
                assert!(played.windows(2).all(|pair| pair[0].beat <= pair[1].beat));
            }
        }
    }
}

#[test]
fn a_click_in_a_later_cycle_is_placed_and_not_added_up() {
    let score = written("A4 B4|", Metre::TWO_FOUR, 0);
    let timeline = lay(&score, &Layout::at(tempo("97"), SampleRate(44_100)));
    // Ten hours at 97 beats a minute are 58 200 beats: 2 of count-in and 29 099 cycles of 2.
    let start = timeline.cycle_start(29_099);
    assert_eq!(start, Beats::whole(58_200));
    assert_eq!(
        timeline.frame(Fraction::from_integer(0), start),
        Frames(1_587_600_000)
    );
}

/// At 80 beats a minute a beat is 750 ms and a grip takes 145 ms. The grip stands at the end of the
/// count-in, and at the end of each cycle that another cycle follows.
#[test]
fn the_gracenotes_ahead_of_a_repetition_end_where_it_begins() {
    let score = written("{GdG}A2 B2 {GdG}c2 B2|", Metre::TWO_FOUR, 2);
    let timeline = lay(&score, &Layout::at(tempo("80"), SampleRate(48_000)));
    let ahead = |events: &[TimelineEvent]| -> Vec<Beats> {
        let ahead = events.iter().filter(|event| event.ahead);
        ahead.map(|event| event.beat).collect()
    };
    let before = |end: i128| [145, 90, 55].map(|ms| Beats::whole(end) - Beats::new(ms, 750));
    assert_eq!(timeline.lead_in_length, Beats::whole(2));
    assert_eq!(ahead(&timeline.lead_in), before(2));
    assert_eq!(ahead(&timeline.first), before(4));
    let told = |repetitions: u64| -> Vec<(Beats, Option<u64>)> {
        let played = timeline.played(repetitions);
        let ahead = played.iter().filter(|placed| placed.event.ahead);
        ahead
            .map(|placed| (placed.beat, placed.repetition))
            .collect()
    };
    assert_eq!(told(0), []);
    let belongs = |end: i128, repetition: u64| before(end).map(|beat| (beat, Some(repetition)));
    assert_eq!(told(1), belongs(2, 0));
    assert_eq!(told(2), [belongs(2, 0), belongs(6, 1)].concat());
    // Without a count-in there is no time for gracenotes before the first repetition.
    let at_once = Layout {
        count_in: false,
        ..Layout::at(tempo("80"), SampleRate(48_000))
    };
    assert_eq!(lay(&score, &at_once).lead_in, []);
}

/// The reference fades where a breath begins, and nowhere else.
#[test]
fn only_a_breath_hushes() {
    for (breath, hushes) in [(0, vec![]), (2, vec![Beats::whole(2)])] {
        let score = written("A4 B4|", Metre::TWO_TWO, breath);
        let timeline = lay(&score, &Layout::at(tempo("60"), SampleRate(48_000)));
        let hush = |event: &&TimelineEvent| event.kind == EventKind::Hush;
        let found = timeline.again.iter().filter(hush).map(|event| event.beat);
        assert_eq!(found.collect::<Vec<_>>(), hushes);
    }
}

/// Without a breath the grip on the first note takes its time from the last note, at most three
/// fifths of it. In a breath it has the time it needs.
#[test]
fn the_first_movement_takes_its_time_from_the_last_note_or_from_the_breath() {
    for (breath, taken, crowded) in [
        (0, Beats::new(3, 20), true),
        (2, Beats::new(145, 400), false),
    ] {
        let score = written("{GdG}A4 B3 c|", Metre::TWO_FOUR, breath);
        let timeline = lay(&score, &Layout::at(tempo("150"), SampleRate(48_000)));
        let ahead = timeline.again.iter().find(|event| event.ahead);
        let begins = ahead.expect("a grip").beat;
        assert_eq!(timeline.cycle - begins, taken, "breath {breath}");
        assert_eq!(!timeline.crowded.is_empty(), crowded, "breath {breath}");
    }
}
