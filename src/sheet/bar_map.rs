//! Draws under the staves of a tune where it fails: a line below each bar that failed lately,
//! thicker where the bar failed more often.
//!
//! This module knows the results of bars, and no journal.

use super::drawing::Ink;
use crate::engraving::System;
use crate::planning::{BarLine, work_on, work_on_words};

/// The gap between a staff's lowest ink and the lines, and the gap below the thickest line, in
/// points.
const ABOVE: f64 = 3.0;
const BELOW: f64 = 2.0;
/// The distance from a bar line to the end of such a line, in staff spaces.
const INSET: f64 = 0.6;

/// How often a bar failed, in the steps of the screen's map from 0 for never to 4.
pub(super) fn step(line: &BarLine) -> u8 {
    match line.share() {
        share if share <= 0.0 => 0,
        share if share < 0.2 => 1,
        share if share < 0.4 => 2,
        share if share < 0.7 => 3,
        _ => 4,
    }
}

/// The step of the written bar with this number; none for a pickup and for a bar that did not fail.
pub(super) fn step_of(bars: &[BarLine], number: u16) -> Option<u8> {
    let line = bars.iter().find(|line| line.bar == number && number > 0)?;
    Some(step(line)).filter(|step| *step > 0)
}

/// The sentence that explains the lines and says what to work on; none where nothing failed.
pub(super) fn map_words(bars: &[BarLine]) -> Option<String> {
    let failed = bars.iter().any(|line| line.bar > 0 && step(line) > 0);
    let words =
        work_on_words(&work_on(bars)).map_or_else(String::new, |words| format!(": {words}"));
    failed
        .then(|| format!("The thicker the line under a bar, the oftener it failed lately{words}."))
}

/// The height that the map needs below a system, in points.
pub(super) fn map_height(system: &System, bars: &[BarLine]) -> f64 {
    let any = system
        .bars
        .iter()
        .any(|bar| step_of(bars, bar.number).is_some());
    if any {
        ABOVE + thickness(4) + BELOW
    } else {
        0.0
    }
}

fn thickness(step: u8) -> f64 {
    f64::from(step) * 1.1
}

/// The lines below a system, from its left end and its lowest ink.
pub(super) fn map_ink(
    system: &System,
    bars: &[BarLine],
    (left, below): (f64, f64),
    space: f64,
) -> Vec<Ink> {
    let line = |bar: &crate::engraving::BarPlace| {
        let step = step_of(bars, bar.number)?;
        let top = below + ABOVE;
        Some(Ink::rectangle(
            left + (bar.left + INSET) * space,
            top,
            left + (bar.right - INSET) * space,
            top + thickness(step),
        ))
    };
    system.bars.iter().filter_map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{built_in, read};
    use crate::sheet::{SheetOptions, compose, compose_with_map};

    fn failed(bar: u16, failed: f64) -> BarLine {
        BarLine {
            bar,
            of: 10,
            failed,
        }
    }

    /// A player who takes the sheet to the music stand sees what to work on. A sheet printed
    /// without the map shows others nothing of it.
    #[test]
    fn bars_that_fail_have_lines_under_them_and_words() {
        let file = built_in("lamp-on-the-slipway").expect("a tune of our own");
        let drill = read(file.text.as_bytes()).0.expect("it reads");
        let options = SheetOptions::default();
        let drills = std::slice::from_ref(&drill);
        let bars = vec![failed(5, 8.0), failed(13, 3.0), failed(2, 0.0)];
        let plain = compose(drills, &options);
        let mapped = compose_with_map(drills, std::slice::from_ref(&bars), &options);
        let rectangles = |booklet: &crate::sheet::Booklet| {
            let pages = booklet.pages.iter().flat_map(|page| &page.blocks);
            let ink = pages.flat_map(|block| &block.ink);
            ink.filter(|ink| matches!(ink, Ink::Fill(_))).count()
        };
        assert_eq!(mapped.pages.len(), 1);
        assert_eq!(rectangles(&mapped), rectangles(&plain) + 2);
        let words = map_words(&bars).expect("two bars failed");
        assert!(words.contains("work on bars 5 and 13"), "{words}");
        assert_eq!(map_words(&bars[2..]), None);
        let none = compose_with_map(drills, &[vec![failed(2, 0.0)]], &options);
        assert_eq!(rectangles(&none), rectangles(&plain));
    }
}
