//! Bars of a tune that belong together: its parts and phrases, and any bars as music that can be
//! practised by itself.
//!
//! Knows written music and its order of play. Knows no drill file, no tempo and no marks.

use super::value::{Drill, Stage, TuneHead};
use super::written::{Bar, Group, Music, Written};
use crate::rhythm::Metre;
use crate::units::Beats;
use crate::wording;

/// Bars of a tune by their numbers, the first and the last counted in. Written `5-8`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BarRange {
    /// Number of the first bar, from 1; a pickup is not counted.
    pub first: u16,
    /// Number of the last, not below the first.
    pub last: u16,
}

impl BarRange {
    /// What [`Self::parse`] expects.
    pub const EXPECTED: &'static str = "bars such as 5-8, or one bar such as 5";

    /// Reads `5-8` or `5`.
    pub fn parse(text: &str) -> Option<Self> {
        let number = |text: &str| text.trim().parse::<u16>().ok().filter(|bar| *bar > 0);
        let (first, last) = text.split_once(['-', '–']).unwrap_or((text, text));
        let (first, last) = (number(first)?, number(last)?);
        (first <= last).then_some(Self { first, last })
    }

    /// `bars 5 to 8`, `bar 5`.
    pub fn spoken(self) -> String {
        let Self { first, last } = self;
        if first == last {
            format!("bar {first}")
        } else {
            format!("bars {first} to {last}")
        }
    }

    /// That it can stand as a phrase of a tune whose bars are `within`, behind the phrase before it.
    ///
    /// # Errors
    /// It does not; gives what was expected.
    pub fn follows(self, before: Option<Self>, within: Self) -> Result<(), String> {
        let Self { first, last } = within;
        if self.first < first || self.last > last {
            return Err(format!("bars from {first} to {last}"));
        }
        match before {
            Some(before) if self.first <= before.last => Err(format!(
                "bars after {}, where the phrase before ends",
                before.last
            )),
            _ => Ok(()),
        }
    }

    /// From the first bar of this to the last of another.
    pub fn to(self, other: Self) -> Self {
        Self {
            first: self.first,
            last: other.last,
        }
    }
}

impl std::fmt::Display for BarRange {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { first, last } = self;
        if first == last {
            write!(f, "{first}")
        } else {
            write!(f, "{first}-{last}")
        }
    }
}

/// All bars of a tune by their numbers.
pub fn all_bars(music: &Music) -> BarRange {
    let last = music.bar_numbers().into_iter().max().unwrap_or(0);
    BarRange { first: 1, last }
}

/// How a tune divides.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Phrasing {
    /// Its phrases in order; where in doubt, each part as one.
    pub phrases: Vec<BarRange>,
    /// Why they are in doubt, as a clause; nothing where the rules say them, or the drill file does.
    pub doubt: Option<String>,
}

/// The parts of a tune by bar numbers.
pub fn parts(music: &Music) -> Vec<BarRange> {
    let numbers = music.bar_numbers();
    music
        .parts()
        .into_iter()
        .filter_map(|part| {
            let full = part.start + usize::from(!music.pickup_of(&part).is_zero());
            let first = *numbers.get(full)?;
            let last = *numbers.get(part.end - 1)?;
            Some(BarRange {
                first: first.max(1),
                last: last.max(first.max(1)),
            })
        })
        .collect()
}

impl Drill {
    /// The phrases of a tune that stands in a stage of it: as its file has them, else by the usual
    /// rule.
    pub fn phrasing(&self, stage: &Stage) -> Phrasing {
        if self.phrases.is_empty() {
            phrases(&stage.music, &self.head)
        } else {
            Phrasing {
                phrases: self.phrases.clone(),
                doubt: None,
            }
        }
    }
}

