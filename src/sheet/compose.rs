//! Composes pages of drills: headings, words, systems and tables, one below the other.

use super::bar_map::{map_height, map_ink, map_words};
use super::drawing::{Booklet, Ink, Paper, TagRole, system_ink};
use super::foot::Foot;
use super::tune_head::{kind_and_maker, tune_head};
use super::words::{in_words, sentence, slow_stages, where_the_time_comes_from};
use super::writer::{HEADING, MARGIN, TEXT, TITLE, Writer};
use crate::drill::{Drill, Stage, StageKind};
use crate::engraving::font::{Face, Glyph};
use crate::engraving::{Engraved, LayoutSettings, System, lay_out};
use crate::planning::BarLine;
use crate::practice::ladder::climbs;
use crate::score::{Score, resolve_music};
use crate::units::{Beats, Bpm, spell_fraction};
use crate::wording;

/// The options of a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SheetOptions {
    /// The paper size.
    pub paper: Paper,
    /// True where count numbers are written under the staff.
    pub clicks: bool,
    /// True where the finger chart is for a player whose right hand is on top.
    pub left_handed: bool,
}

/// The sizes of a staff that are tried, in points a staff space. The first is a staff of 6.9 mm, as
/// printed tunes have it (common practice). Smaller ones, down to 5.6 mm, are taken where the drill
/// then fits one page, or a tune four bars a line.
const SPACES: [f64; 4] = [4.9, 4.6, 4.3, 4.0];

/// Lays out drills on paper, each beginning on a new page.
pub fn compose(drills: &[Drill], options: &SheetOptions) -> Booklet {
    compose_with_map(drills, &[], options)
}

/// Lays out drills like [`compose`]. `bars` holds the recent results of the bars of each drill that
/// is a tune, and they are drawn as a map under its staves. Nothing is drawn for drills beyond the
/// end of `bars`, or for bars without a fault.
pub fn compose_with_map(
    drills: &[Drill],
    bars: &[Vec<BarLine>],
    options: &SheetOptions,
) -> Booklet {
    let mut writer = Writer::new(options.paper);
    for (place, drill) in drills.iter().enumerate() {
        let bars = bars.get(place).map_or(&[][..], Vec::as_slice);
        let bars = if drill.is_tune() { bars } else { &[] };
        writer.append(fitting(drill, bars, *options));
    }
    let title = match drills {
        [one] => one.title.clone(),
        [] => "Empty sheet".to_owned(),
        [first, rest @ ..] => format!(
            "{} and {}",
            first.title,
            wording::count(rest.len(), "more drill", "more drills")
        ),
    };
    writer.finish(title)
}

/// A drill on one page, in a size of staff that allows it and with four bars a line where it is a
/// tune; else in the usual size on several pages.
fn fitting(drill: &Drill, bars: &[BarLine], options: SheetOptions) -> Writer {
    let scores: Vec<Score> = drill
        .stages
        .iter()
        .map(|stage| resolve_music(&stage.music, Beats::ZERO, &drill.schools))
        .collect();
    let sizes = SPACES.iter().map(|space| (*space, false));
    // stages of one line are put two in a row before another page is begun
    let pairs = SPACES.iter().map(|space| (*space, true));
    let pairs = pairs.filter(|_| drill.stages.len() > 1);
    let mut best: Option<((bool, bool), Writer)> = None;
    for (space, paired) in sizes.chain(pairs) {
        let mut writer = Writer::new(options.paper);
        writer.new_page();
        let settings = LayoutSettings {
            beat_numbers: options.clicks,
            // the gracenotes of a tune are no lesson of their own, so they are not named
            grace_names: drill.movement.is_some(),
            bars_in_a_system: drill.is_tune().then_some(4),
            ..LayoutSettings::paper(writer.width() / space)
        };
        let half = LayoutSettings {
            width: (writer.width() - BETWEEN_STAGES) / 2.0 / space,
            ..settings
        };
        let engrave = |settings: &LayoutSettings| -> Vec<Engraved> {
            let stages = drill.stages.iter().zip(&scores);
            stages
                .map(|(stage, score)| lay_out(score, Some(&stage.music), settings))
                .collect()
        };
        let music = Music {
            scores: &scores,
            whole: engrave(&settings),
            half: if paired { engrave(&half) } else { Vec::new() },
            space,
            bars,
        };
        write_drill(&mut writer, drill, &music, options);
        let fits = (writer.pages() == 1, in_fours(drill, &music.whole));
        if fits == (true, true) {
            return writer;
        }
        if best.as_ref().is_none_or(|(had, _)| fits > *had) {
            best = Some((fits, writer));
        }
    }
    best.map_or_else(|| Writer::new(options.paper), |(_, writer)| writer)
}

/// The gap between two stages in a row, in points.
const BETWEEN_STAGES: f64 = 18.0;

