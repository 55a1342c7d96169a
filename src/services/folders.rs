//! The places of the player's files, by the XDG base directory specification.

use super::Failure;
use etcetera::{BaseStrategy, choose_base_strategy};
use std::path::PathBuf;

/// The folder of the journal and the player's own drills.
///
/// # Errors
/// No home folder is known.
pub(crate) fn data() -> Result<PathBuf, Failure> {
    let strategy = choose_base_strategy().map_err(|_| {
        Failure("no home folder is known: set HOME, or XDG_DATA_HOME to a folder".to_owned())
    })?;
    Ok(strategy.data_dir().join("gracerung"))
}

/// The folder of the player's own drills. Every `.yaml` file in it is listed and found by its name.
///
/// # Errors
/// No home folder is known.
pub(crate) fn own_drills() -> Result<PathBuf, Failure> {
    data().map(|folder| folder.join("drills"))
}

/// The journal's file.
///
/// # Errors
/// No home folder is known.
pub(crate) fn journal() -> Result<PathBuf, Failure> {
    data().map(|folder| folder.join("journal.sqlite"))
}

/// The folder with copies of the homework that was opened.
///
/// # Errors
/// No home folder is known.
pub(crate) fn homework() -> Result<PathBuf, Failure> {
    data().map(|folder| folder.join("homework"))
}

/// The folder of recordings kept while practising.
///
/// # Errors
/// No home folder is known.
pub(crate) fn takes() -> Result<PathBuf, Failure> {
    data().map(|folder| folder.join("takes"))
}

/// The file with the player's last low A for each chanter. The program writes it.
///
/// # Errors
/// No home folder is known.
pub(crate) fn low_a() -> Result<PathBuf, Failure> {
    data().map(|folder| folder.join("low-a.json"))
}

/// The file with the measured latencies of pairs of devices. The program writes it.
///
/// # Errors
/// No home folder is known.
pub(crate) fn calibration() -> Result<PathBuf, Failure> {
    settings().map(|file| file.with_file_name("calibration.json"))
}

/// The settings file.
///
/// # Errors
/// No home folder is known.
pub(crate) fn settings() -> Result<PathBuf, Failure> {
    let strategy = choose_base_strategy().map_err(|_| {
        Failure("no home folder is known: set HOME, or XDG_CONFIG_HOME to a folder".to_owned())
    })?;
    Ok(strategy
        .config_dir()
        .join("gracerung")
        .join("settings.toml"))
}
