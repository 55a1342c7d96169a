use super::super::fixture::drill;
use super::super::orders::Command;
use super::super::{Bus, Levels};
use super::*;
use crate::units::Gain;

const RATE: SampleRate = SampleRate(48_000);

fn only(bus: Bus) -> Sound {
    let mut levels = Levels {
        gains: [Gain(1.0); 4],
        muted: [true; 4],
    };
    levels.mute(bus, false);
    Sound {
        levels,
        ..Sound::default()
    }
}

fn send(controls: &mut Controls, at: u64, command: Command) {
    let timed = Timed {
        at: Frames(at),
        command,
    };
    controls.commands.push(timed).expect("room for a command");
}

fn load(timeline: &Arc<Timeline>, serial: u64, when: When, entry: Entrance) -> Command {
    Command::Load(Load {
        timeline: Arc::clone(timeline),
        serial,
        when,
        entry,
    })
}

fn reports(controls: &mut Controls) -> Vec<RendererReport> {
    std::iter::from_fn(|| controls.reports.pop().ok()).collect()
}

/// The frames at which sound begins after at least `silence` silent frames.
fn onsets(samples: &[f32], silence: usize) -> Vec<usize> {
    let mut quiet = silence;
    let mut found = Vec::new();
    for (frame, sample) in samples.iter().enumerate() {
        if *sample == 0.0 {
            quiet += 1;
        } else {
            if quiet >= silence {
                found.push(frame);
            }
            quiet = 0;
        }
    }
    found
}

fn started(sound: Sound, timeline: Timeline) -> (Renderer, Controls) {
    let (renderer, mut controls) = Renderer::new(RATE, sound);
    send(
        &mut controls,
        0,
        load(&Arc::new(timeline), 1, When::Now, Entrance::CountIn),
    );
    send(&mut controls, 0, Command::Play { repetitions: None });
    (renderer, controls)
}

/// At 97 beats a minute and 48 kHz a beat is 29690.72… frames. So clicks stand at rounded multiples
/// with alternating intervals; adding up a rounded beat would drift.
#[test]
fn every_click_stands_at_its_rounded_exact_frame() {
    let (mut renderer, _controls) = started(only(Bus::Click), drill("97", 1));
    let mut samples = vec![0.0; 40 * 29_691];
    renderer.fill(&mut samples);
    let expected: Vec<usize> = (0..41_u64)
        .map(|beat| ((beat * 60 * 48_000 * 2 + 97) / (2 * 97)) as usize)
        .filter(|frame| *frame < samples.len())
        .collect();
    assert_eq!(onsets(&samples, 64), expected);
}

/// The chanter line begins on the beat after the count-in and is silent 10 ms after the breath
/// begins.
#[test]
fn the_reference_begins_on_its_frame_and_holds_no_note_in_the_breath() {
    let (mut renderer, _controls) = started(only(Bus::Reference), drill("60", 1));
    let mut samples = vec![0.0; 48_000 * 13];
    renderer.fill(&mut samples);
    assert_eq!(onsets(&samples, 480), [4 * 48_000, 12 * 48_000]);
    assert!(
        samples[8 * 48_000 + 480..12 * 48_000]
            .iter()
            .all(|sample| *sample == 0.0)
    );
    assert!(
        samples[8 * 48_000 - 100..8 * 48_000]
            .iter()
            .any(|sample| *sample != 0.0)
    );
}

#[test]
fn it_reports_bars_and_closing_notes_at_their_frames() {
    let (mut renderer, mut controls) = started(Sound::default(), drill("60", 1));
    renderer.fill(&mut vec![0.0; 48_000 * 13]);
    let bar = |cycle, bar, beat: u64| RendererReport::Bar {
        serial: 1,
        cycle,
        bar,
        frame: Frames(beat * 48_000),
    };
    assert_eq!(
        reports(&mut controls),
        [
            RendererReport::Took {
                serial: 1,
                frame: Frames(0),
                origin: Fraction::from_integer(0),
                cycle: 0,
                counting_in: true,
            },
            bar(0, 0, 4),
            RendererReport::Closing {
                serial: 1,
                cycle: 0,
                frame: Frames(6 * 48_000),
            },
            bar(0, 1, 8),
            bar(1, 0, 12),
        ]
    );
}

