//! Divides bars into systems, and gives each bar its width.

use super::columns::{Bar, Signs};
use super::metre;
use super::proportions as p;
use super::settings::Spacing;
use super::spacing::Springs;
use super::{font::Glyph, placed};
use placed::{Element, ElementKind, InkShape};
use std::ops::Range;

/// The widths that limit what fits into a system, in staff spaces.
#[derive(Debug, Clone, Copy)]
pub(super) struct Room {
    pub width: f64,
    /// The width of clef and metre in the first system.
    pub first_prefix: f64,
    /// The width of the clef in every later system.
    pub prefix: f64,
    pub bars_in_a_system: Option<usize>,
    /// True where each part of the tune begins a new system.
    pub parts_apart: bool,
    pub spacing: Spacing,
}

impl Room {
    /// The room for bars in the system with this number, from 0.
    fn of_system(&self, place: usize) -> f64 {
        let prefix = if place == 0 {
            self.first_prefix
        } else {
            self.prefix
        };
        self.width - prefix
    }
}

/// The bars of a system with their widths.
#[derive(Debug, Clone)]
pub(super) struct Line {
    pub bars: Range<usize>,
    pub prefix: f64,
    pub widths: Vec<f64>,
}

fn dot() -> f64 {
    Glyph::Dot.outline().right
}

/// The gap between the clef or metre and a repeat sign that begins there, in staff spaces. Chosen
/// by eye.
const AFTER_CLEF: f64 = 0.8;

/// The room that the beginning of a repeat needs to the right of its thick line.
fn opening(signs: Signs) -> f64 {
    if signs.repeat_begins {
        p::LINE_GAP + p::THIN + p::LINE_GAP + dot()
    } else {
        0.0
    }
}

/// The room that the lines at a bar's end need.
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

/// The room that the signs at the left end of a bar need for a repeat that begins there.
pub(super) fn before_change(bar: &Bar, first: bool) -> f64 {
    let thick = if first && bar.signs.repeat_begins {
        AFTER_CLEF + p::THICK
    } else {
        0.0
    };
    thick + opening(bar.signs)
}

/// The room that a metre needs where it begins with the bar.
fn change_width(bar: &Bar) -> f64 {
    if bar.changes_metre && !bar.metre.is_free() {
        p::AFTER_LINE + metre::width_of(bar.metre)
    } else {
        0.0
    }
}

/// The springs of a bar within its system.
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

/// A system that fills less than this share of its width is not stretched where there are other
/// systems: a last ending of one bar keeps the spacing of the bars above it. Chosen by eye.
const FULL_ENOUGH: f64 = 0.6;

/// Divides the bars into systems and gives every bar its width. In systems with equally many bars
/// the bar lines are aligned, where nothing touches because of it.
pub(super) fn break_into_lines(bars: &[Bar], room: &Room) -> Vec<Line> {
    let ranges = ranges(bars, room);
    let natural: Vec<f64> = ranges
        .iter()
        .map(|range| widths_of(bars, range, room).0)
        .collect();
    let fills = |place: usize| natural[place] / room.of_system(place);
    let full = |place: usize| ranges.len() == 1 || fills(place) >= FULL_ENOUGH;
    let filled: Vec<f64> = (0..ranges.len())
        .filter(|at| full(*at))
        .map(fills)
        .collect();
    let usual = if filled.is_empty() {
        FULL_ENOUGH
    } else {
        filled.iter().sum::<f64>() / filled.len() as f64
    };
    let mut lines: Vec<Line> = ranges
        .iter()
        .enumerate()
        .map(|(place, range)| {
            let share = if full(place) {
                1.0
            } else {
                (fills(place) / usual).min(1.0)
            };
            let target = room.of_system(place) * share;
            Line {
                bars: range.clone(),
                prefix: room.width - room.of_system(place),
                widths: justified(bars, range, target, room),
            }
        })
        .collect();
    // bar lines are aligned in systems that begin alike and have equally many bars
    let shape = |place: usize| {
        let begins = ranges[place].start;
        (
            ranges[place].len(),
            bars.get(begins).is_some_and(|bar| !bar.offset.is_zero()),
        )
    };
    let mut shapes: Vec<(usize, bool)> = (0..ranges.len()).map(shape).collect();
    shapes.sort_unstable();
    shapes.dedup();
    for alike in shapes {
        let places: Vec<usize> = (0..ranges.len())
            .filter(|place| full(*place) && shape(*place) == alike)
            .collect();
        line_up(bars, &mut lines, &places, room);
    }
    lines
}

