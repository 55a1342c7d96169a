use super::*;
use crate::drill::{BUILT_IN, Drill, read};
use crate::movement::Movement;

fn drill(head: &str, music: &str) -> Drill {
    let text = format!(
        "title: our tune\nmetre: 4/4\n{head}music: \"{music}\"\n\
             ladder: {{from: 50, to: 80, step: 4%}}\n"
    );
    let (drill, problems) = read(text.as_bytes());
    drill.unwrap_or_else(|| panic!("{problems:?}"))
}

fn place(drill: &Drill, bar: usize, note: Option<usize>) -> InPlace<'_> {
    let stage = &drill.stages[0];
    let tune = Tune { drill, stage };
    InPlace { tune, bar, note }
}

fn stages(drill: &Drill, bar: usize, note: Option<usize>) -> Vec<(String, String)> {
    make_in_place(&place(drill, bar, note))
        .expect("it can be looped")
        .stages
        .expect("stages")
        .into_iter()
        .map(|stage| (stage.name, stage.music.expect("it is written out")))
        .collect()
}

/// The grip takes its tones from the note before it; the other bars do not change.
#[test]
fn a_grip_is_taken_apart_where_it_stands() {
    let tune = drill("", "{g}A4 {g}c4 | {g}d4 {GBG}A4 | {g}B8 | {g}c8 |");
    let stages = stages(&tune, 1, Some(1));
    assert_eq!(
        stages[0],
        (
            "tones of half a beat".to_owned(),
            "{g}A4 {g}c4 | {g}d2 G {B}G A4 | {g}B8 |".to_owned()
        )
    );
    assert_eq!(
        stages.last(),
        Some(&(
            "as written".to_owned(),
            "{g}A4 {g}c4 | {g}d4 {GBG}A4 | {g}B8 |".to_owned()
        ))
    );
}

/// The text names what to listen for in this movement, not just "the movement clean".
#[test]
fn it_is_said_what_to_listen_for_in_this_movement() {
    let tune = drill("", "{g}A4 {g}c4 | {g}d4 {GBG}A4 | {g}B8 | {g}c8 |");
    let said = make_in_place(&place(&tune, 1, Some(1)))
        .expect("a drill")
        .listen_for;
    let said = said.expect("something");
    assert!(said.starts_with("both low Gs are heard"), "{said}");
    assert!(
        said.ends_with("and the bars around it as steady as before"),
        "{said}"
    );
}

/// A bar of a march keeps the march's pointing and its birl. A stage in which a tone and the rest
/// of its note look like a dot and its cut is played even.
#[test]
fn a_bar_keeps_what_its_tune_says_of_itself() {
    let tune = drill(
        "kind: march\nschool: heavy-throw\npointing: 4:1\n",
        "{g}A3 {d}c {g}e4 | {g}d4 {GBG}A2 {gef}e2 | {dAGAG}A8 |",
    );
    let made = read_back(&make_in_place(&place(&tune, 1, Some(2))).expect("a drill"));
    let made = made.expect("it reads");
    assert_eq!(made.head.kind.as_deref(), Some("march"));
    assert_eq!(made.schools, tune.schools);
    let pointed: Vec<_> = made
        .stages
        .iter()
        .map(|stage| stage.music.pointing)
        .collect();
    assert_eq!(pointed.last(), Some(&tune.stages[0].music.pointing));
    let own = made
        .stages
        .iter()
        .filter(|stage| stage.own_pointing().is_some());
    let own: Vec<&str> = own.map(|stage| stage.name.as_str()).collect();
    assert_eq!(own, ["tones of a quarter beat"]);
    let last = &made.stages.last().expect("a stage").music;
    let score = crate::score::resolve_music(last, Beats::ZERO, &made.schools);
    let birl = &score.notes.last().expect("a note").group;
    assert_eq!(birl.movement.map(Movement::name), Some("birl"));
    assert!(birl.parts.iter().all(|part| part.held.is_none()));
}

/// A doubling begins on the beat, so it takes its tone from the note it decorates.
#[test]
fn a_doubling_takes_its_tone_from_its_own_note() {
    let tune = drill("", "{g}A4 {gcd}c4 |");
    let stages = stages(&tune, 0, Some(1));
    assert_eq!(stages[0].1, "{g}A4 {g}c2 {d}c2 |");
}

/// A semiquaver has no room for two tones. So the drill begins with the stages that the movement's
/// own drill has before real time.
#[test]
fn a_movement_after_a_short_note_is_taken_apart_by_itself() {
    let tune = drill("", "{g}A4 {g}c4 | {g}c3 B/ {GdGe}A4- A/ | {g}B8 | {g}c8 |");
    let made = stages(&tune, 1, Some(2));
    let names: Vec<&str> = made.iter().map(|own| own.0.as_str()).collect();
    assert_eq!(
        names,
        [
            "full beats, by itself",
            "half beats, by itself",
            "dotted and sixteenths, by itself",
            "as written"
        ]
    );
    // facts.md section 4 has no table of a taorluath from B. This is the table of the grip, with
    // the E gracenote.
    assert_eq!(made[1].1, "{g}B2 G {d}G {e}A4 |");
    // A quaver has room for the shortest tones only, so the stages of the movement by itself come
    // first.
    let quaver = drill("", "{g}A4 {g}c4 | {g}c2 B {GdGe}A4- A | {g}B8 | {g}c8 |");
    let names: Vec<String> = stages(&quaver, 1, Some(2))
        .into_iter()
        .map(|own| own.0)
        .collect();
    assert_eq!(
        names[2..],
        [
            "dotted and sixteenths, by itself",
            "tones of an eighth of a beat",
            "as written"
        ]
    );
    let document = make_in_place(&place(&tune, 1, Some(2))).expect("a drill");
    let about = document.about.expect("a sentence");
    assert!(
        about.contains("is taken apart by itself first, from B to low A"),
        "{about}"
    );
}

