//! Any bytes as a journal: looked over, never a panic; one that opens answers every question.
#![no_main]

use gracerung::journal::{Journal, look_over, mended, odd};
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

/// A folder in memory where there is one.
static FOLDER: LazyLock<std::path::PathBuf> = LazyLock::new(|| {
    let memory = std::path::Path::new("/dev/shm");
    let above = if memory.is_dir() { memory.to_owned() } else { std::env::temp_dir() };
    let folder = above.join(format!("gracerung-fuzz-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    // copies are made beside it and not on a disk
    folder
});

/// A moment of 2026, microseconds since 1970.
const NOW: i64 = 1_796_000_000_000_000;

fuzz_target!(|bytes: &[u8]| {
    let path = FOLDER.join("journal.sqlite");
    for beside in ["journal.sqlite-wal", "journal.sqlite-shm", "summary.json"] {
        let _ = std::fs::remove_file(FOLDER.join(beside));
    }
    std::fs::write(&path, bytes).expect("written");
    if let Ok((_, entries)) = look_over(&path) {
        let found = odd(&entries, NOW);
        let _ = mended(entries, &found);
    }
    if let Ok(mut journal) = Journal::open(&path) {
        let _ = (journal.last_place(), journal.discriminations(), journal.digest(NOW));
        if let Ok(stages) = journal.stages_of("grip-from-d") {
            let _ = (journal.board(&stages), journal.latest(&stages, 60));
        }
    }
});
