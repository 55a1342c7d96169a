//! The laws of the journal as tests. Where two processes or a killed one are needed, a test starts
//! itself again: the other process runs the same test with the journal's path in its environment.

mod entries;
mod formats;
mod opening;
mod programs;
mod shown;

use super::*;
use crate::practice::{
    By, CellKey, CellStatus, Entry, Event, Hand, Kind, Mark, Moment, Plan, PlannedStage, Record,
    RecordId, Rung, StagePrint, replay, step,
};
use rusqlite::Connection;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;
use uuid::Uuid;

pub(super) fn cell(stage: u128) -> CellKey {
    CellKey {
        stage: StagePrint(stage),
        rung: Rung::parse("66.5").expect("a tempo"),
    }
}

pub(super) fn record(session: u128, number: u64, utc_us: i64, kind: Kind) -> Record {
    Record {
        id: RecordId {
            session: Uuid::from_u128(session),
            number,
        },
        utc_us,
        offset_s: -3600,
        kind,
        drill: "a drill of our own".to_owned(),
        cell: Some(cell(1)),
        by: Some(By::Pedal),
        thresholds: None,
        measures: None,
        version: "0.1.0".to_owned(),
    }
}

fn clean(session: u128, number: u64, utc_us: i64) -> Record {
    let kind = Kind::Mark {
        repetition: number,
        mark: Mark::Clean,
        needed: 3,
        free: false,
    };
    record(session, number, utc_us, kind)
}

struct Home {
    folder: TempDir,
}

impl Home {
    fn new() -> Self {
        Self {
            folder: TempDir::new().expect("a folder"),
        }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("deep/down/journal.db")
    }

    fn open(&self) -> Journal {
        Journal::open(&self.path()).expect("a journal")
    }
}

fn trouble(path: &Path) -> Trouble {
    Journal::open(path).expect_err("refused").trouble
}
