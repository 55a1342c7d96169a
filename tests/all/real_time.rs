//! Every public function of the two rooms that sound states its thread, its allocations and whether
//! it blocks.

use std::fs;
use std::path::{Path, PathBuf};

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            files(&path, found);
        } else {
            found.push(path);
        }
    }
}

/// Without these words nobody knows whether a function may be called from the audio callback, and a
/// later change may put an allocation there.
#[test]
fn every_public_function_that_sounds_says_its_thread() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut sources = Vec::new();
    for room in ["core/sound", "live"] {
        files(&root.join(room), &mut sources);
    }
    let mut said = 0;
    for source in sources {
        let text = fs::read_to_string(&source).expect("a source file");
        let code = text.split("#[cfg(test)]").next().unwrap_or_default();
        let mut doc = String::new();
        for line in code.lines().map(str::trim) {
            if let Some(more) = line.strip_prefix("///") {
                doc.push_str(more);
            } else if line.starts_with("pub fn") {
                for word in ["Thread: ", "Allocates: ", "Blocks: "] {
                    assert!(doc.contains(word), "{}: {line}: {word}", source.display());
                }
                said += 1;
                doc.clear();
            } else if !line.starts_with("#[") {
                doc.clear();
            }
        }
    }
    assert!(said > 20, "the search found the functions: {said}");
}
