//! Reads which bars of a tune are its phrases.

use super::Reader;
use super::fields::Fields;
use crate::drill::bar_range::BarRange;
use crate::drill::phrases::all_bars;
use crate::drill::problem::ProblemKind;
use crate::drill::value::{Stage, StageKind};
use crate::drill::yaml::shortened;

/// The most phrases of a tune: as many as it may have bars.
const MOST_PHRASES: usize = super::MOST_BARS;

/// The largest bar number that is accepted.
const MOST_COUNTED: u32 = 9999;

impl Reader {
    /// The number of the first full bar of written-out music.
    pub(super) fn first_bar(&mut self, fields: &Fields) -> u16 {
        let words = "a whole number from 1 to 9999";
        let number = self.whole(fields, "first_bar", 1..=MOST_COUNTED, words, 1);
        u16::try_from(number).unwrap_or(1)
    }

    /// Reports a bar number in a drill or stage without written-out music.
    pub(super) fn no_first_bar(&mut self, fields: &Fields) {
        if let Some(tree) = fields.get("first_bar") {
            let kind = ProblemKind::Missing {
                field: "music",
                of: "what has a `first_bar`".to_owned(),
                mend: "write the music out beside it, or take `first_bar` away",
            };
            self.tell(tree.place, kind);
        }
    }

    /// Reads the phrases of a tune: ranges of its bars in ascending order.
    pub(super) fn phrases(&mut self, fields: &Fields, stages: &[Stage]) -> Vec<BarRange> {
        let Some(tree) = fields.get("phrases") else {
            return Vec::new();
        };
        let tune = match stages {
            [only] if only.kind == StageKind::Written => only,
            // Music that could not be read was reported already, and its bars are unknown.
            [] => return Vec::new(),
            _ => {
                let found = tree.described();
                let expected = "a tune: music written out, in one stage".to_owned();
                self.tell(tree.place, ProblemKind::BadPhrases { found, expected });
                return Vec::new();
            }
        };
        let there = all_bars(&tune.music);
        let mut phrases: Vec<BarRange> = Vec::new();
        for (item, text) in self.names(tree, "phrases").into_iter().take(MOST_PHRASES) {
            let before = phrases.last().copied();
            let read = BarRange::parse(&text).ok_or_else(|| BarRange::EXPECTED.to_owned());
            let fits = read.and_then(|range| range.follows(before, there).map(|()| range));
            let expected = match fits {
                Ok(range) => {
                    phrases.push(range);
                    continue;
                }
                Err(expected) => expected,
            };
            let found = format!("`{}`", shortened(&text));
            self.tell(item.place, ProblemKind::BadPhrases { found, expected });
        }
        phrases
    }
}
