//! A score laid out: everything in its place.

use super::columns::{Bar, Column, bars_of};
use super::font::{Face, Glyph};
use super::placed::{Align, BarPlace, Element, Engraved, Kind, Shape, System};
use super::proportions as p;
use super::systems::{
    Line, Room, before_change, break_into_lines, draw_closing, draw_opening, springs,
};
use super::{beams, gracenotes, tuplets};
use crate::chanter::Note;
use crate::drill::Music;
use crate::rhythm::{Metre, NoteValue};
use crate::score::Score;
use crate::units::Beats;

/// How a score is laid out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Width of a system, staff spaces.
    pub width: f64,
    /// How wide notes stand.
    pub spacing: Spacing,
    /// Full bars in a system at most; fewer where they do not fit.
    pub bars_in_a_system: Option<usize>,
    /// Each part of a tune begins a system, as players print it (common practice, no source).
    pub parts_apart: bool,
    /// The clef at the head of each system.
    pub clef: bool,
    /// The metre at the head of the first.
    pub metre: bool,
    /// The number of the first bar above each system but the first.
    pub bar_numbers: bool,
    /// Names of movements above, each once a system.
    pub movement_names: bool,
    /// Each time it stands and not only the first: for a picture that has not room for all names
    /// and chooses.
    pub names_again: bool,
    /// A separating gracenote inside a bar named above it.
    pub grace_names: bool,
    /// Numbers of the clicks below.
    pub beat_numbers: bool,
    /// Names of the melody notes below.
    pub note_names: bool,
}

/// The widths that suit notes, staff spaces from head to head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spacing {
    /// A quaver's.
    pub quaver: f64,
    /// More for each doubling of the length.
    pub doubling: f64,
    /// The shortest note's.
    pub least: f64,
    /// More for gracenotes before the next note, as a part of their own width.
    pub gracenotes: f64,
    /// White before a group of gracenotes beyond the least.
    pub air: f64,
}

impl Default for Spacing {
    /// As printed music stands (chosen by eye beside LilyPond's pages).
    fn default() -> Self {
        Self {
            quaver: 3.1,
            doubling: 1.35,
            least: 2.0,
            gracenotes: 0.5,
            air: 0.6,
        }
    }
}

impl Settings {
    /// For paper: clef, metre, bar numbers, names.
    pub fn paper(width: f64) -> Self {
        Self {
            width,
            spacing: Spacing::default(),
            bars_in_a_system: None,
            parts_apart: true,
            clef: true,
            metre: true,
            bar_numbers: true,
            movement_names: true,
            names_again: false,
            grace_names: true,
            beat_numbers: false,
            note_names: false,
        }
    }
}

/// Lays a score out. With `music`, the repeat signs, endings and double bar lines of the written
/// bars are drawn; bars that are played more than once stand once, under the names of their first
/// time through ([`crate::score::NoteId::pass`] 1).
pub fn lay_out(score: &Score, music: Option<&Music>, settings: &Settings) -> Engraved {
    let bars = bars_of(score, music);
    lay_out_bars(&bars, settings)
}

pub(super) fn lay_out_bars(bars: &[Bar], settings: &Settings) -> Engraved {
    let metre = bars.first().map_or(Metre::FOUR_FOUR, |bar| bar.metre);
    let room = Room {
        width: settings.width,
        first_prefix: prefix(settings.clef, settings.metre.then_some(metre)),
        prefix: prefix(settings.clef, None),
        bars_in_a_system: settings.bars_in_a_system,
        parts_apart: settings.parts_apart,
        spacing: settings.spacing,
    };
    let lines = break_into_lines(bars, &room);
    let mut named = Vec::new();
    let systems = lines
        .iter()
        .enumerate()
        .map(|(place, line)| system(bars, line, place == 0, &room, settings, &mut named))
        .collect();
    Engraved {
        width: settings.width,
        systems,
    }
}

const CLEF_AT: f64 = 0.55;
const METRE_GAP: f64 = 0.75;
/// Base line of the bar number: clear of the clef.
const BAR_NUMBER_AT: f64 = 6.0;

/// Width of clef and metre together with the white around them.
fn prefix(clef: bool, metre: Option<Metre>) -> f64 {
    let metre = metre.filter(|metre| !metre.is_free());
    let clef_width = if clef {
        CLEF_AT + Glyph::Clef.outline().right
    } else {
        0.0
    };
    let metre_width = metre.map_or(0.0, |metre| METRE_GAP + metre_width(metre));
    let white = if clef || metre.is_some() { 0.3 } else { 0.0 };
    clef_width + metre_width + white
}

