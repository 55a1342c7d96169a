//! Bars into systems, and how wide each bar is in its system.

use super::columns::{Bar, Signs};
use super::lay::{Spacing, metre_width};
use super::proportions as p;
use super::spacing::Springs;
use super::{font::Glyph, placed};
use placed::{Element, Kind, Shape};
use std::ops::Range;

/// What the room of a system is measured with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Room {
    pub width: f64,
    /// Width of clef and metre in the first system.
    pub first_prefix: f64,
    /// Width of the clef in the others.
    pub prefix: f64,
    pub bars_in_a_system: Option<usize>,
    pub spacing: Spacing,
}

/// A system's bars with their widths.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub bars: Range<usize>,
    pub prefix: f64,
    pub widths: Vec<f64>,
}

fn dot() -> f64 {
    Glyph::Dot.outline().right
}

/// Between the clef or the metre and a repeat that begins there, staff spaces. Chosen by eye.
const AFTER_CLEF: f64 = 0.8;

/// The room of a repeat's beginning behind its thick line.
fn opening(signs: Signs) -> f64 {
    if signs.repeat_begins {
        p::LINE_GAP + p::THIN + p::LINE_GAP + dot()
    } else {
        0.0
    }
}

/// The room of the lines at a bar's end.
fn closing(signs: Signs, next_begins: bool) -> f64 {
    if signs.repeat_ends {
        dot() + p::LINE_GAP + p::THIN + p::LINE_GAP + p::THICK
    } else if next_begins {
        p::THICK
    } else if signs.last {
        p::THIN + p::LINE_GAP + p::THICK
    } else if signs.part_ends {
        p::THIN + p::LINE_GAP + p::THIN
    } else {
        p::THIN
    }
}

/// From the left end of a bar to what stands before its first note, in its system: the signs of a
/// repeat that begins.
pub(super) fn before_change(bar: &Bar, first: bool) -> f64 {
    let thick = if first && bar.signs.repeat_begins {
        AFTER_CLEF + p::THICK
    } else {
        0.0
    };
    thick + opening(bar.signs)
}

/// The room of a metre that begins with the bar.
fn change_width(bar: &Bar) -> f64 {
    if bar.changes_metre && !bar.metre.is_free() {
        p::AFTER_LINE + metre_width(bar.metre)
    } else {
        0.0
    }
}

/// The springs of a bar in its system.
pub(super) fn springs(bars: &[Bar], place: usize, line: &Range<usize>, room: &Room) -> Springs {
    let bar = &bars[place];
    let first = place == line.start;
    let next_begins = place + 1 < line.end && bars[place + 1].signs.repeat_begins;
    Springs::of(
        bar,
        bar.metre,
        room.spacing,
        before_change(bar, first) + change_width(bar),
        closing(bar.signs, next_begins),
    )
}

/// Breaks the bars into systems and gives every bar its width. Bar lines stand under each other
/// where all systems have as many bars and nothing touches by it.
pub(super) fn break_into_lines(bars: &[Bar], room: &Room) -> Vec<Line> {
    let ranges = ranges(bars, room);
    let mut lines: Vec<Line> = ranges
        .iter()
        .enumerate()
        .map(|(place, range)| {
            let prefix = if place == 0 {
                room.first_prefix
            } else {
                room.prefix
            };
            Line {
                bars: range.clone(),
                prefix,
                widths: justified(bars, range, prefix, room, 1.0),
            }
        })
        .collect();
    let short = lines.len() > 1
        && lines
            .last()
            .is_some_and(|last| last.bars.len() * 2 <= lines[0].bars.len());
    if short && let Some(last) = lines.last_mut() {
        // Half a line or less is not pulled apart to the full width.
        let share = last.bars.len() as f64 / ranges[0].len() as f64;
        last.widths = justified(bars, &last.bars.clone(), last.prefix, room, share);
    }
    line_up(bars, &mut lines, room);
    lines
}

/// Widths that fill the system (or a share of it).
fn justified(bars: &[Bar], range: &Range<usize>, prefix: f64, room: &Room, share: f64) -> Vec<f64> {
    let springs: Vec<Springs> = range
        .clone()
        .map(|place| springs(bars, place, range, room))
        .collect();
    let target = (room.width - prefix) * share;
    let natural: f64 = springs.iter().map(Springs::natural).sum();
    let least: f64 = springs.iter().map(Springs::least).sum();
    // Bars that hold about as much are made equal: the lines of a drill's stages stand under each
    // other down the page.
    let equal = target / springs.len().max(1) as f64;
    let widest = springs.iter().map(Springs::natural).fold(0.0, f64::max);
    let narrowest = springs
        .iter()
        .map(Springs::natural)
        .fold(f64::MAX, f64::min);
    if widest <= narrowest * 1.3 && equal >= widest && room.bars_in_a_system != Some(usize::MAX) {
        return vec![equal; springs.len()];
    }
    springs
        .iter()
        .map(|spring| {
            if target >= natural {
                spring.natural() * target / natural
            } else if natural > least {
                let give = ((target - least) / (natural - least)).clamp(0.0, 1.0);
                spring.least() + (spring.natural() - spring.least()) * give
            } else {
                spring.least()
            }
        })
        .collect()
}

