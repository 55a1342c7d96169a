//! The order in which written bars are played.

use crate::drill::problem::ProblemKind;
use crate::drill::written::Bar;

/// The order of play: each repeated part is played twice, its first ending only the first time. The
/// second value has the problems, each with its bar.
pub fn body_order(bars: &[Bar]) -> (Vec<usize>, Vec<(usize, ProblemKind)>) {
    let mut told = Vec::new();
    let mut second_after = vec![None; bars.len()];
    let mut second = None;
    for (place, bar) in bars.iter().enumerate().rev() {
        second_after[place] = second;
        if bar.ending == Some(2) {
            second = Some(place);
        }
    }
    let mut sent_back = vec![false; bars.len()];
    let mut order = Vec::new();
    let mut part = 0;
    let mut again = false;
    let mut at = 0;
    let mut in_second = false;
    while at < bars.len() {
        let Bar {
            repeat_begins,
            repeat_ends,
            ending,
            part_ends,
            ..
        } = bars[at];
        if repeat_begins && !again {
            part = at;
            in_second = false;
        }
        if ending == Some(1) && again {
            again = false;
            if let Some(second) = second_after[at] {
                at = second;
                in_second = true;
            } else {
                told.push((at, ProblemKind::NoSecondEnding));
                at += 1;
            }
            continue;
        }
        if ending == Some(2) && !in_second {
            told.push((at, ProblemKind::NoFirstEnding));
        }
        order.push(at);
        if repeat_ends && !in_second {
            // Each repeat sign sends back only once. Otherwise a first ending without a second
            // would repeat endlessly.
            if again || std::mem::replace(&mut sent_back[at], true) {
                again = false;
                part = at + 1;
            } else {
                again = true;
                at = part;
                continue;
            }
        } else if part_ends && !again {
            part = at + 1;
            in_second = false;
        }
        at += 1;
    }
    (order, told)
}