fn figure_glyphs(number: u32) -> Vec<Glyph> {
    let signs = number.to_string();
    signs
        .chars()
        .filter_map(|sign| Glyph::figure(sign.to_digit(10)?))
        .collect()
}

/// Of a metre's wider number.
pub(super) fn metre_width(metre: Metre) -> f64 {
    let (above, below) = metre.figures();
    let more = if above.max(below) >= 10 { 1.0 } else { 0.0 };
    let four = Glyph::FigureFour.outline();
    four.right + more * four.advance
}

fn glyph(kind: Kind, glyph: Glyph, x: f64, y: f64) -> Element {
    Element {
        note: None,
        kind,
        shape: Shape::Glyph {
            glyph,
            x,
            y,
            scale: 1.0,
        },
    }
}

/// A system with everything in it. `named` are the movements that have stood before.
fn system(
    bars: &[Bar],
    line: &Line,
    first: bool,
    room: &Room,
    settings: &Settings,
    named: &mut Vec<&'static str>,
) -> System {
    let mut elements = Vec::new();
    let mut places = Vec::new();
    let mut x = line.prefix;
    let mut ties: Vec<(Element, bool)> = Vec::new();
    let mut names = Vec::new();
    let mut notes = Vec::new();
    if settings.clef {
        elements.push(glyph(Kind::Clef, Glyph::Clef, CLEF_AT, 1.0));
    }
    if settings.metre
        && first
        && let Some(bar) = bars.first()
    {
        let clef = if settings.clef {
            CLEF_AT + Glyph::Clef.outline().right
        } else {
            0.0
        };
        elements.extend(figures(bar.metre, clef + METRE_GAP));
    }
    // The left edge of the head a tie from the system before ends on.
    let mut waiting: Option<(f64, f64, crate::score::NoteId)> = None;
    for (place, width) in line.bars.clone().zip(&line.widths) {
        let bar = &bars[place];
        let next_begins = place + 1 < line.bars.end && bars[place + 1].signs.repeat_begins;
        let (heads, _) = springs(bars, place, &line.bars, room).places(x, *width);
        let right = x + width;
        let before = elements.len();
        elements.extend(draw_opening(bar.signs, place == line.bars.start, x));
        elements.extend(draw_closing(bar.signs, next_begins, right));
        if bar.changes_metre {
            let left = x + before_change(bar, place == line.bars.start) + p::AFTER_LINE * 0.8;
            elements.extend(figures(bar.metre, left));
        }
        for (column, head) in bar.columns.iter().zip(&heads) {
            elements.extend(draw_note(column, *head));
            if let Some((left, y, id)) = waiting.take() {
                ties.push((tie(id, left, *head, y), true));
            }
            if column.tied {
                let from = head + column.ink_right();
                waiting = Some((from, column.y(), column.id));
            }
            if settings.movement_names
                && column.group.parts.len() > 1
                && let Some(movement) = column.group.movement
                && (settings.names_again || !named.contains(&movement.spoken()))
            {
                named.push(movement.spoken());
                names.push((movement.spoken(), head - column.grace.width, column.id));
            }
            if settings.grace_names
                && column.group.parts.len() == 1
                && column.place > bar.offset
                && let Some(part) = column.group.parts.first()
            {
                notes.push((part.note.name(), *head - column.grace.back[0], part.id));
            }
        }
        elements.extend(draw_beams(bar, &heads));
        let drawn = elements.len();
        elements.extend(tuplets::draw(bar, &heads, &elements[before..drawn]));
        places.push(BarPlace {
            number: bar.number,
            written: bar.written,
            left: x,
            right,
            beats: beats(bar, &heads, right),
        });
        x = right;
    }
    if let Some((left, y, id)) = waiting {
        ties.push((tie(id, left, x + 0.6, y), false));
    }
    elements.extend(ties.into_iter().map(|(tie, _)| tie));
    let mut all: Vec<Element> = (0..5)
        .map(|line| {
            let y = f64::from(line);
            Element {
                note: None,
                kind: Kind::StaffLine,
                shape: Shape::Bar {
                    left: 0.0,
                    bottom: y - p::STAFF_LINE / 2.0,
                    right: x,
                    top: y + p::STAFF_LINE / 2.0,
                },
            }
        })
        .collect();
    all.extend(elements);
    endings(&mut all, bars, &line.bars, &places);
    above(&mut all, &names, &notes, settings.width.max(x));
    if settings.bar_numbers
        && !first
        && let Some(bar) = places.first()
    {
        // the second half of a bar has its number in brackets (common practice of engravers); a
        // pickup has that of the bar it leads to
        let before = line.bars.start.checked_sub(1).map(|before| &bars[before]);
        let upbeat = !bars[line.bars.start].offset.is_zero();
        let number = match places.get(1).filter(|_| upbeat) {
            Some(next) => next.number.to_string(),
            None if before.is_some_and(|before| before.number == bar.number) => {
                format!("({})", bar.number)
            }
            None => bar.number.to_string(),
        };
        all.push(words(
            Kind::BarNumber,
            None,
            &number,
            (0.0, BAR_NUMBER_AT),
            (p::NUMBER_SIZE, Face::Regular, Align::Start),
        ));
    }
    below(&mut all, bars, line, &places, settings);
    let ink = |element: &Element| element.shape.bounds();
    System {
        width: x,
        top: all.iter().map(|e| ink(e).top).fold(4.0, f64::max),
        bottom: all.iter().map(|e| ink(e).bottom).fold(0.0, f64::min),
        bars: places,
        elements: all,
    }
}