/// The engraved music of a drill's stages in one size.
struct Music<'a> {
    scores: &'a [Score],
    /// The stages in systems as wide as the page.
    whole: Vec<Engraved>,
    /// The stages in systems half as wide, where they may be put two in a row.
    half: Vec<Engraved>,
    /// The size: points in a staff space.
    space: f64,
    /// The recent results of the bars.
    bars: &'a [BarLine],
}

impl Music<'_> {
    /// True where the stage at `place` and the next one fit into a row: each is one line of a few
    /// bars, and no denser than a line of four bars would be.
    fn pairs_at(&self, place: usize) -> bool {
        let short = |place: usize| {
            let one = self
                .half
                .get(place)
                .map(|engraved| engraved.systems.as_slice());
            matches!(one, Some([system]) if system.bars.len() <= 4 && system.width <= self.half[place].width + 0.1)
        };
        short(place) && short(place + 1)
    }
}

/// False for a tune whose lines do not have four bars; true for everything else.
fn in_fours(drill: &Drill, engraved: &[Engraved]) -> bool {
    let widest = |engraved: &Engraved| {
        let full = |bars: usize| bars.min(4);
        engraved
            .systems
            .iter()
            .map(|system| full(system.bars.len()))
            .max()
    };
    !drill.is_tune()
        || drill.stages.iter().zip(engraved).all(|(stage, engraved)| {
            widest(engraved).is_none_or(|widest| widest >= stage.music.bars.len().min(4))
        })
}

fn write_drill(writer: &mut Writer, drill: &Drill, music: &Music, options: SheetOptions) {
    if drill.is_tune() {
        tune_head(writer, drill);
    } else {
        writer.heading(1, &drill.title, TITLE);
    }
    // a drill made of a tune names the tune's composer and kind
    let of_a_tune = drill.head.kind.is_some() || drill.head.made_by().is_some();
    if of_a_tune && !drill.is_tune() {
        writer.skip(2.0);
        kind_and_maker(writer, drill);
    }
    writer.skip(3.0);
    if let Some(pointing) = drill.pointing().filter(|_| !drill.is_tune() && !of_a_tune) {
        writer.paragraph(&sentence(&pointing), TEXT, Face::Italic);
    }
    if let Some(about) = &drill.about {
        writer.paragraph(&sentence(about), TEXT, Face::Regular);
    }
    if let Some(listen) = &drill.listen_for {
        writer.paragraph(&sentence(&wording::listen_for(listen)), TEXT, Face::Italic);
    }
    for line in where_the_time_comes_from(music.scores) {
        writer.paragraph(&line, TEXT, Face::Regular);
    }
    if let Some(line) = slow_stages(drill) {
        writer.paragraph(&line, TEXT, Face::Italic);
    }
    write_tempo(writer, drill);
    if let Some(words) = map_words(music.bars) {
        writer.paragraph(&words, TEXT, Face::Italic);
    }
    let foot = Foot::of(drill, writer.width(), writer.whole());
    let count = drill.stages.len();
    let mut place = 0;
    while place < count {
        if music.pairs_at(place) {
            let after = if place + 2 == count { foot.height } else { 0.0 };
            write_pair(writer, drill, place, music, after);
            place += 2;
        } else {
            let after = if place + 1 == count { foot.height } else { 0.0 };
            write_stage(writer, drill, place, music, after);
            place += 1;
        }
    }
    foot.draw(writer, options.left_handed);
}

/// Writes the beat as a note, and the tempi.
fn write_tempo(writer: &mut Writer, drill: &Drill) {
    let metre = drill.metre;
    let climbs = climbs(drill);
    let mut all: Vec<Bpm> = climbs.iter().flatten().map(|rung| rung.tempo()).collect();
    all.sort_unstable();
    all.dedup();
    writer.skip(4.0);
    let base = writer.y + TEXT;
    let (value, dotted) = metre.beat_value();
    let glyph = Glyph::beat(value);
    let space = 3.6;
    let mut x = Writer::left();
    let mut ink = vec![Ink::Glyph {
        glyph,
        x,
        y: base,
        space,
    }];
    x += glyph.outline().advance * space + 1.5;
    if dotted {
        ink.push(Ink::Glyph {
            glyph: Glyph::BeatDot,
            x,
            y: base,
            space,
        });
        x += 4.0;
    }
    let speed = |bpm: &Bpm| spell_fraction(&bpm.value());
    let grouped = metre.groups_spoken();
    let counts = format!(
        "{} a minute{}",
        metre.counts_of_tempo(),
        grouped.map_or_else(String::new, |groups| format!(", counted {groups},"))
    );
    let text = match (all.first(), all.last()) {
        (Some(first), Some(last)) if all.len() > 1 => format!(
            "= {} to {} {counts} in {}; {} clean in a row before the next",
            speed(first),
            speed(last),
            wording::count(all.len(), "rung", "rungs"),
            wording::count(drill.clean as usize, "repetition", "repetitions"),
        ),
        _ => format!("= {} {counts}", speed(&drill.ladder.from())),
    };
    ink.push(Ink::words(&text, x + 2.0, base, TEXT, Face::Regular));
    writer.put(TagRole::Paragraph, ink);
    writer.skip(TEXT * 1.3);
}

