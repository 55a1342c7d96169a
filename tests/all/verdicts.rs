//! The verdict on exact notes, without sound: the reference is never faulted, and every fault that
//! is put in is named.

#[path = "../bench/verdicts/plant.rs"]
mod plant;

use gracerung::drill::{BUILT_IN, BuiltIn, read};
use gracerung::listening::{ExpectedStage, HeardNote, align};
use gracerung::practice::ladder::climbs;
use gracerung::practice::{Thresholds, judge};
use gracerung::score::resolve_music;
use gracerung::timeline::{EventKind, Layout, Timeline, lay};
use gracerung::units::{Bpm, Fraction, SampleRate, Seconds};

const REPETITIONS: usize = 3;

/// The notes that the program itself plays.
fn reference(timeline: &Timeline) -> Vec<HeardNote> {
    let beat_s = 60.0 / timeline.tempo.to_f64();
    timeline
        .played(REPETITIONS as u64)
        .iter()
        .filter_map(|placed| match placed.event.kind {
            EventKind::Sound(sound) => {
                let start = placed.beat.to_f64() * beat_s;
                let end = start + sound.length.to_f64() * beat_s;
                Some(HeardNote::known(sound.note, Seconds(start), Seconds(end)))
            }
            _ => None,
        })
        .collect()
}

/// The faults that the verdict finds in the reference of a drill, for every stage at five tempi and
/// by the thresholds of both chanters; and how many stages at a tempo were checked.
fn told_of_the_reference(file: &BuiltIn) -> (usize, Vec<String>) {
    let mut told = Vec::new();
    let mut stages = 0;
    let drill = read(file.text.as_bytes()).0.expect("it reads");
    let breath = drill.metre.bar() * Fraction::from_integer(i128::from(drill.breath));
    let (from, to) = (drill.ladder.from(), drill.ladder.to());
    for stage in &drill.stages {
        let score = resolve_music(&stage.music, breath, &drill.schools);
        for quarter in 0..5 {
            let way = (to.value() - from.value()) * Fraction::new(quarter, 4);
            let tempo = Bpm::new(from.value() + way).expect("between two tempi");
            let layout = Layout {
                lengths: drill.lengths,
                ..Layout::at(tempo, SampleRate::USUAL)
            };
            let timeline = lay(&score, &layout);
            let piece = ExpectedStage::of(&score, &timeline);
            let found = align(&piece, &reference(&timeline)).repetitions;
            let place = format!("{}, {} at {tempo}", file.name, stage.name);
            if found.len() != REPETITIONS {
                told.push(format!("{place}: {} repetitions", found.len()));
            }
            for limits in [Thresholds::default(), Thresholds::for_pipes()] {
                let limits = limits.at(tempo, &[from, to]);
                for (number, repetition) in found.iter().enumerate() {
                    let faults = judge(&repetition.measured, &limits).faults;
                    let words = faults.iter().map(|fault| &fault.words);
                    told.extend(words.map(|words| format!("{place}, {number}: {words}")));
                }
            }
            stages += 1;
        }
    }
    (stages, told)
}

/// A fault found in the reference would be a false report for a player who does just what the
/// program plays.
#[test]
fn the_reference_is_never_faulted() {
    // this is the longest test, so the drills are shared among the processor's cores
    let all: Vec<(usize, Vec<String>)> = std::thread::scope(|scope| {
        let begun: Vec<_> = BUILT_IN
            .iter()
            .map(|file| scope.spawn(|| told_of_the_reference(file)))
            .collect();
        let ended = begun
            .into_iter()
            .map(|thread| thread.join().expect("no panic"));
        ended.collect()
    });
    let stages: usize = all.iter().map(|(stages, _)| stages).sum();
    let told: Vec<String> = all.into_iter().flat_map(|(_, told)| told).collect();
    assert!(stages > 250, "{stages}");
    assert!(told.is_empty(), "{} told:\n{}", told.len(), told.join("\n"));
}

/// On every rung of every opened movement the reference is clean, and the reference of the
/// neighbouring rung is not, so that rungs can be told apart.
#[test]
fn an_opened_movement_is_clean_on_its_own_rung_and_on_no_other() {
    let mut rungs = 0;
    for file in BUILT_IN {
        let drill = read(file.text.as_bytes()).0.expect("it reads");
        let breath = drill.metre.bar() * Fraction::from_integer(i128::from(drill.breath));
        for (stage, own) in drill.stages.iter().zip(climbs(&drill)) {
            if !own[0].is_opened() {
                continue;
            }
            let score = resolve_music(&stage.music, breath, &drill.schools);
            let laid: Vec<Timeline> = own
                .iter()
                .map(|rung| {
                    let layout = Layout {
                        lengths: rung.lengths(drill.lengths),
                        ..Layout::at(rung.tempo(), SampleRate::USUAL)
                    };
                    lay(&score, &layout)
                })
                .collect();
            for (place, rung) in own.iter().enumerate() {
                let piece = ExpectedStage::of(&score, &laid[place]);
                let limits =
                    Thresholds::default().on(*rung, &[drill.ladder.from(), drill.ladder.to()]);
                for (other, played) in laid.iter().enumerate() {
                    if other.abs_diff(place) > 1 {
                        continue;
                    }
                    let told = format!("{}, {rung}, played as {}", file.name, own[other]);
                    let found = align(&piece, &reference(played)).repetitions;
                    let clean = found.iter().filter(|one| {
                        let faults = judge(&one.measured, &limits).faults;
                        assert!(other != place || faults.is_empty(), "{told}: {faults:?}");
                        faults.is_empty()
                    });
                    let expected = if other == place { REPETITIONS } else { 0 };
                    assert_eq!(clean.count(), expected, "{told}");
                    rungs += 1;
                }
            }
        }
    }
    assert!(rungs > 100, "{rungs}");
}

/// The bench `verdicts` plays twenty times as many takes and prints a table.
#[test]
fn planted_faults_are_named_at_their_note() {
    let outcome = plant::bench(1, 5);
    let all = outcome.all();
    let wrong = || outcome.wrong.join("\n");
    assert!(all.planted > 300, "{}", all.planted);
    assert!(all.recall() >= 0.97, "{all:?}\n{}", wrong());
    assert!(all.at_the_right_note() >= 0.95, "{all:?}\n{}", wrong());
    assert!(all.clean_called_clean() >= 0.98, "{all:?}\n{}", wrong());
    // each kind of fault must reach the aim by itself
    for plant in plant::Plant::ALL {
        let counts = outcome.by_plant.get(&plant).copied().unwrap_or_default();
        let name = plant.words();
        assert!(counts.recall() >= 0.93, "{name}: {counts:?}\n{}", wrong());
    }
}
