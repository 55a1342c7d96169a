//! Bars of a tune that belong together (its parts and phrases), and any bars as music that can be
//! practised alone.
//!
//! Knows written music and its order of play. Knows no drill file, no tempo and no marks.

use super::bar_range::BarRange;
use super::value::{Drill, Stage, TuneHead};
use super::written::{Bar, Group, Music, Written};
use crate::rhythm::{Metre, names_air, names_pibroch};
use crate::units::Beats;
use crate::wording;

/// All bars of a tune by their numbers.
pub fn all_bars(music: &Music) -> BarRange {
    let last = music.bar_numbers().into_iter().max().unwrap_or(0);
    BarRange {
        first: music.first_bar,
        last,
    }
}

/// How a tune divides into phrases.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Phrasing {
    /// Its phrases in order; when in doubt, each part is one phrase.
    pub phrases: Vec<BarRange>,
    /// Why the phrases are in doubt, as a clause; none when a rule or the drill file gives them.
    pub doubt: Option<String>,
}

/// The parts of a tune as ranges of bar numbers.
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
    /// The phrases of the tune in a stage: those in its file, or otherwise those of the usual rule.
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

/// The phrases of music that begins without a metre, which are its written lines. None when it has
/// only one line.
fn lines(music: &Music) -> Option<Vec<BarRange>> {
    if !music.metre.is_free() {
        return None;
    }
    let numbers = music.bar_numbers();
    let mut first = None;
    let mut lines = Vec::new();
    for ((bar, number), place) in music.bars.iter().zip(&numbers).zip(1..) {
        let begun: u16 = *first.get_or_insert(*number);
        if bar.line_ends || place == numbers.len() {
            lines.push(BarRange {
                first: begun.max(1),
                last: *number,
            });
            first = None;
        }
    }
    (lines.len() > 1).then_some(lines)
}

/// The phrases of a tune by the usual rule. Parts of eight bars are 4 and 4, parts of four bars are
/// 2 and 2, and music without a metre has its written lines (common practice, no source). Everything
/// else is in doubt. So is a piece whose phrases are not counted in fours, such as the ground of a
/// pibroch.
pub(super) fn phrases(music: &Music, head: &TuneHead) -> Phrasing {
    if let Some(phrases) = lines(music) {
        return Phrasing {
            phrases,
            doubt: None,
        };
    }
    let parts = parts(music);
    let kind = head.kind.as_deref().unwrap_or_default();
    if names_pibroch(kind) {
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
    let slow = names_air(kind)
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

/// The numbers of the bars that are played from the first to the last bar of a range.
pub(super) fn numbers_played(music: &Music, range: BarRange) -> Vec<u16> {
    let numbers = music.bar_numbers();
    let Some((order, window)) = window(music, range) else {
        return Vec::new();
    };
    let mut played: Vec<u16> = window.map(|at| numbers[order[at]]).collect();
    played.dedup();
    played
}

/// The number that the first full bar of these bars has in the tune, when they follow each other
/// there and the number is above 1. None otherwise; the bars are then numbered from 1.
pub(super) fn first_number(music: &Music, range: BarRange) -> Option<u16> {
    let played = numbers_played(music, range);
    let follow = played.windows(2).all(|two| two[0] + 1 == two[1]);
    played.first().copied().filter(|first| follow && *first > 1)
}

/// The order of play without repeats; of several endings only the last is played.
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

/// Where the bars of a range follow each other: an order of bars, and a range of indices into it.
/// It is the order of play, or the order without repeats when the range continues past a repeat
/// with different endings. A first ending is left out when the range ends in the second.
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

/// What is added before and after some bars.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Around {
    /// True to add the run-in, which is the pickup.
    pub(super) run_in: bool,
    /// True to add the landing: the next note and the movement that leads to it.
    pub(super) landing: bool,
}

/// Bars of a tune as music that stands alone. Before them stands a pickup as long as that of their
/// part. After them stands the next note with its movement, and this note fills its bar. Every bar
/// adds up. Without a metre each bar and the next note keep their written lengths.
///
/// # Errors
/// The bars are not in the tune or never follow each other; the error is a sentence.
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
        // The short last bar of a part and the pickup after it form one bar.
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
    // A line without a metre lands without a metre, even before a variation that has one.
    let before = metre(place - 1);
    let last = if before.is_free() {
        before
    } else {
        metre(place.min(order.len() - 1))
    };
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

/// Ends the bars: the closing note is not tied to anything. It fills its bar up to the next
/// repetition's pickup, when the bar has a length to fill.
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

/// Checks that the tune has these bars.
///
/// # Errors
/// The tune ends before the range does; the error is a sentence.
pub(super) fn check(music: &Music, range: BarRange) -> Result<(), String> {
    let there = all_bars(music);
    let missing = [range.last, range.first];
    let outside = |bar: &u16| !(there.first..=there.last).contains(bar);
    if let Some(bar) = missing.into_iter().find(outside) {
        return Err(format!(
            "there is no bar {bar}: the tune has {}",
            there.spoken()
        ));
    }
    Ok(())
}

/// The notes that lead into a place in the order of play. They last as long as the pickup of its
/// part, when a note begins there. When the part has no pickup and the first note has a movement,
/// the note before is used, at most one beat of it, because the movement may take its time from
/// that note.
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
mod tests;
