//! Reads and writes YAML. No other module of this room knows YAML.

use serde::Serialize;
use serde::de::DeserializeOwned;

/// Writes a document as YAML.
pub(super) fn write<T: Serialize>(document: &T) -> Result<String, String> {
    serde_yaml::to_string(document).map_err(|error| error.to_string())
}

/// Reads a document. The caller limits its size. The error message has line and column where they
/// are known.
pub(super) fn read<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    serde_yaml::from_str(text).map_err(|error| error.to_string())
}
