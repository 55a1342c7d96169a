//! Reads what planning needs: the drills, the digest of the journal, homework.

use super::{Failure, drill_files::Opened, folders, library, needs, settings};
use crate::drill::Stage;
use crate::journal::{Journal, JournalError, Trouble};
use crate::planning::{Digest, Known};
use crate::practice::{PlannedStage, StagePrint};
use crate::score::written_text;
use crate::settings::Settings;
use crate::units::Fraction;
use indicatif::{ProgressBar, ProgressStyle};
use jiff::civil::Date;
use std::path::Path;

/// A drill as planning knows it.
pub(crate) fn known(opened: &Opened) -> Known {
    let drill = &opened.practised();
    let breath = drill.breath_beats();
    let print = |stage: &Stage| StagePrint::of(&written_text(&stage.music, &drill.schools));
    let prints = drill.stages.iter().map(print).collect();
    Known {
        name: opened.name.clone(),
        title: drill.title.clone(),
        stages: PlannedStage::all(drill, prints),
        stage_names: drill
            .stages
            .iter()
            .map(|stage| stage.name.clone())
            .collect(),
        beats: drill
            .stages
            .iter()
            .map(|stage| {
                let bar =
                    drill.metre.bar() * Fraction::from_integer(stage.music.bars.len() as i128);
                bar + breath
            })
            .collect(),
        clean: drill.clean,
        route: drill.route,
    }
}

/// Every drill that can be played, the built-in ones in the order they build on another.
pub(crate) fn all_known() -> Vec<Known> {
    library::playable().iter().map(known).collect()
}

/// The player's own calendar day.
pub(crate) fn date() -> Date {
    jiff::ZonedDateTime::now().date()
}

/// The journal, when there is one; never made just to look.
pub(crate) fn journal() -> Result<Option<Journal>, Failure> {
    let path = folders::journal()?;
    if !path.exists() {
        return Ok(None);
    }
    to_read(&path)
        .map(Some)
        .map_err(|error| Failure(error.to_string()))
}

/// A journal to read from: where its file or folder may not be written, or the disk takes nothing
/// any more, a copy of it.
pub(crate) fn to_read(path: &Path) -> Result<Journal, JournalError> {
    match Journal::open(path) {
        Err(error)
            if matches!(
                error.trouble,
                Trouble::ReadOnly | Trouble::Unreadable(_) | Trouble::Full | Trouble::NotTaken(_)
            ) =>
        {
            Journal::open_a_copy(path).map_err(|_| error)
        }
        opened => opened,
    }
}

/// The journal in small; empty before the first session.
pub(crate) fn digest() -> Result<Digest, Failure> {
    match journal()? {
        None => Ok(Digest::default()),
        Some(journal) => digest_with_bar(&journal),
    }
}

/// Entries from which on reading them all is told with a bar: under a second below.
const MUCH: u64 = 100_000;

/// A journal in small; where all of a large one must be read, a bar on standard error shows how far
/// it is.
fn digest_with_bar(journal: &Journal) -> Result<Digest, Failure> {
    let mut bar: Option<ProgressBar> = None;
    let digest = journal.digest_told(jiff::Timestamp::now().as_microsecond(), &mut |read, all| {
        if all >= MUCH {
            let bar = bar.get_or_insert_with(|| {
                let style =
                    ProgressStyle::with_template("reading the journal {bar:30} {pos}/{len}");
                let bar = ProgressBar::new(all);
                bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
                bar
            });
            bar.set_position(read);
        }
    });
    if let Some(bar) = bar {
        bar.finish_and_clear();
    }
    digest.map_err(|error| Failure(error.to_string()))
}

/// A journal in small.
pub(crate) fn digest_of(journal: &Journal) -> Result<Digest, Failure> {
    journal
        .digest(jiff::Timestamp::now().as_microsecond())
        .map_err(|error| Failure(error.to_string()))
}

/// The settings without flags; a wrong file is told.
pub(crate) fn own_settings() -> Result<Settings, Failure> {
    settings::load(&[], &[needs::PLAN])
}
