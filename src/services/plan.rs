//! Reads what planning needs: the drills, the digest of the journal, and homework.

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

/// A drill in the form that planning uses.
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

/// Every drill that can be played. A built-in drill comes after those that it builds on.
pub(crate) fn all_known() -> Vec<Known> {
    library::playable().iter().map(known).collect()
}

/// Today's date in the player's time zone.
pub(crate) fn date() -> Date {
    jiff::ZonedDateTime::now().date()
}

/// The journal; none where there is none yet. Reading must not create one.
pub(crate) fn journal() -> Result<Option<Journal>, Failure> {
    let path = folders::journal()?;
    if !path.exists() {
        return Ok(None);
    }
    to_read(&path)
        .map(Some)
        .map_err(|error| Failure(error.to_string()))
}

/// A journal for reading. It is a copy where its file or folder cannot be written or the disk is
/// full.
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

/// The digest of the journal; empty before the first session.
pub(crate) fn digest() -> Result<Digest, Failure> {
    match journal()? {
        None => Ok(Digest::default()),
        Some(journal) => digest_with_bar(&journal),
    }
}

/// From this many entries on, a progress bar is shown while all are read. Fewer take less than a
/// second.
const MUCH: u64 = 100_000;

/// The digest of a journal. Where all of a large journal must be read, a progress bar is shown on
/// standard error.
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

/// The digest of a journal.
pub(crate) fn digest_of(journal: &Journal) -> Result<Digest, Failure> {
    journal
        .digest(jiff::Timestamp::now().as_microsecond())
        .map_err(|error| Failure(error.to_string()))
}

/// The settings without command-line options.
///
/// # Errors
/// The settings file cannot be read, or a setting of the plan is wrong.
pub(crate) fn own_settings() -> Result<Settings, Failure> {
    settings::load(&[], &[needs::PLAN])
}
