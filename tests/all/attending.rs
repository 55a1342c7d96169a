//! Repetitions that are cut out of a stream and analysed. Our own chanter plays them.

use gracerung::chanter::{Tuning, TuningTable};
use gracerung::drill::{built_in, read};
use gracerung::listening::{Attention, ExpectedStage, Remark, SoundTrouble};
use gracerung::practice::{Mark, Thresholds, judge};
use gracerung::score::resolve_music;
use gracerung::sound::{Bus, Command, Entrance, Levels, Load, Renderer, Sound, Timed, When};
use gracerung::timeline::{Layout, lay};
use gracerung::units::{Beats, Bpm, Frames, Hertz, SampleRate, Seconds};
use std::sync::Arc;

const RATE: SampleRate = SampleRate(48_000);

/// A stage of a built-in drill played by the reference: the count-in and three repetitions.
fn played(stage: &str) -> (ExpectedStage, Vec<f32>, Seconds) {
    let file = built_in("grip-from-d").expect("it is there");
    played_with(file.text, stage, 3, &[Bus::Click])
}

/// A stage of a drill with its count-in and this many repetitions, with some buses muted.
fn played_with(
    text: &str,
    stage: &str,
    count: u64,
    muted: &[Bus],
) -> (ExpectedStage, Vec<f32>, Seconds) {
    let sound = Sound {
        levels: Levels::FULL,
        ..Sound::default()
    };
    sounding(text, stage, count, muted, sound)
}

/// A stage of a drill played with the given sound settings: the count-in and this many repetitions,
/// with some buses muted.
fn sounding(
    text: &str,
    stage: &str,
    count: u64,
    muted: &[Bus],
    mut sound: Sound,
) -> (ExpectedStage, Vec<f32>, Seconds) {
    let drill = read(text.as_bytes()).0.expect("it reads");
    let stage = drill
        .stages
        .iter()
        .find(|known| known.name == stage)
        .expect("the stage");
    let score = resolve_music(&stage.music, Beats::whole(4), &drill.schools);
    let tempo = Bpm::whole(60).expect("a tempo");
    let timeline = Arc::new(lay(&score, &Layout::at(tempo, RATE)));
    let piece = ExpectedStage::of(&score, &timeline);
    for bus in muted {
        sound.levels.mute(*bus, true);
    }
    let (mut player, mut controls) = Renderer::new(RATE, sound);
    let seconds = |cycle| Frames::of(Beats::ZERO.0, timeline.cycle_start(cycle), RATE, tempo);
    let start = seconds(0).seconds(RATE);
    let mut samples = vec![0.0_f32; seconds(count).0 as usize];
    let load = Load {
        timeline,
        serial: 1,
        when: When::Now,
        entry: Entrance::CountIn,
    };
    for command in [Command::Load(load), Command::Play { repetitions: None }] {
        let at = Frames(0);
        assert!(controls.commands.push(Timed { at, command }).is_ok());
    }
    player.fill(&mut samples);
    (piece, samples, start)
}

/// A repetition is judged while the stream goes on. Silence, or another stage, must get no mark.
#[test]
fn a_repetition_is_judged_and_silence_is_not() {
    let (piece, samples, start) = played("real time");
    let (other, ..) = played("full beats");
    let mut attention = Attention::new(RATE, Tuning::default()).expect("a usual rate");
    for block in samples.chunks(512) {
        attention.push(block);
    }
    let limits = Thresholds::default();
    // a beginning that is off by the difference of the two clocks must do no harm
    for late in [-0.2, 0.0, 0.2] {
        for cycle in [0.0, 1.0] {
            let cut = attention.cut(&piece, start + Seconds(late) + piece.cycle * cycle, false);
            let heard = cut.hear(&piece).expect("a usual rate");
            assert_eq!(heard.trouble, None);
            let verdict = judge(&heard.measured, &limits);
            assert_eq!(verdict.mark, Some(Mark::Clean), "{:?}", verdict.faults);
        }
    }
    // where the click is known to the millisecond, the player's lead over it is too
    for ahead in [-0.04, 0.0, 0.025] {
        let cut = attention.cut(&piece, start + Seconds(ahead), true);
        let heard = cut.hear(&piece).expect("a usual rate");
        let lead = heard.lead.expect("the place is exact");
        assert!((lead.0 - ahead * 1e3).abs() < 3.0, "{lead} for {ahead}");
        assert_eq!(heard.measured.lead_ms, lead);
    }
    let heard = attention
        .cut(&other, start, false)
        .hear(&other)
        .expect("a usual rate");
    assert_ne!(judge(&heard.measured, &limits).mark, Some(Mark::Clean));
    let quiet = attention.seconds();
    let silence = vec![0.0; (piece.cycle.0 * 48_000.0) as usize];
    for block in silence.chunks(512) {
        attention.push(block);
    }
    let cut = attention.cut(&piece, quiet + Seconds(0.5), false);
    let heard = cut.hear(&piece).expect("a usual rate");
    assert!(matches!(
        heard.trouble,
        Some(SoundTrouble::Odd(Remark::Silent(_)))
    ));
    assert_eq!(judge(&heard.measured, &limits).mark, None);
    assert_eq!(attention.now().note, None);
}

