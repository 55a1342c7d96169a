//! What was measured of pairs of devices, kept beside the settings.
use super::{Failure, files, folders, output};
use crate::drill::LARGEST_FILE;
use serde::{Deserialize, Serialize};

/// What was measured of a pair of devices.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Calibrated {
    /// The device that plays.
    pub(crate) device: String,
    /// The microphone that hears it.
    pub(crate) microphone: String,
    /// How much later than both say the microphone hears what is played, milliseconds.
    pub(crate) later_ms: f64,
    /// The whole way from the program to the device, through the air and back, milliseconds, with
    /// what the devices say of themselves.
    pub(crate) round_trip_ms: f64,
    /// How far the single sweeps lay apart, milliseconds.
    pub(crate) spread_ms: f64,
    /// How many sweeps were heard.
    pub(crate) sweeps: usize,
}

/// Every pair that was measured; empty where there is no file.
///
/// # Errors
/// The file cannot be read, or is not ours.
pub(crate) fn stored() -> Result<Vec<Calibrated>, Failure> {
    let path = folders::calibration()?;
    if !path.exists() {
        return Ok(Vec::new());
    }
    let bytes = files::read_bytes(&path, LARGEST_FILE)?;
    serde_json::from_slice(&bytes).map_err(|error| {
        Failure(format!(
            "`{}`: {error}; remove it and calibrate again",
            path.display()
        ))
    })
}

/// Keeps what was measured of a pair, in the place of what was measured of it before.
///
/// # Errors
/// The file cannot be written.
pub(crate) fn store(found: &Calibrated) -> Result<(), Failure> {
    let path = folders::calibration()?;
    // a file that does not read is replaced: everything in it can be measured again
    let mut all = stored().unwrap_or_default();
    all.retain(|pair| (&pair.device, &pair.microphone) != (&found.device, &found.microphone));
    all.push(found.clone());
    let text = serde_json::to_string_pretty(&all)
        .map_err(|error| Failure(format!("cannot write JSON: {error}")))?;
    if let Some(folder) = path.parent() {
        output::make_folder(folder)?;
    }
    output::write_bytes(&path, true, format!("{text}\n").as_bytes())
}
