//! How often each gracenote group stands between two notes in real tunes.
//!
//! The counts come from 277 tunes of the public repository svenax/bagpipemusic, commit b02aaac of
//! 2025-12-22. They are evidence for what is common, never for what is right.

use crate::chanter::Note;
use crate::movement::context::Context;
use std::sync::LazyLock;

/// One row of the counts: a group of gracenotes in one context.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TuneCount {
    /// The gracenotes of the group.
    pub gracenotes: Vec<Note>,
    /// The notes around it.
    pub context: Context,
    /// How many times the group stands there.
    pub count: u32,
}

static COUNTS: LazyLock<Vec<TuneCount>> = LazyLock::new(|| {
    include_str!("tunes.tsv")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .filter_map(read)
        .collect()
});

fn read(line: &str) -> Option<TuneCount> {
    let mut fields = line.split('\t');
    let gracenotes = fields
        .next()?
        .split(' ')
        .map(|note| Note::parse(note).ok())
        .collect::<Option<Vec<Note>>>()?;
    let before = Note::parse(fields.next()?).ok()?;
    let after = Note::parse(fields.next()?).ok()?;
    Some(TuneCount {
        gracenotes,
        context: Context::between(before, after),
        count: fields.next()?.parse().ok()?,
    })
}

/// Every row, commonest first.
pub fn tune_counts() -> &'static [TuneCount] {
    &COUNTS
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A row that cannot be parsed would silently be missing from every order and suggestion.
    #[test]
    fn every_row_reads_and_the_commonest_comes_first() {
        let rows = tune_counts();
        assert_eq!(rows.len(), 436);
        assert_eq!(rows.iter().map(|row| row.count).sum::<u32>(), 30_054);
        assert!(rows.windows(2).all(|pair| pair[0].count >= pair[1].count));
    }
}