/// A change of tempo in mid-bar would leave the player behind. It waits for the bar line and
/// continues at the same beat without a gap: at 60 beats a minute before the line and at 120 after
/// it.
#[test]
fn a_change_of_tempo_waits_for_the_bar_line_and_keeps_the_place() {
    let (mut renderer, mut controls) = started(only(Bus::Click), drill("60", 1));
    let quicker = Arc::new(drill("120", 1));
    send(
        &mut controls,
        5 * 48_000,
        load(&quicker, 2, When::BarLine, Entrance::SamePlace),
    );
    let mut samples = vec![0.0; 48_000 * 12];
    renderer.fill(&mut samples);
    let seconds: Vec<f64> = onsets(&samples, 64)
        .iter()
        .map(|frame| *frame as f64 / 48_000.0)
        .collect();
    assert_eq!(
        seconds,
        [
            0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 8.5, 9.0, 9.5, 10.0, 10.5, 11.0, 11.5
        ]
    );
    let heard = reports(&mut controls);
    assert!(heard.contains(&RendererReport::Took {
        serial: 2,
        frame: Frames(8 * 48_000),
        origin: Fraction::from_integer(4 * 48_000),
        cycle: 0,
        counting_in: false,
    }));
    // The closing note sounded before the change, so no repetition is void.
    assert!(
        !heard
            .iter()
            .any(|report| matches!(report, RendererReport::Cut { .. }))
    );
    assert_eq!(Arc::strong_count(&quicker), 2);
    assert!(controls.retired.pop().is_ok(), "the old one travels back");
}

/// Bar lines at 97, 101 and 103 beats a minute fall between frames. The origin of each timeline is
/// an exact sum, so nothing is lost however often the tempo changes.
#[test]
fn changes_of_tempo_add_no_rounding() {
    let (mut renderer, mut controls) = started(only(Bus::Click), drill("97", 1));
    let beats = |count: i128, tempo: i128| Fraction::new(count * 60 * 48_000, tempo);
    let mut expected = vec![Fraction::from_integer(0)];
    for (serial, line, old, new) in [(2, 8, 97, 101), (3, 12, 101, 103), (4, 16, 103, 107)] {
        let origin = expected[expected.len() - 1];
        let within = (origin + beats(line - 3, old)).to_integer();
        let quicker = Arc::new(drill(&new.to_string(), 1));
        send(
            &mut controls,
            u64::try_from(within).expect("a frame"),
            load(&quicker, serial, When::BarLine, Entrance::SamePlace),
        );
        expected.push(origin + beats(line, old) - beats(line, new));
    }
    renderer.fill(&mut vec![0.0; 48_000 * 12]);
    let origins: Vec<Fraction> = reports(&mut controls)
        .into_iter()
        .filter_map(|report| match report {
            RendererReport::Took { origin, .. } => Some(origin),
            _ => None,
        })
        .collect();
    assert_eq!(origins, expected);
}

/// A new stage begins at the bar line with a count-in, and the interrupted repetition is void.
#[test]
fn another_stage_is_counted_in_and_what_was_cut_is_void() {
    let (mut renderer, mut controls) = started(only(Bus::Reference), drill("60", 0));
    let other = Arc::new(drill("60", 0));
    send(
        &mut controls,
        5 * 48_000,
        load(&other, 2, When::Now, Entrance::CountIn),
    );
    let mut samples = vec![0.0; 48_000 * 10];
    renderer.fill(&mut samples);
    assert!(
        samples[5 * 48_000 + 480..9 * 48_000]
            .iter()
            .all(|sample| *sample == 0.0)
    );
    assert!(samples[9 * 48_000] != 0.0);
    assert!(reports(&mut controls).contains(&RendererReport::Cut {
        serial: 1,
        cycle: 0,
        frame: Frames(5 * 48_000),
    }));
}

