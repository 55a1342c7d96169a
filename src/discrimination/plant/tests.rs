use super::super::excerpt::excerpt;
use super::*;
use crate::drill::{BUILT_IN, Drill, built_in, read};
use crate::score::resolve_music;
use crate::timeline::{Layout, lay};
use crate::units::{Milliseconds, SampleRate};
use Difference::{Blip, Crushed, Early, Long, Unlike};

fn drill(name: &str) -> Drill {
    let file = built_in(name).expect("built in");
    read(file.text.as_bytes()).0.expect("it reads")
}

/// The timeline of a stage at a tempo, with its spots.
fn laid(drill: &Drill, stage: usize, tempo: i128) -> (Timeline, Vec<Spot>) {
    let score = resolve_music(&drill.stages[stage].music, Beats::ZERO, &drill.schools);
    let tempo = Bpm::whole(tempo).expect("a tempo");
    let timeline = lay(&score, &Layout::at(tempo, SampleRate::USUAL));
    let wanted = drill.movement.as_ref().map(|line| line.movement);
    let spots = spots(&score, &timeline, wanted);
    (timeline, spots)
}

/// The sounds of a timeline: note, beginning and length, both in milliseconds.
fn sounds(timeline: &Timeline) -> Vec<(Note, f64, f64)> {
    let ms = |beats| milliseconds(beats, timeline.tempo);
    let all = timeline.first.iter().filter_map(sounded);
    all.map(|(beat, sounded)| (sounded.note, ms(beat), ms(sounded.length)))
        .collect()
}

fn of(spots: &[Spot], difference: Difference) -> Spot {
    let found = spots.iter().find(|spot| spot.difference == difference);
    found.expect("a place for it").clone()
}

/// The last stage with the whole movement in real time.
fn real_time(drill: &Drill) -> usize {
    let names = drill.stages.iter().map(|stage| stage.name.as_str());
    names
        .clone()
        .position(|name| name == "real time")
        .unwrap_or(0)
}

/// The grip from D at 80 beats a minute: the gracenote has 35 ms, the low Gs 55 ms each (from
/// memory), and it closes on beat 3, at 1500 ms.
#[test]
fn each_fault_of_the_grip_from_d_is_where_it_should_be() {
    let drill = drill("grip-from-d");
    let (clean, spots) = laid(&drill, real_time(&drill), 80);
    let planted = |difference, size| {
        let all = sounds(&plant(&clean, &of(&spots, difference), size));
        all[1..].iter().copied().take(5).collect::<Vec<_>>()
    };
    let near = |found: &[(Note, f64, f64)], expected: &[(Note, f64, f64)]| {
        assert_eq!(found.len(), expected.len());
        for (one, other) in found.iter().zip(expected) {
            assert_eq!(one.0, other.0);
            assert!(
                (one.1 - other.1).abs() < 0.01 && (one.2 - other.2).abs() < 0.01,
                "{found:?}"
            );
        }
    };
    use Note::{B, D, LowA, LowG};
    near(
        &planted(Crushed, Milliseconds(30.0)),
        &[
            (D, 35.0, 1380.0),
            (LowG, 1415.0, 25.0),
            (B, 1440.0, 35.0),
            (LowG, 1475.0, 25.0),
            (LowA, 1500.0, 1500.0),
        ],
    );
    near(
        &planted(Unlike, Milliseconds(40.0)),
        &[
            (D, 35.0, 1320.0),
            (LowG, 1355.0, 75.0),
            (B, 1430.0, 35.0),
            (LowG, 1465.0, 35.0),
            (LowA, 1500.0, 1500.0),
        ],
    );
    near(
        &planted(Long, Milliseconds(60.0)),
        &[
            (D, 35.0, 1260.0),
            (LowG, 1295.0, 55.0),
            (B, 1350.0, 95.0),
            (LowG, 1445.0, 55.0),
            (LowA, 1500.0, 1500.0),
        ],
    );
    near(
        &planted(Early, Milliseconds(120.0)),
        &[
            (D, 35.0, 1200.0),
            (LowG, 1235.0, 55.0),
            (B, 1290.0, 35.0),
            (LowG, 1325.0, 55.0),
            (LowA, 1380.0, 1620.0),
        ],
    );
}

