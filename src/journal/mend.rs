//! Finds impossible entries in a journal, and returns its entries without them: numbers that nobody
//! counts to, and sessions dated by a wrong clock.
//!
//! This module takes and returns entries and writes nothing.

use crate::practice::Entry;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A day in microseconds. A session may begin this much before the session stored before it, or
/// after the present time, without its clock counting as wrong, because no right clock is corrected
/// by more.
pub(super) const DAY: i64 = 86_400_000_000;
/// The time between a session that gets a new date and the one before it, in microseconds. Chosen.
const APART: i64 = 60_000_000;
/// The first day of 2026, in microseconds since 1970. The program did not exist earlier, so an
/// earlier time comes from a wrong clock; a computer without a battery starts in 1970.
const BEGAN: i64 = 20_454 * DAY;
/// The range of times that a clock can show, right or wrong, in microseconds since 1970: from 1970
/// until 2200.
const YEARS: std::ops::RangeInclusive<i64> = 0..=7_258_118_400_000_000;
/// The largest difference of local time from universal time, in seconds. 14 h are in use; zoneinfo
/// allows 18 h.
const FARTHEST: i32 = 18 * 3600;
/// The largest number that is believed. A mark a second would be thirty million a year.
const MOST_COUNTED: u64 = 1 << 40;
/// The longest text of an entry in bytes. The measurements of a long repetition take ten thousand.
const LONGEST_TEXT: usize = 256 * 1024;

/// True where a clock that shows this time knew the date, right or wrong.
pub(super) fn has_date(time: i64) -> bool {
    time >= BEGAN
}

/// Why an entry is impossible, in words that follow `its`; none for a possible entry.
pub fn absurd(entry: &Entry) -> Option<String> {
    use crate::practice::Kind;
    let record = &entry.record;
    if !YEARS.contains(&record.utc_us) {
        return Some("time is not one of the years 1970 to 2199".to_owned());
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
        Kind::Tried { repetition, .. }
        | Kind::ByHeart { repetition }
        | Kind::Measured { repetition } => (*repetition, 1),
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

/// A session, or a part of one, whose clock was wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WrongClock {
    /// The journal that stored the entries. Entries of the same session in another journal have
    /// times of their own.
    pub journal: Uuid,
    /// The session.
    pub session: Uuid,
    /// The first and the last number of the session's entries in that journal.
    pub numbers: (u64, u64),
    /// The number of these entries.
    pub entries: usize,
    /// When the session began by its own clock, in microseconds since 1970.
    pub says: i64,
    /// The earliest time at which it can have begun, by the sessions stored around it, in
    /// microseconds since 1970.
    pub instead: i64,
}

/// The entries of a journal that cannot be right.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Odd {
    /// The sessions of wrong clocks, in the order in which they were stored.
    pub clocks: Vec<WrongClock>,
    /// The number (`seq`) of each impossible entry with the reason, in words that follow `its`.
    pub absurd: Vec<(u64, String)>,
}

/// A session as its journal stored it, or a part of it. A clock that was set by more than a day
/// during the session divides it into parts.
struct Session {
    journal: Uuid,
    id: Uuid,
    numbers: (u64, u64),
    entries: usize,
    begin: i64,
    end: i64,
    /// The time of the entry that was stored last, in microseconds since 1970.
    latest: i64,
}

/// Finds what is impossible in a journal's entries. `now` is the present time in microseconds since
/// 1970.
pub fn odd(entries: &[Entry], now: i64) -> Odd {
    let mut odd = Odd::default();
    let mut journals: BTreeMap<Uuid, Vec<&Entry>> = BTreeMap::new();
    for entry in entries {
        match absurd(entry) {
            Some(why) => odd.absurd.push((entry.seq, why)),
            None => journals.entry(entry.journal).or_default().push(entry),
        }
    }
    for stored in journals.values_mut() {
        stored.sort_by_key(|entry| entry.seq);
        odd.clocks.extend(wrong_clocks(&sessions(stored), now));
    }
    odd
}

/// The entries in fold order, without the impossible ones and with wrong times corrected.
pub fn mended(mut entries: Vec<Entry>, odd: &Odd) -> Vec<Entry> {
    // for each part of a session, found by its first number: its last number, and by how many
    // microseconds it is moved
    let parts: BTreeMap<(Uuid, Uuid, u64), (u64, i64)> = odd
        .clocks
        .iter()
        .map(|wrong| {
            let (first, last) = wrong.numbers;
            let by = wrong.instead.saturating_sub(wrong.says);
            ((wrong.journal, wrong.session, first), (last, by))
        })
        .collect();
    entries.retain(|entry| absurd(entry).is_none());
    for entry in &mut entries {
        let (journal, number, record) = (entry.journal, entry.seq, &mut entry.record);
        let of_session = (journal, record.id.session, 0)..=(journal, record.id.session, number);
        if let Some((_, (last, by))) = parts.range(of_session).next_back()
            && number <= *last
        {
            // otherwise a part of many days could end outside the possible years
            let moved = record.utc_us.saturating_add(*by);
            record.utc_us = moved.clamp(*YEARS.start(), *YEARS.end());
        }
    }
    entries.sort_by_key(Entry::order);
    entries
}