/// A repetition whose tempo changed midway, or whose device failed, must not be marked. It is
/// reported as interrupted, and its closing note is not reported.
#[test]
fn a_broken_repetition_has_no_closing_note() {
    let (mut renderer, mut controls) = started(Sound::default(), drill("60", 0));
    let quicker = Arc::new(drill("120", 0));
    send(
        &mut controls,
        5 * 48_000,
        load(&quicker, 2, When::Now, Entrance::SamePlace),
    );
    // The second repetition begins at 6.5 s; its closing note stands at 7.5 s.
    renderer.fill(&mut vec![0.0; 48_000 * 7]);
    renderer.void_repetition();
    renderer.fill(&mut vec![0.0; 48_000 * 3]);
    let mut told = reports(&mut controls);
    told.retain(|report| {
        matches!(
            report,
            RendererReport::Cut { .. } | RendererReport::Closing { .. }
        )
    });
    let frame = |seconds: f64| Frames((seconds * 48_000.0) as u64);
    let voided = |report: &RendererReport| match *report {
        RendererReport::Cut { frame, .. } => frame.0.abs_diff(7 * 48_000) < 64,
        _ => false,
    };
    assert_eq!(
        told[0],
        RendererReport::Cut {
            serial: 1,
            cycle: 0,
            frame: frame(5.0)
        }
    );
    assert!(voided(&told[1]), "{told:?}");
    assert_eq!(
        told[2],
        RendererReport::Closing {
            serial: 2,
            cycle: 2,
            frame: frame(9.5)
        }
    );
    assert_eq!(told.len(), 3);
}

/// Gracenotes that lead into a repetition are left out when that repetition does not follow.
#[test]
fn gracenotes_ahead_are_left_out_where_no_repetition_follows() {
    let (renderer, mut controls) = Renderer::new(RATE, Sound::default());
    let mut renderer = renderer;
    let timeline = Arc::new(drill("60", 0));
    send(
        &mut controls,
        0,
        load(&timeline, 1, When::Now, Entrance::CountIn),
    );
    send(
        &mut controls,
        0,
        Command::Play {
            repetitions: Some(2),
        },
    );
    let mut lines = Vec::new();
    let mut tenth = vec![0.0; 4800];
    for _ in 0..13 * 10 {
        renderer.fill(&mut tenth);
        lines.push(renderer.line);
    }
    // Indices are tenths of a second: the gracenote sounds at beat 3.9 of the first repetition
    // only.
    assert_eq!(lines[79], Some((Note::HighG, 1)));
    assert_eq!(lines[119], Some((Note::LowA, 1)));
    assert_eq!(lines[120], None);
    assert!(!renderer.running);
    assert!(reports(&mut controls).contains(&RendererReport::Stopped(Frames(12 * 48_000))));
}

/// After a pause the interrupted repetition begins again with a count-in.
#[test]
fn after_a_pause_the_broken_repetition_begins_again() {
    let (mut renderer, mut controls) = started(Sound::default(), drill("60", 0));
    send(&mut controls, 9 * 48_000, Command::Pause);
    send(
        &mut controls,
        10 * 48_000,
        Command::Play { repetitions: None },
    );
    renderer.fill(&mut vec![0.0; 48_000 * 15]);
    let heard = reports(&mut controls);
    let at = |second: u64| Frames(second * 48_000);
    assert!(heard.contains(&RendererReport::Cut {
        serial: 1,
        cycle: 1,
        frame: at(9)
    }));
    assert!(heard.contains(&RendererReport::Paused(at(9))));
    assert!(heard.contains(&RendererReport::Bar {
        serial: 1,
        cycle: 1,
        bar: 0,
        frame: at(14)
    }));
}

/// "You alone" must be silent, and in the right repetitions.
#[test]
fn the_reference_alternates_and_fades_by_repetition() {
    let loudest = |plan| {
        let (mut renderer, mut controls) = started(only(Bus::Reference), drill("60", 1));
        send(&mut controls, 0, Command::Reference(plan));
        let mut samples = vec![0.0; 48_000 * 36];
        renderer.fill(&mut samples);
        [0, 1, 2, 3].map(|cycle| {
            let from = (4 + 8 * cycle) * 48_000;
            samples[from..from + 4 * 48_000]
                .iter()
                .fold(0.0_f32, |peak, sample| peak.max(sample.abs()))
        })
    };
    let [full, alone, again, alone_again] = loudest(ReferencePlan::Alternate);
    assert!(full > 0.2 && (full - again).abs() < 0.02);
    assert_eq!((alone, alone_again), (0.0, 0.0));
    let [first, second, third, fourth] = loudest(ReferencePlan::Fading(3));
    assert!(first > 1.3 * second && second > 1.5 * third && third > 0.0);
    assert_eq!(fourth, 0.0);
}

