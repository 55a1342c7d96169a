use super::*;
use crate::drill::read;
use crate::planning::Said;
use crate::practice::{Mark, PlannedStage, RecordId, Route, StagePrint};
use crate::units::Beats;
use jiff::civil::date;
use uuid::Uuid;

fn asked(minutes: u32) -> WarmUpAsked {
    WarmUpAsked {
        minutes,
        tone: 8,
        band: None,
    }
}

fn band(minutes: u32) -> WarmUpAsked {
    WarmUpAsked {
        band: Bpm::whole(84).ok(),
        ..asked(minutes)
    }
}

#[test]
fn two_mornings_differ_and_the_minutes_are_kept() {
    let digest = Digest::default();
    for minutes in [1, 2, 5, 10, 30] {
        for asked in [asked(minutes), band(minutes)] {
            let one = warm_up(&digest, &[], date(2027, 1, 15), &asked);
            let two = warm_up(&digest, &[], date(2027, 1, 16), &asked);
            assert_ne!(one, two);
            let used: u32 = one.iter().map(|step| step.seconds).sum();
            assert_eq!(used, minutes * 60);
            assert!(
                one.iter().all(|step| step.seconds >= SHORTEST - 2),
                "{one:?}"
            );
        }
    }
}

/// What rounding leaves to the last part is less than a second a part: no part takes the time of all.
#[test]
fn the_time_is_shared_out() {
    for minutes in 1..=30 {
        for asked in [asked(minutes), band(minutes)] {
            let steps = warm_up(&Digest::default(), &[], date(2027, 1, 15), &asked);
            let longest = steps.iter().map(|step| step.seconds).max().expect("steps");
            // the long tones last as long as they are set
            assert!(
                longest <= (minutes * 60 / 3).max(60),
                "{minutes}: {steps:?}"
            );
        }
    }
}

/// A warm-up that left out what everything is made of would warm up little: every morning of a
/// month.
#[test]
fn every_morning_has_its_gracenotes_scale_doublings_and_a_covered_low_g() {
    for day in 1..=31 {
        let steps = warm_up(&Digest::default(), &[], date(2027, 1, day), &asked(5));
        let of = |purpose: Purpose| steps.iter().filter(move |step| step.purpose == purpose);
        for name in ["high G gracenotes", "D gracenotes", "E gracenotes"] {
            let named = of(Purpose::Gracenotes).filter(|step| step.says.starts_with(name));
            assert_eq!(named.count(), 1, "{name} on day {day}");
        }
        for purpose in [
            Purpose::Tone,
            Purpose::Covering,
            Purpose::Scale,
            Purpose::Doublings,
            Purpose::Crossing,
        ] {
            assert_eq!(of(purpose).count(), 1, "{purpose:?} on day {day}");
        }
        assert!(
            of(Purpose::Covering)
                .all(|step| step.music.ends_with("G-|G4|") || step.music.ends_with("G2-|G4|"))
        );
    }
}

/// The band has a warm-up of its own, and not the practice one a little slower.
#[test]
fn the_band_begins_and_stops_together() {
    let steps = warm_up(&Digest::default(), &[], date(2027, 1, 15), &band(8));
    let purposes: Vec<Purpose> = steps.iter().map(|step| step.purpose).collect();
    assert_eq!(
        purposes,
        [
            Purpose::Tone,
            Purpose::Gracenotes,
            Purpose::Gracenotes,
            Purpose::Gracenotes,
            Purpose::Doublings,
            Purpose::Attack,
        ]
    );
    for step in &steps[4..] {
        assert_eq!(Some(step.tempo), Bpm::whole(84).ok());
    }
    let attack = &steps[5];
    assert_eq!(attack.music.matches('|').count(), 2, "two bars");
    assert_eq!(attack.breath, 1, "a bar counts in the next");
    assert!(!steps[0].music.contains('G'), "low A and E only");
}

