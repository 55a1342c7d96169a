//! Documents with one problem each. The message must be the right one at the right place, and no
//! drill may result.

use gracerung::drill::{read, render};
use std::path::Path;

/// A player with a slip in a file must be told of that slip, in its line, and of nothing else.
#[test]
fn every_invalid_document_has_its_own_message() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/invalid");
    let mut checked = 0;
    for entry in std::fs::read_dir(folder).expect("the folder is there") {
        let path = entry.expect("an entry").path();
        if path.extension().is_none_or(|end| end != "yaml") {
            continue;
        }
        let bytes = std::fs::read(&path).expect("it is readable");
        let expected = std::fs::read_to_string(path.with_extension("expected"))
            .expect("each document has its message beside it");
        let (drill, problems) = read(&bytes);
        let source = String::from_utf8_lossy(&bytes);
        let name = path
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        let told = render(&name, &source, &problems);
        assert!(drill.is_none(), "{name} was read as a drill");
        assert!(told.contains(expected.trim()), "{name}:\n{told}");
        assert_eq!(
            problems.len(),
            1,
            "one slip is one problem: {name}:\n{told}"
        );
        let lines = source.lines().count().max(1);
        for problem in &problems {
            assert!(
                problem.place.line >= 1 && problem.place.line <= lines,
                "{name}:\n{told}"
            );
        }
        checked += 1;
    }
    assert!(checked >= 25, "{checked}");
}

/// All problems of a file are reported at once, because mending one at a time would need a run for
/// each.
#[test]
fn all_problems_of_a_file_come_at_once() {
    let text = "title: A\nmovement: grpi\nfrom: X\nto: LA\nladder: {from: 80, to: 50, step: 4%}\nclean: 99\nroute: sideways\n";
    let (_, problems) = read(text.as_bytes());
    assert_eq!(problems.len(), 5, "{}", render("a.yaml", text, &problems));
}

/// A file over a mebibyte is refused by its size, before it is read.
#[test]
fn a_file_over_a_mebibyte_is_refused() {
    let text = vec![b'#'; (1 << 20) + 1];
    let (drill, problems) = read(&text);
    assert!(drill.is_none());
    assert!(
        problems[0]
            .kind
            .to_string()
            .contains("at most 1048576 are read")
    );
}

mod any_bytes {
    use gracerung::drill::read;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(300))]
        /// A reader that panics would end the program.
        #[test]
        fn no_bytes_make_the_reader_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
            let (drill, problems) = read(&bytes);
            prop_assert!(drill.is_some() || !problems.is_empty());
        }

        /// Files that are nearly right test the deeper parts of the reader.
        #[test]
        fn no_music_makes_the_reader_panic(music in "[A-Ga-g{}|:12/<>\\[\\]() -]{0,60}") {
            let text = format!("title: A\nmetre: 2/4\nmusic: |\n  {music}\nladder: {{from: 50, to: 60, step: 4}}\n");
            let (drill, problems) = read(text.as_bytes());
            prop_assert!(drill.is_some() || !problems.is_empty());
        }
    }
}

/// Five messages for one slip would hide the one that helps.
#[test]
fn a_misspelt_movement_is_one_problem() {
    let (_, problems) = read(include_bytes!("../invalid/misspelt-movement.yaml"));
    assert_eq!(problems.len(), 1, "{problems:?}");
}
