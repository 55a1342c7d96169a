//! Chooses the bars of a tune that are hidden while it is learnt by heart: whole phrases, or single
//! bars when the tune is one phrase. Bars that equal a hidden bar are hidden too.
//!
//! Knows written music and its phrases. Knows no screen and no marks.

use super::bar_range::BarRange;
use super::phrases::all_bars;
use super::written::{Bar, Music};
use std::ops::Range;

/// The ranges that are hidden in turn: the phrases, or each bar of music that is a single phrase.
pub fn hidden_in_turn(music: &Music, phrases: Vec<BarRange>) -> Vec<BarRange> {
    if phrases.len() > 1 {
        return phrases;
    }
    let BarRange { first, last } = all_bars(music);
    let bars = (first..=last).map(|bar| BarRange {
        first: bar,
        last: bar,
    });
    bars.collect()
}

/// How much of a tune is hidden.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Hiding {
    /// Nothing is hidden: the music is read.
    #[default]
    Nothing,
    /// One phrase is hidden, or one bar of music that is a single phrase.
    Phrase,
    /// Half of the phrases are hidden; of an odd number the larger half.
    Half,
    /// Everything is hidden: the music is played by heart.
    All,
}

impl Hiding {
    /// The levels that differ for this number of phrases, from nothing to everything.
    fn steps(phrases: usize) -> &'static [Self] {
        match phrases {
            0 | 1 => &[Self::Nothing, Self::All],
            2 => &[Self::Nothing, Self::Phrase, Self::All],
            _ => &[Self::Nothing, Self::Phrase, Self::Half, Self::All],
        }
    }

    /// The next level for this number of phrases; the same when everything is hidden.
    #[must_use]
    pub fn more(self, phrases: usize) -> Self {
        let mut steps = Self::steps(phrases).iter().copied();
        steps.find(|step| *step > self).unwrap_or(Self::All)
    }

    /// The level before for this number of phrases; the same when nothing is hidden.
    #[must_use]
    pub fn less(self, phrases: usize) -> Self {
        let mut steps = Self::steps(phrases).iter().rev().copied();
        steps.find(|step| *step < self).unwrap_or(Self::Nothing)
    }
}

/// The indices of the hidden phrases: from the phrase `from` on, counted from 0, and from the first
/// again after the last.
pub fn hidden_phrases(phrases: usize, hiding: Hiding, from: usize) -> Vec<usize> {
    let count = match hiding {
        Hiding::Nothing => 0,
        Hiding::Phrase => 1.min(phrases),
        Hiding::Half => phrases.div_ceil(2),
        Hiding::All => phrases,
    };
    (from..from + count).map(|at| at % phrases).collect()
}

/// For each written bar, whether it is hidden. A bar with the same notes as a hidden one is hidden
/// too, because the player could read the hidden one there.
pub fn hidden_bars(music: &Music, phrases: &[BarRange], hiding: Hiding, from: usize) -> Vec<bool> {
    let bars = &music.bars;
    if hiding == Hiding::All {
        return vec![true; bars.len()];
    }
    let chosen = hidden_phrases(phrases.len(), hiding, from);
    let of_phrase = phrase_of_bars(music, phrases);
    let hidden: Vec<bool> = of_phrase
        .iter()
        .map(|phrase| phrase.is_some_and(|phrase| chosen.contains(&phrase)))
        .collect();
    let like_a_hidden = |bar: &Bar| {
        let mut pairs = bars.iter().zip(&hidden);
        pairs.any(|(other, hidden)| *hidden && other.notes == bar.notes)
    };
    bars.iter().map(like_a_hidden).collect()
}