/// The figures of a metre from their left edge.
fn figures(metre: Metre, left: f64) -> Vec<Element> {
    if metre.is_free() {
        return Vec::new();
    }
    let (above, below) = metre.figures();
    let middle = left + metre_width(metre) / 2.0;
    let mut elements = Vec::new();
    for (number, y) in [(above, 3.0), (below, 1.0)] {
        let glyphs = figure_glyphs(number);
        let width: f64 = glyphs.iter().map(|glyph| glyph.outline().advance).sum();
        let mut x = middle - width / 2.0;
        for figure in glyphs {
            elements.push(glyph(Kind::Metre, figure, x, y));
            x += figure.outline().advance;
        }
    }
    elements
}

/// Head, dots, ledger line, gracenotes, and the stem of a note that stands alone.
fn draw_note(column: &Column, x: f64) -> Vec<Element> {
    let mut elements = gracenotes::draw(&column.group, &column.grace, x);
    let (head, y) = (column.head(), column.y());
    let own = |kind, shape| Element {
        note: Some(column.id),
        kind,
        shape,
    };
    if column.note == Note::HighA {
        elements.push(own(
            Kind::Ledger,
            Shape::Bar {
                left: x - p::LEDGER_REACH,
                bottom: y - p::LEDGER / 2.0,
                right: x + head.outline().right + p::LEDGER_REACH,
                top: y + p::LEDGER / 2.0,
            },
        ));
    }
    elements.push(own(
        Kind::Head,
        Shape::Glyph {
            glyph: head,
            x,
            y,
            scale: 1.0,
        },
    ));
    // A dot never stands on a line: it moves up into the space.
    let dot_y = if column.note.staff_step() % 2 == 0 {
        y + 0.5
    } else {
        y
    };
    for dot in 0..column.length.dots {
        elements.push(own(
            Kind::Dot,
            Shape::Glyph {
                glyph: Glyph::Dot,
                x: x + head.outline().right + p::DOT_GAP + f64::from(dot) * p::DOT_STEP,
                y: dot_y,
                scale: 1.0,
            },
        ));
    }
    if column.beam.is_none() && column.length.value != NoteValue::Semibreve {
        elements.extend(beams::draw_alone(column, x));
    }
    elements
}

fn draw_beams(bar: &Bar, heads: &[f64]) -> Vec<Element> {
    let last = bar.columns.iter().filter_map(|column| column.beam).max();
    (0..=last.unwrap_or(0))
        .flat_map(|beam| {
            let joined: Vec<(&Column, f64)> = bar
                .columns
                .iter()
                .zip(heads)
                .filter(|(column, _)| column.beam == Some(beam))
                .map(|(column, x)| (column, *x))
                .collect();
            beams::draw_joined(&joined)
        })
        .collect()
}

/// A tie above, as stems hang (ABC 2.1 K:HP and LilyPond's bagpipe.ly have it so).
fn tie(id: crate::score::NoteId, left: f64, right: f64, y: f64) -> Element {
    let (left, right) = (left + 0.1, right - 0.1);
    Element {
        note: Some(id),
        kind: Kind::Tie,
        shape: Shape::Bow {
            from: (left, y + 0.45),
            to: (right, y + 0.45),
            rise: (0.5 + (right - left) * 0.08).min(1.4),
        },
    }
}

/// An ending as far as it stands in one system.
struct Ending {
    /// Its number, where it begins here.
    number: Option<u8>,
    left: f64,
    right: f64,
    /// The repeat ends with it.
    closes: bool,
}

/// From the line of an ending's bracket down to the end of its hooks.
const ENDING_HOOK: f64 = 1.6;
/// White between an ending's bracket or its number and the music.
const ENDING_GAP: f64 = 0.45;
/// From the bracket's left end to the number.
const ENDING_NUMBER: f64 = 0.5;