/// A doubling begins on the beat. A fault in it moves what follows, and never its beginning.
#[test]
fn what_stands_on_the_beat_stays() {
    let drill = drill("doubling-on-e");
    let (clean, spots) = laid(&drill, real_time(&drill), 80);
    let beginning = |timeline: &Timeline, spot: &Spot| {
        let own = |at: &&TimelineEvent| {
            sounded(at).is_some_and(|(_, sounded)| sounded.id.melody() == spot.note)
        };
        timeline.first.iter().find(own).map(|event| event.beat)
    };
    for difference in [Crushed, Long] {
        let spot = of(&spots, difference);
        let planted = plant(&clean, &spot, Milliseconds(30.0));
        assert_ne!(planted, clean);
        assert_eq!(beginning(&planted, &spot), beginning(&clean, &spot));
    }
}

/// The note that sounds in each crossing, from the fingering chart (facts of the trade, section 2,
/// computed): with one hand before the other, low A sounds between C and E, D and F, and B and E;
/// with the falling fingers first, low G sounds between low A and C.
#[test]
fn a_blip_sounds_what_the_chart_says() {
    let crossings = drill("crossings");
    let expected = [
        ("low A between C and E"),
        ("low G between low A and C"),
        ("low A between B and E"),
        ("low A between D and F"),
        ("low A between E and high A"),
    ];
    for (stage, expected) in expected.into_iter().enumerate() {
        let (clean, spots) = laid(&crossings, stage, 60);
        assert_eq!(spots.len(), 1, "no gracenotes, no other fault");
        assert_eq!(spots[0].what, expected);
        let planted = sounds(&plant(&clean, &spots[0], Milliseconds(22.0)));
        let blip = planted
            .iter()
            .position(|sound| (sound.2 - 22.0).abs() < 0.01);
        let blip = blip.expect("a sound of 22 ms");
        let name = planted[blip].0.spoken();
        assert!(expected.starts_with(&format!("{name} between")), "{name}");
        assert_eq!(planted.len(), sounds(&clean).len() + 1);
    }
}

/// Wherever a fault is put, the sounds outside the figure keep their onsets, the line stays sorted
/// and without gaps, no sound vanishes, and a fault of size 0 changes nothing.
#[test]
fn planted_timelines_keep_all_other_onsets() {
    let mut planted_faults = 0;
    for file in BUILT_IN {
        let drill = drill(file.name);
        for stage in 0..drill.stages.len() {
            let (clean, spots) = laid(&drill, stage, 66);
            for spot in &spots {
                assert_eq!(
                    plant(&clean, spot, Milliseconds(0.0)),
                    clean,
                    "{} {}",
                    file.name,
                    spot.what
                );
                for share in [0.1, 0.5, 1.0, 3.0] {
                    let planted = plant(&clean, spot, Milliseconds(spot.widest.0 * share));
                    for (with, without) in [
                        (&planted.first, &clean.first),
                        (&planted.again, &clean.again),
                    ] {
                        outside_is_kept(with, without, spot);
                    }
                    gapless(&planted, &clean);
                    assert_ne!(planted, clean);
                    planted_faults += 1;
                }
            }
        }
    }
    assert!(planted_faults > 200, "{planted_faults}");
}

#[track_caller]
fn outside_is_kept(with: &[TimelineEvent], without: &[TimelineEvent], spot: &Spot) {
    let outside = |events: &[TimelineEvent]| {
        let others = events.iter().filter(|event| {
            sounded(event).is_none_or(|(_, sounded)| sounded.id.melody() != spot.note)
        });
        others
            .map(|event| {
                let note = sounded(event).map(|(_, sounded)| sounded.id);
                (event.beat, note)
            })
            .collect::<Vec<_>>()
    };
    assert_eq!(outside(with), outside(without), "{}", spot.what);
}

