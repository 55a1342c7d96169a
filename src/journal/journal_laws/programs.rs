//! Laws of two programs at once, of a killed program, and of merging.

use super::*;

/// The other program's marks are returned before our own, and only once.
#[test]
fn each_append_first_gives_what_it_has_not_yet_seen() {
    let home = Home::new();
    let (mut one, mut two) = (home.open(), home.open());
    one.append(&[clean(1, 0, 10)]).expect("stored");
    let answer = two.append(&[clean(2, 0, 20)]).expect("stored");
    let sessions = |entries: &[Entry]| -> Vec<u128> {
        entries
            .iter()
            .map(|entry| entry.record.id.session.as_u128())
            .collect()
    };
    assert_eq!(sessions(&answer.foreign), [1]);
    assert_eq!(answer.own[0].seq, 2);
    let answer = one.append(&[clean(1, 1, 30)]).expect("stored");
    assert_eq!(sessions(&answer.foreign), [2]);
    let answer = one.append(&[]).expect("looked");
    assert_eq!((answer.foreign.len(), answer.own.len()), (0, 0));
    let answer = two.append(&[]).expect("looked");
    assert_eq!(sessions(&answer.foreign), [1]);
}

fn again(test: &str, journal: &Path, session: u128) -> Child {
    Command::new(std::env::current_exe().expect("this test binary"))
        .args([
            "--exact",
            &format!("journal::journal_laws::programs::{test}"),
            "--nocapture",
        ])
        .env("TEST_JOURNAL", journal)
        .env("TEST_SESSION", session.to_string())
        .stdout(Stdio::piped())
        .spawn()
        .expect("another process")
}

/// In the started process: the journal's path and the number of the session. None in the test's
/// first process.
fn asked() -> Option<(PathBuf, u128)> {
    let journal = std::env::var_os("TEST_JOURNAL")?;
    let session = std::env::var("TEST_SESSION").ok()?.parse().ok()?;
    Some((journal.into(), session))
}

/// Two processes may create and write one journal at the same time. Without an IMMEDIATE
/// transaction they would give the same number to two entries, or one would fail with "database is
/// locked".
#[test]
fn two_processes_on_one_journal_both_work() {
    const EACH: u64 = 60;
    if let Some((path, session)) = asked() {
        let mut journal = Journal::open(&path).expect("a journal");
        for number in 0..EACH {
            journal
                .append(&[clean(session, number, 10)])
                .expect("stored");
        }
        return;
    }
    let home = Home::new();
    let name = "two_processes_on_one_journal_both_work";
    let mut others = [again(name, &home.path(), 1), again(name, &home.path(), 2)];
    for other in &mut others {
        assert!(other.wait().expect("an end").success());
    }
    let entries = home.open().read_all().expect("read");
    let seqs: Vec<u64> = entries.iter().map(|entry| entry.seq).collect();
    assert_eq!(seqs, (1..=2 * EACH).collect::<Vec<_>>());
    for session in [1, 2] {
        let of = |entry: &&Entry| entry.record.id.session == Uuid::from_u128(session);
        assert_eq!(entries.iter().filter(of).count() as u64, EACH);
    }
}

/// After a kill, everything whose storing was confirmed is kept, nothing is half stored, and the
/// next start needs no repair.
#[test]
fn kill_9_loses_nothing_that_was_stored() {
    if let Some((path, session)) = asked() {
        let mut journal = Journal::open(&path).expect("a journal");
        for number in 0_u64.. {
            // two records in one append, as for a mark that moves to the next cell
            let pair = [
                clean(session, 2 * number, 10),
                record(session, 2 * number + 1, 10, Kind::Place),
            ];
            journal.append(&pair).expect("stored");
            writeln!(std::io::stdout(), "stored {number}").expect("told");
        }
    }
    let home = Home::new();
    let mut at_least = 0;
    for session in 1..=6_u128 {
        let mut other = again(
            "kill_9_loses_nothing_that_was_stored",
            &home.path(),
            session,
        );
        let lines = BufReader::new(other.stdout.take().expect("its output")).lines();
        let told = lines
            .map(|line| line.expect("a line"))
            .filter(|line| line.contains("stored "))
            .take(3 * session as usize)
            .count();
        other.kill().expect("killed");
        other.wait().expect("an end");
        at_least += 2 * told;
        let mut journal = home.open();
        let entries = journal.read_all().expect("read");
        assert!(entries.len() >= at_least, "{} < {at_least}", entries.len());
        assert_eq!(entries.len() % 2, 0, "a pair is stored together");
        let seqs: Vec<u64> = entries.iter().map(|entry| entry.seq).collect();
        assert_eq!(seqs, (1..=entries.len() as u64).collect::<Vec<_>>());
        at_least = entries.len();
    }
}

/// However the journals of two computers are merged, the result has the same entries in the same
/// order, and none twice.
#[test]
fn merging_in_any_order_gives_the_same_and_counts_nothing_twice() {
    let (home, away, third) = (Home::new(), Home::new(), Home::new());
    let fill = |place: &Home, session: u128| {
        let records: Vec<Record> = (0..5)
            .map(|number| clean(session, number, 10 * number as i64 + session as i64))
            .collect();
        let mut journal = place.open();
        journal.append(&records).expect("stored");
        journal.read_all().expect("read")
    };
    let (ours, theirs, others) = (fill(&home, 1), fill(&away, 2), fill(&third, 3));
    let mut one = home.open();
    assert_eq!(one.merge(&theirs).expect("merged").added, 5);
    assert_eq!(one.merge(&others).expect("merged").added, 5);
    let again = one.merge(&theirs).expect("merged");
    assert_eq!((again.added, again.known, again.clashing), (0, 5, 0));
    let mut two = third.open();
    two.merge(&ours).expect("merged");
    two.merge(&theirs).expect("merged");
    let merged = one.read_all().expect("read");
    assert_eq!(merged, two.read_all().expect("read"));
    assert!(merged.is_sorted_by_key(Entry::order));
    assert_eq!(merged.len(), 15);
}

/// A file that was copied to a second computer and written on both is reported, and no entry is
/// lost.
#[test]
fn copies_written_apart_clash_and_are_told() {
    let home = Home::new();
    home.open().append(&[clean(1, 0, 10)]).expect("stored");
    let copy = Home::new();
    std::fs::create_dir_all(copy.path().parent().expect("a folder")).expect("made");
    std::fs::copy(home.path(), copy.path()).expect("copied");
    home.open().append(&[clean(2, 0, 20)]).expect("stored");
    let mut theirs = copy.open();
    theirs.append(&[clean(3, 0, 20)]).expect("stored");
    let theirs_told = theirs.read_all().expect("read");
    let mut ours = home.open();
    let ours_told = ours.read_all().expect("read");
    for _ in 0..2 {
        ours.merge(&theirs_told).expect("merged");
        theirs.merge(&ours_told).expect("merged");
    }
    let merged = ours.merge(&theirs_told).expect("merged");
    assert_eq!((merged.added, merged.known, merged.clashing), (0, 2, 0));
    let records = |journal: &mut Journal| {
        let entries = journal.read_all().expect("read");
        let mut records: Vec<_> = entries.into_iter().map(|entry| entry.record.id).collect();
        records.sort();
        records
    };
    assert_eq!(records(&mut ours), records(&mut theirs));
    assert_eq!(records(&mut ours).len(), 3);
}