/// A long tone lasts as long as is set: a crotchet is a second, tied notes are one, and the
/// step's time is its count-in and whole tones.
#[test]
fn a_long_tone_lasts_as_long_as_it_is_set() {
    for tone in 6..=10 {
        let asked = WarmUpAsked { tone, ..asked(5) };
        let steps = warm_up(&Digest::default(), &[], date(2027, 1, 15), &asked);
        let step = steps.iter().find(|step| step.purpose == Purpose::Tone);
        let step = step.expect("long tones");
        assert_eq!(step.tempo, Bpm::whole(60).expect("a tempo"));
        assert_eq!((step.seconds - 4) % tone, 0);
        let mut lengths = vec![0];
        for bar in step.music.trim_end_matches('|').split('|') {
            let mut beats = 0;
            for note in bar.split_whitespace() {
                let length: u32 = note
                    .trim_end_matches('-')
                    .get(1..)
                    .and_then(|length| length.parse().ok())
                    .expect("a length");
                beats += length;
                *lengths.last_mut().expect("one") += length;
                if !note.ends_with('-') {
                    lengths.push(0);
                }
            }
            assert_eq!(beats, 4, "{}", step.music);
        }
        assert_eq!(lengths, [tone, tone, tone, tone, 0], "{}", step.music);
    }
}

/// A step whose music a chanter cannot play would stop the warm-up in the middle.
#[test]
fn every_morning_of_a_month_can_be_played() {
    for day in 1..=31 {
        for asked in [asked(5), band(5)] {
            for step in warm_up(&Digest::default(), &[], date(2027, 1, day), &asked) {
                let (drill, problems) = read(step.document().as_bytes());
                assert!(problems.is_empty(), "{:?}: {problems:?}", step.music);
                assert!(drill.is_some());
            }
        }
    }
}

/// The band's eight minutes: low A and E for seven tones of eight seconds after four of count-in, then
/// each part has its 12 seconds at least and a share of the 360 that are left, 9 of 87 for each kind of
/// gracenotes (37), 30 of 87 for doublings and attacks (124). The second that rounding leaves is the
/// last part's.
#[test]
fn the_time_of_each_part_is_its_shortest_and_its_share() {
    let steps = warm_up(&Digest::default(), &[], date(2027, 1, 15), &band(8));
    let seconds: Vec<u32> = steps.iter().map(|step| step.seconds).collect();
    assert_eq!(seconds, [60, 49, 49, 49, 136, 137]);
}

/// Where time is short, what matters least is left out, and what just fits stays: two tones of ten
/// seconds after a count-in of four leave 36 of a minute, which is three parts of 12.
#[test]
fn what_matters_least_is_left_out_first() {
    let purposes = |asked: &WarmUpAsked| -> Vec<Purpose> {
        let steps = warm_up(&Digest::default(), &[], date(2027, 1, 15), asked);
        steps.iter().map(|step| step.purpose).collect()
    };
    let minute = WarmUpAsked {
        tone: 10,
        ..asked(1)
    };
    let gracenotes = [Purpose::Gracenotes; 3];
    assert_eq!(
        purposes(&minute),
        [&[Purpose::Tone][..], &gracenotes].concat()
    );
    // two minutes have room for all but the fingers without blowing
    let rest = [Purpose::Doublings, Purpose::Crossing, Purpose::Tune];
    let first = [Purpose::Tone, Purpose::Covering, Purpose::Scale];
    assert_eq!(
        purposes(&asked(2)),
        [&first[..], &gracenotes, &rest].concat()
    );
}

/// High G, D, E and high G again, begun by another each day.
#[test]
fn gracenotes_keep_their_order_and_begin_anew_each_day() {
    let order = ["high G", "D", "E"];
    let mut first = Vec::new();
    for day in 1..=6 {
        let steps = warm_up(&Digest::default(), &[], date(2027, 1, day), &asked(5));
        let places: Vec<usize> = steps
            .iter()
            .filter(|step| step.purpose == Purpose::Gracenotes)
            .filter_map(|step| {
                let named = |name: &&str| step.says.starts_with(&format!("{name} gracenotes"));
                order.iter().position(named)
            })
            .collect();
        for pair in places.windows(2) {
            assert_eq!((pair[0] + 1) % 3, pair[1], "day {day}");
        }
        first.push(places[0]);
    }
    assert!(first.windows(2).all(|days| (days[0] + 1) % 3 == days[1]));
}

