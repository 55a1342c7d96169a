//! What in a journal cannot be, and what a journal would say without it: numbers that nothing counts
//! up to, sessions of a clock that was wrong.
//!
//! Entries in, entries out; nothing is written here.

use crate::practice::Entry;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Microseconds of a day. So much may a session begin before the one that was stored before it, or
/// after now, without its clock being called wrong: no clock that is right is corrected by as much.
const DAY: i64 = 86_400_000_000;
/// Between a session that is dated anew and the one before, microseconds. Chosen.
const APART: i64 = 60_000_000;
/// The first and the last year of an entry's time, microseconds since 1970: 1990 and 2200.
const YEARS: std::ops::RangeInclusive<i64> = 631_152_000_000_000..=7_258_118_400_000_000;
/// The farthest that a place's time lies from universal time, seconds: 14 h in use, 18 in zoneinfo.
const FARTHEST: i32 = 18 * 3600;
/// No one counts further: a mark a second is thirty million a year.
const MOST_COUNTED: u64 = 1 << 40;
/// The longest text of an entry, bytes; measures of a long repetition take ten thousand.
const LONGEST_TEXT: usize = 256 * 1024;

/// Why an entry cannot be, in words that follow `its`; nothing for one that can.
pub fn absurd(entry: &Entry) -> Option<String> {
    use crate::practice::Kind;
    let record = &entry.record;
    if !YEARS.contains(&record.utc_us) {
        return Some("time is not one of the years 1990 to 2199".to_owned());
    }
    if !(-FARTHEST..=FARTHEST).contains(&record.offset_s) {
        return Some(format!(
            "place is {} hours from universal time",
            record.offset_s / 3600
        ));
    }
    let (repetition, needed) = match &record.kind {
        Kind::Mark {
            repetition, needed, ..
        } => (*repetition, *needed),
        Kind::Tried { repetition, .. } | Kind::Measured { repetition } => (*repetition, 1),
        _ => (0, 1),
    };
    let counted = [entry.seq, record.id.number, repetition];
    if let Some(number) = counted.iter().find(|number| **number > MOST_COUNTED) {
        return Some(format!("number is {number}"));
    }
    if entry.seq == 0 {
        return Some("number is 0".to_owned());
    }
    if !(1..=1000).contains(&needed) {
        return Some(format!("number of clean ones in a row is {needed}"));
    }
    let words = match &record.kind {
        Kind::Word { text, .. } => text.len(),
        _ => 0,
    };
    let texts =
        [&record.thresholds, &record.measures].map(|text| text.as_ref().map_or(0, String::len));
    let longest = texts
        .into_iter()
        .chain([words, record.drill.len(), record.version.len()])
        .max();
    longest
        .filter(|longest| *longest > LONGEST_TEXT)
        .map(|longest| format!("text has {longest} bytes"))
}

/// A session whose clock was wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WrongClock {
    /// The session.
    pub session: Uuid,
    /// How many entries it has.
    pub entries: usize,
    /// When it says that it began, microseconds since 1970.
    pub says: i64,
    /// When it began at the earliest, by the sessions stored around it.
    pub instead: i64,
}

/// A journal without what cannot be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mended {
    /// The entries, in fold order.
    pub entries: Vec<Entry>,
    /// Sessions that are dated anew, in the order in which they were stored.
    pub clocks: Vec<WrongClock>,
    /// Entries that are left out, and why: words that follow `its`.
    pub absurd: Vec<(Entry, String)>,
}

/// A session as its journal stored it.
struct Session {
    id: Uuid,
    entries: usize,
    begin: i64,
    end: i64,
}

