//! Nothing on a staff may touch what it does not belong to. Every built-in stage and every movement
//! of the catalogue in every context are drawn wide and as narrow as possible.

mod touching;

use gracerung::chanter::NOTES;
use gracerung::drill::{BUILT_IN, Music, read, read_music, real_time};
use gracerung::engraving::font::Segment;
use gracerung::engraving::{Bounds, Element, ElementKind, InkShape, LayoutSettings, lay_out};
use gracerung::movement::{Context, Movement, Resolution, Schools, resolve};
use gracerung::rhythm::Metre;
use gracerung::score::{NoteId, Score, resolve_music};
use gracerung::units::Beats;
use proptest::prelude::*;
use touching::{nothing_touches, touching};

fn settings(width: f64) -> LayoutSettings {
    LayoutSettings {
        beat_numbers: true,
        note_names: true,
        ..LayoutSettings::paper(width)
    }
}

/// Otherwise a player would see heads in flags, or names in beams.
#[test]
fn nothing_touches_in_any_built_in_drill() {
    for drill in BUILT_IN {
        let value = read(drill.text.as_bytes()).0.expect("reads");
        for stage in &value.stages {
            let score = resolve_music(&stage.music, Beats::ZERO, &value.schools);
            for width in [104.0, 72.0, 45.0] {
                let what = format!("{} {} at {width}", drill.name, stage.name);
                nothing_touches(&score, &stage.music, &settings(width), &what);
            }
        }
    }
}

/// A rare movement between unusual notes must be as clear as the common ones.
#[test]
fn nothing_touches_in_any_movement_of_the_catalogue() {
    let metre = Metre::FOUR_FOUR;
    let mut drawn = 0;
    for movement in Movement::all() {
        for from in NOTES {
            let mut bars = Vec::new();
            for to in NOTES {
                let context = Context::between(from, to);
                let Resolution::Played(resolved) = resolve(movement, context, &Schools::none())
                else {
                    continue;
                };
                let taken = real_time(metre, from, &resolved, Beats::ONE)
                    .expect("a crotchet and a dotted minim");
                bars.extend(taken.bars);
                drawn += 1;
            }
            if bars.is_empty() {
                continue;
            }
            let music = Music::straight(metre, bars);
            let score = resolve_music(&music, Beats::ZERO, &Schools::none());
            let what = format!("{} from {from}", movement.name());
            nothing_touches(&score, &music, &settings(104.0), &what);
            // as many bars in a system as fit, so that every spring has its least length
            nothing_touches(&score, &music, &settings(38.0), &what);
        }
    }
    assert!(drawn > 1000, "{drawn}");
}

/// Bars of 2/4 that crowd what is drawn above and below: the highest gracenotes, movements,
/// triplets with and without a beam, and sloping beams.
const CROWDED: [&str; 12] = [
    "{g}A3B {gcd}c3A",
    "{ag}a3e {gf}g3B",
    "{GdGe}A4 {gAGAG}A4",
    "(3{g}cde {gef}e2 d2",
    "{gef}e4 (3:2:2{g}c4B2",
    "{g}A2{d}A2 {e}A2{g}A2",
    "{Gdc}d3B {d}G3B",
    "a4 {fg}f2{g}e2",
    "{g}G/{d}A/{e}B/{g}c/d/e/f/g/ a2{fg}f2",
    "{g}e8",
    "{GdGeAfA}e3c {gBd}B3G",
    "{aga}a4 {g}f2e2",
];

