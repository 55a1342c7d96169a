//! A session: the plan of a day as things that follow each other, with a warm-up before them.
//!
//! The order, chosen: the warm-up, then what the plan of the day has in its own order (cold tries
//! first, see `today.rs`); a movement that is new is heard just before it is first played. A rest
//! stands after each stretch of practice that is as long as the care of the settings allows. What is
//! answered before its minutes are over leaves them to what the plan of the day then has besides.

use super::today::{Item, Why};
use serde::{Deserialize, Serialize};

/// One thing of a session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SessionPart {
    /// The hands are warmed, minutes.
    WarmUp(u32),
    /// A new movement is heard, clean and with a fault.
    Hear {
        /// What to open with `hear`.
        open: String,
        /// The drill's title.
        title: String,
    },
    /// A cell is practised.
    Cell(Box<Item>),
    /// The hands rest, minutes.
    Rest(u32),
}

/// Minutes that hearing a new movement takes.
const HEAR: u32 = 1;
/// The warm-up takes a fifth of a session, 2 to 5 minutes; below 8 minutes there is none. Chosen.
const WARM_SHARE: u32 = 5;
const WARM_LEAST: u32 = 2;
const WARM_MOST: u32 = 5;
const TOO_SHORT_TO_WARM: u32 = 8;
/// A rest after a long stretch, minutes: what the README's care says.
const REST: u32 = 10;

impl SessionPart {
    /// Minutes planned for it.
    pub fn minutes(&self) -> u32 {
        match self {
            Self::WarmUp(minutes) | Self::Rest(minutes) => *minutes,
            Self::Hear { .. } => HEAR,
            Self::Cell(item) => item.minutes,
        }
    }
}

/// Minutes of warm-up in a session of so many.
pub fn warm_minutes(minutes: u32) -> u32 {
    if minutes < TOO_SHORT_TO_WARM {
        0
    } else {
        (minutes / WARM_SHARE).clamp(WARM_LEAST, WARM_MOST)
    }
}

