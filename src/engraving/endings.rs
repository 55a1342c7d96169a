//! Draws the brackets over first and second endings.

use super::columns::Bar;
use super::font::Face;
use super::placed::{Align, BarPlace, Element, ElementKind, InkShape, ceiling, words};
use super::proportions as p;

/// The part of an ending that lies in one system.
struct Ending {
    /// The ending's number; none where it began in an earlier system.
    number: Option<u8>,
    left: f64,
    right: f64,
    /// True where the repeat ends with this ending.
    closes: bool,
}

/// The height of the hooks at the ends of a bracket, in staff spaces.
const ENDING_HOOK: f64 = 1.6;

/// The least gap between an ending's bracket or number and the music, in staff spaces.
const ENDING_GAP: f64 = 0.45;

/// The distance from the bracket's left end to the number, in staff spaces.
const ENDING_NUMBER: f64 = 0.5;

/// Draws the brackets over endings, each from its first bar to the end of the repeat or part. All
/// brackets of a system have the same height, above everything that lies under them.
pub(super) fn draw(
    elements: &mut Vec<Element>,
    bars: &[Bar],
    line: &std::ops::Range<usize>,
    places: &[BarPlace],
) {
    // an ending that began in the system before is continued here
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

/// The bracket over an ending, with its line at height `at` in staff spaces.
fn draw_ending(ending: &Ending, at: f64) -> Vec<Element> {
    let bar = |left, bottom, right, top| Element {
        note: None,
        kind: ElementKind::Ending,
        shape: InkShape::Bar {
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
            ElementKind::Ending,
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
