//! Laws of opening: which files are journals, and which are refused and left unchanged.

use super::*;

#[test]
fn opening_makes_the_folders_and_an_empty_journal() {
    let home = Home::new();
    assert!(home.open().read_all().expect("read").is_empty());
    assert!(home.path().is_file());
}

#[test]
fn it_is_written_ahead_and_forced_to_the_disk() {
    let home = Home::new();
    let journal = home.open();
    let connection = journal.connection();
    let text = |name: &str| -> String {
        connection
            .pragma_query_value(None, name, |row| row.get(0))
            .expect("a pragma")
    };
    let number = |name: &str| -> i64 {
        connection
            .pragma_query_value(None, name, |row| row.get(0))
            .expect("a pragma")
    };
    assert_eq!(text("journal_mode"), "wal");
    assert_eq!(number("synchronous"), 2, "FULL");
    assert_eq!(number("busy_timeout"), 5_000);
}

fn bytes_of(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut files: Vec<(PathBuf, Vec<u8>)> = std::fs::read_dir(folder)
        .expect("a folder")
        .map(|file| file.expect("a file").path())
        // the shared-memory file is an index that any reader may write
        .filter(|path| !path.to_string_lossy().ends_with("-shm"))
        .map(|path| (path.clone(), std::fs::read(&path).expect("bytes")))
        .filter(|(path, bytes)| !(path.to_string_lossy().ends_with("-wal") && bytes.is_empty()))
        .collect();
    files.sort();
    files
}

/// A newer journal is refused even where the newer format is only in the write-ahead log, as a
/// killed program leaves it. Opening must not move the log into the file.
#[test]
fn a_newer_journal_is_refused_with_a_sentence_and_left_untouched() {
    let home = Home::new();
    home.open().append(&[clean(1, 0, 10)]).expect("stored");
    let raise = |path: &Path| {
        let raw = Connection::open(path).expect("the file");
        raw.pragma_update(None, "user_version", FORMAT + 1)
            .expect("raised");
        raw
    };
    let killed = TempDir::new().expect("a folder");
    let raw = raise(&home.path());
    for file in ["journal.db", "journal.db-wal"] {
        let from = home.path().with_file_name(file);
        std::fs::copy(from, killed.path().join(file)).expect("copied");
    }
    drop(raw);
    for path in [home.path(), killed.path().join("journal.db")] {
        let folder = path.parent().expect("a folder");
        let before = bytes_of(folder);
        let error = Journal::open(&path).expect_err("newer");
        assert_eq!(
            error.trouble,
            Trouble::Newer {
                found: FORMAT + 1,
                known: FORMAT
            }
        );
        assert!(error.to_string().contains("newer gracerung"), "{error}");
        assert_eq!(bytes_of(folder), before);
    }
}

#[test]
fn what_is_no_journal_is_refused_and_left_untouched() {
    let folder = TempDir::new().expect("a folder");
    let text = folder.path().join("text");
    std::fs::write(&text, "title: Grip from D\n").expect("written");
    let short = folder.path().join("short");
    std::fs::write(&short, "SQLite").expect("written");
    let other = folder.path().join("other.db");
    let raw = Connection::open(&other).expect("a database");
    raw.execute_batch("CREATE TABLE recipes (name TEXT)")
        .expect("made");
    drop(raw);
    let before = bytes_of(folder.path());
    for path in [&text, &short, &other] {
        assert_eq!(trouble(path), Trouble::NotAJournal, "{}", path.display());
    }
    assert_eq!(bytes_of(folder.path()), before);
}

#[test]
fn an_empty_file_becomes_a_journal() {
    let folder = TempDir::new().expect("a folder");
    let path = folder.path().join("journal.db");
    std::fs::write(&path, "").expect("written");
    Journal::open(&path).expect("a journal");
}

/// A page of noise in the middle is reported, and the file stays for a rescue.
#[test]
fn a_damaged_journal_is_told_and_never_overwritten() {
    let home = Home::new();
    let mut journal = home.open();
    let records: Vec<Record> = (0..400).map(|number| clean(1, number, 10)).collect();
    journal.append(&records).expect("stored");
    drop(journal);
    let mut bytes = std::fs::read(home.path()).expect("bytes");
    for byte in &mut bytes[4096..] {
        *byte = byte.wrapping_mul(31).wrapping_add(7);
    }
    std::fs::write(home.path(), &bytes).expect("written");
    let error = Journal::open(&home.path())
        .and_then(|mut journal| journal.read_all())
        .expect_err("damaged");
    assert!(matches!(error.trouble, Trouble::Damaged(_)), "{error}");
    assert!(error.to_string().contains("was not overwritten"));
    assert_eq!(std::fs::read(home.path()).expect("bytes"), bytes);
}

/// A value that no version writes is reported as damage, and not guessed at.
#[test]
fn a_strange_value_is_told_with_its_text() {
    let home = Home::new();
    home.open().append(&[clean(1, 0, 10)]).expect("stored");
    let raw = Connection::open(home.path()).expect("the file");
    raw.execute_batch("DROP TRIGGER entry_is_never_changed; UPDATE entry SET tempo = 'brisk';")
        .expect("changed");
    let error = home.open().read_all().expect_err("strange");
    assert!(matches!(error.trouble, Trouble::Damaged(_)), "{error}");
    assert!(error.to_string().contains("`brisk`"), "{error}");
}

#[test]
fn a_folder_that_cannot_be_made_is_told() {
    let folder = TempDir::new().expect("a folder");
    let file = folder.path().join("file");
    std::fs::write(&file, "in the way").expect("written");
    assert!(matches!(
        trouble(&file.join("journal.db")),
        Trouble::Folder(_)
    ));
    assert!(matches!(trouble(folder.path()), Trouble::Unreadable(_)));
}

#[test]
fn a_full_disk_and_a_read_only_one_store_nothing_and_say_so() {
    let home = Home::new();
    let mut journal = home.open();
    journal.append(&[clean(1, 0, 10)]).expect("stored");
    let large = Record {
        measures: Some("x".repeat(1 << 20)),
        ..clean(1, 1, 20)
    };

    let limit = |journal: &Journal, pages: i64| {
        journal
            .connection()
            .pragma_update_and_check(None, "max_page_count", pages, |row| row.get::<_, i64>(0))
            .expect("a limit")
    };
    limit(&journal, 1);
    let error = journal
        .append(&[clean(1, 2, 15), large.clone()])
        .expect_err("full");
    assert_eq!(error.trouble, Trouble::Full);
    limit(&journal, 1 << 20);

    let query_only = |journal: &Journal, on: bool| {
        journal
            .connection()
            .pragma_update(None, "query_only", on)
            .expect("set");
    };
    query_only(&journal, true);
    let error = journal
        .append(std::slice::from_ref(&large))
        .expect_err("read-only");
    assert_eq!(error.trouble, Trouble::ReadOnly);
    query_only(&journal, false);

    assert_eq!(journal.read_all().expect("read").len(), 1);
    assert_eq!(journal.append(&[large]).expect("stored").own[0].seq, 2);
}
