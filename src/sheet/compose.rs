//! Drills to pages: headings, words, systems, tables, one after the other down the page.

use super::drawing::{Block, Booklet, Ink, Page, Paper, Role, system_ink};
use super::tables;
use crate::drill::{Drill, SLOW, Stage, StageKind};
use crate::engraving::font::{Face, Glyph};
use crate::engraving::{Settings, lay_out};
use crate::practice::ladder::climbs;
use crate::score::{Score, ScoreGroup, resolve_music};
use crate::units::{Beats, Bpm, spell_fraction};
use crate::wording;

/// What a sheet shows besides the music.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Options {
    /// The paper.
    pub paper: Paper,
    /// Numbers of the clicks under the staff.
    pub clicks: bool,
    /// The finger chart for a player whose right hand is on top.
    pub left_handed: bool,
}

/// Points in a staff space: a staff of 6.9 mm, as printed tunes have it (common practice).
pub(super) const SPACE: f64 = 4.9;
pub(super) const MARGIN: f64 = 40.0;
pub(super) const TITLE: f64 = 21.0;
const HEADING: f64 = 13.0;
pub(super) const TEXT: f64 = 10.5;
pub(super) const SMALL: f64 = 9.0;

/// Lays drills out on paper, each on a page of its own.
pub fn compose(drills: &[Drill], options: &Options) -> Booklet {
    let mut writer = Writer::new(options.paper);
    for drill in drills {
        writer.new_page();
        write_drill(&mut writer, drill, *options);
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

pub(super) struct Writer {
    paper: Paper,
    pages: Vec<Page>,
    y: f64,
}

impl Writer {
    pub(super) fn new(paper: Paper) -> Self {
        Self {
            paper,
            pages: Vec::new(),
            y: MARGIN,
        }
    }

    pub(super) fn left() -> f64 {
        MARGIN
    }

    pub(super) fn width(&self) -> f64 {
        self.paper.size().0 - 2.0 * MARGIN
    }

    fn bottom(&self) -> f64 {
        self.paper.size().1 - MARGIN - 14.0
    }

    pub(super) fn new_page(&mut self) {
        self.pages.push(Page::default());
        self.y = MARGIN;
    }

    /// Room left on this page.
    pub(super) fn room(&self) -> f64 {
        self.bottom() - self.y
    }

    /// True where nothing stands on this page yet.
    pub(super) fn is_at_top(&self) -> bool {
        self.y <= MARGIN
    }

    /// Begins a new page unless `height` still fits.
    pub(super) fn need(&mut self, height: f64) {
        if height > self.room() && self.y > MARGIN {
            self.new_page();
        }
    }

    pub(super) fn skip(&mut self, height: f64) {
        self.y += height;
    }

    pub(super) fn y(&self) -> f64 {
        self.y
    }

    /// Pages begun.
    pub(super) fn pages(&self) -> usize {
        self.pages.len()
    }

    pub(super) fn put(&mut self, role: Role, ink: Vec<Ink>) {
        self.block(Block {
            role,
            ink,
            rows: Vec::new(),
        });
    }

    pub(super) fn block(&mut self, block: Block) {
        if self.pages.is_empty() {
            self.new_page();
        }
        if let Some(page) = self.pages.last_mut() {
            page.blocks.push(block);
        }
    }

    pub(super) fn heading(&mut self, level: u16, text: &str, size: f64) {
        let lines = wrap(text, Face::Bold, size, self.width());
        self.need(lines.len() as f64 * size * 1.15 + 40.0);
        let mut ink = Vec::new();
        for line in lines {
            self.y += size * 0.95;
            ink.push(Ink::words(&line, MARGIN, self.y, size, Face::Bold));
            self.y += size * 0.25;
        }
        self.put(Role::Heading(level, text.to_owned()), ink);
    }

    pub(super) fn paragraph(&mut self, text: &str, size: f64, face: Face) {
        let lines = wrap(text, face, size, self.width());
        self.need(lines.len() as f64 * size * 1.3);
        let mut ink = Vec::new();
        for line in lines {
            self.y += size;
            ink.push(Ink::words(&line, MARGIN, self.y, size, face));
            self.y += size * 0.3;
        }
        self.put(Role::Paragraph, ink);
    }

    pub(super) fn finish(mut self, title: String) -> Booklet {
        if self.pages.is_empty() {
            self.new_page();
        }
        let (width, height) = self.paper.size();
        let count = self.pages.len();
        for (place, page) in self.pages.iter_mut().enumerate() {
            let text = format!("{title}, page {} of {count}", place + 1);
            page.blocks.push(Block {
                role: Role::Furniture,
                ink: vec![Ink::centred(
                    &text,
                    width / 2.0,
                    height - MARGIN + 6.0,
                    SMALL,
                    Face::Regular,
                )],
                rows: Vec::new(),
            });
        }
        Booklet {
            title,
            paper: self.paper,
            pages: self.pages,
        }
    }
}

/// Breaks words into lines; a word wider than a line stands alone in it.
pub(super) fn wrap(text: &str, face: Face, size: f64, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if face.width(&format!("{line} {word}"), size) <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

pub(super) fn sentence(text: &str) -> String {
    let text = text.trim();
    let stop = if text.ends_with(['.', '!', '?']) {
        ""
    } else {
        "."
    };
    wording::capital(text) + stop
}

/// Room for a stage of one line with its heading, points.
const LINE_OF_MUSIC: f64 = 120.0;

/// The head of a tune as players print it: the title in the middle, other titles below it, the kind
/// of tune at the left, who composed it and where it comes from at the right (common practice, no
/// source).
fn tune_head(writer: &mut Writer, drill: &Drill) {
    let width = writer.width();
    let middle = MARGIN + width / 2.0;
    let mut lines = |text: &str, size: f64, face: Face| -> Vec<Ink> {
        let wrapped = wrap(text, face, size, width);
        let line = |line: &String| {
            writer.skip(size * 0.95);
            let ink = Ink::centred(line, middle, writer.y(), size, face);
            writer.skip(size * 0.25);
            ink
        };
        wrapped.iter().map(line).collect()
    };
    let title = lines(&drill.title, TITLE, Face::Bold);
    let also: Vec<Vec<Ink>> = drill
        .head
        .also
        .iter()
        .map(|other| lines(other, HEADING, Face::Regular))
        .collect();
    writer.put(Role::Heading(1, drill.title.clone()), title);
    for ink in also {
        writer.put(Role::Paragraph, ink);
    }
    let half = (width - 20.0) / 2.0;
    let left = drill.head.kind.as_deref().map(wording::capital);
    let left = wrap(&left.unwrap_or_default(), Face::Italic, TEXT, half);
    let right = drill.head.made_by().unwrap_or_default();
    let right = wrap(&right, Face::Regular, TEXT, half);
    let rows = left.len().max(right.len());
    let top = writer.y();
    let base = |row: usize| top + TEXT * (1.0 + 1.3 * row as f64);
    let kind = left
        .iter()
        .enumerate()
        .map(|(row, line)| Ink::words(line, MARGIN, base(row), TEXT, Face::Italic));
    let made = right.iter().enumerate().map(|(row, line)| {
        let x = MARGIN + width - Face::Regular.width(line, TEXT);
        Ink::words(line, x, base(row), TEXT, Face::Regular)
    });
    for ink in [kind.collect::<Vec<_>>(), made.collect()] {
        if !ink.is_empty() {
            writer.put(Role::Paragraph, ink);
        }
    }
    writer.skip(rows as f64 * TEXT * 1.3);
}

fn write_drill(writer: &mut Writer, drill: &Drill, options: Options) {
    if drill.is_tune() {
        tune_head(writer, drill);
    } else {
        writer.heading(1, &drill.title, TITLE);
    }
    writer.skip(3.0);
    if let Some(about) = &drill.about {
        writer.paragraph(&sentence(about), TEXT, Face::Regular);
    }
    if let Some(listen) = &drill.listen_for {
        writer.paragraph(
            &format!("Listen for {}", sentence_tail(listen)),
            TEXT,
            Face::Italic,
        );
    }
    let scores: Vec<Score> = drill
        .stages
        .iter()
        .map(|stage| resolve_music(&stage.music, Beats::ZERO, &drill.schools))
        .collect();
    for line in where_the_time_comes_from(&scores) {
        writer.paragraph(&line, TEXT, Face::Regular);
    }
    write_tempo(writer, drill);
    for (place, (stage, score)) in drill.stages.iter().zip(&scores).enumerate() {
        // the last stage goes over with a long ladder, or the ladder would stand without music
        if place > 0 && place + 1 == drill.stages.len() {
            writer.need(tables::least_ladder(drill) + LINE_OF_MUSIC);
        }
        write_stage(writer, drill, place, stage, score, options);
    }
    // where not both fit, the ladder stays with the music that is ticked on it
    let ladder = tables::least_ladder(drill);
    let both = ladder + tables::chart_height(drill);
    if ladder <= writer.room() && both > writer.room() {
        tables::ladder(writer, drill);
        tables::finger_chart(writer, drill, options.left_handed);
    } else {
        tables::finger_chart(writer, drill, options.left_handed);
        tables::ladder(writer, drill);
    }
}

fn sentence_tail(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['.', '!', '?']) {
        text.to_owned()
    } else {
        format!("{text}.")
    }
}

/// The beat as a note, and the tempi.
fn write_tempo(writer: &mut Writer, drill: &Drill) {
    let metre = drill.metre;
    let climbs = climbs(drill);
    let mut all: Vec<Bpm> = climbs.iter().flatten().map(|rung| rung.tempo()).collect();
    all.sort_unstable();
    all.dedup();
    writer.skip(4.0);
    let base = writer.y() + TEXT;
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
    let text = match (all.first(), all.last()) {
        (Some(first), Some(last)) if all.len() > 1 => format!(
            "= {} to {} beats a minute in {}; {} clean in a row before the next",
            speed(first),
            speed(last),
            wording::count(all.len(), "rung", "rungs"),
            wording::count(drill.clean as usize, "repetition", "repetitions"),
        ),
        _ => format!("= {} beats a minute", speed(&drill.ladder.from)),
    };
    ink.push(Ink::words(&text, x + 2.0, base, TEXT, Face::Regular));
    writer.put(Role::Paragraph, ink);
    writer.skip(TEXT * 1.3);
}

fn write_stage(
    writer: &mut Writer,
    drill: &Drill,
    place: usize,
    stage: &Stage,
    score: &Score,
    options: Options,
) {
    let settings = Settings {
        beat_numbers: options.clicks,
        // A tune's gracenotes are no lesson of their own.
        grace_names: drill.movement.is_some(),
        ..Settings::paper(writer.width() / SPACE)
    };
    let engraved = lay_out(score, Some(&stage.music), &settings);
    let first_height = engraved
        .systems
        .first()
        .map_or(0.0, |system| (system.top - system.bottom) * SPACE);
    writer.need(first_height + HEADING * 1.3 + 12.0);
    writer.skip(6.0);
    let alone = drill.stages.len() == 1 && matches!(stage.kind, StageKind::Written);
    if !alone {
        let heading = format!("{} {}", place + 1, stage.name);
        writer.heading(2, &heading, HEADING);
    }
    let slow = stage.is_slow().then(|| sentence(SLOW));
    let listen = stage
        .listen_for
        .as_ref()
        .map(|listen| format!("Listen for {}", sentence_tail(listen)));
    let said: Vec<String> = slow.into_iter().chain(listen).collect();
    if !said.is_empty() {
        writer.paragraph(&said.join(" "), TEXT, Face::Italic);
    }
    writer.skip(3.0);
    for (number, system) in engraved.systems.iter().enumerate() {
        let height = (system.top - system.bottom) * SPACE;
        writer.need(height);
        if number > 0 && writer.y() > MARGIN {
            writer.skip(6.0);
        }
        let base = writer.y() + system.top * SPACE;
        let words = if number == 0 {
            format!("{}: {}", stage.name, in_words(score))
        } else {
            format!("{}, continued: line {}", stage.name, number + 1)
        };
        writer.put(
            Role::Figure(words),
            system_ink(system, Writer::left(), base, SPACE),
        );
        writer.skip(height);
    }
}

/// The music in words, for readers who hear the page.
pub(super) fn in_words(score: &Score) -> String {
    use std::fmt::Write as _;
    let mut text = format!(
        "{} in {}",
        wording::count(score.bars.len(), "bar", "bars"),
        score.metre
    );
    let mut bar = None;
    for note in &score.notes {
        if bar != Some(note.bar) {
            bar = Some(note.bar);
            let number = score.bars.get(note.bar).map_or(0, |bar| bar.number);
            let _ = match number {
                0 => write!(text, "; pickup"),
                number => write!(text, "; bar {number}"),
            };
        }
        text.push_str(", ");
        if !note.group.parts.is_empty() {
            let names: Vec<&str> = note
                .group
                .parts
                .iter()
                .map(|part| part.note.name())
                .collect();
            match note.group.movement {
                Some(movement) if names.len() > 1 => {
                    let _ = write!(text, "{} ({}) to ", movement.spoken(), names.join(" "));
                }
                _ => {
                    let _ = write!(text, "gracenote {} on ", names.join(" "));
                }
            }
        }
        let _ = write!(
            text,
            "{} for {}",
            note.note.spoken(),
            spell_fraction(&note.written.0)
        );
        if note.continues {
            text.push_str(" tied");
        }
    }
    text
}

/// A sentence for each movement that is played whole in these stages.
pub(super) fn where_the_time_comes_from(scores: &[Score]) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut seen = Vec::new();
    for note in scores.iter().flat_map(|score| &score.notes) {
        let ScoreGroup {
            parts,
            before_beat,
            movement: Some(movement),
        } = &note.group
        else {
            continue;
        };
        if parts.len() < 2 || seen.contains(movement) || seen.len() >= 6 {
            continue;
        }
        seen.push(*movement);
        let name = movement.spoken();
        let text = if *before_beat == parts.len() {
            format!(
                "The {name} falls before the beat: its time comes from the note before, and the closing note lands on its own place."
            )
        } else if *before_beat == 0 {
            format!("The {name} begins on the beat: its time comes from the note it leads to.")
        } else {
            format!(
                "The {name} begins before the beat and ends on it: it takes time from the notes on both sides."
            )
        };
        lines.push(text);
    }
    lines
}