/// What a journal's entries come to without what cannot be, at a moment in microseconds.
pub fn mended(entries: Vec<Entry>, now: i64) -> Mended {
    let mut absurd_ones = Vec::new();
    let mut kept = Vec::with_capacity(entries.len());
    for entry in entries {
        match absurd(&entry) {
            Some(why) => absurd_ones.push((entry, why)),
            None => kept.push(entry),
        }
    }
    let mut journals: BTreeMap<Uuid, Vec<(u64, usize)>> = BTreeMap::new();
    for (place, entry) in kept.iter().enumerate() {
        journals
            .entry(entry.journal)
            .or_default()
            .push((entry.seq, place));
    }
    let mut clocks = Vec::new();
    let mut by: BTreeMap<Uuid, i64> = BTreeMap::new();
    for places in journals.values_mut() {
        places.sort_unstable();
        let stored = sessions(places.iter().map(|(_, place)| &kept[*place]));
        for wrong in wrong_clocks(&stored, now) {
            by.insert(wrong.session, wrong.instead - wrong.says);
            clocks.push(wrong);
        }
    }
    for entry in &mut kept {
        if let Some(by) = by.get(&entry.record.id.session) {
            entry.record.utc_us += by;
        }
    }
    kept.sort_by_key(Entry::order);
    Mended {
        entries: kept,
        clocks,
        absurd: absurd_ones,
    }
}

fn sessions<'a>(entries: impl Iterator<Item = &'a Entry>) -> Vec<Session> {
    let mut found: Vec<Session> = Vec::new();
    let mut places: BTreeMap<Uuid, usize> = BTreeMap::new();
    for entry in entries {
        let (id, time) = (entry.record.id.session, entry.record.utc_us);
        let place = *places.entry(id).or_insert_with(|| {
            found.push(Session {
                id,
                entries: 0,
                begin: time,
                end: time,
            });
            found.len() - 1
        });
        let session = &mut found[place];
        session.entries += 1;
        session.begin = session.begin.min(time);
        session.end = session.end.max(time);
    }
    found
}