/// Parts with pickups, repeats and endings of one or two bars, made of crowded bars.
fn crowded_tunes() -> impl Strategy<Value = String> {
    let bar = || 0..CROWDED.len();
    let part = (
        prop::collection::vec(bar(), 1..9),
        any::<bool>(),
        prop::option::of((prop::collection::vec(bar(), 1..3), bar())),
    );
    prop::collection::vec(part, 1..4).prop_map(|parts| {
        let mut text = String::new();
        for (bars, repeats, endings) in parts {
            let bars: Vec<&str> = bars.into_iter().map(|bar| CROWDED[bar]).collect();
            text.push_str(if repeats { "|:" } else { "|" });
            text.push_str(&bars.join("|"));
            match endings {
                Some((first, second)) if repeats => {
                    let first: Vec<&str> = first.into_iter().map(|bar| CROWDED[bar]).collect();
                    let (first, second) = (first.join("|"), CROWDED[second]);
                    let all = ["|1", &first, ":|2", second, "||\n"];
                    text.push_str(&all.concat());
                }
                _ => text.push_str(if repeats { ":|\n" } else { "||\n" }),
            }
        }
        text
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// The number of an ending inside a gracenote's flags, a name in a beam, or a bar beyond the
    /// margin is seen by every reader of the page, and by no program that reads the file.
    #[test]
    fn nothing_touches_in_crowded_tunes(
        body in crowded_tunes(),
        width in 40.0..140.0_f64,
        four in any::<bool>(),
    ) {
        let metre = Metre::TWO_FOUR;
        // a gracenote that equals the note before it is reported and left out
        let (music, _) = read_music(&body, metre, metre.default_unit(), "");
        prop_assert!(!music.bars.is_empty(), "{body}");
        let score = resolve_music(&music, Beats::ZERO, &Schools::none());
        let settings = LayoutSettings {
            bars_in_a_system: four.then_some(4),
            // names of notes are shown on screens only, with distances of their own
            note_names: false,
            ..settings(width)
        };
        let engraved = lay_out(&score, Some(&music), &settings);
        let mut bars = 0;
        for system in &engraved.systems {
            let found = touching(&system.elements);
            prop_assert!(found.is_empty(), "{body}: {}", found.join("\n"));
            bars += system.bars.len();
            // a single bar may be wider than a narrow page
            if system.bars.len() > 1 {
                for element in &system.elements {
                    let ink = element.shape.bounds();
                    prop_assert!(
                        ink.left >= -0.1 && ink.right <= width + 1.5,
                        "{body}: {element:?} leaves {width}"
                    );
                    prop_assert!(ink.top <= system.top && ink.bottom >= system.bottom);
                }
            }
        }
        prop_assert_eq!(bars, music.bars.len());
    }
}

/// Every note and gracenote of the first time through is drawn, and each gracenote once. A note
/// that continues another may be drawn together with it.
#[test]
fn every_note_of_the_score_has_a_head() {
    for drill in BUILT_IN {
        let value = read(drill.text.as_bytes()).0.expect("reads");
        for stage in &value.stages {
            let score = resolve_music(&stage.music, Beats::ZERO, &value.schools);
            let engraved = lay_out(&score, Some(&stage.music), &settings(104.0));
            let mut drawn: Vec<NoteId> = engraved
                .systems
                .iter()
                .flat_map(|system| &system.elements)
                .filter(|element| {
                    matches!(element.kind, ElementKind::Head | ElementKind::GraceHead)
                })
                .filter_map(|element| element.note)
                .collect();
            let sounds_on: Vec<NoteId> = score
                .notes
                .iter()
                .filter(|note| note.continues)
                .map(|note| note.id)
                .collect();
            drawn.retain(|id| !sounds_on.contains(id));
            let gracenotes = |ids: &[NoteId]| ids.iter().filter(|id| id.grace > 0).count();
            let all_gracenotes = gracenotes(&drawn);
            let mut written: Vec<NoteId> = score
                .notes
                .iter()
                .filter(|note| note.id.pass == 1 && !note.continues)
                .flat_map(|note| note.group.parts.iter().map(|part| part.id).chain([note.id]))
                .collect();
            drawn.sort_unstable();
            drawn.dedup();
            written.sort_unstable();
            assert_eq!(all_gracenotes, gracenotes(&written));
            assert_eq!(drawn, written, "{} {}", drill.name, stage.name);
        }
    }
}

/// Every shape of a sheet must lie on the paper.
#[test]
fn every_sheet_stays_on_its_paper() {
    use gracerung::sheet::{Ink, Paper, SheetOptions, compose};
    // a ladder of six stages with 191 rungs each
    let stage = |number: u8| format!("  - {{name: stage {number}, music: \"{{g}}A4 e4|\"}}\n");
    let stages: String = (1..7).map(stage).collect();
    let endless = format!(
        "title: Endless\nunit: 1/8\nstages:\n{stages}ladder: {{from: 50, to: 240, step: 1}}\n"
    );
    let texts = BUILT_IN.iter().map(|drill| drill.text);
    for text in texts.chain([endless.as_str()]) {
        let value = read(text.as_bytes()).0.expect("reads");
        for paper in [Paper::A4, Paper::Letter] {
            let options = SheetOptions {
                paper,
                clicks: true,
                left_handed: true,
            };
            let booklet = compose(std::slice::from_ref(&value), &options);
            let (width, height) = paper.size();
            for page in &booklet.pages {
                let cells = page
                    .blocks
                    .iter()
                    .flat_map(|block| block.rows.iter().flatten());
                let ink = page.blocks.iter().flat_map(|block| &block.ink);
                for ink in ink.chain(cells.flat_map(|cell| &cell.ink)) {
                    let (right, y) = match ink {
                        Ink::Text {
                            text,
                            x,
                            y,
                            size,
                            face,
                        } => (x + face.width(text, *size), *y),
                        Ink::Glyph { glyph, x, y, space } => {
                            (x + glyph.outline().right * space, *y)
                        }
                        Ink::Fill(outline) => {
                            let points = outline.iter().filter_map(|segment| match segment {
                                Segment::Move(point) | Segment::Line(point) => Some(*point),
                                _ => None,
                            });
                            points.fold((0.0, 30.0), |(x, y): (f64, f64), point| {
                                (x.max(point.0), y.max(point.1))
                            })
                        }
                    };
                    assert!(right <= width - 20.0, "{}: {ink:?} at {right}", value.title);
                    assert!(y > 20.0 && y < height - 20.0, "{}: {ink:?}", value.title);
                }
            }
        }
    }
}

/// Each movement is named where it first occurs in a stage, and nowhere else, so that names follow
/// one rule.
#[test]
fn a_movement_is_named_where_it_first_stands_in_a_stage() {
    use std::collections::BTreeMap;
    let mut named = 0;
    for drill in BUILT_IN {
        let value = read(drill.text.as_bytes()).0.expect("reads");
        for stage in &value.stages {
            let score = resolve_music(&stage.music, Beats::ZERO, &value.schools);
            let mut wanted: BTreeMap<&str, NoteId> = BTreeMap::new();
            let first_time = score.notes.iter().filter(|note| note.id.pass == 1);
            for note in first_time.filter(|note| note.group.parts.len() > 1) {
                if let Some(movement) = note.group.movement {
                    let place = wanted.entry(movement.spoken()).or_insert(note.id);
                    *place = (*place).min(note.id);
                }
            }
            for width in [104.0, 60.0] {
                let engraved = lay_out(&score, Some(&stage.music), &settings(width));
                let elements = engraved.systems.iter().flat_map(|system| &system.elements);
                let names: Vec<(&str, NoteId)> = elements
                    .filter(|element| element.kind == ElementKind::MovementName)
                    .filter_map(|element| match &element.shape {
                        InkShape::Text { text, .. } => Some((text.as_str(), element.note?)),
                        _ => None,
                    })
                    .collect();
                assert_eq!(names.len(), wanted.len(), "{} {names:?}", drill.name);
                for (name, note) in names {
                    assert_eq!(wanted.get(name), Some(&note), "{} {name}", drill.name);
                    named += 1;
                }
            }
        }
    }
    assert!(named >= 30, "{named}");
}

/// A drill or a tune fits one page, because one of two pages can be lost. Its boxes have room for a
/// pencil's tick, 4 mm.
#[test]
fn a_drill_or_a_tune_of_32_bars_is_one_page() {
    use gracerung::sheet::{SheetOptions, TagRole, compose};
    let part = "{g}A3B {gcd}c3A|{gef}e3c {g}B3A|{Gdc}d3B {d}G3B|{gef}e4 {Gdc}d2e2|";
    let march = format!(
        "title: Long march\nmetre: 2/4\nunit: 1/16\nmusic: \"{}\"\nladder: {{from: 50, to: 80, step: 4%}}\n",
        part.repeat(8)
    );
    let texts = BUILT_IN.iter().map(|drill| drill.text);
    let mut long = Vec::new();
    for text in texts.chain([march.as_str()]) {
        let value = read(text.as_bytes()).0.expect("reads");
        let options = SheetOptions::default();
        let booklet = compose(std::slice::from_ref(&value), &options);
        if booklet.pages.len() > 1 {
            long.push(value.title.clone());
        }
        let blocks = booklet.pages.iter().flat_map(|page| &page.blocks);
        let ladders = blocks.filter(|block| matches!(block.role, TagRole::Table(_)));
        let cells = ladders.flat_map(|ladder| ladder.rows.iter().flatten());
        for ink in cells.flat_map(|cell| &cell.ink) {
            if let gracerung::sheet::Ink::Fill(outline) = ink {
                let x = outline.iter().filter_map(|segment| match segment {
                    Segment::Move(point) | Segment::Line(point) => Some(point.0),
                    _ => None,
                });
                let (left, right) = x.fold((f64::MAX, f64::MIN), |(low, high), x| {
                    (low.min(x), high.max(x))
                });
                assert!(right - left > 4.0 * 72.0 / 25.4, "{} a box", value.title);
            }
        }
    }
    assert!(long.is_empty(), "{long:?}");
}

/// A page with a ladder and no music would be put away and never ticked.
#[test]
fn a_ladder_stands_with_music_of_its_drill() {
    use gracerung::sheet::{Paper, SheetOptions, TagRole, compose};
    for drill in BUILT_IN {
        let value = read(drill.text.as_bytes()).0.expect("reads");
        for paper in [Paper::A4, Paper::Letter] {
            let options = SheetOptions {
                paper,
                ..SheetOptions::default()
            };
            let booklet = compose(&[value.clone(), value.clone()], &options);
            let pages = booklet.pages.iter().filter(|page| {
                page.blocks
                    .iter()
                    .any(|block| matches!(&block.role, TagRole::Table(_)))
            });
            let mut ladders = 0;
            for page in pages {
                let music = page.blocks.iter().any(
                    |block| matches!(&block.role, TagRole::Figure(words) if !words.starts_with("finger chart")),
                );
                assert!(music, "{} on {paper:?}", drill.name);
                ladders += 1;
            }
            assert_eq!(ladders, 2, "{}", drill.name);
        }
    }
}

/// The note that a phrase ends on must not be alone on a line of its own, but a part of the tune
/// still begins a line.
#[test]
fn a_last_bar_joins_the_line_before_where_there_is_room() {
    let lines = |text: &str| -> Vec<usize> {
        let metre = Metre::FOUR_FOUR;
        let (music, problems) = read_music(text, metre, metre.default_unit(), "");
        assert_eq!(problems, [], "{text}");
        let score = resolve_music(&music, Beats::ZERO, &Schools::none());
        let engraved = lay_out(&score, Some(&music), &LayoutSettings::paper(106.0));
        let systems = engraved.systems.iter();
        systems.map(|system| system.bars.len()).collect()
    };
    let bar = "{g}A2 {gcd}c2 {g}d2 {gef}e2|";
    assert_eq!(lines(&format!("{}{{g}}A8|", bar.repeat(4))), [5]);
    assert_eq!(lines(&format!("{}{{g}}A8|", bar.repeat(8))), [4, 5]);
    // there is no room for a whole bar, and a part begins a line
    assert_eq!(lines(&bar.repeat(5)), [4, 1]);
    assert_eq!(
        lines(&format!(
            "|:{}:||:{{g}}A8:|",
            bar.repeat(4).trim_end_matches('|')
        )),
        [4, 1]
    );
}
