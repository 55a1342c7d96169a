//! Laws of journals in every earlier format.

use super::*;

/// A journal of each released format, each with two marks, an undo and a remark.
const FORMATS: &[&str] = &[
    include_str!("../formats/first.sql"),
    include_str!("../formats/second.sql"),
    include_str!("../formats/third.sql"),
    include_str!("../formats/fourth.sql"),
    include_str!("../formats/fifth.sql"),
    include_str!("../formats/sixth.sql"),
];

/// A player who comes back after a year finds every mark: journals of every earlier format open,
/// are converted, and keep their content.
#[test]
fn a_journal_of_every_earlier_format_opens_and_keeps_its_entries() {
    assert_eq!(
        FORMATS.len() as i64,
        FORMAT,
        "a new format needs the journal of the one before kept in `formats/`"
    );
    for (text, format) in FORMATS.iter().zip(1_i64..) {
        let folder = TempDir::new().expect("a folder");
        let path = folder.path().join("journal.sqlite");
        let raw = Connection::open(&path).expect("a file");
        raw.execute_batch(text).expect("as it was written");
        let version = |raw: &Connection| -> i64 {
            raw.pragma_query_value(None, "user_version", |row| row.get(0))
                .expect("a number")
        };
        assert_eq!(version(&raw), format);
        drop(raw);
        let (health, looked_at) = look_over(&path).expect("it can be looked over");
        assert_eq!(health.troubles, [""; 0], "format {format}");
        assert_eq!(
            health.unsummed,
            if format < 5 { looked_at.len() } else { 0 }
        );
        let mut journal = Journal::open(&path).expect("it opens");
        let entries = journal.read_all().expect("it reads");
        assert_eq!(entries, looked_at);
        let kinds: Vec<&Kind> = entries.iter().map(|entry| &entry.record.kind).collect();
        let mark = |repetition, mark| Kind::Mark {
            repetition,
            mark,
            needed: 5,
            free: false,
        };
        let first = entries[1].record.id;
        let expected = [
            Kind::Began,
            mark(0, Mark::Clean),
            mark(1, Mark::NotClean),
            Kind::Word {
                about: Some(first),
                text: "light, and 'even'".to_owned(),
            },
            Kind::Undo { mark: first },
            Kind::Ended,
        ];
        assert_eq!(
            kinds,
            expected.iter().collect::<Vec<_>>(),
            "format {format}"
        );
        assert_eq!(entries[1].record.offset_s, 3600);
        assert_eq!(
            entries[1].record.cell.expect("a cell").rung.to_string(),
            "133/2"
        );
        // From format 3 on a mark may be in a cell with a tone length, which must not be read as
        // its tempo.
        let second = entries[2].record.cell.expect("a cell").rung.to_string();
        assert_eq!(second, if format > 2 { "104 ms at 60" } else { "133/2" });
        // the converted journal can be written like a new one
        journal.append(&[clean(1, 0, 10)]).expect("stored");
        assert_eq!(version(journal.connection()), FORMAT);
        let (health, _) = look_over(&path).expect("looked over");
        assert_eq!((health.entries, health.lost), (7, 0));
        assert!(health.troubles.is_empty(), "{:?}", health.troubles);
    }
}

/// Steps are taken once each, in order, from the journal's present format. A step that fails leaves
/// the journal unchanged.
#[test]
fn steps_are_taken_once_in_order_and_all_or_none() {
    let steps = [
        "CREATE TABLE steps (name TEXT); INSERT INTO steps VALUES ('one');",
        "INSERT INTO steps VALUES ('two');",
    ];
    let names = |raw: &Connection| -> Vec<String> {
        raw.prepare("SELECT name FROM steps ORDER BY rowid")
            .and_then(|mut query| query.query_map([], |row| row.get(0))?.collect())
            .unwrap_or_default()
    };
    let version = |raw: &Connection| -> i64 {
        raw.pragma_query_value(None, "user_version", |row| row.get(0))
            .expect("a number")
    };
    let mut raw = Connection::open_in_memory().expect("a database");
    raw.pragma_update(None, "user_version", 1).expect("set");
    format::raise(&raw, 1, &steps[..1]).expect("raised");
    assert_eq!((names(&raw).len(), version(&raw)), (1, 2));
    format::raise(&raw, 2, &steps).expect("raised");
    format::raise(&raw, 3, &steps).expect("nothing to do");
    assert_eq!(
        (names(&raw), version(&raw)),
        (vec!["one".to_owned(), "two".to_owned()], 3)
    );
    let worse = [
        steps[0],
        steps[1],
        "INSERT INTO steps VALUES ('three'); INSERT INTO nowhere VALUES (1);",
    ];
    let transaction = raw.transaction().expect("a transaction");
    assert!(format::raise(&transaction, 3, &worse).is_err());
    drop(transaction);
    assert_eq!((names(&raw).len(), version(&raw)), (2, 3));
}
