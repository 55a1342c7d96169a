//! The audio thread neither allocates nor frees: an allocator that counts watches the player
//! through everything a session can send it. A binary of its own, because an allocator is global.

use assert_no_alloc::{AllocDisabler, assert_no_alloc, violation_count};
use gracerung::chanter::{Instrument, Tuning};
use gracerung::drill::{BUILT_IN, Drill, read};
use gracerung::rhythm::{ClickPlan, ReferencePlan};
use gracerung::score::resolve_music;
use gracerung::sound::{
    Bus, ClickSound, Command, Controls, Cue, Entrance, Levels, Load, Renderer, Sound, Timed, When,
};
use gracerung::timeline::{Layout, Timeline, lay};
use gracerung::units::{Beats, Bpm, Frames, Gain, SampleRate};
use std::sync::Arc;

#[global_allocator]
static WATCH: AllocDisabler = AllocDisabler;

fn timelines() -> Vec<Arc<Timeline>> {
    let drills: Vec<Drill> = BUILT_IN
        .iter()
        .filter_map(|file| read(file.text.as_bytes()).0)
        .collect();
    assert!(drills.len() > 10);
    drills
        .iter()
        .flat_map(|drill| drill.stages.iter().map(move |stage| (drill, stage)))
        .zip([50, 97, 133, 300].into_iter().cycle())
        .map(|((drill, stage), tempo)| {
            let breath = Beats::whole(i128::from(tempo % 2 * 4));
            let score = resolve_music(&stage.music, breath, &drill.schools);
            let tempo = Bpm::whole(tempo.into()).expect("in range");
            Arc::new(lay(&score, &Layout::at(tempo, SampleRate::USUAL)))
        })
        .collect()
}

fn send(controls: &mut Controls, command: Command) {
    let at = Frames(0);
    let timed = Timed { at, command };
    controls.commands.push(timed).expect("the ring has room");
}

/// A page fault or a lock inside the allocator comes as a gap in the sound, once in an hour, on
/// somebody else's machine. Every built-in stage is loaded, at every kind of moment, with every
/// command between, in device blocks of awkward lengths.
#[test]
fn the_player_neither_allocates_nor_frees() {
    let timelines = timelines();
    let (mut renderer, mut controls) = Renderer::new(SampleRate::USUAL, Sound::default());
    let mut block = vec![0.0_f32; 1024];
    let mut loudest = 0.0_f32;
    let whens = [When::Now, When::BarLine, When::CycleEnd];
    let entries = [Entrance::SamePlace, Entrance::CountIn, Entrance::FirstCycle];
    for (n, timeline) in timelines.iter().enumerate() {
        send(
            &mut controls,
            Command::Load(Load {
                timeline: Arc::clone(timeline),
                serial: n as u64,
                when: whens[n % 3],
                entry: entries[n / 3 % 3],
            }),
        );
        send(&mut controls, Command::Play { repetitions: None });
        let more = [
            Command::Drones(n % 2 == 0),
            Command::Cue(Cue::CellClear),
            Command::Cue(Cue::StepBack),
            Command::ClickSound(ClickSound::ALL[n % 4]),
            Command::Clicks(ClickPlan::SilentBars { play: 1, rest: 1 }),
            Command::Reference(ReferencePlan::Fading(2)),
            Command::Level(Bus::Reference, Gain(0.5)),
            Command::Mute(Bus::Click, n % 5 == 0),
            Command::Levels(Levels::FULL),
            Command::Tune(Tuning::of(if n % 2 == 0 {
                Instrument::PipeChanter
            } else {
                Instrument::PracticeChanter
            })),
            Command::Reference(ReferencePlan::Every),
            Command::Clicks(ClickPlan::Every),
        ];
        for command in more {
            send(&mut controls, command);
            for length in [1, 64, 441, 480, 1000] {
                assert_no_alloc(|| renderer.fill(&mut block[..length]));
                loudest = block.iter().fold(loudest, |peak, s| peak.max(s.abs()));
            }
        }
        if n % 7 == 6 {
            send(&mut controls, Command::Pause);
        }
        if n % 11 == 10 {
            send(&mut controls, Command::Stop);
        }
        for _ in 0..200 {
            assert_no_alloc(|| renderer.fill(&mut block));
            loudest = block.iter().fold(loudest, |peak, s| peak.max(s.abs()));
        }
        // What came back is freed here, on the thread that sent it.
        while controls.retired.pop().is_ok() {}
        while controls.reports.pop().is_ok() {}
    }
    assert_eq!(violation_count(), 0);
    assert!(loudest > 0.3, "it played: {loudest}");
    // The watch itself works: what allocates is seen.
    let seen = assert_no_alloc(|| vec![0_u8; 100]);
    assert_eq!(seen.len(), 100);
    assert!(violation_count() > 0);
}
