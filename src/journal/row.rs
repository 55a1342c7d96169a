//! Converts an entry to a row of the table and back.

use crate::practice::{By, CellKey, Entry, Kind, Mark, Record, RecordId, Rung, StagePrint};
use rusqlite::types::{FromSqlError, Type};
use rusqlite::{Connection, Row, Statement, named_params};
use uuid::Uuid;

/// The columns, in the order in which [`read`] takes them.
pub(super) const COLUMNS: &str = "journal, seq, utc_us, offset_s, session, number, kind, drill, \
     stage, tempo, by, repetition, mark, needed, free, names_session, names_number, words, \
     thresholds, measures, version";

/// The columns of entries from which a board is folded. They leave out the texts, which take
/// megabytes in a year.
pub(super) const BARE_COLUMNS: &str = "journal, seq, utc_us, offset_s, session, number, kind, '', \
     stage, tempo, by, repetition, mark, needed, free, names_session, names_number, NULL, \
     NULL, NULL, ''";

/// The SQL that stores an entry. The caller knows that its journal and number are not taken yet.
pub(super) const INSERT: &str = "INSERT INTO entry (journal, seq, utc_us, offset_s, session, \
     number, kind, drill, stage, tempo, by, repetition, mark, needed, free, names_session, \
     names_number, words, thresholds, measures, version, sum) VALUES (:journal, :seq, :utc_us, \
     :offset_s, :session, :number, :kind, :drill, :stage, :tempo, :by, :repetition, :mark, \
     :needed, :free, :names_session, :names_number, :words, :thresholds, :measures, :version, :sum)";

/// The check sum of an entry: FNV-1a over its columns, each preceded by its length or by a sign
/// that it is null. It must never change, because journals store it.
pub(super) fn sum(entry: &Entry) -> i64 {
    use std::fmt::Write as _;
    let record = &entry.record;
    let (kind, own) = particulars(&record.kind);
    let mut text = String::with_capacity(256);
    let mut put = |column: Option<&dyn std::fmt::Display>| match column {
        Some(value) => {
            let from = text.len();
            let _ = write!(text, "{value}");
            let length = text.len() - from;
            let _ = write!(text, "\u{1f}{length}\u{1e}");
        }
        None => text.push('\u{1d}'),
    };
    put(Some(&entry.journal));
    put(Some(&entry.seq));
    put(Some(&record.utc_us));
    put(Some(&record.offset_s));
    put(Some(&record.id.session));
    put(Some(&record.id.number));
    put(Some(&kind));
    put(Some(&record.drill));
    put(record.cell.as_ref().map(|cell| &cell.stage as _));
    put(record.cell.as_ref().map(|cell| &cell.rung as _));
    put(record.by.map(by_name).as_ref().map(|by| by as _));
    put(own.repetition.as_ref().map(|own| own as _));
    put(own.mark.as_ref().map(|own| own as _));
    put(own.needed.as_ref().map(|own| own as _));
    put(own.free.as_ref().map(|own| own as _));
    put(own.names.as_ref().map(|names| &names.session as _));
    put(own.names.as_ref().map(|names| &names.number as _));
    put(own.words.as_ref().map(|own| own as _));
    put(record.thresholds.as_ref().map(|own| own as _));
    put(record.measures.as_ref().map(|own| own as _));
    put(Some(&record.version));
    (StagePrint::of(&text).0 as u64).cast_signed()
}

fn by_name(by: By) -> &'static str {
    match by {
        By::Key => "key",
        By::Pedal => "pedal",
        By::Ear => "ear",
        By::Assumed => "assumed",
    }
}

/// The columns that only some kinds of entry use.
#[derive(Default)]
struct Particulars<'a> {
    repetition: Option<i64>,
    mark: Option<&'static str>,
    needed: Option<u32>,
    free: Option<bool>,
    names: Option<RecordId>,
    words: Option<&'a str>,
}

/// A count as the database stores it. Counts stay far below 2^63; a larger one is stored as the
/// largest possible.
pub(super) fn stored(count: u64) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

fn particulars(kind: &Kind) -> (&'static str, Particulars<'_>) {
    let none = Particulars::default();
    match kind {
        Kind::Began => ("began", none),
        Kind::Place => ("place", none),
        Kind::Playing => ("playing", none),
        Kind::Paused => ("paused", none),
        Kind::Ended => ("ended", none),
        Kind::Discriminated => ("discriminated", none),
        Kind::Mark {
            repetition,
            mark,
            needed,
            free,
        } => (
            "mark",
            Particulars {
                repetition: Some(stored(*repetition)),
                mark: Some(match mark {
                    Mark::Clean => "clean",
                    Mark::NotClean => "not_clean",
                }),
                needed: Some(*needed),
                free: Some(*free),
                ..none
            },
        ),
        Kind::Undo { mark } => (
            "undo",
            Particulars {
                names: Some(*mark),
                ..none
            },
        ),
        Kind::Tried { repetition, alone } => (
            if *alone { "tried_alone" } else { "tried" },
            Particulars {
                repetition: Some(stored(*repetition)),
                ..none
            },
        ),
        Kind::ByHeart { repetition } => (
            "by_heart",
            Particulars {
                repetition: Some(stored(*repetition)),
                ..none
            },
        ),
        Kind::Measured { repetition } => (
            "measured",
            Particulars {
                repetition: Some(stored(*repetition)),
                ..none
            },
        ),
        Kind::Word { about, text } => (
            "word",
            Particulars {
                names: *about,
                words: Some(text),
                ..none
            },
        ),
    }
}

