//! Tests of the stages of every movement: the tables as they are taught, and the beat.

mod transfer;

use super::{
    BUILT_IN, Bar, Build, Drill, Group, Music, Request, Stage, StageKind, Written, make, read,
    read_music, render, write,
};
use crate::chanter::{NOTES, Note};
use crate::movement::{
    Context, Family, Movement, Resolved, Role, Schools, counted_contexts, find, opening_gracenote,
    recognise, resolve, tune_counts, typical_context,
};
use crate::rhythm::Metre;
use crate::units::{Beats, Fraction};
use std::collections::BTreeSet;

fn read_back(text: &str) -> Drill {
    let (drill, problems) = read(text.as_bytes());
    assert!(problems.is_empty(), "{}", render("drill", text, &problems));
    drill.expect("it reads")
}

fn made(request: &Request) -> Drill {
    read_back(&write(&make(request).expect("it is played here")).expect("it writes"))
}

fn request(movement: Movement, from: Note, to: Note) -> Request {
    Request {
        movement,
        from: vec![from],
        to: vec![to],
        schools: Schools::none(),
        build: Build::Whole,
        bridge: false,
        chain: false,
        transfer: false,
        metre: Metre::FOUR_FOUR,
    }
}

/// Onset, note, length and gracenotes. Tied notes are one note, and the opening gracenote is
/// spelled out.
type Row = (Beats, Note, Beats, Vec<Note>);

fn rows(bars: &[Bar]) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    let (mut at, mut tied) = (Beats::ZERO, false);
    for written in bars.iter().flat_map(|bar| &bar.notes) {
        let before = rows.last().map(|row| row.1);
        match rows.last_mut().filter(|_| tied) {
            Some(row) => row.2 = row.2 + written.length,
            None => rows.push((
                at,
                written.note,
                written.length,
                gracenotes(written, before),
            )),
        }
        at = at + written.length;
        tied = written.tied;
    }
    rows
}

fn gracenotes(written: &Written, before: Option<Note>) -> Vec<Note> {
    match &written.group {
        Group::None => Vec::new(),
        Group::Opening => opening_gracenote(before, written.note)
            .into_iter()
            .collect(),
        Group::Spelled(spelled) => spelled.iter().map(|gracenote| gracenote.note).collect(),
        Group::Movement(resolved) => resolved.gracenotes(),
    }
}

fn abc(text: &str) -> Music {
    let (music, problems) = read_music(text, Metre::FOUR_FOUR, Fraction::new(1, 4), "");
    assert_eq!(problems, [], "{text}");
    music
}

#[track_caller]
fn taught(movement: &str, schools: &[&str], from: Note, to: Note, stages: [&str; 4]) {
    let schools = schools.iter().fold(Schools::none(), |schools, name| {
        schools.with(name).expect("a school")
    });
    let request = Request {
        schools,
        ..request(find(movement).expect("a movement"), from, to)
    };
    let drill = made(&request);
    let [closing_up, real_time] = [3, 4].map(|at| &drill.stages[at]);
    assert_eq!(closing_up.name, "closing up");
    assert_eq!(real_time.name, "real time");
    for (stage, expected) in drill.stages[..3].iter().chain([real_time]).zip(stages) {
        assert_eq!(
            rows(&stage.music.bars),
            rows(&abc(expected).bars),
            "{movement} from {from}, {}",
            stage.name
        );
    }
}