/// Moves bar lines under each other.
fn line_up(bars: &[Bar], lines: &mut [Line], room: &Room) {
    let Some(first) = lines.first() else {
        return;
    };
    let count = first.bars.len();
    let whole: Vec<usize> = (0..lines.len())
        .filter(|place| lines[*place].bars.len() == count)
        .collect();
    if whole.len() < 2 || whole.len() != lines.len() {
        return;
    }
    // Ends of the bars, counted from the staff's left end: the mean over the systems.
    let ends = |line: &Line| -> Vec<f64> {
        let mut x = line.prefix;
        line.widths
            .iter()
            .map(|width| {
                x += width;
                x
            })
            .collect()
    };
    let all: Vec<Vec<f64>> = lines.iter().map(ends).collect();
    let mean: Vec<f64> = (0..count)
        .map(|bar| all.iter().map(|ends| ends[bar]).sum::<f64>() / all.len() as f64)
        .collect();
    let widths = |prefix: f64| -> Vec<f64> {
        let mut left = prefix;
        mean.iter()
            .map(|end| {
                let width = end - left;
                left = *end;
                width
            })
            .collect()
    };
    let fits = lines.iter().all(|line| {
        line.bars
            .clone()
            .zip(widths(line.prefix))
            .all(|(place, width)| width >= springs(bars, place, &line.bars, room).least())
    }) && mean.last().is_some_and(|end| *end <= room.width + 0.01);
    if fits {
        for line in lines {
            line.widths = widths(line.prefix);
        }
    }
}

/// Which bars stand in which system: as many full bars in each as fit, four rather than five to
/// seven as tunes are mostly printed in fours (common practice, no source); an upbeat joins the
/// system of the bar it leads to.
fn ranges(bars: &[Bar], room: &Room) -> Vec<Range<usize>> {
    let mut count = room.bars_in_a_system.unwrap_or(8).max(1);
    if count == usize::MAX {
        // One system whatever happens.
        return std::iter::once(0..bars.len()).collect();
    }
    loop {
        let tried = chunks(bars, count);
        let fits = tried.iter().enumerate().all(|(place, range)| {
            let prefix = if place == 0 {
                room.first_prefix
            } else {
                room.prefix
            };
            let (natural, least) = range.clone().fold((0.0, 0.0), |sum, bar| {
                let springs = springs(bars, bar, range, room);
                (sum.0 + springs.natural(), sum.1 + springs.least())
            });
            least <= room.width - prefix && natural * 0.93 <= room.width - prefix
        });
        if fits || count == 1 {
            return tried;
        }
        count = if count > 4 { 4 } else { count - 1 };
    }
}

/// Systems of `count` full bars each; a part that ends ends its system.
fn chunks(bars: &[Bar], count: usize) -> Vec<Range<usize>> {
    let mut ranges = Vec::new();
    let mut begin = 0;
    let mut full = 0;
    for (place, bar) in bars.iter().enumerate() {
        let upbeat = !bar.offset.is_zero();
        if full == count || (upbeat && place > begin) {
            ranges.push(begin..place);
            begin = place;
            full = 0;
        }
        if !upbeat {
            full += 1;
        }
    }
    if begin < bars.len() {
        ranges.push(begin..bars.len());
    }
    ranges
}

/// The lines and dots at a bar's right end (`right` is the right edge of the last line).
pub(super) fn draw_closing(signs: Signs, next_begins: bool, right: f64) -> Vec<Element> {
    let mut elements = Vec::new();
    let thin = |right: f64| line(right - p::THIN, right);
    let thick = |right: f64| line(right - p::THICK, right);
    if signs.repeat_ends {
        let inner = right - p::THICK - p::LINE_GAP;
        elements.extend([thick(right), thin(inner)]);
        elements.extend(dots(inner - p::THIN - p::LINE_GAP - dot()));
    } else if next_begins {
        elements.push(thick(right));
    } else if signs.last {
        elements.extend([thick(right), thin(right - p::THICK - p::LINE_GAP)]);
    } else if signs.part_ends {
        elements.extend([thin(right), thin(right - p::THIN - p::LINE_GAP)]);
    } else {
        elements.push(thin(right));
    }
    elements
}

/// The beginning of a repeat at a bar's left end; its thick line belongs to the bar before, unless
/// the bar is the first of its system.
pub(super) fn draw_opening(signs: Signs, first: bool, left: f64) -> Vec<Element> {
    if !signs.repeat_begins {
        return Vec::new();
    }
    let mut elements = Vec::new();
    let mut x = left;
    if first {
        x += AFTER_CLEF;
        elements.push(line(x, x + p::THICK));
        x += p::THICK;
    }
    x += p::LINE_GAP;
    elements.push(line(x, x + p::THIN));
    elements.extend(dots(x + p::THIN + p::LINE_GAP));
    elements
}

fn line(left: f64, right: f64) -> Element {
    Element {
        note: None,
        kind: Kind::BarLine,
        shape: Shape::Bar {
            left,
            bottom: 0.0,
            right,
            top: 4.0,
        },
    }
}

fn dots(left: f64) -> [Element; 2] {
    [1.5, 2.5].map(|y| Element {
        note: None,
        kind: Kind::RepeatDot,
        shape: Shape::Glyph {
            glyph: Glyph::Dot,
            x: left,
            y,
            scale: 1.0,
        },
    })
}