/// The phrases of a tune by the usual rule: parts of eight bars are 4 + 4, parts of four bars 2 + 2
/// (common practice, no source). Everything else is in doubt, and so is a piece whose phrases are
/// not counted in fours, such as the ground of a pibroch.
pub(super) fn phrases(music: &Music, head: &TuneHead) -> Phrasing {
    let parts = parts(music);
    let kind = wording::without_accents(&head.kind.as_deref().unwrap_or_default().to_lowercase());
    let uncounted = ["pibroch", "piobaireachd", "ceol mor", "ground", "urlar"];
    if uncounted.iter().any(|word| kind.contains(word)) {
        let doubt = "a pibroch divides by its written lines and not by a count of bars".to_owned();
        return Phrasing {
            phrases: parts,
            doubt: Some(doubt),
        };
    }
    let mut found = Vec::new();
    let mut odd = None;
    for part in parts {
        let bars = numbers_played(music, part);
        let each = match bars.len() {
            8 => 4,
            4 => 2,
            other => {
                odd = odd.or(Some(other));
                other.max(1)
            }
        };
        let pieces = bars.chunks(each).filter_map(|piece| {
            let (first, last) = (*piece.first()?, *piece.last()?);
            Some(BarRange { first, last })
        });
        found.extend(pieces);
    }
    let slow = (kind.split_whitespace().any(|word| word == "air"))
        .then_some("the phrases of an air end on its long notes and not always after four bars");
    let doubt = odd.map(|bars| {
        format!(
            "a part has {}, and the rule is known for 4 and 8 only",
            wording::count(bars, "bar", "bars")
        )
    });
    Phrasing {
        phrases: found,
        doubt: doubt.or_else(|| slow.map(str::to_owned)),
    }
}

/// The numbers of the bars that are played from the first to the last of a range.
fn numbers_played(music: &Music, range: BarRange) -> Vec<u16> {
    let numbers = music.bar_numbers();
    let Some((order, window)) = window(music, range) else {
        return Vec::new();
    };
    let mut played: Vec<u16> = window.map(|at| numbers[order[at]]).collect();
    played.dedup();
    played
}

/// The order of play without repeats: of endings the last.
fn straight(music: &Music) -> Vec<usize> {
    let mut order = Vec::with_capacity(music.bars.len());
    let mut first_ending = false;
    for (written, bar) in music.bars.iter().enumerate() {
        first_ending = match bar.ending {
            Some(ending) => ending == 1,
            None => first_ending,
        };
        if !first_ending {
            order.push(written);
        }
        first_ending &= !bar.repeat_ends;
    }
    order
}

/// Where the bars of a range follow each other: an order of bars, and indices into it. That is the
/// order of play; where the range goes on past a repeat whose endings differ, that without repeats. A
/// first ending is left out where the range ends in the second.
fn window(music: &Music, range: BarRange) -> Option<(Vec<usize>, std::ops::Range<usize>)> {
    [music.order.clone(), straight(music)]
        .into_iter()
        .find_map(|order| {
            let found = window_in(music, &order, range)?;
            Some((order, found))
        })
}

fn window_in(music: &Music, order: &[usize], range: BarRange) -> Option<std::ops::Range<usize>> {
    let numbers = music.bar_numbers();
    let number = |at: usize| order.get(at).map(|written| numbers[*written]);
    let begins = |at: &usize| {
        number(*at) == Some(range.first) && at.checked_sub(1).and_then(number) != Some(range.first)
    };
    (0..order.len()).filter(begins).find_map(|first| {
        let mut at = first;
        while number(at)? != range.last {
            let rises = number(at)? <= number(at + 1)? && number(at + 1)? <= range.last;
            if !rises {
                return None;
            }
            at += 1;
        }
        Some(first..at + 1)
    })
}

/// What comes before some bars and after them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Around {
    /// With the run-in: the pickup.
    pub(super) run_in: bool,
    /// With the landing: the next note, and the movement that leads to it.
    pub(super) landing: bool,
}