/// Movements that begin on the beat (common practice, no source; how sure it is stands at each
/// table).
#[test]
fn what_begins_on_the_beat_begins_on_it_in_every_stage() {
    use Note::{C, D, E, LowA};
    // This table is 95 % sure.
    taught(
        "doubling",
        &[],
        C,
        E,
        [
            "{g}c2 {g}e {f}e|",
            "{g}c2 {g}e/ {f}e3/2|",
            "{g}c2 {g}e/4 {f}e7/4|",
            "{g}c2 {gef}e2|",
        ],
    );
    // This table is 95 % sure.
    taught(
        "doubling",
        &[],
        LowA,
        D,
        [
            "{g}A2 {g}d {e}d|",
            "{g}A2 {g}d/ {e}d3/2|",
            "{g}A2 {g}d/4 {e}d7/4|",
            "{g}A2 {gde}d2|",
        ],
    );
    // This table is 95 % sure.
    taught(
        "gracenote-strike",
        &[],
        LowA,
        C,
        [
            "{g}A2 {g}c {G}c|",
            "{g}A2 {g}c/ {G}c3/2|",
            "{g}A2 {g}c/4 {G}c7/4|",
            "{g}A2 {gcG}c2|",
        ],
    );
    // This table is 90 % sure.
    taught(
        "shake",
        &[],
        LowA,
        E,
        [
            "{g}A {g}e {f}e {A}e|",
            "{g}A2 {g}e/ {f}e/ {A}e|",
            "{g}A2 {g}e/4 {f}e/4 {A}e3/2|",
            "{g}A2 {gefeA}e2|",
        ],
    );
    // This table is 85 % sure.
    taught(
        "birl",
        &[],
        E,
        LowA,
        [
            "{g}e A {G}A {G}A|",
            "{g}e2 A/ {G}A/ {G}A|",
            "{g}e2 A/4 {G}A/4 {G}A3/2|",
            "{g}e2 {AGAG}A2|",
        ],
    );
    // This table is 85 % sure.
    taught(
        "birl",
        &[],
        LowA,
        LowA,
        [
            "{g}A2 {G}A {G}A|",
            "{g}A2 {G}A/ {G}A3/2|",
            "{g}A2 {G}A/4 {G}A7/4|",
            "{g}A2 {GAG}A2|",
        ],
    );
}

/// The throw on D under each of its schools (common practice, no source). The order of its notes is
/// 98 % sure, the first low G on the beat 55 % sure; the other two places follow from their
/// schools.
#[test]
fn each_school_of_the_throw_has_its_own_table() {
    use Note::{C, D};
    taught(
        "throw-on-d",
        &[],
        C,
        D,
        [
            "{g}c G {d}c d|",
            "{g}c2 G/ {d}c/ d|",
            "{g}c2 G/4 {d}c/4 d3/2|",
            "{g}c2 {Gdc}d2|",
        ],
    );
    taught(
        "throw-on-d",
        &["heavy-throw"],
        C,
        D,
        [
            "{g}c4|G {d}G c d|",
            "{g}c G/ {d}G/ c/ d3/2|",
            "{g}c2 G/4 {d}G/4 c/4 d5/4|",
            "{g}c2 {GdGc}d2|",
        ],
    );
    // The D gracenote is on the beat, and low G is before it.
    taught(
        "throw-on-d",
        &["throw-d-on-the-beat"],
        C,
        D,
        [
            "{g}c G {d}c d|",
            "{g}c3/2 G/ {d}c/ d3/2|",
            "{g}c7/4 G/4 {d}c/4 d7/4|",
            "{g}c2 {Gdc}d2|",
        ],
    );
    taught(
        "throw-on-d",
        &["heavy-throw", "throw-d-on-the-beat"],
        C,
        D,
        [
            "{g}c3 G|{d}G c d2|",
            "{g}c3/2 G/ {d}G/ c/ d|",
            "{g}c7/4 G/4 {d}G/4 c/4 d3/2|",
            "{g}c2 {GdGc}d2|",
        ],
    );
    // All of the movement is before the beat.
    taught(
        "throw-on-d",
        &["throw-before-the-beat"],
        C,
        D,
        [
            "{g}c G {d}c d|",
            "{g}c G/ {d}c/ d2|",
            "{g}c3/2 G/4 {d}c/4 d2|",
            "{g}c2 {Gdc}d2|",
        ],
    );
}

