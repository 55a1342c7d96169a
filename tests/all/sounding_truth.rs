//! What is played agrees with what is explained: the events of a movement's timeline are compared
//! with its explanation.

use gracerung::chanter::{NOTES, Note};
use gracerung::drill::read;
use gracerung::movement::{Context, Family, Lengths, Movement, Schools, explain, resolve};
use gracerung::score::resolve_music;
use gracerung::sound::{Bus, Command, Entrance, Levels, Load, Renderer, Sound, Timed, When};
use gracerung::timeline::{EventKind, Layout, SoundPart, lay};
use gracerung::units::{Beats, Bpm, Frames, SampleRate};
use std::sync::Arc;

/// A drill in which the note before lasts four beats, so that nothing is crowded. A held tone lasts
/// one beat. The first note of a figure of melody notes is the movement's own short note, which is
/// on the beat.
fn drill(movement: Movement, from: Note, to: Note) -> String {
    let before = if movement.family() == Family::Figure {
        "1/8"
    } else {
        "4"
    };
    format!(
        "title: x\nmovement: {movement}\nfrom: {from}\nto: {to}\n\
         stages: [{{name: real time, before: {before}}}]\nladder: {{from: 60, to: 70, step: 4}}\n"
    )
}

/// Every movement between every two notes where it can be played.
fn played_contexts() -> impl Iterator<Item = (Movement, Note, Note)> {
    Movement::all().flat_map(|movement| {
        NOTES.into_iter().flat_map(move |from| {
            NOTES.into_iter().filter_map(move |to| {
                resolve(movement, Context::between(from, to), &Schools::none()).played()?;
                Some((movement, from, to))
            })
        })
    })
}

/// The explanation and the reference must agree for every movement between every two notes: in the
/// order, beginning and length of every gracenote, and in the place of the note it closes on.
#[test]
fn the_events_of_every_movement_are_those_of_its_explanation() {
    let tempo = Bpm::whole(60).expect("a tempo");
    let breath = Beats::whole(4);
    let mut compared = 0;
    for (movement, from, to) in played_contexts() {
        let context = Context::between(from, to);
        let told = format!("{movement} from {from} to {to}");
        let figure = movement.family() == Family::Figure;
        // the written place of the closing note, and the beat that the explanation counts from
        let (lands, beat) = if figure {
            (Lengths::figure_note(), Beats::ZERO)
        } else {
            (Beats::whole(4), Beats::whole(4))
        };
        let (value, problems) = read(drill(movement, from, to).as_bytes());
        assert!(problems.is_empty(), "{told}: {problems:?}");
        let value = value.expect("it reads");
        let score = resolve_music(&value.stages[0].music, breath, &value.schools);
        let timeline = lay(&score, &Layout::at(tempo, SampleRate(48_000)));
        assert!(timeline.crowded.is_empty(), "{told} is crowded");
        let sounds: Vec<(Note, Beats, Beats, bool)> = timeline
            .first
            .iter()
            .filter_map(|event| match event.kind {
                EventKind::Sound(sounded) => Some((
                    sounded.note,
                    event.beat,
                    sounded.length,
                    matches!(sounded.part, SoundPart::Melody { .. }),
                )),
                _ => None,
            })
            .collect();
        // after the opening gracenote, if there is one, and the note before
        let start = sounds
            .iter()
            .position(|(_, _, _, melody)| *melody)
            .expect("the note before")
            + 1;
        let explanation = explain(
            movement,
            context,
            &Schools::none(),
            tempo,
            &Lengths::default(),
        );
        // at 60 beats a minute a beat is 1000 ms; the explanation rounds to whole milliseconds
        let ms = |beats: Beats| beats.to_f64() * 1000.0;
        let near = |found: f64, page: f64| (found - page).abs() <= 0.51;
        let parts = &explanation.parts;
        assert_eq!(sounds.len(), start + parts.len() + 1, "{told}");
        for (sound, part) in sounds[start..].iter().zip(parts) {
            assert_eq!(sound.0, part.note, "{told}");
            assert!(
                near(ms(sound.1 - beat), f64::from(part.begins)),
                "{told}: {} begins at {} ms, explained at {}",
                part.note,
                ms(sound.1 - beat),
                part.begins
            );
            assert!(
                near(ms(sound.2), f64::from(part.milliseconds)),
                "{told}: {} lasts {} ms, explained {}",
                part.note,
                ms(sound.2),
                part.milliseconds
            );
        }
        if figure {
            let begins = sounds[..start].first().expect("its first note").1;
            assert_eq!(begins, beat, "{told}: its first note has the beat");
        }
        let closing = sounds.last().expect("the closing note");
        let time = explanation.time.as_ref().expect("it takes time");
        assert_eq!(closing.0, to, "{told}");
        assert!(
            near(ms(closing.1 - lands), f64::from(time.from_the_closing_note)),
            "{told}: the closing note falls at {} ms",
            ms(closing.1 - lands)
        );
        compared += 1;
    }
    assert!(compared >= 1_800, "{compared} contexts");
}

/// No movement may be silent, or clip where a gracenote's edge meets click and drones at full
/// level: every movement between every two notes, one after the other through one renderer.
#[test]
fn no_movement_clips() {
    each_movement(true, |told, samples| {
        let peak = samples
            .iter()
            .fold(0.0_f32, |peak, sample| peak.max(sample.abs()));
        assert!((0.3..1.0).contains(&peak), "{told} reaches {peak}");
    });
}

/// With the reference alone, the second half of the bar, which has the movement and the note it
/// closes on, is not silent.
#[test]
fn every_movement_sounds() {
    each_movement(false, |told, samples| {
        let music = &samples[samples.len() * 3 / 4..];
        let power: f32 = music.iter().map(|sample| sample * sample).sum();
        let level = (power / music.len() as f32).sqrt();
        assert!(level > 0.05, "{told} has a level of {level}");
    });
}

fn each_movement(everything: bool, holds: impl Fn(&str, &[f32])) {
    let rate = SampleRate(16_000);
    let tempo = Bpm::whole(240).expect("a tempo");
    let mut sound = Sound {
        drones: everything,
        levels: Levels::FULL,
        ..Sound::default()
    };
    sound.levels.muted[Bus::Click as usize] = !everything;
    let (mut player, mut controls) = Renderer::new(rate, sound);
    let (mut now, mut played) = (0_u64, 0_u64);
    for (movement, from, to) in played_contexts() {
        let text = drill(movement, from, to).replace("before: 4", "before: 2");
        let value = read(text.as_bytes()).0.expect("it reads");
        let score = resolve_music(&value.stages[0].music, Beats::ZERO, &value.schools);
        let timeline = Arc::new(lay(&score, &Layout::at(tempo, rate)));
        let length = Frames::of(Beats::ZERO.0, timeline.cycle_start(1), rate, tempo);
        let load = Load {
            timeline,
            serial: played,
            when: When::Now,
            entry: Entrance::CountIn,
        };
        for command in [Command::Load(load), Command::Play { repetitions: None }] {
            let at = Frames(now);
            assert!(controls.commands.push(Timed { at, command }).is_ok());
        }
        let mut samples = vec![0.0_f32; length.0 as usize];
        player.fill(&mut samples);
        now += length.0;
        played += 1;
        while controls.retired.pop().is_ok() {}
        while controls.reports.pop().is_ok() {}
        let told = format!("{movement} from {from} to {to}");
        holds(&told, &samples);
    }
    assert!(played >= 1_800, "{played} movements in context");
}