#[test]
fn a_gracenote_without_a_tone_says_that_nothing_is_taken_apart() {
    let tune = drill("", "{g}A4 {d}c4 | {g}c8 |");
    let document = make_in_place(&place(&tune, 0, Some(1))).expect("a drill");
    let about = document.about.expect("a sentence");
    assert!(
        about.contains("The D gracenote has no tone of its own"),
        "{about}"
    );
}

/// A tune that begins with a pickup ends with a short bar; both can be practised.
#[test]
fn a_pickup_and_a_short_last_bar_stand_by_themselves() {
    let tune = drill(
        "kind: march\n",
        "{g}e2 | {g}A4 {g}c4 | {g}B4 {g}c4 | {gAGAG}A6 |",
    );
    let last = stages(&tune, 3, Some(0));
    assert_eq!(
        last[0],
        (
            "tones of a full beat".to_owned(),
            "{g}B4 {g}c4 | {g}A2 {G}A2 {G}A4 |".to_owned()
        )
    );
    let pickup = stages(&tune, 0, None);
    assert_eq!(pickup[0].1, "{g}e2 | {g}A4 {g}c4 | {g}B6 |");
}

/// The ladder of a march at 84 beats a minute ends at 84, the tempo of the tune.
#[test]
fn the_goal_is_the_tempo_of_the_tune() {
    let text = "title: our tune\nmetre: 4/4\nmusic: \"{g}A4 {g}c4 | {g}d4 {GBG}A4 |\"\n\
            ladder: {from: 50.5, to: 84.5, step: 4%}\n";
    let tune = read(text.as_bytes()).0.expect("it reads");
    let document = make_in_place(&place(&tune, 1, Some(1))).expect("a drill");
    let about = document.about.clone().unwrap_or_default();
    assert!(
        about.contains("up to 84½, which is the tempo of the tune"),
        "{about}"
    );
    let made = read_back(&document).expect("it reads");
    assert_eq!(made.ladder.to(), tune.ladder.to());
    assert!(made.ladder.from() < tune.ladder.from());
}

/// Three quavers are a beat of a jig, so the tones are thirds of a beat, as in the drill of the
/// movement.
#[test]
fn tones_in_a_jig_are_parts_of_three() {
    let text = "title: our jig\nmetre: 6/8\nunit: 1/8\nmusic: \"{g}A3 {g}c3 | {g}d3 {GBG}A3 |\"\n\
            ladder: {from: 60, to: 100, step: 4%}\n";
    let tune = read(text.as_bytes()).0.expect("it reads");
    let made = stages(&tune, 1, Some(1));
    assert_eq!(made[0].0, "tones of a third of a beat");
    assert_eq!(made[0].1, "{g}A3 {g}c3 | {g}d G {B}G A3 |");
}

fn onsets(music: &Music) -> Vec<Beats> {
    let notes = music.bars.iter().flat_map(|bar| &bar.notes);
    notes
        .scan(Beats::ZERO, |at, note| {
            let onset = *at;
            *at = *at + note.length;
            Some(onset)
        })
        .collect()
}

/// Every bar and every movement of every tune in the program can be practised by itself. What is on
/// the beat in the tune is on the beat in every stage.
#[test]
fn every_place_of_every_written_stage_reads_back() {
    let mut places = 0;
    for built in BUILT_IN {
        let (drill, _) = read(built.text.as_bytes());
        let drill = drill.expect("built-in drills read");
        for stage in &drill.stages {
            for (bar, written) in stage.music.bars.iter().enumerate() {
                for note in (0..written.notes.len()).map(Some).chain([None]) {
                    let drill = &drill;
                    let tune = Tune { drill, stage };
                    let place = InPlace { tune, bar, note };
                    let document = make_in_place(&place).expect(built.name);
                    let drill = read_back(&document).expect(built.name);
                    let as_written = onsets(&drill.stages.last().expect("a stage").music);
                    let in_place = drill.stages.iter();
                    for stage in in_place.filter(|own| !own.name.ends_with("by itself")) {
                        let onsets = onsets(&stage.music);
                        let all = as_written.iter().all(|onset| onsets.contains(onset));
                        assert!(all, "{} {bar} {note:?}: {}", built.name, stage.name);
                    }
                    places += 1;
                }
            }
        }
    }
    assert!(places > 300, "{places}");
}