/// The brackets over endings: from their first bar to where the repeat or the part ends, all of a
/// system at one height, clear of everything under them.
fn endings(
    elements: &mut Vec<Element>,
    bars: &[Bar],
    line: &std::ops::Range<usize>,
    places: &[BarPlace],
) {
    // an ending that began in the system before goes on here
    let ends = |place: usize| {
        let signs = bars[place].signs;
        let next = bars.get(place + 1).map(|next| next.signs);
        signs.repeat_ends
            || signs.part_ends
            || next.is_none_or(|next| next.repeat_begins || next.ending.is_some())
    };
    let goes_on = (0..line.start).fold(false, |inside, place| {
        (inside || bars[place].signs.ending.is_some()) && !ends(place)
    });
    let mut found: Vec<Ending> = Vec::new();
    let mut inside = goes_on;
    if let Some(first) = places.first().filter(|_| goes_on) {
        found.push(Ending {
            number: None,
            left: first.left,
            right: first.right,
            closes: false,
        });
    }
    for (place, at) in line.clone().zip(places) {
        if let Some(number) = bars[place].signs.ending {
            inside = true;
            found.push(Ending {
                number: Some(number),
                left: at.left,
                right: at.right,
                closes: false,
            });
        }
        if let Some(ending) = found.last_mut().filter(|_| inside) {
            ending.right = at.right;
            ending.closes = bars[place].signs.repeat_ends;
        }
        inside = inside && !ends(place);
    }
    for ending in &mut found {
        ending.left += 0.2;
        ending.right -= 0.3;
    }
    let number_width = Face::Regular.width("8.", p::NUMBER_SIZE) + ENDING_NUMBER;
    let at = found
        .iter()
        .flat_map(|ending| {
            let hook = ending.left + number_width + 0.2;
            let closing = (ending.right - 0.4)..ending.right;
            let under_hooks = ceiling(elements, ending.left, hook).max(ceiling(
                elements,
                closing.start,
                closing.end,
            )) + ENDING_HOOK;
            [under_hooks, ceiling(elements, ending.left, ending.right)]
        })
        .fold(4.0, f64::max)
        + ENDING_GAP;
    elements.extend(found.iter().flat_map(|ending| draw_ending(ending, at)));
}

/// The bracket over an ending, its line at a height.
fn draw_ending(ending: &Ending, at: f64) -> Vec<Element> {
    let bar = |left, bottom, right, top| Element {
        note: None,
        kind: Kind::Ending,
        shape: Shape::Bar {
            left,
            bottom,
            right,
            top,
        },
    };
    let (left, right) = (ending.left, ending.right);
    let mut elements = vec![bar(left, at, right, at + p::THIN)];
    if let Some(number) = ending.number {
        elements.push(bar(left, at - ENDING_HOOK, left + p::THIN, at));
        elements.push(words(
            Kind::Ending,
            None,
            &format!("{number}."),
            (left + ENDING_NUMBER, at - ENDING_HOOK + 0.25),
            (p::NUMBER_SIZE, Face::Regular, Align::Start),
        ));
    }
    if ending.closes {
        elements.push(bar(right - p::THIN, at - ENDING_HOOK, right, at));
    }
    elements
}

pub(super) fn words(
    kind: Kind,
    note: Option<crate::score::NoteId>,
    text: &str,
    at: (f64, f64),
    set: (f64, Face, Align),
) -> Element {
    Element {
        note,
        kind,
        shape: Shape::Text {
            text: text.to_owned(),
            x: at.0,
            y: at.1,
            size: set.0,
            face: set.1,
            align: set.2,
        },
    }
}

/// Highest ink between two places.
fn ceiling(elements: &[Element], left: f64, right: f64) -> f64 {
    elements
        .iter()
        .map(|element| element.shape.bounds())
        .filter(|bounds| bounds.left < right && bounds.right > left)
        .map(|bounds| bounds.top)
        .fold(4.0, f64::max)
}