/// Bars of a tune as music that stands by itself: the pickup before them, as long as that of the
/// part, and the next note with its movement after them, which fills the bar. Every bar adds up;
/// without a metre each is as it stands, and the next note as long as it is.
///
/// # Errors
/// Bars that the tune does not have, or that never follow each other, as a sentence.
pub(super) fn excerpt(music: &Music, range: BarRange, around: Around) -> Result<Vec<Bar>, String> {
    check(music, range)?;
    let (order, window) = window(music, range).ok_or_else(|| {
        format!(
            "bars {} and {} are never played one after the other: one of them is a first ending",
            range.first, range.last
        )
    })?;
    let metres = music.metres();
    let written = |place: usize| order.get(place).copied();
    let at = |place: usize| written(place).map(|written| &music.bars[written]);
    let metre = |place: usize| written(place).map_or(music.metre, |written| metres[written]);
    let run_in = if around.run_in {
        run_in(music, &order, window.start)
    } else {
        Vec::new()
    };
    let ahead: Beats = run_in.iter().map(|written| written.length).sum();
    let mut bars: Vec<Bar> = Vec::new();
    let mut counted = music.metre;
    let mut put = |notes: Vec<Written>, metre: Metre| {
        let changed = (std::mem::replace(&mut counted, metre) != metre).then_some(metre);
        bars.push(Bar {
            notes,
            metre: changed,
            ..Bar::default()
        });
    };
    if !run_in.is_empty() {
        put(run_in, metre(window.start));
    }
    let mut place = window.start;
    while place < window.end {
        let (counted, full) = (metre(place), metre(place).bar());
        let mut notes = at(place).map_or_else(Vec::new, |bar| bar.notes.clone());
        let lasts: Beats = notes.iter().map(|written| written.length).sum();
        // the end of a part and the pickup of what follows are one bar
        if let Some(next) =
            at(place + 1).filter(|next| lasts < full && lasts + next.length() == full)
            && !counted.is_free()
            && (around.landing || place + 1 < window.end)
        {
            notes.extend(next.notes.iter().cloned());
            place += 1;
        }
        put(notes, counted);
        place += 1;
    }
    let last = metre(place.min(order.len() - 1));
    let lasts = (!last.is_free()).then(|| last.bar() - ahead);
    match at(place).and_then(|bar| bar.notes.first()) {
        Some(next) if around.landing => {
            let landing = Written {
                length: lasts.unwrap_or(next.length),
                tied: false,
                ..next.clone()
            };
            put(vec![landing], last);
        }
        _ => end(&mut bars, lasts),
    }
    Ok(bars)
}

/// Nothing sounds on behind the closing note. It fills its bar up to where the next repetition's
/// pickup begins, where the bar has a length to fill.
fn end(bars: &mut [Bar], lasts: Option<Beats>) {
    let several = bars.len() > 1;
    if let Some(last) = bars.last_mut() {
        let length = last.length();
        if let Some(closing) = last.notes.last_mut() {
            closing.tied = false;
            let wanted = lasts.map(|lasts| closing.length + lasts - length);
            if let Some(wanted) = wanted.filter(|wanted| several && *wanted > Beats::ZERO) {
                closing.length = wanted;
            }
        }
    }
}

/// That the tune has these bars.
///
/// # Errors
/// It ends before the range does; a sentence says so.
pub(super) fn check(music: &Music, range: BarRange) -> Result<(), String> {
    let there = all_bars(music);
    let last = there.last;
    if range.last > last {
        return Err(format!(
            "there is no bar {}: the tune has {}",
            range.last,
            there.spoken()
        ));
    }
    Ok(())
}