fn sessions(entries: &[&Entry]) -> Vec<Session> {
    let mut found: Vec<Session> = Vec::new();
    let mut latest: BTreeMap<Uuid, usize> = BTreeMap::new();
    for entry in entries {
        let (id, time) = (entry.record.id.session, entry.record.utc_us);
        let goes_on = latest
            .get(&id)
            .copied()
            .filter(|place| found[*place].latest.abs_diff(time) <= DAY.unsigned_abs());
        let place = goes_on.unwrap_or(found.len());
        if goes_on.is_none() {
            latest.insert(id, place);
            found.push(Session {
                journal: entry.journal,
                id,
                numbers: (entry.seq, entry.seq),
                entries: 0,
                begin: time,
                end: time,
                latest: time,
            });
        }
        let session = &mut found[place];
        session.numbers.1 = entry.seq;
        session.entries += 1;
        session.begin = session.begin.min(time);
        session.end = session.end.max(time);
        session.latest = time;
    }
    found
}

/// Finds the sessions of wrong clocks. These are sessions before the program existed or in the
/// future. Of sessions whose stored order contradicts their times they are the smaller number,
/// because one wrong clock is more likely than many.
fn wrong_clocks(stored: &[Session], now: i64) -> Vec<WrongClock> {
    // where the present time has no date, nothing can be in its future
    let dated = has_date(now);
    let cannot_be = |session: &Session| {
        !has_date(session.begin) || (dated && session.begin > now.saturating_add(DAY))
    };
    if !dated && stored.iter().all(cannot_be) {
        return Vec::new();
    }
    let mut ahead: Vec<bool> = stored.iter().map(cannot_be).collect();
    let mut least = i64::MAX;
    for (place, session) in stored.iter().enumerate().rev() {
        if cannot_be(session) {
            continue;
        }
        ahead[place] |= session.begin.saturating_sub(DAY) > least;
        least = least.min(session.begin);
    }
    let mut behind: Vec<bool> = stored.iter().map(cannot_be).collect();
    let mut most = i64::MIN;
    for (place, session) in stored.iter().enumerate() {
        if cannot_be(session) {
            continue;
        }
        behind[place] |= session.begin.saturating_add(DAY) < most;
        most = most.max(session.begin);
    }
    // the smaller group of sessions is taken as wrong; of equally large groups, the one without
    // which the others lie closer together
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
    dated_anew(stored, &wrong, now)
}

