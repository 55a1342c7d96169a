//! Tests of an opened movement, from the drill file to what sounds: its rungs, where its notes
//! fall, and that it always has room.

use super::{EventKind, Layout, SoundPart, lay};
use crate::drill::{Drill, read};
use crate::movement::{Context, Movement, Resolution, Role, Schools, resolve};
use crate::practice::Rung;
use crate::practice::ladder::{climbs, lengths_down};
use crate::rhythm::Metre;
use crate::score::resolve_music;
use crate::units::{Beats, Bpm, Millis, SampleRate};

fn drill(text: &str) -> Drill {
    let (drill, problems) = read(text.as_bytes());
    assert!(problems.is_empty(), "{problems:?}\n{text}");
    drill.expect("it reads")
}

/// A drill of half beats with an opening and real time.
fn opening(movement: &str, from: &str, to: &str, at: i128, more: &str) -> Drill {
    drill(&format!(
        "title: x\nmovement: {movement}\nfrom: {from}\nto: {to}\nstages:\n  \
         - {{name: half beats, before: 2, tone: 1/2, up_to: 60}}\n  \
         - {{name: closing up, before: 2, opening: {{from: 300, at: {at}}}}}\n  \
         - {{name: real time}}\nladder: {{from: 50, to: 80, step: 6%}}\n{more}"
    ))
}

fn spoken(rungs: &[Rung]) -> Vec<String> {
    rungs.iter().map(|rung| rung.spoken()).collect()
}

/// Values computed by hand. Real time at 50 beats a minute is 55·80/50 = 88 ms, at 60 it is 73⅓ ms,
/// from 80 on it is 55 ms. There are as few steps as possible with each length at least 0.7 of the
/// one before: 300·(88/300)^(1/4) = 220.8, 162.5, 119.6; 300·(73⅓/300)^(1/4) = 210.9, 148.3, 104.3;
/// 300·(55/300)^(1/5) = 213.7, 152.2, 108.4, 77.2.
#[test]
fn an_opening_closes_up_from_300_ms_to_real_time_at_its_tempo() {
    for (at, expected) in [
        (50, &["300", "221", "162", "120", "88"][..]),
        (60, &["300", "211", "148", "104", "73"]),
        (80, &["300", "214", "152", "108", "77", "55"]),
    ] {
        let rungs = &climbs(&opening("grip", "D", "LA", at, ""))[1];
        let expected: Vec<String> = expected.iter().map(|ms| format!("{ms} ms")).collect();
        assert_eq!(spoken(rungs), expected, "at {at}");
        assert!(
            rungs
                .iter()
                .all(|rung| rung.tempo() == Bpm::whole(at).expect("a tempo"))
        );
    }
}

/// Below 80 beats a minute the drill's own lengths set the real time. Where tones do not open, real
/// time is the same at every tempo.
#[test]
fn an_opening_ends_with_the_drills_own_real_time() {
    let last = |more: &str| {
        climbs(&opening("grip", "D", "LA", 50, more))[1]
            .last()
            .copied()
    };
    let ms = |ms: i128| Some(Millis::whole(ms));
    assert_eq!(last("").and_then(Rung::tone), ms(88));
    assert_eq!(last("lengths: {tone: 45}").and_then(Rung::tone), ms(72));
    assert_eq!(last("lengths: {opens: false}").and_then(Rung::tone), ms(55));
}

/// Each length is at least 0.7 of the one before, and at most 0.8 when there are three steps or
/// more. Rounding to whole milliseconds changes the ratio by less than 0.01.
#[test]
fn each_length_is_seven_to_eight_tenths_of_the_one_before() {
    for from in 150..=400_i128 {
        for to in 30..=110_i128 {
            let lengths = lengths_down(Millis::whole(from), Millis::whole(to));
            assert_eq!(lengths.first(), Some(&Millis::whole(from)));
            assert_eq!(lengths.last(), Some(&Millis::whole(to)));
            for pair in lengths.windows(2) {
                let share = pair[1].to_f64() / pair[0].to_f64();
                let most = if lengths.len() > 3 { 0.8 } else { 1.0 };
                assert!(
                    (0.69..=most).contains(&share),
                    "{from} to {to}: {lengths:?}"
                );
            }
        }
    }
}

/// Written-out stages end at their own last tempo; real time begins at the tempo of the opening.
#[test]
fn stages_end_where_they_say_and_real_time_begins_at_the_opening() {
    let climbs = climbs(&opening("grip", "D", "LA", 60, ""));
    assert_eq!(spoken(&climbs[0]), ["50", "53", "56", "60"]);
    assert_eq!(spoken(&climbs[2]), ["60", "63", "67", "71", "75", "80"]);
}