/// The notes before a place in the order of play with which it is begun: as much as the pickup of
/// its part lasts, where a note begins there. Where there is none and the first note has a movement,
/// which may take its time from the note before, that note, a beat of it at most.
fn run_in(music: &Music, order: &[usize], place: usize) -> Vec<Written> {
    let bar = |place: usize| order.get(place).map(|written| &music.bars[*written]);
    let Some(before) = place.checked_sub(1).and_then(bar) else {
        return Vec::new();
    };
    let written = order[place];
    let pickup = music
        .parts()
        .iter()
        .find(|part| part.contains(&written))
        .map_or(Beats::ZERO, |part| music.pickup_of(part));
    let mut taken = Beats::ZERO;
    let mut from = before.notes.len();
    while from > 0 && taken < pickup {
        from -= 1;
        taken = taken + before.notes[from].length;
    }
    let begun = from
        .checked_sub(1)
        .is_none_or(|held| !before.notes[held].tied);
    if taken == pickup && begun {
        let notes = before.notes[from..].to_vec();
        if !notes.is_empty() {
            return notes;
        }
    }
    let leads = |written: &Written| match &written.group {
        Group::Spelled(gracenotes) => gracenotes.len() > 1,
        Group::Movement(_) => true,
        Group::None | Group::Opening => false,
    };
    let first = bar(place).and_then(|bar| bar.notes.first());
    match before.notes.last().filter(|_| first.is_some_and(leads)) {
        Some(last) => vec![Written {
            length: last.length.min(Beats::ONE),
            group: if leads(last) {
                Group::None
            } else {
                last.group.clone()
            },
            ..last.clone()
        }],
        None => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::read_music;

    fn music(text: &str, metre: Metre) -> Music {
        let (music, problems) = read_music(text, metre, metre.default_unit(), "");
        assert_eq!(problems, [], "{text}");
        music
    }

    /// A part of our own with a pickup of a beat, eight bars with endings.
    const ENDINGS: &str = "|:e2|A2 B2 c2 d2|e2 d2 c2 e2|A2 B2 c2 d2|e2 d2 c2 B2|\
        A2 B2 c2 d2|e2 d2 c2 e2|A2 B2 c2 d2|1e2 d2 c2:|2e2 d2 A2||";

    fn bars(texts: &[&str]) -> Vec<BarRange> {
        texts
            .iter()
            .map(|text| BarRange::parse(text).expect("bars"))
            .collect()
    }

    #[test]
    fn bars_are_read_as_they_are_written() {
        for text in ["5-8", "5", "12-13"] {
            let range = BarRange::parse(text).expect("bars");
            assert_eq!(range.to_string(), text);
        }
        for slip in ["", "8-5", "0-4", "a-b", "5-", "5-8-9", "70000"] {
            assert_eq!(BarRange::parse(slip), None, "{slip}");
        }
    }

    /// Parts of eight bars are 4 + 4, of four bars 2 + 2; in doubt nothing is decided [P]. The check
    /// values are those of common practice, no source.
    #[test]
    fn a_part_divides_as_it_is_usual_and_in_doubt_not_at_all() {
        let plain = TuneHead::default();
        let eight = music(ENDINGS, Metre::FOUR_FOUR);
        assert_eq!(parts(&eight), bars(&["1-9"]));
        let found = phrases(&eight, &plain);
        assert_eq!((found.phrases, found.doubt), (bars(&["1-4", "5-9"]), None));
        let four = music(
            "|:A4 B4|c4 d4|e4 d4|c4 B4:|:A4 c4|d4 e4|d4 c4|B4 c4:|",
            Metre::TWO_FOUR,
        );
        assert_eq!(parts(&four), bars(&["1-4", "5-8"]));
        assert_eq!(
            phrases(&four, &plain).phrases,
            bars(&["1-2", "3-4", "5-6", "7-8"])
        );
        let six = music("A4 B4|c4 d4|e4 d4|c4 d4|e4 d4|c4 A4||", Metre::TWO_FOUR);
        let found = phrases(&six, &plain);
        assert_eq!(found.phrases, bars(&["1-6"]));
        assert!(found.doubt.is_some_and(|doubt| doubt.contains("6 bars")));
        // Gaelic names of pibroch and of its ground, with the accents of their spelling and without
        for kind in [
            "pibroch ground",
            "slow air",
            "Ceòl Mòr",
            "ùrlar",
            "Pìobaireachd",
            "piobaireachd",
            "u\u{300}rlar",
        ] {
            let head = TuneHead {
                kind: Some(kind.to_owned()),
                ..TuneHead::default()
            };
            assert!(phrases(&eight, &head).doubt.is_some(), "{kind}");
        }
    }

    fn text(bars: &[Bar]) -> Vec<String> {
        bars.iter()
            .map(|bar| {
                bar.notes
                    .iter()
                    .map(|note| format!("{}{} ", note.note.abc_letter(), note.length))
                    .collect()
            })
            .collect()
    }

    const WHOLE: Around = Around {
        run_in: true,
        landing: true,
    };

    /// A phrase begins with its pickup, and its landing includes the next note's movement [P].
    #[test]
    fn a_phrase_begins_with_its_pickup_and_lands_on_the_next_note() {
        let tune = music(ENDINGS, Metre::FOUR_FOUR);
        let taken = |text: &str| {
            let range = BarRange::parse(text).expect("bars");
            excerpt(&tune, range, WHOLE).expect("they are there")
        };
        assert_eq!(
            text(&taken("3-4")),
            ["e1 ", "A1 B1 c1 d1 ", "e1 d1 c1 B1 ", "A3 "]
        );
        // the pickup of the repeat completes the short last bar, then its first note is landed on
        assert_eq!(text(&taken("8")), ["d1 ", "e1 d1 c1 e1 ", "A3 "]);
        // the second ending follows bar 7 the second time; nothing follows it
        assert_eq!(text(&taken("7-9")), ["e1 ", "A1 B1 c1 d1 ", "e1 d1 A1 "]);
        for bars in ["1-2", "1-4", "5-9", "2-7", "1-9"] {
            let bars = taken(bars);
            let full = Metre::FOUR_FOUR.bar();
            let (first, last) = (bars[0].length(), bars[bars.len() - 1].length());
            assert_eq!(first + last, full);
            assert!(
                bars[1..bars.len() - 1]
                    .iter()
                    .all(|bar| bar.length() == full)
            );
        }
    }

    /// Two short bars are no bar in two halves where nothing says how long a bar is.
    #[test]
    fn bars_without_a_metre_stay_as_they_stand() {
        let tune = music("A2 B2|c4|d2 e4 f2|e8||", Metre::FREE);
        assert_eq!(parts(&tune), bars(&["1-4"]));
        let taken = |text: &str| {
            let range = BarRange::parse(text).expect("bars");
            excerpt(&tune, range, WHOLE).expect("they are there")
        };
        assert_eq!(text(&taken("1-2")), ["A1 B1 ", "c2 ", "d1 "]);
        assert_eq!(text(&taken("2-3")), ["c2 ", "d1 e2 f1 ", "e4 "]);
        assert_eq!(text(&taken("4")), ["e4 "]);
    }

    /// From one part into the next, past a repeat whose endings differ: no pass plays that in a row.
    #[test]
    fn bars_go_on_past_a_repeat_with_endings() {
        let tune = music("|:A4 B4|c4 d4:|:e4 d4|1c4 B4:|2c4 A4||", Metre::TWO_FOUR);
        let range = BarRange { first: 2, last: 5 };
        let bars = excerpt(&tune, range, WHOLE).expect("they follow each other");
        assert_eq!(
            text(&bars),
            ["c1 d1 ", "e1 d1 ", "c1 A1 "],
            "bar 4 is the first ending"
        );
    }

    /// The movement that a phrase lands on belongs to it; one that it begins with takes its time
    /// from the note before.
    #[test]
    fn movements_at_both_ends_keep_the_note_they_need() {
        let tune = music(
            "{g}A4 {g}d4|{GBG}A4 B4|{GdG}c4 d4|{g}e8||",
            Metre::FOUR_FOUR,
        );
        let range = BarRange { first: 2, last: 2 };
        let bars = excerpt(&tune, range, WHOLE).expect("they are there");
        assert_eq!(text(&bars), ["d1 ", "A2 B2 ", "c3 "]);
        assert_eq!(bars[1].notes[0].group.len(), 3);
        assert_eq!(bars[2].notes[0].group.len(), 3);
    }

    /// Each bar is counted by its own metre.
    #[test]
    fn a_change_of_metre_is_taken_along() {
        let tune = music("A4 B4|c4 d4|[M:6/8] e6 d6|c6 e6|A6 B6||", Metre::TWO_FOUR);
        let range = BarRange { first: 2, last: 4 };
        let bars = excerpt(&tune, range, WHOLE).expect("they are there");
        let metres: Vec<Option<Metre>> = bars.iter().map(|bar| bar.metre).collect();
        assert_eq!(metres, [None, Some(Metre::SIX_EIGHT), None, None]);
        let range = BarRange { first: 4, last: 4 };
        let bars = excerpt(&tune, range, WHOLE).expect("they are there");
        assert_eq!(bars[0].metre, Some(Metre::SIX_EIGHT));
    }

    #[test]
    fn bars_that_are_not_there_are_told() {
        let tune = music(ENDINGS, Metre::FOUR_FOUR);
        let told = |text: &str| {
            let range = BarRange::parse(text).expect("bars");
            excerpt(&tune, range, WHOLE).expect_err("not there")
        };
        assert_eq!(told("8-12"), "there is no bar 12: the tune has bars 1 to 9");
        assert_eq!(
            told("20-22"),
            "there is no bar 22: the tune has bars 1 to 9"
        );
        assert!(told("8-9").contains("first ending"));
    }
}
