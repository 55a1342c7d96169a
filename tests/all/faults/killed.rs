//! A program that is killed at any moment, and two programs that use one journal.

use super::{COUNT, Home, Lines, at_full_length};
use gracerung::journal::Journal;
use gracerung::practice::Kind;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::time::{Duration, Instant};

/// The events in one home.
#[derive(Default)]
struct Lane {
    /// The lengths of the streak in the order in which they were shown, over all runs.
    shown: Vec<u32>,
    /// How many keys were pressed.
    pressed: usize,
    /// How many runs had marks on the screen when they were killed.
    with_marks: usize,
}

/// Starts the program this many times in one home, marks, and kills it at a random moment: at any
/// time from the start on, or within a few milliseconds of a key press.
fn kill_again_and_again(home: &Home, kills: usize, seed: u64) -> Lane {
    let mut random = fastrand::Rng::with_seed(seed);
    let mut lane = Lane::default();
    for kill in 0..kills {
        let mut run = Lines::practise(home.folder(), &[], &["count"], &[]);
        let lifetime = Duration::from_millis(random.u64(..2_400));
        let fatal_press = (kill % 2 == 0).then(|| random.usize(1..=2));
        let after_press = Duration::from_micros(random.u64(..30_000));
        let (mut playing, mut presses) = (None::<Instant>, 0);
        let mut asked = false;
        loop {
            let said = run.said();
            if !asked && said.contains("Still.") {
                asked = true;
                run.press(" ");
            }
            if playing.is_none() && said.contains("Playing.") {
                playing = Some(Instant::now());
            }
            // The count-in and the first repetition last 0.8 s. A press every 650 ms is not taken
            // for a held pedal, and each marks another repetition.
            let due = |began: Instant| began + Duration::from_millis(850 + 650 * presses as u64);
            if playing.is_some_and(|began| Instant::now() >= due(began)) {
                run.press("c");
                presses += 1;
                if fatal_press == Some(presses) {
                    std::thread::sleep(after_press);
                    break;
                }
            }
            let over = run.began.elapsed() >= lifetime;
            if (fatal_press.is_none() && over) || run.began.elapsed() > Duration::from_secs(20) {
                break;
            }
            std::thread::sleep(Duration::from_millis(3));
        }
        run.kill();
        // the terminal still delivers what was written before the end
        std::thread::sleep(Duration::from_millis(30));
        let numbers = run.numbers();
        lane.with_marks += usize::from(!numbers.is_empty());
        lane.shown.extend(numbers);
        lane.pressed += presses;
    }
    lane
}

/// A player whose battery runs out must find every mark that was on the screen, and each only once.
#[cfg(unix)]
#[test]
fn kill_9_at_any_moment_of_marking_loses_and_doubles_nothing() {
    let (lanes, kills) = if at_full_length() { (20, 25) } else { (6, 10) };
    let homes: Vec<Home> = (0..lanes).map(|_| Home::new()).collect();
    let went: Vec<Lane> = std::thread::scope(|scope| {
        let runs: Vec<_> = homes
            .iter()
            .zip(0_u64..)
            .map(|(home, seed)| scope.spawn(move || kill_again_and_again(home, kills, 2027 + seed)))
            .collect();
        runs.into_iter()
            .map(|run| run.join().expect("a lane"))
            .collect()
    });
    let mut with_marks = 0;
    let mut stored = 0;
    for (home, lane) in homes.iter().zip(&went) {
        // The number shown is the number of marks in the journal. A lost mark would repeat a
        // number, and a mark counted twice would leave a gap.
        assert!(
            lane.shown.windows(2).all(|pair| pair[0] < pair[1]),
            "{:?}",
            lane.shown
        );
        let mut journal = Journal::open(&home.journal()).expect("a journal");
        let marks: Vec<_> = journal
            .read_all()
            .expect("it reads")
            .into_iter()
            .filter_map(|entry| match entry.record.kind {
                Kind::Mark { repetition, .. } => Some((entry.record.id.session, repetition)),
                _ => None,
            })
            .collect();
        let once: BTreeSet<_> = marks.iter().collect();
        assert_eq!(once.len(), marks.len(), "a repetition was counted twice");
        assert!(marks.len() < 50, "the row must not come to its end");
        assert!(marks.len() <= lane.pressed);
        assert!(
            lane.shown
                .last()
                .is_none_or(|last| *last as usize <= marks.len())
        );
        assert!(home.said(&["journal", "check"]).contains("whole"));
        with_marks += lane.with_marks;
        stored += marks.len();
        // the next start continues at the last mark of the journal
        if home.folder() == homes[0].folder() {
            let mut again = Lines::practise(home.folder(), &[], &["count"], &[]);
            again.until("Still.");
            again.press(" ");
            again.until("Playing.");
            again.mark_clean(1);
            assert_eq!(again.numbers()[0] as usize, marks.len() + 1);
            again.press("q");
            again.ends_with(0);
        }
    }
    // at least one run must have been killed while marking
    assert!(
        with_marks * 3 >= lanes * kills,
        "{with_marks} runs had marks"
    );
    if at_full_length() {
        let _ = writeln!(
            std::io::stdout(),
            "{} kills, {with_marks} with marks on the screen, {stored} marks stored",
            lanes * kills
        );
    }
}

