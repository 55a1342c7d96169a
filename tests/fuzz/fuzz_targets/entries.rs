//! Any lines as an exported journal: told, never a panic, neither by what mends it nor by the board
//! nor by the plan of a day.
#![no_main]

use gracerung::journal::{absurd, mended, odd};
use gracerung::planning::{Digest, Lately, Said};
use gracerung::practice::{Entry, Plan, replay};
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

/// The plan of a drill that the corpus has marks of.
static PLAN: LazyLock<Plan> = LazyLock::new(|| {
    let drill = gracerung::drill::built_in("grip-from-d").expect("it is built in");
    let (drill, _) = gracerung::drill::read(drill.text.as_bytes());
    let drill = drill.expect("it reads");
    let scores = gracerung::app::scores(&drill);
    Plan::new("grip-from-d", gracerung::app::planned(&drill, &scores))
});

/// A moment of 2026, microseconds since 1970.
const NOW: i64 = 1_796_000_000_000_000;

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    let entries: Vec<Entry> = text
        .lines()
        .filter_map(|line| serde_json::from_str(line).ok())
        .collect();
    let found = odd(&entries, NOW);
    let whole = mended(entries, &found);
    assert!(whole.iter().all(|entry| absurd(entry).is_none()));
    let _ = replay(PLAN.clone(), &whole).board();
    let _ = Lately::default().take_in(&whole);
    let _ = Digest::of(whole.iter().filter_map(Said::of));
});
