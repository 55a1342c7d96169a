//! Lays out a score: gives everything its place.

use super::columns::{Bar, Column, bars_of};
use super::font::{Face, Glyph};
use super::names::{self, Named};
use super::placed::{
    Align, BarPlace, Element, ElementKind, Engraved, InkShape, System, glyph, words,
};
use super::proportions as p;
use super::settings::LayoutSettings;
use super::systems::{
    Line, Room, before_change, break_into_lines, draw_closing, draw_opening, springs,
};
use super::{beams, endings, gracenotes, metre, tuplets};
use crate::chanter::Note;
use crate::drill::Music;
use crate::rhythm::{Metre, NoteValue};
use crate::score::{NoteId, Score};
use crate::units::{Beats, Fraction};

/// Lays out a score. With `music`, the repeat signs, endings and double bar lines of the written
/// bars are drawn, and a bar that is played more than once is drawn once, with the note ids of its
/// first time through ([`crate::score::NoteId::pass`] 1).
pub fn lay_out(score: &Score, music: Option<&Music>, settings: &LayoutSettings) -> Engraved {
    let bars = bars_of(score, music);
    lay_out_bars(&bars, settings)
}

pub(super) fn lay_out_bars(bars: &[Bar], settings: &LayoutSettings) -> Engraved {
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
/// The height of the bar number's base line in staff spaces, above the clef.
const BAR_NUMBER_AT: f64 = 6.0;

/// The width of clef and metre with the gaps around them, in staff spaces.
fn prefix(clef: bool, metre: Option<Metre>) -> f64 {
    let metre = metre.filter(|metre| !metre.is_free());
    let clef_width = if clef {
        CLEF_AT + Glyph::Clef.outline().right
    } else {
        0.0
    };
    let metre_width = metre.map_or(0.0, |metre| METRE_GAP + metre::width_of(metre));
    let white = if clef || metre.is_some() { 0.3 } else { 0.0 };
    clef_width + metre_width + white
}

/// A system while its bars are drawn, from left to right.
struct Drawn<'a> {
    settings: &'a LayoutSettings,
    elements: Vec<Element>,
    places: Vec<BarPlace>,
    ties: Vec<Element>,
    /// A tie whose right end was not drawn yet: the x and y of its left end, and the note it begins
    /// on.
    waiting: Option<(f64, f64, NoteId)>,
    movements: Vec<Named>,
    gracenotes: Vec<Named>,
    /// For each change of metre at which a note other than the beat keeps its length: the x where
    /// the new metre begins, and the two notes that are equally long.
    equal: Vec<(f64, (Fraction, Fraction))>,
    /// The x where the next bar begins.
    x: f64,
}

impl Drawn<'_> {
    /// Draws the clef and the metre.
    fn head(&mut self, metre: Option<Metre>) {
        let mut clef_right = 0.0;
        if self.settings.clef {
            self.elements
                .push(glyph(ElementKind::Clef, Glyph::Clef, CLEF_AT, 1.0));
            clef_right = CLEF_AT + Glyph::Clef.outline().right;
        }
        if let Some(metre) = metre.filter(|_| self.settings.metre) {
            self.elements
                .extend(metre::figures(metre, clef_right + METRE_GAP));
        }
    }

    /// Draws the bar at `place` with a given width. `named` are the movements that were named
    /// already and are not named again.
    fn bar(
        &mut self,
        (bars, place, line): (&[Bar], usize, &Line),
        width: f64,
        room: &Room,
        named: &mut Vec<&'static str>,
    ) {
        let (bar, x, first) = (&bars[place], self.x, place == line.bars.start);
        let next_begins = place + 1 < line.bars.end && bars[place + 1].signs.repeat_begins;
        let (heads, _) = springs(bars, place, &line.bars, room).places(x, width);
        let right = x + width;
        let before = self.elements.len();
        self.elements.extend(draw_opening(bar.signs, first, x));
        self.elements
            .extend(draw_closing(bar.signs, next_begins, right));
        if bar.changes_metre {
            let left = x + before_change(bar, first) + p::AFTER_LINE * 0.8;
            self.elements.extend(metre::figures(bar.metre, left));
            let before = place.checked_sub(1).map(|before| bars[before].metre);
            let equal = before.and_then(|before| bar.metre.equal_notes(before));
            self.equal.extend(equal.map(|notes| (left, notes)));
        }
        for (column, head) in bar.columns.iter().zip(&heads) {
            self.elements.extend(draw_note(column, *head));
            if let Some((left, y, id)) = self.waiting.take() {
                self.ties.push(tie(id, left, *head, y));
            }
            if column.tied {
                self.waiting = Some((head + column.ink_right(), column.y(), column.id));
            }
            self.name(bar, column, *head, named);
        }
        self.elements.extend(draw_beams(bar, &heads));
        let tuplets = tuplets::draw(bar, &heads, &self.elements[before..]);
        self.elements.extend(tuplets);
        self.places.push(BarPlace {
            number: bar.number,
            written: bar.written,
            left: x,
            right,
            beats: beats(bar, &heads, right),
        });
        self.x = right;
    }

    /// Collects the names that will be written above a head.
    fn name(&mut self, bar: &Bar, column: &Column, head: f64, named: &mut Vec<&'static str>) {
        let settings = self.settings;
        if settings.movement_names
            && column.group.parts.len() > 1
            && let Some(movement) = column.group.movement
            && (settings.names_again || !named.contains(&movement.spoken()))
        {
            named.push(movement.spoken());
            let left = head - column.grace.width;
            self.movements.push((movement.spoken(), left, column.id));
        }
        if settings.grace_names
            && column.group.parts.len() == 1
            && column.place > bar.offset
            && let Some(part) = column.group.parts.first()
        {
            let left = head - column.grace.back[0];
            self.gracenotes.push((part.note.name(), left, part.id));
        }
    }
}