/// All clicks of the count-in sound; afterwards only those of the plan do.
#[test]
fn clicks_thin_out_after_the_count_in() {
    let by_bar = |plan| {
        let (mut renderer, mut controls) = started(only(Bus::Click), drill("60", 0));
        send(&mut controls, 0, Command::Clicks(plan));
        let mut samples = vec![0.0; 48_000 * 28];
        renderer.fill(&mut samples);
        let bars: Vec<usize> = onsets(&samples, 64)
            .iter()
            .map(|frame| frame / (4 * 48_000))
            .collect();
        [0, 1, 2, 3, 4, 5, 6].map(|bar| bars.iter().filter(|b| **b == bar).count())
    };
    assert_eq!(
        by_bar(ClickPlan::SilentBars { play: 2, rest: 1 }),
        [4, 4, 4, 0, 4, 4, 0]
    );
    assert_eq!(by_bar(ClickPlan::OnePerBar), [4, 1, 1, 1, 1, 1, 1]);
}

/// A reader that was too slow must learn how many reports it missed, and continue correctly.
#[test]
fn a_full_ring_of_reports_says_how_many_are_missing() {
    let (mut renderer, mut controls) = started(Sound::default(), drill("300", 0));
    // A bar lasts 0.8 s and has two reports, so ten minutes have 1500 reports.
    let mut block = vec![0.0; 48_000];
    for _ in 0..600 {
        renderer.fill(&mut block);
    }
    assert_eq!(reports(&mut controls).len(), REPORTS);
    renderer.fill(&mut block);
    let later = reports(&mut controls);
    assert!(
        matches!(later[0], RendererReport::Missed(missing) if missing > 400),
        "{later:?}"
    );
    assert!(matches!(
        later[1],
        RendererReport::Bar { .. } | RendererReport::Closing { .. }
    ));
}

/// A device that returns with another sample rate must not move the music: the next bar comes at
/// the same second.
#[test]
fn another_rate_keeps_the_place_in_musical_time() {
    let (mut renderer, mut controls) = started(only(Bus::Click), drill("97", 1));
    renderer.fill(&mut vec![0.0; 100_000]);
    reports(&mut controls);
    let mut renderer = renderer.at_rate(SampleRate(44_100));
    assert_eq!(renderer.frame(), Frames(91_875));
    renderer.fill(&mut vec![0.0; 44_100 * 4]);
    // Beat 4 at 97 beats a minute and 44.1 kHz is frame 109113.4.
    assert!(reports(&mut controls).contains(&RendererReport::Bar {
        serial: 1,
        cycle: 0,
        bar: 0,
        frame: Frames(109_113),
    }));
}

/// Timelines are freed by their owner. When nobody takes them back, loads wait and none is lost.
#[test]
fn loads_wait_while_no_timeline_is_taken_back() {
    let (mut renderer, mut controls) = started(Sound::default(), drill("60", 0));
    let timelines: Vec<Arc<Timeline>> = (0..40).map(|_| Arc::new(drill("60", 0))).collect();
    for (serial, timeline) in timelines.iter().enumerate() {
        let command = load(timeline, serial as u64 + 2, When::Now, Entrance::SamePlace);
        send(&mut controls, 0, command);
    }
    renderer.fill(&mut [0.0; 640]);
    let mut back = 0;
    while back < 40 {
        let before = back;
        while controls.retired.pop().is_ok() {
            back += 1;
        }
        assert!(back > before, "loads go on once there is room");
        renderer.fill(&mut [0.0; 640]);
    }
    assert_eq!(Arc::strong_count(&timelines[39]), 2);
    assert_eq!(Arc::strong_count(&timelines[38]), 1);
}