/// Sessions that stand in the future, and of sessions that were stored one after the other and say
/// the reverse the fewer: one clock was wrong sooner than many.
fn wrong_clocks(stored: &[Session], now: i64) -> Vec<WrongClock> {
    let future = |session: &Session| session.begin > now + DAY;
    let mut ahead: Vec<bool> = stored.iter().map(future).collect();
    let mut least = i64::MAX;
    for (place, session) in stored.iter().enumerate().rev() {
        if future(session) {
            continue;
        }
        ahead[place] |= session.begin.saturating_sub(DAY) > least;
        least = least.min(session.begin);
    }
    let mut behind: Vec<bool> = stored.iter().map(future).collect();
    let mut most = i64::MIN;
    for (place, session) in stored.iter().enumerate() {
        if future(session) {
            continue;
        }
        behind[place] |= session.begin.saturating_add(DAY) < most;
        most = most.max(session.begin);
    }
    // the fewer, and of as many those without whom the rest lies closer together
    let cost = |wrong: &[bool]| {
        let count = wrong.iter().filter(|wrong| **wrong).count();
        let rest = stored.iter().zip(wrong).filter(|(_, wrong)| !**wrong);
        let begins: Vec<i64> = rest.map(|(session, _)| session.begin).collect();
        let ends = begins.iter().max().zip(begins.iter().min());
        (count, ends.map_or(0, |(most, least)| most - least))
    };
    let wrong = if cost(&behind) < cost(&ahead) {
        behind
    } else {
        ahead
    };
    let mut told = Vec::new();
    let mut before: Option<i64> = None;
    for (place, session) in stored.iter().enumerate() {
        let lasts = session.end - session.begin;
        if wrong[place] {
            let next = (place + 1..stored.len())
                .find(|next| !wrong[*next])
                .map(|next| stored[next].begin);
            let instead = match (before, next) {
                (Some(end), _) => end + APART,
                (None, Some(begin)) => begin - APART - lasts,
                (None, None) => now - APART - lasts,
            };
            told.push(WrongClock {
                session: session.id,
                entries: session.entries,
                says: session.begin,
                instead,
            });
            before = Some(instead + lasts);
        } else {
            before = Some(session.end);
        }
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::journal_laws::record;
    use crate::practice::{Kind, Mark, Record};

    const NOW: i64 = 20_000 * DAY;

    fn entry(journal: u128, seq: u64, session: u128, day: i64, minute: i64) -> Entry {
        let kind = Kind::Mark {
            repetition: seq,
            mark: Mark::Clean,
            needed: 5,
            free: false,
        };
        Entry {
            journal: Uuid::from_u128(journal),
            seq,
            record: record(session, seq, day * DAY + minute * 60_000_000, kind),
        }
    }

    fn begins(mended: &Mended) -> Vec<(u128, i64)> {
        let mut found: Vec<(u128, i64)> = Vec::new();
        for entry in &mended.entries {
            let session = entry.record.id.session.as_u128();
            if found.iter().all(|(known, _)| *known != session) {
                found.push((session, entry.record.utc_us / DAY));
            }
        }
        found
    }

    /// One evening with a clock years ahead, or one with a clock that had lost the date: it is dated
    /// after the evening that was stored before it, its minutes as they were, and no other changes.
    #[test]
    fn a_session_of_a_wrong_clock_is_dated_by_its_neighbours() {
        for wrong in [19_990 + 3650, 8000, 30_000] {
            let entries = vec![
                entry(1, 1, 1, 19_990, 0),
                entry(1, 2, 2, wrong, 0),
                entry(1, 3, 2, wrong, 7),
                entry(1, 4, 3, 19_992, 0),
                entry(1, 5, 4, 19_993, 0),
                // another journal's entries have an order of their own
                entry(2, 1, 5, 19_000, 0),
            ];
            let mended = mended(entries, NOW);
            assert_eq!(mended.clocks.len(), 1, "{:?}", mended.clocks);
            assert_eq!(mended.clocks[0].session.as_u128(), 2);
            assert_eq!(
                begins(&mended),
                [
                    (5, 19_000),
                    (1, 19_990),
                    (2, 19_990),
                    (3, 19_992),
                    (4, 19_993)
                ]
            );
            let times: Vec<i64> = mended.entries.iter().map(|own| own.record.utc_us).collect();
            assert_eq!(times[3] - times[2], 7 * 60_000_000);
            assert_eq!(times[2] - times[1], APART);
        }
    }

    #[test]
    fn clocks_that_are_right_are_left_alone() {
        let entries: Vec<Entry> = (0..50)
            .map(|day| {
                let back = if day % 7 == 3 { -30 } else { 0 };
                entry(1, day + 1, u128::from(day) + 1, 19_000 + day as i64, back)
            })
            .collect();
        let mut sorted = entries.clone();
        sorted.sort_by_key(Entry::order);
        let mended = mended(entries, NOW);
        assert_eq!((mended.clocks.len(), mended.absurd.len()), (0, 0));
        assert_eq!(mended.entries, sorted);
        assert_eq!(super::mended(Vec::new(), NOW).entries, []);
    }

    #[test]
    fn what_nobody_counts_up_to_is_absurd() {
        let plain = entry(1, 1, 1, 19_000, 0);
        assert_eq!(absurd(&plain), None);
        let with = |change: &dyn Fn(&mut Record)| {
            let mut other = plain.clone();
            change(&mut other.record);
            absurd(&other).unwrap_or_else(|| panic!("{other:?}"))
        };
        for time in [i64::MIN, -1, 0, i64::MAX, 8_000_000_000_000_000] {
            assert!(with(&|record| record.utc_us = time).contains("years"));
        }
        assert!(with(&|record| record.offset_s = i32::MIN).contains("hours"));
        assert!(with(&|record| record.id.number = u64::MAX).contains("number"));
        assert!(with(&|record| record.drill = "x".repeat(1 << 20)).contains("bytes"));
        for (repetition, needed) in [(u64::MAX, 5), (0, 0), (0, u32::MAX)] {
            let kind = Kind::Mark {
                repetition,
                mark: Mark::Clean,
                needed,
                free: false,
            };
            assert!(with(&|record| record.kind = kind.clone()).contains("number"));
        }
        let zero = Entry { seq: 0, ..plain };
        assert!(absurd(&zero).is_some());
        assert_eq!(mended(vec![zero], NOW).absurd.len(), 1);
    }
}