/// A grip from D opened at 60 beats a minute: D lasts two beats, both low Gs are as long as the
/// rung says, the B gracenote is as short as in real time, and the closing note stands on the third
/// beat.
#[test]
fn an_opened_grip_keeps_its_landing_and_its_gracenote() {
    let drill = opening("grip", "D", "LA", 60, "");
    let score = resolve_music(&drill.stages[1].music, Beats::ZERO, &drill.schools);
    for rung in &climbs(&drill)[1] {
        let tone = rung.tone().expect("a length");
        let layout = Layout {
            lengths: rung.lengths(drill.lengths),
            ..Layout::at(rung.tempo(), SampleRate::USUAL)
        };
        let timeline = lay(&score, &layout);
        let sounds: Vec<(Millis, Millis)> = timeline
            .first
            .iter()
            .filter_map(|event| match event.kind {
                EventKind::Sound(sounded) => {
                    // At 60 beats a minute a beat is 1000 ms.
                    let ms = |beats: Beats| Millis(beats.0 * Millis::whole(1000).0);
                    Some((ms(event.beat), ms(sounded.length)))
                }
                _ => None,
            })
            .collect();
        let (gracenote, lands) = (Millis::whole(35), Millis::whole(2000));
        let starts = |ms: Millis| Millis(lands.0 - ms.0);
        let grip = [
            (starts(Millis(tone.0 + tone.0 + gracenote.0)), tone),
            (starts(Millis(tone.0 + gracenote.0)), gracenote),
            (starts(tone), tone),
        ];
        assert_eq!(sounds[2..5], grip, "{rung}");
        assert_eq!(sounds[5].0, lands, "{rung}");
        assert!(timeline.crowded.is_empty());
    }
}

/// Four tones of 300 ms and three gracenotes are 1305 ms. That is more than 60 % of two beats at 60
/// beats a minute, the most a movement may take. So the note before is written three beats long,
/// and nothing is shrunk.
#[test]
fn a_note_that_is_too_short_for_the_opening_is_written_longer() {
    let drill = opening("crunluath", "D", "E", 60, "");
    let lengths: Vec<Beats> = drill.stages[1].music.bars[0]
        .notes
        .iter()
        .map(|note| note.length)
        .collect();
    assert_eq!(lengths, [Beats::whole(3), Beats::ONE]);
    let real: Vec<Beats> = drill.stages[2].music.bars[0]
        .notes
        .iter()
        .map(|note| note.length)
        .collect();
    assert_eq!(
        real[0],
        Beats::whole(2),
        "real time keeps its music, and so its marks"
    );
}

/// Every movement that can be opened, in every metre and at three tempi: it has room on every rung,
/// its tones sound as long as the rung says, and its bars add up.
#[test]
fn every_opened_movement_has_room_on_every_rung() {
    let (mut opened, mut shut) = (0, 0);
    for movement in Movement::all() {
        let contexts = crate::chanter::NOTES
            .into_iter()
            .flat_map(|from| crate::chanter::NOTES.map(|to| Context::between(from, to)));
        let played =
            contexts.filter_map(
                |context| match resolve(movement, context, &Schools::none()) {
                    Resolution::Played(resolved) => Some(resolved),
                    Resolution::NotPlayable { .. } => None,
                },
            );
        // every fourth context is enough: neighbouring ones differ by few notes
        for (number, resolved) in played.enumerate().step_by(4) {
            if !resolved.can_be_opened() {
                shut += 1;
                continue;
            }
            let context = resolved.context;
            let from = context.before.expect("a note before").name();
            let metre = Metre::USUAL[number % Metre::USUAL.len()];
            for at in [50, 60, 80] {
                let drill = drill(&format!(
                    "title: x\nmovement: {}\nfrom: {from}\nto: {}\nmetre: {metre}\nstages:\n  \
                     - {{name: closing up, opening: {{at: {at}}}}}\nladder: {{from: 50, to: 80, step: 6%}}\n",
                    movement.name(),
                    context.after.name()
                ));
                let music = &drill.stages[0].music;
                assert!(music.bars.iter().all(|bar| bar.length() == metre.bar()));
                let score = resolve_music(music, Beats::ZERO, &drill.schools);
                let tones = resolved.parts.iter();
                let tones = tones.filter(|part| part.role == Role::Sounding && !part.held);
                let tones = tones.count();
                for rung in &climbs(&drill)[0] {
                    let layout = Layout {
                        lengths: rung.lengths(drill.lengths),
                        ..Layout::at(rung.tempo(), SampleRate::USUAL)
                    };
                    let timeline = lay(&score, &layout);
                    let told = format!("{} from {from}, {metre}, {rung}", movement.name());
                    assert!(timeline.crowded.is_empty(), "{told}");
                    let wanted = rung.tone().expect("a length").to_beats(rung.tempo());
                    let long = timeline.first.iter().filter(|event| match event.kind {
                        EventKind::Sound(sounded) => {
                            sounded.part == SoundPart::Gracenote(Role::Sounding)
                                && sounded.length == wanted
                        }
                        _ => false,
                    });
                    assert!(long.count() >= tones, "{told}");
                }
                opened += 1;
            }
        }
    }
    assert!(
        opened > 300 && shut > 50,
        "{opened} opened, {shut} without tones"
    );
}
