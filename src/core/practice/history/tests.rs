//! Records that wait to be stored must give the same history as records that were read.

use super::*;
use crate::practice::Rung;
use crate::units::Bpm;

const JOURNAL: Uuid = Uuid::from_u128(9);

/// A clean mark of one of our repetitions. One clean repetition clears the cell.
fn mark(number: u64) -> Record {
    Record {
        id: RecordId {
            session: Uuid::from_u128(1),
            number,
        },
        utc_us: 1_000_000 * number.cast_signed(),
        offset_s: 0,
        kind: Kind::Mark {
            repetition: number,
            mark: Mark::Clean,
            needed: 1,
            free: false,
        },
        drill: "ours".to_owned(),
        cell: Some(CellKey {
            stage: StagePrint(1),
            rung: Rung::Tempo(Bpm::EIGHTY),
        }),
        by: Some(By::Key),
        thresholds: None,
        measures: None,
        version: "test".to_owned(),
    }
}

/// Records that waited and were then stored give the same history as after a restart. The clearing
/// of a cell has the place of the mark that cleared it, and later marks are ordered by it.
#[test]
fn what_waited_and_is_stored_is_as_if_it_had_been_read() {
    let (mut waited, mut read) = (History::default(), History::default());
    for number in 1..=3 {
        let record = mark(number);
        let stored = Order::Stored(record.utc_us, JOURNAL, number);
        waited.add(Order::Waiting(record.id), &record);
        waited.add(stored, &record);
        read.add(stored, &record);
        assert_eq!(waited, read, "after {number}");
    }
}