/// Two windows mark in the same drill, even at every repetition. Nothing is lost, nothing is
/// counted twice, and each window announces the other's marks. At full length the test runs for a
/// minute, one drill after the other.
#[cfg(unix)]
#[test]
fn two_programs_mark_on_one_journal() {
    // both together make fewer marks than the fifty that clear the cell, so that each mark shows
    // another number
    let (drills, marks_each) = if at_full_length() { (4, 23) } else { (1, 7) };
    let home = Home::new();
    for drill in 0..drills {
        let name = format!("count-{drill}");
        // each drill has other music, because the journal knows a cell by its music and not by the
        // drill's name
        let text = COUNT.replace("A2 B2|", ["A2 B2|", "B2 c2|", "c2 d2|", "d2 e2|"][drill]);
        let file = home.path("gracerung/drills").join(format!("{name}.yaml"));
        std::fs::write(file, text).expect("a file");
        let run = |seed: u64| {
            let mut random = fastrand::Rng::with_seed(seed);
            let mut program = Lines::practise(home.folder(), &[], &[&name], &[]);
            program.until("Still.");
            program.press(" ");
            program.until("Playing.");
            // the count-in and the first repetition
            std::thread::sleep(Duration::from_millis(850));
            for _ in 0..marks_each {
                program.press("c");
                std::thread::sleep(Duration::from_millis(640 + random.u64(..60)));
            }
            // the notice about the last mark is shown for a while
            program.until("from another window");
            program.press("q");
            program.ends_with(0);
            (program.numbers().len(), program.said())
        };
        let (one, two) = std::thread::scope(|scope| {
            let two = scope.spawn(|| run(2));
            (run(1), two.join().expect("the other program"))
        });
        let mut journal = Journal::open(&home.journal()).expect("a journal");
        let entries = journal.read_all().expect("it reads");
        let mut stored: BTreeMap<_, usize> = BTreeMap::new();
        let mut once = BTreeSet::new();
        for entry in entries.iter().filter(|entry| entry.record.drill == name) {
            if let Kind::Mark { repetition, .. } = entry.record.kind {
                *stored.entry(entry.record.id.session).or_default() += 1;
                assert!(once.insert((entry.record.id.session, repetition)));
            }
        }
        let mut counts: Vec<usize> = stored.values().copied().collect();
        counts.sort_unstable();
        let mut shown = vec![one.0, two.0];
        shown.sort_unstable();
        assert_eq!(counts, shown, "{}\n{}", one.1, two.1);
        // a press before the first closing note marks nothing; no other may be missing
        assert!(
            counts.iter().all(|count| count + 1 >= marks_each),
            "{counts:?}"
        );
        for said in [&one.1, &two.1] {
            assert!(said.contains("from another window"), "{said}");
        }
        let seqs: BTreeSet<u64> = entries.iter().map(|entry| entry.seq).collect();
        assert_eq!(seqs.len(), entries.len(), "a place was given twice");
    }
    assert!(home.said(&["journal", "check"]).contains("whole"));
}