/// Stores an entry with a prepared [`INSERT`].
pub(super) fn write(insert: &mut Statement<'_>, entry: &Entry) -> rusqlite::Result<usize> {
    let record = &entry.record;
    let (kind, own) = particulars(&record.kind);
    let by = record.by.map(by_name);
    insert.execute(named_params! {
        ":journal": entry.journal.as_bytes(),
        ":seq": stored(entry.seq),
        ":utc_us": record.utc_us,
        ":offset_s": record.offset_s,
        ":session": record.id.session.as_bytes(),
        ":number": stored(record.id.number),
        ":kind": kind,
        ":drill": record.drill,
        ":stage": record.cell.map(|cell| cell.stage.to_string()),
        ":tempo": record.cell.map(|cell| cell.rung.to_string()),
        ":by": by,
        ":repetition": own.repetition,
        ":mark": own.mark,
        ":needed": own.needed,
        ":free": own.free,
        ":names_session": own.names.map(|names| *names.session.as_bytes()),
        ":names_number": own.names.map(|names| stored(names.number)),
        ":words": own.words,
        ":thresholds": record.thresholds,
        ":measures": record.measures,
        ":version": record.version,
        ":sum": sum(entry),
    })
}

/// The error for a value that no version of this program writes.
fn strange(column: usize, found: &str) -> rusqlite::Error {
    let said = format!("`{found}` in column {column} of an entry").into();
    rusqlite::Error::FromSqlConversionFailure(column, Type::Text, said)
}

fn uuid(row: &Row<'_>, column: usize) -> rusqlite::Result<Uuid> {
    let bytes: [u8; 16] = row.get(column)?;
    Ok(Uuid::from_bytes(bytes))
}

fn count(row: &Row<'_>, column: usize) -> rusqlite::Result<u64> {
    let count: i64 = row.get(column)?;
    u64::try_from(count).map_err(|_| rusqlite::Error::IntegralValueOutOfRange(column, count))
}

fn record_id(row: &Row<'_>, session: usize) -> rusqlite::Result<RecordId> {
    Ok(RecordId {
        session: uuid(row, session)?,
        number: count(row, session + 1)?,
    })
}

/// A column's text, borrowed from the row; none where it is null.
fn text<'row>(row: &'row Row<'_>, column: usize) -> rusqlite::Result<Option<&'row str>> {
    row.get_ref(column)?
        .as_str_or_null()
        .map_err(|error: FromSqlError| {
            rusqlite::Error::FromSqlConversionFailure(column, Type::Text, Box::new(error))
        })
}

/// Reads an entry from a row of [`COLUMNS`].
pub(super) fn read(row: &Row<'_>) -> rusqlite::Result<Entry> {
    let kind = match text(row, 6)?.unwrap_or_default() {
        "began" => Kind::Began,
        "place" => Kind::Place,
        "playing" => Kind::Playing,
        "paused" => Kind::Paused,
        "ended" => Kind::Ended,
        "discriminated" => Kind::Discriminated,
        "mark" => Kind::Mark {
            repetition: count(row, 11)?,
            mark: match text(row, 12)?.unwrap_or_default() {
                "clean" => Mark::Clean,
                "not_clean" => Mark::NotClean,
                other => return Err(strange(12, other)),
            },
            needed: row.get(13)?,
            free: row.get(14)?,
        },
        "undo" => Kind::Undo {
            mark: record_id(row, 15)?,
        },
        kind @ ("tried" | "tried_alone") => Kind::Tried {
            repetition: count(row, 11)?,
            alone: kind == "tried_alone",
        },
        "by_heart" => Kind::ByHeart {
            repetition: count(row, 11)?,
        },
        "measured" => Kind::Measured {
            repetition: count(row, 11)?,
        },
        "word" => Kind::Word {
            about: match row.get_ref(15)? {
                rusqlite::types::ValueRef::Null => None,
                _ => Some(record_id(row, 15)?),
            },
            text: row.get(17)?,
        },
        other => return Err(strange(6, other)),
    };
    Ok(Entry {
        journal: uuid(row, 0)?,
        seq: count(row, 1)?,
        record: Record {
            utc_us: row.get(2)?,
            offset_s: row.get(3)?,
            id: record_id(row, 4)?,
            kind,
            drill: row.get(7)?,
            cell: cell(row, 8)?,
            by: match text(row, 10)? {
                None => None,
                Some("key") => Some(By::Key),
                Some("pedal") => Some(By::Pedal),
                Some("ear") => Some(By::Ear),
                Some("assumed") => Some(By::Assumed),
                Some(other) => return Err(strange(10, other)),
            },
            thresholds: row.get(18)?,
            measures: row.get(19)?,
            version: row.get(20)?,
        },
    })
}

/// The cell that two neighbouring columns hold; none where one of them is null.
pub(super) fn cell(row: &Row<'_>, stage: usize) -> rusqlite::Result<Option<CellKey>> {
    let (Some(print), Some(rung)) = (text(row, stage)?, text(row, stage + 1)?) else {
        return Ok(None);
    };
    Ok(Some(CellKey {
        stage: StagePrint::parse(print).map_err(|_| strange(stage, print))?,
        rung: Rung::parse(rung).map_err(|_| strange(stage + 1, rung))?,
    }))
}

/// The highest arrival number in the table; 0 where it is empty.
pub(super) fn arrival(connection: &Connection) -> rusqlite::Result<i64> {
    connection.query_row("SELECT coalesce(max(arrival), 0) FROM entry", [], |row| {
        row.get(0)
    })
}

/// The entries that an SQL condition selects.
pub(super) fn entries(
    connection: &Connection,
    which: &str,
    values: &[&dyn rusqlite::ToSql],
) -> rusqlite::Result<Vec<Entry>> {
    let query = format!("SELECT {COLUMNS} FROM entry {which}");
    let mut query = connection.prepare_cached(&query)?;
    query.query_map(values, read)?.collect()
}
