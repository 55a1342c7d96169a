//! The error type of the commands: the words that tell the player why something could not be done.

use crate::live::DeviceError;

/// Why a command could not run, as one sentence or several lines without a leading "error:".
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Failure(pub(crate) String);

impl std::fmt::Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl From<DeviceError> for Failure {
    fn from(error: DeviceError) -> Self {
        Self(error.to_string())
    }
}