/// Gives sessions of wrong clocks new times. They follow the right session before them one after
/// the other. Those before any right session end where the first right one begins. Where no session
/// is right, the last one ends now.
fn dated_anew(stored: &[Session], wrong: &[bool], now: i64) -> Vec<WrongClock> {
    let first = wrong.iter().position(|wrong| !*wrong);
    let at_first = &stored[..first.unwrap_or(stored.len())];
    let end = first.map_or(now, |first| stored[first].begin);
    let mut before = at_first.iter().fold(end - APART, |before, session| {
        before.saturating_sub(session.end - session.begin + APART)
    });
    let mut told = Vec::new();
    for (session, wrong) in stored.iter().zip(wrong) {
        if *wrong {
            let instead = before.saturating_add(APART);
            told.push(WrongClock {
                journal: session.journal,
                session: session.id,
                numbers: session.numbers,
                entries: session.entries,
                says: session.begin,
                instead,
            });
            before = instead.saturating_add(session.end - session.begin);
        } else {
            before = session.end;
        }
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::journal_laws::record;
    use crate::practice::{Kind, Mark, Record};

    const NOW: i64 = 22_000 * DAY;

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

    /// The oddities of a journal, and the entries without them.
    struct Mended {
        entries: Vec<Entry>,
        clocks: Vec<WrongClock>,
        absurd: Vec<(u64, String)>,
    }

    fn mended(entries: Vec<Entry>, now: i64) -> Mended {
        let odd = odd(&entries, now);
        let entries = super::mended(entries, &odd);
        let Odd { clocks, absurd } = odd;
        Mended {
            entries,
            clocks,
            absurd,
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

    /// The clock is set by years in the middle of an evening, and back again. What was stored in
    /// between is moved beside the rest, and the same session in another journal keeps its times.
    /// Marks must not be moved outside the possible years (found by the fuzzer).
    #[test]
    fn a_clock_that_is_set_in_the_middle_of_a_session_moves_only_what_it_dated() {
        let mut entries: Vec<Entry> = [21_990, 21_990, 60_000, 60_000, 21_990]
            .into_iter()
            .zip(1..)
            .map(|(day, seq)| entry(1, seq, 1, day, seq as i64))
            .collect();
        entries.push(entry(2, 3, 1, 21_990, 3));
        let mended = mended(entries, NOW);
        assert_eq!(mended.absurd, []);
        assert_eq!(mended.clocks.len(), 1, "{:?}", mended.clocks);
        assert_eq!(mended.clocks[0].numbers, (3, 4));
        let days = mended.entries.iter().map(|own| own.record.utc_us / DAY);
        assert_eq!(days.collect::<Vec<_>>(), [21_990; 6]);
        // a hundred years within one part, with an entry a day: the moved times stay within the
        // possible years
        let century: Vec<Entry> = (0..36_500)
            .zip(1..)
            .map(|(day, seq)| entry(1, seq, 1, day, 0))
            .chain([entry(1, 36_501, 2, 21_990, 0)])
            .collect();
        let mended = super::mended(century.clone(), &odd(&century, NOW));
        assert_eq!(mended.len(), century.len());
        assert!(mended.iter().all(|entry| absurd(entry).is_none()));
    }

    /// An evening whose clock was years ahead, or had lost its date, is moved after the evening
    /// stored before it. Its minutes stay the same, and no other session changes.
    #[test]
    fn a_session_of_a_wrong_clock_is_dated_by_its_neighbours() {
        for wrong in [21_990 + 3650, 8000, 32_000, 0] {
            let entries = vec![
                entry(1, 1, 1, 21_990, 0),
                entry(1, 2, 2, wrong, 0),
                entry(1, 3, 2, wrong, 7),
                entry(1, 4, 3, 21_992, 0),
                entry(1, 5, 4, 21_993, 0),
                // another journal's entries have an order of their own
                entry(2, 1, 5, 21_000, 0),
            ];
            let mended = mended(entries, NOW);
            assert_eq!(mended.clocks.len(), 1, "{:?}", mended.clocks);
            assert_eq!(mended.clocks[0].session.as_u128(), 2);
            assert_eq!(
                begins(&mended),
                [
                    (5, 21_000),
                    (1, 21_990),
                    (2, 21_990),
                    (3, 21_992),
                    (4, 21_993)
                ]
            );
            let times: Vec<i64> = mended.entries.iter().map(|own| own.record.utc_us).collect();
            assert_eq!(times[3] - times[2], 7 * 60_000_000);
            assert_eq!(times[2] - times[1], APART);
        }
    }

    /// A computer without a battery starts in 1970 each time. All its marks are kept, in their
    /// order, with the last of them now.
    #[test]
    fn a_clock_without_a_date_costs_no_mark() {
        let minutes = |mended: &Mended| -> Vec<i64> {
            let times = mended.entries.iter().map(|entry| entry.record.utc_us);
            times.map(|time| (time - NOW) / 60_000_000).collect()
        };
        let undated = |journal: u128| {
            let from = |seq, session, minute| entry(journal, seq, session, 0, minute);
            vec![from(1, 1, 1), from(2, 1, 8), from(3, 2, 9), from(4, 2, 20)]
        };
        let found = mended(undated(1), NOW);
        assert_eq!((found.clocks.len(), found.absurd.len()), (2, 0));
        assert_eq!(minutes(&found), [-20, -13, -12, -1]);
        let again = mended(found.entries.clone(), NOW);
        assert_eq!((again.clocks.len(), again.entries), (0, found.entries));
        // the clock was set in the middle of the third session
        let mut set = undated(1);
        set.extend([entry(1, 5, 3, 0, 30), entry(1, 6, 3, 21_990, 0)]);
        let found = mended(set, NOW);
        assert_eq!((found.clocks.len(), found.absurd.len()), (3, 0));
        let seqs: Vec<u64> = found.entries.iter().map(|entry| entry.seq).collect();
        assert_eq!(seqs, [1, 2, 3, 4, 5, 6]);
        assert_eq!(found.entries[5].record.utc_us, 21_990 * DAY);
        // where today's clock has no date either, nothing shows which time is wrong
        let found = mended(undated(1), DAY);
        assert_eq!(found.entries, undated(1));
        let dated = vec![entry(1, 1, 1, 21_990, 0), entry(1, 2, 2, 21_991, 0)];
        assert_eq!(mended(dated.clone(), DAY).entries, dated);
    }

    #[test]
    fn clocks_that_are_right_are_left_alone() {
        let entries: Vec<Entry> = (0..50)
            .map(|day| {
                let back = if day % 7 == 3 { -30 } else { 0 };
                entry(1, day + 1, u128::from(day) + 1, 21_000 + day as i64, back)
            })
            .collect();
        let mut sorted = entries.clone();
        sorted.sort_by_key(Entry::order);
        let found = mended(entries, NOW);
        assert_eq!((found.clocks.len(), found.absurd.len()), (0, 0));
        assert_eq!(found.entries, sorted);
        assert_eq!(mended(Vec::new(), NOW).entries, []);
    }

    #[test]
    fn what_nobody_counts_up_to_is_absurd() {
        let plain = entry(1, 1, 1, 21_000, 0);
        assert_eq!(absurd(&plain), None);
        let with = |change: &dyn Fn(&mut Record)| {
            let mut other = plain.clone();
            change(&mut other.record);
            absurd(&other).unwrap_or_else(|| panic!("{other:?}"))
        };
        for time in [i64::MIN, -1, i64::MAX, 8_000_000_000_000_000] {
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