/// The index of the phrase that each written bar belongs to. A pickup belongs to the phrase that it
/// leads to.
fn phrase_of_bars(music: &Music, phrases: &[BarRange]) -> Vec<Option<usize>> {
    let numbers = music.bar_numbers();
    let within = |number: u16| {
        let holds = |range: &BarRange| (range.first..=range.last).contains(&number);
        phrases.iter().position(holds)
    };
    let mut of_bars: Vec<Option<usize>> = numbers.iter().map(|number| within(*number)).collect();
    for Range { start, end } in music.parts() {
        if end - start > 1 && !music.pickup_of(&(start..end)).is_zero() {
            of_bars[start] = of_bars[start + 1];
        }
    }
    of_bars
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{parts, read_music};
    use crate::rhythm::Metre;

    fn music(text: &str) -> Music {
        let metre = Metre::TWO_FOUR;
        let (music, problems) = read_music(text, metre, metre.default_unit(), "");
        assert_eq!(problems, [], "{text}");
        music
    }

    fn ranges(texts: &[&str]) -> Vec<BarRange> {
        let read = |text: &&str| BarRange::parse(text).expect("bars");
        texts.iter().map(read).collect()
    }

    fn hidden(music: &Music, phrases: &[&str], hiding: Hiding, from: usize) -> String {
        hidden_bars(music, &ranges(phrases), hiding, from)
            .into_iter()
            .map(|hidden| if hidden { 'x' } else { '.' })
            .collect()
    }

    /// A bar that equals a hidden one is hidden, and a pickup is hidden with its phrase. A bar that
    /// belongs to no phrase stays visible until everything is hidden.
    #[test]
    fn whole_phrases_vanish_with_their_pickups_and_all_bars_like_them() {
        // The bars: pickup, bars 1 to 4 (bar 4 in two halves, its end and the next pickup), bars 5
        // to 7.
        let tune = music("e2|A4 B4|c4 d4|A4 B4|c4 A2||e2|f4 e4|A4 B4|f4 e2|]");
        assert_eq!(parts(&tune), ranges(&["1-4", "5-7"]));
        let phrases = ["1-2", "3-4", "5-6"];
        for (hiding, from, expected) in [
            (Hiding::Nothing, 0, "........."),
            // The pickup of part two equals the first, and the bar `A4 B4` stands three times.
            (Hiding::Phrase, 0, "xxxx.x.x."),
            (Hiding::Phrase, 1, ".x.xx..x."),
            (Hiding::Phrase, 2, "xx.x.xxx."),
            (Hiding::Half, 0, "xxxxxx.x."),
            (Hiding::Half, 2, "xxxx.xxx."),
            (Hiding::All, 1, "xxxxxxxxx"),
        ] {
            assert_eq!(
                hidden(&tune, &phrases, hiding, from),
                expected,
                "{hiding:?} {from}"
            );
        }
    }

    /// A single phrase would be hidden wholly or not at all, so it is hidden bar by bar.
    #[test]
    fn one_phrase_is_hidden_bar_by_bar() {
        let phrase = music("e2|A4 B4|c4 d4|e4 f4|c4 A2|]");
        let bars = hidden_in_turn(&phrase, ranges(&["1-4"]));
        assert_eq!(bars, ranges(&["1", "2", "3", "4"]));
        let shown = |hiding, from| {
            let hidden = hidden_bars(&phrase, &bars, hiding, from).into_iter();
            hidden
                .map(|hidden| if hidden { 'x' } else { '.' })
                .collect::<String>()
        };
        assert_eq!(shown(Hiding::Phrase, 0), "xx...");
        assert_eq!(shown(Hiding::Half, 1), "..xx.");
        let two = ranges(&["1-2", "3-4"]);
        assert_eq!(hidden_in_turn(&phrase, two.clone()), two);
    }

    /// Each level hides more phrases than the one before; otherwise the key would seem to do
    /// nothing.
    #[test]
    fn every_step_hides_more_phrases_than_the_one_before() {
        for phrases in 1..9 {
            let mut hiding = Hiding::Nothing;
            let mut seen = vec![0];
            while hiding != Hiding::All {
                let next = hiding.more(phrases);
                assert_eq!(next.less(phrases), hiding, "{phrases}");
                hiding = next;
                seen.push(hidden_phrases(phrases, hiding, 0).len());
            }
            assert!(seen.is_sorted_by(|one, other| one < other), "{seen:?}");
            assert_eq!(seen.last(), Some(&phrases));
            assert_eq!(Hiding::All.more(phrases), Hiding::All);
        }
        assert_eq!(hidden_phrases(4, Hiding::Half, 3), [3, 0]);
        assert!(hidden_phrases(0, Hiding::Half, 0).is_empty());
    }
}