/// A whole tune at a slow tempo is longer than the sound that is kept for other drills. It must
/// still be heard from its beginning and marked.
#[test]
fn a_tune_of_two_minutes_is_heard_whole() {
    let file = built_in("lamp-on-the-slipway").expect("it is there");
    let drill = read(file.text.as_bytes()).0.expect("it reads");
    let stage = drill.stages[0].name.clone();
    let (piece, samples, start) = played_with(file.text, &stage, 1, &[Bus::Click]);
    assert!(piece.length.0 > 120.0, "{}", piece.length.0);
    let mut attention = Attention::new(RATE, Tuning::default()).expect("a usual rate");
    attention.keep_for(&piece);
    attention.push(&samples);
    attention.push(&vec![0.0; 48_000]);
    let heard = attention.cut(&piece, start, false).hear(&piece);
    let heard = heard.expect("a usual rate");
    assert_eq!(heard.trouble, None);
    let verdict = judge(&heard.measured, &Thresholds::default());
    assert_eq!(verdict.mark, Some(Mark::Clean), "{:?}", verdict.faults);
}

/// A metronome beside the player must not be heard as crossing noises. Two bars of 2/4 have only
/// two accents and two beats, which are too few to learn the sound of its clicks, so the sound
/// before the repetition is used too.
#[test]
fn a_short_repetition_is_judged_beside_a_loud_metronome() {
    let text = "title: Up and down\nmetre: 2/4\nunit: 1/8\nstages:\n  - {name: steps, music: '{g}A2 {d}B2|{e}A2 {g}c2|'}\nladder: {from: 60, to: 80, step: 4}\n";
    let (piece, mut samples, start) = played_with(text, "steps", 7, &[Bus::Click]);
    assert!((piece.length.0 - 4.0).abs() < 1e-9, "{}", piece.length.0);
    // an electronic metronome with beeps of 30 ms, the first of each bar higher
    for (at, sample) in samples.iter_mut().enumerate() {
        let time = at as f64 / 48_000.0 + 4.0 - start.0.fract();
        let hertz = if (time as u64).is_multiple_of(2) {
            1330.0
        } else {
            887.0
        };
        if time.fract() < 0.03 {
            *sample += 0.4 * (std::f64::consts::TAU * hertz * time.fract()).sin() as f32;
        }
    }
    let mut attention = Attention::new(RATE, Tuning::default()).expect("a usual rate");
    attention.push(&samples);
    for cycle in 3..6u8 {
        let start = start + piece.cycle * f64::from(cycle);
        let heard = attention.cut(&piece, start, false).hear(&piece);
        let heard = heard.expect("a usual rate");
        assert_eq!(heard.trouble, None);
        let verdict = judge(&heard.measured, &Thresholds::default());
        assert_eq!(verdict.mark, Some(Mark::Clean), "{:?}", verdict.faults);
    }
}

/// A loudspeaker must not practise by itself. In every stage the reference is recognised in the
/// microphone because it is exact, and click and drones are no player.
#[test]
fn our_own_sound_is_no_player() {
    let grips = built_in("grip-from-d").expect("it is there").text;
    let strikes = "title: Strikes\nmetre: 2/4\nunit: 1/4\nstages:\n  - {name: real time, music: '{g}A{G}A|{d}A{G}A|'}\nladder: {from: 60, to: 80, step: 4}\n";
    let hear = |text, low_a, muted: &[Bus]| {
        let tuning = Tuning::with_low_a(Hertz(low_a), TuningTable::Modern);
        let sound = Sound {
            tuning,
            levels: Levels::FULL,
            drones: true,
            ..Sound::default()
        };
        let (piece, samples, start) = sounding(text, "real time", 1, muted, sound);
        let mut attention = Attention::new(RATE, tuning).expect("a usual rate");
        attention.push(&samples);
        let heard = attention.cut(&piece, start, true).hear(&piece);
        heard.expect("a usual rate")
    };
    let reference = hear(grips, 236.0, &[Bus::Drones]);
    assert!(reference.measured.is_our_own(), "{reference:?}");
    for (text, low_a) in [(strikes, 236.0), (strikes, 480.0), (grips, 236.0)] {
        let beside = hear(text, low_a, &[Bus::Reference]);
        assert!(!beside.measured.playing, "{low_a}: {beside:?}");
    }
}
