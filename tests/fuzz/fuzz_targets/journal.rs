//! Any bytes as a journal.
#![no_main]

#[allow(dead_code, reason = "each target uses one of its functions")]
#[path = "../feed.rs"]
mod feed;

use std::sync::LazyLock;

/// A folder in memory where there is one.
static FOLDER: LazyLock<std::path::PathBuf> = LazyLock::new(|| {
    let memory = std::path::Path::new("/dev/shm");
    let above = if memory.is_dir() {
        memory.to_owned()
    } else {
        std::env::temp_dir()
    };
    let folder = above.join(format!("gracerung-fuzz-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    // copies are made beside it and not on a disk
    folder
});

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| feed::journal(bytes, &FOLDER));