#[track_caller]
fn gapless(planted: &Timeline, clean: &Timeline) {
    let ends = |timeline: &Timeline| {
        let mut end: Option<Beats> = None;
        for (beat, sounded) in timeline.first.iter().filter_map(sounded) {
            assert!(sounded.length > Beats::ZERO);
            assert!(end.is_none_or(|end| end == beat), "a gap or an overlap");
            end = Some(beat + sounded.length);
        }
        end
    };
    assert_eq!(ends(planted), ends(clean));
    assert!(
        planted
            .first
            .windows(2)
            .all(|pair| pair[0].beat <= pair[1].beat)
    );
}

/// The piece begins with a sound, holds the whole movement and the note it closes on, and is cut at
/// the same places with a fault and without.
#[test]
fn the_piece_holds_the_movement_and_little_more() {
    for name in [
        "grip-from-d",
        "doubling-on-e",
        "taorluath",
        "throw-on-d",
        "birl",
        "crossings",
    ] {
        let drill = drill(name);
        let (clean, spots) = laid(&drill, real_time(&drill), 80);
        for spot in &spots {
            let without = excerpt(&clean, &clean, spot);
            let with = excerpt(&plant(&clean, spot, spot.widest), &clean, spot);
            assert_eq!(
                (with.length, with.judged_from),
                (without.length, without.judged_from)
            );
            assert!(
                (0.7..3.1).contains(&with.length.0),
                "{name} {}: {}",
                spot.what,
                with.length
            );
            assert!(with.judged_from < with.length, "{name} {}", spot.what);
            for piece in [&with, &without] {
                let first = piece
                    .timeline
                    .first
                    .iter()
                    .find_map(sounded)
                    .expect("a sound");
                assert_eq!(first.0, Beats::ZERO, "{name} {}", spot.what);
                let clicks = |event: &&TimelineEvent| matches!(event.kind, EventKind::Click(_));
                assert!(piece.timeline.first.iter().filter(clicks).count() >= 1);
            }
            let own = |timeline: &Timeline| {
                let of_figure = |(_, sounded): &(Beats, Sounded)| sounded.id.melody() == spot.note;
                timeline
                    .first
                    .iter()
                    .filter_map(sounded)
                    .filter(of_figure)
                    .count()
            };
            assert_eq!(own(&without.timeline), own(&clean), "{name} {}", spot.what);
        }
    }
}

/// The taps of a birl are what is heard of it, and should be equal (facts of the trade, section 4,
/// common practice).
#[test]
fn of_a_birl_the_taps_are_heard() {
    let drill = drill("birl");
    let (_, spots) = laid(&drill, real_time(&drill), 80);
    assert_eq!(
        of(&spots, Unlike).what,
        "one low G tap longer than the other"
    );
    assert_eq!(of(&spots, Long).what, "the low G tap too long");
    assert_eq!(of(&spots, Crushed).what, "the low As too short");
}

#[test]
fn what_was_played_is_said_in_plain_words() {
    let drill = drill("grip-from-d");
    let (_, spots) = laid(&drill, real_time(&drill), 80);
    let told = |difference, size| of(&spots, difference).told(size);
    let heard = |difference, size| of(&spots, difference).heard_from(size);
    assert_eq!(told(Crushed, None), "it was clean");
    assert_eq!(
        told(Crushed, Some(Milliseconds(30.0))),
        "its low Gs lasted 25 of 55 ms"
    );
    assert_eq!(
        told(Unlike, Some(Milliseconds(18.0))),
        "its low Gs lasted 64 and 46 ms"
    );
    assert_eq!(
        told(Long, Some(Milliseconds(60.0))),
        "its B gracenote lasted 95 ms, 35 are meant"
    );
    assert_eq!(
        told(Early, Some(Milliseconds(40.4))),
        "it began 40 ms early"
    );
    assert_eq!(
        told(Blip, Some(Milliseconds(22.0))),
        "low G sounded for 22 ms between low A and D"
    );
    assert_eq!(
        heard(Unlike, Milliseconds(18.0)),
        "an unlike pair from 18 ms: low Gs of 64 and 46"
    );
    assert_eq!(
        heard(Crushed, Milliseconds(20.0)),
        "the low Gs too short by 20 ms: 35 of 55"
    );
    assert_eq!(
        heard(Early, Milliseconds(31.0)),
        "the grip begun early from 31 ms"
    );
}
