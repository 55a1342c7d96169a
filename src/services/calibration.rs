//! The measured latencies of pairs of devices, which are stored beside the settings.
use super::{Failure, files, folders, output};
use crate::drill::LARGEST_FILE;
use serde::{Deserialize, Serialize};

/// The measured latency of one pair of devices.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Calibrated {
    /// The name of the playback device.
    pub(crate) device: String,
    /// The name of the microphone.
    pub(crate) microphone: String,
    /// The latency that neither device reports, in milliseconds.
    pub(crate) later_ms: f64,
    /// The latency of the whole way from the program through the playback device, the air and the
    /// microphone back to the program, in milliseconds. It includes what the devices report.
    pub(crate) round_trip_ms: f64,
    /// The spread of the single measurements, in milliseconds.
    pub(crate) spread_ms: f64,
    /// How many sweeps were measured.
    pub(crate) sweeps: usize,
}

/// Every pair that was measured; empty where there is no file.
///
/// # Errors
/// The file cannot be read, or has another format.
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

/// Stores the measurement of a pair and replaces an earlier one of the same pair.
///
/// # Errors
/// The file cannot be written.
pub(crate) fn store(found: &Calibrated) -> Result<(), Failure> {
    let path = folders::calibration()?;
    // a file that cannot be read is replaced, because everything in it can be measured again
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