/// The parts of a session of so many minutes, from the day's plan for what the warm-up leaves of
/// them. `is_heard_first` says whether an item's movement is to be heard before it is played; one a
/// session is, and its minute is taken from the longest item. `rest_after`: minutes without a rest,
/// 0 for none.
pub fn session(
    items: Vec<Item>,
    minutes: u32,
    rest_after: u32,
    is_heard_first: impl Fn(&Item) -> bool,
) -> Vec<SessionPart> {
    let mut parts = Vec::new();
    let warm = warm_minutes(minutes);
    if warm > 0 {
        parts.push(SessionPart::WarmUp(warm));
    }
    let mut items = items;
    let heard = items
        .iter()
        .position(|item| item.kind == Why::New && is_heard_first(item));
    if heard.is_some()
        && let Some(longest) = items.iter_mut().max_by_key(|item| item.minutes)
        && longest.minutes > HEAR
    {
        longest.minutes -= HEAR;
    }
    let mut since_rest = warm;
    for (at, item) in items.into_iter().enumerate() {
        let ahead = item.minutes + if heard == Some(at) { HEAR } else { 0 };
        if rest_after > 0 && since_rest > 0 && since_rest + ahead > rest_after {
            parts.push(SessionPart::Rest(REST));
            since_rest = 0;
        }
        since_rest += ahead;
        if heard == Some(at) {
            parts.push(SessionPart::Hear {
                open: item.open.clone(),
                title: item.title.clone(),
            });
        }
        parts.push(SessionPart::Cell(Box::new(item)));
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::practice::Rung;
    use crate::units::Bpm;

    fn item(open: &str, kind: Why, minutes: u32) -> Item {
        Item {
            open: open.to_owned(),
            task: None,
            title: open.to_uppercase(),
            stage: "half beats".to_owned(),
            stage_number: 1,
            rung: Rung::Tempo(Bpm::whole(60).expect("a tempo")),
            minutes,
            kind,
            why: String::new(),
        }
    }

    fn total(parts: &[SessionPart]) -> u32 {
        parts.iter().map(SessionPart::minutes).sum()
    }

    /// A session that overruns its minutes is not begun a second time.
    #[test]
    fn it_warms_first_and_keeps_to_its_minutes() {
        assert_eq!([5, 8, 15, 20, 60].map(warm_minutes), [0, 2, 3, 4, 5]);
        let items = vec![
            item("a", Why::Cold, 1),
            item("b", Why::Climbing, 8),
            item("c", Why::New, 3),
        ];
        let parts = session(items, 15, 50, |_| true);
        assert_eq!(parts[0], SessionPart::WarmUp(3));
        assert_eq!(total(&parts), 15);
        // what is new is heard just before it is played
        assert!(matches!(&parts[3], SessionPart::Hear { open, .. } if open == "c"));
        assert!(matches!(&parts[4], SessionPart::Cell(item) if item.open == "c"));
    }

    /// Too short a session has no warm-up, and hearing takes its minute from an item that has more.
    #[test]
    fn no_part_is_empty() {
        let parts = session(vec![item("a", Why::New, 1)], 5, 50, |_| true);
        let minutes: Vec<u32> = parts.iter().map(SessionPart::minutes).collect();
        assert_eq!(minutes, [1, 1], "{parts:?}");
        assert!(matches!(parts[0], SessionPart::Hear { .. }));
    }

    /// A stretch may be as long as the care allows and no longer; what is heard is a part of it, and
    /// nobody rests before having played. The warm-up of 20 minutes takes four.
    #[test]
    fn a_rest_comes_where_the_next_part_would_be_too_much() {
        let rests = |items: &[(Why, u32)], minutes: u32, after: u32| -> Vec<usize> {
            let items = items.iter().map(|(kind, long)| item("a", *kind, *long));
            let parts = session(items.collect(), minutes, after, |_| true);
            let rest = |(at, part): (usize, &SessionPart)| {
                matches!(part, SessionPart::Rest(_)).then_some(at)
            };
            parts.iter().enumerate().filter_map(rest).collect()
        };
        // 4 + 6 = 10
        assert_eq!(rests(&[(Why::Climbing, 6)], 20, 10), [0; 0]);
        assert_eq!(rests(&[(Why::Climbing, 7)], 20, 10), [1]);
        // hearing takes its minute from the first: 4 + 4, then 1 + 1 are 10 and 1 + 2 are 11
        assert_eq!(rests(&[(Why::Climbing, 5), (Why::New, 1)], 20, 10), [0; 0]);
        assert_eq!(rests(&[(Why::Climbing, 5), (Why::New, 2)], 20, 10), [2]);
        // longer than the care allows, with nothing before it
        assert_eq!(rests(&[(Why::Climbing, 7)], 7, 5), [0; 0]);
    }

    /// What is known is not heard first, and one new movement a session is enough.
    #[test]
    fn only_one_new_movement_is_heard_first() {
        let hears = |items: Vec<Item>| {
            let parts = session(items, 30, 50, |item| item.open != "scale");
            let heard = parts
                .iter()
                .filter(|part| matches!(part, SessionPart::Hear { .. }));
            heard.count()
        };
        assert_eq!(hears(vec![item("a", Why::Climbing, 8)]), 0);
        assert_eq!(hears(vec![item("scale", Why::New, 8)]), 0);
        assert_eq!(
            hears(vec![item("a", Why::New, 4), item("b", Why::New, 4)]),
            1
        );
    }

    /// Hands that play for an hour on end are what the care is there for.
    #[test]
    fn no_stretch_is_longer_than_the_care_allows() {
        let items: Vec<Item> = (0..20).map(|_| item("a", Why::Again, 6)).collect();
        let parts = session(items, 125, 50, |_| false);
        let stretches: Vec<u32> = parts
            .split(|part| matches!(part, SessionPart::Rest(_)))
            .map(total)
            .collect();
        assert!(stretches.len() >= 3, "{stretches:?}");
        assert!(stretches.iter().all(|minutes| (1..=50).contains(minutes)));
        let never = session(vec![item("a", Why::Again, 8); 20], 165, 0, |_| false);
        assert!(
            never
                .iter()
                .all(|part| !matches!(part, SessionPart::Rest(_)))
        );
    }
}
