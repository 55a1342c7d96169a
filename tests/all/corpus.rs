//! The files found by fuzzing stay in the corpus. Each of them must be read, or reported with its
//! problem.

#[path = "../fuzz/feed.rs"]
mod feed;

use std::path::Path;

#[test]
#[allow(
    clippy::print_stdout,
    reason = "a file that panics is the last one that was named"
)]
fn every_file_of_the_corpus_is_read_or_told() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus");
    let mut targets = 0;
    for folder in std::fs::read_dir(corpus).expect("the corpus is here") {
        let folder = folder.expect("a folder").path();
        let target = folder.file_name().and_then(|name| name.to_str());
        let target = target.expect("a name").to_owned();
        let mut files = 0;
        for file in std::fs::read_dir(&folder).expect("it lists") {
            let path = file.expect("a file").path();
            println!("{}", path.display());
            let bytes = std::fs::read(&path).expect("it opens");
            feed::feed(&target, &bytes);
            files += 1;
        }
        assert!(files > 0, "{target} has no files");
        targets += 1;
    }
    assert_eq!(targets, 9);
}