/// Draws a whole system. `named` are the movements that were named already and are not named again.
fn system(
    bars: &[Bar],
    line: &Line,
    first: bool,
    room: &Room,
    settings: &LayoutSettings,
    named: &mut Vec<&'static str>,
) -> System {
    let mut drawn = Drawn {
        settings,
        elements: Vec::new(),
        places: Vec::new(),
        ties: Vec::new(),
        waiting: None,
        movements: Vec::new(),
        gracenotes: Vec::new(),
        equal: Vec::new(),
        x: line.prefix,
    };
    drawn.head(bars.first().filter(|_| first).map(|bar| bar.metre));
    for (place, width) in line.bars.clone().zip(&line.widths) {
        drawn.bar((bars, place, line), *width, room, named);
    }
    let right = drawn.x;
    if let Some((left, y, id)) = drawn.waiting {
        drawn.ties.push(tie(id, left, right + 0.6, y));
    }
    let mut all = staff_lines(right);
    all.extend(drawn.elements);
    all.extend(drawn.ties);
    for (left, notes) in &drawn.equal {
        let equal = metre::equal(*notes, *left, &all);
        all.extend(equal);
    }
    endings::draw(&mut all, bars, &line.bars, &drawn.places);
    let end = settings.width.max(right);
    names::above(&mut all, &drawn.movements, &drawn.gracenotes, end);
    // some bars taken out of a tune show the number of their first bar
    let begins_later = bars.iter().map(|bar| bar.number).find(|number| *number > 0) > Some(1);
    if settings.bar_numbers && (!first || begins_later) {
        all.extend(bar_number(bars, line, &drawn.places));
    }
    names::below(&mut all, bars, line, &drawn.places, settings);
    let ink = |element: &Element| element.shape.bounds();
    System {
        width: right,
        top: all.iter().map(|e| ink(e).top).fold(4.0, f64::max),
        bottom: all.iter().map(|e| ink(e).bottom).fold(0.0, f64::min),
        bars: drawn.places,
        elements: all,
    }
}

fn staff_lines(right: f64) -> Vec<Element> {
    (0..5)
        .map(|line| {
            let y = f64::from(line);
            Element {
                note: None,
                kind: ElementKind::StaffLine,
                shape: InkShape::Bar {
                    left: 0.0,
                    bottom: y - p::STAFF_LINE / 2.0,
                    right,
                    top: y + p::STAFF_LINE / 2.0,
                },
            }
        })
        .collect()
}

/// The number of a system's first bar. The second half of a divided bar has its number in brackets
/// (common practice of engravers); a pickup has the number of the bar that it leads to.
fn bar_number(bars: &[Bar], line: &Line, places: &[BarPlace]) -> Option<Element> {
    let bar = places.first()?;
    let before = line.bars.start.checked_sub(1).map(|before| &bars[before]);
    let upbeat = !bars[line.bars.start].offset.is_zero();
    let number = match places.get(1).filter(|_| upbeat) {
        Some(next) => next.number.to_string(),
        None if before.is_some_and(|before| before.number == bar.number) => {
            format!("({})", bar.number)
        }
        None => bar.number.to_string(),
    };
    Some(words(
        ElementKind::BarNumber,
        None,
        &number,
        (0.0, BAR_NUMBER_AT),
        (p::NUMBER_SIZE, Face::Regular, Align::Start),
    ))
}

/// Draws a note's head, dots, ledger line and gracenotes, and the stem of an unbeamed note.
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
            ElementKind::Ledger,
            InkShape::Bar {
                left: x - p::LEDGER_REACH,
                bottom: y - p::LEDGER / 2.0,
                right: x + head.outline().right + p::LEDGER_REACH,
                top: y + p::LEDGER / 2.0,
            },
        ));
    }
    elements.push(own(
        ElementKind::Head,
        InkShape::Glyph {
            glyph: head,
            x,
            y,
            scale: 1.0,
        },
    ));
    // the dot of a note on a line is drawn in the space above the line
    let dot_y = if column.note.staff_step() % 2 == 0 {
        y + 0.5
    } else {
        y
    };
    for dot in 0..column.length.dots {
        elements.push(own(
            ElementKind::Dot,
            InkShape::Glyph {
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

/// A tie. It is drawn above the notes, because the stems point down (so in ABC 2.1, K:HP, and in
/// LilyPond's bagpipe.ly).
fn tie(id: NoteId, left: f64, right: f64, y: f64) -> Element {
    let (left, right) = (left + 0.1, right - 0.1);
    Element {
        note: Some(id),
        kind: ElementKind::Tie,
        shape: InkShape::Bow {
            from: (left, y + 0.45),
            to: (right, y + 0.45),
            rise: (0.5 + (right - left) * 0.08).min(1.4),
        },
    }
}

/// The number and x of each count of a bar: at the head that begins there, or in proportion between
/// two heads.
fn beats(bar: &Bar, heads: &[f64], right: f64) -> Vec<(u32, f64)> {
    let half = Glyph::HeadBlack.outline().right / 2.0;
    let end = bar.offset + bar.length;
    let count = if bar.metre.is_free() {
        0
    } else {
        bar.metre.beats_in_a_bar()
    };
    (0..count)
        .filter(|beat| bar.metre.is_counted(*beat))
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
            Some((
                bar.metre.count_of(beat) + 1,
                here + half + (next - here) * share,
            ))
        })
        .collect()
}

/// The least width of these bars in one system, and their natural width, both with clef and metre,
/// in staff spaces.
pub(super) fn widths(bars: &[Bar], settings: &LayoutSettings) -> (f64, f64) {
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
