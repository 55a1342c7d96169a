//! The only file of this room that knows YAML.

use serde::Serialize;
use serde::de::DeserializeOwned;

/// Writes a document.
pub(super) fn write<T: Serialize>(document: &T) -> Result<String, String> {
    serde_yaml::to_string(document).map_err(|error| error.to_string())
}

/// Reads a document of bounded size; the message carries line and column where they are known.
pub(super) fn read<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    serde_yaml::from_str(text).map_err(|error| error.to_string())
}