fn drill(name: &str, stages: &[(u128, &[&str])]) -> Known {
    Known {
        name: name.to_owned(),
        title: name.to_owned(),
        stages: stages
            .iter()
            .map(|(print, rungs)| PlannedStage {
                print: StagePrint(*print),
                rungs: rungs
                    .iter()
                    .map(|rung| Rung::parse(rung).expect("a rung"))
                    .collect(),
                real_time: true,
            })
            .collect(),
        stage_names: stages
            .iter()
            .map(|(print, _)| format!("stage {print}"))
            .collect(),
        beats: vec![Beats::whole(8); stages.len()],
        clean: 2,
        route: Route::Across,
    }
}

/// Marks of a cell that one clean repetition clears, `c` clean and `n` not.
fn marks(stage: u128, rung: &str, signs: &str) -> Vec<Said> {
    let said = |(number, sign): (usize, char)| Said::Mark {
        id: RecordId {
            session: Uuid::from_u128(stage),
            number: number as u64,
        },
        repetition: number as u64,
        cell: CellKey {
            stage: StagePrint(stage),
            rung: Rung::parse(rung).expect("a rung"),
        },
        day: date(2027, 1, 1),
        mark: if sign == 'c' {
            Mark::Clean
        } else {
            Mark::NotClean
        },
        assumed: false,
        needed: 1,
    };
    signs.chars().enumerate().map(said).collect()
}

/// A cleared movement is warmed up with at an easy tempo: of 66, which was cleared, four fifths are
/// 52.8, and the next rung of the ladder is 54. The opened movement is no warm-up, and crossings have
/// a part of their own.
#[test]
fn a_cleared_movement_is_played_easily() {
    let drills = [
        drill("new", &[(1, &["50", "60"])]),
        drill("crossings", &[(2, &["50", "60"])]),
        drill(
            "grip",
            &[
                (3, &["48", "50", "52", "54", "56", "66", "70"]),
                (4, &["148 ms at 60", "104 ms at 60"]),
            ],
        ),
    ];
    let said = [
        marks(2, "60", "cccc"),
        marks(3, "66", "c"),
        marks(4, "104 ms at 60", "c"),
    ];
    let digest = Digest::of(said.concat());
    let steps = warm_up(&digest, &drills, date(2027, 1, 15), &asked(30));
    let movements: Vec<_> = steps
        .iter()
        .filter(|step| step.purpose == Purpose::Movement)
        .map(|step| (step.says.as_str(), step.drill.clone(), step.tempo))
        .collect();
    let easily = Bpm::whole(54).expect("a tempo");
    assert_eq!(
        movements,
        [("grip, easily", Some(("grip".to_owned(), 0)), easily)]
    );
}

/// The player's own crossings come where they go badly: below four in five by the chance of the next,
/// which after three clean of three is four fifths (Laplace's rule of succession). Else the day's pair.
#[test]
fn crossings_that_go_badly_are_warmed_up_with() {
    let drills = [
        drill("grip", &[(1, &["50"])]),
        drill("crossings", &[(2, &["50"]), (3, &["50"]), (4, &["50"])]),
    ];
    let crossing = |said: &[Vec<Said>]| {
        let digest = Digest::of(said.concat());
        let steps = warm_up(&digest, &drills, date(2027, 1, 15), &asked(30));
        let found = steps
            .into_iter()
            .find(|step| step.purpose == Purpose::Crossing);
        found.expect("each morning has one").drill
    };
    let grip = marks(1, "50", "nnnn");
    let well = marks(2, "50", "ccc");
    assert_eq!(crossing(&[]), None);
    assert_eq!(crossing(&[grip.clone(), well.clone()]), None);
    let worse = marks(4, "50", "cnc");
    let worst = marks(3, "50", "ncn");
    let own = |stage: usize| Some(("crossings".to_owned(), stage));
    assert_eq!(
        crossing(&[grip.clone(), well.clone(), worse.clone()]),
        own(2)
    );
    assert_eq!(crossing(&[grip, well, worse, worst]), own(1));
}
