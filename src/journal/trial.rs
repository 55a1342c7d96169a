//! Tests on a copy, where nothing can be spoilt, whether a journal still stores and shows entries
//! correctly.

use super::format::{FORMAT, SCHEMA, STEPS, raise};
use super::row;
use crate::practice::{Entry, Kind, Record, RecordId};
use rusqlite::{Connection, TransactionBehavior};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Converts the copy of an older journal, so that it can be compared with a new one. Returns the
/// reason where it cannot be converted.
pub(super) fn raised(connection: &mut Connection) -> Option<String> {
    let mut raised = || -> rusqlite::Result<()> {
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let found: i64 = transaction.pragma_query_value(None, "user_version", |row| row.get(0))?;
        if (1..FORMAT).contains(&found) {
            raise(&transaction, found, STEPS)?;
        }
        transaction.commit()
    };
    raised()
        .err()
        .map(|error| format!("it cannot be raised to today's format: {error}"))
}

/// The SQL of each table, index, trigger and view, by kind and name.
type Parts = BTreeMap<(String, String), String>;

fn parts(connection: &Connection) -> rusqlite::Result<Parts> {
    let mut query =
        connection.prepare("SELECT type, name, coalesce(sql, '') FROM sqlite_schema")?;
    let found = query.query_map([], |row| {
        let sql: String = row.get(2)?;
        Ok(((row.get(0)?, row.get(1)?), spoken(&sql)))
    })?;
    found.collect()
}

/// SQL without its comments and line breaks, which differ between formats.
fn spoken(sql: &str) -> String {
    let lines = sql
        .lines()
        .map(|line| line.split("--").next().unwrap_or_default());
    let words: Vec<&str> = lines.flat_map(str::split_whitespace).collect();
    words.join(" ")
}

/// Tables, indexes, triggers and views that this program did not make, or made differently. A
/// foreign trigger may change what is stored, and a foreign view what is shown.
pub(super) fn strange_parts(connection: &Connection) -> Vec<String> {
    let fresh = Connection::open_in_memory().and_then(|fresh| {
        fresh.execute_batch(SCHEMA)?;
        parts(&fresh)
    });
    let ours = fresh.unwrap_or_default();
    let theirs = match parts(connection) {
        Ok(theirs) => theirs,
        Err(error) => {
            return vec![format!("what the file is made of cannot be read: {error}")];
        }
    };
    let mut told = Vec::new();
    for ((kind, name), sql) in &theirs {
        match ours.get(&(kind.clone(), name.clone())) {
            None => told.push(format!("the {kind} `{name}` is not the program's own")),
            Some(own) if own != sql => {
                told.push(format!(
                    "the {kind} `{name}` is not as the program makes it"
                ));
            }
            Some(_) => {}
        }
    }
    for (kind, name) in ours.keys() {
        if !theirs.contains_key(&(kind.clone(), name.clone())) {
            told.push(format!("the {kind} `{name}` is missing"));
        }
    }
    told
}

/// Stores an entry, reads it and removes it again. Returns the reason where an entry cannot be
/// stored as it is.
pub(super) fn stores(connection: &mut Connection) -> Option<String> {
    let entry = Entry {
        journal: Uuid::new_v4(),
        seq: 1,
        record: Record {
            id: RecordId {
                session: Uuid::new_v4(),
                number: 0,
            },
            utc_us: 0,
            offset_s: 0,
            kind: Kind::Word {
                about: None,
                text: "tried, and taken back".to_owned(),
            },
            drill: "none".to_owned(),
            cell: None,
            by: None,
            thresholds: None,
            measures: None,
            version: env!("CARGO_PKG_VERSION").to_owned(),
        },
    };
    let mut tried = || -> rusqlite::Result<bool> {
        // the transaction is rolled back when it is dropped
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let count = || -> rusqlite::Result<i64> {
            transaction.query_row("SELECT count(*) FROM entry", [], |row| row.get(0))
        };
        let before = count()?;
        row::write(&mut transaction.prepare(row::INSERT)?, &entry)?;
        let query = format!("SELECT {} FROM entry WHERE session = ?1", row::COLUMNS);
        let back =
            transaction.query_row(&query, [entry.record.id.session.as_bytes()], row::read)?;
        Ok(back == entry && count()? == before + 1)
    };
    match tried() {
        Ok(true) => None,
        Ok(false) => Some(
            "an entry is not stored as it is: something in the file changes what is stored"
                .to_owned(),
        ),
        Err(error) => Some(format!("no entry can be stored: {error}")),
    }
}