type Named = (&'static str, f64, crate::score::NoteId);

/// Names above: gracenotes just over their flags, movements in one row, and in a row above it where
/// two names would touch.
fn above(elements: &mut Vec<Element>, movements: &[Named], gracenotes: &[Named], end: f64) {
    for (name, left, id) in gracenotes {
        let size = p::NUMBER_SIZE;
        let middle = left + 0.6;
        let width = Face::Italic.width(name, size);
        let y = ceiling(elements, middle - width / 2.0, middle + width / 2.0) + p::WORD_GAP * 0.7;
        elements.push(words(
            Kind::GraceName,
            Some(*id),
            name,
            (middle, y),
            (size, Face::Italic, Align::Middle),
        ));
    }
    // the right end of each row so far
    let mut ends: Vec<f64> = Vec::new();
    let placed: Vec<(Named, usize, f64)> = movements
        .iter()
        .map(|(name, left, id)| {
            let width = Face::Italic.width(name, p::NAME_SIZE);
            // a name at the end of a line ends with it
            let left = left.min(end - width).max(0.0);
            let right = left + width;
            let row = ends.iter().position(|end| end + 1.0 <= left);
            let row = row.unwrap_or(ends.len());
            if row == ends.len() {
                ends.push(right);
            } else {
                ends[row] = right;
            }
            ((*name, left, *id), row, right)
        })
        .collect();
    let y = placed
        .iter()
        .map(|(named, _, right)| ceiling(elements, named.1, *right))
        .fold(4.0, f64::max)
        + p::WORD_GAP;
    for (named, row, _) in placed {
        elements.push(words(
            Kind::MovementName,
            Some(named.2),
            named.0,
            (named.1, y + row as f64 * p::NAME_SIZE),
            (p::NAME_SIZE, Face::Italic, Align::Start),
        ));
    }
}

/// Click numbers and note names below, each in a row under everything.
fn below(
    elements: &mut Vec<Element>,
    bars: &[Bar],
    line: &Line,
    places: &[BarPlace],
    settings: &Settings,
) {
    let mut y = elements
        .iter()
        .map(|element| element.shape.bounds().bottom)
        .fold(0.0, f64::min);
    if settings.beat_numbers {
        y -= p::WORD_GAP * 0.8 + p::NUMBER_SIZE * 0.66;
        for (number, x) in places.iter().flat_map(|bar| &bar.beats) {
            elements.push(words(
                Kind::BeatNumber,
                None,
                &number.to_string(),
                (*x, y),
                (p::NUMBER_SIZE, Face::Regular, Align::Middle),
            ));
        }
    }
    if settings.note_names {
        y -= p::WORD_GAP * 0.8 + p::NUMBER_SIZE * 0.7;
        let heads: Vec<(crate::score::NoteId, f64)> = elements
            .iter()
            .filter(|element| element.kind == Kind::Head)
            .filter_map(|element| {
                let bounds = element.shape.bounds();
                Some((element.note?, f64::midpoint(bounds.left, bounds.right)))
            })
            .collect();
        let columns = line.bars.clone().flat_map(|bar| &bars[bar].columns);
        for column in columns.filter(|column| column.begins) {
            if let Some((id, x)) = heads.iter().find(|(id, _)| *id == column.id) {
                elements.push(words(
                    Kind::NoteName,
                    Some(*id),
                    column.note.name(),
                    (*x, y),
                    (p::NUMBER_SIZE, Face::Regular, Align::Middle),
                ));
            }
        }
    }
}

/// Where the beats of a bar fall: on a head that begins there, or between heads in proportion.
fn beats(bar: &Bar, heads: &[f64], right: f64) -> Vec<(u32, f64)> {
    let half = Glyph::HeadBlack.outline().right / 2.0;
    let end = bar.offset + bar.length;
    let count = if bar.metre.is_free() {
        0
    } else {
        bar.metre.beats_in_a_bar()
    };
    (0..count)
        .filter_map(|beat| {
            let at = Beats::whole(i128::from(beat));
            if at < bar.offset || at >= end {
                return None;
            }
            let place = bar.columns.iter().rposition(|column| column.place <= at)?;
            let column = &bar.columns[place];
            let next = heads.get(place + 1).copied().unwrap_or(right);
            let share = ((at - column.place).to_f64() / column.duration.to_f64()).min(1.0);
            let here = heads.get(place)?;
            Some((beat + 1, here + half + (next - here) * share))
        })
        .collect()
}

/// The least width of these bars in one system, and the width that suits them, with what stands
/// before the first.
pub(super) fn widths(bars: &[Bar], settings: &Settings) -> (f64, f64) {
    let metre = bars.first().map_or(Metre::FOUR_FOUR, |bar| bar.metre);
    let prefix = prefix(settings.clef, settings.metre.then_some(metre));
    let room = Room {
        width: settings.width,
        first_prefix: prefix,
        prefix,
        bars_in_a_system: None,
        parts_apart: false,
        spacing: settings.spacing,
    };
    let line = 0..bars.len();
    (0..bars.len())
        .map(|place| springs(bars, place, &line, &room))
        .fold((prefix, prefix), |sum, bar| {
            (sum.0 + bar.least(), sum.1 + bar.natural())
        })
}