/// The tables of movements that fall before the beat (common practice, no source).
#[test]
fn the_grip_and_the_taorluath_keep_their_tables() {
    use Note::{D, LowA, LowG};
    taught(
        "grip",
        &[],
        D,
        LowA,
        [
            "{g}d G {B}G A|",
            "{g}d G/ {B}G/ A2|",
            "{g}d3/2 G/4 {B}G/4 A2|",
            "{g}d2 {GBG}A2|",
        ],
    );
    taught(
        "taorluath",
        &[],
        LowG,
        LowA,
        [
            "{g}G {d}A {e}A2|",
            "{g}G3/2 {d}A/ {e}A2|",
            "{g}G7/4 {d}A/4 {e}A2|",
            "{g}G2 {dAe}A2|",
        ],
    );
}

/// The place of the part that falls on the beat, from the start of a context's bars. It is computed
/// from the written notes and the resolved parts, not from the stage rule.
fn beat_of(resolved: &Resolved, rows: &[Row], whole: bool) -> Beats {
    if resolved.movement.family() == Family::Figure {
        return rows[0].0;
    }
    if whole {
        return rows[1].0;
    }
    let early = resolved.parts[..resolved.before_beat]
        .iter()
        .filter(|part| part.role == Role::Sounding)
        .count();
    rows[1 + early].0
}

/// Checks that every stage made from the movement has its beat on a beat, and returns the number of
/// stages.
fn every_stage_is_on_the_beat(drill: &Drill, resolved: &Resolved) -> usize {
    let mut stages = 0;
    for stage in &drill.stages {
        let whole = match stage.kind {
            StageKind::Apart { .. } => false,
            StageKind::RealTime { .. } | StageKind::Opening { .. } => true,
            StageKind::Written => continue,
        };
        let rows = rows(&stage.music.bars);
        let beat = beat_of(resolved, &rows, whole);
        let told = format!("{}, {}: {rows:?}", drill.title, stage.name);
        assert_eq!(beat, beat.floor(), "{told}");
        for bar in &stage.music.bars {
            assert_eq!(bar.length(), drill.metre.bar(), "{told}");
        }
        stages += 1;
    }
    stages
}

/// A movement in a context under a school, with the beat of a drill's `begins:` field.
fn with_beat(resolved: &Resolved, begins: Option<&str>) -> Resolved {
    let mut resolved = resolved.clone();
    match begins {
        Some("on the beat") => resolved.before_beat = 0,
        Some(_) => resolved.before_beat = resolved.parts.len(),
        None => {}
    }
    resolved
}

/// A closing note on the beat with the movement before it is a common fault that teachers correct.
#[test]
fn every_movement_keeps_its_beat_in_every_context_and_school() {
    let mut stages = 0;
    for movement in Movement::all() {
        let chosen = std::iter::once(Schools::none()).chain(
            movement
                .schools()
                .iter()
                .map(|school| Schools::none().and(*school)),
        );
        for schools in chosen {
            for from in NOTES {
                for to in NOTES {
                    let context = Context::between(from, to);
                    let resolution = resolve(movement, context, &schools);
                    let Some(resolved) = resolution.played() else {
                        continue;
                    };
                    let request = Request {
                        schools: schools.clone(),
                        ..request(movement, from, to)
                    };
                    stages += every_stage_is_on_the_beat(&made(&request), resolved);
                }
            }
        }
    }
    assert!(stages > 10_000, "{stages}");
}

/// The same check in the commonest context, in every metre and with every value of `begins:`.
#[test]
fn every_metre_and_every_beginning_keeps_the_beat() {
    for movement in Movement::all() {
        let context = typical_context(movement);
        let resolution = resolve(movement, context, &Schools::none());
        let resolved = resolution.played().expect("it is played there");
        let from = context.before.expect("a note before");
        for metre in Metre::USUAL {
            let request = Request {
                metre,
                bridge: true,
                ..request(movement, from, context.after)
            };
            every_stage_is_on_the_beat(&made(&request), resolved);
            for begins in [None, Some("on the beat"), Some("before the beat")] {
                let begins_line = begins.map_or(String::new(), |at| format!("begins: {at}\n"));
                let usual = format!(
                    "title: x\nmovement: {movement}\nfrom: {from}\nto: {}\nmetre: {metre}\n\
                     {begins_line}ladder: {{from: 50, to: 60, step: 4}}\n",
                    context.after
                );
                every_stage_is_on_the_beat(&read_back(&usual), &with_beat(resolved, begins));
            }
        }
    }
}

