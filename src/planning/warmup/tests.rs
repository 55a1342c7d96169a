use super::*;
use crate::drill::read;
use jiff::civil::date;

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