/// Writes two stages beside each other.
fn write_pair(writer: &mut Writer, drill: &Drill, place: usize, music: &Music, after: f64) {
    let height = |place: usize| {
        let systems = music.half[place].systems.iter();
        systems
            .map(|system| (system.top - system.bottom) * music.space)
            .sum::<f64>()
    };
    let listen = TEXT * 1.3 * 3.0;
    let tallest = height(place).max(height(place + 1));
    writer.need(tallest + HEADING * 1.3 + 12.0 + listen + after);
    let (left, width) = writer.column;
    let half = (width - BETWEEN_STAGES) / 2.0;
    let top = writer.y;
    let mut bottom = top;
    for (at, x) in [(place, left), (place + 1, left + half + BETWEEN_STAGES)] {
        writer.column = (x, half);
        writer.y = top;
        write_stage(writer, drill, at, music, 0.0);
        bottom = bottom.max(writer.y);
    }
    writer.column = (left, width);
    writer.y = bottom;
}

/// Writes a stage. `after` is the height of what follows the stage and must share a page with some
/// of its music.
fn write_stage(writer: &mut Writer, drill: &Drill, place: usize, music: &Music, after: f64) {
    const BETWEEN: f64 = 6.0;
    let (score, space) = (&music.scores[place], music.space);
    let paired = writer.column.1 < writer.width();
    let engraved = if paired {
        &music.half[place]
    } else {
        &music.whole[place]
    };
    let stage = &drill.stages[place];
    let alone = drill.stages.len() == 1 && matches!(stage.kind, StageKind::Written);
    let heights: Vec<f64> = engraved
        .systems
        .iter()
        .map(|system| (system.top - system.bottom) * space + map_height(system, music.bars))
        .collect();
    let rest = |from: usize| -> f64 {
        let heights = heights.get(from..).unwrap_or_default();
        heights.iter().map(|height| height + BETWEEN).sum::<f64>() + after
    };
    // where the foot would go to another page, the last part of the music goes with it
    let with_foot = if after > 0.0 {
        last_part(stage, engraved)
    } else {
        heights.len()
    };
    let head = HEADING * 1.3 + 12.0;
    let first = if with_foot == 0 {
        rest(0)
    } else {
        heights.first().copied().unwrap_or(0.0)
    };
    writer.need(first + head);
    writer.skip(6.0);
    if !alone {
        let heading = format!("{} {}", place + 1, stage.name);
        writer.heading(2, &heading, HEADING);
    }
    if let Some(pointing) = stage.own_pointing() {
        writer.paragraph(&sentence(&pointing), TEXT, Face::Italic);
    }
    if let Some(listen) = &stage.listen_for {
        let listen = sentence(&wording::listen_for(listen));
        writer.paragraph(&listen, TEXT, Face::Italic);
    }
    writer.skip(3.0);
    for (number, system) in engraved.systems.iter().enumerate() {
        let height = heights[number];
        writer.need(if number == with_foot {
            rest(number)
        } else {
            height
        });
        if number > 0 && writer.y > MARGIN {
            writer.skip(BETWEEN);
        }
        let base = writer.y + system.top * space;
        let words = if number == 0 {
            format!("{}: {}", stage.name, in_words(score))
        } else {
            format!("{}, continued: line {}", stage.name, number + 1)
        };
        let mut ink = system_ink(system, writer.column.0, base, space);
        let below = base - system.bottom * space;
        ink.extend(map_ink(system, music.bars, (writer.column.0, below), space));
        writer.put(TagRole::Figure(words), ink);
        writer.skip(height);
    }
}

/// The index of the system with which the last part begins, or of the last system but one where
/// that part is long.
fn last_part(stage: &Stage, engraved: &Engraved) -> usize {
    let count = engraved.systems.len();
    let begins = |system: &System| {
        let bar = system.bars.first().map_or(0, |bar| bar.written);
        let bars = &stage.music.bars;
        let before = bar.checked_sub(1).and_then(|before| bars.get(before));
        bars.get(bar).is_some_and(|bar| bar.repeat_begins)
            || before.is_some_and(|before| before.part_ends)
    };
    let part = engraved.systems.iter().rposition(begins);
    part.filter(|place| count - place <= 4)
        .unwrap_or(count.saturating_sub(2))
}