/// The natural and the least width of some bars in one system.
fn widths_of(bars: &[Bar], range: &Range<usize>, room: &Room) -> (f64, f64) {
    range.clone().fold((0.0, 0.0), |sum, bar| {
        let springs = springs(bars, bar, range, room);
        (sum.0 + springs.natural(), sum.1 + springs.least())
    })
}

/// The widths of bars that together fill the width `target`.
fn justified(bars: &[Bar], range: &Range<usize>, target: f64, room: &Room) -> Vec<f64> {
    let springs: Vec<Springs> = range
        .clone()
        .map(|place| springs(bars, place, range, room))
        .collect();
    let natural: f64 = springs.iter().map(Springs::natural).sum();
    let least: f64 = springs.iter().map(Springs::least).sum();
    // bars that need about the same room get the same width, so that the bar lines of a drill's
    // stages are aligned down the page
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

/// Aligns the bar lines of some systems.
fn line_up(bars: &[Bar], lines: &mut [Line], places: &[usize], room: &Room) {
    if places.len() < 2 {
        return;
    }
    let count = lines[places[0]].bars.len();
    // the mean over the systems of where each bar ends, measured from the staff's left end
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
    let all: Vec<Vec<f64>> = places.iter().map(|place| ends(&lines[*place])).collect();
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
    let fits = places.iter().all(|place| {
        let line = &lines[*place];
        line.bars
            .clone()
            .zip(widths(line.prefix))
            .all(|(place, width)| width >= springs(bars, place, &line.bars, room).least())
    }) && mean.last().is_some_and(|end| *end <= room.width + 0.01);
    if fits {
        for place in places {
            let prefix = lines[*place].prefix;
            lines[*place].widths = widths(prefix);
        }
    }
}

/// The bars of a system may be compressed to this share of their natural width. Chosen by eye. For
/// systems of four bars it is lower, because tunes are printed four bars a line and players do not
/// accept a page of lines of three.
const CLOSEST: f64 = 0.93;
const CLOSEST_FOUR: f64 = 0.84;
/// The lowest share for a system that holds both endings. It is lower still, because the endings
/// are read together.
const CLOSEST_ENDINGS: f64 = 0.74;

/// Which bars are in which system. Each system has as many full bars as fit. Four are preferred to
/// five, six or seven, because tunes are mostly printed in fours (common practice, no source), and
/// in a tune two are preferred to three. An upbeat joins the system of the bar that it leads to. A
/// second ending of one bar joins the system of the first ending where there is room.
fn ranges(bars: &[Bar], room: &Room) -> Vec<Range<usize>> {
    let mut count = room.bars_in_a_system.unwrap_or(8).max(1);
    if count == usize::MAX {
        // the largest possible number asks for everything in one system
        return std::iter::once(0..bars.len()).collect();
    }
    loop {
        let fits = |place: usize, range: &Range<usize>| {
            let closest = match count {
                _ if range.len() > 1 && ends_again(bars, range.end - 1) => CLOSEST_ENDINGS,
                2 | 4 => CLOSEST_FOUR,
                _ => CLOSEST,
            };
            let (natural, least) = widths_of(bars, range, room);
            let width = room.of_system(place);
            least <= width && natural * closest <= width
        };
        let mut tried = chunks(bars, count, room.parts_apart);
        let endings_fit = tried.iter().enumerate().all(|(at, range)| fits(at, range));
        if !endings_fit {
            tried = tried
                .iter()
                .enumerate()
                .flat_map(|(at, range)| {
                    let (first, last) = (range.start, range.end - 1);
                    let upbeat = !bars[first].offset.is_zero();
                    if fits(at, range) || range.len() == 1 {
                        vec![range.clone()]
                    } else if ends_again(bars, last) {
                        vec![first..last, last..range.end]
                    } else if count == 1 && upbeat {
                        vec![first..first + 1, first + 1..range.end]
                    } else {
                        vec![range.clone()]
                    }
                })
                .collect();
        }
        if count == 1 || tried.iter().enumerate().all(|(at, range)| fits(at, range)) {
            return with_last_bar_joined(bars, tried, room);
        }
        // on a narrow page a system that is too full passes a bar to the next, and the others stay
        // as they are
        if count == 2 && bars.len() > 4 {
            let mixed: Vec<Range<usize>> = tried
                .iter()
                .enumerate()
                .flat_map(|(at, range)| {
                    if fits(at, range) || range.len() == 1 {
                        vec![range.clone()]
                    } else {
                        vec![range.start..range.end - 1, range.end - 1..range.end]
                    }
                })
                .collect();
            if mixed.iter().enumerate().all(|(at, range)| fits(at, range)) {
                return mixed;
            }
        }
        count = match count {
            5.. => 4,
            4 if room.parts_apart && bars.len() >= 8 => 2,
            _ => count - 1,
        };
    }
}

/// Joins a last system of one bar, such as the note that a phrase ends on, to the system before it
/// where there is room. This is not done where a part begins with that bar, or where a line must
/// end before it.
fn with_last_bar_joined(
    bars: &[Bar],
    mut ranges: Vec<Range<usize>>,
    room: &Room,
) -> Vec<Range<usize>> {
    let [.., before, last] = ranges.as_slice() else {
        return ranges;
    };
    let alone = last.len() == 1 && before.len() > 1 && bars[last.start].offset.is_zero();
    if !alone || begins_a_part(bars, last.start) || bars[last.start - 1].signs.line_ends {
        return ranges;
    }
    let joined = before.start..last.end;
    let (natural, least) = widths_of(bars, &joined, room);
    let width = room.of_system(ranges.len() - 2);
    if least <= width && natural * CLOSEST_FOUR <= width {
        ranges.truncate(ranges.len() - 2);
        ranges.push(joined);
    }
    ranges
}

/// True where a part of the tune begins with this bar. An ending belongs to the part that it ends.
fn begins_a_part(bars: &[Bar], place: usize) -> bool {
    let before = place.checked_sub(1).map(|before| bars[before].signs);
    let signs = bars[place].signs;
    signs.repeat_begins
        || before.is_some_and(|before| {
            signs.ending.is_none() && (before.repeat_ends || before.part_ends)
        })
}

/// True for a second or later ending of one bar.
fn ends_again(bars: &[Bar], place: usize) -> bool {
    bars[place].signs.ending.is_some_and(|ending| ending > 1)
        && (place + 1 == bars.len()
            || begins_a_part(bars, place + 1)
            || bars[place + 1].signs.ending.is_some())
}

/// Systems of `count` full bars each. With `parts_apart` each part begins a new system, unless that
/// would leave a system half empty.
fn chunks(bars: &[Bar], count: usize, parts_apart: bool) -> Vec<Range<usize>> {
    let mut ranges = Vec::new();
    let mut begin = 0;
    let mut full = 0;
    for (place, bar) in bars.iter().enumerate() {
        let upbeat = !bar.offset.is_zero();
        let again = ends_again(bars, place);
        let part = parts_apart && full * 2 >= count.min(4) && begins_a_part(bars, place);
        let line = place > 0 && bars[place - 1].signs.line_ends;
        if place > begin && ((full >= count && !again) || upbeat || part || line) {
            ranges.push(begin..place);
            begin = place;
            full = 0;
        }
        if !upbeat && (!again || full == 0) {
            full += 1;
        }
    }
    if begin < bars.len() {
        ranges.push(begin..bars.len());
    }
    ranges
}

/// Draws the lines and dots at a bar's right end. `right` is the right edge of the last line.
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

/// Draws the beginning of a repeat at a bar's left end. Its thick line belongs to the bar before,
/// unless the bar is the first of its system.
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
        kind: ElementKind::BarLine,
        shape: InkShape::Bar {
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
        kind: ElementKind::RepeatDot,
        shape: InkShape::Glyph {
            glyph: Glyph::Dot,
            x: left,
            y,
            scale: 1.0,
        },
    })
}