/// All stages of a movement land on the same place of the bar, where the bar has room for it.
#[test]
fn all_stages_of_a_built_in_drill_land_on_one_place_where_the_bar_allows() {
    for built in BUILT_IN {
        let drill = read_back(built.text);
        let Some(line) = &drill.movement else {
            continue;
        };
        let context = Context::between(line.from[0], line.to[0]);
        let resolution = resolve(line.movement, context, &drill.schools);
        let resolved = resolution.played().expect("it is played there");
        let own = Drill {
            stages: drill
                .stages
                .iter()
                .filter(|stage| stage.kind != StageKind::Written)
                .cloned()
                .collect(),
            ..drill.clone()
        };
        assert!(every_stage_is_on_the_beat(&own, resolved) >= 4);
        if resolved.before_beat > 0 {
            continue;
        }
        let bar = drill.metre.bar();
        for stage in &own.stages {
            let StageKind::Apart { before, tone } = stage.kind else {
                continue;
            };
            let tones = resolved
                .parts
                .iter()
                .filter(|part| part.role == Role::Sounding)
                .count();
            let needs = Beats::whole(2) + tone * Fraction::from_integer(tones as i128) + Beats::ONE;
            if needs <= bar {
                assert_eq!(before, Beats::whole(2), "{}, {}", built.name, stage.name);
            }
        }
    }
}

/// A drill of an earlier version is still read. Its movement stays on the beat, and `check` names
/// the line and how to mend it.
#[test]
fn a_note_before_that_moves_the_movement_off_its_beat_is_told() {
    let text = "title: x\nmovement: doubling\nfrom: C\nto: E\nstages:\n  - {name: sixteenths, \
                before: 1 3/4, tone: 1/4}\n  - {name: real time, before: 1/2}\n  - {name: half \
                beats, before: 2, tone: 1/2}\nladder: {from: 50, to: 60, step: 4}\n";
    let (drill, problems) = read(text.as_bytes());
    let drill = drill.expect("it can still be played");
    let told: Vec<(usize, String, Option<String>)> = problems
        .iter()
        .map(|problem| {
            (
                problem.place.line,
                problem.kind.to_string(),
                problem.kind.mend(),
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            (
                6,
                "in stage `sixteenths` a note before of 1¾ beats moves the doubling off its beat; \
                 it is played with 2 beats"
                    .to_owned(),
                Some("write `before: 2`".to_owned())
            ),
            (
                7,
                "in stage `real time` a note before of ½ beat moves the doubling off its beat; it \
                 is played with 1 beat"
                    .to_owned(),
                Some("write `before: 1`".to_owned())
            ),
        ]
    );
    let expected = abc("{g}c2 {g}e/4 {f}e7/4|");
    assert_eq!(rows(&drill.stages[0].music.bars), rows(&expected.bars));
}

/// From low G a grip has one tone, from C two. A problem in one context is not reported for the
/// other, and both land on a beat.
#[test]
fn contexts_of_unlike_length_each_keep_the_beat() {
    let text = "title: x\nmovement: grip\nfrom: [LG, C]\nto: LA\nstages:\n  - {name: half beats, \
                before: 1, tone: 1/2}\nladder: {from: 50, to: 60, step: 4}\n";
    let drill = read_back(text);
    let expected = abc("{g}G3/2 {d}G/ A2|{g}c G/ {d}G/ A2|");
    assert_eq!(rows(&drill.stages[0].music.bars), rows(&expected.bars));
}
